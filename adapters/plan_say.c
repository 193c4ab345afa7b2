/* Numbers, dates and names of a plan, in the form of the language. */
#include "adapters/plan_say.h"

#include "adapters/fhir_time.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const char *words_say(struct words *w, const char *format, ...)
{
    size_t room = sizeof(w->text) - w->used;
    char *at = w->text + w->used;
    va_list args;
    int len;

    va_start(args, format);
    len = vsnprintf(at, room, format, args);
    va_end(args);
    if (len < 0 || (size_t)len >= room) {
        w->full = true;
        return "";
    }
    w->used += (size_t)len + 1;
    return at;
}

const char *words_number(struct words *w, double value, int decimals)
{
    struct buf text;
    const char *said;

    if (!isfinite(value))
        return _("not known");
    buf_init(&text, 64);
    catalogue_number(&text, value, decimals);
    said = words_say(w, "%s", text.data);
    buf_clear(&text);
    return said;
}

/* Of the whole number that the JSON holds, rounded as printf() does: whoever
 * rounds that comes to the same. */
double words_flow_shown(double flow_ml_min)
{
    return 10.0 * round(nearbyint(flow_ml_min) / 10.0);
}

struct plan_range words_shown(const struct plan_range *r)
{
    return (struct plan_range){ words_flow_shown(r->p05),
                                words_flow_shown(r->p50),
                                words_flow_shown(r->p95) };
}

const char *words_flow(struct words *w, double flow_ml_min)
{
    return words_number(w, words_flow_shown(flow_ml_min), 0);
}

const char *words_mm(struct words *w, double mm)
{
    double tenths = 10.0 * mm;

    /* TRANSLATORS: a diameter; the space does not break */
    return words_say(
        w, _("%s\u00a0mm"),
        words_number(w, mm, fabs(tenths - round(tenths)) < 0.05 ? 1 : 2));
}

const char *words_range(struct words *w, const struct plan_range *r,
                        int decimals)
{
    if (!isfinite(r->p05) || !isfinite(r->p50) || !isfinite(r->p95))
        return _("not known");
    /* TRANSLATORS: a middle value and, in brackets, its 5 and 95 % ends:
     * "70 (60 to 82)" */
    return words_say(
        w, _("%1$s (%2$s to %3$s)"), words_number(w, r->p50, decimals),
        words_number(w, r->p05, decimals), words_number(w, r->p95, decimals));
}

const char *words_flow_range(struct words *w, const struct plan_range *r)
{
    const struct plan_range shown = words_shown(r);

    return words_range(w, &shown, 0);
}

const char *words_narrow(struct words *w, const struct plan_range *r,
                         int decimals)
{
    if (!isfinite(r->p05) || !isfinite(r->p50) || !isfinite(r->p95))
        return _("not known");
    /* TRANSLATORS: in a narrow table: a middle value, and in brackets its 5
     * and 95 % ends: "70 (60-82)" */
    return words_say(
        w, _("%1$s (%2$s\u2013%3$s)"), words_number(w, r->p50, decimals),
        words_number(w, r->p05, decimals), words_number(w, r->p95, decimals));
}

const char *words_narrow_flow(struct words *w, const struct plan_range *r)
{
    const struct plan_range shown = words_shown(r);

    return words_narrow(w, &shown, 0);
}

const char *words_chance(struct words *w, double chance)
{
    double pct = 100.0 * chance;

    if (!isfinite(pct))
        return "?";
    if (pct > 0.0 && pct < 1.0)
        return "<1";
    if (pct > 99.0 && pct < 100.0)
        return ">99";
    return words_number(w, pct, 0);
}

const char *words_date(struct words *w, const struct zone *zone, int64_t at_s)
{
    char date[FHIR_TIME_SIZE];

    if (at_s == INT64_MIN)
        return _("not known");
    fhir_date_write(at_s, zone, date);
    return words_say(w, "%s", date);
}

const char *words_day(struct words *w, const struct zone *zone,
                      const struct reading *r)
{
    char date[FHIR_TIME_SIZE];

    fhir_date_write(r->start_s, zone, date);
    if (r->precision == AT_MONTH)
        date[7] = '\0';
    else if (r->precision == AT_YEAR)
        date[4] = '\0';
    return words_say(w, "%s", date);
}

const char *words_minute(struct words *w, const struct zone *zone, int64_t at_s)
{
    int64_t local_s = at_s + zone_offset_s(zone, at_s);
    int64_t minute = (local_s % DAY_S + DAY_S) % DAY_S / 60;

    return words_say(w, "%s %02d:%02d", words_date(w, zone, at_s),
                     (int)(minute / 60), (int)(minute % 60));
}

const char *words_time(struct words *w, const struct zone *zone,
                       const struct reading *r)
{
    return r->precision == AT_SECOND || r->precision == AT_PERIOD
               ? words_minute(w, zone, r->start_s)
               : words_day(w, zone, r);
}

const char *words_flows(struct words *w, const double *flow_ml_min,
                        size_t count)
{
    const char *all = "";

    for (size_t i = 0; i < count; i++) {
        const char *one = words_number(w, flow_ml_min[i], 0);

        /* TRANSLATORS: one more in a list of numbers: "2450, 2550" */
        all = i == 0 ? one : words_say(w, _("%1$s, %2$s"), all, one);
    }
    return all;
}

/* ---- what was typed --------------------------------------------------------- */

/* Marks that turn the direction of what follows: U+200E, U+200F, U+202A to
 * U+202E, U+2066 to U+2069, and U+061C.  Their length in bytes; 0: none. */
static size_t turn_at(const char *text)
{
    const unsigned char *t = (const unsigned char *)text;

    if (t[0] == 0xd8 && t[1] == 0x9c)
        return 2;
    if (t[0] != 0xe2)
        return 0;
    if (t[1] == 0x80 &&
        (t[2] == 0x8e || t[2] == 0x8f || (t[2] >= 0xaa && t[2] <= 0xae)))
        return 3;
    return t[1] == 0x81 && t[2] >= 0xa6 && t[2] <= 0xa9 ? 3 : 0;
}

/* Hebrew, the first script that is written from right to left, begins with
 * this byte. */
static bool may_turn(const char *text)
{
    for (; *text != '\0'; text++) {
        if ((unsigned char)*text >= 0xd6)
            return true;
    }
    return false;
}

const char *words_typed(struct words *w, const char *text)
{
    enum { TYPED_MAX = 1000 };
    char kept[TYPED_MAX + 1];
    size_t len = 0;

    while (*text != '\0' && len < TYPED_MAX) {
        size_t skip = turn_at(text);

        if (skip > 0) {
            text += skip;
            continue;
        }
        kept[len++] = (char)((unsigned char)*text < 0x20 ? ' ' : *text);
        text++;
    }
    /* no half of a character at the end */
    while (*text != '\0' && len > 0 && ((unsigned char)*text & 0xc0) == 0x80) {
        text--;
        len--;
    }
    kept[len] = '\0';
    return may_turn(kept)
               ? words_say(w, "\xe2\x81\xa8%s\xe2\x81\xa9", kept) /* isolated */
               : words_say(w, "%s", kept);
}

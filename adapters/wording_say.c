#include "adapters/wording_work.h"

#include "adapters/fhir_time.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { LABEL_MAX = 200 };

void say_clean(struct buf *out, const char *text)
{
    size_t len = strlen(text);

    if (len > LABEL_MAX) {
        len = LABEL_MAX;
        while (len > 0 && ((unsigned char)text[len] & 0xc0) == 0x80)
            len--; /* not within a character */
    }
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)text[i];

        buf_add(out, c < 0x20 || c == 0x7f ? " " : text + i, 1);
    }
}

const char *wording_name(const char *display)
{
    /* the text of nothing is the head of the catalogue */
    return display[0] == '\0' ? display : gettext(display);
}

void say_lower(struct buf *out, const char *text)
{
    char lower[128];
    size_t len = strlen(text);
    const char *name;

    if (len == 0 || len >= sizeof(lower)) {
        buf_puts(out, wording_name(text));
        return;
    }
    memcpy(lower, text, len + 1);
    if (isupper((unsigned char)text[0]) && islower((unsigned char)text[1]))
        lower[0] = (char)tolower((unsigned char)text[0]);
    name = gettext(lower);
    if (name == lower && gettext(text) != text)
        name = gettext(text);
    buf_puts(out, name);
}

/* ---- days ---------------------------------------------------------------- */

void say_date(const struct wording *w, int64_t at_s, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    fhir_date_write(at_s, w->zone, date);
    buf_puts(out, date);
}

void say_due(const struct wording *w, const char *today, const char *later,
             struct buf *out)
{
    char now[FHIR_TIME_SIZE], due[FHIR_TIME_SIZE];
    struct fill s = { 0 };

    fhir_date_write(w->history->now_s, w->zone, now);
    fhir_date_write(w->due_s, w->zone, due);
    fill_text(&s, "date", due);
    fill_say(&s, strcmp(now, due) == 0 ? today : later, out);
}

void say_when(const struct reading *r, const struct zone *zone, struct buf *out)
{
    char date[FHIR_TIME_SIZE];
    struct fill s = { 0 };

    fhir_date_write(r->start_s, zone, date);
    if (r->precision == AT_YEAR) {
        buf_printf(fill_at(&s, "year"), "%.4s", date);
        fill_say(&s, _("in {year}"), out);
    } else if (r->precision == AT_MONTH) {
        buf_printf(fill_at(&s, "month"), "%.7s", date);
        fill_say(&s, _("in {month}"), out);
    } else {
        fill_text(&s, "date", date);
        fill_say(&s, _("on {date}"), out);
    }
}

/* ---- numbers ------------------------------------------------------------- */

/* For people: the unit, and the digits worth reading. */
static const struct {
    const char *code, *shown;
    int decimals;
} units[] = {
    { "mL/min", " mL/min", 0 }, { "mm[Hg]", " mmHg", 0 }, { "1", "", 2 },
    { "%", " %", 0 },           { "L/min", " L/min", 1 }, { "mm", " mm", 1 },
    { "mmol/L", " mmol/L", 1 }, { "mg/dL", " mg/dL", 0 }, { "min", " min", 0 },
    { "mL", " mL", 0 },         { "kg", " kg", 1 },       { "m", " m", 2 },
    { "cm", " cm", 0 },
};

static size_t unit_row(enum quantity q)
{
    const char *code = quantity_info(q)->unit;
    size_t i = 0;

    while (i < COUNT(units) && strcmp(units[i].code, code) != 0)
        i++;
    return i;
}

static void say_digits(struct buf *out, double value, double limit,
                       int decimals)
{
    char shown[40], other[40];

    for (;; decimals++) {
        snprintf(shown, sizeof(shown), "%.*f", decimals, value);
        snprintf(other, sizeof(other), "%.*f", decimals, limit);
        if (isnan(limit) || decimals >= 6 || strcmp(shown, other) != 0 ||
            !(value < limit || value > limit))
            break;
    }
    catalogue_number(out, value, decimals);
}

void say_plain(struct buf *out, double value, int digits)
{
    char text[64];
    char *point;

    snprintf(text, sizeof(text), "%.*g", digits, value);
    point = strchr(text, '.');
    if (point == NULL) {
        buf_puts(out, text);
        return;
    }
    *point = '\0';
    buf_puts(out, text);
    buf_puts(out, _("."));
    buf_puts(out, point + 1);
}

void say_per_cent(struct buf *out, double value, int decimals)
{
    catalogue_number(out, value, decimals);
    buf_puts(out, " %");
}

void say_per_cent_plain(struct buf *out, double value, int digits)
{
    say_plain(out, value, digits);
    buf_puts(out, " %");
}

void say_number(struct buf *out, enum quantity q, double value, double limit)
{
    size_t row = unit_row(q);

    int decimals = row < COUNT(units) ? units[row].decimals : 1;

    say_digits(out, value, limit, q == Q_SESSIONS_PER_WEEK ? 0 : decimals);
}

void say_unit(struct buf *out, enum quantity q)
{
    size_t row = unit_row(q);

    if (row < COUNT(units))
        buf_puts(out, units[row].shown);
    else
        buf_printf(out, " %s", quantity_info(q)->unit);
}

void say_value(struct buf *out, enum quantity q, double value, enum bound bound,
               double limit)
{
    static const char *const texts[] = {
        [BOUND_NONE] = "",
        [BOUND_BELOW] = N_("less than {value}"),
        [BOUND_AT_MOST] = N_("at most {value}"),
        [BOUND_AT_LEAST] = N_("at least {value}"),
        [BOUND_ABOVE] = N_("more than {value}")
    };
    struct fill s = { 0 };

    if (bound == BOUND_NONE) {
        say_number(out, q, value, limit);
        say_unit(out, q);
        return;
    }
    say_number(fill_at(&s, "value"), q, value, limit);
    say_unit(fill_last(&s), q);
    fill_say(&s, gettext(texts[bound]), out);
}

/* ---- how soon, how bad --------------------------------------------------- */

void say_within(const struct wording *w, enum urgency u, struct buf *out)
{
    struct fill s = { 0 };
    int days;

    if (u == URGENCY_IMMEDIATE) {
        buf_puts(out, _("today"));
        return;
    }
    days = policy_count(w->policy, due_row(w->group, u));
    fill_count(&s, "days", days);
    if (days == 2)
        fill_say(&s, _("within 24 to 48 hours"), out);
    else
        fill_say(&s,
                 ngettext("within {days} day", "within {days} days",
                          (unsigned long)days),
                 out);
}

void say_soon(const struct wording *w, enum urgency u, struct buf *out)
{
    if (u == URGENCY_NOTE)
        buf_puts(out, _("a remark only"));
    else
        say_within(w, u, out);
}

void say_grade(struct buf *out, enum grade g)
{
    static const char *const words[GRADE_COUNT] = {
        [GRADE_NONE] = N_("no ischaemia"),
        [GRADE_1] = N_("cool or pale hand"),
        [GRADE_2A] = N_("tolerable complaints during dialysis or exercise"),
        [GRADE_2B] = N_("complaints that are not tolerable"),
        [GRADE_3] = N_("rest pain or motor loss"),
        [GRADE_4A] = N_("limited tissue loss"),
        [GRADE_4B] = N_("extended tissue loss"),
    };
    struct fill s = { 0 };

    fill_text(&s, "grade", grade_word(g));
    fill_text(&s, "words", (unsigned)g < GRADE_COUNT ? gettext(words[g]) : "?");
    /* TRANSLATORS: words say what the grade means */
    fill_say(&s, _("grade {grade} ({words})"), out);
}

/* ---- names --------------------------------------------------------------- */

void say_quantity(struct buf *out, enum quantity q)
{
    static const struct {
        enum quantity q;
        const char *words;
    } rows[] = {
        { Q_ACCESS_FLOW, N_("access flow") },
        { Q_DIGITAL_PRESSURE, N_("finger pressure") },
        { Q_STATIC_PRESSURE_RATIO, N_("static venous pressure ratio") },
        { Q_ARTERIAL_LINE_PRESSURE, N_("pressure before the pump") },
        { Q_PUMP_FLOW, N_("pump flow") },
        { Q_HAND_SYMPTOM, N_("symptoms of the hand") },
    };

    for (size_t i = 0; i < COUNT(rows); i++) {
        if (rows[i].q == q) {
            buf_puts(out, gettext(rows[i].words));
            return;
        }
    }
    say_lower(out, quantity_info(q)->display);
}

static const struct {
    unsigned item;
    const char *words, *brief;
} visit_rows[] = {
    { VISIT_THRILL, N_("thrill over the access"), N_("thrill") },
    { VISIT_PUMP, N_("pump flow reached and pressure before the pump"),
      N_("pump") },
    { VISIT_HAND, N_("symptoms of the hand, or that there are none"),
      N_("hand") },
    { VISIT_FLOW, N_("access flow"), N_("flow") },
    { VISIT_DOSE, N_("Kt/V or urea reduction"), N_("dose") },
    { VISIT_FINGER, N_("finger pressure or digital-brachial index"),
      N_("finger pressure") },
};

static void say_items(struct buf *out, unsigned items, bool brief)
{
    bool any = false;

    for (size_t i = 0; i < COUNT(visit_rows); i++) {
        if ((items & visit_rows[i].item) == 0)
            continue;
        if (any)
            buf_puts(out, brief ? list_comma() : list_semicolon());
        buf_puts(out,
                 gettext(brief ? visit_rows[i].brief : visit_rows[i].words));
        any = true;
    }
    buf_puts(out, any ? "" : _("nothing"));
}

void say_visit(struct buf *out, unsigned items)
{
    say_items(out, items, false);
}

void say_visit_brief(struct buf *out, unsigned items)
{
    say_items(out, items, true);
}

/* ---- one reading --------------------------------------------------------- */

static const char *status_word(enum reading_status s)
{
    static const char *const words[] = { [READING_FINAL] = N_("final"),
                                         [READING_CORRECTED] = N_("corrected"),
                                         [READING_PRELIMINARY] =
                                             N_("preliminary"),
                                         [READING_WITHDRAWN] =
                                             N_("withdrawn") };

    return gettext(words[s]);
}

/* A sign or a flag, looked for: found or not. */
static void say_found(const struct reading *r, struct fill *s)
{
    const struct quantity_info *info = quantity_info(r->quantity);
    struct fill found = { 0 };
    struct buf *out = fill_at(s, "what");

    if (info->kind == VALUE_CODE) {
        fill_text(&found, "name", wording_name(sign_info(r->sign)->display));
        fill_say(&found,
                 r->present ? "{name}" : _("{name}: looked for and not found"),
                 out);
        return;
    }
    fill_text(&found, "name", wording_name(info->display));
    fill_say(&found, r->value > 0.5 ? _("{name}: yes") : _("{name}: no"), out);
}

static void say_what(const struct reading *r, struct fill *s)
{
    const struct quantity_info *info = quantity_info(r->quantity);
    struct buf *out;

    if (info->kind != VALUE_NUMBER) {
        say_found(r, s);
        return;
    }
    out = fill_at(s, "what");
    if (r->quantity != Q_ACCESS_FLOW)
        buf_printf(out, "%s ", wording_name(info->display));
    if (isfinite(r->value))
        say_value(out, r->quantity, r->value, r->bound, NAN);
    else
        buf_puts(out, _("without a value"));
}

void wording_reading(const struct reading *r, const struct zone *zone,
                     struct buf *out)
{
    struct fill s = { 0 };

    say_what(r, &s);
    say_when(r, zone, fill_at(&s, "when"));
    /* TRANSLATORS: a reading in a list: "2240 mL/min", "on 2026-10-25" */
    fill_say(&s, _("{what} {when}"), out);
    if (quantity_info(r->quantity)->scope == SCOPE_ARM &&
        r->side != SIDE_UNKNOWN)
        buf_printf(out, "%s%s", list_comma(),
                   r->side == SIDE_LEFT ? _("left") : _("right"));
    if (r->quantity == Q_ACCESS_FLOW || r->method != METHOD_UNSTATED)
        buf_printf(out, "%s%s", list_comma(),
                   wording_name(method_display(r->method)));
    buf_printf(out, "%s%s", list_comma(), status_word(r->status));
}

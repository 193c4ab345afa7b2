#include "adapters/hl7_time.h"

#include "adapters/civil.h"
#include "adapters/fhir_time.h"

#include <stdio.h>
#include <string.h>

enum {
    TEXT_MAX = 36, /* longer than any that is meant */
    FRACTION_MAX = 9,
    OFFSET_MAX_S = 14 * 3600, /* the furthest that FHIR can write */
    YEAR_FIRST = 1900,
    YEAR_LAST = 2199
};

/* A text taken apart; what is not there is as it was set before. */
struct parts {
    int year, month, day, hour, minute, second;
    char fraction[FRACTION_MAX + 2]; /* ".25"; "" none */
    bool has_offset;
    int32_t offset_s;
};

static bool all_digits(const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (text[i] < '0' || text[i] > '9')
            return false;
    }
    return true;
}

static int number(const char *text, size_t len)
{
    int n = 0;

    for (size_t i = 0; i < len; i++)
        n = n * 10 + (text[i] - '0');
    return n;
}

/* ".S+" at text, len bytes. */
static bool read_fraction(const char *text, size_t len, struct parts *p)
{
    if (len < 2 || len > FRACTION_MAX + 1 || !all_digits(text + 1, len - 1))
        return false;
    memcpy(p->fraction, text, len);
    p->fraction[len] = '\0';
    return true;
}

/* "+0100" and the end of the text. */
static bool read_offset(const char *text, struct parts *p)
{
    int minutes;

    if (strlen(text) != 5 || !all_digits(text + 1, 4))
        return false;
    minutes = number(text + 3, 2);
    p->offset_s = (number(text + 1, 2) * 60 + minutes) * 60;
    if (minutes > 59 || p->offset_s > OFFSET_MAX_S)
        return false;
    if (text[0] == '-')
        p->offset_s = -p->offset_s;
    p->has_offset = true;
    return true;
}

/* How many digits a precision has: YYYY, YYYYMM ... */
static size_t digits_of(enum hl7_precision precision)
{
    return 4 + 2 * (size_t)precision;
}

/* The digits that count, given what the second component says. */
static bool cut(const char *degree, size_t *digits, struct parts *p)
{
    static const char letters[] = "YLDHMS"; /* L is a month */
    const char *at;
    size_t most;

    if (degree[0] == '\0')
        return true;
    at = degree[1] == '\0' ? strchr(letters, degree[0]) : NULL;
    if (at == NULL)
        return false;
    most = digits_of((enum hl7_precision)(at - letters));
    if (*digits > most) {
        *digits = most;
        p->fraction[0] = '\0';
    }
    return true;
}

static bool read_parts(const char *text, const char *degree, struct parts *p,
                       enum hl7_precision *precision)
{
    size_t digits = strspn(text, "0123456789");
    size_t whole = strcspn(text, "+-");
    int *const fields[] = { &p->month, &p->day, &p->hour, &p->minute,
                            &p->second };

    if (strlen(text) > TEXT_MAX || digits < 4 || digits > 14 || digits % 2 != 0)
        return false;
    if (digits < whole && (digits != 14 || text[digits] != '.' ||
                           !read_fraction(text + digits, whole - digits, p)))
        return false;
    if (text[whole] != '\0' && !read_offset(text + whole, p))
        return false;
    if (!cut(degree, &digits, p))
        return false;
    p->year = number(text, 4);
    for (size_t i = 0; 6 + 2 * i <= digits; i++)
        *fields[i] = number(text + 4 + 2 * i, 2);
    *precision = (enum hl7_precision)((digits - 4) / 2);
    return true;
}

static bool exists(const struct parts *p)
{
    return p->month >= 1 && p->month <= 12 && p->day >= 1 &&
           p->day <= civil_days_in_month(p->year, p->month) && p->hour <= 23 &&
           p->minute <= 59 && p->second <= 59;
}

/* A moment as the clock shows it that is offset_s ahead of UTC. */
static void write_moment(int64_t utc_s, int32_t offset_s, const char *fraction,
                         char out[HL7_TIME_SIZE])
{
    int64_t local_s, of_day;
    struct civil c;
    char zone[8] = "Z";

    /* Before 1940 some places differed from UTC by odd seconds. */
    if (offset_s % 60 != 0)
        offset_s = 0;
    local_s = utc_s + offset_s;
    c = civil_of_day(civil_day_of_s(local_s));
    of_day = local_s - civil_day_of_s(local_s) * DAY_S;
    if (offset_s != 0) {
        int minutes = (offset_s < 0 ? -offset_s : offset_s) / 60;

        snprintf(zone, sizeof(zone), "%c%02d:%02d", offset_s < 0 ? '-' : '+',
                 minutes / 60 % 100, minutes % 60);
    }
    snprintf(out, HL7_TIME_SIZE, "%04d-%02d-%02dT%02d:%02d:%02d%s%s", c.year,
             c.month, c.day, (int)(of_day / 3600), (int)(of_day / 60 % 60),
             (int)(of_day % 60), fraction, zone);
}

enum { LEAD_S = 300 }; /* by which clocks of two machines may differ */

/* Is there another moment that shows the same time on the wall?  Clocks change
 * less often than once a day. */
static bool find_other(const struct zone *zone, int64_t local_s, int64_t utc_s,
                       int64_t *other_s)
{
    static const int64_t around_s[] = { -(int64_t)DAY_S, DAY_S };

    for (size_t i = 0; i < COUNT(around_s); i++) {
        int32_t offset_s = zone_offset_s(zone, utc_s + around_s[i]);

        *other_s = local_s - offset_s;
        if (*other_s != utc_s && zone_offset_s(zone, *other_s) == offset_s)
            return true;
    }
    return false;
}

/* Of a time that the clocks show twice, t has the first; true: what was told of
 * the message says which of the two is meant. */
static bool choose(const struct hl7_here *here, int64_t local_s,
                   int64_t other_s, struct hl7_time *t)
{
    int64_t told_s = local_s - here->offset_s;
    int64_t last_s = here->sent_s + LEAD_S;

    if (!here->told || t->start_s > last_s ||
        (told_s != t->start_s && told_s != other_s))
        return false;
    if (told_s <= last_s) /* else only the first can have been measured yet */
        t->start_s = told_s;
    return true;
}

static void place_moment(const struct parts *p, const struct hl7_here *here,
                         struct hl7_time *t)
{
    int of_day_s = (p->hour * 60 + p->minute) * 60 + p->second;
    int64_t local_s =
        civil_to_day(p->year, p->month, p->day) * DAY_S + of_day_s;
    int32_t offset_s = p->has_offset ? p->offset_s : here->offset_s;
    int64_t other_s = 0;

    t->has_offset = p->has_offset;
    t->offset_s = p->offset_s;
    t->start_s = local_s - offset_s;
    if (!p->has_offset && !here->fixed) {
        t->start_s = zone_utc_s(here->zone, local_s);
        offset_s = zone_offset_s(here->zone, t->start_s);
        t->skipped = t->start_s + offset_s != local_s;
        t->twice = !t->skipped &&
                   find_other(here->zone, local_s, t->start_s, &other_s) &&
                   !choose(here, local_s, other_s, t);
        if (!t->skipped)
            offset_s = (int32_t)(local_s - t->start_s);
    }
    t->end_s = t->start_s + (t->precision == HL7_HOUR     ? 3600
                             : t->precision == HL7_MINUTE ? 60
                                                          : 1);
    write_moment(t->start_s, offset_s, t->skipped ? "" : p->fraction, t->text);
    if (t->precision == HL7_HOUR)
        write_moment(t->end_s - 1, offset_s, "", t->last);
}

/* A year, a month or a day: that of the place, whatever the offset. */
static enum err place_date(const struct parts *p, const struct zone *zone,
                           struct hl7_time *t)
{
    struct fhir_time day;
    enum err e;

    if (t->precision == HL7_YEAR)
        snprintf(t->text, sizeof(t->text), "%04d", p->year);
    else if (t->precision == HL7_MONTH)
        snprintf(t->text, sizeof(t->text), "%04d-%02d", p->year, p->month);
    else
        snprintf(t->text, sizeof(t->text), "%04d-%02d-%02d", p->year, p->month,
                 p->day);
    e = fhir_time_read(t->text, strlen(t->text), zone, &day);
    if (e != ERR_OK)
        return e;
    t->start_s = day.start_s;
    t->end_s = day.end_s;
    return ERR_OK;
}

struct hl7_here hl7_here_of(const struct zone *zone,
                            const struct hl7_time *sent)
{
    struct hl7_here here = { .zone = zone };

    if (!sent->has_offset)
        return here;
    here.fixed = zone_offset_s(zone, sent->start_s) != sent->offset_s;
    here.told = !here.fixed;
    here.offset_s = sent->offset_s;
    here.sent_s = sent->start_s;
    return here;
}

enum err hl7_time_read(const char *text, const char *degree,
                       const struct hl7_here *here, struct hl7_time *out)
{
    struct parts p = { .month = 1, .day = 1 };
    struct hl7_time t = { .twice = false };
    enum err e = ERR_OK;

    if (!read_parts(text, degree, &p, &t.precision))
        return ERR_FORM;
    if (p.year < YEAR_FIRST || p.year > YEAR_LAST)
        return ERR_RANGE;
    if (!exists(&p))
        return ERR_FORM;
    if (t.precision >= HL7_HOUR)
        place_moment(&p, here, &t);
    else
        e = place_date(&p, here->zone, &t);
    if (e == ERR_OK)
        *out = t;
    return e;
}

enum err hl7_clock_read(const char *text, char out[HL7_TIME_SIZE])
{
    struct parts p = { .year = 0 };
    size_t digits = strspn(text, "0123456789");
    size_t len = strlen(text);

    if (len > TEXT_MAX || (digits != 4 && digits != 6))
        return ERR_FORM;
    if (len > digits && (digits != 6 || text[digits] != '.' ||
                         !read_fraction(text + digits, len - digits, &p)))
        return ERR_FORM;
    p.hour = number(text, 2);
    p.minute = number(text + 2, 2);
    p.second = digits == 6 ? number(text + 4, 2) : 0;
    if (p.hour > 23 || p.minute > 59 || p.second > 59)
        return ERR_FORM;
    snprintf(out, HL7_TIME_SIZE, "%02d:%02d:%02d%s", p.hour, p.minute, p.second,
             p.fraction);
    return ERR_OK;
}

#include "adapters/fhir_time.h"

#include "adapters/civil.h"

enum { YEAR_MIN = 1900, YEAR_MAX = 2199, OFFSET_MAX_MIN = 14 * 60 };

struct cursor {
    const char *at, *end;
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool take(struct cursor *c, char wanted)
{
    if (c->at == c->end || *c->at != wanted)
        return false;
    c->at++;
    return true;
}

/* Exactly so many digits, and a number within the limits. */
static bool take_number(struct cursor *c, int digits, int least, int most,
                        int *out)
{
    int n = 0;

    for (int i = 0; i < digits; i++) {
        if (c->at == c->end || !is_digit(*c->at))
            return false;
        n = n * 10 + (*c->at++ - '0');
    }
    *out = n;
    return n >= least && n <= most;
}

/* YYYY, YYYY-MM or YYYY-MM-DD; what is not said is 1. */
static bool take_date(struct cursor *c, struct civil *date,
                      enum precision *precision)
{
    *date = (struct civil){ .month = 1, .day = 1 };
    *precision = AT_YEAR;
    if (!take_number(c, 4, 0, 9999, &date->year))
        return false;
    if (!take(c, '-'))
        return true;
    *precision = AT_MONTH;
    if (!take_number(c, 2, 1, 12, &date->month))
        return false;
    if (!take(c, '-'))
        return true;
    *precision = AT_DAY;
    return take_number(c, 2, 1, civil_days_in_month(date->year, date->month),
                       &date->day);
}

/* hh:mm:ss with any fraction, as seconds of the day */
static bool take_clock(struct cursor *c, int *clock_s)
{
    int h, m, s;

    if (!take_number(c, 2, 0, 23, &h) || !take(c, ':') ||
        !take_number(c, 2, 0, 59, &m) || !take(c, ':') ||
        !take_number(c, 2, 0, 60, &s))
        return false;
    /* A leap second has no number of its own in POSIX time. */
    if (s == 60)
        s = 59;
    if (take(c, '.')) {
        if (c->at == c->end || !is_digit(*c->at))
            return false;
        while (c->at < c->end && is_digit(*c->at))
            c->at++;
    }
    *clock_s = (h * 60 + m) * 60 + s;
    return true;
}

/* Z or +hh:mm, as seconds east of UTC */
static bool take_offset(struct cursor *c, int *offset_s)
{
    bool west;
    int h, m;

    *offset_s = 0;
    if (take(c, 'Z'))
        return true;
    west = take(c, '-');
    if (!west && !take(c, '+'))
        return false;
    if (!take_number(c, 2, 0, 14, &h) || !take(c, ':') ||
        !take_number(c, 2, 0, 59, &m) || h * 60 + m > OFFSET_MAX_MIN)
        return false;
    *offset_s = (h * 60 + m) * (west ? -60 : 60);
    return true;
}

static enum err read_second(struct cursor *c, const struct civil *date,
                            struct fhir_time *out)
{
    int clock_s, offset_s;

    if (!take_clock(c, &clock_s) || !take_offset(c, &offset_s) ||
        c->at != c->end)
        return ERR_FORM;
    if (date->year < YEAR_MIN || date->year > YEAR_MAX)
        return ERR_RANGE;
    out->start_s = civil_to_day(date->year, date->month, date->day) * DAY_S +
                   clock_s - offset_s;
    out->end_s = out->start_s + 1;
    out->precision = AT_SECOND;
    return ERR_OK;
}

/* The first day after the year, month or day that starts on this date. */
static int64_t day_after(const struct civil *date, enum precision precision)
{
    if (precision == AT_YEAR)
        return civil_to_day(date->year + 1, 1, 1);
    if (precision == AT_DAY)
        return civil_to_day(date->year, date->month, date->day + 1);
    if (date->month == 12)
        return civil_to_day(date->year + 1, 1, 1);
    return civil_to_day(date->year, date->month + 1, 1);
}

static enum err read_days(const struct civil *date, enum precision precision,
                          const struct zone *zone, struct fhir_time *out)
{
    int64_t first = civil_to_day(date->year, date->month, date->day);
    int64_t start_s, end_s;

    if (date->year < YEAR_MIN || date->year > YEAR_MAX)
        return ERR_RANGE;
    start_s = zone_utc_s(zone, first * DAY_S);
    end_s = zone_utc_s(zone, day_after(date, precision) * DAY_S);
    /* Islands that crossed the date line to the west left out a day. */
    if (start_s >= end_s)
        return ERR_FORM;
    *out = (struct fhir_time){ start_s, end_s, precision };
    return ERR_OK;
}

enum err fhir_time_read(const char *text, size_t len, const struct zone *zone,
                        struct fhir_time *out)
{
    struct cursor c = { text, text + len };
    enum precision precision;
    struct civil date;

    if (!take_date(&c, &date, &precision))
        return ERR_FORM;
    if (c.at == c.end)
        return read_days(&date, precision, zone, out);
    if (precision != AT_DAY || !take(&c, 'T'))
        return ERR_FORM;
    return read_second(&c, &date, out);
}

enum err fhir_instant_read(const char *text, size_t len, struct fhir_time *out)
{
    struct cursor c = { text, text + len };
    enum precision precision;
    struct civil date;

    if (!take_date(&c, &date, &precision) || precision != AT_DAY ||
        !take(&c, 'T'))
        return ERR_FORM;
    return read_second(&c, &date, out);
}

/* n with so many digits and then one more character; returns the end. */
static char *put(char *p, int64_t n, int digits, char after)
{
    for (int i = digits - 1; i >= 0; i--) {
        p[i] = (char)('0' + n % 10);
        n /= 10;
    }
    p[digits] = after;
    return p + digits + 1;
}

static int64_t clamp(int64_t n, int64_t least, int64_t most)
{
    if (n < least)
        return least;
    return n > most ? most : n;
}

/* Within the years that four digits can say. */
static int64_t writable_s(int64_t at_s)
{
    return clamp(at_s, civil_to_day(1, 1, 1) * DAY_S,
                 civil_to_day(10000, 1, 1) * DAY_S - 1);
}

/* The date and a character after it; returns the end. */
static char *put_date(char *p, int64_t day, char after)
{
    struct civil date = civil_of_day(day);

    p = put(p, date.year, 4, '-');
    p = put(p, date.month, 2, '-');
    return put(p, date.day, 2, after);
}

static char *put_time(char *p, int64_t at_s, char after)
{
    int64_t day = civil_day_of_s(at_s);
    int64_t clock_s = at_s - day * DAY_S;

    p = put_date(p, day, 'T');
    p = put(p, clock_s / 3600, 2, ':');
    p = put(p, clock_s / 60 % 60, 2, ':');
    return put(p, clock_s % 60, 2, after);
}

void fhir_time_write(int64_t at_s, char out[FHIR_TIME_SIZE])
{
    *put_time(out, writable_s(at_s), 'Z') = '\0';
}

void fhir_time_write_ms(int64_t at_ms, char out[FHIR_TIME_SIZE])
{
    int64_t ms = clamp(at_ms, writable_s(INT64_MIN) * 1000,
                       writable_s(INT64_MAX) * 1000 + 999);
    int64_t at_s = ms / 1000 - (ms % 1000 < 0);
    char *p = put_time(out, at_s, '.');

    *put(p, ms - at_s * 1000, 3, 'Z') = '\0';
}

void fhir_date_write(int64_t at_s, const struct zone *zone,
                     char out[FHIR_TIME_SIZE])
{
    int64_t utc_s = writable_s(at_s);
    int64_t local_s = writable_s(utc_s + zone_offset_s(zone, utc_s));

    (void)put_date(out, civil_day_of_s(local_s), '\0');
}

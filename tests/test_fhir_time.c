/* timegm of the C library, which the tests compare with. */
#define _DEFAULT_SOURCE

#include "adapters/fhir_time.h"
#include "tests/test.h"

#include <time.h>
#include <unistd.h>

static uint64_t seed = 20260306;

/* Knuth's MMIX generator; the upper half is good enough here. */
static uint32_t random_32(void)
{
    seed = seed * 6364136223846793005u + 1442695040888963407u;
    return (uint32_t)(seed >> 32);
}

/* "2026-03-28 23:00:00" in UTC, by the C library */
static int64_t utc_s(const char *text)
{
    struct tm tm = { .tm_isdst = 0 };

    assert_int_equal(sscanf(text, "%d-%d-%d %d:%d:%d", &tm.tm_year, &tm.tm_mon,
                            &tm.tm_mday, &tm.tm_hour, &tm.tm_min, &tm.tm_sec),
                     6);
    tm.tm_year -= 1900;
    tm.tm_mon -= 1;
    return timegm(&tm);
}

/* NULL if the system lacks the zone; UTC is always there. */
static struct zone *load(const char *name)
{
    struct zone *zone = NULL;
    char path[128];

    snprintf(path, sizeof path, "/usr/share/zoneinfo/%s", name);
    if (strcmp(name, "UTC") != 0 && access(path, R_OK) != 0) {
        print_message("    %s is not installed\n", name);
        return NULL;
    }
    assert_int_equal(zone_load(name, &zone), ERR_OK);
    return zone;
}

/* Source of the forms: FHIR R4 (4.0.1), regular expressions of the types. */
static const struct {
    const char *text;
    enum err want;
    const char *start; /* UTC */
} seconds[] = {
    { "2026-03-06T08:12:00Z", ERR_OK, "2026-03-06 08:12:00" },
    { "2026-03-06T08:12:00+00:00", ERR_OK, "2026-03-06 08:12:00" },
    { "2026-03-06T08:12:00-00:00", ERR_OK, "2026-03-06 08:12:00" },
    { "2026-03-06T08:12:00+01:00", ERR_OK, "2026-03-06 07:12:00" },
    { "2026-03-06T08:12:00-05:30", ERR_OK, "2026-03-06 13:42:00" },
    { "2026-01-01T00:30:00+14:00", ERR_OK, "2025-12-31 10:30:00" },
    { "2025-12-31T23:30:00-14:00", ERR_OK, "2026-01-01 13:30:00" },
    { "2026-03-06T08:12:00+14:01", ERR_FORM, NULL },
    { "2026-03-06T08:12:00-14:01", ERR_FORM, NULL },
    { "2026-03-06T08:12:00+13:59", ERR_OK, "2026-03-05 18:13:00" },
    { "2026-03-06T08:12:00+13:60", ERR_FORM, NULL },
    { "2026-03-06T08:12:00+15:00", ERR_FORM, NULL },
    { "2026-03-06T08:12:00+1:00", ERR_FORM, NULL },
    { "2026-03-06T08:12:00+0100", ERR_FORM, NULL },
    { "2026-03-06T08:12:00+01", ERR_FORM, NULL },
    { "2026-03-06T08:12:00+01:0", ERR_FORM, NULL },
    { "2026-03-06T08:12:00+01:000", ERR_FORM, NULL },
    { "2026-03-06T08:12:00", ERR_FORM, NULL },
    { "2026-03-06T08:12Z", ERR_FORM, NULL },
    { "2026-03-06T08Z", ERR_FORM, NULL },
    { "2026-03-06TZ", ERR_FORM, NULL },
    { "2026-03-06T", ERR_FORM, NULL },
    { "2026-03-06Z", ERR_FORM, NULL },
    { "2026-03-06t08:12:00Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:00z", ERR_FORM, NULL },
    { "2026-03-06 08:12:00Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:00 Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:00Z ", ERR_FORM, NULL },
    { " 2026-03-06T08:12:00Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:00ZZ", ERR_FORM, NULL },
    { "2026-03T08:12:00Z", ERR_FORM, NULL },
    { "2026T08:12:00Z", ERR_FORM, NULL },
    { "2026-03-06T8:12:00Z", ERR_FORM, NULL },
    { "20260306T081200Z", ERR_FORM, NULL },
    { "2026-03-06T-8:12:00Z", ERR_FORM, NULL },
    { "2026-03-06T+8:12:00Z", ERR_FORM, NULL },
    { "2026-03-06T23:59:59Z", ERR_OK, "2026-03-06 23:59:59" },
    { "2026-03-06T00:00:00Z", ERR_OK, "2026-03-06 00:00:00" },
    { "2026-03-06T24:00:00Z", ERR_FORM, NULL },
    { "2026-03-06T08:60:00Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:60Z", ERR_OK, "2026-03-06 08:12:59" },
    { "2016-12-31T23:59:60.5Z", ERR_OK, "2016-12-31 23:59:59" },
    { "2026-03-06T08:12:61Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:07.9Z", ERR_OK, "2026-03-06 08:12:07" },
    { "2026-03-06T08:12:07.999999999999999999999999999999999999999999+01:00",
      ERR_OK, "2026-03-06 07:12:07" },
    { "1969-12-31T23:59:59.9Z", ERR_OK, "1969-12-31 23:59:59" },
    { "2026-03-06T08:12:07.Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:07.", ERR_FORM, NULL },
    { "2026-03-06T08:12:07,5Z", ERR_FORM, NULL },
    { "2026-03-06T08:12:07.5", ERR_FORM, NULL },
    { "2026-03-06T08:12:07.5.5Z", ERR_FORM, NULL },
    { "2024-02-29T12:00:00Z", ERR_OK, "2024-02-29 12:00:00" },
    { "2026-02-29T12:00:00Z", ERR_FORM, NULL },
    { "1900-01-01T00:00:00Z", ERR_OK, "1900-01-01 00:00:00" },
    { "1900-01-01T00:00:00+14:00", ERR_OK, "1899-12-31 10:00:00" },
    { "1899-12-31T23:59:59Z", ERR_RANGE, NULL },
    { "2199-12-31T23:59:59Z", ERR_OK, "2199-12-31 23:59:59" },
    { "2199-12-31T23:59:59-14:00", ERR_OK, "2200-01-01 13:59:59" },
    { "2200-01-01T00:00:00Z", ERR_RANGE, NULL },
    { "0000-01-01T00:00:00Z", ERR_RANGE, NULL },
    { "9999-12-31T23:59:59Z", ERR_RANGE, NULL },
    { "2200-02-30T00:00:00Z", ERR_FORM, NULL },
    { "10000-01-01T00:00:00Z", ERR_FORM, NULL },
};

static void check_second(const struct fhir_time *got, const char *start)
{
    int64_t start_s = utc_s(start);

    assert_int_equal(got->start_s, start_s);
    assert_int_equal(got->end_s, start_s + 1);
    assert_int_equal(got->precision, AT_SECOND);
}

/* Full times mean the same in every zone, as dateTime and as instant. */
static void reads_seconds(void **state)
{
    static const struct fhir_time untouched = { 7, 7, AT_PERIOD };
    struct zone *zone = load("UTC");

    (void)state;
    for (size_t i = 0; i < COUNT(seconds); i++) {
        const char *text = seconds[i].text;
        struct fhir_time time = untouched, instant = untouched;

        ROW(text);
        assert_int_equal(fhir_time_read(text, strlen(text), zone, &time),
                         seconds[i].want);
        assert_int_equal(fhir_instant_read(text, strlen(text), &instant),
                         seconds[i].want);
        if (seconds[i].want == ERR_OK) {
            check_second(&time, seconds[i].start);
            check_second(&instant, seconds[i].start);
        } else {
            assert_int_equal(time.start_s, untouched.start_s);
            assert_int_equal(instant.start_s, untouched.start_s);
        }
    }
    zone_free(zone);
}

#define BERLIN    "Europe/Berlin"
#define LORD_HOWE "Australia/Lord_Howe"

static const struct {
    const char *text, *zone;
    enum err want;
    enum precision precision;
    const char *start, *end; /* UTC */
} dates[] = {
    { "2026-03-06", "UTC", ERR_OK, AT_DAY, "2026-03-06 00:00:00",
      "2026-03-07 00:00:00" },
    { "2026-03", "UTC", ERR_OK, AT_MONTH, "2026-03-01 00:00:00",
      "2026-04-01 00:00:00" },
    { "2026-12", "UTC", ERR_OK, AT_MONTH, "2026-12-01 00:00:00",
      "2027-01-01 00:00:00" },
    { "2026", "UTC", ERR_OK, AT_YEAR, "2026-01-01 00:00:00",
      "2027-01-01 00:00:00" },
    { "2026-12-31", "UTC", ERR_OK, AT_DAY, "2026-12-31 00:00:00",
      "2027-01-01 00:00:00" },
    { "2024-02", "UTC", ERR_OK, AT_MONTH, "2024-02-01 00:00:00",
      "2024-03-01 00:00:00" },
    { "2024-02-28", "UTC", ERR_OK, AT_DAY, "2024-02-28 00:00:00",
      "2024-02-29 00:00:00" },
    { "2024-02-29", "UTC", ERR_OK, AT_DAY, "2024-02-29 00:00:00",
      "2024-03-01 00:00:00" },
    { "2000-02-29", "UTC", ERR_OK, AT_DAY, "2000-02-29 00:00:00",
      "2000-03-01 00:00:00" },
    { "2024-02-30", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-02-29", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "1900-02-29", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2100-02-29", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-04-30", "UTC", ERR_OK, AT_DAY, "2026-04-30 00:00:00",
      "2026-05-01 00:00:00" },
    { "2026-04-31", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-01-31", "UTC", ERR_OK, AT_DAY, "2026-01-31 00:00:00",
      "2026-02-01 00:00:00" },
    { "2026-01-32", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-01-00", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-00-01", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-00", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-13", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-3-6", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-03-6", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-03-", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "202", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "20260306", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026/03/06", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "06-03-2026", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "-026-03-06", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-03-06 ", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "2026-03-06+01:00", "UTC", ERR_FORM, AT_DAY, NULL, NULL },
    { "1900", "UTC", ERR_OK, AT_YEAR, "1900-01-01 00:00:00",
      "1901-01-01 00:00:00" },
    { "1899", "UTC", ERR_RANGE, AT_YEAR, NULL, NULL },
    { "1899-12-31", "UTC", ERR_RANGE, AT_DAY, NULL, NULL },
    { "2199", "UTC", ERR_OK, AT_YEAR, "2199-01-01 00:00:00",
      "2200-01-01 00:00:00" },
    { "2200-01", "UTC", ERR_RANGE, AT_MONTH, NULL, NULL },

    { "2026-03-06", BERLIN, ERR_OK, AT_DAY, "2026-03-05 23:00:00",
      "2026-03-06 23:00:00" },
    { "2026-07-06", BERLIN, ERR_OK, AT_DAY, "2026-07-05 22:00:00",
      "2026-07-06 22:00:00" },
    { "2026-03-29", BERLIN, ERR_OK, AT_DAY, "2026-03-28 23:00:00",
      "2026-03-29 22:00:00" }, /* 23 hours */
    { "2026-10-25", BERLIN, ERR_OK, AT_DAY, "2026-10-24 22:00:00",
      "2026-10-25 23:00:00" }, /* 25 hours */
    { "2026-03", BERLIN, ERR_OK, AT_MONTH, "2026-02-28 23:00:00",
      "2026-03-31 22:00:00" },
    { "2026", BERLIN, ERR_OK, AT_YEAR, "2025-12-31 23:00:00",
      "2026-12-31 23:00:00" },
    /* After the last change that the file lists, by the rule at its end. */
    { "2150-03-29", BERLIN, ERR_OK, AT_DAY, "2150-03-28 23:00:00",
      "2150-03-29 22:00:00" },
    { "2199", BERLIN, ERR_OK, AT_YEAR, "2198-12-31 23:00:00",
      "2199-12-31 23:00:00" },
    { "2026-03-06", "Asia/Kolkata", ERR_OK, AT_DAY, "2026-03-05 18:30:00",
      "2026-03-06 18:30:00" },
    { "2026-04-05", LORD_HOWE, ERR_OK, AT_DAY, "2026-04-04 13:00:00",
      "2026-04-05 13:30:00" }, /* 24 h 30 min */
    { "2026-03-08", "America/New_York", ERR_OK, AT_DAY, "2026-03-08 05:00:00",
      "2026-03-09 04:00:00" },
    /* No midnight: the clocks went from 24:00 to 01:00. */
    { "2018-11-04", "America/Sao_Paulo", ERR_OK, AT_DAY, "2018-11-04 03:00:00",
      "2018-11-05 02:00:00" },
    /* A day that the zone left out, and its neighbours. */
    { "2011-12-29", "Pacific/Apia", ERR_OK, AT_DAY, "2011-12-29 10:00:00",
      "2011-12-30 10:00:00" },
    { "2011-12-30", "Pacific/Apia", ERR_FORM, AT_DAY, NULL, NULL },
    { "2011-12-31", "Pacific/Apia", ERR_OK, AT_DAY, "2011-12-30 10:00:00",
      "2011-12-31 10:00:00" },
};

static void reads_dates(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(dates); i++) {
        size_t len = strlen(dates[i].text);
        struct fhir_time got = { 7, 7, AT_PERIOD };
        struct zone *zone = load(dates[i].zone);

        ROW(dates[i].text);
        if (zone == NULL)
            continue;
        assert_int_equal(fhir_time_read(dates[i].text, len, zone, &got),
                         dates[i].want);
        if (dates[i].want == ERR_OK) {
            assert_int_equal(got.start_s, utc_s(dates[i].start));
            assert_int_equal(got.end_s, utc_s(dates[i].end));
            assert_int_equal(got.precision, dates[i].precision);
        } else {
            assert_int_equal(got.start_s, 7);
        }
        /* A date is never an instant. */
        assert_int_equal(fhir_instant_read(dates[i].text, len, &got), ERR_FORM);
        zone_free(zone);
    }
}

/* Every shorter text is something else; none may be read past its end. */
static void length_counts(void **state)
{
    static const char text[] = "2026-03-06T08:12:07.25+01:00";
    struct zone *zone = load("UTC");

    (void)state;
    for (size_t len = 0; len < sizeof text; len++) {
        char *copy = malloc(len + 1);
        struct fhir_time got;
        enum err e;

        memcpy(copy, text, len);
        copy = realloc(copy, len + (len == 0));
        e = fhir_time_read(copy, len, zone, &got);
        assert_int_equal(e, len == 4 || len == 7 || len == 10 ||
                                    len == sizeof text - 1
                                ? ERR_OK
                                : ERR_FORM);
        free(copy);
    }
    zone_free(zone);
}

static int64_t random_s(void)
{
    /* A day inside both ends, so that no offset leaves the years allowed. */
    int64_t first = utc_s("1900-01-02 00:00:00");
    int64_t last = utc_s("2199-12-31 00:00:00");
    uint64_t n = (uint64_t)random_32() << 32 | random_32();

    return first + (int64_t)(n % (uint64_t)(last - first));
}

/* Seeded times, written by the C library and read here, and the reverse. */
static void agrees_with_libc(void **state)
{
    (void)state;
    for (int n = 0; n < 200000; n++) {
        int64_t at_s = random_s();
        int offset_min = (int)(random_32() % (2 * 840 + 1)) - 840;
        time_t local = (time_t)(at_s + offset_min * 60);
        time_t utc = (time_t)at_s;
        char text[64], want[64], got[FHIR_TIME_SIZE];
        struct fhir_time time;
        struct tm tm;
        size_t len;

        assert_non_null(gmtime_r(&local, &tm));
        len = strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%S", &tm);
        len += (size_t)snprintf(text + len, sizeof text - len, "%c%02d:%02d",
                                offset_min < 0 ? '-' : '+',
                                abs(offset_min) / 60, abs(offset_min) % 60);
        assert_int_equal(fhir_instant_read(text, len, &time), ERR_OK);
        assert_int_equal(time.start_s, at_s);

        assert_non_null(gmtime_r(&utc, &tm));
        strftime(want, sizeof want, "%Y-%m-%dT%H:%M:%SZ", &tm);
        fhir_time_write(at_s, got);
        assert_string_equal(got, want);
    }
}

static const char *const zones[] = {
    "Europe/Berlin", "America/New_York", "Asia/Kolkata",
    LORD_HOWE,       "Pacific/Apia",     "America/Sao_Paulo",
};

/* The local date at a time, by the C library, as a FHIR date. */
static void libc_date(int64_t at_s, char out[FHIR_TIME_SIZE])
{
    time_t t = (time_t)at_s;
    struct tm tm;

    assert_non_null(localtime_r(&t, &tm));
    assert_true(strftime(out, FHIR_TIME_SIZE, "%Y-%m-%d", &tm) == 10);
}

/*
 * The day of a random second: read back, the C library must call its first
 * and its last second that day, and those beside them other days.
 */
static void check_day(const struct zone *zone, int64_t at_s)
{
    char date[FHIR_TIME_SIZE], other[FHIR_TIME_SIZE];
    struct fhir_time day;

    fhir_date_write(at_s, zone, date);
    libc_date(at_s, other);
    assert_string_equal(date, other);
    assert_int_equal(fhir_time_read(date, 10, zone, &day), ERR_OK);
    assert_true(day.start_s <= at_s && at_s < day.end_s);
    libc_date(day.start_s, other);
    assert_string_equal(date, other);
    libc_date(day.end_s - 1, other);
    assert_string_equal(date, other);
    libc_date(day.start_s - 1, other);
    assert_true(strcmp(other, date) < 0);
    libc_date(day.end_s, other);
    assert_true(strcmp(other, date) > 0);
    /* The month and the year start with their first days. */
    assert_int_equal(fhir_time_read(date, 7, zone, &day), ERR_OK);
    libc_date(day.start_s, other);
    assert_memory_equal(other + 7, "-01", 3);
    assert_int_equal(fhir_time_read(date, 4, zone, &day), ERR_OK);
    libc_date(day.start_s, other);
    assert_memory_equal(other + 4, "-01-01", 6);
}

static void days_are_those_of_libc(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(zones); i++) {
        struct zone *zone = load(zones[i]);

        ROW(zones[i]);
        if (zone == NULL)
            continue;
        assert_int_equal(setenv("TZ", zones[i], 1), 0);
        tzset();
        for (int n = 0; n < 20000; n++)
            check_day(zone, random_s());
        for (int64_t at_s = utc_s("2024-01-01 12:00:00");
             at_s < utc_s("2041-01-01 12:00:00"); at_s += 12 * HOUR_S)
            check_day(zone, at_s);
        zone_free(zone);
    }
}

static const struct {
    const char *name;
    int64_t at_ms;
    const char *want;
} writes[] = {
    { "epoch", 0, "1970-01-01T00:00:00.000Z" },
    { "just after", 1, "1970-01-01T00:00:00.001Z" },
    { "just before", -1, "1969-12-31T23:59:59.999Z" },
    { "a whole second before", -1000, "1969-12-31T23:59:59.000Z" },
    { "typical", 1772784720042, "2026-03-06T08:12:00.042Z" },
    { "last of a leap day", 1709251199999, "2024-02-29T23:59:59.999Z" },
    { "last that can be said", 253402300799999, "9999-12-31T23:59:59.999Z" },
    { "after that", 253402300800000, "9999-12-31T23:59:59.999Z" },
    { "largest", INT64_MAX, "9999-12-31T23:59:59.999Z" },
    { "first that can be said", -62135596800000, "0001-01-01T00:00:00.000Z" },
    { "before that", -62135596800001, "0001-01-01T00:00:00.000Z" },
    { "smallest", INT64_MIN, "0001-01-01T00:00:00.000Z" },
};

static void writes_times(void **state)
{
    char got[FHIR_TIME_SIZE];

    (void)state;
    for (size_t i = 0; i < COUNT(writes); i++) {
        ROW(writes[i].name);
        fhir_time_write_ms(writes[i].at_ms, got);
        assert_string_equal(got, writes[i].want);
    }
    fhir_time_write(1772784720, got);
    assert_string_equal(got, "2026-03-06T08:12:00Z");
    fhir_time_write(INT64_MAX, got);
    assert_string_equal(got, "9999-12-31T23:59:59Z");
    fhir_time_write(INT64_MIN, got);
    assert_string_equal(got, "0001-01-01T00:00:00Z");
}

static const struct {
    const char *at, *zone; /* UTC */
    const char *want;
} written_dates[] = {
    { "2026-03-06 08:12:00", "UTC", "2026-03-06" },
    { "2026-03-05 22:59:59", BERLIN, "2026-03-05" },
    { "2026-03-05 23:00:00", BERLIN, "2026-03-06" },
    { "2026-07-05 21:59:59", BERLIN, "2026-07-05" },
    { "2026-07-05 22:00:00", BERLIN, "2026-07-06" },
    { "2026-03-06 04:59:59", "America/New_York", "2026-03-05" },
    { "2026-03-06 05:00:00", "America/New_York", "2026-03-06" },
};

static void writes_dates(void **state)
{
    char got[FHIR_TIME_SIZE];

    (void)state;
    for (size_t i = 0; i < COUNT(written_dates); i++) {
        struct zone *zone = load(written_dates[i].zone);

        ROW(written_dates[i].at);
        if (zone == NULL)
            continue;
        fhir_date_write(utc_s(written_dates[i].at), zone, got);
        assert_string_equal(got, written_dates[i].want);
        fhir_date_write(INT64_MAX, zone, got);
        assert_memory_equal(got, "9999-12-31", 10);
        fhir_date_write(INT64_MIN, zone, got);
        assert_memory_equal(got, "0001-01-01", 10);
        zone_free(zone);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_seconds),
        cmocka_unit_test(reads_dates),
        cmocka_unit_test(length_counts),
        cmocka_unit_test(agrees_with_libc),
        cmocka_unit_test(days_are_those_of_libc),
        cmocka_unit_test(writes_times),
        cmocka_unit_test(writes_dates),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

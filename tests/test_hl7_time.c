/* timegm of the C library, which the tests compare with. */
#define _DEFAULT_SOURCE

#include "adapters/hl7_time.h"
#include "tests/test.h"

#include <time.h>

static struct zone *berlin;
static struct hl7_here here;

static int start(void **state)
{
    (void)state;
    assert_int_equal(zone_load("Europe/Berlin", &berlin), ERR_OK);
    here = (struct hl7_here){ .zone = berlin };
    setenv("TZ", "Europe/Berlin", 1); /* for the C library below only */
    tzset();
    return 0;
}

static int stop(void **state)
{
    (void)state;
    zone_free(berlin);
    return 0;
}

/* Seconds of a UTC time, by the C library. */
static int64_t utc(const char *text)
{
    struct tm tm = { .tm_isdst = 0 };

    assert_int_equal(sscanf(text, "%d-%d-%dT%d:%d:%d", &tm.tm_year, &tm.tm_mon,
                            &tm.tm_mday, &tm.tm_hour, &tm.tm_min, &tm.tm_sec),
                     6);
    tm.tm_year -= 1900;
    tm.tm_mon -= 1;
    return (int64_t)timegm(&tm);
}

/*
 * Examples printed in HL7 v2.5.1, chapter 2A: DTM (|199904| is April 1999) and
 * TS (the others, with what they mean); "local time" is here that of Berlin,
 * which was on summer time in July 1988.
 */
static void test_published(void **state)
{
    static const struct {
        const char *text, *fhir, *first, *after;
        enum hl7_precision precision;
    } rows[] = {
        { "199904", "1999-04", "1999-03-31T22:00:00", "1999-04-30T22:00:00",
          HL7_MONTH },
        { "19760704010159-0500", "1976-07-04T01:01:59-05:00",
          "1976-07-04T06:01:59", "1976-07-04T06:02:00", HL7_SECOND },
        { "19760704010159-0400", "1976-07-04T01:01:59-04:00",
          "1976-07-04T05:01:59", "1976-07-04T05:02:00", HL7_SECOND },
        { "198807050000", "1988-07-05T00:00:00+02:00", "1988-07-04T22:00:00",
          "1988-07-04T22:01:00", HL7_MINUTE },
        { "19880705", "1988-07-05", "1988-07-04T22:00:00",
          "1988-07-05T22:00:00", HL7_DAY },
        { "19981004010159+0100", "1998-10-04T01:01:59+01:00",
          "1998-10-04T00:01:59", "1998-10-04T00:02:00", HL7_SECOND },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct hl7_time t;

        ROW(rows[i].text);
        assert_int_equal(hl7_time_read(rows[i].text, "", &here, &t), ERR_OK);
        assert_string_equal(t.text, rows[i].fhir);
        assert_string_equal(t.last, "");
        assert_int_equal(t.precision, rows[i].precision);
        assert_true(t.start_s == utc(rows[i].first));
        assert_true(t.end_s == utc(rows[i].after));
    }
}

/* The format YYYY[MM[DD[HH[MM[SS[.S+]]]]]][+/-ZZZZ] of the same chapter, and
 * FHIR R4's dateTime for each. */
static void test_forms(void **state)
{
    static const struct {
        const char *text, *degree, *fhir, *last;
    } rows[] = {
        { "2026", "", "2026", "" },
        { "2026-0100", "", "2026", "" },
        { "202603", "", "2026-03", "" },
        { "20260304+0100", "", "2026-03-04", "" },
        { "2026030408", "", "2026-03-04T08:00:00+01:00",
          "2026-03-04T08:59:59+01:00" },
        { "2026030408-0330", "", "2026-03-04T08:00:00-03:30",
          "2026-03-04T08:59:59-03:30" },
        { "20260304083015.1", "", "2026-03-04T08:30:15.1+01:00", "" },
        { "20260304083015.2500+0100", "", "2026-03-04T08:30:15.2500+01:00",
          "" },
        { "20260304083015.123456789Z", "", NULL, NULL },
        { "20260304083015-0000", "", "2026-03-04T08:30:15Z", "" },
        { "20260304083015+0000", "", "2026-03-04T08:30:15Z", "" },
        { "20260304083015+1400", "", "2026-03-04T08:30:15+14:00", "" },
        { "20240229", "", "2024-02-29", "" },
        /* the second component of a TS, before 2.6 */
        { "202603040000", "D", "2026-03-04", "" },
        { "20260304083015.25+0100", "M", "2026-03-04T08:30:00+01:00", "" },
        { "20260304083015", "H", "2026-03-04T08:00:00+01:00",
          "2026-03-04T08:59:59+01:00" },
        { "20260304", "L", "2026-03", "" },
        { "20260304", "S", "2026-03-04", "" },
        { "20260304", "Q", NULL, NULL },
        { "20260304", "DD", NULL, NULL },
        /* what does not exist */
        { "20260230", "", NULL, NULL },
        { "20230229", "", NULL, NULL },
        { "20261301", "", NULL, NULL },
        { "20260300", "", NULL, NULL },
        { "20260304240000", "", NULL, NULL },
        { "20260304236000", "", NULL, NULL },
        { "20260304235960", "", NULL, NULL },
        { "20260304083015+1401", "", NULL, NULL },
        { "20260304083015+0160", "", NULL, NULL },
        /* other forms */
        { "", "", NULL, NULL },
        { "202", "", NULL, NULL },
        { "20260", "", NULL, NULL },
        { "202603040830151", "", NULL, NULL },
        { "202603040830.5", "", NULL, NULL },
        { "20260304083015.", "", NULL, NULL },
        { "20260304083015.1234567890", "", NULL, NULL },
        { "20260304083015+01", "", NULL, NULL },
        { "20260304083015+01:00", "", NULL, NULL },
        { "20260304083015+0100x", "", NULL, NULL },
        { "2026-03-04", "", NULL, NULL },
        { "2026-03-04T08:30:15Z", "", NULL, NULL },
        { " 20260304", "", NULL, NULL },
        { "20260304 083015", "", NULL, NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct hl7_time t;
        enum err e = hl7_time_read(rows[i].text, rows[i].degree, &here, &t);

        ROW(rows[i].text);
        assert_int_equal(e, rows[i].fhir != NULL ? ERR_OK : ERR_FORM);
        if (e != ERR_OK)
            continue;
        assert_string_equal(t.text, rows[i].fhir);
        assert_string_equal(t.last, rows[i].last);
        assert_false(t.twice || t.skipped);
    }
}

static void test_years(void **state)
{
    struct hl7_time t;

    (void)state;
    assert_int_equal(hl7_time_read("1899", "", &here, &t), ERR_RANGE);
    assert_int_equal(hl7_time_read("2200", "", &here, &t), ERR_RANGE);
    assert_int_equal(hl7_time_read("1900", "", &here, &t), ERR_OK);
    assert_int_equal(hl7_time_read("2199", "", &here, &t), ERR_OK);
}

/*
 * Berlin, 2026: on 29 March the clocks go from 2:00 to 3:00, on 25 October from
 * 3:00 back to 2:00 (Directive 2000/84/EC: last Sundays of the two months, at
 * 1:00 UTC).
 */
static void test_changes(void **state)
{
    static const struct {
        const char *text, *fhir;
        bool twice, skipped;
    } rows[] = {
        { "20260329015959", "2026-03-29T01:59:59+01:00", false, false },
        { "20260329023000", "2026-03-29T03:00:00+02:00", false, true },
        { "20260329023000.5", "2026-03-29T03:00:00+02:00", false, true },
        { "20260329030000", "2026-03-29T03:00:00+02:00", false, false },
        { "20261025015959", "2026-10-25T01:59:59+02:00", false, false },
        { "20261025020000", "2026-10-25T02:00:00+02:00", true, false },
        { "20261025025959", "2026-10-25T02:59:59+02:00", true, false },
        { "20261025030000", "2026-10-25T03:00:00+01:00", false, false },
        { "20261025023000+0100", "2026-10-25T02:30:00+01:00", false, false },
        { "20260329023000+0000", "2026-03-29T02:30:00Z", false, false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct hl7_time t;

        ROW(rows[i].text);
        assert_int_equal(hl7_time_read(rows[i].text, "", &here, &t), ERR_OK);
        assert_string_equal(t.text, rows[i].fhir);
        assert_int_equal(t.twice, rows[i].twice);
        assert_int_equal(t.skipped, rows[i].skipped);
    }
}

/* Every three hours and a bit of thirty years: the same moment as the C library
 * makes of the same wall clock, where that clock is shown once. */
static void test_against_libc(void **state)
{
    int checked = 0;

    (void)state;
    for (int64_t s = utc("1996-01-01T00:00:00"); s < utc("2026-12-31T00:00:00");
         s += 3 * 3600 + 1723) {
        char text[32], fhir[48];
        time_t moment = (time_t)s;
        struct hl7_time t;
        struct tm tm;

        localtime_r(&moment, &tm);
        strftime(text, sizeof(text), "%Y%m%d%H%M%S", &tm);
        strftime(fhir, sizeof(fhir), "%Y-%m-%dT%H:%M:%S%z", &tm);
        assert_int_equal(hl7_time_read(text, "", &here, &t), ERR_OK);
        assert_false(t.skipped);
        if (t.twice)
            continue;
        checked++;
        assert_true(t.start_s == s);
        /* "+0100" of strftime, "+01:00" of FHIR */
        assert_memory_equal(t.text, fhir, strlen(fhir) - 2);
        assert_string_equal(t.text + strlen(fhir) - 1, fhir + strlen(fhir) - 2);
    }
    assert_true(checked > 70000);
}

/* MSH-7 with an offset is the default of its message (HL7 v2.5.1, MSH-7), but
 * where the zone explains it, the zone knows summer and winter. */
static void test_here(void **state)
{
    static const struct {
        const char *sent, *text, *fhir;
    } rows[] = {
        { "20260304120000+0100", "20260304080000",
          "2026-03-04T08:00:00+01:00" },
        { "20260304120000+0100", "20250704080000",
          "2025-07-04T08:00:00+02:00" },
        { "20260304120000+0000", "20260304080000", "2026-03-04T08:00:00Z" },
        { "20260304120000-0500", "20250704080000",
          "2025-07-04T08:00:00-05:00" },
        { "20260304120000", "20250704080000", "2025-07-04T08:00:00+02:00" },
        { "20260304120000-0500", "20250704", "2025-07-04" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct hl7_time sent, t;
        struct hl7_here there;

        ROW(rows[i].sent);
        assert_int_equal(hl7_time_read(rows[i].sent, "", &here, &sent), ERR_OK);
        there = hl7_here_of(berlin, &sent);
        assert_int_equal(hl7_time_read(rows[i].text, "", &there, &t), ERR_OK);
        assert_string_equal(t.text, rows[i].fhir);
    }
}

/* TM: examples of HL7 v2.5.1, chapter 2A (|0800|, |093544.2312|, |13|,
 * |235959+1100|), and FHIR R4's time, which has seconds and no offset. */
static void test_clock(void **state)
{
    static const struct {
        const char *text, *fhir;
    } rows[] = {
        { "0800", "08:00:00" }, { "093544.2312", "09:35:44.2312" },
        { "0000", "00:00:00" }, { "235959", "23:59:59" },
        { "13", NULL },         { "235959+1100", NULL },
        { "2400", NULL },       { "0860", NULL },
        { "235960", NULL },     { "0800.5", NULL },
        { "08:00", NULL },      { "", NULL },
        { "093544.", NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char got[HL7_TIME_SIZE];
        enum err e = hl7_clock_read(rows[i].text, got);

        ROW(rows[i].text);
        assert_int_equal(e, rows[i].fhir != NULL ? ERR_OK : ERR_FORM);
        if (e == ERR_OK)
            assert_string_equal(got, rows[i].fhir);
    }
}

/*
 * The hour that Berlin's clocks show twice, 25 October 2026: MSH-7's offset is
 * the default of every time of its message (HL7 v2.5.1, MSH-7), so it says which
 * of the two is meant; a result is not measured after it was told of.
 */
static void test_told(void **state)
{
    static const struct {
        const char *sent, *text, *fhir;
        bool twice;
    } rows[] = {
        { "20261025025000+0200", "20261025023000", "2026-10-25T02:30:00+02:00",
          false },
        { "20261025025000+0100", "20261025023000", "2026-10-25T02:30:00+01:00",
          false },
        { "20261025040000+0100", "202610250230", "2026-10-25T02:30:00+01:00",
          false },
        { "20261025040000+0100", "2026102502", "2026-10-25T02:00:00+01:00",
          false },
        /* sent at 2:10 for the second time: 2:30 was before that */
        { "20261025021000+0100", "20261025023000", "2026-10-25T02:30:00+02:00",
          false },
        /* clocks of two machines differ a little */
        { "20261025022900+0100", "20261025023000", "2026-10-25T02:30:00+01:00",
          false },
        { "20261025040000", "20261025023000", "2026-10-25T02:30:00+02:00",
          true },
        { "20260304120000+0100", "20261025023000", "2026-10-25T02:30:00+02:00",
          true },
        /* what the result says itself counts */
        { "20261025040000+0100", "20261025023000+0200",
          "2026-10-25T02:30:00+02:00", false },
        /* an offset that Berlin never has counts for all */
        { "20261025040000-0500", "20261025023000", "2026-10-25T02:30:00-05:00",
          false },
        /* only of the hour that is shown twice */
        { "20261025040000+0100", "20261025013000", "2026-10-25T01:30:00+02:00",
          false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct hl7_time sent, t;
        struct hl7_here there;
        int hours;

        ROW(rows[i].fhir);
        assert_int_equal(hl7_time_read(rows[i].sent, "", &here, &sent), ERR_OK);
        there = hl7_here_of(berlin, &sent);
        assert_int_equal(hl7_time_read(rows[i].text, "", &there, &t), ERR_OK);
        assert_string_equal(t.text, rows[i].fhir);
        assert_int_equal(t.twice, rows[i].twice);
        assert_int_equal(sscanf(t.text + 19, "%d", &hours), 1);
        assert_true(t.start_s == utc(t.text) - hours * 3600);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published),    cmocka_unit_test(test_forms),
        cmocka_unit_test(test_years),        cmocka_unit_test(test_changes),
        cmocka_unit_test(test_against_libc), cmocka_unit_test(test_here),
        cmocka_unit_test(test_told),         cmocka_unit_test(test_clock),
    };

    return cmocka_run_group_tests(tests, start, stop);
}

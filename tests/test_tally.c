/* Counts per sender and week, and the page that a unit gets of them. */
#include "service/feed_report.h"
#include "service/report_files.h"
#include "service/tally.h"
#include "tests/service_world.h"
#include "tests/test.h"

static const int64_t day_ms = INT64_C(86400000);

static void count(struct world *w, const struct tally_row *row)
{
    assert_int_equal(tally_add(w->db, row), ERR_OK);
}

/* ---- weeks ---------------------------------------------------------------- */

/*
 * Source: GNU coreutils, date -u -d DATE +%G-W%V, which follows ISO 8601; the
 * days around the turn of a year are where weeks and years part.
 */
static const struct {
    const char *name, *week;
    int64_t day, monday;
} weeks[] = {
    { "1970-01-01, a Thursday", "1970-W01", 0, -3 },
    { "2020-12-31", "2020-W53", 18627, 18624 },
    { "2021-01-03, a Sunday", "2020-W53", 18630, 18624 },
    { "2021-01-04, a Monday", "2021-W01", 18631, 18631 },
    { "2024-12-30", "2025-W01", 20087, 20087 },
    { "2026-11-16", "2026-W47", 20773, 20773 },
    { "2026-11-22", "2026-W47", 20779, 20773 },
    { "2027-01-03", "2026-W53", 20821, 20815 },
};

static void weeks_are_those_of_iso_8601(void **state)
{
    char text[REPORT_WEEK_SIZE];
    int64_t monday = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(weeks); i++) {
        int64_t late_ms = weeks[i].day * day_ms + day_ms - 1;

        if (tally_week(weeks[i].day * day_ms) != weeks[i].monday ||
            tally_week(late_ms) != weeks[i].monday)
            fail_msg("%s: week begins on %lld", weeks[i].name,
                     (long long)tally_week(late_ms));
        report_week_write(weeks[i].monday, text);
        assert_string_equal(text, weeks[i].week);
        assert_true(report_week_read(text, &monday));
        assert_int_equal(monday, weeks[i].monday);
    }
    assert_int_equal(tally_week(-1), -3); /* the last of 1969 */
}

static void what_is_no_week_is_refused(void **state)
{
    static const char *const texts[] = {
        "2026-W54", "2026-W00", "2021-W53", /* that year has 52 */
        "2026W47",  "2026-47",  "",         "2026-W47 ", "2026-w47", "1969-W52"
    };
    int64_t week;

    (void)state;
    for (size_t i = 0; i < COUNT(texts); i++) {
        if (report_week_read(texts[i], &week))
            fail_msg("'%s' is taken", texts[i]);
    }
}

/* ---- counting ------------------------------------------------------------- */

static void equal_rows_are_one_row(void **state)
{
    struct world *w = world(state);
    struct tally_row row = { .at_ms = 20773 * day_ms,
                             .source = "unit-a",
                             .way = QUARANTINE_HL7,
                             .class = TALLY_HELD,
                             .reason = "unit",
                             .what = "urn:x|QB",
                             .place = "OBX[3]-6",
                             .unit = "Unit One",
                             .sample = "MSG1",
                             .count = 2 };

    count(w, &row);
    row.place = "OBX[17]-6"; /* which one it was is in the sample */
    row.sample = "MSG2";
    row.at_ms += 6 * day_ms;
    count(w, &row);
    assert_int_equal(world_count(w, "SELECT count(*) FROM tally"), 1);
    assert_int_equal(world_count(w, "SELECT count FROM tally WHERE"
                                    " place = 'OBX-6' AND sample = 'MSG1'"),
                     4);
    row.at_ms += day_ms; /* the next Monday */
    count(w, &row);
    row.unit = "Unit Two";
    count(w, &row);
    assert_int_equal(world_count(w, "SELECT count(*) FROM tally"), 3);
}

static void kinds_are_bounded_and_nothing_is_lost(void **state)
{
    struct world *w = world(state);
    char what[32];

    for (int i = 0; i < TALLY_KINDS_MAX + 50; i++) {
        struct tally_row row = { .at_ms = day_ms,
                                 .source = "s",
                                 .way = QUARANTINE_HTTP,
                                 .class = TALLY_UNKNOWN,
                                 .reason = "code-unknown",
                                 .count = 1 };

        snprintf(what, sizeof(what), "urn:x|%d", i);
        row.what = what;
        count(w, &row);
    }
    assert_int_equal(world_count(w, "SELECT sum(count) FROM tally"),
                     TALLY_KINDS_MAX + 50);
    assert_int_equal(world_count(w, "SELECT count(*) FROM tally"),
                     TALLY_KINDS_MAX + 1);
    assert_int_equal(world_count(w, "SELECT count FROM tally WHERE what = ''"),
                     50);
}

/* A cut within a character would be no UTF-8 any more. */
static void long_texts_are_cut_between_characters(void **state)
{
    struct world *w = world(state);
    char what[400] = "";
    struct tally_row row = { .at_ms = 0,
                             .source = "s",
                             .way = QUARANTINE_HTTP,
                             .class = TALLY_UNKNOWN,
                             .what = what,
                             .count = 1 };

    for (size_t i = 0; i + 3 < sizeof(what); i += 3)
        memcpy(what + i, "\xE2\x82\xAC", 3); /* the euro sign */
    count(w, &row);
    assert_int_equal(
        world_count(w, "SELECT length(CAST(what AS BLOB)) FROM tally"), 198);
}

/* ---- the page ------------------------------------------------------------- */

static void read_report(struct world *w, int64_t week, const char *unit,
                        bool json, struct buf *out)
{
    struct feed_report report;

    buf_empty(out);
    assert_int_equal(feed_report_read(w->db, week, &report), ERR_OK);
    assert_int_equal(feed_report_write(&report, unit, json, out), ERR_OK);
    feed_report_clear(&report);
}

static void fill(struct world *w)
{
    const struct tally_row rows[] = {
        { 20773 * day_ms, "engine", QUARANTINE_HL7, TALLY_HELD, "unit",
          "urn:x|QB in 'ml'", "OBX-6", "Unit One", "MSG1", 3 },
        { 20766 * day_ms, "engine", QUARANTINE_HL7, TALLY_HELD, "unit",
          "urn:x|QB in 'ml'", "OBX-6", "Unit One", "MSG0", 7 },
        { 20773 * day_ms, "engine", QUARANTINE_HL7, TALLY_TAKEN, "", "", "",
          "Unit Two", "", 40 },
        { 20773 * day_ms, "machine", QUARANTINE_HTTP, TALLY_REFUSED, "no-time",
          "", "Observation.effective", "", "", 2 },
        { 20773 * day_ms, "machine", QUARANTINE_HTTP, TALLY_TAKEN, "", "", "",
          "Unit Two", "", 5 },
        { 20773 * day_ms, "record", QUARANTINE_POLL, TALLY_TAKEN, "", "", "",
          "Unit Two", "", 6 },
    };

    for (size_t i = 0; i < COUNT(rows); i++)
        count(w, &rows[i]);
}

/* The engine sends for two units, the machine for one; the record is none. */
static void whose_page_it_is(void **state)
{
    struct world *w = world(state);
    struct buf out;

    fill(w);
    buf_init(&out, 1 << 20);
    read_report(w, 20773, NULL, true, &out);
    assert_non_null(
        strstr(out.data, "\"unit\":\"Unit One\",\"class\":\"held\""));
    assert_non_null(
        strstr(out.data, "\"unit\":\"machine\",\"class\":\"refused\""));
    assert_null(strstr(out.data, "\"unit\":\"engine\""));
    assert_null(strstr(out.data, "\"unit\":\"record\""));
    buf_clear(&out);
}

static void the_page_says_what_and_what_mends_it(void **state)
{
    struct world *w = world(state);
    struct buf out;

    fill(w);
    buf_init(&out, 1 << 20);
    read_report(w, 20773, "Unit One", false, &out);
    assert_non_null(strstr(out.data, "week 2026-W47"));
    assert_non_null(strstr(out.data, "2026-11-16 to 2026-11-22"));
    assert_non_null(strstr(out.data, "     3 (7)  the unit is missing"));
    assert_non_null(strstr(out.data, "MSG1"));
    assert_null(strstr(out.data, "MSG0"));
    assert_non_null(strstr(out.data, "as a code of UCUM"));
    assert_null(strstr(out.data, "Unit Two"));
    read_report(w, 20773, "Unit Nowhere", false, &out);
    assert_string_equal(out.data, "Nothing was counted in week 2026-W47 for "
                                  "this unit.\n");
    buf_clear(&out);
}

/* What came in a week before and not in this one is a trend too. */
static void what_has_ceased_is_in_the_numbers(void **state)
{
    struct world *w = world(state);
    struct buf out;

    fill(w);
    buf_init(&out, 1 << 20);
    read_report(w, 20780, "Unit One", true, &out);
    assert_non_null(strstr(out.data, "\"count\":0,\"before\":3"));
    buf_clear(&out);
}

/* ---- when, and under which name ------------------------------------------- */

/* Settings: Monday, 6 o'clock.  Berlin is an hour ahead of UTC in November
 * (EU directive 2000/84/EC; also in the zone database). */
static void a_week_is_due_when_its_hour_has_come(void **state)
{
    const int64_t six_ms = 6 * INT64_C(3600000);
    struct zone *utc, *berlin;

    (void)state;
    assert_int_equal(zone_load("UTC", &utc), ERR_OK);
    assert_int_equal(zone_load("Europe/Berlin", &berlin), ERR_OK);
    assert_int_equal(report_files_due(20780 * day_ms + six_ms, utc, 1, 6),
                     20773);
    assert_int_equal(report_files_due(20780 * day_ms + six_ms - 1, utc, 1, 6),
                     20766);
    assert_int_equal(
        report_files_due(20780 * day_ms + six_ms - 3600000, berlin, 1, 6),
        20773);
    assert_int_equal(report_files_due(20786 * day_ms, utc, 7, 0), 20773);
    assert_int_equal(report_files_due(20786 * day_ms - 1, utc, 7, 0), 20766);
    /* in Berlin it is Monday before the week of UTC has ended */
    assert_int_equal(report_files_due(20780 * day_ms - 1, berlin, 1, 0), 20766);
    zone_free(utc);
    zone_free(berlin);
}

static void names_are_of_plain_letters_and_differ(void **state)
{
    char a[REPORT_NAME_SIZE], b[REPORT_NAME_SIZE];

    (void)state;
    report_files_name(20773, "unit-a", a);
    assert_string_equal(a, "2026-W47-unit-a.txt");
    report_files_name(20773, "../etc/passwd", a);
    assert_null(strchr(a, '/'));
    assert_null(strstr(a, ".."));
    report_files_name(20773, "Unit One", a);
    report_files_name(20773, "Unit/One", b);
    assert_string_not_equal(a, b);
    assert_int_equal(strncmp(a, "2026-W47-Unit_One-", 18), 0);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, world_start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(weeks_are_those_of_iso_8601),
        cmocka_unit_test(what_is_no_week_is_refused),
        TEST(equal_rows_are_one_row),
        TEST(kinds_are_bounded_and_nothing_is_lost),
        TEST(long_texts_are_cut_between_characters),
        TEST(whose_page_it_is),
        TEST(the_page_says_what_and_what_mends_it),
        TEST(what_has_ceased_is_in_the_numbers),
        cmocka_unit_test(a_week_is_due_when_its_hour_has_come),
        cmocka_unit_test(names_are_of_plain_letters_and_differ),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

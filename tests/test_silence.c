/*
 * Feeds that have fallen silent.
 *
 * Units treat from Monday to Saturday, and blood is drawn and flow is measured
 * once a month: common practice, no source.
 */
#include "service/silence.h"
#include "service/tally.h"
#include "tests/service_world.h"
#include "tests/test.h"

static const int64_t day_ms = INT64_C(86400000);

enum { MONDAY = 20773 /* 2026-11-16, GNU date -d @$((20773 * 86400)) */ };

static void arrives(struct world *w, const char *source, const char *unit,
                    int64_t day)
{
    assert_int_equal(
        silence_arrived(w->db, source, unit, day * day_ms + day_ms / 2),
        ERR_OK);
}

static size_t silent(struct world *w, int64_t day, int fixed_d,
                     struct silent_feed *first)
{
    static struct silent_feed feeds[SILENCE_FEEDS_MAX];
    size_t count;

    assert_int_equal(
        silence_read(w->db, day * day_ms + day_ms / 3, fixed_d, feeds, &count),
        ERR_OK);
    if (count > 0)
        *first = feeds[0];
    return count;
}

static void six_days_a_week(struct world *w, const char *source,
                            const char *unit, int weeks)
{
    for (int64_t day = MONDAY - INT64_C(7) * weeks; day < MONDAY; day++) {
        if ((MONDAY - day) % 7 != 1) /* Sundays */
            arrives(w, source, unit, day);
    }
}

static void a_sunday_is_no_silence(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    six_days_a_week(w, "unit-a", "", 8); /* the last is a Saturday */
    assert_int_equal(silent(w, MONDAY - 1, 0, &f), 0);
    assert_int_equal(silent(w, MONDAY, 0, &f), 0);
    assert_int_equal(silent(w, MONDAY + 1, 0, &f), 1);
    assert_string_equal(f.source, "unit-a");
    assert_int_equal(f.last_day, MONDAY - 2);
    assert_int_equal(f.silent_d, 3);
    assert_int_equal(f.usual_d, 2);
    arrives(w, "unit-a", "", MONDAY + 1);
    assert_int_equal(silent(w, MONDAY + 1, 0, &f), 0);
}

static void who_sends_each_month_is_not_silent_within_it(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    /* first Mondays of August to November 2026 */
    arrives(w, "lab", "", MONDAY - 105);
    arrives(w, "lab", "", MONDAY - 70);
    arrives(w, "lab", "", MONDAY - 42);
    arrives(w, "lab", "", MONDAY - 14);
    assert_int_equal(silent(w, MONDAY - 14 + 43, 0, &f), 0);
    assert_int_equal(silent(w, MONDAY - 14 + 44, 0, &f), 1);
    assert_int_equal(f.usual_d, 35);
}

static void what_was_loaded_once_is_no_feed(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    for (int day = 0; day < SILENCE_LEARN - 1; day++)
        arrives(w, "archive", "", MONDAY + day);
    for (int day = 0; day < SILENCE_SPAN_D; day++)
        arrives(w, "move", "", MONDAY - 20 + day);
    for (int day = 3; day <= SILENCE_FORGET_D; day++)
        assert_int_equal(silent(w, MONDAY + day, 1, &f), 0);
}

static void an_outage_is_not_taken_for_a_habit(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    six_days_a_week(w, "unit-a", "", 4);
    six_days_a_week(w, "unit-b", "", 4);
    /* back after 20 days */
    for (int64_t day = MONDAY + 18; day < MONDAY + 24; day++)
        arrives(w, "unit-a", "", day);
    assert_int_equal(silent(w, MONDAY + 23 + 2, 0, &f), 1); /* unit-b alone */
    assert_string_equal(f.source, "unit-b");
    assert_int_equal(silent(w, MONDAY + 23 + 3, 0, &f), 2);
}

static void a_unit_of_a_sender_is_said_by_itself(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    six_days_a_week(w, "engine", "Unit One", 8);
    six_days_a_week(w, "engine", "Unit Two", 7);
    six_days_a_week(w, "engine", "", 8); /* patients of no unit */
    for (int64_t day = MONDAY; day < MONDAY + 6; day++)
        arrives(w, "engine", "Unit One", day);
    assert_int_equal(silent(w, MONDAY + 5, 0, &f), 1);
    assert_string_equal(f.unit, "Unit Two");
    /* when the sender itself is silent, that is said, once */
    assert_int_equal(silent(w, MONDAY + 12, 0, &f), 1);
    assert_string_equal(f.unit, "");
}

static void a_sites_own_limit_stands(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    six_days_a_week(w, "unit-a", "", 8);
    assert_int_equal(silent(w, MONDAY, 1, &f), 1);
    assert_int_equal(silent(w, MONDAY + 28, 30, &f), 0);
    assert_int_equal(silent(w, MONDAY + 29, 30, &f), 1);
}

static void what_was_closed_is_forgotten_in_time(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    six_days_a_week(w, "unit-a", "", 8);
    assert_int_equal(silent(w, MONDAY + 100, 0, &f), 1);
    assert_int_equal(silent(w, MONDAY + SILENCE_FORGET_D, 0, &f), 0);
    arrives(w, "unit-b", "", MONDAY + 500);
    assert_int_equal(world_count(w, "SELECT count(*) FROM arrival_day"), 1);
}

static void a_clock_that_ran_ahead_hides_nothing(void **state)
{
    struct world *w = world(state);
    struct silent_feed f;

    six_days_a_week(w, "unit-a", "", 8);
    arrives(w, "unit-a", "", MONDAY + 50);
    assert_int_equal(silent(w, MONDAY + 1, 0, &f), 1);
}

static void what_was_refused_is_no_sign_of_life(void **state)
{
    struct world *w = world(state);
    struct tally_row row = { .at_ms = MONDAY * day_ms,
                             .source = "unit-a",
                             .way = QUARANTINE_HTTP,
                             .class = TALLY_REFUSED,
                             .reason = "",
                             .count = 1 };

    assert_int_equal(tally_add(w->db, &row), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM arrival_day"), 0);
    row.class = TALLY_HELD;
    assert_int_equal(tally_add(w->db, &row), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM arrival_day"), 1);
}

static void it_is_said_in_words(void **state)
{
    struct world *w = world(state);
    struct buf out;

    six_days_a_week(w, "engine", "Unit\nOne", 8);
    six_days_a_week(w, "engine", "Unit Two", 7);
    for (int64_t day = MONDAY; day < MONDAY + 6; day++)
        arrives(w, "engine", "Unit\nOne", day);
    buf_init(&out, 4096);
    assert_int_equal(
        silence_say(w->db, (MONDAY + 5) * day_ms, 0, "Unit\nOne", &out),
        ERR_OK);
    assert_string_equal(out.data, "");
    assert_int_equal(
        silence_say(w->db, (MONDAY + 5) * day_ms, 0, "unit two", &out), ERR_OK);
    assert_non_null(strstr(out.data, "NO DATA from engine for Unit Two since "
                                     "2026-11-14 (7 d; longest usual pause "
                                     "2 d)\n"));
    buf_empty(&out);
    assert_int_equal(silence_say(w->db, (MONDAY + 12) * day_ms, 0, NULL, &out),
                     ERR_OK);
    assert_non_null(strstr(out.data, "NO DATA from engine since 2026-11-21 "));
    buf_clear(&out);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, world_start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_sunday_is_no_silence),
        TEST(who_sends_each_month_is_not_silent_within_it),
        TEST(what_was_loaded_once_is_no_feed),
        TEST(an_outage_is_not_taken_for_a_habit),
        TEST(a_unit_of_a_sender_is_said_by_itself),
        TEST(a_sites_own_limit_stands),
        TEST(what_was_closed_is_forgotten_in_time),
        TEST(a_clock_that_ran_ahead_hides_nothing),
        TEST(what_was_refused_is_no_sign_of_life),
        TEST(it_is_said_in_words),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

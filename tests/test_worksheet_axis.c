/* Scales and labels of the charts; days against the calendar of the C
 * library, the rest against what must hold of any of them. */
#include "tests/test.h"

#include "adapters/worksheet_axis.h"

#include <time.h>

static double draw(void)
{
    static uint32_t seed = 11;

    seed = seed * 1664525U + 1013904223U;
    return (seed >> 8) / 16777216.0;
}

/* ---- numbers -------------------------------------------------------------- */

static void places_are_on_a_straight_line(void **state)
{
    struct sheet_scale s = { 0, 2000, 60, 10 };

    (void)state;
    assert_near(sheet_at(&s, 0), 60, 1e-12);
    assert_near(sheet_at(&s, 2000), 10, 1e-12);
    assert_near(sheet_at(&s, 500), 47.5, 1e-12);
    assert_near(sheet_at(&s, 2400), 0, 1e-12);
}

/* Of all steps 1, 2, 5 times a power of ten the least that is enough: each of
 * them is tried. */
static void a_step_is_the_least_round_one(void **state)
{
    static const double nice[] = { 1, 2, 5 };

    (void)state;
    for (int n = 0; n < 5000; n++) {
        double span = pow(10, 8 * draw() - 3);
        size_t most = 1 + (size_t)(9 * draw());
        double want = INFINITY;

        for (int power = -6; power < 8; power++) {
            for (size_t i = 0; i < 3; i++) {
                double step = nice[i] * pow(10, power);

                if (span / step <= (double)most * (1 + 1e-9) && step < want)
                    want = step;
            }
        }
        assert_near(sheet_step(span, most) / want, 1, 1e-9);
    }
    assert_near(sheet_step(100, 5), 20, 1e-9);
    assert_near(sheet_step(2000, 4), 500, 1e-9);
    assert_near(sheet_step(1000, 1), 1000, 1e-9);
}

static void decimals_tell_steps_apart(void **state)
{
    (void)state;
    assert_int_equal(sheet_decimals(500), 0);
    assert_int_equal(sheet_decimals(1), 0);
    assert_int_equal(sheet_decimals(0.5), 1);
    assert_int_equal(sheet_decimals(0.1), 1);
    assert_int_equal(sheet_decimals(0.02), 2);
}

/* ---- days ----------------------------------------------------------------- */

/* What the C library's calendar of that zone says of a tick. */
static void judge_tick(const struct sheet_tick *tick)
{
    time_t at = (time_t)tick->at_s, before = at - 1;
    struct tm tm, earlier;
    char day[32];

    assert_non_null(localtime_r(&at, &tm));
    assert_non_null(localtime_r(&before, &earlier));
    assert_int_not_equal(tm.tm_mday, earlier.tm_mday);
    strftime(day, sizeof(day), "%Y-%m-%d", &tm);
    assert_memory_equal(tick->label, day, strlen(tick->label));
    if (strlen(tick->label) < 10)
        assert_int_equal(tm.tm_mday, 1);
    if (strlen(tick->label) == 4)
        assert_int_equal(tm.tm_mon, 0);
}

static void judge_ticks(int64_t from_s, int64_t to_s, const struct zone *zone,
                        size_t most)
{
    struct sheet_tick ticks[SHEET_TICKS_MAX];
    size_t n = sheet_ticks(from_s, to_s, zone, most, ticks);

    assert_in_range(n, 0, most);
    for (size_t i = 0; i < n; i++) {
        assert_true(ticks[i].at_s >= from_s && ticks[i].at_s <= to_s);
        assert_true(i == 0 || ticks[i].at_s > ticks[i - 1].at_s);
        judge_tick(&ticks[i]);
    }
    /* With room for ten a span of three weeks to nine years has a few. */
    if (most >= 9 && to_s - from_s > 21LL * 86400)
        assert_in_range(n, 2, most);
}

static void days_are_those_of_the_calendar(void **state)
{
    static const char *const zones[] = { "UTC", "Europe/Berlin",
                                         "America/Sao_Paulo",
                                         "Australia/Lord_Howe" };

    (void)state;
    for (size_t z = 0; z < sizeof(zones) / sizeof(zones[0]); z++) {
        struct zone *zone;

        ROW(zones[z]);
        assert_int_equal(zone_load(zones[z], &zone), ERR_OK);
        assert_int_equal(setenv("TZ", zones[z], 1), 0);
        tzset();
        for (int n = 0; n < 500; n++) {
            /* 1990 to 2035, of a day to thirty years */
            int64_t from_s = (int64_t)(631152000 + draw() * 1.4e9);
            int64_t span_s = (int64_t)(86400 * pow(10, 4 * draw()));
            size_t most = 1 + (size_t)(14 * draw());

            judge_ticks(from_s, from_s + span_s, zone, most);
        }
        zone_free(zone);
    }
}

/* Weeks begin on Mondays, ISO 8601: the C library counts them as day 1. */
static void weeks_begin_on_mondays(void **state)
{
    struct sheet_tick ticks[SHEET_TICKS_MAX];
    struct zone *zone;
    size_t n;

    (void)state;
    assert_int_equal(zone_load("UTC", &zone), ERR_OK);
    assert_int_equal(setenv("TZ", "UTC", 1), 0);
    tzset();
    /* 2026-11-05 to 2026-11-26, three weeks */
    n = sheet_ticks(1793836800, 1793836800 + 21 * 86400, zone, 5, ticks);
    assert_int_equal(n, 3);
    for (size_t i = 0; i < n; i++) {
        time_t at = (time_t)ticks[i].at_s;
        struct tm tm;

        assert_non_null(gmtime_r(&at, &tm));
        assert_int_equal(tm.tm_wday, 1);
    }
    assert_string_equal(ticks[0].label, "2026-11-09");
    zone_free(zone);
}

/* ---- labels --------------------------------------------------------------- */

static void labels_move_apart(void **state)
{
    (void)state;
    for (int n = 0; n < 2000; n++) {
        double middle[6], wish[6];
        size_t count = 1 + (size_t)(6 * draw());

        for (size_t i = 0; i < count; i++) {
            wish[i] = (i > 0 ? wish[i - 1] : 0) + 8 * draw();
            middle[i] = wish[i];
        }
        sheet_spread(middle, count, 2.5, 0, 50);
        for (size_t i = 0; i < count; i++) {
            assert_true(middle[i] >= 1.25 - 1e-9 && middle[i] <= 48.75 + 1e-9);
            assert_true(i == 0 || middle[i] - middle[i - 1] >= 2.5 - 1e-9);
        }
    }
}

static void labels_with_room_stay(void **state)
{
    double middle[] = { 5, 10, 44 };

    (void)state;
    sheet_spread(middle, 3, 2.5, 0, 50);
    assert_near(middle[0], 5, 0);
    assert_near(middle[1], 10, 0);
    assert_near(middle[2], 44, 0);
}

static double width_of(void *arg, size_t first, size_t count)
{
    const double *width = arg;

    return count > 1 ? 14 : width[first];
}

/* None covers another, and no line runs through the words of another, unless
 * these had to stand to the left of their own line. */
static void judge_labels(const struct sheet_label *l, size_t count, int rows,
                         size_t events)
{
    size_t told = 0;

    for (size_t i = 0; i < count; i++) {
        assert_int_equal(l[i].first, told);
        told += l[i].count;
        assert_true(l[i].row >= 0 && l[i].row < rows);
        assert_true(l[i].left_mm >= 20 - 1e-9);
        assert_true(l[i].left_mm + l[i].width_mm <= 180 + 1e-9);
        for (size_t k = i + 1; k < count; k++) {
            double end_mm = l[i].left_mm + l[i].width_mm;

            if (l[i].row == l[k].row)
                assert_true(l[k].left_mm >= end_mm);
            if (l[k].row >= l[i].row)
                assert_true(l[k].x_mm >= end_mm);
        }
    }
    assert_int_equal(told, events);
}

static void labels_find_rows(void **state)
{
    (void)state;
    for (int n = 0; n < 2000; n++) {
        struct sheet_label l[40];
        double width[40], x_mm = 20;
        size_t events = 1 + (size_t)(39 * draw());
        int rows = 1 + (int)(4 * draw());

        for (size_t i = 0; i < events; i++) {
            x_mm += draw() * 2 * 130 / (double)events;
            width[i] = 8 + 25 * draw();
            l[i] = (struct sheet_label){ .x_mm = x_mm < 150 ? x_mm : 150,
                                         .first = i,
                                         .count = 1 };
        }
        judge_labels(l,
                     sheet_labels(l, events, rows, 20, 180, 1, width_of, width),
                     rows, events);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(places_are_on_a_straight_line),
        cmocka_unit_test(a_step_is_the_least_round_one),
        cmocka_unit_test(decimals_tell_steps_apart),
        cmocka_unit_test(days_are_those_of_the_calendar),
        cmocka_unit_test(weeks_begin_on_mondays),
        cmocka_unit_test(labels_move_apart),
        cmocka_unit_test(labels_with_room_stay),
        cmocka_unit_test(labels_find_rows),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

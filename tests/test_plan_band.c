/*
 * What a plan says of a band in place, of flows by another method, and of why
 * to measure again.
 *
 * The figures are worked out by hand beside each row; the floor is that of
 * config/policy.ini: 500 mL/min in a fistula, and 100 above the pump.
 */
#include "adapters/plan_band.h"

#include "tests/test.h"

#include "tests/plan_write_kit.h"

#include <time.h>

static struct write_kit kit;

#define BASE FLOW(99, 2000, DILUTION), FLOW(99 + MINUTES(5), 2100, DILUTION)

/* A document of these events, without a plan. */
static void set(const struct event *events)
{
    from_kit_make(&kit.kit, events, AVF, 100, &from_kit_asked);
    kit.d = (struct plan_document){ .from = &kit.kit.from,
                                    .history = &kit.kit.h,
                                    .policy = &kit.kit.policy,
                                    .zone = kit.zone };
}

static void assert_text(void (*say)(const struct plan_document *d,
                                    struct buf *out),
                        const char *want)
{
    struct buf out;

    buf_init(&out, 8192);
    say(&kit.d, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_string_equal(out.data != NULL ? out.data : "", want);
    buf_clear(&out);
}

/* clang-format off */
static const struct {
    const char *want;
    struct event events[8];
} bands[] = {
    { "", { BASE } },
    { "", { BASE, DOWEL(99.1, 4) } },
    { "A band is in place since DAY, tied over a 4.0 mm dowel.",
      { DOWEL(20, 4), BASE } },
    { "A band is in place since DAY, tied over a 3.25 mm dowel.",
      { DOWEL(20, 3.25), BASE } },
    { "A band is in place since DAY; its dowel is not recorded.",
      { SIGN(20, SIGN_BANDED), BASE } },
    { "A band is in place since DAY, tied over a 4.0 mm dowel. It was "
      "stretched since.", { DOWEL(20, 4), STRETCH(50, 5), BASE } },
    { "A band is in place since MONTH; its dowel is not recorded.",
      { SIGN(20, SIGN_BANDED, .precision = AT_MONTH), BASE } },
    { "A band is in place since YEAR; its dowel is not recorded.",
      { SIGN(20, SIGN_BANDED, .precision = AT_YEAR), BASE } },
};
/* clang-format on */

/* The calendar of the C library is what the dates are compared with. */
static void put_day(const char *text, char out[256])
{
    static const struct {
        const char *word;
        int len; /* of the day as ISO 8601 */
    } words[] = { { "DAY", 10 }, { "MONTH", 7 }, { "YEAR", 4 } };
    time_t at = (time_t)kit_s(20);
    char date[32];
    struct tm tm;

    snprintf(out, 256, "%s", text);
    gmtime_r(&at, &tm);
    strftime(date, sizeof(date), "%Y-%m-%d", &tm);
    for (size_t i = 0; i < COUNT(words); i++) {
        const char *place = strstr(text, words[i].word);

        if (place != NULL)
            snprintf(out, 256, "%.*s%.*s%s", (int)(place - text), text,
                     words[i].len, date, place + strlen(words[i].word));
    }
}

static void since_when_and_of_what_size(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(bands); i++) {
        char want[256];

        ROW(bands[i].want);
        set(bands[i].events);
        put_day(bands[i].want, want);
        assert_text(plan_band_say, want);
    }
}

#define OLD DOWEL(20, 4), BASE /* mean 2050 */
#define WATCH                                                                  \
    "Below 500 mL/min, or with a weak thrill or none at any flow: loosen "     \
    "now, then measure.\n"
#define LESS " % less than before this procedure (and after the band in place)."

/* clang-format off */
static const struct {
    const char *want;
    struct event events[12];
} cases[] = {
    { "", { OLD } },
    { "1. tied over 3.0 mm: not measured.\n" WATCH, { OLD, DOWEL(99.1, 3) } },
    /* 1 - 1025/2050 */
    { "1. tied over 3.0 mm: mean 1025 mL/min, 50" LESS "\n" WATCH,
      { OLD, DOWEL(99.1, 3), FLOW(99.11, 1000, DILUTION),
        FLOW(99.11 + MINUTES(1), 1050, DILUTION) } },
    /* 1 - 475/2050 = 0.768 */
    { "1. tied over 3.0 mm: mean 475 mL/min, 77" LESS
      "\nTHE FLOW IS BELOW THE FLOOR of 500 mL/min: loosen now, then "
      "measure.\n",
      { OLD, DOWEL(99.1, 3), FLOW(99.11, 475, DILUTION) } },
    /* 450 + 100; 1 - 540/2050 = 0.737 */
    { "1. tied over 3.0 mm: mean 540 mL/min, 74" LESS
      "\nTHE FLOW IS BELOW THE FLOOR of 550 mL/min: loosen now, then "
      "measure.\n",
      { NUMBER(90, Q_PRESCRIBED_PUMP_FLOW, 450), OLD, DOWEL(99.1, 3),
        FLOW(99.11, 540, DILUTION) } },
    { "1. tied over 3.0 mm: mean 1025 mL/min, 50" LESS
      "\nWEAK OR NO THRILL: loosen now, then measure.\n",
      { OLD, DOWEL(99.1, 3), FLOW(99.11, 1025, DILUTION),
        SIGN(99.12, SIGN_THRILL_ABSENT) } },
    /* both are said */
    { "1. tied over 3.0 mm: mean 410 mL/min, 80" LESS
      "\nWEAK OR NO THRILL: loosen now, then measure.\n"
      "THE FLOW IS BELOW THE FLOOR of 500 mL/min: loosen now, then "
      "measure.\n",
      { OLD, DOWEL(99.1, 3), FLOW(99.11, 410, DILUTION),
        SIGN(99.12, SIGN_THRILL_ABSENT) } },
    { "1. tied over 3.0 mm: not measured.\n2. stretched with a 4.0 mm "
      "balloon: not measured.\n3. cut: not measured.\n" WATCH,
      { OLD, DOWEL(99.1, 3), STRETCH(99.2, 4), RELEASE(99.3) } },
};
/* clang-format on */

static void a_case_on_it_is_measured_not_sized(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].want);
        set(cases[i].events);
        assert_text(plan_band_case_say, cases[i].want);
    }
}

static void flows_by_another_method(void **state)
{
    static const struct event none[] = { BASE, { .day = 0 } };
    static const struct event one[] = {
        BASE, DOWEL(99.1, 4), FLOW(99.11, 1500, DUPLEX), { .day = 0 }
    };
    static const struct event two[] = { BASE,
                                        DOWEL(99.1, 4),
                                        FLOW(99.11, 1500, DUPLEX),
                                        FLOW(99.12, 1500, DUPLEX),
                                        { .day = 0 } };
    char want[256];

    (void)state;
    set(none);
    assert_text(plan_other_say, "");
    set(one);
    snprintf(want, sizeof(want),
             "1 flow by another method (%s) is not used: two methods may "
             "differ by more than a band changes.",
             method_display(METHOD_DUPLEX));
    assert_text(plan_other_say, want);
    set(two);
    snprintf(want, sizeof(want),
             "2 flows by another method (%s) are not used: two methods may "
             "differ by more than a band changes.",
             method_display(METHOD_DUPLEX));
    assert_text(plan_other_say, want);
}

#define WHY                                                                    \
    " more. The rows of the card hold for the mean of all of them; so few "    \
    "leave a real chance that the next tie would be wrong."

static void why_to_measure_again(void **state)
{
    static const struct {
        enum plan_action next;
        int advised, more;
        const char *want;
    } rows[] = {
        { PLAN_REMEASURE, 4, 2, "2 of 4 readings: take 2" WHY },
        { PLAN_REMEASURE, 3, 1, "2 of 3 readings: take 1" WHY },
        { PLAN_REMEASURE, 2, 0, "" },
        { PLAN_TIGHTEN, 4, 0, "" },
    };
    static const struct event events[] = { BASE,
                                           DOWEL(99.1, 4),
                                           FLOW(99.11, 1700, DILUTION),
                                           FLOW(99.11 + MINUTES(1), 1670,
                                                DILUTION),
                                           { .day = 0 } };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].want);
        set(events);
        write_kit_plan(&kit.plan);
        kit.plan.next = rows[i].next;
        kit.plan.readings_advised = rows[i].advised;
        kit.d.plan = &kit.plan;
        assert_int_equal(plan_readings_more(&kit.d), rows[i].more);
        assert_text(plan_again_say, rows[i].want);
    }
}

static int end(void **state)
{
    (void)state;
    zone_free(kit.zone);
    return 0;
}

static int start(void **state)
{
    (void)state;
    write_kit_start(&kit);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(since_when_and_of_what_size),
        cmocka_unit_test(a_case_on_it_is_measured_not_sized),
        cmocka_unit_test(flows_by_another_method),
        cmocka_unit_test(why_to_measure_again),
    };

    return cmocka_run_group_tests(tests, start, end);
}

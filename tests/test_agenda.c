/* When passing time alone may change what is to be said. */
#include "tests/test.h"

#include "planner/agenda.h"
#include "tests/history_kit.h"

static struct policy policy;

/* Evaluate on this day; the day of the next look, or -1 for never. */
static double next_day(const struct event *events, double day)
{
    struct rule_case c = { .name = "agenda", .type = AVF, .now_day = day };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings findings;
    struct history h;
    int64_t at_s;

    memcpy(c.events, events, sizeof(c.events));
    kit_evaluate(&c, &policy, readings, &h, &findings);
    at_s = agenda_next(&h, &policy, &findings);
    return at_s == AGENDA_NEVER ? -1 : (double)(at_s - kit_base_s) / DAY_S;
}

static void looks_again(void **state)
{
    static const struct {
        const char *name;
        double day, want;
        struct event events[16];
    } cases[] = {
        { "nothing", 10, -1, { FLOW(1, 1000) } },
        { "a young access matures", 10, 57, { SIGN(1, SIGN_CREATED) } },
        { "it has matured", 57, -1, { SIGN(1, SIGN_CREATED) } },
        { "one that was not made",
          10,
          -1,
          { SIGN(1, SIGN_CREATED, WITHDRAWN) } },
        { "a finger to be measured again",
          2,
          15,
          { SIGN(1, SIGN_COLDNESS), FINGER(1, 50) } },
        { "its day has passed",
          15,
          -1,
          { SIGN(1, SIGN_COLDNESS), FINGER(1, 50) } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        assert_near(next_day(cases[i].events, cases[i].day), cases[i].want,
                    1e-9);
    }
}

/* The days of a band: windows begin and end (first one: three days and a
 * quarter; second: one to two weeks). */
static void follows_a_band(void **state)
{
    static const struct event events[16] = { SIGN(100, SIGN_BANDED) };
    static const double begins_and_ends[] = { 102.25, 103.75, 108.4,
                                              114,    122.5,  137.5 };
    double day = 100;

    (void)state;
    for (size_t i = 0; i < COUNT(begins_and_ends); i++) {
        day = next_day(events, day);
        assert_near(day, begins_and_ends[i], 1e-9);
    }
}

/* A fistula whose low flows count from its 57th day on: the look on that day
 * finds them. */
static void finds_what_time_brings(void **state)
{
    static const struct rule_case before = { "day 56",
                                             AVF,
                                             56,
                                             "",
                                             { SIGN(1, SIGN_CREATED),
                                               FLOW(35, 450), FLOW(50, 440) } };
    static const struct rule_case after = { "day 57",
                                            AVF,
                                            57,
                                            "LF-2:routine",
                                            { SIGN(1, SIGN_CREATED),
                                              FLOW(35, 450), FLOW(50, 440) } };

    (void)state;
    kit_run(&before, 1, &policy);
    kit_run(&after, 1, &policy);
}

static int set_up(void **state)
{
    (void)state;
    kit_policy(&policy);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(looks_again),
        cmocka_unit_test(follows_a_band),
        cmocka_unit_test(finds_what_time_brings),
    };

    return cmocka_run_group_tests(tests, set_up, NULL);
}

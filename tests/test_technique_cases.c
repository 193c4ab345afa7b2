/* Which finished cases a history holds, and what each is made of. */
#include "planner/technique_cases.h"
#include "tests/test.h"

#include "tests/history_kit.h"

static struct policy policy;
static struct reading readings[KIT_EVENTS_MAX];

static int start(void **state)
{
    (void)state;
    kit_policy(&policy);
    return 0;
}

#define MINUTE (1 / 1440.0)
#define TABLE(d)                                                               \
    FLOW(d, 2500, DILUTION), FLOW((d) + 5 * MINUTE, 2600, DILUTION),           \
        NUMBER((d) + 6 * MINUTE, Q_MEAN_PRESSURE, 92)
#define TIED(d, mm)      NUMBER(d, Q_DOWEL_DIAMETER, mm)
#define STRETCHED(d, mm) NUMBER(d, Q_BAND_STRETCHED, mm)
#define RELEASED(d)      NUMBER(d, Q_BAND_RELEASED, 1)
#define AFTER(d, v)      FLOW(d, v, DILUTION)

static size_t look(const struct event *events, double now_day,
                   struct technique_found *list, size_t max)
{
    struct history h = { .access_type = SIGN_TYPE_AVF,
                         .inactive = true, /* it need not be in use any more */
                         .now_s = kit_s(now_day),
                         .readings = readings };

    h.count = kit_readings(events, readings);
    return technique_cases(&h, &policy, list, max);
}

/* ---- which there are ------------------------------------------------------------ */

/* "used/2 banded/1": of each case, the newest first, its use and its stages. */
static void what_is_found(void **state)
{
    static const struct {
        const char *name, *want;
        double now_day;
        struct event events[20];
    } cases[] = {
        { "finished",
          "used/1",
          12,
          { TABLE(10), TIED(10.02, 4), AFTER(10.03, 1500) } },
        { "goes on", "", 10.9, { TABLE(10), TIED(10.02, 4) } },
        { "a day and a second later it is finished",
          "used/1",
          11.02 + 2 * SECOND,
          { TABLE(10), TIED(10.02, 4), AFTER(10.03, 1500) } },
        { "however long ago",
          "used/1",
          3000,
          { TABLE(10), TIED(10.02, 4), AFTER(10.03, 1500) } },
        { "all its steps",
          "used/4",
          30,
          { TABLE(10), TIED(10.02, 4), AFTER(10.03, 1800), TIED(10.04, 3),
            AFTER(10.05, 700), STRETCHED(10.06, 4), AFTER(10.07, 950),
            RELEASED(10.08), AFTER(10.09, 2500) } },
        { "no flow after it: learning says so",
          "used/1",
          30,
          { TABLE(10), TIED(10.02, 4) } },
        { "the flow before is of another day",
          "old-baseline/1",
          30,
          { FLOW(5, 2500, DILUTION), TIED(10.02, 4), AFTER(10.03, 1500) } },
        { "of that day, but at which time is not known",
          "old-baseline/1",
          30,
          { FLOW(9, 2500, DILUTION, .precision = AT_DAY), TIED(10.02, 4),
            AFTER(10.03, 1500) } },
        { "older than a plan may be",
          "old-baseline/1",
          130,
          { FLOW(5, 2500, DILUTION), TIED(100, 4), AFTER(100.03, 1500) } },
        { "no flow before",
          "no-baseline/0",
          30,
          { TIED(10.02, 4), AFTER(10.03, 1500) } },
        { "a bound before",
          "no-baseline/0",
          30,
          { FLOW(10, 3000, DILUTION, .bound = BOUND_ABOVE), TIED(10.02, 4),
            AFTER(10.03, 1500) } },
        { "only the day of the tie is known",
          "order/0",
          30,
          { TABLE(10), NUMBER(10, Q_DOWEL_DIAMETER, 4, .precision = AT_DAY),
            AFTER(10.03, 1500) } },
        { "no dowel",
          "size/0",
          30,
          { TABLE(10), SIGN(10.02, SIGN_BANDED), AFTER(10.03, 1500) } },
        { "withdrawn",
          "",
          30,
          { TABLE(10), NUMBER(10.02, Q_DOWEL_DIAMETER, 4, WITHDRAWN),
            AFTER(10.03, 1500) } },
        { "a release is no case",
          "",
          30,
          { TABLE(10), RELEASED(10.02), AFTER(10.03, 2500) } },
        { "a second band, years later",
          "banded/1 used/1",
          900,
          { TABLE(10), TIED(10.02, 4), AFTER(10.03, 1500), TABLE(800),
            TIED(800.02, 3.5), AFTER(800.03, 1300) } },
        { "one finished, one goes on",
          "used/1",
          800.5,
          { TABLE(10), TIED(10.02, 4), AFTER(10.03, 1500), TABLE(800),
            TIED(800.02, 3.5), AFTER(800.03, 1300) } },
        { "the next day tied anew: two cases, and a band was there",
          "banded/1 used/1",
          30,
          { TABLE(10), TIED(10.02, 4), AFTER(10.03, 1800), AFTER(11.4, 1900),
            TIED(11.5, 3.5), AFTER(11.6, 1300) } },
    };
    static struct technique_found found[TECHNIQUE_CASES_OF_ACCESS];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        size_t count = look(cases[i].events, cases[i].now_day, found,
                            TECHNIQUE_CASES_OF_ACCESS);
        char line[256] = "";
        size_t len = 0;

        ROW(cases[i].name);
        for (size_t c = 0; c < count; c++)
            len += (size_t)snprintf(
                line + len, sizeof(line) - len, "%s%s/%zu", c > 0 ? " " : "",
                technique_use_word(found[c].use), found[c].in.stage_count);
        assert_string_equal(line, cases[i].want);
    }
}

static void the_newest_of_many_are_kept(void **state)
{
    static const struct event events[] = { TABLE(10),   TIED(10.02, 4),
                                           TABLE(110),  TIED(110.02, 4),
                                           TABLE(210),  TIED(210.02, 4),
                                           TABLE(310),  TIED(310.02, 4),
                                           { .day = 0 } };
    struct technique_found found[2];

    (void)state;
    assert_int_equal(look(events, 400, found, 2), 2);
    assert_true(found[0].case_s == kit_s(310.02));
    assert_true(found[1].case_s == kit_s(210.02));
}

/* A band of another form is recorded after it: it is none of ours. */
static void another_form_of_band_is_left_out(void **state)
{
    static const struct event events[] = { TABLE(10),
                                           TIED(10.02, 4),
                                           SIGN(10.02, SIGN_BAND_CUFF),
                                           AFTER(10.03, 1500),
                                           { .day = 0 } };
    struct technique_found found[2];

    (void)state;
    assert_int_equal(look(events, 30, found, 2), 1);
    assert_int_equal(found[0].use, TECHNIQUE_OTHER_FORM);
}

/* ---- what they are made of -------------------------------------------------------- */

/* What was measured later has no part in it. */
static void a_case_holds_what_was_measured_then(void **state)
{
    static const struct event events[] = { FLOW(2, 2900, DILUTION),
                                           TABLE(10),
                                           TIED(10.02, 4),
                                           AFTER(10.03, 1800),
                                           AFTER(10.035, 1850),
                                           NUMBER(10.031, Q_MEAN_PRESSURE, 81),
                                           TIED(10.04, 3.5),
                                           AFTER(10.05, 1300),
                                           INDEX(10.055, 0.7),
                                           AFTER(40, 1600),
                                           AFTER(70, 1700),
                                           NUMBER(60, Q_HAEMATOCRIT, 0.35),
                                           { .day = 0 } };
    struct technique_found f;
    const struct plan_input *in = &f.in;

    (void)state;
    assert_int_equal(look(events, 90, &f, 1), 1);
    assert_int_equal(f.use, TECHNIQUE_USED);
    assert_true(f.case_s == kit_s(10.02));
    assert_true(in->on_table);
    assert_int_equal(in->method, METHOD_ULTRASOUND_DILUTION);
    assert_int_equal(in->flow_count, 2);
    assert_near(in->flow_ml_min[0], 2500, 0);
    assert_near(in->flow_ml_min[1], 2600, 0);
    assert_near(in->map_mmhg, 92, 0);
    assert_true(isnan(in->haematocrit_frac));
    assert_int_equal(in->stage_count, 2);
    assert_near(in->stages[0].dowel_mm, 4, 0);
    assert_int_equal(in->stages[0].flow_count, 2);
    assert_near(in->stages[0].map_mmhg, 81, 0);
    assert_near(in->stages[1].dowel_mm, 3.5, 0);
    assert_int_equal(in->stages[1].flow_count, 1);
    assert_near(in->stages[1].flow_ml_min[0], 1300, 0);
    assert_near(in->stages[1].index, 0.7, 0);
    for (size_t i = 0; i < f.ground_count; i++)
        assert_true(readings[f.grounds[i]].start_s < kit_s(11.04));
    assert_true(f.ground_count >= 10);
}

/* On its last day it is what a plan went on from: the same stages, flows and
 * pressures, whatever has come since. */
static void it_is_what_a_plan_went_on_from(void **state)
{
    static const struct event events[] = {
        TABLE(10),         TIED(10.02, 4),    AFTER(10.03, 1800),
        TIED(10.04, 3),    AFTER(10.05, 700), STRETCHED(10.06, 4),
        AFTER(10.07, 950), { .day = 0 }
    };
    static const struct event later[] = {
        TABLE(10),         TIED(10.02, 4),    AFTER(10.03, 1800),
        TIED(10.04, 3),    AFTER(10.05, 700), STRETCHED(10.06, 4),
        AFTER(10.07, 950), AFTER(50, 1500),   { .day = 0 }
    };
    const struct readiness nothing = { .hand = false };
    struct history h = { .access_type = SIGN_TYPE_AVF,
                         .now_s = kit_s(10.9),
                         .readings = readings };
    struct technique_found f;
    struct plan_from from;

    (void)state;
    h.count = kit_readings(events, readings);
    plan_from(&h, &policy, &nothing, NULL, &from);
    assert_int_equal(look(later, 60, &f, 1), 1);
    assert_int_equal(f.in.stage_count, from.in.stage_count);
    for (size_t i = 0; i < from.in.stage_count; i++) {
        const struct plan_stage *a = &f.in.stages[i], *b = &from.in.stages[i];

        assert_int_equal(a->step, b->step);
        assert_int_equal(a->flow_count, b->flow_count);
        assert_memory_equal(a->flow_ml_min, b->flow_ml_min,
                            sizeof(a->flow_ml_min));
        assert_memory_equal(&a->map_mmhg, &b->map_mmhg, sizeof(double));
        assert_memory_equal(&a->dowel_mm, &b->dowel_mm, sizeof(double));
    }
    assert_int_equal(f.in.flow_count, from.in.flow_count);
    assert_near(f.in.map_mmhg, from.in.map_mmhg, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_found),
        cmocka_unit_test(the_newest_of_many_are_kept),
        cmocka_unit_test(another_form_of_band_is_left_out),
        cmocka_unit_test(a_case_holds_what_was_measured_then),
        cmocka_unit_test(it_is_what_a_plan_went_on_from),
    };

    return cmocka_run_group_tests(tests, start, NULL);
}

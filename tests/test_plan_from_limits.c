/* The limits of the policy, and what a person wants, in the input of a plan. */
#include "tests/test.h"

#include "tests/plan_from_kit.h"

static struct from_kit kit;

static const struct event one_flow[] = { FLOW(99, 1600), { .day = 0 } };

/* Floors 500 and 700, window 600-1000 and 800-1000; the
 * window of the policy file, with the sources there. */
static void limits_are_those_of_the_type(void **state)
{
    static const struct {
        int type;
        bool graft;
        double floor, window_low;
    } cases[] = {
        { AVF, false, 500, 600 },
        { AVG, true, 700, 800 },
        /* not known: what is on the safe side of both */
        { SIGN_TYPE_UNKNOWN, false, 700, 800 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        from_kit_make(&kit, one_flow, cases[i].type, 100, &from_kit_asked);
        assert_int_equal(kit.from.in.graft, cases[i].graft);
        assert_near(kit.from.in.limits.floor_ml_min, cases[i].floor, 0);
        assert_near(kit.from.in.limits.window_low_ml_min, cases[i].window_low,
                    0);
    }
}

/* Each row of the policy is used, and in the unit that the planner has. */
static void every_row_of_the_policy_is_used(void **state)
{
    static const struct {
        enum param row;
        size_t place;
        double value, want;
    } rows[] = {
#define LIMIT(p, member, value, want)                                          \
    { p, offsetof(struct plan_limits, member), value, want }
        LIMIT(P_PLAN_FLOOR_FISTULA, floor_ml_min, 432, 432),
        LIMIT(P_PLAN_PUMP_MARGIN, pump_margin_ml_min, 123, 123),
        LIMIT(P_PLAN_SHARE_LOW_PCT, share_low, 31, 0.31),
        LIMIT(P_PLAN_SHARE_HIGH_PCT, share_high, 63, 0.63),
        LIMIT(P_PLAN_CAP, cap_ml_min, 1777, 1777),
        LIMIT(P_PLAN_CAP_LOW, cap_low_ml_min, 1111, 1111),
        LIMIT(P_PLAN_WINDOW_LOW_FISTULA, window_low_ml_min, 555, 555),
        LIMIT(P_PLAN_WINDOW_HIGH, window_high_ml_min, 999, 999),
        LIMIT(P_PLAN_INDEX_LEAST, index_least, 0.7, 0.7),
        LIMIT(P_PLAN_PRESSURE_LEAST, pressure_least_mmhg, 66, 66),
        LIMIT(P_PLAN_TIGHT_MOST_PCT, tight_most, 17, 0.17),
        LIMIT(P_PLAN_FLOOR_FIRST_MOST_PCT, floor_first_most, 3, 0.03),
        LIMIT(P_PLAN_FLOOR_MOST_PCT, floor_most, 7, 0.07),
        LIMIT(P_PLAN_RISK_INDEX, risk_index, 0.45, 0.45),
        LIMIT(P_PLAN_RISK_INDEX_MOST_PCT, risk_index_most, 13, 0.13),
        LIMIT(P_PLAN_RISK_FALL, risk_fall, 0.15, 0.15),
        LIMIT(P_PLAN_RISK_FALL_MOST_PCT, risk_fall_most, 44, 0.44),
#undef LIMIT
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        const char *at = (const char *)&kit.from.in.limits + rows[i].place;
        double got;

        kit.policy.values[rows[i].row].value = rows[i].value;
        from_kit_make(&kit, one_flow, AVF, 100, &from_kit_asked);
        memcpy(&got, at, sizeof(got));
        assert_near(got, rows[i].want, 1e-12);
        kit_policy(&kit.policy);
    }
    kit.policy.values[P_PLAN_FLOOR_GRAFT].value = 765;
    kit.policy.values[P_PLAN_WINDOW_LOW_GRAFT].value = 876;
    from_kit_make(&kit, one_flow, AVG, 100, &from_kit_asked);
    assert_near(kit.from.in.limits.floor_ml_min, 765, 0);
    assert_near(kit.from.in.limits.window_low_ml_min, 876, 0);
    kit_policy(&kit.policy);
}

/* The shipped policy and the planner's own defaults say the same. */
static void the_shipped_limits_are_those_of_the_planner(void **state)
{
    struct plan_input own;

    (void)state;
    plan_input_init(&own);
    from_kit_make(&kit, one_flow, AVF, 100, &from_kit_asked);
    assert_memory_equal(&kit.from.in.limits, &own.limits, sizeof(own.limits));
}

static void a_wish_is_followed(void **state)
{
    static const struct event hand[] = { FLOW(99, 1600),
                                         SIGN(99.2, SIGN_GRADE_3),
                                         { .day = 0 } };
    const struct plan_wish wish = { .prior = &prior_reference,
                                    .lead_given = true,
                                    .lead = PLAN_BY_REDUCTION,
                                    .reduction_low_frac = 0.3,
                                    .reduction_high_frac = 0.35,
                                    .dowel_count = 2,
                                    .dowels_mm = { 4.25, 3.75 } };

    (void)state;
    from_kit_make(&kit, one_flow, AVF, 100, &from_kit_asked);
    assert_int_equal(kit.from.in.lead, PLAN_BY_SHARE);
    assert_ptr_equal(kit.from.in.prior, &prior_default);
    assert_int_equal(kit.from.in.dowel_count, 0);
    from_kit_make(&kit, hand, AVF, 100, NULL);
    assert_true(kit.from.in.ischaemia);
    assert_int_equal(kit.from.in.lead, PLAN_BY_HAND);
    from_kit_make(&kit, hand, AVF, 100, &wish);
    assert_int_equal(kit.from.in.lead, PLAN_BY_REDUCTION);
    assert_near(kit.from.in.reduction_low_frac, 0.3, 0);
    assert_near(kit.from.in.reduction_high_frac, 0.35, 0);
    assert_ptr_equal(kit.from.in.prior, &prior_reference);
    assert_int_equal(kit.from.in.dowel_count, 2);
    assert_near(kit.from.in.dowels_mm[1], 3.75, 0);
}

/* ---- what a person says of the table --------------------------------------------- */

/* clang-format off */
static const struct {
    const char *name;
    double now_day;
    bool said, want;
    struct event events[6];
} tables[] = {
    { "nobody says so", 99.05, false, false, { FLOW(99, 2500) } },
    { "said, minutes ago", 99.05, true, true, { FLOW(99, 2500) } },
    /* the shipped plan.case_h: 24 h, both sides */
    { "said, a day ago", 100, true, true, { FLOW(99, 2500) } },
    { "said, of longer ago", 100.01, true, false, { FLOW(99, 2500) } },
    /* the newest session decides, not an older one */
    { "said, of two sessions", 99.05, true, true,
      { FLOW(80, 2400), FLOW(99, 2500) } },
    /* once a step is recorded, that decides */
    { "said, tied long after", 99.1, true, false,
      { FLOW(90, 2500), DOWEL(99.05, 4) } },
    { "not said, tied at once", 99.1, false, true,
      { FLOW(99, 2500), DOWEL(99.05, 4) } },
};
/* clang-format on */

static void the_table_is_told_by_a_person_or_a_step(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(tables); i++) {
        const struct plan_wish wish = { .on_table = tables[i].said };

        ROW(tables[i].name);
        from_kit_make(&kit, tables[i].events, AVF, tables[i].now_day, &wish);
        assert_int_equal(kit.from.in.on_table, tables[i].want);
        assert_int_equal(kit.from.in.flow_count, 1);
    }
}

static void the_region_is_told_on(void **state)
{
    (void)state;
    from_kit_set(&kit, one_flow, AVF, 100);
    from_kit_run(&kit, &from_kit_asked);
    assert_int_equal(kit.from.in.region, PLAN_ELBOW);
    kit.h.forearm = true;
    kit.h.side = SIDE_RIGHT;
    from_kit_run(&kit, &from_kit_asked);
    assert_int_equal(kit.from.in.region, PLAN_WRIST);
    assert_int_equal(kit.from.side, SIDE_RIGHT);
    assert_true(kit.from.forearm);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_are_those_of_the_type),
        cmocka_unit_test(every_row_of_the_policy_is_used),
        cmocka_unit_test(the_shipped_limits_are_those_of_the_planner),
        cmocka_unit_test(a_wish_is_followed),
        cmocka_unit_test(the_table_is_told_by_a_person_or_a_step),
        cmocka_unit_test(the_region_is_told_on),
    };

    kit_policy(&kit.policy);
    return cmocka_run_group_tests(tests, NULL, NULL);
}

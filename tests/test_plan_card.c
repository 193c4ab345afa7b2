/*
 * test_plan_card - the card: what to do at each flow that may be measured
 *
 * Its form is a rule of the design: rows from 0 to any flow without a gap,
 * half-open, the lowest one an emergency.  The flows where one row hands over
 * to the next are the planner's own and not held here.
 */
#include "tests/plan_test.h"

static bool is_equal(double x, double y)
{
    return x == y || (isnan(x) && isnan(y));
}

/* What holds of the card of any plan. */
static void check_form(const struct plan *plan)
{
    const struct plan_row *last = &plan->rows[plan->row_count - 1];

    assert_in_range(plan->row_count, 2, PLAN_CARD_MAX);
    assert_true(plan->rows[0].from_ml_min == 0.0);
    assert_true(plan->rows[0].emergency);
    assert_int_equal(plan->rows[0].action, PLAN_LOOSEN);
    assert_near(plan->rows[0].to_ml_min, plan->target.floor_ml_min, 0.0);
    assert_true(isinf(last->to_ml_min) && !isinf(last->from_ml_min));
    assert_int_equal(last->action, PLAN_REMEASURE);
    for (size_t i = 1; i < plan->row_count; i++) {
        const struct plan_row *r = &plan->rows[i], *before = r - 1;

        assert_true(r->from_ml_min == before->to_ml_min);
        assert_true(r->from_ml_min < r->to_ml_min);
        assert_false(r->emergency);
        /* Neighbours that say the same are one row. */
        assert_false(r->action == before->action &&
                     r->ladder_ends == before->ladder_ends &&
                     before->emergency == r->emergency &&
                     is_equal(r->dowel_mm, before->dowel_mm));
    }
}

/* A size stands where one is to be tied, on the ladder, not larger than the
 * band in place if it is to be tightened. */
static void check_sizes(const struct plan *plan)
{
    for (size_t i = 0; i < plan->row_count; i++) {
        const struct plan_row *r = &plan->rows[i];

        if (r->action == PLAN_TIGHTEN)
            assert_true(r->dowel_mm <= plan->card_dowel_mm); /* or anew */
        if (r->action == PLAN_TIGHTEN || (r->action == PLAN_LOOSEN && i > 0))
            plan_test_rung(plan, r->dowel_mm);
        if (r->action == PLAN_ACCEPT || r->action == PLAN_STRETCH ||
            r->action == PLAN_REMEASURE)
            assert_true(isnan(r->dowel_mm));
        if (r->ladder_ends)
            assert_int_equal(r->action, PLAN_ACCEPT);
    }
}

static void test_form(void **state)
{
    static const double flows[] = { 1100, 1500, 2000, 2500, 3500, 4500 };

    (void)state;
    for (size_t i = 0; i < COUNT(flows); i++) {
        struct plan_input in = plan_test_input(flows[i]);
        struct plan plan = plan_test_make(&in);

        assert_true(plan.card_dowel_mm == plan.first_dowel_mm);
        check_form(&plan);
        check_sizes(&plan);
    }
}

/* In the middle of the zone the band is accepted; hardly any less flow than
 * before asks for a smaller one. */
static void test_sense(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan = plan_test_make(&in);

    (void)state;
    assert_int_equal(plan_test_row(&plan, 1125)->action, PLAN_ACCEPT);
    assert_int_equal(plan_test_row(&plan, 2000)->action, PLAN_TIGHTEN);
    assert_int_equal(plan_test_row(&plan, 300)->action, PLAN_LOOSEN);
    assert_true(plan_test_row(&plan, 300)->emergency);
    assert_true(plan_test_row(&plan, 300)->dowel_mm > plan.card_dowel_mm);
    assert_int_equal(plan_test_row(&plan, 9000)->action, PLAN_REMEASURE);
}

/* It holds between two flows, in steps of 25 mL/min, that take in what is
 * expected: all but one in a hundred; beyond them it says to measure again. */
static void test_range(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan = plan_test_make(&in);
    const struct plan_range flow =
        plan_test_rung(&plan, plan.card_dowel_mm)->flow_ml_min;

    (void)state;
    assert_true(fmod(plan.lowest_ml_min, 25.0) == 0.0);
    assert_true(fmod(plan.highest_ml_min, 25.0) == 0.0);
    assert_true(plan.lowest_ml_min < flow.p05);
    assert_true(plan.highest_ml_min > flow.p95);
    assert_int_equal(plan_test_row(&plan, plan.lowest_ml_min - 1)->action,
                     PLAN_REMEASURE);
    assert_int_equal(plan_test_row(&plan, plan.highest_ml_min)->action,
                     PLAN_REMEASURE);
}

/* A prescribed pump flow lifts the emergency with the floor. */
static void test_floor(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan;

    (void)state;
    in.prescribed_pump_ml_min = 600;
    plan = plan_test_make(&in);
    assert_true(plan.rows[0].to_ml_min == 700.0);
    check_form(&plan);
}

/* The loosest size is in place: nothing looser to tie, cut. */
static void test_loosest(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan;

    (void)state;
    in.prior = &prior_reference; /* which begins with 4 mm */
    in.dowels_mm[0] = 4.0;
    in.dowels_mm[1] = 3.5;
    in.dowel_count = 2;
    plan = plan_test_make(&in);
    assert_true(plan.first_dowel_mm == 4.0);
    assert_true(isnan(plan.rows[0].dowel_mm));
}

/* The smallest size is in place and too loose: accepted only because the
 * ladder has ended, which is said. */
static void test_ladder_ends(void **state)
{
    struct plan_input in = plan_test_input(3000);
    const struct plan_row *row;
    struct plan plan;

    (void)state;
    in.dowels_mm[0] = 4.5;
    in.dowel_count = 1;
    plan = plan_test_make(&in);
    check_form(&plan);
    assert_true(plan.warnings & PLAN_LADDER_ENDS);
    row = plan_test_row(&plan, 2100);
    assert_int_equal(row->action, PLAN_ACCEPT);
    assert_true(row->ladder_ends);
    /* Not where the zone was reached. */
    assert_false(plan_test_row(&plan, 1350)->ladder_ends);
    in = plan_test_input(2500);
    in.dowels_mm[0] = 4.0;
    in.dowels_mm[1] = 3.5;
    in.dowels_mm[2] = 3.0;
    in.dowels_mm[3] = 2.0;
    in.dowel_count = 4;
    assert_int_equal(plan_test_make(&in).warnings & PLAN_LADDER_ENDS, 0);
}

/* After a stage: the card is for the size that is to be tied next, or for the
 * one in place. */
static void test_after_a_stage(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan;

    (void)state;
    plan_test_stage(&in, PLAN_TIED, 4.0, 1700, 1700);
    plan = plan_test_make(&in);
    assert_int_equal(plan.next, PLAN_TIGHTEN);
    assert_true(plan.card_dowel_mm == plan.next_dowel_mm);
    check_form(&plan);
    check_sizes(&plan);
    for (size_t i = 0; i < PLAN_READINGS_MOST; i++)
        in.stages[0].flow_ml_min[i] = 1125;
    in.stages[0].flow_count = PLAN_READINGS_MOST;
    plan = plan_test_make(&in);
    assert_int_equal(plan.next, PLAN_ACCEPT);
    assert_true(plan.card_dowel_mm == 4.0);
    check_form(&plan);
}

/* Two to four readings, never fewer than are there. */
static void test_readings(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan;

    (void)state;
    for (size_t n = 1; n <= PLAN_READS_MAX; n++) {
        in.flow_count = n;
        in.flow_ml_min[n - 1] = 2500;
        plan = plan_test_make(&in);
        assert_in_range(plan.readings_advised, 2, PLAN_READINGS_MOST);
        assert_in_range(plan.readings_advised_baseline, n < 2 ? 2 : n,
                        n > PLAN_READINGS_MOST ? n : PLAN_READINGS_MOST);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_form),
        cmocka_unit_test(test_sense),
        cmocka_unit_test(test_range),
        cmocka_unit_test(test_floor),
        cmocka_unit_test(test_loosest),
        cmocka_unit_test(test_ladder_ends),
        cmocka_unit_test(test_after_a_stage),
        cmocka_unit_test(test_readings),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

/*
 * test_plan_mends - cases in which a plan was wrong once
 *
 * Each says what must hold whatever the numbers are.
 */
#include "tests/plan_test.h"

/* ---- quantiles ------------------------------------------------------------- */

/* A few far out: the 5, 50 and 95 % points of 1..4090 are where they are. */
static void test_far_out(void **state)
{
    static double value[4096], weight[4096];
    struct plan_range r;

    (void)state;
    for (size_t i = 0; i < 4096; i++) {
        value[i] = i < 4090 ? (double)i + 1.0 : i % 2 ? 1e9 : -1e9;
        weight[i] = i < 4090 ? 1.0 / 4090 : 1e-15;
    }
    r = particles_range(value, weight, 4096);
    assert_near(r.p05, 205, 1.0);
    assert_near(r.p50, 2045.5, 1.0);
    assert_near(r.p95, 3886, 1.0);
}

/* Two heaps of equal values. */
static void test_two_heaps(void **state)
{
    static double value[4096], weight[4096];
    struct plan_range r;

    (void)state;
    for (size_t i = 0; i < 4096; i++) {
        value[i] = i % 4 ? 20.0 : 10.0;
        weight[i] = 1.0 / 4096;
    }
    r = particles_range(value, weight, 4096);
    assert_near(r.p05, 10.0, 1e-9);
    assert_near(r.p50, 20.0, 1e-9);
    assert_near(r.p95, 20.0, 1e-9);
}

/* ---- pressures ------------------------------------------------------------- */

/* Too little between artery and vein to drive a flow in every guess: refused,
 * or at least no number is made up and no size named. */
static void test_no_pressure(void **state)
{
    struct plan_input in = plan_test_input(2000);
    struct plan_fault fault;
    struct plan_stage *s;

    (void)state;
    in.map_mmhg = 40;
    in.cvp_mmhg = 30;
    assert_int_equal(plan_check(&in, &fault), ERR_RANGE);
    in = plan_test_input(2000);
    in.cvp_mmhg = 30;
    s = plan_test_stage(&in, PLAN_TIED, 4.0, 1200, 0);
    s->map_mmhg = 40;
    assert_int_equal(plan_check(&in, &fault), ERR_RANGE);
    in = plan_test_input(2000);
    in.cvp_mmhg = 28;
    in.map_lowest_mmhg = 30;
    assert_int_equal(plan_check(&in, &fault), ERR_RANGE);
}

/* A mean outside its own limits has no distribution. */
static void test_prior_outside_itself(void **state)
{
    struct prior prior = prior_reference;

    (void)state;
    prior.offset_mm = (struct prior_normal){ 1.0, 0.01, -0.2, 0.3 };
    assert_int_equal(prior_check(&prior), ERR_RANGE);
}

/* ---- outflow --------------------------------------------------------------- */

/* What is left if nothing is said is not more than what was there. */
static void test_opening_never_narrows(void **state)
{
    struct plan_input in = plan_test_input(1500);
    struct plan plan;

    (void)state;
    in.stenosis_frac = 0.1;
    in.static_mmhg = 30;
    plan = plan_test_make(&in);
    assert_true(plan.outflow.surge.p50 >= 1.0);
}

/* Nothing is predicted without a static pressure: not known, not 0. */
static void test_not_predicted(void **state)
{
    struct plan_input in = plan_test_input(1500);
    struct plan plan;

    (void)state;
    in.stenosis_frac = 0.7;
    plan = plan_test_make(&in);
    assert_true(isnan(plan.outflow.flow_ml_min.p50));
    assert_true(isnan(plan.outflow.index.p50));
    assert_true(isnan(plan.outflow.p_index_low));
}

/* ---- advice ---------------------------------------------------------------- */

/* After a stage a size is allowed by the limit of later stages. */
static void test_allowed_later(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan plan;

    (void)state;
    plan_test_stage(&in, PLAN_TIED, 4.0, 1820, 1760);
    plan = plan_test_make(&in);
    for (size_t d = 0; d < plan.rung_count; d++)
        assert_int_equal(plan.rungs[d].allowed,
                         plan.rungs[d].p_below_floor <= 0.05);
}

/* No advice is not the advice to accept. */
static void test_no_advice(void **state)
{
    struct plan_input in = plan_test_input(1100);
    struct plan plan;

    (void)state;
    in.index_open = 0.35;
    in.index_compressed = 0.50;
    plan = plan_test_make(&in);
    assert_true(plan.warnings & PLAN_DISTAL);
    assert_true(plan.next != PLAN_ACCEPT);
}

/* The finger with the access open cannot have more than with it pressed shut:
 * every guess is impossible, none is advised on. */
static void test_index_contradicts(void **state)
{
    struct plan_input in = plan_test_input(2000);

    (void)state;
    in.index_open = 1.3;
    in.index_compressed = 0.8;
    assert_true(plan_test_make(&in).warnings & PLAN_CONFLICT);
}

/* A weak thrill is never accepted. */
static void test_weak_thrill(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan_stage *s = plan_test_stage(&in, PLAN_TIED, 4.0, 1125, 1125);

    (void)state;
    s->flow_ml_min[2] = s->flow_ml_min[3] = 1125;
    s->flow_count = 4;
    assert_int_equal(plan_test_make(&in).next, PLAN_ACCEPT);
    s->weak_thrill = true;
    assert_true(plan_test_make(&in).next != PLAN_ACCEPT);
}

/* Measured below the floor: loosen now, then measure, as the card's lowest row
 * says; not the other way round. */
static void test_below_floor(void **state)
{
    static const struct {
        double flow, dowel_mm, read;
        size_t readings;
    } rows[] = { { 2500, 3.0, 420, 2 },
                 { 2500, 3.5, 300, 2 },
                 { 2000, 3.0, 460, 1 },
                 { 1100, 3.5, 490, 4 } };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct plan_input in = plan_test_input(rows[i].flow);
        struct plan_stage *s =
            plan_test_stage(&in, PLAN_TIED, rows[i].dowel_mm, 0, 0);
        struct plan plan;

        while (s->flow_count < rows[i].readings)
            s->flow_ml_min[s->flow_count++] = rows[i].read;
        plan = plan_test_make(&in);
        assert_int_equal(plan.next, PLAN_LOOSEN);
        assert_true(plan.next_dowel_mm > rows[i].dowel_mm);
    }
}

/* ... also where the rest of what is known gives no advice. */
static void test_below_floor_without_advice(void **state)
{
    struct plan_input in = plan_test_input(2000);
    struct plan plan;

    (void)state;
    in.index_open = 0.35;
    in.index_compressed = 0.50;
    plan_test_stage(&in, PLAN_TIED, 4.0, 420, 430);
    plan = plan_test_make(&in);
    assert_true(plan.warnings & PLAN_DISTAL);
    assert_int_equal(plan.next, PLAN_LOOSEN);
    assert_true(plan.next_dowel_mm == 4.5);
}

/* ---- the card -------------------------------------------------------------- */

/* The emergency row loosens: never the size that is in place ... */
static void test_emergency_after_stretch(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan plan;

    (void)state;
    plan_test_stage(&in, PLAN_TIED, 4.0, 1820, 1760);
    plan_test_stage(&in, PLAN_STRETCHED, NAN, 2100, 0);
    plan_test_stage(&in, PLAN_TIED, 3.5, 1150, 1150);
    plan = plan_test_make(&in);
    assert_true(plan.card_dowel_mm == 3.5);
    assert_true(plan.rows[0].dowel_mm > 3.5);
    for (size_t i = 0; i < plan.row_count; i++)
        assert_false(plan.rows[i].action == PLAN_LOOSEN &&
                     plan.rows[i].dowel_mm <= 3.5);
}

/* ... nor one that is smaller than what stretching has made of it. */
static void test_emergency_of_stretched(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan plan;

    (void)state;
    plan_test_stage(&in, PLAN_TIED, 3.5, 850, 820);
    plan_test_stage(&in, PLAN_STRETCHED, NAN, 1150, 1150);
    plan = plan_test_make(&in);
    assert_true(plan.rows[0].emergency);
    assert_true(plan.rows[0].dowel_mm > 3.5);
}

/* A flow far above the zone is not accepted without a word. */
static void test_no_silent_accept(void **state)
{
    static const double flows[] = { 1200, 1500 };

    (void)state;
    for (size_t i = 0; i < COUNT(flows); i++) {
        struct plan_input in = plan_test_input(flows[i]);
        struct plan plan = plan_test_make(&in);
        const struct plan_row *row = plan_test_row(&plan, 0.9 * flows[i]);

        assert_true(row->action != PLAN_ACCEPT || row->above_target);
    }
}

/* Too much flow is never a reason to loosen. */
static void test_no_loosening_above(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan plan;

    (void)state;
    in.flow_ml_min[0] = 2650;
    in.flow_ml_min[1] = 2550;
    plan_test_stage(&in, PLAN_TIED, 4.0, 1820, 1760);
    plan = plan_test_make(&in);
    for (size_t i = 0; i < plan.row_count; i++)
        assert_false(plan.rows[i].action == PLAN_LOOSEN &&
                     plan.rows[i].from_ml_min >= plan.target.high_ml_min);
}

/* The next size keeps to the limit that the table of sizes prints: 5 % below
 * the floor. */
static void test_next_keeps_to_the_floor(void **state)
{
    struct plan_input in = plan_test_input(1122);
    struct plan plan;

    (void)state;
    in.map_mmhg = 106;
    in.lead = PLAN_BY_HAND;
    in.ischaemia = true;
    for (int i = 0; i <= 12; i++) {
        in.index_open = 0.30 + 0.02 * i;
        in.stage_count = 0;
        plan_test_stage(&in, PLAN_TIED, 3.5, 1012, 1012);
        plan = plan_test_make(&in);
        if (plan.next == PLAN_TIGHTEN)
            assert_true(
                plan_test_rung(&plan, plan.next_dowel_mm)->p_below_floor <=
                0.05);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_far_out),
        cmocka_unit_test(test_two_heaps),
        cmocka_unit_test(test_no_pressure),
        cmocka_unit_test(test_prior_outside_itself),
        cmocka_unit_test(test_opening_never_narrows),
        cmocka_unit_test(test_not_predicted),
        cmocka_unit_test(test_allowed_later),
        cmocka_unit_test(test_no_advice),
        cmocka_unit_test(test_index_contradicts),
        cmocka_unit_test(test_weak_thrill),
        cmocka_unit_test(test_below_floor),
        cmocka_unit_test(test_below_floor_without_advice),
        cmocka_unit_test(test_emergency_after_stretch),
        cmocka_unit_test(test_emergency_of_stretched),
        cmocka_unit_test(test_no_silent_accept),
        cmocka_unit_test(test_no_loosening_above),
        cmocka_unit_test(test_next_keeps_to_the_floor),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

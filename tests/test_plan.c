/*
 * test_plan - the first dowel, and stages replayed
 *
 * How a plan behaves, not which numbers it gives: those are compared with
 * published ones in test_plan_published.c and with NumPy and SciPy in
 * peers/planner.py.  The limits of chance are rules of the policy as shipped:
 * first dowel at most 25 % too tight and 2 % below the floor, later at most 5 %
 * below the floor (proposed, without direct source).
 */
#include "tests/plan_test.h"

static double width(struct plan_range r)
{
    return r.p95 - r.p05;
}

/* ---- the first dowel ------------------------------------------------------- */

static void test_first_dowel(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan = plan_test_make(&in);
    double least = INFINITY;

    (void)state;
    assert_int_equal(plan.rung_count, 5);
    for (size_t i = 0; i < plan.rung_count; i++) {
        const struct plan_rung *r = &plan.rungs[i];

        assert_near(r->dowel_mm, 5.0 - 0.5 * (double)i, 0.0);
        assert_int_equal(r->allowed,
                         r->p_too_tight <= 0.25 && r->p_below_floor <= 0.02);
        if (r->allowed)
            least = fmin(least, r->loss);
    }
    /* Of those within the limits the one that promises most. */
    assert_true(plan_test_rung(&plan, plan.first_dowel_mm)->allowed);
    assert_near(plan_test_rung(&plan, plan.first_dowel_mm)->loss, least, 0.0);
    assert_int_equal(plan.next, PLAN_TIGHTEN);
    assert_true(plan.next_dowel_mm == plan.first_dowel_mm);
    assert_true(plan.card_dowel_mm == plan.first_dowel_mm);
}

/* The limits bind: the size that was chosen is barred as soon as one of them is
 * below its chance. */
static void test_limits_bind(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan = plan_test_make(&in);
    double first_mm = plan.first_dowel_mm;
    const struct plan_rung *r = plan_test_rung(&plan, first_mm);

    (void)state;
    in.limits.tight_most = 0.999 * r->p_too_tight;
    assert_true(plan_test_make(&in).first_dowel_mm > first_mm);
    in = plan_test_input(2500);
    in.limits.floor_first_most = 0.0;
    in.limits.floor_ml_min = 850;
    plan = plan_test_make(&in);
    assert_true(plan_test_rung(&plan, plan.first_dowel_mm)->p_below_floor == 0);
    assert_true(plan_test_rung(&plan, first_mm)->p_below_floor > 0);
    assert_true(plan.first_dowel_mm > first_mm);
}

static void test_no_dowel(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan;

    (void)state;
    in.dowels_mm[0] = 2.0;
    in.dowels_mm[1] = 2.25;
    in.dowel_count = 2;
    plan = plan_test_make(&in);
    assert_true(plan.warnings & PLAN_NO_DOWEL);
    assert_true(isnan(plan.first_dowel_mm) && isnan(plan.card_dowel_mm));
    assert_int_equal(plan.row_count, 0);
    assert_false(plan.rungs[0].allowed || plan.rungs[1].allowed);
}

/* Loosest first, whatever the order of the list; ischaemia adds 2.5 mm to the
 * usual one and nothing to one's own. */
static void test_ladder(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan;

    (void)state;
    in.ischaemia = true;
    plan = plan_test_make(&in);
    assert_int_equal(plan.rung_count, 6);
    assert_true(plan.rungs[5].dowel_mm == 2.5);
    in.dowels_mm[0] = 3.25;
    in.dowels_mm[1] = 4.75;
    in.dowels_mm[2] = 4.0;
    in.dowel_count = 3;
    plan = plan_test_make(&in);
    assert_int_equal(plan.rung_count, 3);
    assert_true(plan.rungs[0].dowel_mm == 4.75);
    assert_true(plan.rungs[1].dowel_mm == 4.0);
    assert_true(plan.rungs[2].dowel_mm == 3.25);
}

/* Hagen and Poiseuille: flow with the fourth power of the diameter, as if the
 * access were nothing but the band; 4 of a 9 mm conduit, 2500 mL/min: 98. */
static void test_fourth_power(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan plan;

    (void)state;
    in.conduit_mm = 9;
    plan = plan_test_make(&in);
    assert_near(plan_test_rung(&plan, 4.0)->fourth_power_ml_min,
                2500 * pow(4.0 / 9.0, 4), 0.5);
    /* Textbook: a step from 3 to 4 mm lets 3.16 times the flow through. */
    assert_near(plan_test_rung(&plan, 4.0)->fourth_power_ml_min /
                    plan_test_rung(&plan, 3.0)->fourth_power_ml_min,
                3.16, 0.005);
}

/* ---- stages ---------------------------------------------------------------- */

/* What was predicted for a stage is what the plan before it had said of that
 * size; what was measured is the geometric mean of the readings. */
static void test_stage_seen(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan before = plan_test_make(&in), after;
    const struct plan_rung *r = plan_test_rung(&before, 4.0);
    const struct plan_seen *seen = &after.seen[0];

    (void)state;
    assert_int_equal(before.seen_count, 0);
    plan_test_stage(&in, PLAN_TIED, 4.0, 1820, 1760);
    after = plan_test_make(&in);
    assert_int_equal(after.seen_count, 1);
    assert_near(seen->measured_ml_min, sqrt(1820.0 * 1760.0), 1e-9);
    assert_near(seen->reduction_pct, 100 * (1 - sqrt(1820.0 * 1760.0) / 2600),
                1e-9);
    assert_memory_equal(&seen->predicted_ml_min, &r->flow_ml_min,
                        sizeof r->flow_ml_min);
    assert_true(seen->tail > 0.5 && seen->tail < 1.0);
    assert_int_equal(after.missing & PLAN_NO_STAGE_MAP, PLAN_NO_STAGE_MAP);
    assert_true(isnan(after.first_dowel_mm));
}

/* More was left than expected: so it will be of the next size; and what is
 * left open is less. */
static void test_stage_teaches(void **state)
{
    static const double read[] = { 1150, 1400, 1800 };
    struct plan_input in = plan_test_input(2600);
    struct plan prior = plan_test_make(&in);
    double last = 0.0;

    (void)state;
    for (size_t i = 0; i < COUNT(read); i++) {
        struct plan_range flow;
        struct plan plan;

        in.stage_count = 0;
        plan_test_stage(&in, PLAN_TIED, 4.0, read[i], read[i]);
        plan = plan_test_make(&in);
        flow = plan_test_rung(&plan, 3.5)->flow_ml_min;
        assert_true(flow.p50 > last);
        assert_true(width(flow) <
                    width(plan_test_rung(&prior, 3.5)->flow_ml_min));
        last = flow.p50;
    }
}

/* The same flow at a lower pressure means a looser band. */
static void test_stage_pressure(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan_stage *s = plan_test_stage(&in, PLAN_TIED, 4.0, 1500, 1500);
    double low, high;
    struct plan plan;

    (void)state;
    s->map_mmhg = 80;
    plan = plan_test_make(&in);
    assert_int_equal(plan.missing & PLAN_NO_STAGE_MAP, 0);
    low = plan_test_rung(&plan, 3.5)->flow_ml_min.p50;
    s->map_mmhg = 110;
    plan = plan_test_make(&in);
    high = plan_test_rung(&plan, 3.5)->flow_ml_min.p50;
    assert_true(low > high + 50);
}

/* Measured after the tie, the pressure has already risen with it: what is
 * predicted for the same number is less than where the rise is still to come
 * (2.5 mmHg for each L/min that the band takes away). */
static void test_pressure_is_of_the_stage(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan_stage *s = plan_test_stage(&in, PLAN_TIED, 4.0, 1500, 1500);
    double to_come = plan_test_make(&in).seen[0].predicted_ml_min.p50;

    (void)state;
    s->map_mmhg = in.map_mmhg;
    assert_true(plan_test_make(&in).seen[0].predicted_ml_min.p50 <
                to_come - 5.0);
}

/* Tied but not measured: nothing is known of it, measure. */
static void test_stage_not_measured(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan plan;

    (void)state;
    plan_test_stage(&in, PLAN_TIED, 4.0, 0, 0);
    plan = plan_test_make(&in);
    assert_int_equal(plan.next, PLAN_REMEASURE);
    assert_true(isnan(plan.next_dowel_mm));
    assert_true(isnan(plan.seen[0].measured_ml_min));
    assert_true(isnan(plan.seen[0].tail));
    assert_true(plan.card_dowel_mm == 4.0);
}

/* What to do after a measured stage, where it cannot be otherwise. */
static void test_next(void **state)
{
    static const struct {
        double dowel_mm, read;
        enum plan_action action;
    } rows[] = {
        { 4.0, 1130, PLAN_ACCEPT },  /* the middle of the zone */
        { 4.0, 2100, PLAN_TIGHTEN }, /* hardly less than before */
        { 3.0, 560, PLAN_LOOSEN },   /* a fifth is left */
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct plan_input in = plan_test_input(2500);
        struct plan_stage *s = plan_test_stage(&in, PLAN_TIED, rows[i].dowel_mm,
                                               rows[i].read, rows[i].read);
        struct plan plan;

        /* as many readings as can be taken: none more to ask for */
        for (size_t k = 2; k < PLAN_READINGS_MOST; k++)
            s->flow_ml_min[s->flow_count++] = rows[i].read;
        plan = plan_test_make(&in);
        assert_int_equal(plan.next, rows[i].action);
        if (rows[i].action == PLAN_TIGHTEN)
            assert_true(plan.next_dowel_mm < rows[i].dowel_mm);
        if (rows[i].action == PLAN_LOOSEN)
            assert_true(plan.next_dowel_mm > rows[i].dowel_mm);
        if (rows[i].action == PLAN_ACCEPT)
            assert_true(isnan(plan.next_dowel_mm) &&
                        plan.card_dowel_mm == rows[i].dowel_mm);
    }
}

/* Cut: no band is in place, and a first dowel is named anew with what was
 * learned. */
static void test_released(void **state)
{
    struct plan_input in = plan_test_input(2600);
    struct plan fresh = plan_test_make(&in), plan;

    (void)state;
    plan_test_stage(&in, PLAN_TIED, 3.0, 700, 720);
    plan_test_stage(&in, PLAN_RELEASED, NAN, 0, 0);
    plan = plan_test_make(&in);
    assert_int_equal(plan.seen_count, 2);
    assert_true(plan.first_dowel_mm > 0.0);
    assert_true(width(plan_test_rung(&plan, 4.0)->flow_ml_min) <
                width(plan_test_rung(&fresh, 4.0)->flow_ml_min));
}

static void test_many_stages(void **state)
{
    struct plan_input in = plan_test_input(2600);

    (void)state;
    for (int i = 0; i < 4; i++)
        plan_test_stage(&in, PLAN_TIED, 4.0, 1500, 1450);
    assert_false(plan_test_make(&in).warnings & PLAN_MANY_STAGES);
    plan_test_stage(&in, PLAN_TIED, 4.0, 1500, 1450);
    assert_true(plan_test_make(&in).warnings & PLAN_MANY_STAGES);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_first_dowel),
        cmocka_unit_test(test_limits_bind),
        cmocka_unit_test(test_no_dowel),
        cmocka_unit_test(test_ladder),
        cmocka_unit_test(test_fourth_power),
        cmocka_unit_test(test_stage_seen),
        cmocka_unit_test(test_stage_teaches),
        cmocka_unit_test(test_stage_pressure),
        cmocka_unit_test(test_pressure_is_of_the_stage),
        cmocka_unit_test(test_stage_not_measured),
        cmocka_unit_test(test_next),
        cmocka_unit_test(test_released),
        cmocka_unit_test(test_many_stages),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

/*
 * test_plan_target - what a plan steers to, and what a flow is worth
 *
 * The numbers are rules of the policy as shipped (config/policy.ini, [plan],
 * where their grounds stand): the zone ends at half of the baseline or at 1500
 * mL/min and begins at 40 % or, under that cap, at 1300; it never begins below
 * the floor, which is 500 mL/min of a fistula, 700 of a graft, and at least 100
 * more than the pump needs.
 */
#include "tests/plan_test.h"

struct row {
    const char *name;
    double flow, floor, pump; /* NAN: the shipped one, not prescribed */
    double low, high;
    bool relative;
};

static const struct row shares[] = {
    { "2500", 2500, NAN, NAN, 1000, 1250, true },
    { "1500", 1500, NAN, NAN, 600, 750, true },
    { "3500: the cap", 3500, NAN, NAN, 1300, 1500, false },
    { "3000: just not the cap", 3000, NAN, NAN, 1200, 1500, true },
    { "3010: just the cap", 3010, NAN, NAN, 1300, 1500, false },
    { "1200: the floor is higher", 1200, NAN, NAN, 500, 600, false },
    { "graft of 2000", 2000, 700, NAN, 800, 1000, true },
    { "graft of 1500", 1500, 700, NAN, 700, 750, false },
    { "a pump of 450 needs 550", 1300, NAN, 450, 550, 650, false },
    { "a pump of 350 does not", 1300, NAN, 350, 520, 650, true },
    { "a graft's pump of 700", 2500, 700, 700, 1000, 1250, true },
};

static struct plan_input input_of(const struct row *row)
{
    struct plan_input in = plan_test_input(row->flow);

    if (!isnan(row->floor))
        in.limits.floor_ml_min = row->floor;
    in.graft = row->floor == 700;
    in.prescribed_pump_ml_min = row->pump;
    return in;
}

static void check_zone(const struct row *row, const struct plan_target *t)
{
    assert_near(t->low_ml_min, row->low, 1e-9);
    assert_near(t->high_ml_min, row->high, 1e-9);
    assert_near(t->low_frac, 1.0 - row->high / row->flow, 1e-12);
    assert_near(t->high_frac, 1.0 - row->low / row->flow, 1e-12);
    assert_int_equal(t->relative, row->relative);
}

static void test_share(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(shares); i++) {
        const struct row *row = &shares[i];
        struct plan_input in = input_of(row);
        struct plan_target t;

        ROW(row->name);
        assert_true(plan_target_set(&in, row->flow, &t));
        assert_int_equal(t.lead, PLAN_BY_SHARE);
        check_zone(row, &t);
        assert_near(t.floor_ml_min,
                    fmax(isnan(row->floor) ? 500 : row->floor,
                         isnan(row->pump) ? 0 : row->pump + 100),
                    1e-9);
    }
}

/* A fistula of 1000 and a graft of 1200 have no room between half of the flow
 * and the floor. */
static void test_empty(void **state)
{
    static const struct row rows[] = {
        { "fistula of 1000", 1000, NAN, NAN, 500, 500, false },
        { "graft of 1200", 1200, 700, NAN, 700, 600, false },
        { "below the floor already", 450, NAN, NAN, 500, 225, false },
        { "a pump of 800 at 1700", 1700, NAN, 800, 900, 850, false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct plan_input in = input_of(&rows[i]);
        struct plan plan = plan_test_make(&in);

        ROW(rows[i].name);
        check_zone(&rows[i], &plan.target);
        assert_true(plan.warnings & PLAN_ZONE_EMPTY);
        assert_true(isnan(plan.first_dowel_mm));
        assert_true(isnan(plan.card_dowel_mm));
        assert_int_equal(plan.row_count, 0);
        /* What each size would do is told all the same. */
        assert_int_equal(plan.rung_count, 5);
    }
}

/* Fistula 600 to 1000, graft 800 to 1000 (the caller sets it), whatever the
 * baseline; nothing to do where that is below it. */
static void test_window(void **state)
{
    static const double flows[] = { 1200, 2500, 4000 };
    struct plan_input in;
    struct plan_target t;

    (void)state;
    for (size_t i = 0; i < COUNT(flows); i++) {
        in = plan_test_input(flows[i]);
        in.lead = PLAN_BY_WINDOW;
        assert_true(plan_target_set(&in, flows[i], &t));
        assert_true(t.low_ml_min == 600 && t.high_ml_min == 1000);
        assert_false(t.relative);
        in.limits.window_low_ml_min = 800;
        assert_true(plan_target_set(&in, flows[i], &t));
        assert_true(t.low_ml_min == 800 && t.high_ml_min == 1000);
    }
    assert_false(plan_target_set(&in, 790, &t));
}

static void test_reduction(void **state)
{
    struct plan_input in = plan_test_reference(2500);
    struct plan_target t;

    (void)state;
    assert_true(plan_target_set(&in, 2500, &t));
    check_zone(&(struct row){ "", 2500, NAN, NAN, 1000, 1250, true }, &t);
    in.reduction_low_frac = 0.3;
    in.reduction_high_frac = 0.45;
    assert_true(plan_target_set(&in, 4000, &t));
    check_zone(&(struct row){ "", 4000, NAN, NAN, 2200, 2800, true }, &t);
}

/* Without its index the hand cannot lead: said, and steered by flow. */
static void test_hand(void **state)
{
    struct plan_input in = plan_test_input(1400);
    struct plan_target t;
    struct plan plan;

    (void)state;
    in.lead = PLAN_BY_HAND;
    in.ischaemia = true;
    in.index_open = 0.4;
    assert_true(plan_target_set(&in, 1400, &t));
    assert_int_equal(t.lead, PLAN_BY_HAND);
    assert_true(t.low_ml_min == 500 && t.high_ml_min == 1400);
    assert_near(t.index_least, 0.6, 0.0);
    plan = plan_test_make(&in);
    assert_false(plan.warnings & PLAN_HAND_BY_FLOW);
    in.index_open = NAN;
    plan = plan_test_make(&in);
    assert_int_equal(plan.target.lead, PLAN_BY_SHARE);
    assert_true(plan.warnings & PLAN_HAND_BY_FLOW);
}

/* ---- verdicts -------------------------------------------------------------- */

static struct plan_target target_of(double flow)
{
    struct plan_input in = plan_test_input(flow);
    struct plan_target t;

    assert_true(plan_target_set(&in, flow, &t));
    return t;
}

/* A share is one of the true baseline, whatever the method's bias; the cap and
 * the floor are flows as they are read. */
static void test_judge(void **state)
{
    struct plan_target t = target_of(2500);
    struct plan_verdict v = plan_judge(&t, 2500, 2000, 1.25, 900, 0.8);

    (void)state;
    assert_true(v.in_zone); /* 55 % of 2000 */
    v = plan_judge(&t, 2500, 2000, 1.25, 1100, 0.8);
    assert_false(v.in_zone || v.too_tight);
    assert_near(v.short_frac, 0.05, 1e-12);
    v = plan_judge(&t, 2500, 2000, 1.25, 500, 0.8);
    assert_true(v.too_tight && !v.in_zone);
    assert_near(v.over_frac, 0.15, 1e-12);
    assert_false(v.below_floor); /* 500 is read as 625 */
    v = plan_judge(&t, 2500, 2000, 0.8, 600, 0.8);
    assert_true(v.below_floor); /* 600 is read as 480 */
    t = target_of(3500);
    v = plan_judge(&t, 3500, 2800, 1.25, 1100, 0.8);
    assert_true(v.in_zone); /* read as 1375 */
    v = plan_judge(&t, 3500, 2800, 1.25, 1250, 0.8);
    assert_false(v.in_zone); /* 1562 */
}

/* Missing the zone 3, 0.2 for every tenth, below the floor 5 (A). */
static void test_loss(void **state)
{
    struct plan_verdict v = { .in_zone = true };

    (void)state;
    assert_near(plan_loss(&v), 0.0, 0.0);
    v = (struct plan_verdict){ .short_frac = 0.1 };
    assert_near(plan_loss(&v), 3.2, 1e-12);
    v = (struct plan_verdict){ .too_tight = true,
                               .over_frac = 0.2,
                               .below_floor = true };
    assert_near(plan_loss(&v), 8.4, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_share),  cmocka_unit_test(test_empty),
        cmocka_unit_test(test_window), cmocka_unit_test(test_reduction),
        cmocka_unit_test(test_hand),   cmocka_unit_test(test_judge),
        cmocka_unit_test(test_loss),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

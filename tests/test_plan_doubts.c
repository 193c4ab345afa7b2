/*
 * test_plan_doubts - when there is no advice, or less of it; what is missing
 *
 * Limits without a source beside them are those of planner/plan.c, proposed.
 */
#include "tests/plan_test.h"

static double width(struct plan_range r)
{
    return r.p95 - r.p05;
}

/* Two readings by dilution differ by more than chance beyond 2.77 * 7.7 % =
 * 21.3 % (1.96 * sqrt(2); Bland and Altman, Lancet 1986); a third is there to
 * settle it. */
static void test_reads_apart(void **state)
{
    struct plan_input in = plan_test_input(2500);

    (void)state;
    in.flow_ml_min[1] = 2500 * exp(0.212);
    assert_false(plan_test_make(&in).warnings & PLAN_READS_APART);
    in.flow_ml_min[1] = 2500 * exp(0.214);
    assert_true(plan_test_make(&in).warnings & PLAN_READS_APART);
    in.method = METHOD_DUPLEX; /* 11.6 %: 32 % */
    assert_false(plan_test_make(&in).warnings & PLAN_READS_APART);
    in = plan_test_input(2500);
    plan_test_stage(&in, PLAN_TIED, 4.0, 1200, 1600);
    assert_true(plan_test_make(&in).warnings & PLAN_READS_APART);
}

static void test_outside(void **state)
{
    static const struct {
        double read;
        bool outside;
    } rows[] = { { 400, true }, { 1500, false }, { 2900, true } };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct plan_input in = plan_test_input(2600);
        struct plan plan;

        plan_test_stage(&in, PLAN_TIED, 4.0, rows[i].read, rows[i].read);
        plan = plan_test_make(&in);
        assert_int_equal((plan.warnings & PLAN_OUTSIDE) != 0, rows[i].outside);
        assert_int_equal(plan.seen[0].tail < 0.01 || plan.seen[0].tail > 0.99,
                         rows[i].outside);
    }
}

/* Inside the access far more than the artery can have left behind it: nothing
 * fits, and nothing is advised. */
static void test_conflict(void **state)
{
    struct plan_input in = plan_test_input(2000);
    struct plan plan;

    (void)state;
    in.static_mmhg = 150;
    plan = plan_test_make(&in);
    assert_true(plan.warnings & PLAN_CONFLICT);
    assert_int_equal(plan.sample_count,
                     32768); /* all that there is was tried */
    assert_true(plan.sample_share * 32768 < 150);
    assert_true(isnan(plan.first_dowel_mm) && isnan(plan.next_dowel_mm));
    assert_int_equal(plan.row_count, 0);
    in.static_mmhg = 40;
    plan = plan_test_make(&in);
    assert_false(plan.warnings & PLAN_CONFLICT);
    assert_int_equal(plan.sample_count, 4096);
}

/* ---- what is missing ------------------------------------------------------- */

static void test_missing(void **state)
{
    struct plan_input in;

    (void)state;
    plan_input_init(&in);
    in.flow_ml_min[0] = 2500;
    in.flow_count = 1;
    assert_int_equal(plan_test_make(&in).missing,
                     PLAN_NO_MAP | PLAN_NO_CVP | PLAN_NO_HAEMATOCRIT |
                         PLAN_NO_CONDUIT | PLAN_NO_ARTERY | PLAN_NO_INDEX |
                         PLAN_NO_INDEX_COMPRESSED | PLAN_NO_REPEAT |
                         PLAN_NO_TABLE | PLAN_NO_LOWEST_MAP | PLAN_NO_METHOD);
    assert_true(plan_test_make(&in).warnings & PLAN_PROVISIONAL);
    in = plan_test_input(2500);
    in.cvp_mmhg = 10;
    in.haematocrit_frac = 0.33;
    in.conduit_mm = 9;
    in.artery_mm = 6;
    in.index_open = 0.7;
    in.index_compressed = 0.9;
    in.map_lowest_mmhg = 80;
    assert_int_equal(plan_test_make(&in).missing, 0);
    assert_int_equal(plan_test_make(&in).warnings & PLAN_PROVISIONAL, 0);
    in.stenosis_frac = 0.7;
    assert_int_equal(plan_test_make(&in).missing, PLAN_NO_STATIC);
}

/* What was not measured widens the answer. */
static void test_missing_widens(void **state)
{
    struct plan_input all = plan_test_input(2500), in[4];
    struct plan plan;
    double least;

    (void)state;
    all.conduit_mm = 9; /* where it is thought to be if not measured */
    plan = plan_test_make(&all);
    least = width(plan_test_rung(&plan, 4.0)->flow_ml_min);
    for (size_t i = 0; i < COUNT(in); i++)
        in[i] = all;
    in[0].map_mmhg = NAN;
    in[1].conduit_mm = NAN;
    in[2].flow_count = 1;
    in[3].method = METHOD_UNSTATED;
    for (size_t i = 0; i < COUNT(in); i++) {
        plan = plan_test_make(&in[i]);
        assert_true(width(plan_test_rung(&plan, 4.0)->flow_ml_min) > least);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reads_apart),    cmocka_unit_test(test_outside),
        cmocka_unit_test(test_conflict),       cmocka_unit_test(test_missing),
        cmocka_unit_test(test_missing_widens),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

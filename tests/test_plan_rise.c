/*
 * The hand at a flow that has risen: against the circuit solved one by one,
 * against what compression and banding did to fingers in published series, and
 * what must hold of any arm.
 */
#include "planner/circuit.h"
#include "planner/plan_rise.h"
#include "planner/plan_work.h"
#include "tests/test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct plan_work *work;

static int start(void **state)
{
    (void)state;
    work = malloc(plan_work_size());
    if (work == NULL)
        return -1;
    memset(work, 0xA5, plan_work_size()); /* whoever reads what nobody wrote */
    plan_work_init(work);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    free(work);
    return 0;
}

static struct plan_input arm(double flow_ml_min, double index, double map_mmhg)
{
    struct plan_input in;

    plan_input_init(&in);
    in.method = METHOD_ULTRASOUND_DILUTION;
    in.flow_ml_min[0] = flow_ml_min;
    in.flow_count = 1;
    in.index_open = index;
    in.map_mmhg = map_mmhg;
    return in;
}

static struct plan_rise rise(const struct plan_input *in, double flow_ml_min)
{
    struct plan_rise out;

    assert_int_equal(plan_rise(in, &flow_ml_min, 1, NAN, work, &out), ERR_OK);
    return out;
}

/*
 * Published.  Zanow et al., J Vasc Surg 2006, doi 10.1016/j.jvs.2006.08.010:
 * flow 1469 to 499 mL/min, digital-brachial index .41 (SD .12) to .74 (SD .11).
 * The planner knows the index at one of the two flows and must foresee that at
 * the other; the mean must lie well within the nine of ten that it gives, and
 * near to its middle: a tenth, which is about the published SD.
 */
static void test_published_series(void **state)
{
    static const struct {
        const char *name;
        double flow, index, to_flow, to_index;
    } cases[] = {
        { "the flow falls", 1469, 0.41, 499, 0.74 },
        { "and the other way: the flow rises", 499, 0.74, 1469, 0.41 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct plan_input in = arm(cases[i].flow, cases[i].index, 95);
        struct plan_rise r = rise(&in, cases[i].to_flow);

        ROW(cases[i].name);
        assert_false(r.conflict);
        assert_near(r.index.p50, cases[i].to_index, 0.1);
        assert_true(r.index.p05 < cases[i].to_index);
        assert_true(r.index.p95 > cases[i].to_index);
    }
}

/*
 * Each guess is solved a second time by circuit_solve() (itself checked against
 * ngspice): its access resistance is lowered until the flow is that of now, by
 * bisection, and the hand must be the one of the closed form.
 */
static double hand_by_bisection(const struct plan_work *w, size_t i)
{
    const struct particles *p = &w->p;
    struct circuit c = { .feeding = { p->rf[i], p->kf[i] },
                         .rd = p->rd[i],
                         .rc = p->rc[i],
                         .rh = p->rh[i],
                         .map_mmhg = w->at.map[i],
                         .cvp_mmhg = p->cvp[i] };
    double low = 1e-6, high = 2.0;
    struct circuit_state s = { 0 };

    for (int n = 0; n < 100; n++) {
        double x = 0.5 * (low + high);

        c.access = (struct element){ x * (p->ra[i] + p->ro[i]),
                                     x * (p->ka[i] + p->ko[i]) };
        assert_int_equal(circuit_solve(&c, &s), ERR_OK);
        if (s.access_ml_min > w->at.flow[i])
            low = x;
        else
            high = x;
    }
    return s.hand_mmhg;
}

static void test_each_guess_by_the_circuit(void **state)
{
    struct plan_input in = arm(900, 0.7, 95);
    struct plan_rise r = rise(&in, 1500);
    size_t checked = 0;

    (void)state;
    assert_false(r.conflict);
    for (size_t i = 0; i < work->p.n; i += 37) {
        if (!(work->p.w[i] > 1e-9))
            continue; /* it cannot reach that flow */
        assert_near(work->at.hand[i], hand_by_bisection(work, i), 1e-6);
        checked++;
    }
    assert_true(checked > 50);
}

/*
 * Published identity of the four-node circuit, with the pressure unchanged: what
 * the hand loses is s * a times what the artery loses ahead of the access
 * (the hand's pressure is s * (a * PA + (1 - a) * MAP - CVP) above CVP, see
 * particles.h).
 */
static void test_what_the_hand_loses(void **state)
{
    struct plan_input in = arm(900, 0.7, 95);

    (void)state;
    assert_false(rise(&in, 1500).conflict);
    for (size_t i = 0; i < work->p.n; i += 11) {
        const struct particles *p = &work->p;
        double across = 1 / p->rd[i] + 1 / p->rc[i];
        double a = (1 / p->rd[i]) / across;
        double s = across / (across + 1 / p->rh[i]);
        double lost = work->open.hand[i] - work->at.hand[i];
        double ahead = work->open.pa[i] - work->at.pa[i];

        assert_near(lost, s * a * ahead, 1e-6);
    }
}

/* ---- what must hold of any arm ---------------------------------------------------- */

static void test_nothing_risen(void **state)
{
    struct plan_input in = arm(1000, 0.7, 95);
    struct plan_rise r = rise(&in, 1000);

    (void)state;
    assert_near(r.index.p50, r.index_before.p50, 0.02);
    assert_true(r.p_index_falls < 0.2);
    assert_false(r.flagged);
}

static void test_more_flow_less_hand(void **state)
{
    static const double flows[] = { 600, 900, 1200, 1500, 1800 };
    struct plan_input in = arm(900, 0.75, 95);
    double last = INFINITY;

    (void)state;
    for (size_t i = 0; i < COUNT(flows); i++) {
        struct plan_rise r = rise(&in, flows[i]);

        assert_true(r.index.p50 < last);
        assert_true(r.index.p05 < r.index.p50 && r.index.p50 < r.index.p95);
        last = r.index.p50;
    }
}

/* Bit for bit, but for what lies between the members. */
static void assert_same(const struct plan_rise *a, const struct plan_rise *b)
{
    assert_int_equal(a->conflict, b->conflict);
    assert_int_equal(a->flagged, b->flagged);
    assert_memory_equal(&a->index_before, &b->index_before,
                        offsetof(struct plan_rise, flagged) -
                            offsetof(struct plan_rise, index_before));
    assert_memory_equal(&a->sample_share, &b->sample_share, sizeof(double));
}

/* A higher pressure of the moment lifts the hand, by at most as much. */
static void test_pressure_of_now(void **state)
{
    struct plan_input in = arm(900, 0.7, 90);
    double flow = 1500;
    struct plan_rise same, higher, unknown;

    (void)state;
    assert_int_equal(plan_rise(&in, &flow, 1, 90, work, &same), ERR_OK);
    assert_int_equal(plan_rise(&in, &flow, 1, 100, work, &higher), ERR_OK);
    assert_int_equal(plan_rise(&in, &flow, 1, NAN, work, &unknown), ERR_OK);
    assert_true(higher.hand_mmhg.p50 > same.hand_mmhg.p50);
    assert_true(higher.hand_mmhg.p50 < same.hand_mmhg.p50 + 10);
    assert_same(&same, &unknown);
}

static void test_the_rule(void **state)
{
    struct plan_input in = arm(900, 0.65, 95);
    struct plan_rise r = rise(&in, 1500);

    (void)state;
    assert_true(r.flagged);
    in.limits.risk_index_most = r.p_index_low + 1e-9;
    in.limits.risk_fall_most = r.p_index_falls + 1e-9;
    assert_false(rise(&in, 1500).flagged);
    in.limits.risk_fall_most = r.p_index_falls - 1e-9;
    assert_true(rise(&in, 1500).flagged);
    in.limits.risk_fall_most = r.p_index_falls + 1e-9;
    in.limits.risk_index_most = r.p_index_low - 1e-9;
    assert_true(rise(&in, 1500).flagged);
}

static void test_equal_input_equal_output(void **state)
{
    struct plan_input in = arm(1100, 0.6, 88);
    struct plan_rise a = rise(&in, 1700), b;

    (void)state;
    memset(&work->p.w, 0x5A, sizeof(work->p.w));
    b = rise(&in, 1700);
    assert_same(&a, &b);
}

/* A flow that no access of such a pressure lets through. */
static void test_out_of_reach(void **state)
{
    struct plan_input in = arm(600, 0.7, 95);
    struct plan_rise r = rise(&in, 6000);

    (void)state;
    assert_true(r.conflict);
    assert_false(r.flagged);
    assert_true(isnan(r.index.p50));
}

static void test_refused(void **state)
{
    struct plan_input in = arm(900, 0.7, 95);
    double flow = 1500, low = 3;
    struct plan_rise r;

    (void)state;
    assert_int_equal(plan_rise(&in, &flow, 0, NAN, work, &r), ERR_RANGE);
    assert_int_equal(plan_rise(&in, &flow, PLAN_READS_MAX + 1, NAN, work, &r),
                     ERR_RANGE);
    assert_int_equal(plan_rise(&in, &low, 1, NAN, work, &r), ERR_RANGE);
    assert_int_equal(plan_rise(&in, &flow, 1, 400, work, &r), ERR_RANGE);
    in.index_open = NAN;
    assert_int_equal(plan_rise(&in, &flow, 1, NAN, work, &r), ERR_RANGE);
    in.index_open = 0.7;
    in.stages[0] = (struct plan_stage){
        .step = PLAN_TIED, .dowel_mm = 4, .map_mmhg = NAN, .index = NAN
    };
    in.stage_count = 1;
    assert_int_equal(plan_rise(&in, &flow, 1, NAN, work, &r), ERR_RANGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_series),
        cmocka_unit_test(test_each_guess_by_the_circuit),
        cmocka_unit_test(test_what_the_hand_loses),
        cmocka_unit_test(test_nothing_risen),
        cmocka_unit_test(test_more_flow_less_hand),
        cmocka_unit_test(test_pressure_of_now),
        cmocka_unit_test(test_the_rule),
        cmocka_unit_test(test_equal_input_equal_output),
        cmocka_unit_test(test_out_of_reach),
        cmocka_unit_test(test_refused),
    };

    return cmocka_run_group_tests(tests, start, stop);
}

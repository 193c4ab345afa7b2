/*
 * test_plan_random - what holds of any plan
 *
 * Laws of the circuit, of probability and of the design, each named beside its
 * check, over random questions.  RANDOM_SEED=N runs others; the digest of all
 * plans is printed, so that two builds can be compared (plan_builds.sh compares
 * them digit by digit).
 */
#include "tests/plan_random.h"

enum { PLANS = 24 };

static bool is_rising(struct plan_range r)
{
    return r.p05 <= r.p50 && r.p50 <= r.p95;
}

static bool is_chance(double p)
{
    return p >= 0.0 && p <= 1.0 + 1e-9;
}

static void check_rung(const struct plan_rung *r)
{
    assert_true(isfinite(r->loss) && r->loss >= 0.0);
    assert_true(is_rising(r->flow_ml_min) && is_rising(r->reduction_pct));
    assert_true(is_rising(r->hand_pressure_mmhg) && is_rising(r->index));
    assert_true(is_chance(r->p_in_zone) && is_chance(r->p_too_tight));
    assert_true(is_chance(r->p_below_floor) && is_chance(r->p_index_low));
    assert_true(r->flow_ml_min.p05 > 0.0);
    /* A band never adds flow: but for the creeping term it takes none. */
    assert_true(r->reduction_pct.p05 > -1e-6 && r->reduction_pct.p95 < 100.0);
}

/* Tighter: less flow, less chance of too loose, more pressure at the hand. */
static void check_tighter(const struct plan_rung *a, const struct plan_rung *b)
{
    assert_true(b->dowel_mm < a->dowel_mm);
    assert_true(b->flow_ml_min.p05 <= a->flow_ml_min.p05);
    assert_true(b->flow_ml_min.p50 <= a->flow_ml_min.p50);
    assert_true(b->flow_ml_min.p95 <= a->flow_ml_min.p95);
    assert_true(b->reduction_pct.p50 >= a->reduction_pct.p50);
    assert_true(b->p_too_tight >= a->p_too_tight - 1e-9);
    assert_true(b->p_below_floor >= a->p_below_floor - 1e-9);
    assert_true(b->hand_pressure_mmhg.p50 >= a->hand_pressure_mmhg.p50);
    assert_true(b->fourth_power_ml_min <= a->fourth_power_ml_min);
}

/* The limits of chance, and no advice where there is a reason for none. */
static void check_advice(const struct plan_input *in, const struct plan *p)
{
    bool silent = p->warnings & (PLAN_CONFLICT | PLAN_ZONE_EMPTY | PLAN_DISTAL);

    if (p->first_dowel_mm > 0.0) {
        const struct plan_rung *r = plan_test_rung(p, p->first_dowel_mm);

        assert_true(r->p_too_tight <= in->limits.tight_most);
        assert_true(r->p_below_floor <= in->limits.floor_first_most);
        assert_false(silent);
    }
    if (silent) {
        assert_true(isnan(p->first_dowel_mm));
        /* but a band that starves the access is loosened whatever else */
        assert_true(isnan(p->next_dowel_mm) || p->next == PLAN_LOOSEN);
        assert_int_equal(p->row_count, 0);
    }
    if (p->next == PLAN_TIGHTEN)
        plan_test_rung(p, p->next_dowel_mm);
}

static void check_card(const struct plan *p)
{
    if (p->row_count == 0)
        return;
    assert_true(p->rows[0].from_ml_min == 0.0 && p->rows[0].emergency);
    assert_true(p->rows[0].to_ml_min == p->target.floor_ml_min);
    for (size_t i = 1; i < p->row_count; i++) {
        assert_true(p->rows[i].from_ml_min == p->rows[i - 1].to_ml_min);
        assert_true(p->rows[i].from_ml_min < p->rows[i].to_ml_min);
        assert_false(p->rows[i].emergency);
        if (p->rows[i].action == PLAN_TIGHTEN)
            plan_test_rung(p, p->rows[i].dowel_mm);
    }
    assert_true(isinf(p->rows[p->row_count - 1].to_ml_min));
}

static void check_plan(const struct plan_input *in, const struct plan *p)
{
    for (size_t d = 0; d < p->rung_count; d++) {
        check_rung(&p->rungs[d]);
        if (d > 0)
            check_tighter(&p->rungs[d - 1], &p->rungs[d]);
    }
    for (size_t i = 0; i < p->seen_count; i++) {
        assert_true(is_rising(p->seen[i].predicted_ml_min));
        assert_true(isnan(p->seen[i].tail) || is_chance(p->seen[i].tail));
    }
    assert_true(is_rising(p->hand_now_mmhg) && is_rising(p->index_now));
    assert_true(p->sample_share > 0.0 && p->sample_share <= 1.0 + 1e-9);
    check_advice(in, p);
    check_card(p);
}

/* ---- any plan -------------------------------------------------------------- */

static void test_any_plan(void **state)
{
    struct random random = random_start(31);
    uint64_t digest = PLAN_TEST_START;
    int named = 0, cards = 0, staged = 0;

    (void)state;
    for (int i = 0; i < PLANS; i++) {
        struct plan_input in = plan_random_input(&random);
        struct plan plan = plan_test_make(&in);

        check_plan(&in, &plan);
        digest = plan_test_digest(digest, &plan);
        named += plan.first_dowel_mm > 0.0;
        cards += plan.row_count > 0;
        staged += plan.seen_count > 0;
    }
    print_message("    digest of %d plans: %016llx\n", PLANS,
                  (unsigned long long)digest);
    /* All kinds were there. */
    assert_in_range(named, PLANS / 6, PLANS);
    assert_in_range(cards, PLANS / 4, PLANS);
    assert_in_range(staged, PLANS / 6, PLANS);
}

/* Equal input, equal bits: whatever was planned before in the same memory. */
static void test_equal_bits(void **state)
{
    struct random random = random_start(32);

    (void)state;
    for (int i = 0; i < PLANS / 4; i++) {
        struct plan_input in = plan_random_input(&random), copy, other;
        struct plan plan = plan_test_make(&in);
        uint64_t digest = plan_test_digest(PLAN_TEST_START, &plan);

        other = plan_random_input(&random);
        plan = plan_test_make(&other);
        memcpy(&copy, &in, sizeof copy);
        memset(&plan, 0x5A, sizeof plan);
        plan = plan_test_make(&copy);
        assert_true(plan_test_digest(PLAN_TEST_START, &plan) == digest);
    }
}

/* Another piece of memory, full of rubbish. */
static void test_other_memory(void **state)
{
    struct random random = random_start(33);
    struct plan_work *work = malloc(plan_work_size());

    (void)state;
    assert_non_null(work);
    memset(work, 0x3C, plan_work_size());
    plan_work_init(work);
    for (int i = 0; i < PLANS / 8; i++) {
        struct plan_input in = plan_random_input(&random);
        struct plan plan = plan_test_make(&in), again;

        assert_int_equal(plan_make(&in, work, &again), ERR_OK);
        assert_true(plan_test_digest(PLAN_TEST_START, &plan) ==
                    plan_test_digest(PLAN_TEST_START, &again));
    }
    free(work);
}

static void turn(double *x, size_t count)
{
    for (size_t i = 0; i < count / 2; i++) {
        double kept = x[i];

        x[i] = x[count - 1 - i];
        x[count - 1 - i] = kept;
    }
}

/* Sizes in any order, the two readings of a measurement in any order. */
static void test_order(void **state)
{
    struct random random = random_start(34);

    (void)state;
    for (int i = 0; i < PLANS / 5; i++) {
        struct plan_input in = plan_random_input(&random);
        struct plan plan = plan_test_make(&in), turned;

        turn(in.dowels_mm, in.dowel_count);
        turn(in.flow_ml_min, in.flow_count);
        for (size_t s = 0; s < in.stage_count; s++)
            turn(in.stages[s].flow_ml_min, in.stages[s].flow_count);
        turned = plan_test_make(&in);
        assert_true(plan_test_digest(PLAN_TEST_START, &plan) ==
                    plan_test_digest(PLAN_TEST_START, &turned));
    }
}

/* ---- learning -------------------------------------------------------------- */

static double width_after(struct plan_input in, double flow, size_t readings)
{
    struct plan_stage *s = plan_test_stage(&in, PLAN_TIED, 4.0, flow, 0);
    struct plan plan;

    for (s->flow_count = 0; s->flow_count < readings;)
        s->flow_ml_min[s->flow_count++] = flow;
    plan = plan_test_make(&in);
    return plan_test_rung(&plan, 3.5)->flow_ml_min.p95 -
           plan_test_rung(&plan, 3.5)->flow_ml_min.p05;
}

/* More readings never widen what is expected, on average (the law of total
 * variance); a reading narrows what was expected before it. */
static void test_readings_narrow(void **state)
{
    static const size_t readings[] = { 0, 1, 2, 4, 8 };
    struct random random = random_start(35);
    double sum[COUNT(readings)] = { 0 };

    (void)state;
    for (int i = 0; i < PLANS / 5; i++) {
        struct plan_input in = plan_test_input(random_log(&random, 1200, 4000));
        struct plan plan = plan_test_make(&in);
        const struct plan_range flow = plan_test_rung(&plan, 4.0)->flow_ml_min;
        double read = random_within(&random, flow.p05, flow.p95);

        for (size_t k = 0; k < COUNT(readings); k++)
            sum[k] += width_after(in, read, readings[k]) / in.flow_ml_min[0];
    }
    for (size_t k = 1; k < COUNT(readings); k++)
        assert_true(sum[k] < sum[k - 1]);
}

/* As wide as the conduit, a band takes next to nothing: 1 % at the median. */
static void test_wide_band(void **state)
{
    struct random random = random_start(36);

    (void)state;
    for (int i = 0; i < PLANS / 6; i++) {
        struct plan_input in = plan_test_input(random_log(&random, 600, 4000));
        struct plan plan;

        in.conduit_mm = 5.5;
        in.dowels_mm[0] = 8.0;
        in.dowel_count = 1;
        plan = plan_test_make(&in);
        assert_near(plan.rungs[0].reduction_pct.p50, 0.0, 1.0);
        assert_near(plan.rungs[0].flow_ml_min.p50, in.flow_ml_min[0],
                    0.015 * in.flow_ml_min[0]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_any_plan),
        cmocka_unit_test(test_equal_bits),
        cmocka_unit_test(test_other_memory),
        cmocka_unit_test(test_order),
        cmocka_unit_test(test_readings_narrow),
        cmocka_unit_test(test_wide_band),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

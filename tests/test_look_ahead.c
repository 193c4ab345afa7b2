/*
 * test_look_ahead - what is believed, what it is worth, what follows from it
 *
 * Expected losses against numerical integration of the loss as plan_loss()
 * has it, conditioning against the inverse of the whole covariance (the
 * information form, any textbook of multivariate statistics), the tree against
 * one walked here with many more nodes.  Nothing here depends on what a step
 * costs: the costs are the test's.
 */
#include "planner/plan_work.h"

#include "tests/random_kit.h"
#include "tests/test.h"

enum { DOWELS = 5 };

static struct plan_target target;
static struct look look;
static struct belief belief;

/* An arm of 2500 mL/min over sizes whose flows share two causes: the baseline,
 * and how much tissue folds in.  Zone 1000 to 1250, floor 500. */
static void set(double spread)
{
    static const double left[DOWELS] = { 0.80, 0.70, 0.58, 0.46, 0.33 };
    static const double fold[DOWELS] = { 0.08, 0.12, 0.16, 0.20, 0.26 };
    double cause[LOOK_VARIABLES] = { 0 };

    memset(&look, 0, sizeof look);
    memset(&belief, 0, sizeof belief);
    target = (struct plan_target){ .lead = PLAN_BY_SHARE,
                                   .relative = true,
                                   .low_frac = 0.5,
                                   .high_frac = 0.6,
                                   .floor_ml_min = 500,
                                   .index_least = 0.6 };
    look.target = &target;
    look.log_baseline = log(2500);
    look.log_floor = log(500);
    look.log_least = log(0.4);
    look.log_most = log(0.5);
    look.dowel_count = DOWELS;
    look.floor_most = 0.05;
    look.sigma = 0.077 / sqrt(2);
    look.costs = (struct look_costs){ 0.3, 0.45, 0.8, 0.02 };
    belief.mean[LOOK_BASE] = log(2500);
    for (int d = 0; d < DOWELS; d++) {
        belief.mean[LOOK_FLOW + d] = log(2500 * left[d]);
        belief.mean[LOOK_INDEX + d] = 0.45 + 0.06 * d;
        cause[LOOK_FLOW + d] = spread * fold[d];
        cause[LOOK_INDEX + d] = -0.03;
        look.knot_flow[d] = 0.0012;
        look.knot_index[d] = 0.0004;
        look.knot_both[d] = -0.0003;
    }
    for (int i = 0; i < LOOK_STAND; i++) {
        for (int k = 0; k < LOOK_STAND; k++)
            belief.cov[i][k] =
                cause[i] * cause[k] +
                (i < LOOK_INDEX && k < LOOK_INDEX ? 0.003 : 0.0) +
                (i == k ? 1e-4 : 0.0);
    }
    look_tie(&look, &belief, 2);
}

/* ---- expected losses ------------------------------------------------------- */

/* The mean of a function of a normal variable: midpoints, so fine that a step
 * of the function anywhere costs less than 1e-5. */
static double mean_of(double mean, double sd, double (*f)(double))
{
    enum { STEPS = 400000 };
    double sum = 0.0, h = 20.0 / STEPS;

    for (int i = 0; i < STEPS; i++) {
        double z = -10.0 + (i + 0.5) * h;

        sum += f(mean + sd * z) * exp(-0.5 * z * z);
    }
    return sum * h / sqrt(2.0 * 3.14159265358979323846);
}

/* What plan_loss() says of the log of the share that is left, floor apart. */
static double loss_of_share(double log_left)
{
    double r = 1.0 - exp(log_left);
    struct plan_verdict v = {
        .in_zone = r >= target.low_frac && r <= target.high_frac,
        .short_frac = fmax(target.low_frac - r, 0.0),
        .over_frac = fmax(r - target.high_frac, 0.0),
    };

    return plan_loss(&v);
}

static double loss_of_floor(double log_flow)
{
    struct plan_verdict v = { .in_zone = true,
                              .below_floor = log_flow < look.log_floor };

    return plan_loss(&v);
}

/* Of a flow in the place of a variable, with the variance of a new knot. */
static double integrated(const struct belief *b, int variable, double knot)
{
    double flow = b->mean[variable], var = b->cov[variable][variable] + knot;
    double left = flow - look.log_baseline, left_var = var;

    if (target.relative) {
        left = flow - b->mean[LOOK_BASE];
        left_var +=
            b->cov[LOOK_BASE][LOOK_BASE] - 2.0 * b->cov[LOOK_BASE][variable];
    }
    return mean_of(left, sqrt(left_var), loss_of_share) +
           mean_of(flow, sqrt(var), loss_of_floor);
}

static void check_losses(const char *name)
{
    ROW(name);
    for (int d = 0; d < DOWELS; d++) {
        struct belief tied = belief;

        look_tie(&look, &tied, d);
        assert_near(look_loss(&look, &tied), integrated(&tied, LOOK_STAND, 0.0),
                    2e-4);
        assert_near(look_tie_value(&look, &belief, d, 1, 0.3),
                    0.3 + integrated(&belief, LOOK_FLOW + d, look.knot_flow[d]),
                    2e-4);
    }
}

static void test_losses(void **state)
{
    (void)state;
    set(1.0);
    check_losses("relative");
    set(0.2);
    check_losses("hardly a doubt");
    set(3.0);
    look.log_floor = log(900);
    check_losses("floor within reach");
    /* An absolute zone, as under the cap. */
    set(1.0);
    target.relative = false;
    target.low_frac = 0.57;
    target.high_frac = 0.63;
    look.log_most = log(0.43);
    look.log_least = log(0.37);
    check_losses("absolute");
}

static double index_is_low(double index)
{
    return index < target.index_least ? 1.0 : 0.0;
}

static double index_is_short_by(double index)
{
    return fmax(target.index_least - index, 0.0);
}

static double is_too_tight(double log_left)
{
    return log_left < look.log_least ? 1.0 : 0.0;
}

static double is_over_by(double log_left)
{
    return fmax(1.0 - exp(log_left) - target.high_frac, 0.0);
}

/* Where the hand leads a size misses if the index is low or the flow is: the
 * sum of the two chances, at most 1, stands for that of either. */
static void test_losses_of_hand(void **state)
{
    (void)state;
    set(1.0);
    target = (struct plan_target){ .lead = PLAN_BY_HAND,
                                   .high_frac = 0.8,
                                   .floor_ml_min = 500,
                                   .index_least = 0.6 };
    look.log_least = log(0.2);
    look.log_most = 0.0;
    for (int d = 0; d < DOWELS; d++) {
        struct belief tied = belief;
        double index, sd, left, left_sd, missed, by;

        look_tie(&look, &tied, d);
        index = tied.mean[LOOK_STAND_INDEX];
        sd = sqrt(tied.cov[LOOK_STAND_INDEX][LOOK_STAND_INDEX]);
        left = tied.mean[LOOK_STAND] - look.log_baseline;
        left_sd = sqrt(tied.cov[LOOK_STAND][LOOK_STAND]);
        missed = mean_of(index, sd, index_is_low) +
                 mean_of(left, left_sd, is_too_tight);
        by = mean_of(index, sd, index_is_short_by) +
             mean_of(left, left_sd, is_over_by);
        assert_near(look_loss(&look, &tied),
                    3.0 * fmin(missed, 1.0) + 2.0 * by +
                        mean_of(tied.mean[LOOK_STAND], left_sd, loss_of_floor),
                    3e-4);
    }
}

static double is_below_floor(double log_flow)
{
    return log_flow < look.log_floor ? 1.0 : 0.0;
}

static void test_floor(void **state)
{
    (void)state;
    set(2.0);
    look.log_floor = log(800);
    for (int d = 0; d < DOWELS; d++) {
        double var = belief.cov[LOOK_FLOW + d][LOOK_FLOW + d];

        assert_near(look_below_floor(&look, &belief, d),
                    mean_of(belief.mean[LOOK_FLOW + d],
                            sqrt(var + look.knot_flow[d]), is_below_floor),
                    1e-4);
    }
}

static void test_loose(void **state)
{
    (void)state;
    set(1.0);
    look_tie(&look, &belief, 0);
    assert_true(look_is_loose(&look, &belief));
    look_tie(&look, &belief, 4);
    assert_false(look_is_loose(&look, &belief));
}

/* ---- conditioning ---------------------------------------------------------- */

/* Gauss and Jordan, in place; positive definite, so that no pivot is needed. */
static void invert(double a[LOOK_VARIABLES][LOOK_VARIABLES], size_t n)
{
    for (size_t p = 0; p < n; p++) {
        double pivot = a[p][p];

        a[p][p] = 1.0;
        for (size_t k = 0; k < n; k++)
            a[p][k] /= pivot;
        for (size_t i = 0; i < n; i++) {
            double by = a[i][p];

            if (i == p)
                continue;
            a[i][p] = 0.0;
            for (size_t k = 0; k < n; k++)
                a[i][k] -= by * a[p][k];
        }
    }
}

/* A covariance of which everything moves with everything. */
static void fill(struct random *r, const int *place, size_t n)
{
    double factor[LOOK_VARIABLES][LOOK_VARIABLES];

    for (size_t i = 0; i < n; i++) {
        belief.mean[place[i]] = random_within(r, 5.0, 8.0);
        for (size_t k = 0; k < n; k++)
            factor[i][k] = random_within(r, -0.3, 0.3);
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < n; k++) {
            double sum = i == k ? 0.05 : 0.0;

            for (size_t f = 0; f < n; f++)
                sum += factor[i][f] * factor[k][f];
            belief.cov[place[i]][place[k]] = sum;
        }
    }
}

/* P' = (P^-1 + e e^T / s^2)^-1,  m' = P' (P^-1 m + e y / s^2). */
static void check_measure(struct random *r, const int *place, size_t n)
{
    static double prior[LOOK_VARIABLES][LOOK_VARIABLES];
    static double after[LOOK_VARIABLES][LOOK_VARIABLES];
    double y = random_within(r, 5.0, 8.0), sigma = random_log(r, 0.01, 1.0);
    size_t at = random_below(r, n);
    struct belief b = belief;

    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < n; k++)
            prior[i][k] = belief.cov[place[i]][place[k]];
    }
    invert(prior, n);
    memcpy(after, prior, sizeof after);
    after[at][at] += 1.0 / (sigma * sigma);
    invert(after, n);
    look_measure(&look, &b, place[at], y, sigma);
    for (size_t i = 0; i < n; i++) {
        double mean = after[i][at] * y / (sigma * sigma);

        for (size_t k = 0; k < n; k++) {
            assert_near(b.cov[place[i]][place[k]], after[i][k], 1e-9);
            for (size_t j = 0; j < n; j++)
                mean += after[i][k] * prior[k][j] * belief.mean[place[j]];
        }
        assert_near(b.mean[place[i]], mean, 1e-8);
    }
}

static void test_measure(void **state)
{
    struct random random = random_start(3);
    int place[LOOK_VARIABLES];

    (void)state;
    for (int i = 0; i < 200; i++) {
        size_t n;

        set(1.0);
        target.lead = i % 2 ? PLAN_BY_HAND : PLAN_BY_SHARE;
        n = look_variables(&look, place);
        assert_int_equal(n, i % 2 ? 2 * DOWELS + 3 : DOWELS + 2);
        fill(&random, place, n);
        check_measure(&random, place, n);
    }
}

/* The band that is tied is the size plus a knot that nothing else knows of. */
static void test_tie(void **state)
{
    struct random random = random_start(4);
    int place[LOOK_VARIABLES];
    struct belief b;
    size_t n;

    (void)state;
    set(1.0);
    target.lead = PLAN_BY_HAND;
    n = look_variables(&look, place);
    fill(&random, place, n);
    b = belief;
    look_tie(&look, &b, 3);
    assert_true(b.mean[LOOK_STAND] == belief.mean[LOOK_FLOW + 3]);
    assert_true(b.mean[LOOK_STAND_INDEX] == belief.mean[LOOK_INDEX + 3]);
    assert_near(b.cov[LOOK_STAND][LOOK_STAND],
                belief.cov[LOOK_FLOW + 3][LOOK_FLOW + 3] + 0.0012, 1e-15);
    assert_near(b.cov[LOOK_STAND][LOOK_STAND_INDEX],
                belief.cov[LOOK_FLOW + 3][LOOK_INDEX + 3] - 0.0003, 1e-15);
    for (size_t i = 0; i < n; i++) {
        int v = place[i];

        assert_true(b.cov[LOOK_STAND][v] == b.cov[v][LOOK_STAND]);
        if (v == LOOK_STAND || v == LOOK_STAND_INDEX)
            continue;
        assert_true(b.cov[v][LOOK_STAND] == belief.cov[v][LOOK_FLOW + 3]);
        assert_true(b.cov[v][LOOK_STAND_INDEX] ==
                    belief.cov[v][LOOK_INDEX + 3]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_losses),  cmocka_unit_test(test_losses_of_hand),
        cmocka_unit_test(test_floor),   cmocka_unit_test(test_loose),
        cmocka_unit_test(test_measure), cmocka_unit_test(test_tie),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

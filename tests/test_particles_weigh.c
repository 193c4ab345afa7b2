/*
 * test_particles_weigh - guesses weighed by what was measured
 *
 * Each weight against the density that it stands for, written out here.
 */
#include "planner/particles.h"

#include "tests/plan_test.h"

static struct lattice usual;
static struct particles p;
static struct outlook at;
static double lumen[PARTICLES_MAX], value[PARTICLES_MAX];
static const struct setting plain;

static void build(const struct plan_input *in)
{
    particles_build(&p, &usual, in);
    particles_weigh(&p);
}

static int start(void **state)
{
    (void)state;
    lattice_init(&usual, PARTICLES_USUAL);
    return 0;
}

/* Kish's effective number, (sum w)^2 / sum w^2 (Survey Sampling, 1965; from
 * memory), of a half that weighs three times the other: n * 16 / 20. */
static void test_weigh(void **state)
{
    struct plan_input in = plan_test_reference(2500);
    double sum = 0.0;

    (void)state;
    build(&in);
    for (size_t i = 0; i < p.n; i++)
        p.logw[i] = -800.0 + (i % 2 ? log(3.0) : 0.0);
    assert_near(particles_weigh(&p), 0.8 * (double)p.n, 1e-6);
    for (size_t i = 0; i < p.n; i++)
        sum += p.w[i];
    assert_near(sum, 1.0, 1e-12);
    assert_near(p.w[1] / p.w[0], 3.0, 1e-12);
}

/* Student's t with 5 degrees of freedom: density as (1 + t^2 / 5)^-3. */
static void test_observe(void **state)
{
    const double read[] = { 1450, 1400 };
    struct plan_input in = plan_test_reference(2500);
    double tail, below = 0.0, y = 0.5 * (log(1450) + log(1400));

    (void)state;
    build(&in);
    particles_tie(&p, &prior_reference, 4.0, 0, lumen);
    particles_solve(&p, lumen, &plain, &at);
    particles_observe(&p, &at, read, 2, 0.077, &tail);
    for (size_t i = 0; i < p.n; i++) {
        double t = (y - log(at.flow[i] * p.bias[i])) / 0.077 * sqrt(2);

        assert_near(exp(p.logw[i]), pow(1 + t * t / 5, -3), 1e-12);
        below += at.flow[i] * p.bias[i] <= exp(y) ? p.w[i] : 0.0;
    }
    assert_near(tail, below, 1e-9);
}

/* Far outside the prediction it is believed by half: the root of the density. */
static void test_observe_outside(void **state)
{
    const double read = 3500;
    struct plan_input in = plan_test_reference(2500);
    double tail;

    (void)state;
    build(&in);
    particles_tie(&p, &prior_reference, 4.0, 0, lumen);
    particles_solve(&p, lumen, &plain, &at);
    particles_observe(&p, &at, &read, 1, 0.077, &tail);
    assert_near(tail, 1.0, 0.01);
    for (size_t i = 0; i < p.n; i++) {
        double t = (log(read) - log(at.flow[i] * p.bias[i])) / 0.077;

        assert_near(p.logw[i], -1.5 * log(1 + t * t / 5), 1e-9);
    }
}

/* A reading that says nothing changes nothing. */
static void test_observe_nothing(void **state)
{
    const double read[] = { 900, 3000 };
    struct plan_input in = plan_test_reference(2500);
    double tail;

    (void)state;
    build(&in);
    particles_tie(&p, &prior_reference, 4.0, 0, lumen);
    particles_solve(&p, lumen, &plain, &at);
    memcpy(value, p.w, p.n * sizeof value[0]);
    particles_observe(&p, &at, read, 2, 1e6, &tail);
    particles_weigh(&p);
    for (size_t i = 0; i < p.n; i++)
        assert_near(p.w[i] * (double)p.n, value[i] * (double)p.n, 1e-9);
}

/* Gauss with a standard deviation of 0.06. */
static void test_observe_index(void **state)
{
    struct plan_input in = plan_test_reference(2500);

    (void)state;
    build(&in);
    particles_solve(&p, NULL, &plain, &at);
    particles_observe_index(&p, &at, 0.7);
    for (size_t i = 0; i < p.n; i += 5) {
        double t = (p.gain[i] * at.hand[i] / at.map[i] - 0.7) / 0.06;

        assert_near(p.logw[i], -0.5 * t * t, 1e-12 + 1e-12 * t * t);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_weigh),
        cmocka_unit_test(test_observe),
        cmocka_unit_test(test_observe_outside),
        cmocka_unit_test(test_observe_nothing),
        cmocka_unit_test(test_observe_index),
    };

    return cmocka_run_group_tests(tests, start, NULL);
}

/*
 * test_particles_range - weighted quantiles
 *
 * Against their definition with a full sort: values in order, c = running sum
 * of the weights less half the own, linear between neighbours.
 */
#include "planner/particles.h"

#include "tests/plan_test.h"
#include "tests/random_kit.h"

enum { MOST = PARTICLES_USUAL };

struct pair {
    double value, weight;
};

static int by_value(const void *a, const void *b)
{
    double x = ((const struct pair *)a)->value;
    double y = ((const struct pair *)b)->value;

    return (x > y) - (x < y);
}

static double quantile(const struct pair *sorted, size_t n, double level)
{
    double sum = 0.0, last = 0.0;

    for (size_t i = 0; i < n; i++) {
        double c = sum + 0.5 * sorted[i].weight;

        if (c >= level && i == 0)
            return sorted[0].value;
        if (c >= level)
            return sorted[i - 1].value +
                   (level - last) / (c - last) *
                       (sorted[i].value - sorted[i - 1].value);
        last = c;
        sum += sorted[i].weight;
    }
    return sorted[n - 1].value;
}

static void check(const char *name, double *value, double *weight, size_t n)
{
    static struct pair sorted[MOST];
    struct plan_range got;
    double whole = 0.0;
    size_t kept = 0;

    ROW(name);
    for (size_t i = 0; i < n; i++)
        whole += weight[i];
    for (size_t i = 0; i < n; i++) {
        weight[i] /= whole;
        if (weight[i] > 0.0)
            sorted[kept++] = (struct pair){ value[i], weight[i] };
    }
    qsort(sorted, kept, sizeof sorted[0], by_value);
    got = particles_range(value, weight, n);
    /* Sums run in another order; values of one place are of one height. */
    assert_near(got.p05, quantile(sorted, kept, 0.05),
                1e-9 * fabs(got.p05) + 1e-12);
    assert_near(got.p50, quantile(sorted, kept, 0.50),
                1e-9 * fabs(got.p50) + 1e-12);
    assert_near(got.p95, quantile(sorted, kept, 0.95),
                1e-9 * fabs(got.p95) + 1e-12);
}

static double value[MOST], weight[MOST];

/* Of 1..n with equal weights the median is the middle and 5 % lies where the
 * definition says: at n / 20 + 1 / 2. */
static void test_by_hand(void **state)
{
    struct plan_range r;

    (void)state;
    for (size_t i = 0; i < 1000; i++) {
        value[i] = 1000.0 - (double)i;
        weight[i] = 1e-3;
    }
    r = particles_range(value, weight, 1000);
    assert_near(r.p05, 50.5, 1e-9);
    assert_near(r.p50, 500.5, 1e-9);
    assert_near(r.p95, 950.5, 1e-9);
    /* Nothing but one value. */
    for (size_t i = 0; i < 1000; i++)
        value[i] = 42.0;
    r = particles_range(value, weight, 1000);
    assert_true(r.p05 == 42.0 && r.p50 == 42.0 && r.p95 == 42.0);
}

static void fill(struct random *r, double spread)
{
    for (size_t i = 0; i < MOST; i++) {
        value[i] = random_within(r, -1.0, 1.0) * random_within(r, 0.0, 1.0);
        weight[i] = exp(-spread * random_within(r, 0.0, 1.0));
    }
}

static void test_shapes(void **state)
{
    struct random random = random_start(11);

    (void)state;
    fill(&random, 0.0);
    check("equal weights", value, weight, MOST);
    fill(&random, 5.0);
    check("unequal weights", value, weight, MOST);
    fill(&random, 300.0);
    check("few that count", value, weight, MOST);
    fill(&random, 1.0);
    for (size_t i = 0; i < MOST; i += 3)
        weight[i] = 0.0;
    check("a third weighs nothing", value, weight, MOST);
    fill(&random, 1.0);
    value[0] = 100.0;
    weight[0] = 3000.0;
    check("one that outweighs all", value, weight, MOST);
    check("few", value, weight, 16);
}

/* Heavy tails, narrow heaps, offsets: whatever the values look like. */
static void test_random(void **state)
{
    struct random random = random_start(12);

    (void)state;
    for (int round = 0; round < 60; round++) {
        double offset = random_within(&random, -5.0, 5.0);
        double power = random_within(&random, 0.1, 1.0);

        for (size_t i = 0; i < MOST; i++) {
            value[i] = offset + pow(random_log(&random, 1e-3, 1e3), power);
            weight[i] = random_log(&random, 1e-6, 1.0);
        }
        check("random", value, weight, MOST);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_by_hand),
        cmocka_unit_test(test_shapes),
        cmocka_unit_test(test_random),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

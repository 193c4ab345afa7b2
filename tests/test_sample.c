/* test_sample - orders of the sample, and quantiles of the normal law */
#include "planner/sample.h"

#include "planner/err.h"
#include "tests/test.h"

#include <stdbool.h>

enum { N = 4096, DIMENSIONS = 27 };

/* splitmix64 from 1234567: its published check values (from memory; printed
 * wherever the generator is offered in another language). */
static void test_generator(void **state)
{
    static const uint64_t want[] = { UINT64_C(6457827717110365317),
                                     UINT64_C(3203168211198807973),
                                     UINT64_C(9817491932198370423),
                                     UINT64_C(4593380528125082431),
                                     UINT64_C(16408922859458223821) };
    uint64_t at = 1234567;

    (void)state;
    for (size_t i = 0; i < COUNT(want); i++)
        assert_true(sample_next(&at) == want[i]);
}

/* The first three particles of 4096 and the last, in the first dimensions;
 * other program. */
static void test_places(void **state)
{
    static const double want[][4] = {
        { 0.1234130859375, 0.8079833984375, 0.7691650390625, 0.5675048828125 },
        { 0.4444580078125, 0.3353271484375, 0.0904541015625, 0.5823974609375 },
        { 0.2254638671875, 0.8372802734375, 0.5523681640625, 0.7886962890625 },
        { 0.3721923828125, 0.3319091796875, 0.1202392578125, 0.2879638671875 },
    };
    static const size_t particles[] = { 0, 1, 2, 4095 };
    static uint32_t order[N];

    (void)state;
    for (unsigned j = 0; j < 4; j++) {
        sample_order(j, order, N);
        for (size_t i = 0; i < COUNT(want); i++)
            assert_true((order[particles[i]] + 0.5) / N == want[i][j]);
    }
}

/* Every dimension is a row of all places, each once: what makes the sample a
 * Latin hypercube (McKay, Beckman and Conover, Technometrics 1979). */
static void test_each_place_once(void **state)
{
    static const size_t sizes[] = { 1, 2, 3, 8, 1000, N };
    static uint32_t order[N];
    static bool seen[N];

    (void)state;
    for (size_t s = 0; s < COUNT(sizes); s++) {
        for (unsigned j = 0; j < DIMENSIONS; j++) {
            memset(seen, 0, sizeof seen);
            sample_order(j, order, sizes[s]);
            for (size_t i = 0; i < sizes[s]; i++) {
                assert_true(order[i] < sizes[s] && !seen[order[i]]);
                seen[order[i]] = true;
            }
        }
    }
}

/* No two dimensions move together: Spearman's coefficient of two unrelated rows
 * has a standard deviation of 1/sqrt(n - 1); the largest of 351 pairs is beyond
 * 4.5 of them once in 400 times. */
static void test_dimensions_unrelated(void **state)
{
    static uint32_t order[DIMENSIONS][N];
    double whole = (N * (double)N - 1.0) / 12.0;

    (void)state;
    for (unsigned j = 0; j < DIMENSIONS; j++)
        sample_order(j, order[j], N);
    for (unsigned j = 0; j < DIMENSIONS; j++) {
        for (unsigned k = 0; k < j; k++) {
            double sum = 0.0;

            for (size_t i = 0; i < N; i++)
                sum += (order[j][i] - (N - 1) / 2.0) *
                       (order[k][i] - (N - 1) / 2.0);
            assert_near(sum / N / whole, 0.0, 4.5 / sqrt(N - 1.0));
        }
    }
}

/* Wichura, Appl Stat 1988;37:477-84, prints the first three (from memory); the
 * others by a program of 40 digits. */
static void test_normal(void **state)
{
    static const struct {
        double u, z;
    } rows[] = {
        { 0.25, -0.6744897501960817 }, { 0.001, -3.090232306167814 },
        { 1e-20, -9.262340089798408 }, { 1e-300, -37.047096299361199 },
        { 1e-9, -5.9978070150076869 }, { 0.02, -2.0537489106318231 },
        { 0.05, -1.6448536269514727 }, { 0.075, -1.4395314709384560 },
        { 0.3, -0.52440051270804078 }, { 0.925, 1.4395314709384560 },
        { 0.975, 1.9599639845400542 }, { 0.995, 2.5758293035489008 },
    };

    (void)state;
    assert_true(sample_normal(0.5) == 0.0);
    for (size_t i = 0; i < COUNT(rows); i++)
        assert_near(sample_normal(rows[i].u), rows[i].z,
                    1e-15 * fabs(rows[i].z) + 1e-15);
}

/* The other way round: libm's erfc of the quantile gives the place back.  Of
 * the far tail a relative error of z is multiplied by z^2. */
static void test_normal_inverts(void **state)
{
    double last = -INFINITY;

    (void)state;
    for (int i = 1; i < 20000; i++) {
        double u = i / 20000.0, z = sample_normal(u);

        assert_near(0.5 * erfc(-z * sqrt(0.5)), u, 4e-15 * u + 1e-16);
        assert_true(z > last);
        last = z;
    }
    for (double u = 1e-3; u > 1e-290; u *= 0.37) {
        double z = sample_normal(u);

        assert_near(0.5 * erfc(-z * sqrt(0.5)) / u, 1.0, 4e-15 * (1 + z * z));
    }
}

/* Where one rational function hands over to the next there is no step. */
static void test_normal_joints(void **state)
{
    static const double joints[] = { 0.075, 0.925, 1.3887943864964021e-11 };

    (void)state;
    for (size_t i = 0; i < COUNT(joints); i++) {
        double u = joints[i], slope;

        slope = (sample_normal(u * (1 + 1e-9)) - sample_normal(u * (1 - 1e-9)));
        /* density at the joint, from Gauss' curve */
        slope /= 2e-9 * u * sqrt(2 * 3.14159265358979323846) *
                 exp(0.5 * sample_normal(u) * sample_normal(u));
        assert_near(slope, 1.0, 1e-4);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_generator),
        cmocka_unit_test(test_places),
        cmocka_unit_test(test_each_place_once),
        cmocka_unit_test(test_dimensions_unrelated),
        cmocka_unit_test(test_normal),
        cmocka_unit_test(test_normal_inverts),
        cmocka_unit_test(test_normal_joints),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

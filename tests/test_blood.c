/*
 * test_blood - viscosity and density of blood
 *
 * Rows marked "prints" are digits that the source of the fit at high shear
 * prints; the others are its formula worked out by another program to 16
 * digits.  The densities of plasma and red cells are from memory.
 */
#include "planner/blood.h"
#include "tests/test.h"

static void test_viscosity(void **state)
{
    static const struct {
        const char *name;
        double haematocrit, mpa_s, tolerance;
    } rows[] = {
        { "prints 2.585", 0.33, 2.585, 0.0005 },
        { "prints 2.10", 0.25, 2.10, 0.005 },
        { "prints 3.54", 0.45, 3.54, 0.005 },
        { "usual", BLOOD_HAEMATOCRIT_USUAL, 2.58541342742643, 1e-13 },
        { "least", BLOOD_HAEMATOCRIT_LEAST, 1.6132066366327216, 1e-13 },
        { "anaemia", 0.22, 1.9379831646734509, 1e-13 },
        { "most", BLOOD_HAEMATOCRIT_MOST, 5.979846004514589, 1e-13 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        double mu = NAN;

        ROW(rows[i].name);
        assert_int_equal(blood_viscosity(rows[i].haematocrit, &mu), ERR_OK);
        assert_near(1e3 * mu, rows[i].mpa_s, rows[i].tolerance);
    }
}

/* Between that of plasma and that of red cells, in proportion. */
static void test_density(void **state)
{
    static const struct {
        double haematocrit, kg_m3;
    } rows[] = { { 0.33, 1058.0 }, { 0.15, 1040.0 }, { 0.65, 1090.0 } };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        double rho = NAN;

        assert_int_equal(blood_density(rows[i].haematocrit, &rho), ERR_OK);
        assert_near(rho, rows[i].kg_m3, 1e-9);
    }
}

/* 33 is a per cent that was not converted. */
static void test_refusals(void **state)
{
    static const double bad[] = { 0.0,   0.149,     0.651,    1.0, 33.0,
                                  -0.33, -INFINITY, INFINITY, NAN };

    (void)state;
    for (size_t i = 0; i < COUNT(bad); i++) {
        double x = 17.0;

        assert_int_equal(blood_viscosity(bad[i], &x), ERR_RANGE);
        assert_int_equal(blood_density(bad[i], &x), ERR_RANGE);
        assert_true(x == 17.0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_viscosity),
        cmocka_unit_test(test_density),
        cmocka_unit_test(test_refusals),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

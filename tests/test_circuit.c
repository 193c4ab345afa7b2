/*
 * test_circuit - the circuit of the arm
 *
 * Check values: the same networks in ngspice (behavioural sources) and by a
 * root finder in two unknowns, which agree to 9e-12; tests/peers/circuit.py
 * asks ngspice for many more.  The rest are the laws themselves: Kirchhoff's at
 * every node, and each element's own, from the flows and pressures found.
 */
#include "planner/circuit.h"

#include "tests/random_kit.h"

static void assert_share(double got, double want, double relative)
{
    assert_near(got, want, relative * fabs(want));
}

static struct circuit_state solve(const struct circuit *c)
{
    struct circuit_state s;

    assert_int_equal(circuit_solve(c, &s), ERR_OK);
    return s;
}

/* A hand of an elbow access; a band of 4 mm, see test_element.c. */
static const struct circuit elbow = { .feeding = { 0.004, 1.6e-6 },
                                      .access = { 0.012, 6e-6 },
                                      .rd = 0.2,
                                      .rc = 0.9,
                                      .rh = 1.3,
                                      .map_mmhg = 95,
                                      .cvp_mmhg = 8 };
static const struct blood usual = { 2.58541342742643e-3, 1058.0 };

static struct circuit with_band(struct circuit c, struct element band)
{
    c.access.r += band.r;
    c.access.k += band.k;
    return c;
}

static void test_elbow(void **state)
{
    struct element band = element_band(&usual, 3.5, 9, 1.5, 0.64, 1.0);
    struct circuit c = elbow;
    struct circuit_state s = solve(&c);

    (void)state;
    assert_share(s.access_ml_min, 2486.009404, 1e-9);
    assert_share(s.anastomosis_mmhg, 74.913569, 1e-7);
    assert_share(s.hand_mmhg, 70.676321, 1e-7);
    assert_share(s.distal_ml_min, 21.186244, 1e-7);
    c = with_band(elbow, band);
    s = solve(&c);
    assert_share(s.access_ml_min, 1404.429483, 1e-9);
    assert_share(s.anastomosis_mmhg, 85.916636, 1e-7);
    assert_share(s.hand_mmhg, 78.672338, 1e-7);
}

/* The heart is relieved: the arterial pressure rises by 2.5 mmHg for each
 * L/min that the band takes away. */
static void test_pressure_rises(void **state)
{
    struct circuit c =
        with_band(elbow, element_band(&usual, 3.5, 9, 1.5, 0.64, 1.0));
    struct circuit_state s;

    (void)state;
    c.kappa = 0.0025;
    c.q0_ml_min = 2500;
    s = solve(&c);
    assert_share(s.access_ml_min, 1429.1104247733117, 1e-12);
    assert_share(s.map_mmhg, 97.67722393806672, 1e-12);
    assert_share(s.anastomosis_mmhg, 88.37003146964216, 1e-12);
    assert_share(s.hand_mmhg, 80.88758698346501, 1e-12);
    assert_share(s.distal_ml_min, 37.41222243088572, 1e-11);
    assert_share(s.feeding_ml_min, 1466.5226472041975, 1e-12);
}

static void test_other_arms(void **state)
{
    /* Ischaemia, 3 mm tied. */
    struct circuit steal = { .feeding = { 0.015, 9e-6 },
                             .access = { 0.02, 1e-5 },
                             .rd = 0.35,
                             .rc = 1.5,
                             .rh = 1.3,
                             .map_mmhg = 90,
                             .cvp_mmhg = 6 };
    struct circuit wrist = { .feeding = { 0.045, 1e-5 },
                             .access = { 0.03, 2e-5 },
                             .rd = 0.08,
                             .rc = 0.05,
                             .rh = 1.2,
                             .map_mmhg = 92,
                             .cvp_mmhg = 7 };
    struct circuit linear = { .feeding = { 0.01, 0 },
                              .access = { 0.08, 0 },
                              .rd = 0.2,
                              .rc = 0.9,
                              .rh = 1.3,
                              .map_mmhg = 100,
                              .cvp_mmhg = 10 };
    struct circuit_state s;

    (void)state;
    steal = with_band(steal, element_band(&usual, 2.5, 9, 1.5, 0.64, 1.0));
    s = solve(&steal);
    assert_share(s.access_ml_min, 683.439229, 1e-8);
    assert_share(s.hand_mmhg, 64.806710, 1e-7);
    /* The palm feeds the access through the distal artery. */
    s = solve(&wrist);
    assert_share(s.access_ml_min, 971.732167, 1e-9);
    assert_share(s.distal_ml_min, -262.209116, 1e-8);
    s = solve(&linear);
    assert_share(s.access_ml_min, 995.977090, 1e-9);
}

/* Ohm by hand: without a loss in the artery, PA is MAP. */
static void test_by_hand(void **state)
{
    struct circuit c = { .access = { 0.05, 0 },
                         .rd = 1,
                         .rc = 1,
                         .rh = 0.5,
                         .map_mmhg = 100,
                         .cvp_mmhg = 0 };
    struct circuit_state s = solve(&c);

    (void)state;
    assert_share(s.access_ml_min, 2000.0, 1e-12);
    /* Rd and Rc side by side, 0.5, before Rh, 0.5: half the pressure. */
    assert_share(s.hand_mmhg, 50.0, 1e-12);
    assert_share(s.distal_ml_min, 50.0, 1e-12);
}

/* ---- laws ------------------------------------------------------------------ */

static struct circuit random_circuit(struct random *r)
{
    struct circuit c = {
        .feeding = { random_log(r, 1e-4, 0.2), random_log(r, 1e-8, 1e-4) },
        .access = { random_log(r, 1e-3, 0.2), random_log(r, 1e-8, 1e-3) },
        .rd = random_log(r, 0.02, 20.0),
        .rc = random_log(r, 0.02, 20.0),
        .rh = random_log(r, 0.2, 10.0),
        .map_mmhg = random_within(r, 45.0, 150.0),
        .cvp_mmhg = random_within(r, -2.0, 20.0),
    };

    if (random_chance(r, 0.2))
        c.feeding.k = 0.0;
    if (random_chance(r, 0.2))
        c.access.k = 0.0;
    if (random_chance(r, 0.5)) {
        c.kappa = random_within(r, 0.0, 0.008);
        c.q0_ml_min = random_within(r, 300.0, 5000.0);
    }
    return c;
}

/* What each edge carries, from the pressures at its ends. */
static void check_laws(const struct circuit *c, const struct circuit_state *s)
{
    double q = s->access_ml_min, f = s->feeding_ml_min;
    double collateral = (s->map_mmhg - s->hand_mmhg) / c->rc;
    double whole = s->map_mmhg - c->cvp_mmhg;

    assert_near(s->map_mmhg, c->map_mmhg + c->kappa * (c->q0_ml_min - q),
                1e-9 * whole);
    assert_near(s->map_mmhg - s->anastomosis_mmhg,
                (c->feeding.r + c->feeding.k * fabs(f)) * f, 1e-9 * whole);
    assert_near(s->anastomosis_mmhg - c->cvp_mmhg,
                (c->access.r + c->access.k * q) * q, 1e-9 * whole);
    /* Balance at the anastomosis and at the hand. */
    assert_near(f - q - s->distal_ml_min, 0.0, 1e-9 * (q + fabs(f)));
    assert_near((s->anastomosis_mmhg - s->hand_mmhg) / c->rd, s->distal_ml_min,
                1e-9 * whole / c->rd);
    assert_near(s->distal_ml_min + collateral,
                (s->hand_mmhg - c->cvp_mmhg) / c->rh,
                1e-9 * whole * (1 / c->rd + 1 / c->rc + 1 / c->rh));
    /* Backwards just where the anastomosis is lower than the hand. */
    assert_true((s->distal_ml_min < 0.0) ==
                (s->anastomosis_mmhg < s->hand_mmhg));
    assert_true(q > 0.0);
}

/* Passivity: more pressure never gives less flow, more loss never more. */
static void check_directions(const struct circuit *c, double q)
{
    struct circuit more = *c;

    more.map_mmhg += 5.0;
    assert_true(solve(&more).access_ml_min > q);
    more = with_band(*c, (struct element){ 0.01, 1e-5 });
    assert_true(solve(&more).access_ml_min < q);
    more = *c;
    more.feeding.r *= 1.5;
    more.feeding.k *= 1.5;
    more.kappa = c->kappa;
    /* Where the artery runs backwards a narrower one can only help. */
    if (solve(c).feeding_ml_min > 0.0)
        assert_true(solve(&more).access_ml_min < q);
    more = *c;
    more.cvp_mmhg += 1.0;
    assert_true(solve(&more).access_ml_min < q);
}

static void test_laws(void **state)
{
    struct random random = random_start(7);
    int backwards = 0;

    (void)state;
    for (int i = 0; i < 5000; i++) {
        struct circuit c = random_circuit(&random);
        struct circuit_state s = solve(&c);

        check_laws(&c, &s);
        check_directions(&c, s.access_ml_min);
        backwards += s.distal_ml_min < 0.0;
    }
    /* Both directions were seen. */
    assert_in_range(backwards, 100, 4900);
}

/* Extremes that Newton's method does not like: next to no loss in the access
 * and next to all of it in the artery, and the other way round. */
static void test_extremes(void **state)
{
    static const double r[] = { 1e-6, 1e-3, 1.0, 100.0 };
    static const double k[] = { 0.0, 1e-9, 1e-4, 1.0 };

    (void)state;
    for (size_t i = 0; i < COUNT(r) * COUNT(r) * COUNT(k) * COUNT(k); i++) {
        struct circuit c = elbow;
        struct circuit_state s;

        c.feeding = (struct element){ r[i % 4], k[i / 4 % 4] };
        c.access = (struct element){ r[i / 16 % 4], k[i / 64] };
        s = solve(&c);
        check_laws(&c, &s);
    }
}

/* ---- refusals -------------------------------------------------------------- */

static void test_refusals(void **state)
{
    static const size_t positive[] = { offsetof(struct circuit, rd),
                                       offsetof(struct circuit, rc),
                                       offsetof(struct circuit, rh) };
    static const size_t all[] = { offsetof(struct circuit, rd),
                                  offsetof(struct circuit, rc),
                                  offsetof(struct circuit, rh),
                                  offsetof(struct circuit, feeding.r),
                                  offsetof(struct circuit, feeding.k),
                                  offsetof(struct circuit, access.r),
                                  offsetof(struct circuit, access.k),
                                  offsetof(struct circuit, kappa) };
    static const size_t pressures[] = { offsetof(struct circuit, map_mmhg),
                                        offsetof(struct circuit, cvp_mmhg),
                                        offsetof(struct circuit, q0_ml_min) };
    struct circuit_state s;
    struct circuit c;

    (void)state;
#define REFUSED(list, value)                                                   \
    for (size_t i = 0; i < COUNT(list); i++) {                                 \
        double x = (value);                                                    \
                                                                               \
        c = elbow;                                                             \
        memcpy((char *)&c + (list)[i], &x, sizeof x);                          \
        assert_int_equal(circuit_solve(&c, &s), ERR_RANGE);                    \
    }
    REFUSED(positive, 0.0)
    REFUSED(all, -1e-9)
    REFUSED(all, NAN)
    REFUSED(all, INFINITY)
    REFUSED(pressures, NAN)
    REFUSED(pressures, -INFINITY)
    c = elbow;
    c.access = (struct element){ 0, 0 };
    assert_int_equal(circuit_solve(&c, &s), ERR_RANGE);
    /* Nothing drives the flow. */
    c = elbow;
    c.cvp_mmhg = c.map_mmhg;
    assert_int_equal(circuit_solve(&c, &s), ERR_RANGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_elbow),
        cmocka_unit_test(test_pressure_rises),
        cmocka_unit_test(test_other_arms),
        cmocka_unit_test(test_by_hand),
        cmocka_unit_test(test_laws),
        cmocka_unit_test(test_extremes),
        cmocka_unit_test(test_refusals),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

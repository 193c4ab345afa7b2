/*
 * test_particles - the guesses, and how they are weighed
 *
 * What each guess must be is worked out again from the question: the baseline
 * by Kirchhoff's laws (circuit_solve(), which test_circuit.c checks), moments
 * of the priors by quadrature of their densities.  Weights: see
 * test_particles_weigh.c.
 */
#include "planner/particles.h"

#include "planner/circuit.h"
#include "planner/sample.h"
#include "tests/plan_test.h"
#include "tests/random_kit.h"

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

/* ---- priors ---------------------------------------------------------------- */

/* Mean and spread of a normal law cut off at both ends, by Simpson's rule. */
static void moments(const struct prior_normal *n, double *mean, double *sd)
{
    enum { STEPS = 4000 };
    double sum[3] = { 0 }, h = (n->most - n->least) / STEPS;

    for (int i = 0; i <= STEPS; i++) {
        double x = n->least + i * h, t = (x - n->mean) / n->sd;
        double f = (i == 0 || i == STEPS ? 1 : i % 2 ? 4 : 2);

        f *= exp(-0.5 * t * t);
        sum[0] += f;
        sum[1] += f * x;
        sum[2] += f * x * x;
    }
    *mean = sum[1] / sum[0];
    *sd = sqrt(sum[2] / sum[0] - *mean * *mean);
}

/* Stratified places: of 4096 the mean of a smooth law is right to a thousandth
 * of its spread, the spread itself to a hundredth. */
static void check_law(const char *name, const double *x,
                      const struct prior_normal *law)
{
    double mean, sd, sum = 0.0, square = 0.0;

    ROW(name);
    moments(law, &mean, &sd);
    for (size_t i = 0; i < p.n; i++) {
        assert_true(x[i] >= law->least - 1e-9 && x[i] <= law->most + 1e-9);
        sum += x[i];
    }
    sum /= (double)p.n;
    for (size_t i = 0; i < p.n; i++)
        square += (x[i] - sum) * (x[i] - sum);
    assert_near(sum, mean, 1e-3 * sd);
    assert_near(sqrt(square / (double)p.n), sd, 1e-2 * sd);
}

/* The tables of priors of the reference: sources in particles.c and prior.c. */
static void test_priors(void **state)
{
    static const struct prior_normal map = { 95, 4, 50, 140 },
                                     cvp = { 8, 3, 0, 20 },
                                     conduit = { 9, 1.8, 5.5, 16 },
                                     gain = { 1.08, 0.08, 0.7, 1.6 },
                                     kappa = { 2.5e-3, 1.5e-3, 0, 8e-3 },
                                     offset = { 0.52, 0.25, -0.2, 1.3 },
                                     edge = { 0.64, 0.04, 0.55, 0.80 };
    struct plan_input in = plan_test_reference(2500);

    (void)state;
    build(&in);
    check_law("MAP", p.map, &map);
    check_law("CVP", p.cvp, &cvp);
    check_law("conduit", p.conduit, &conduit);
    check_law("gain", p.gain, &gain);
    check_law("kappa", p.kappa, &kappa);
    check_law("offset", p.offset, &offset);
    check_law("edge", p.contraction, &edge);
    in.cvp_mmhg = 14;
    in.conduit_mm = 11;
    build(&in);
    check_law("CVP measured", p.cvp, &(struct prior_normal){ 14, 1.5, 5, 23 });
    check_law("conduit measured", p.conduit,
              &(struct prior_normal){ 11, 0.5, 8, 14 });
}

static double mean_log(bool flow_is_read)
{
    double sum = 0.0;

    for (size_t i = 0; i < p.n; i++)
        sum += log(p.q0[i] * (flow_is_read ? p.bias[i] : 1.0));
    return sum / (double)p.n;
}

/* Two readings by dilution, 7.7 % within a session (Huisman 2005): the mean is
 * known to 7.7 / sqrt(2) %; the bias of the method (8 %) widens the true flow
 * and nothing else. */
static void test_baseline_readings(void **state)
{
    struct plan_input in = plan_test_reference(2500);
    double read = 0.0, truth = 0.0, mean;

    (void)state;
    in.flow_ml_min[0] = 2650;
    in.flow_ml_min[1] = 2550;
    build(&in);
    mean = mean_log(true);
    assert_near(mean, 0.5 * (log(2650) + log(2550)), 1e-12);
    assert_near(mean_log(false), mean, 1e-12);
    for (size_t i = 0; i < p.n; i++) {
        double x = log(p.q0[i]) - mean, y = x + log(p.bias[i]);

        truth += x * x;
        read += y * y;
    }
    assert_near(sqrt(read / (double)p.n), 0.077 / sqrt(2), 3e-4);
    assert_near(sqrt(truth / (double)p.n), hypot(0.077 / sqrt(2), 0.08), 1e-3);
}

/* Huisman 2005: dilution 7.7 %, duplex 11.6 % within a session; not stated:
 * the wider of the two. */
static void test_precision_of_methods(void **state)
{
    (void)state;
    assert_near(particles_cv(METHOD_ULTRASOUND_DILUTION), 0.077, 1e-12);
    assert_near(particles_cv(METHOD_DUPLEX), 0.116, 1e-12);
    assert_near(particles_cv(METHOD_UNSTATED), 0.116, 1e-12);
}

/* ---- the circuit of each guess --------------------------------------------- */

static struct circuit circuit_of(size_t i, struct element band, double map)
{
    return (struct circuit){ .feeding = { p.rf[i], p.kf[i] },
                             .access = { p.ra[i] + p.ro[i] + band.r,
                                         p.ka[i] + p.ko[i] + band.k },
                             .rd = p.rd[i],
                             .rc = p.rc[i],
                             .rh = p.rh[i],
                             .map_mmhg = map,
                             .cvp_mmhg = p.cvp[i],
                             .kappa = p.kappa[i],
                             .q0_ml_min = p.q0[i] };
}

/* Whatever is guessed, what was measured comes out: flow and pressure. */
static void check_baseline(const struct plan_input *in)
{
    size_t off = 0;

    build(in);
    particles_solve(&p, NULL, &plain, &at);
    for (size_t i = 0; i < p.n; i++) {
        /* but of guesses that cannot be, which weigh nothing */
        if (fabs(at.flow[i] / p.q0[i] - 1.0) > 1e-9)
            off += p.w[i] > 1e-9;
        else
            assert_near(at.map[i], p.map[i], 1e-6);
    }
    assert_int_equal(off, 0);
}

static void test_baseline_reproduced(void **state)
{
    struct plan_input in = plan_test_reference(2500);

    (void)state;
    check_baseline(&in);
    in.region = PLAN_WRIST;
    in.flow_ml_min[0] = in.flow_ml_min[1] = 900;
    check_baseline(&in);
    in = plan_test_reference(1500);
    in.static_mmhg = 55;
    in.stenosis_frac = 0.7;
    in.index_open = 0.6;
    check_baseline(&in);
    in = plan_test_reference(1400);
    in.index_open = 0.40;
    in.index_compressed = 0.78;
    in.artery_mm = 4.5;
    check_baseline(&in);
}

/* The lanes give what one circuit after the other gives, with the band of
 * element_band(). */
static void check_lanes(double dowel_mm, double shift_mmhg)
{
    struct setting setting = { .map_shift_mmhg = shift_mmhg };

    particles_tie(&p, &prior_reference, dowel_mm, 0, lumen);
    particles_solve(&p, lumen, &setting, &at);
    for (size_t i = 0; i < p.n; i += 7) {
        struct element band = element_band(&p.blood, lumen[i], p.conduit[i],
                                           1.5, p.contraction[i], p.pulse[i]);
        struct circuit c = circuit_of(i, band, p.map[i] + shift_mmhg);
        struct circuit_state s;

        assert_int_equal(circuit_solve(&c, &s), ERR_OK);
        assert_near(at.flow[i], s.access_ml_min, 1e-9 * s.access_ml_min);
        assert_near(at.pa[i], s.anastomosis_mmhg, 1e-7);
        assert_near(at.hand[i], s.hand_mmhg, 1e-7);
        assert_near(at.map[i], s.map_mmhg, 1e-7);
    }
}

static void test_lanes(void **state)
{
    struct plan_input in = plan_test_reference(2500);

    (void)state;
    build(&in);
    for (double dowel_mm = 2.0; dowel_mm <= 8.0; dowel_mm += 1.5)
        check_lanes(dowel_mm, 0.0);
    check_lanes(3.5, -30.0);
    in.region = PLAN_WRIST;
    build(&in);
    check_lanes(3.0, 0.0);
}

/* More pressure drives more flow, through every guess and every size. */
static void test_pressure_drives(void **state)
{
    static struct outlook more;
    const struct setting higher = { .map_shift_mmhg = 10.0 };
    struct plan_input in = plan_test_reference(2500);

    (void)state;
    build(&in);
    for (double dowel_mm = 2.5; dowel_mm <= 6.0; dowel_mm += 1.0) {
        particles_tie(&p, &prior_reference, dowel_mm, 0, lumen);
        particles_solve(&p, lumen, &plain, &at);
        particles_solve(&p, lumen, &higher, &more);
        for (size_t i = 0; i < p.n; i++) {
            assert_true(more.flow[i] > at.flow[i]);
            assert_true(more.hand[i] > at.hand[i]);
        }
    }
}

/* The finger's index as measured, within its error of 0.06 (A). */
static void test_index_reproduced(void **state)
{
    struct plan_input in = plan_test_reference(1400);
    struct plan_range r;

    (void)state;
    in.index_open = 0.45;
    build(&in);
    particles_solve(&p, NULL, &plain, &at);
    for (size_t i = 0; i < p.n; i++)
        value[i] = particles_index(&p, &at, i);
    r = particles_range(value, p.w, p.n);
    assert_near(r.p50, 0.45, 0.06);
    assert_true(r.p95 - r.p05 < 4 * 0.06);
}

/* ---- bands ----------------------------------------------------------------- */

/* Of two columns; unrelated ones are within 4 / sqrt(n) of 0. */
static double correlation(const double *x, const double *y)
{
    double sx = 0, sy = 0, xx = 0, yy = 0, xy = 0, n = (double)p.n;

    for (size_t i = 0; i < p.n; i++) {
        sx += x[i];
        sy += y[i];
        xx += x[i] * x[i];
        yy += y[i] * y[i];
        xy += x[i] * y[i];
    }
    return (xy - sx * sy / n) / sqrt((xx - sx * sx / n) * (yy - sy * sy / n));
}

static void knot_of(size_t tie, double *knot)
{
    particles_tie(&p, &prior_reference, 4.0, tie, knot);
    for (size_t i = 0; i < p.n; i++)
        knot[i] = 4.0 - p.offset[i] - knot[i];
}

/* Each tie draws a knot of its own, 0.10 mm, unrelated to the one before. */
static void test_knots(void **state)
{
    static double knot[PLAN_STAGES_MAX][PARTICLES_USUAL];
    struct plan_input in = plan_test_reference(2500);
    double square = 0.0;

    (void)state;
    in.conduit_mm = 12; /* so that no lumen is cut off */
    build(&in);
    particles_tie(&p, &prior_reference, 4.0, NO_KNOT, lumen);
    for (size_t i = 0; i < p.n; i++)
        assert_near(lumen[i], 4.0 - p.offset[i], 1e-12);
    for (size_t k = 0; k < PLAN_STAGES_MAX; k++) {
        knot_of(k, knot[k]);
        for (size_t j = 0; j < k; j++)
            assert_near(correlation(knot[k], knot[j]), 0.0,
                        4 / sqrt(PARTICLES_USUAL));
        assert_near(correlation(knot[k], p.offset), 0.0,
                    4 / sqrt(PARTICLES_USUAL));
    }
    for (size_t i = 0; i < p.n; i++)
        square += knot[0][i] * knot[0][i];
    assert_near(sqrt(square / (double)p.n), 0.10, 1e-3);
}

/* No lumen is shut, none wider than the conduit; stretching only widens. */
static void test_lumen_within(void **state)
{
    struct plan_input in = plan_test_reference(2500);

    (void)state;
    in.conduit_mm = 4;
    build(&in);
    particles_tie(&p, &prior_reference, 1.5, 0, p.stand);
    for (size_t i = 0; i < p.n; i++)
        assert_true(p.stand[i] >= 0.5);
    for (size_t k = 0; k < PLAN_STRETCHES_MAX; k++) {
        particles_stretch(&p, &prior_reference, k, lumen);
        for (size_t i = 0; i < p.n; i++)
            assert_true(lumen[i] >= p.stand[i] && lumen[i] < p.conduit[i]);
    }
    particles_tie(&p, &prior_reference, 8, 0, lumen);
    for (size_t i = 0; i < p.n; i++)
        assert_near(lumen[i], 0.98 * p.conduit[i], 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_priors),
        cmocka_unit_test(test_baseline_readings),
        cmocka_unit_test(test_precision_of_methods),
        cmocka_unit_test(test_baseline_reproduced),
        cmocka_unit_test(test_lanes),
        cmocka_unit_test(test_pressure_drives),
        cmocka_unit_test(test_index_reproduced),
        cmocka_unit_test(test_knots),
        cmocka_unit_test(test_lumen_within),
    };

    return cmocka_run_group_tests(tests, start, NULL);
}

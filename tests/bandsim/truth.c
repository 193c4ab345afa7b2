#include "tests/bandsim/truth.h"

#include "planner/blood.h"
#include "planner/sample.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define BAND_MM 1.5

struct draw {
    uint64_t state;
};

static double normal(struct draw *d)
{
    uint64_t bits = sample_next(&d->state) >> 11;

    return sample_normal(((double)bits + 0.5) / 9007199254740992.0);
}

/* Cut off by drawing again: not by the planner's inverse. */
static double cut(struct draw *d, const struct prior_normal *p)
{
    for (;;) {
        double x = p->mean + p->sd * normal(d);

        if (x >= p->least && x <= p->most)
            return x;
    }
}

static double share(struct draw *d, double mean, double sd)
{
    double x = log(mean / (1.0 - mean)) + sd * normal(d);

    return 1.0 / (1.0 + exp(-x));
}

static double or_else(double wanted, double drawn)
{
    return isnan(wanted) ? drawn : wanted;
}

static void draw_band(const struct truth_world *world, struct draw *d,
                      struct truth *t)
{
    const struct prior *p =
        world->technique != NULL ? world->technique : &prior_reference;
    const struct prior_normal conduit = { 9.0, 1.8, 5.5, 16.0 };

    t->offset_mm = or_else(world->offset_mm, cut(d, &p->offset_mm));
    t->contraction = or_else(world->contraction, cut(d, &p->contraction));
    t->conduit_mm = cut(d, &conduit);
    t->pulse = 1.06 * exp(0.06 * normal(d));
    for (int s = 0; s < TRUTH_STAGES; s++) {
        t->knot_mm[s] = p->knot_sd_mm * normal(d);
        t->stretch_mm[s] = cut(d, &p->stretch_mm);
    }
}

/* Elbow; shares and pressures as in the prior. */
static void draw_arm(const struct truth_world *world, struct draw *d,
                     struct truth *t)
{
    const struct prior_normal cvp_prior = { 8.0, 3.0, 0.0, 20.0 };
    const struct prior_normal kappa_prior = { 2.5, 1.5, 0.0, 8.0 };
    double map = 95.0 + 4.0 * normal(d), cvp = cut(d, &cvp_prior);
    double drop = map - cvp, psi = share(d, 0.22, 0.7);
    double phi_a = or_else(world->quadratic, share(d, 0.65, 0.8));
    double phi_f = or_else(world->quadratic, share(d, 0.60, 0.8));
    double rh = 1.3 * exp(0.4 * normal(d));
    double s = share(d, 0.84, 0.6), a = share(d, 0.70, 0.8);
    double across = 1.0 / (rh * (1.0 - s));
    double rd = 1.0 / (s * a * across), rc = 1.0 / (s * (1.0 - a) * across);
    double pa = map - psi * drop, source = cvp + drop * rh / (rc + rh);
    double q0 = t->q0_ml_min;
    double qf = q0 + (pa - source) / (rd + rc * rh / (rc + rh));

    t->circuit =
        (struct circuit){ .feeding = { (1.0 - phi_f) * psi * drop / qf,
                                       phi_f * psi * drop / (qf * fabs(qf)) },
                          .access = { (1.0 - phi_a) * (pa - cvp) / q0,
                                      phi_a * (pa - cvp) / (q0 * q0) },
                          .rd = rd,
                          .rc = rc,
                          .rh = rh,
                          .map_mmhg = map,
                          .cvp_mmhg = cvp,
                          .kappa = cut(d, &kappa_prior) / 1000.0,
                          .q0_ml_min = q0 };
}

void truth_draw(const struct truth_world *world, uint64_t seed, uint64_t n,
                struct truth *t)
{
    struct draw d = { seed * UINT64_C(0xD1B54A32D192ED03) +
                      n * UINT64_C(0x9E6C63D0876A9A47) };

    if (blood_viscosity(BLOOD_HAEMATOCRIT_USUAL, &t->blood.mu_pa_s) != ERR_OK ||
        blood_density(BLOOD_HAEMATOCRIT_USUAL, &t->blood.rho_kg_m3) != ERR_OK)
        abort();
    t->bias = exp(0.08 * normal(&d));
    t->q0_ml_min = world->baseline_ml_min / t->bias;
    draw_arm(world, &d, t);
    draw_band(world, &d, t);
    for (int s = 0; s <= TRUTH_STAGES; s++) {
        for (int k = 0; k < TRUTH_READS; k++)
            t->noise[s][k] = world->read_cv * normal(&d);
    }
}

double truth_lumen(const struct truth *t, double dowel_mm, int stage)
{
    double d = dowel_mm - t->offset_mm - t->knot_mm[stage];

    return fmin(fmax(d, 0.5), 0.98 * t->conduit_mm);
}

double truth_flow(const struct truth *t, double lumen_mm)
{
    struct circuit c = t->circuit;
    struct circuit_state s;

    if (isfinite(lumen_mm)) {
        struct element band = element_band(&t->blood, lumen_mm, t->conduit_mm,
                                           BAND_MM, t->contraction, t->pulse);

        c.access.r += band.r;
        c.access.k += band.k;
    }
    if (circuit_solve(&c, &s) != ERR_OK) {
        fputs("a virtual patient could not be solved\n", stderr);
        abort();
    }
    return s.access_ml_min;
}

double truth_reduction(const struct truth *t, double lumen_mm)
{
    return 1.0 - truth_flow(t, lumen_mm) / t->q0_ml_min;
}

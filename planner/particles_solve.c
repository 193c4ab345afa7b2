/* The circuit of every particle at once: the arithmetic of circuit.c in lanes,
 * with a fixed number of Newton steps, and circuit_solve() itself where that
 * was not enough.  Blocks of lanes, so that a compiler finds the vectors. */
#include "planner/circuit.h"
#include "planner/particles.h"

#include <math.h>

/* Long enough that a compiler keeps the loops over it, and makes vectors. */
enum { STEPS = 3, BLOCK = 32 };
_Static_assert(PARTICLES_USUAL % BLOCK == 0 && PARTICLES_MAX % BLOCK == 0,
               "no loop has a rest");
#define SETTLED        1e-5 /* of the flow, in the last step: the next is 1e-10 */
#define BAND_MM        1.5 /* length of a narrow ligature (A) */
#define LUMEN_LEAST_MM 0.5
#define LUMEN_MOST     0.98 /* of the conduit */

void particles_tie(const struct particles *p, const struct prior *prior,
                   double dowel_mm, size_t tie, double *lumen_mm)
{
    unsigned dimension = (unsigned)(tie < 4 ? 16 + tie : 17 + tie);
    double knot_mm = tie == NO_KNOT ? 0.0 : prior->knot_sd_mm;

    dimension = tie == NO_KNOT ? 16 : dimension;
    for (size_t i = 0; i < p->n; i++) {
        double d = dowel_mm - p->offset[i] -
                   knot_mm * lattice_z(p->lattice, dimension, i);
        double most = LUMEN_MOST * p->conduit[i];

        d = d < LUMEN_LEAST_MM ? LUMEN_LEAST_MM : d;
        lumen_mm[i] = d > most ? most : d;
    }
}

void particles_stretch(const struct particles *p, const struct prior *prior,
                       size_t stretch, double *lumen_mm)
{
    struct cut gain = cut_of(&prior->stretch_mm);
    unsigned dimension = (unsigned)(stretch == 0 ? 20 : 24 + stretch);

    for (size_t i = 0; i < p->n; i++) {
        double g = cut_at(&gain, lattice_u(p->lattice, dimension, i));
        double most = LUMEN_MOST * p->conduit[i];

        lumen_mm[i] = p->stand[i] + g > most ? most : p->stand[i] + g;
    }
}

/* What a block of particles is solved from. */
struct block {
    double map[BLOCK], cvp[BLOCK], rf[BLOCK], kf[BLOCK], ra[BLOCK], ka[BLOCK];
    double share[BLOCK], across[BLOCK], rp[BLOCK], kappa[BLOCK], q0[BLOCK];
    double q[BLOCK], step[BLOCK];
};

/* What bands of this blood have in common, at 1 mm. */
struct band {
    double head, sampson, pore;
};

static struct band band_of(const struct blood *b)
{
    double sampson = element_pore(b, 0.0, 1.0);

    return (struct band){ element_head(b, 1.0), sampson,
                          element_pore(b, BAND_MM, 1.0) - sampson };
}

/* R and K of the band, as element_band() of the same blood. */
static void add_band(const struct particles *p, const struct band *band,
                     const double *restrict lumen_mm, size_t i,
                     struct block *restrict b)
{
    for (size_t k = 0; k < BLOCK; k++) {
        double d = lumen_mm[i + k], x = 1.0 / d, x2 = x * x;
        double edge =
            element_edge(d / p->conduit[i + k], p->contraction[i + k]);

        b->ra[k] += (band->sampson + band->pore * x) * x2 * x;
        b->ka[k] += p->pulse[i + k] * edge * band->head * x2 * x2;
    }
}

static void load(const struct particles *p, const struct setting *s, size_t i,
                 struct block *restrict b)
{
    double fr = s->lesion_changed ? s->r_factor : 1.0;
    double fk = s->lesion_changed ? s->k_factor : 1.0;
    double shift = s->map_shift_mmhg, coupled = s->map_fixed ? 0.0 : 1.0;

    for (size_t k = 0; k < BLOCK; k++) {
        size_t j = i + k;

        b->map[k] = p->map[j] + shift;
        b->cvp[k] = p->cvp[j];
        b->rf[k] = p->rf[j];
        b->kf[k] = p->kf[j];
        b->ra[k] = p->ra[j] + p->ro[j] * fr;
        b->ka[k] = p->ka[j] + p->ko[j] * fk;
        b->share[k] = p->share[j];
        b->rp[k] = p->rc[j] * b->share[k];
        b->across[k] = 1.0 / (p->rd[j] + b->rp[k]);
        b->kappa[k] = coupled * p->kappa[j];
        b->q0[k] = p->q0[j];
    }
}

/* As circuit_solve(), STEPS times, without a bracket. */
static void newton(struct block *restrict b)
{
    for (size_t k = 0; k < BLOCK; k++) {
        double drop = b->map[k] + b->kappa[k] * b->q0[k] - b->cvp[k];
        double r = b->ra[k] + b->rf[k] + b->kappa[k], a = b->ka[k] + b->kf[k];

        b->q[k] = 2.0 * drop / (r + sqrt(r * r + 4.0 * a * drop));
    }
    for (int n = 0; n < STEPS; n++) {
        for (size_t k = 0; k < BLOCK; k++) {
            double q = b->q[k], rise = b->ra[k] + 2.0 * b->ka[k] * q;
            double map = b->map[k] + b->kappa[k] * (b->q0[k] - q);
            double up = (b->ra[k] + b->ka[k] * q) * q;
            double across = b->across[k];
            double qf = q + (up - b->share[k] * (map - b->cvp[k])) * across;
            double af = fabs(qf);
            double f = map - b->cvp[k] - up - (b->rf[k] + b->kf[k] * af) * qf;
            double slope =
                b->kappa[k] + rise +
                (b->rf[k] + 2.0 * b->kf[k] * af) *
                    (1.0 + (rise + b->kappa[k] * b->share[k]) * across);

            b->step[k] = f / slope;
            b->q[k] = q + b->step[k];
        }
    }
}

/* The one lane that did not settle. */
static double solve_safely(const struct particles *p, const struct block *b,
                           size_t k, size_t j)
{
    struct circuit c = { .feeding = { b->rf[k], b->kf[k] },
                         .access = { b->ra[k], b->ka[k] },
                         .rd = p->rd[j],
                         .rc = p->rc[j],
                         .rh = p->rh[j],
                         .map_mmhg = b->map[k],
                         .cvp_mmhg = b->cvp[k],
                         .kappa = b->kappa[k],
                         .q0_ml_min = b->q0[k] };
    struct circuit_state s;

    return circuit_solve(&c, &s) == ERR_OK ? s.access_ml_min : NAN;
}

static void settle(const struct particles *p, size_t i,
                   struct block *restrict b)
{
    for (size_t k = 0; k < BLOCK; k++) {
        if (!(fabs(b->step[k]) <= SETTLED * b->q[k] && b->q[k] > 0.0))
            b->q[k] = solve_safely(p, b, k, i + k);
    }
}

static void store(const struct block *restrict b, size_t i,
                  struct outlook *restrict out)
{
    for (size_t k = 0; k < BLOCK; k++) {
        double q = b->q[k], map = b->map[k] + b->kappa[k] * (b->q0[k] - q);
        double source = b->cvp[k] + b->share[k] * (map - b->cvp[k]);
        double pa = b->cvp[k] + (b->ra[k] + b->ka[k] * q) * q;

        out->flow[i + k] = q;
        out->pa[i + k] = pa;
        out->hand[i + k] = source + (pa - source) * b->across[k] * b->rp[k];
        out->map[i + k] = map;
    }
}

void particles_solve(const struct particles *p, const double *lumen_mm,
                     const struct setting *setting, struct outlook *out)
{
    struct band band = band_of(&p->blood);

    for (size_t i = 0; i < p->n; i += BLOCK) {
        struct block b;

        load(p, setting, i, &b);
        if (lumen_mm != NULL)
            add_band(p, &band, lumen_mm, i, &b);
        newton(&b);
        settle(p, i, &b);
        store(&b, i, out);
    }
}

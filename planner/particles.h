/*
 * particles - the arm, put together once for each guess; private to plan*.c
 *
 * A particle is one complete guess: every pressure, resistance and diameter of
 * the circuit.  All of them reproduce what was measured at the baseline; they
 * differ in what was not.  Each dimension of the sample serves one quantity:
 *
 *     0  MAP                 8  Cc, edge of the band     16-19  knot of tie 1-4
 *     1  CVP                 9  conduit diameter         20     stretch 1
 *     2  reading of Q0      10  pulse factor             21-24  knot of tie 5-8
 *     3  bias of the method 11  kappa                    25-26  stretch 2-3
 *     4  psi, artery's share 12 Rh, hand bed
 *     5  quadratic, access  13  s, transmission to the hand
 *     6  quadratic, artery  14  a, share through the distal artery
 *     7  offset             15  g, finger systolic over hand mean
 *
 *     psi    part of the pressure from artery to vein that the feeding artery
 *            takes
 *     s, a   PH - CVP = s * (a * PA + (1 - a) * MAP - CVP)
 *
 * Arrays, one per quantity, so that a step runs over all particles at once.
 */
#ifndef HEADGATE_PLANNER_PARTICLES_H
#define HEADGATE_PLANNER_PARTICLES_H

#include "planner/element.h"
#include "planner/plan.h"

#include <stdint.h>

enum {
    PARTICLES_USUAL = 4096,
    PARTICLES_MAX = 32768, /* where the usual number leaves too few */
    DIMENSIONS = 27,
    LANES = 8, /* sums run in so many lanes, whatever the machine has */
    /* Arrays are a few cache lines longer, so that equal places of many of
     * them do not fall into one set of the cache. */
    PARTICLES_ROOM = PARTICLES_MAX + 5 * LANES
};
_Static_assert(PARTICLES_USUAL % LANES == 0 && PARTICLES_MAX % LANES == 0,
               "no loop has a rest");

#define PARTICLES_INDEX_SD   0.06 /* error of a digital-brachial index (A) */
#define PARTICLES_STUDENT_DF 5.0  /* of a reading's error (A) */

/* The sample of a size, made once. */
struct lattice {
    size_t n;
    double score[PARTICLES_ROOM]; /* normal score of each place */
    uint32_t order[DIMENSIONS][PARTICLES_ROOM];
};
void lattice_init(struct lattice *l, size_t n);

/* The normal score of particle i in a dimension. */
static inline double lattice_z(const struct lattice *l, unsigned dimension,
                               size_t i)
{
    return l->score[l->order[dimension][i]];
}

/* Its place, between 0 and 1. */
static inline double lattice_u(const struct lattice *l, unsigned dimension,
                               size_t i)
{
    return ((double)l->order[dimension][i] + 0.5) / (double)l->n;
}

/* A normal distribution cut off at both ends, drawn by its inverse. */
struct cut {
    double mean, sd;
    double below, within; /* probability below the least, and up to the most */
};
struct cut cut_of(const struct prior_normal *p);
double cut_at(const struct cut *c, double u);

struct particles {
    const struct lattice *lattice;
    size_t n;
    struct blood blood;
    /* of each particle; units as in circuit.h */
    double map[PARTICLES_ROOM], cvp[PARTICLES_ROOM];
    double q0[PARTICLES_ROOM];   /* true baseline */
    double bias[PARTICLES_ROOM]; /* flow read over true flow */
    double rf[PARTICLES_ROOM], kf[PARTICLES_ROOM];
    double ra[PARTICLES_ROOM], ka[PARTICLES_ROOM]; /* lesion left out */
    double ro[PARTICLES_ROOM], ko[PARTICLES_ROOM]; /* outflow lesion */
    double rd[PARTICLES_ROOM], rc[PARTICLES_ROOM], rh[PARTICLES_ROOM];
    double share[PARTICLES_ROOM]; /* rh / (rc + rh) */
    double kappa[PARTICLES_ROOM];
    double offset[PARTICLES_ROOM], contraction[PARTICLES_ROOM];
    double conduit[PARTICLES_ROOM], pulse[PARTICLES_ROOM];
    double gain[PARTICLES_ROOM];
    double stand[PARTICLES_ROOM];    /* lumen of the band in place; the conduit
                                   where there is none */
    double lesion[PARTICLES_ROOM];   /* pressure lost there at the baseline */
    bool impossible[PARTICLES_ROOM]; /* what was measured does not fit */
    double logw[PARTICLES_ROOM], w[PARTICLES_ROOM];
};

/* What one state of all particles looks like. */
struct outlook {
    double flow[PARTICLES_ROOM]; /* true access flow */
    double pa[PARTICLES_ROOM], hand[PARTICLES_ROOM], map[PARTICLES_ROOM];
};

/* Put the particles together from what was measured at the baseline. */
void particles_build(struct particles *p, const struct lattice *lattice,
                     const struct plan_input *in);

/* Weights from logw; returns the effective number, 0 if most of the weight is
 * on guesses that cannot be. */
double particles_weigh(struct particles *p);

enum { NO_KNOT = 99 }; /* for tie: the knot left out */

/* Lumen of each particle if this were tied as the tie-th tie (0..), or after
 * the stretch-th stretch of what stands. */
void particles_tie(const struct particles *p, const struct prior *prior,
                   double dowel_mm, size_t tie, double *lumen_mm);
void particles_stretch(const struct particles *p, const struct prior *prior,
                       size_t stretch, double *lumen_mm);

/* What changes the circuit beside the band. */
struct setting {
    double map_shift_mmhg; /* added to each particle's MAP */
    bool map_fixed;        /* MAP was measured at this stage: no coupling */
    bool lesion_changed;   /* the outflow lesion's ro and ko are multiplied */
    double r_factor, k_factor;
};

/*
 * particles_solve - the circuit of every particle
 *
 * lumen_mm  of the band; NULL: no band
 */
void particles_solve(const struct particles *p, const double *lumen_mm,
                     const struct setting *setting, struct outlook *out);

/* The finger's index, systolic: gain * hand / MAP. */
static inline double particles_index(const struct particles *p,
                                     const struct outlook *o, size_t i)
{
    return p->gain[i] * o->hand[i] / o->map[i];
}

/*
 * particles_observe - weigh by a measured flow
 *
 * Student's t with 5 degrees of freedom on the logarithm of the mean, so that a
 * wild reading does not rule.
 *
 * tail  out: part of the prediction at or below what was measured
 */
void particles_observe(struct particles *p, const struct outlook *o,
                       const double *read_ml_min, size_t count, double cv,
                       double *tail);
/* ... by the index of the finger at a stage. */
void particles_observe_index(struct particles *p, const struct outlook *o,
                             double index);

/* Mean of readings in the logarithm; count at least 1. */
double particles_log_mean(const double *read_ml_min, size_t count);

/* Coefficient of variation of single readings within a session, fraction. */
double particles_cv(enum method method);

/*
 * particles_range - the weighted 5, 50 and 95 % points of values
 *
 * Sorted by value, c = running sum of weights less half the own, linear
 * between neighbours.
 */
struct plan_range particles_range(const double *value, const double *weight,
                                  size_t n);

#endif

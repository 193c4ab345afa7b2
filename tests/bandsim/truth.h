/*
 * truth - virtual patients with a band: arms whose every number is known
 *
 * Drawn from the reference prior with a generator of its own, put together and
 * solved one by one with circuit.h, not with the particles of the planner.
 */
#ifndef HEADGATE_TESTS_BANDSIM_TRUTH_H
#define HEADGATE_TESTS_BANDSIM_TRUTH_H

#include "planner/circuit.h"
#include "planner/prior.h"

#include <stdbool.h>
#include <stdint.h>

enum { TRUTH_STAGES = 16, TRUTH_READS = 8 };

/* How a row of patients departs from the prior; NAN: as the prior has it. */
struct truth_world {
    double baseline_ml_min; /* as read, without error */
    double offset_mm, contraction, quadratic;
    double read_cv; /* of the meter */
    /* technique of the site; 0: the reference prior's */
    const struct prior *technique;
};

struct truth {
    struct blood blood;
    struct circuit circuit; /* without a band */
    double q0_ml_min, bias;
    double offset_mm, contraction, conduit_mm, pulse;
    double knot_mm[TRUTH_STAGES], stretch_mm[TRUTH_STAGES];
    double noise[TRUTH_STAGES + 1][TRUTH_READS]; /* of readings, log; last:
                                                     baseline */
};

/* The n-th patient of a seed: the same for every contender. */
void truth_draw(const struct truth_world *world, uint64_t seed, uint64_t n,
                struct truth *t);

/* The true flow with this lumen; INFINITY: no band. */
double truth_flow(const struct truth *t, double lumen_mm);
double truth_lumen(const struct truth *t, double dowel_mm, int stage);
/* The true reduction, fraction. */
double truth_reduction(const struct truth *t, double lumen_mm);

#endif

#include "planner/prior.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

/*
 * Offset: its mean was chosen so that 2500 mL/min over 4 mm gives about 45 %
 * (common practice, no source).  Contraction: 0.61 to 0.65 for sharp edges
 * (F), a suture is a little rounder (A).  Knots and stretching are guesses
 * until a site has cases of its own (A).
 */
const struct prior prior_reference = {
    .name = "reference",
    .offset_mm = { 0.52, 0.25, -0.2, 1.3 },
    .contraction = { 0.64, 0.04, 0.55, 0.80 },
    .knot_sd_mm = 0.10,
    .stretch_mm = { 0.60, 0.25, 0.0, 1.5 },
};

/* Wide in the edge, so that nine intervals in ten hold also where the edge is
 * rounded to 0.95 or the offset is 0.1 or 0.9 mm; chosen by simulation, see
 * tests/bandsim/README.md (A).  The offset goes with the edge: a rounder one is
 * less tight. */
const struct prior prior_default = {
    .name = "default",
    .offset_mm = { 0.57, 0.28, -0.4, 1.5 },
    .contraction = { 0.76, 0.16, 0.50, 1.0 },
    .knot_sd_mm = 0.10,
    .stretch_mm = { 0.60, 0.25, 0.0, 1.5 },
};

enum err prior_by_name(const char *name, const struct prior **prior)
{
    const struct prior *all[] = { &prior_reference, &prior_default };

    for (size_t i = 0; i < COUNT(all); i++) {
        if (strcmp(all[i]->name, name) == 0) {
            *prior = all[i];
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

static bool is_within(const struct prior_normal *p, double least, double most)
{
    return p->least >= least && p->most <= most && p->least < p->most &&
           p->mean >= p->least && p->mean <= p->most && p->sd >= 0.0 &&
           p->sd <= most - least;
}

enum err prior_check(const struct prior *prior)
{
    return is_within(&prior->offset_mm, -1.0, 2.5) &&
                   is_within(&prior->contraction, 0.4, 1.0) &&
                   prior->knot_sd_mm >= 0.0 && prior->knot_sd_mm <= 1.0 &&
                   is_within(&prior->stretch_mm, 0.0, 2.0)
               ? ERR_OK
               : ERR_RANGE;
}

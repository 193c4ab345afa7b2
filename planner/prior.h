/*
 * prior - what is believed of the technique before a patient is measured
 *
 * How far the tissue folds into the lumen, how sharp the edge of a band is, how
 * much one knot differs from the next, what stretching gains: these belong to
 * the operator's hands and materials, not to the patient.
 *
 *     reference  the numbers that the published checks were made with; every
 *                outside check uses it
 *     default    shipped: wider, so that its intervals stay honest where the
 *                edge of the band is rounder than thought
 *     site       learned from a site's finished cases, see technique.h; in
 *                force only after a person switched it on
 */
#ifndef HEADGATE_PLANNER_PRIOR_H
#define HEADGATE_PLANNER_PRIOR_H

#include "planner/err.h"

/* A normal distribution, cut off (values beyond are set to the end). */
struct prior_normal {
    double mean, sd, least, most;
};

struct prior {
    char name[16];
    struct prior_normal offset_mm;   /* dowel less lumen: folds of the wall */
    struct prior_normal contraction; /* Cc of the edge, see element_edge() */
    double knot_sd_mm;               /* one knot to the next */
    struct prior_normal stretch_mm;  /* lumen gained with a balloon that is
                                        1 mm larger than the dowel */
};

extern const struct prior prior_reference;
extern const struct prior prior_default;

/* ERR_UNKNOWN: neither "reference" nor "default". */
MUST_CHECK enum err prior_by_name(const char *name, const struct prior **prior);

/* ERR_RANGE: a mean or spread is not a number, or not one that a band can
 * have. */
MUST_CHECK enum err prior_check(const struct prior *prior);

#endif

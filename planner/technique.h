/*
 * technique - what the finished cases of a site say of its technique
 *
 * How far the wall folds in under a band, how much one knot differs from the
 * next and what stretching gains belong to the hands and materials of a site.
 * Each finished case (something tied, and a flow measured after it) tells a
 * little of them.  The spread over cases is learnt by expectation and
 * maximisation:
 *
 *     E  the case is replayed on guesses of the arm that are spread wider than
 *        any prior (technique_add); weighed anew by what is believed of the
 *        site now, they give mean and spread of the offset of this case, and
 *        the same of its knots and stretches
 *     M  the site's mean and spread become those that explain all cases best
 *        (technique_round), and so on until nothing moves
 *
 * The default prior counts as some cases of its own, see below: few finished
 * cases move it little, none leave it exactly as it is.
 *
 *     technique_begin --> technique_add ... --> technique_round ... -->
 *     technique_result
 *
 * Source: Dempster, Laird and Rubin, J R Stat Soc B 1977;39:1-38 (M); priors
 * as pseudo-observations: Gelman et al., Bayesian Data Analysis, 2.4 (M).
 *
 * What is learnt is how much tighter than its dowel a band acts in this model.
 * The sharpness of its edge cannot be told apart from the offset, so that
 * contraction stays as in the default and the offset takes up the rest.  It is
 * no measurement of any lumen.  Fistulas only: a graft folds otherwise.
 *
 * No clock, no heap, no randomness: the caller brings a struct technique_work.
 * In whichever order the cases come, the result is the same but for rounding.
 */
#ifndef HEADGATE_PLANNER_TECHNIQUE_H
#define HEADGATE_PLANNER_TECHNIQUE_H

#include "planner/plan.h"

enum {
    TECHNIQUE_CASES_MAX = 200,
    TECHNIQUE_CASES_LEAST = 10, /* before a site's own prior is proposed: a
                                   proposed default without source (A) */
    TECHNIQUE_ROUNDS_MAX = 1000
};

/* As many cases, ties and stretches the default counts for (A). */
#define TECHNIQUE_PSEUDO_CASES     4.0
#define TECHNIQUE_PSEUDO_TIES      20.0
#define TECHNIQUE_PSEUDO_STRETCHES 4.0

/* Is a finished case learnt from? */
enum technique_use {
    TECHNIQUE_USED,
    TECHNIQUE_UNMEASURED,   /* no flow was measured after anything tied */
    TECHNIQUE_GRAFT,        /* its wall folds otherwise */
    TECHNIQUE_CONFLICT,     /* fewer guesses agree with it than can be relied
                               on: its data contradict each other */
    TECHNIQUE_UNFIT,        /* a value that plan_check() refuses */
    TECHNIQUE_NO_BASELINE,  /* no usable flow of the access before it */
    TECHNIQUE_OLD_BASELINE, /* one, but not of the same procedure: flows
                               differ from day to day by as much as is learnt
                               from */
    TECHNIQUE_ORDER,        /* in which order it was tied and measured is not
                               known */
    TECHNIQUE_SIZE,         /* a band, and no dowel of it */
    TECHNIQUE_STEPS,        /* more steps than a case can have */
    TECHNIQUE_OTHER_FORM,   /* a band that is no narrow ligature */
    TECHNIQUE_BANDED,       /* an earlier band lay there already */
    TECHNIQUE_ROOM,         /* newer ones fill the room */
    TECHNIQUE_USE_COUNT
};

/* Stable words: "used", "unmeasured", ... */
const char *technique_use_word(enum technique_use use);

/* What one case showed. */
struct technique_evidence {
    enum technique_use use;
    double baseline_ml_min, flow_ml_min; /* means: before, and the last */
    double dowel_mm;                     /* of the last tie */
    size_t ties, stretches;              /* with a flow measured after them */
    /* the rest of cases that are used; else NAN */
    double offset_mm, offset_sd_mm; /* what is believed of this very case */
    double part;                    /* of the mean offset that it makes, 0..1 */
    double effective;               /* guesses that it rests on */
};

/* Of a case that is not even looked at. */
struct technique_evidence technique_unused(enum technique_use use);

/* One number of the technique, with its standard error; NAN: not known. */
struct technique_number {
    double value, se;
};

/* Where a guard rail holds a number; bits of a set. */
enum technique_held {
    TECHNIQUE_HELD_OFFSET = 1,
    TECHNIQUE_HELD_OFFSET_SD = 2,
    TECHNIQUE_HELD_KNOT = 4,
    TECHNIQUE_HELD_STRETCH = 8,
    TECHNIQUE_HELD_STRETCH_SD = 16
};

struct technique {
    struct prior prior; /* named "site"; contraction as in the default */
    bool proposed;      /* enough cases, and nothing moved any more */
    struct technique_number offset_mm, offset_sd_mm, knot_sd_mm, stretch_mm,
        stretch_sd_mm;
    unsigned held;
    size_t case_count, tie_count, stretch_count; /* of cases that are used */
    double default_part; /* of the mean offset that the default makes, 0..1 */
    size_t rounds;
    bool settled;
    size_t given; /* how many evidence has */
    struct technique_evidence evidence[TECHNIQUE_CASES_MAX]; /* as given */
};

/* Opaque: some 30 MB, no pointers but to static data. */
struct technique_work;
size_t technique_work_size(void);
/* Before the first use; once. */
void technique_work_init(struct technique_work *work);

/* Forget all cases.  base: what is believed without any; borrowed. */
void technique_begin(struct technique_work *work, const struct prior *base);

/*
 * technique_add - one finished case; its prior, target and ladder are not
 * looked at.  Says whether it is learnt from; more than TECHNIQUE_CASES_MAX
 * are not kept.
 */
enum technique_use technique_add(struct technique_work *work,
                                 const struct plan_input *in);

/* Some rounds more; true: nothing moves any more, or enough were made. */
bool technique_round(struct technique_work *work, size_t rounds);

void technique_result(const struct technique_work *work, struct technique *out);

/* All of it. */
void technique_learn(const struct plan_input *cases, size_t count,
                     const struct prior *base, struct technique_work *work,
                     struct technique *out);

#endif

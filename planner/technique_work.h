/* technique_work - the memory of learning a technique; private to
 * technique*.c */
#ifndef HEADGATE_PLANNER_TECHNIQUE_WORK_H
#define HEADGATE_PLANNER_TECHNIQUE_WORK_H

#include "planner/particles.h"
#include "planner/technique.h"

enum { GUESSES = PARTICLES_USUAL };

/* Guard rails (A): a site is not believed to be surer than this, nor less sure
 * than can be weighed. */
#define OFFSET_SD_LEAST_MM  0.10
#define OFFSET_SD_MOST_MM   0.60
#define KNOT_SD_LEAST_MM    0.05
#define KNOT_SD_MOST_MM     0.25
#define STRETCH_SD_LEAST_MM 0.10
#define STRETCH_SD_MOST_MM  0.45

/* What a guess of a case says of the technique.  Its weight is that of the
 * data alone: the density it was drawn with is taken out. */
struct guess {
    float offset;
    float knots;                 /* sum of squares */
    float stretch, stretch_both; /* sum, and sum of squares */
    float logw;
};

/* What is believed of the site. */
struct theta {
    double offset, offset_var, knot_var, stretch, stretch_var;
};

/* A case, and what the last round said of it. */
struct learnt {
    struct technique_evidence evidence;
    double knots;                 /* expected sum of squares */
    double stretch, stretch_both; /* expected sums */
};

struct technique_work {
    struct lattice usual, large;
    struct particles p;
    struct outlook at;
    const struct prior *base;
    struct prior wide; /* that guesses are drawn from */
    struct theta now;
    size_t rounds;
    bool settled;
    size_t count;
    struct learnt cases[TECHNIQUE_CASES_MAX];
    struct guess guess[TECHNIQUE_CASES_MAX][GUESSES];
};

/* What a case is, before anything is learnt from it; it passed plan_check(). */
void technique_describe(const struct plan_input *in,
                        struct technique_evidence *e);

/*
 * technique_replay - go through a case again, as plan.c does, and keep what
 * its guesses say
 *
 * in   its prior is the wide one
 * out  room for GUESSES
 * Returns false if too few guesses agree with it.
 */
bool technique_replay(struct technique_work *w, const struct plan_input *in,
                      struct guess *out);

#endif

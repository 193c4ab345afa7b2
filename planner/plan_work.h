/* plan_work - the memory of a plan and its steps; private to plan*.c */
#ifndef HEADGATE_PLANNER_PLAN_WORK_H
#define HEADGATE_PLANNER_PLAN_WORK_H

#include "planner/look_ahead.h"
#include "planner/particles.h"

enum { CARD_GRID = 17 };

struct plan_work {
    struct lattice usual, large;
    struct particles p;
    struct look look;
    struct belief belief; /* of what is known now */
    /* These three are set by plan_work_init(); others only to compare with. */
    size_t ties_ahead; /* LOOK_TIES */
    bool may_again;    /* "measure again" is one of the actions */
    struct look_costs costs;
    bool doubts; /* a flow that was not predicted is read again first; of
                    plan_make() */
    double log_flow[1 + PLAN_DOWELS_MAX][PARTICLES_ROOM];
    double index[PLAN_DOWELS_MAX][PARTICLES_ROOM];
    double stand_log_flow[PARTICLES_ROOM], stand_index[PARTICLES_ROOM];
    double lumen[PARTICLES_ROOM], value[PARTICLES_ROOM];
    double one[PARTICLES_ROOM];    /* ones: a sum is a mean of them */
    double centre[LOOK_VARIABLES]; /* means taken out of log_flow, index, ... */
    struct belief read[CARD_GRID]; /* after readings, for the card */
    bool near[CARD_GRID];          /* as plan_believe_read() */
    struct outlook open;           /* without a band */
    struct outlook at;             /* whatever is looked at */
    /* one plan at a time */
    const struct plan_input *in;
    struct plan *plan;
    double dowel_mm[PLAN_DOWELS_MAX]; /* loosest first */
    size_t dowel_count, ties, stretches;
    size_t stretched;   /* since the last tie */
    double cv;          /* of one reading */
    bool banded;        /* a band is in place ... */
    double standing_mm; /* ... tied over this; NAN: none */
    size_t last_reads;  /* readings taken of it */
    bool must_loosen;   /* below the floor, or the thrill is weak */
    struct plan_alarm alarm;
};

/* plan_make() without card and outflow. */
void plan_advise(const struct plan_input *in, struct plan_work *w,
                 struct plan *plan);

/* The zone, from the measured baseline; false: it is empty. */
bool plan_target_set(const struct plan_input *in, double baseline_ml_min,
                     struct plan_target *target);

/* What a flow and an index are, in the light of the target. */
struct plan_verdict {
    bool in_zone, too_tight, below_floor;
    double short_frac,
        over_frac; /* of the zone: reduced too little, too much */
};
struct plan_verdict plan_judge(const struct plan_target *t,
                               double baseline_ml_min, double q0_ml_min,
                               double bias, double flow_ml_min, double index);

/* The loss of that; missing the zone costs 3. */
double plan_loss(const struct plan_verdict *v);

/* The last state solved, as log flow (as read) and index of each particle. */
void plan_keep(struct plan_work *w, double *log_flow, double *index);

/* The ladder table, rungs[] of the plan; keeps the flow and the index that each
 * size would give, with a knot, for plan_believe(). */
void plan_ladder(struct plan_work *w);
/* Moments of the particles, for looking ahead. */
void plan_believe(struct plan_work *w);
/*
 * plan_believe_tie - as if this size were tied next: the band in place of
 * w->belief and of the particles is that one
 *
 * plan_believe_read - what would be believed if the band in place were then
 * read as flow_ml_min, with error sigma; false: too few particles are near
 */
void plan_believe_tie(struct plan_work *w, int dowel);
MUST_CHECK bool plan_believe_read(struct plan_work *w, double flow_ml_min,
                                  double sigma, struct belief *b);
/* Place on the ladder; -1: not on it. */
int plan_dowel_index(const struct plan_work *w, double dowel_mm);
struct standing plan_standing(const struct plan_work *w);
/* The tightest size that is looser than this; -1: none. */
int plan_looser(const struct plan_work *w, double size_mm);
/* As what size the band in place counts: its dowel, and what stretching gained
 * on average. */
double plan_size_mm(const struct plan_work *w);
/* First dowel, or next step, and the readings to take. */
void plan_decide(struct plan_work *w);
/* The hand leads and its index is expected to be enough with the band in place:
 * the loosest such band is wanted, so it is left. */
bool plan_hand_is_met(const struct plan_work *w, const struct belief *b);
/* What a band below the floor, or with a weak thrill, needs whatever else is
 * known. */
void plan_loosen(struct plan_work *w);
/* The hand, the pressure and a flow that nobody expected stand above what the
 * flow alone would ask for. */
void plan_heed(struct plan_work *w);
/* Hardly to be expected, by the part of the prediction below it; NAN: it is
 * not known. */
bool plan_is_outside(double tail);
/* Is there a size that is smaller than what stands and keeps to the floor, as
 * the next tie would have to? */
bool plan_has_smaller(const struct plan_work *w, const struct belief *b,
                      const struct standing *standing);
/* The card of card_dowel_mm. */
void plan_card(struct plan_work *w);
/* What opening the outflow would do. */
void plan_opening(struct plan_work *w);

/* Of the particles of w: a range of the index, or of pressure. */
struct plan_range plan_index_range(struct plan_work *w,
                                   const struct outlook *o);
/* Chance that a condition holds, by weight. */
double plan_chance(const struct particles *p, const double *value,
                   double below);

#endif

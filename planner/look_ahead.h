/*
 * look_ahead - the next step, chosen with all that may follow in mind; private
 * to plan*.c
 *
 * What is believed of an arm is taken, for this purpose alone, as a normal
 * distribution of the logarithms of its flows: at the baseline and over each
 * dowel (and of the index of the finger over each).  Its moments come from the
 * particles, so that the circuit, the priors and what was measured are in it.
 * A measurement then moves the means in proportion to its surprise, narrows the
 * spread by an amount that is known before, and every expected loss has a
 * closed form: the tree of what may follow is walked without noise.
 *
 *     V(belief) = least of  accept           loss of the band that stands
 *                           tie or re-tie d  cost + mean of V over what will
 *                                            be measured
 *                           measure again    the same, with the band left
 *                           stretch          cost + loss after it
 *
 * Source: Kalman, J Basic Eng 1960 (conditioning of a normal distribution);
 * Bellman, Dynamic Programming, 1957; the truncated means are those of Black
 * and Scholes, J Polit Econ 1973 (all M).
 */
#ifndef HEADGATE_PLANNER_LOOK_AHEAD_H
#define HEADGATE_PLANNER_LOOK_AHEAD_H

#include "planner/plan.h"

enum {
    LOOK_TIES = 3, /* ties looked ahead over */
    /* Places of the variables: the baseline, each dowel's flow, each dowel's
     * index, the flow and the index of the band in place. */
    LOOK_BASE = 0,
    LOOK_FLOW = 1,
    LOOK_INDEX = LOOK_FLOW + PLAN_DOWELS_MAX,
    LOOK_STAND = LOOK_INDEX + PLAN_DOWELS_MAX,
    LOOK_STAND_INDEX,
    LOOK_VARIABLES
};

/* Flows are logarithms of mL/min as the method reads them, without the knot. */
struct belief {
    double mean[LOOK_VARIABLES];
    double cov[LOOK_VARIABLES][LOOK_VARIABLES];
};

/* What a step costs, on the scale on which missing the zone costs 3 (A). */
struct look_costs {
    double tie;    /* over a smaller dowel */
    double loosen; /* cut, and tie over a larger one */
    double stretch;
    double read; /* one more reading */
};

struct look {
    const struct plan_target *target;
    double log_baseline;                   /* measured */
    double log_floor, log_least, log_most; /* the floor; the share that is left
                                              at either end of the zone */
    size_t dowel_count;
    double floor_most; /* chance of being below the floor that bars a size */
    bool barred[PLAN_DOWELS_MAX]; /* for the next tie, whatever is believed */
    /* One knot to the next, each dowel: variances and their covariance. */
    double knot_flow[PLAN_DOWELS_MAX], knot_index[PLAN_DOWELS_MAX],
        knot_both[PLAN_DOWELS_MAX];
    double sigma; /* error of a measurement after a tie, in log flow */
    struct look_costs costs;
    bool may_stretch;
    /* of stretching the band in place: mean gain and variance in log flow */
    double stretch_mean, stretch_var;
};

/* The band in place on the ladder. */
struct standing {
    int tighter; /* the first dowel that is smaller; 0: there is no band */
    int same;    /* its own place; -1: not on the ladder, or no band */
};

struct look_choice {
    enum plan_action action;
    int dowel; /* index; -1: none */
    double value;
};

/* The variables in use, and how many: without a hand that leads its index is
 * left out. */
size_t look_variables(const struct look *l, int place[LOOK_VARIABLES]);

/* Expected loss of the band in place. */
double look_loss(const struct look *l, const struct belief *b);

/* Is the band in place more likely too loose than not? */
bool look_is_loose(const struct look *l, const struct belief *b);

/* Chance that a tie over this dowel ends below the floor. */
double look_below_floor(const struct look *l, const struct belief *b,
                        int dowel);

/* A measurement of a variable, of error sigma: value given, or (surprise in
 * standard deviations of what was expected). */
void look_measure(const struct look *l, struct belief *b, int variable,
                  double value, double sigma);

/* The dowel becomes the band in place. */
void look_tie(const struct look *l, struct belief *b, int dowel);

/* Value of tying this dowel now, with its cost. */
double look_tie_value(const struct look *l, const struct belief *b, int dowel,
                      size_t depth, double cost);

/*
 * look_choose - the best step from the band in place
 *
 * depth   ties looked ahead over, 1..LOOK_TIES
 * again   more readings of the band in place: how many, and the error of one;
 *         0: not an option
 */
void look_choose(const struct look *l, const struct belief *b,
                 const struct standing *stand, size_t depth, int again,
                 double read_sigma, struct look_choice *choice);

/* Value of measuring a variable again (LOOK_BASE before the first tie,
 * LOOK_STAND after) and then doing the best; readings are paid for. */
double look_again_value(const struct look *l, const struct belief *b,
                        const struct standing *stand, size_t depth,
                        int variable, int again, double read_sigma,
                        const bool *allowed);

#endif

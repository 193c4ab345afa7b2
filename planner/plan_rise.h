/*
 * plan_rise - what a flow that has risen may have done to the hand
 *
 * The finger was measured at an earlier flow.  The arm is put together from
 * what was known then (particles.h), in as many guesses as for a plan; in each
 * of them the resistance of the access falls until the flow is the one that
 * was measured now, and the feeding artery, the collaterals and the bed of the
 * hand stay as they were.  What is left for the hand is what this says.
 *
 * That is the dark side of what may have happened: where the feeding artery
 * has widened since, which it does over months, the hand lost less than this.
 * Only measuring the finger tells.
 *
 * Solved in closed form: with the flow through the access given, the side of
 * the hand is linear (the source P_th behind R_th of circuit.c), so that of the
 * feeding artery's flow Q a quadratic is left,
 *
 *     K Q |Q| + (R + R_th) Q = MAP - P_th + R_th q.
 *
 * The arterial pressure is the one measured now; where none was, the one of
 * then: what comes slowly is taken to leave it unchanged (A).
 *
 * No clock, no randomness, no heap; equal input, equal output.
 */
#ifndef HEADGATE_PLANNER_PLAN_RISE_H
#define HEADGATE_PLANNER_PLAN_RISE_H

#include "planner/plan.h"

struct plan_rise {
    bool conflict; /* hardly a guess can reach that flow: no numbers follow */
    struct plan_range index_before, index; /* at the flow of then, and of now */
    struct plan_range hand_before_mmhg, hand_mmhg;
    double p_index_low, p_index_falls; /* as in struct plan_outflow */
    bool flagged;
    double sample_share; /* effective part of the sample, 0..1 */
};

/*
 * plan_rise
 *
 * in           what was known at the earlier flow; index_open among it, and no
 *              stages
 * flow_ml_min  of now, by the same method; count 1..PLAN_READS_MAX
 * map_mmhg     of now; NAN: not known
 * work         made ready with plan_work_init(); what it held is lost
 *
 * ERR_RANGE  plan_check() refuses the input, its index is not known, it has
 *            stages, or a flow or the pressure of now is out of its range
 */
MUST_CHECK enum err plan_rise(const struct plan_input *in,
                              const double *flow_ml_min, size_t count,
                              double map_mmhg, struct plan_work *work,
                              struct plan_rise *out);

#endif

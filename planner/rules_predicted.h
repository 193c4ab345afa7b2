/*
 * rules_predicted - IS-8: the hand at risk by prediction, before it complains
 *
 * Its own step after rules_evaluate(), since a prediction needs the working
 * memory of the planner and some milliseconds: rules_may_predict() says
 * whether an access gives anything to predict from, rules_predict() predicts.
 *
 * Flagged, of an index of the finger (digital-brachial): a chance of more than
 * plan.risk_index_most_pct that it is below plan.risk_index, or of more than
 * plan.risk_fall_most_pct that it falls by more than plan.risk_fall.  What was
 * flagged, and is put to people, stays so until both chances are
 * general.hysteresis_pct inside.
 */
#ifndef HEADGATE_PLANNER_RULES_PREDICTED_H
#define HEADGATE_PLANNER_RULES_PREDICTED_H

#include "planner/rules.h"
#include "planner/triage.h"

/* One look at the readings, no more: is there an outflow stenosis, or an index
 * of the finger, at all? */
bool rules_may_predict(const struct history *h, const struct policy *policy);

/*
 * rules_predict - add what is predicted to what the rules found
 *
 * said      it is put to people: an open suggestion rests on it, which then
 *           does not end because its readings have grown old
 * prior     beliefs about technique, for the sizes that are named; NULL: the
 *           default
 * work      of the planner; NULL: nothing is predicted where it would be needed
 * findings  in: of rules_evaluate(), of the same history and policy; out: the
 *           predictions, and IS-8 if one is flagged, else why not
 */
void rules_predict(const struct history *h, const struct policy *policy,
                   bool said, const struct prior *prior, struct plan_work *work,
                   struct findings *findings);

/*
 * rules_join_flow - where the finding of IS-8 is told
 *
 * Beside a suggestion on a high flow that is open, or opens now, it joins that
 * one, so that one matter does not make two alarms; unless something else is
 * found of the hand, or a suggestion on the hand is open.
 */
void rules_join_flow(struct findings *findings, const struct episode *flow,
                     const struct episode *hand);

#endif

/*
 * foresee - what is predicted of an access joins what its rules found
 *
 * Store thread only.  Between the rules and triage; see
 * planner/rules_predicted.h.  An access without anything to predict from costs
 * one look at its readings.
 */
#ifndef HEADGATE_SERVICE_FORESEE_H
#define HEADGATE_SERVICE_FORESEE_H

#include "service/review.h"

/* Of a look whose rules are evaluated; without review->planning nothing is
 * predicted. */
MUST_CHECK enum err foresee(struct db *db, const struct review *review,
                            struct look *look);

#endif

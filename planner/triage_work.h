/* triage_work - what the files of triage share; private to them */
#ifndef HEADGATE_PLANNER_TRIAGE_WORK_H
#define HEADGATE_PLANNER_TRIAGE_WORK_H

#include "planner/triage.h"

/*
 * The reminder of a group: fills the last part of the verdict.
 *
 * referred  the group's suggestion is open: it says more than a reminder would
 */
void triage_repeat(const struct history *h, const struct policy *policy,
                   const struct findings *findings, enum group group,
                   bool referred, const struct repeat_state *repeat,
                   struct verdict *out);

#endif

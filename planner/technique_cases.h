/*
 * technique_cases - the finished cases in the history of an access
 *
 * A case is what plan_from.h calls one: what was done to a band within
 * plan.case_h before its newest step, with what was measured after each step.
 * It is finished once that step is longer ago than plan.case_h.  Each is put
 * together as plan_from() would have done on its last day, from the readings
 * as they are known now: a correction counts, whenever it came.
 *
 * Learnt from are cases whose baseline is of the same procedure, and that
 * found no band in place or before: what a flow differs by from one day to
 * another would be taken for technique.
 */
#ifndef HEADGATE_PLANNER_TECHNIQUE_CASES_H
#define HEADGATE_PLANNER_TECHNIQUE_CASES_H

#include "planner/plan_from.h"
#include "planner/technique.h"

enum { TECHNIQUE_CASES_OF_ACCESS = 8 };

struct technique_found {
    enum technique_use use; /* TECHNIQUE_USED: in can be learnt from; what
                               technique_add() says is not known yet */
    int64_t case_s;         /* of its first step */
    struct plan_input in;
    size_t ground_count;
    size_t grounds[PLAN_GROUNDS_MAX]; /* into history.readings, each once */
};

/*
 * technique_cases - the newest first
 *
 * list  room for max; older ones are not looked for
 * Returns how many there are.
 */
size_t technique_cases(const struct history *h, const struct policy *policy,
                       struct technique_found *list, size_t max);

#endif

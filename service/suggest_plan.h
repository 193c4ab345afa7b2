/*
 * suggest_plan - the band plan in the Tasks of a band candidate
 *
 * Store thread only, within the transaction of a review.
 *
 * The Task on a high flow, and that on a hand short of blood beside a high
 * flow, carry the plan that is made when nobody asked (task_plan.h).
 * It is renewed when its document changes, also in a Task that a person has in
 * hand, with a note that says what changed; it is taken out, with a note that
 * says why, when no plan is offered any more: never does the Task of a hand
 * that is short of blood at a low flow carry one.
 *
 * While a case goes on - something was done to the band within plan.case_h -
 * the rules begin anew, and would end the Task: it stays until the case is
 * over, and then keeps the last plan as the record of the case.
 */
#ifndef HEADGATE_SERVICE_SUGGEST_PLAN_H
#define HEADGATE_SERVICE_SUGGEST_PLAN_H

#include "service/suggest_work.h"

/* Do the Tasks of this group carry a plan? */
bool suggest_plans_of(enum group group);

/*
 * Plan, once in a review, if it has not come with it; suggest_plan_free() at
 * its end.  Nothing happens
 * where the review has no planning, or the group carries no plan.
 */
MUST_CHECK enum err suggest_plan(struct suggest *s, enum group group);
void suggest_plan_free(struct suggest *s);

/* Is a case going on, with a plan?  Of a suggest_plan() before. */
bool suggest_plan_has_case(const struct suggest *s);

/* When time alone changes the plan: the case is over, or its flows too old;
 * INT64_MAX: no plan. */
int64_t suggest_plan_next_s(const struct suggest *s);

/* What wording_plan_attached() says; NULL: there is no plan, or not here. */
const char *suggest_plan_words(const struct suggest *s, enum group group);

/* The same plan as a text for people, and on one page, PDF (empty where none is
 * wanted); lent until the end of the review.  Only after a suggest_plan() that
 * offers one, ERR_ABSENT else. */
MUST_CHECK enum err suggest_plan_pages(struct suggest *s,
                                       const struct buf **text,
                                       const struct buf **sheet);

/* What the Tasks that stand carry, JSON, appended each to its own; the rest is
 * not touched. */
MUST_CHECK enum err suggest_plans_carried(struct db *db, int64_t access,
                                          struct buf plans[GROUP_COUNT],
                                          size_t *count);

/*
 * The plan of a draft: set if there is a new one, taken out if it is gone; the
 * note says so.  task: as it stands; 0: a new one, whose description says it.
 * *changed (if not NULL): either of the two.
 */
MUST_CHECK enum err suggest_plan_put(struct suggest *s, struct draft *d,
                                     enum group group, int64_t task,
                                     bool *changed);

/* The same where the Task ends: the record of a case stays. */
MUST_CHECK enum err suggest_plan_end(struct suggest *s, struct draft *d,
                                     enum group group, enum end_reason reason,
                                     int64_t task);

/* A new version of a Task that stands, if its plan has changed. */
MUST_CHECK enum err suggest_plan_renew(struct suggest *s, enum group group,
                                       const struct episode *episode,
                                       int64_t task);

#endif

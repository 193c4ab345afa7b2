/*
 * review_work - what the files of review share; private to them
 *
 *     review_look.c    what there is to look at
 *     review.c         an access: each group, what was said, what is to be said
 *     review_run.c     which accesses, in which order
 *     review_start.c   what a start finds changed
 */
#ifndef HEADGATE_SERVICE_REVIEW_WORK_H
#define HEADGATE_SERVICE_REVIEW_WORK_H

#include "service/review.h"

struct task_plan;

/* What follows from a look.  plan: made of it, or NULL; it is freed here. */
MUST_CHECK enum err review_look(struct db *db, const struct review *review,
                                struct look *l, struct task_plan *plan,
                                bool *told);

#endif

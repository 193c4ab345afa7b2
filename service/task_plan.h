/*
 * task_plan - the band plan that a Task carries, with all that is written of it
 *
 *     task_plan_load    from the look: is one offered, what are the names
 *     task_plan_make    the plan, its JSON, what the Task says of it
 *     task_plan_pages   the text and the page of its document
 *
 * The first reads the store; the others need nothing but the look and the
 * settings, and may be done by another thread (planners.h).
 */
#ifndef HEADGATE_SERVICE_TASK_PLAN_H
#define HEADGATE_SERVICE_TASK_PLAN_H

#include "adapters/fhir_task.h"
#include "service/planning.h"

struct task_plan {
    struct planned planned;
    bool made;
    bool offered;   /* for a Task; once it is made */
    bool emergency; /* none is, because the hand is one */
    struct buf json, words;
    struct fhir_plan fhir; /* borrows json */
    bool has_pages;
    struct buf text, sheet; /* sheet: empty where none is wanted */
    /* what it was loaded with */
    struct prior site;
    struct planning_names names;
    bool has_names;
};

/* Could there be one, of an access in use, by these settings? */
bool task_plan_may_be(const struct review *review, const struct look *look);

/* *out is to be freed, also on an error (then it may be NULL). */
MUST_CHECK enum err task_plan_load(struct db *db, const struct review *review,
                                   const struct look *look,
                                   struct task_plan **out);

/* Will making it take time? */
bool task_plan_is_work(const struct task_plan *t);

/* Of a look as it was loaded of; planning: of this thread.  Does nothing where
 * it was done. */
MUST_CHECK enum err task_plan_make(struct task_plan *t,
                                   const struct review *review,
                                   const struct look *look,
                                   struct planning *planning);

/* Of one that is offered; does nothing where it was done. */
MUST_CHECK enum err task_plan_pages(struct task_plan *t,
                                    const struct review *review,
                                    const struct look *look);

void task_plan_free(struct task_plan *t); /* NULL does nothing */

/* For what is said of it; lent by all three. */
struct plan_document task_plan_document(const struct task_plan *t,
                                        const struct review *review,
                                        const struct look *look);

#endif

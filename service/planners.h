/*
 * planners - the plans of Tasks, made beside the store's thread
 *
 * A plan takes some milliseconds and its page some fifty: as long would wait
 * whatever else comes to the store.
 *
 *     review_run --> planners_give    an access whose Task will have a plan
 *     own thread     task_plan_make, task_plan_pages
 *     review_run <-- planners_made    and goes on, if nothing came since
 *
 * All is within a memory of this process: the access stays marked as one that
 * has news, for a moment somewhat later, and is looked at then if this ends
 * before it has answered.
 */
#ifndef HEADGATE_SERVICE_PLANNERS_H
#define HEADGATE_SERVICE_PLANNERS_H

#include "service/task_plan.h"

struct planners;

enum { PLANNERS_MOST = 16 /* accesses under way at a time */ };

/* An access under way. */
struct planners_job {
    int64_t access;
    int64_t mark_ms; /* its mark, as it was left: another one, and something
                        has come */
    int tries;       /* times that it was given, this one with them */
    struct look look;
    struct task_plan *plan;
    /* The plans of the Tasks that stand, JSON: while it is the same, nobody
     * needs its pages. */
    struct buf carried[GROUP_COUNT];
    size_t carried_count;
    enum err err; /* out: of making it */
    /* of the planners */
    struct review review; /* as it was; its policy is the one below */
    struct policy policy;
    struct planners_job *next;
};

/* Look and plan are the job's from here on.  NULL: no memory. */
struct planners_job *planners_job_new(const struct review *review,
                                      int64_t access);
void planners_job_free(struct planners_job *job); /* NULL does nothing */

MUST_CHECK enum err planners_open(struct planners **planners);

/* From here on whoever wants to know is told: there is something for
 * planners_made.  on_made: own thread; it must not call the planners. */
void planners_tell(struct planners *planners, void (*on_made)(void *arg),
                   void *arg);

/* Is there room for one more?  Never once it is stopped; NULL: no. */
bool planners_have_room(struct planners *planners);
bool planners_have(struct planners *planners, int64_t access);
size_t planners_under_way(struct planners *planners); /* NULL: 0 */

/* There is room for it; the job is the planners' from here on. */
void planners_give(struct planners *planners, struct planners_job *job);

/* One that is made, to be freed; NULL: none is. */
struct planners_job *planners_made(struct planners *planners);

/* End the thread, after what it is at; on_made is not called any more. */
void planners_stop(struct planners *planners);
/* After it is stopped; NULL does nothing. */
void planners_close(struct planners *planners);

#endif

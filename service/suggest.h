/*
 * suggest - verdicts become Tasks, episodes, decisions and deliveries
 *
 * Store thread only, within the transaction of the review.
 */
#ifndef HEADGATE_SERVICE_SUGGEST_H
#define HEADGATE_SERVICE_SUGGEST_H

#include "planner/triage.h"
#include "service/accesses.h"
#include "service/review.h"

struct task_plan;

struct suggest {
    struct db *db;
    const struct review *review;
    const struct access *access;
    const struct patient *patient;
    const struct history *history;
    const struct findings *findings;
    const struct look *look; /* what all of these are of */
    struct task_plan *plan;  /* see suggest_plan.h; NULL until it is made */
    int64_t now_ms;
    bool told; /* out: something goes out */
};

/* Carry out what triage decided for a group.  episode_task and repeat_task
 * are the Tasks of the newest ones (0: none). */
MUST_CHECK enum err suggest_carry_out(struct suggest *s, enum group group,
                                      const struct verdict *verdict,
                                      int64_t episode_task,
                                      int64_t repeat_task);

/*
 * A Task that was never posted is closed, because posting has begun.  What
 * stood open is left ended, here and in the store; its number stays taken, and
 * a reminder counts as never said.
 */
MUST_CHECK enum err suggest_silent_episode(struct suggest *s, enum group group,
                                           struct episode *episode,
                                           int64_t task);
MUST_CHECK enum err suggest_silent_repeat(struct suggest *s, enum group group,
                                          struct repeat_state *repeat,
                                          int64_t task);

/*
 * Where the day has come that a person put a suggestion off to, it waits for an
 * answer again: its Task says so, and the episode is as if put to people now.
 *
 * acted  its Task says already what is so: only the episode follows
 */
MUST_CHECK enum err suggest_put_off_over(struct suggest *s, enum group group,
                                         struct episode *episode, int64_t task,
                                         bool acted);

/* "Left upper arm fistula A-7", or what else the access is known by. */
const char *access_name(const struct access *a);

#endif

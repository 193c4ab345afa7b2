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

struct suggest {
    struct db *db;
    const struct review *review;
    const struct access *access;
    const struct patient *patient;
    const struct history *history;
    const struct findings *findings;
    int64_t now_ms;
    bool told; /* out: something goes out */
};

/* Carry out what triage decided for a group.  episode_task and repeat_task
 * are the Tasks of the newest ones (0: none). */
MUST_CHECK enum err suggest_carry_out(struct suggest *s, enum group group,
                                      const struct verdict *verdict,
                                      int64_t episode_task,
                                      int64_t repeat_task);

/* "Left upper arm fistula A-7", or what else the access is known by. */
const char *access_name(const struct access *a);

#endif

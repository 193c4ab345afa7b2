/*
 * audit_start - on record: that the service started and stopped, and with what
 *
 * With each start stand the version of the program and the SHA-256 of the
 * policy and of the settings as they were read; if one of the two is another
 * than at the start before, a row of its own says so.
 */
#ifndef HEADGATE_SERVICE_AUDIT_START_H
#define HEADGATE_SERVICE_AUDIT_START_H

#include "planner/policy.h"
#include "service/audit.h"
#include "service/config.h"
#include "service/store.h"

struct audit_start {
    struct store_job stop;
    int64_t stop_ms;
    bool is_on; /* a start is on record, and no stop yet */
};

/* Store thread, in the transaction of the start. */
MUST_CHECK enum err audit_started(struct db *db, const struct policy *policy,
                                  const struct config *config, int64_t now_ms);

/* Loop thread: hand the row of the stop to the store, if there was a start. */
void audit_stop(struct audit_start *start, struct store *store, int64_t now_ms);

#endif

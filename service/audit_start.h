/*
 * audit_start - on record: that the service started and stopped, and what it
 * works by
 *
 * With each start stand the version of the program and the SHA-256 of the
 * policy, of the settings as they were read, and of the files of tokens and of
 * keys.  If one of them is another than it was before, at a start or when they
 * are read again (SIGHUP), a row of its own says so.  So does one for a reading
 * again that was refused.
 */
#ifndef HEADGATE_SERVICE_AUDIT_START_H
#define HEADGATE_SERVICE_AUDIT_START_H

#include "planner/policy.h"
#include "service/audit.h"
#include "service/config.h"
#include "service/store.h"

/* What it works by, as digests in hexadecimal. */
struct audit_works {
    char version[64]; /* of the policy */
    char policy[AUDIT_HEX_SIZE], settings[AUDIT_HEX_SIZE];
    char tokens[AUDIT_HEX_SIZE]; /* of http.tokens and http.jwt_keys */
};

struct audit_start {
    struct audit_works works; /* of the start that is under way */
    struct store_job stop;
    int64_t stop_ms;
    bool is_on; /* a start is on record, and no stop yet */
};

/* Any thread that may read the two; a file that cannot be read counts as one
 * that is empty.  ERR_MEMORY, ERR_LIMIT. */
MUST_CHECK enum err audit_works_of(const struct policy *policy,
                                   const struct config *config,
                                   struct audit_works *works);

/* Store thread, in the transaction of the start; with audit_mend. */
MUST_CHECK enum err audit_started(struct db *db,
                                  const struct audit_works *works,
                                  int64_t now_ms);

/*
 * Store thread, in a transaction: what of the tables, indices and triggers is
 * not as a new store has it (see db_shape.h) is logged as an error and has a row
 * each, action "store-shape"; triggers, and indices that are missing, are made
 * again.  Nothing of it stops the service.
 */
MUST_CHECK enum err audit_mend(struct db *db, int64_t now_ms);

/* Store thread, in the transaction in which they come into force. */
MUST_CHECK enum err audit_changed(struct db *db,
                                  const struct audit_works *works,
                                  int64_t now_ms);

/* Loop thread: that settings which were read again are not taken.  why: a word
 * of the program. */
void audit_reload_refused(struct store *store, const char *why, int64_t now_ms);

/* Loop thread: hand the row of the stop to the store, if there was a start. */
void audit_stop(struct audit_start *start, struct store *store, int64_t now_ms);

#endif

/*
 * store_prune - what is old, and needed neither to judge nor to explain what is
 * open
 *
 * Store thread only.  By the settings store.keep_*_days, each 0: for ever.
 *
 *     deliveries    of Tasks that are closed, all of it sent or given up
 *     decisions     on what is closed, but the last one on each
 *     quarantine    what people or later messages have settled
 *     HL7 messages  as they came, unless something of them waits for a person
 *     exports       of the record, but the last one
 *     readings      older than the look-back of the policy, too; not what is
 *                   held, what explains something open, what states a lasting
 *                   fact of an access (see readings_load()), or what was read
 *                   at an access that had a band (the technique is learnt from
 *                   it)
 *
 * The space is used again by what comes next; the file gets no smaller.
 */
#ifndef HEADGATE_SERVICE_STORE_PRUNE_H
#define HEADGATE_SERVICE_STORE_PRUNE_H

#include "adapters/buf.h"
#include "planner/policy.h"
#include "service/config.h"
#include "service/db.h"

enum prune_part {
    PRUNE_PART_OUTBOX,
    PRUNE_PART_DECISIONS,
    PRUNE_PART_QUARANTINE,
    PRUNE_PART_HL7,
    PRUNE_PART_EXPORTS,
    PRUNE_PART_READINGS, /* Observations */
    PRUNE_PARTS
};

struct prune {
    const struct config *config; /* borrowed, as policy */
    const struct policy *policy;
    int64_t now_ms;
    bool yes;                    /* false: count only */
    int64_t counts[PRUNE_PARTS]; /* out */
    int64_t messages;            /* out: of the journal, with the readings */
    bool more;                   /* out: call again */
    /* its own */
    int stage;
    int64_t after, newest;
    bool began;
};

/* In a transaction: a bounded piece. */
MUST_CHECK enum err store_prune(struct db *db, struct prune *prune);

/* What was, or would be, for a person. */
void store_prune_say(const struct prune *prune, int64_t free_bytes,
                     struct buf *out);

#endif

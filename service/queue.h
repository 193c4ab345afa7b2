/*
 * queue - the referral queue and what is held back, read from the store
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_QUEUE_H
#define HEADGATE_SERVICE_QUEUE_H

#include "adapters/buf.h"
#include "adapters/queue_write.h"
#include "service/db.h"

/* Open referrals, the most urgent first, then open reminders; as a table, or
 * as NDJSON if options is NULL. */
MUST_CHECK enum err queue_read(struct db *db,
                               const struct queue_options *options,
                               int64_t now_s, const struct zone *zone,
                               struct buf *out);

/* What is held back, the oldest first: one line each with the reason. */
MUST_CHECK enum err held_read(struct db *db, const struct zone *zone,
                              struct buf *out);

#endif

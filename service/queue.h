/*
 * queue - the referral queue, read from the store
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_QUEUE_H
#define HEADGATE_SERVICE_QUEUE_H

#include "adapters/buf.h"
#include "adapters/queue_write.h"
#include "service/db.h"

/*
 * queue_read - signs of emergency that are held, then open referrals, the most
 * urgent first, then open reminders, then what a person has in hand though its
 * ground has gone; as a table, or as NDJSON if options is NULL
 *
 * Within the immediate ones: bleeding, hand, low flow, infection, others.
 *
 * held_from_s  what was measured before is not put to people any more, see
 *              general.historic_d of the policy; it stays held
 */
MUST_CHECK enum err queue_read(struct db *db,
                               const struct queue_options *options,
                               int64_t held_from_s, int64_t now_s,
                               const struct zone *zone, struct buf *out);

#endif

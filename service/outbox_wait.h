/*
 * outbox_wait - how long what is to go to the record has waited
 *
 * Store thread only.  A try that failed moves the moment at which a delivery is
 * due ahead, so what is due longest does not say how long something has waited
 * while the record is down; the version that the record has not yet does.
 */
#ifndef HEADGATE_SERVICE_OUTBOX_WAIT_H
#define HEADGATE_SERVICE_OUTBOX_WAIT_H

#include "service/db.h"

struct outbox_wait {
    int64_t late_ms; /* how long what is due longest has been due; 0 none is */
    int64_t oldest_ms; /* how long what has waited longest has waited, from when
                          it was first to be sent; 0 nothing waits, or
                          nothing is posted */
};

MUST_CHECK enum err outbox_wait_look(struct db *db, int64_t now_ms,
                                     struct outbox_wait *wait);

/*
 * outbox_wait_began - at each start: is anything posted to a record?
 *
 * What was decided while nothing was posted waits from the first start with
 * posts true on, not from the day of the decision.
 */
MUST_CHECK enum err outbox_wait_began(struct db *db, bool posts,
                                      int64_t now_ms);

/*
 * outbox_wait_end - a person's word: all that waits is due now
 *
 * count  out: how many wait
 */
MUST_CHECK enum err outbox_wait_end(struct db *db, int64_t now_ms,
                                    size_t *count);

#endif

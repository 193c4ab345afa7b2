/*
 * poll_events - what a notification tells of by ids alone, and the events that
 * were missed
 *
 * Store thread only.
 *
 * Source: HL7 Subscriptions R5 Backport 1.1.0, operation $events.
 */
#ifndef HEADGATE_SERVICE_POLL_EVENTS_H
#define HEADGATE_SERVICE_POLL_EVENTS_H

#include "adapters/fhir_notification.h"
#include "service/poll_work.h"

/*
 * poll_see_focuses - resources are noted to be read by their ids, Tasks marked
 *
 * base   of the record: a focus elsewhere is left out
 * looks  out: Tasks were marked; untouched if none was
 */
MUST_CHECK enum err poll_see_focuses(struct db *db,
                                     const struct fhir_page *page,
                                     const struct fhir_notification *n,
                                     const char *base, int64_t now_ms,
                                     bool *looks);

/*
 * poll_events_target - the request for what was missed, appended to out
 *
 * what  "SUBSCRIPTION:FROM:TO", as it stands in the store
 */
void poll_events_target(const char *what, struct buf *out);

/* A page with its answer. */
MUST_CHECK enum err poll_events_take(struct db *db,
                                     const struct poll_source *source,
                                     const char *what, struct walk_page *page,
                                     struct poll_taken *taken);

#endif

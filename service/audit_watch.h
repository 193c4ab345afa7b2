/*
 * audit_watch - the chain of the audit trail, walked in the background
 *
 * Once after the start and then once a day, a few milliseconds of the store
 * thread at a time with a pause behind each, so that nobody waits for it.  What
 * was found is told in the log, in /metrics and in /readyz; a trail that is
 * broken stops nothing, since no patient would be the safer for it.
 */
#ifndef HEADGATE_SERVICE_AUDIT_WATCH_H
#define HEADGATE_SERVICE_AUDIT_WATCH_H

#include "adapters/buf.h"
#include "service/store.h"

#include <stdatomic.h>

struct audit_watch;

/* What was found, for any thread.  Zeroed by the caller, whose it is; it must
 * last until the store is closed. */
struct audit_found {
    atomic_llong broken;     /* the first wrong row; 0: none is known */
    atomic_llong verified_s; /* when all was last found whole; 0: not yet */
};

/* Loop thread.  ERR_MEMORY. */
MUST_CHECK enum err audit_watch_open(uv_loop_t *loop, struct store *store,
                                     int64_t (*now_ms)(void),
                                     struct audit_found *found,
                                     struct audit_watch **out);

/* on_closed is called from the loop, when nothing of it is left.  The store
 * must be closed after it. */
void audit_watch_close(struct audit_watch *w, void (*on_closed)(void *arg),
                       void *arg);

/*
 * headgate_audit_broken: 1 from when a walk came to a wrong row until one finds
 * none; headgate_audit_verified_timestamp_seconds: when a walk last came to the
 * end and found all whole, 0: not since the start
 */
void audit_watch_metrics(const struct audit_found *found, struct buf *out);

/* For /readyz: a line if it is broken. */
void audit_watch_say(const struct audit_found *found, struct buf *out);

#endif

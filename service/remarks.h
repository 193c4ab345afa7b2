/*
 * remarks - what is kept and not used, because it contradicts itself
 *
 * A result that was sent and the raw values of its session, or the
 * measurements of one session.  Each review of an access writes its remarks
 * anew; they are listed with what is held.  Store thread only.
 */
#ifndef HEADGATE_SERVICE_REMARKS_H
#define HEADGATE_SERVICE_REMARKS_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "planner/history.h"
#include "service/db.h"

/* The remarks on an access, as its history now stands. */
MUST_CHECK enum err remarks_note(struct db *db, int64_t access,
                                 const struct history *h,
                                 const struct policy *policy,
                                 const struct zone *zone);

/* None: it is no longer in use. */
MUST_CHECK enum err remarks_clear(struct db *db, int64_t access);

/* The list for a person, newest first, appended. */
MUST_CHECK enum err remarks_read(struct db *db, struct buf *out);

#endif

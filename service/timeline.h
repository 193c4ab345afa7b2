/*
 * timeline - what happened at one access, for a person or a program that asks
 *
 * Store thread only.  Reads, and changes nothing: the readings of the look-back
 * of the policy, what was decided, and what people did with the Tasks.
 */
#ifndef HEADGATE_SERVICE_TIMELINE_H
#define HEADGATE_SERVICE_TIMELINE_H

#include "adapters/buf.h"
#include "service/review.h"

/*
 * timeline_read
 *
 * name    as for explain_access()
 * json    one object a line (adapters/timeline.h); else text for a person
 * status  out: 200; 404 or 409: out then says what was found, as text
 *
 * ERR_LIMIT  more than a timeline holds
 */
MUST_CHECK enum err timeline_read(struct db *db, const struct review *review,
                                  const char *name, bool json, int *status,
                                  struct buf *out);

#endif

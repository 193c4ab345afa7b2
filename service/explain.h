/*
 * explain - one access, as it is now, for a person who asks
 *
 * Store thread only.  Evaluates, and changes nothing.
 */
#ifndef HEADGATE_SERVICE_EXPLAIN_H
#define HEADGATE_SERVICE_EXPLAIN_H

#include "adapters/buf.h"
#include "service/review.h"

/*
 * explain_access - whose access it is, what is open and what people closed,
 * then what holds for it, and what does not and why
 *
 * name    its label, an identifier (value, or "system|value"), or the id of its
 *         BodyStructure; or an identifier or id of a patient with one access
 * status  out: 200; 404, nothing is called so; 409, more than one is: out then
 *         says what was found
 */
MUST_CHECK enum err explain_access(struct db *db, const struct review *review,
                                   const char *name, int *status,
                                   struct buf *out);

/*
 * explain_find - the one access that is called so
 *
 * access  out: its number; only where status is 200
 * out     else says what was found
 */
MUST_CHECK enum err explain_find(struct db *db, const char *name, int *status,
                                 int64_t *access, struct buf *out);

#endif

/*
 * again - what was held because something was not known is looked at again
 *
 * Store thread only.  A reading whose access or side was unclear stays held
 * until more is known of its patient: an access comes or is described anew,
 * two names turn out to mean one person.  Then its Observation is read again
 * from the bytes that were stored.
 */
#ifndef HEADGATE_SERVICE_AGAIN_H
#define HEADGATE_SERVICE_AGAIN_H

#include "adapters/fhir_read.h"
#include "service/db.h"

/* Look again at what is held of a patient; a bounded number of Observations,
 * the oldest first. */
MUST_CHECK enum err again_patient(struct db *db,
                                  const struct fhir_reader *reader,
                                  int64_t patient);

/*
 * again_unjudged - an older version kept readings back without noting which
 * are signs of emergency: read those again, once
 *
 * What cannot be read any more stays as it is.
 */
MUST_CHECK enum err again_unjudged(struct db *db,
                                   const struct fhir_reader *reader);

/*
 * An Observation that is stored has been sent again, unchanged.  If some of
 * it is held, or nothing of it could be used, today's codes and accesses may
 * do better.
 *
 * better  out: more of it can be used than before
 */
MUST_CHECK enum err again_observation(struct db *db, struct fhir_item *item,
                                      int64_t patient, int64_t resource,
                                      int version, int64_t now_ms,
                                      bool *better);

#endif

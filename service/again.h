/*
 * again - what was held because something was not known is looked at again
 *
 * Store thread only.  A reading whose access or side was unclear stays held
 * until more is known of its patient: an access comes or is described anew,
 * two names turn out to mean one person.  One whose code or unit no map knew
 * waits for a person who maps it.  Then its Observation is read again from
 * the bytes that were stored, in the order in which they came.
 */
#ifndef HEADGATE_SERVICE_AGAIN_H
#define HEADGATE_SERVICE_AGAIN_H

#include "adapters/fhir_read.h"
#include "service/db.h"
#include "service/readings.h"

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

/* What looking again came to. */
struct again_count {
    unsigned looked;  /* Observations */
    unsigned settled; /* of them, more is used now */
    unsigned held;    /* of them, something is held now */
    unsigned lost;    /* of them, less is used now */
    unsigned unread;  /* could not be read again, and are used as before */
    int64_t example;  /* one of those; 0 none */
};

/*
 * again_resource - look at one Observation again, by its number
 *
 * fate    out: of its readings; may be NULL
 * count   out: added to
 * ERR_ABSENT   no such Observation
 */
MUST_CHECK enum err again_resource(struct db *db,
                                   const struct fhir_reader *reader,
                                   int64_t resource, struct readings_fate *fate,
                                   struct again_count *count);

/*
 * again_mapping - look again at what a person's mapping may settle, or at what
 * was read by one that was taken back; a bounded number of Observations.  How
 * far it has come is kept, so that a stop of the service loses nothing
 *
 * id     of the mapping; 0: the first that is not finished
 * count  out: added to
 * more   out: there is more to look at
 */
MUST_CHECK enum err again_mapping(struct db *db,
                                  const struct fhir_reader *reader, int64_t id,
                                  struct again_count *count, bool *more);

/*
 * again_text - look again at the Observations in which this text may stand, of
 * a bounded number of them
 *
 * Whoever reads by a code has it in what was sent; all stored bytes are looked
 * through, since nothing else says what a code was when it was known.
 *
 * after  in and out: the number after which to go on
 * end    out: there are no more
 */
MUST_CHECK enum err again_text(struct db *db, const struct fhir_reader *reader,
                               const char *text, int64_t *after,
                               struct again_count *count, bool *end);

/* The numbers of held Observations after this one, in the order of arrival, at
 * most `most`.  reason NULL: whatever it is. */
MUST_CHECK enum err again_list_held(struct db *db, const char *reason,
                                    int64_t after, int64_t *list, size_t most,
                                    size_t *count);

#endif

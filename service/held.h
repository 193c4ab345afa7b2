/*
 * held - readings that are kept back, and that no rule sees
 *
 * Store thread only.  A sign of emergency may be among them: nobody is sure
 * whose it is or what it means, and somebody may be bleeding.  So those stand
 * at the top of the queue, and are not only counted.
 */
#ifndef HEADGATE_SERVICE_HELD_H
#define HEADGATE_SERVICE_HELD_H

#include "adapters/buf.h"
#include "adapters/fhir_read.h"
#include "adapters/zone.h"
#include "service/db.h"

/* "Motor weakness": what was seen, for a person. */
const char *held_words(enum quantity quantity, enum sign sign);

/* What the reason of a hold means to the person who is to mend it.  Of both the
 * English text, a key of the catalogue; of the first that of wording_name. */
const char *held_reason_words(enum quantity quantity, const char *reason);

/* Keep a reading back; patient 0 if nobody is known.  live: it came at once,
 * and is of now whatever its time says. */
MUST_CHECK enum err held_add(struct db *db, int64_t patient,
                             const struct fhir_reading *fr,
                             const struct reading *r, enum hold hold, bool live,
                             int64_t now_ms);

/* How much of a patient is held. */
struct held_count {
    int64_t readings, emergencies;
};
MUST_CHECK enum err held_of_patient(struct db *db, int64_t patient,
                                    struct held_count *count);

/* What is held back, the oldest first: one line each with the reason. */
MUST_CHECK enum err held_read(struct db *db, const struct zone *zone,
                              struct buf *out);

#endif

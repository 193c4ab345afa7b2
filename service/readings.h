/*
 * readings - the history of accesses and patients, and what is held back
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_READINGS_H
#define HEADGATE_SERVICE_READINGS_H

#include "planner/history.h"
#include "service/accesses.h"

/* What became of the readings of an Observation. */
struct readings_fate {
    unsigned used, held, discarded;
    bool is_used[FHIR_READINGS_MAX];   /* of each */
    enum hold hold[FHIR_READINGS_MAX]; /* of each; of one that is used, or was
                                          discarded, HOLD_NONE */
};

/*
 * readings_replace - the readings of an Observation's newest version take the
 * place of those of the version before
 *
 * Finds out whose each reading is, keeps back what is unclear, notes it in
 * the item's outcome, and marks the accesses that have news.  What a person
 * has said of it (verdicts.h) is heeded.
 *
 * fate           out; may be NULL
 * strict_access  an unclear access is an error (status 422) in the outcome
 *                of item; the caller then undoes all
 */
MUST_CHECK enum err readings_replace(struct db *db, struct fhir_item *item,
                                     int64_t patient, int64_t resource,
                                     int version, bool strict_access,
                                     int64_t now_ms,
                                     struct readings_fate *fate);

/*
 * readings_duplicate - is this Observation, which has no identifier, equal in
 * access, quantity, method, time and value to one stored without identifier?
 *
 * resource  out: that one's number, 0 if there is none
 */
MUST_CHECK enum err readings_duplicate(struct db *db, struct fhir_item *item,
                                       int64_t patient, int64_t *resource);

/*
 * readings_load - the newest readings that rules look at, of an access (with
 * those merged into it) and its patient, of the look-back, oldest first
 *
 * What states a lasting fact of the access (a band, its dowel and its form, that
 * it was stretched or released, every other intervention) is loaded whatever
 * its age: from before the look-back the newest 32 of each kind, as far as they
 * count.  A band is in place until it is known to be gone.
 *
 * Of one kind of number at most POINT_READINGS_MAX within a session are loaded,
 * so that what a machine sends all the time leaves room; but those that an open
 * suggestion rests on are loaded all the same.  Coded readings (signs,
 * interventions) are never left out for numbers.  At least a quarter of the
 * room is the patient's.
 *
 * list   room for max
 * h      now_s set; out: readings, count, loaded_from_s
 */
MUST_CHECK enum err readings_load(struct db *db, const struct access *a,
                                  const struct policy *policy,
                                  struct reading *list, size_t max,
                                  struct history *h);

#endif

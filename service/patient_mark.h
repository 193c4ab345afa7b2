/*
 * patient_mark - by what a late copy of one who was removed is recognised
 *
 * Store thread only.  HMAC-SHA256 (RFC 2104) of each name of the patient, with
 * a random key of this store (meta: erasure_key).
 */
#ifndef HEADGATE_SERVICE_PATIENT_MARK_H
#define HEADGATE_SERVICE_PATIENT_MARK_H

#include "service/db.h"

/* Before the names go; erasure: number of the row of erased. */
MUST_CHECK enum err patient_mark(struct db *db, int64_t patient,
                                 int64_t erasure);

/* Visit each name of today that was one of them; erasure: of which.  marks: the
 * store that knows of the erasures, which may be another one. */
MUST_CHECK enum err patient_marked_each(
    struct db *marks, struct db *db,
    void (*visit)(void *arg, int64_t erasure, const char *alias), void *arg);

/*
 * Take what another store knows of erasures into this one, in one transaction:
 * the rows of erased, the hashes and the key that they were made with.
 *
 * carried       out: rows of erased that were not here yet
 * ERR_CONFLICT  each store has a key of its own: the hashes of the one mean
 *               nothing with the key of the other, and nothing was taken
 */
MUST_CHECK enum err patient_marks_carry(struct db *from, struct db *to,
                                        int64_t *carried);

#endif

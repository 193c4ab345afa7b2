/*
 * accesses_work - what the files of accesses share; private to them
 *
 *     accesses.c          what is known of each access, merging
 *     accesses_resolve.c  which access an Observation means
 */
#ifndef HEADGATE_SERVICE_ACCESSES_WORK_H
#define HEADGATE_SERVICE_ACCESSES_WORK_H

#include "service/accesses.h"

enum { CANDIDATES_MAX = 16 };

/* An active access of a patient. */
struct candidate {
    int64_t id;
    enum side side;
    char region[16];
    bool implied;
};

MUST_CHECK enum err access_candidates(struct db *db, int64_t patient,
                                      struct candidate list[CANDIDATES_MAX],
                                      size_t *count);

/* Do side and region not contradict it? */
bool access_agrees(const struct candidate *c, enum side side,
                   const char *region);

/* One is merged into the other, which must be of the same patient and not be
 * merged itself; whether they are one is the caller's to know. */
MUST_CHECK enum err access_merge(struct db *db, int64_t from, int64_t into);

/* The access of an alias, followed to what it was merged into. */
MUST_CHECK enum err access_by_alias(struct db *db, const char *alias,
                                    int64_t *access);

/* Make one known under this alias, type unknown. */
MUST_CHECK enum err access_add(struct db *db, int64_t patient,
                               const char *alias, enum side side,
                               const char *region, bool implied,
                               int64_t *access);

#endif

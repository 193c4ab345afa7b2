/*
 * readings_work - what the files of readings share; private to them
 *
 *     readings.c       whose each reading is, and what is held back
 *     readings_stand.c signs of emergency that earlier versions had
 *     readings_duplicate.c  one that is there already
 *     readings_note.c  what the sender is told about it
 *     readings_load.c  what rules look at
 *     readings_derived.c  what was calculated from another
 */
#ifndef HEADGATE_SERVICE_READINGS_WORK_H
#define HEADGATE_SERVICE_READINGS_WORK_H

#include "service/readings.h"

/* What is kept back and may be real: the sender can still reach for a phone. */
void readings_note_emergency(struct fhir_item *item,
                             const struct fhir_reading *r, enum hold hold,
                             bool strict);
void readings_note_access(struct fhir_item *item,
                          const struct access_answer *answer,
                          const struct fhir_reading *r, bool strict);
/* That a preliminary result confirms nothing is no answer to an emergency. */
void readings_note_preliminary(struct fhir_item *item, const struct reading *r);
/* The limits for low flow depend on whether it is a fistula or a graft. */
MUST_CHECK enum err readings_note_type(struct db *db, struct fhir_item *item,
                                       int64_t owner, const struct reading *r);
/* Has the outcome an issue of this word? */
bool readings_said(const struct outcome *o, const char *word);

/* What was calculated from this Observation goes with it. */
MUST_CHECK enum err readings_withdraw_derived(struct db *db, const char *fid,
                                              int64_t patient, int64_t now_ms);
MUST_CHECK enum err readings_note_sources(struct db *db,
                                          const struct fhir_observation *o,
                                          int64_t resource);

struct owner_cache {
    bool known[2]; /* by scope */
    enum side side[2];
    struct access_answer answer[2];
};

/* Whose reading is it?  Asked once per scope and side. */
MUST_CHECK enum err readings_find_owner(struct db *db, struct fhir_item *item,
                                        int64_t patient,
                                        const struct fhir_reading *r,
                                        struct owner_cache *cache,
                                        struct access_answer *answer);

#endif

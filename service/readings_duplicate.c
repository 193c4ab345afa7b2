/* The same Observation again, without an identifier by which to know it. */
#include "service/readings_work.h"

#include "service/reviewed.h"
#include "service/verdicts.h"

/* What is held is in no history: there the whole content is compared. */
static enum err held_duplicate(struct db *db, const struct fhir_item *item,
                               int64_t patient, int64_t *resource)
{
    enum err e = db_first(db, Q_HELD_EQUAL, "ib", patient,
                          (const void *)item->digest, sizeof(item->digest));

    *resource = e == ERR_OK ? db_int(db, Q_HELD_EQUAL, 0) : 0;
    db_done(db, Q_HELD_EQUAL);
    /* or a person has dealt with it */
    return e == ERR_ABSENT ? verdict_equal(db, item->digest, patient, resource)
                           : e;
}

enum err readings_duplicate(struct db *db, struct fhir_item *item,
                            int64_t patient, int64_t *resource)
{
    const enum query q = Q_READING_EQUAL;
    struct fhir_observation *o = &item->u.observation;
    struct owner_cache cache = { .known = { false, false } };

    *resource = 0;
    for (size_t i = 0; i < o->reading_count; i++) {
        const struct reading *r = &o->readings[i].reading;
        struct access_answer answer = { .access = 0 };
        int64_t owner = patient, found;
        enum err e = ERR_OK;

        if (quantity_info(r->quantity)->scope != SCOPE_PATIENT) {
            e = readings_find_owner(db, item, patient, &o->readings[i], &cache,
                                    &answer);
            owner = answer.access;
            if (answer.provisional) /* a second asking finds it known */
                readings_note_access(item, &answer, &o->readings[i], false);
        }
        if (e == ERR_OK && owner != 0 && o->readings[i].hold == HOLD_NONE)
            e = db_first(db, q, "iiiiiiiiiid", owner,
                         INT64(quantity_is_reviewed(r->quantity)), r->start_s,
                         INT64(r->quantity), r->end_s, INT64(r->method),
                         INT64(r->sign), INT64(r->present), INT64(r->side),
                         INT64(r->bound), r->value);
        else if (e == ERR_OK)
            e = ERR_ABSENT;
        found = e == ERR_OK ? db_int(db, q, 0) : 0;
        db_done(db, q);
        if (e != ERR_OK || (*resource != 0 && *resource != found)) {
            /* at least one reading is in no history as it is */
            return e == ERR_OK || e == ERR_ABSENT
                       ? held_duplicate(db, item, patient, resource)
                       : e;
        }
        *resource = found;
    }
    return ERR_OK;
}

#include "service/again.h"

#include "service/intake_refs.h"
#include "service/readings.h"

#include <stdlib.h>

enum { AGAIN_MAX = 500 };

struct held_one {
    int64_t resource, since_ms;
};

/* How much of an Observation is used, and how much held. */
static enum err placed(struct db *db, int64_t resource, int64_t *used,
                       int64_t *held)
{
    const enum query q = Q_READING_PLACED;
    enum err e = db_first(db, q, "i", resource);

    if (e != ERR_OK)
        return e;
    *used = db_int(db, q, 0);
    *held = db_int(db, q, 1);
    db_done(db, q);
    return ERR_OK;
}

/* Names that only its own Bundle could explain cannot be read alone. */
static bool has_local_name(const struct fhir_observation *o)
{
    for (size_t i = 0; i < o->name_count; i++) {
        if (ref_is_local(o->names[i].ref.literal))
            return true;
    }
    return false;
}

static bool is_usable(const struct fhir_item *item)
{
    return item->type == FHIR_OBSERVATION &&
           (!outcome_refuses(&item->outcome) || item->only_held) &&
           !has_local_name(&item->u.observation);
}

static enum err place(struct db *db, struct fhir_item *item, int64_t patient,
                      const struct resource *row, int64_t since_ms)
{
    const struct fhir_ref *subject = &item->u.observation.subject;
    bool united;
    enum err e = ERR_OK;

    if (!ref_is_local(subject->literal))
        e = patient_of_ref(db, subject, &patient, &united);
    if (e == ERR_CONFLICT || e == ERR_FORM)
        return ERR_OK; /* a person decides whose it is */
    /* it has been held since then, should it stay so */
    return e == ERR_OK ? readings_replace(db, item, patient, row->id,
                                          row->version, false, since_ms)
                       : e;
}

static enum err look(struct db *db, const struct fhir_reader *reader,
                     int64_t patient, const struct held_one *one)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;
    struct resource row;
    struct buf body;
    int64_t updated_ms;
    enum err e = resource_get(db, one->resource, &row);

    buf_init(&body, BODY_MAX);
    outcome_init(&outcome);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &body, &updated_ms);
    if (e != ERR_OK)
        goto done;
    e = fhir_read(reader, body.data, body.len, &outcome, &doc);
    if (e == ERR_OK && is_usable(fhir_doc_item(doc, 0)))
        e = place(db, fhir_doc_item(doc, 0), patient, &row, one->since_ms);
    else if (e == ERR_FORM || e == ERR_LIMIT)
        e = ERR_OK; /* taken under other rules: it stays as it is */
done:
    if (doc != NULL)
        fhir_doc_free(doc);
    buf_clear(&body);
    return e;
}

enum err again_patient(struct db *db, const struct fhir_reader *reader,
                       int64_t patient)
{
    const enum query q = Q_HELD_UNCLEAR;
    struct held_one *list;
    size_t count = 0;
    enum err e = db_first(db, q, "ii", patient, INT64(AGAIN_MAX));

    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    list = calloc(AGAIN_MAX, sizeof(*list));
    if (list == NULL) {
        db_done(db, q);
        return ERR_MEMORY;
    }
    while (e == ERR_OK) {
        if (count < AGAIN_MAX)
            list[count++] = (struct held_one){ .resource = db_int(db, q, 0),
                                               .since_ms = db_int(db, q, 1) };
        e = db_next(db, q);
    }
    e = e == ERR_ABSENT ? ERR_OK : e;
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = look(db, reader, patient, &list[i]);
    free(list);
    return e;
}

enum err again_unjudged(struct db *db, const struct fhir_reader *reader)
{
    enum { AT_ONCE = 64 };
    const enum query q = Q_HELD_UNJUDGED;
    struct held_one list[AT_ONCE];
    int64_t patients[AT_ONCE], last = 0;
    size_t count = AT_ONCE;
    enum err e = ERR_OK;

    while (e == ERR_OK && count == AT_ONCE) {
        count = 0;
        e = db_query(db, q, "ii", last, INT64(AT_ONCE));
        while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
            last = db_int(db, q, 0);
            patients[count] = db_int(db, q, 1);
            list[count++] = (struct held_one){ .resource = last,
                                               .since_ms = db_int(db, q, 2) };
        }
        e = e == ERR_ABSENT ? ERR_OK : e;
        for (size_t i = 0; e == ERR_OK && i < count; i++)
            e = look(db, reader, patients[i], &list[i]);
    }
    return e;
}

enum err again_observation(struct db *db, struct fhir_item *item,
                           int64_t patient, int64_t resource, int version,
                           int64_t now_ms, bool *better)
{
    int64_t used, held, after = 0;
    enum err e = placed(db, resource, &used, &held);

    *better = false;
    if (e != ERR_OK || (used > 0 && held == 0) ||
        item->u.observation.reading_count == 0 ||
        item->u.observation.reading_status == READING_WITHDRAWN)
        return e;
    e = readings_replace(db, item, patient, resource, version, false, now_ms);
    if (e == ERR_OK)
        e = placed(db, resource, &after, &held);
    *better = e == ERR_OK && after > used;
    return e;
}

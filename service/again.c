#include "service/again.h"

#include "service/again_local.h"
#include "service/intake_refs.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { AGAIN_MAX = 500, AGAIN_MAPPING = 100, AGAIN_TEXT_SIZE = 1024 };

struct held_one {
    int64_t resource, since_ms;
    bool read; /* out: it could be, and its readings were placed anew */
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

static bool is_usable(const struct fhir_item *item)
{
    return item->type == FHIR_OBSERVATION &&
           (!outcome_refuses(&item->outcome) || item->only_held);
}

/* Nobody uses what may be of two people, unless somebody has said whose. */
static void hold_all(struct fhir_observation *o)
{
    for (size_t i = 0; i < o->reading_count; i++) {
        if (o->readings[i].hold == HOLD_NONE)
            o->readings[i].hold = HOLD_ACCESS;
    }
}

/* patient: whose it was when it came; 0 not known.  An address of our own in
 * a reference is known only while its request lasts. */
static enum err place(struct db *db, struct fhir_item *item, int64_t patient,
                      const struct resource *row, struct held_one *one,
                      struct readings_fate *fate)
{
    struct fhir_observation *o = &item->u.observation;
    const char *literal = o->subject.literal;
    bool lost = ref_is_local(literal) ||
                (literal != NULL && strstr(literal, "://") != NULL);
    int64_t now_of = patient;
    bool united;
    enum err e = ERR_OK;

    if (lost && patient == 0)
        return ERR_OK; /* nobody is known */
    if (!lost)
        e = patient_of_ref(db, &o->subject, &now_of, &united);
    if (e == ERR_CONFLICT && patient != 0) {
        hold_all(o);
        now_of = patient;
        e = ERR_OK;
    }
    if (e == ERR_CONFLICT || e == ERR_FORM)
        return ERR_OK; /* a person decides whose it is */
    /* it has been held since then, should it stay so */
    if (e == ERR_OK)
        e = readings_replace(db, item, now_of, row->id, row->version, false,
                             one->since_ms, fate);
    one->read = e == ERR_OK;
    return e;
}

/* ERR_ABSENT: it cannot be read any more, and stays as it is. */
static enum err look_at(struct db *db, const struct fhir_reader *reader,
                        const struct resource *row, struct fhir_item *item,
                        int64_t patient, struct held_one *one,
                        struct readings_fate *fate)
{
    struct again_names names;
    bool known = false;
    enum err e = is_usable(item) ? ERR_OK : ERR_ABSENT;

    if (e == ERR_OK)
        e = again_resolve(db, reader, row, item, &names, &known);
    if (e == ERR_OK && !known)
        e = ERR_ABSENT;
    return e == ERR_OK ? place(db, item, patient, row, one, fate) : e;
}

static enum err look(struct db *db, const struct fhir_reader *reader,
                     int64_t patient, struct held_one *one,
                     struct readings_fate *fate)
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
    if (e == ERR_OK)
        e = look_at(db, reader, &row, fhir_doc_item(doc, 0), patient, one,
                    fate);
    if (e == ERR_FORM || e == ERR_LIMIT || e == ERR_ABSENT)
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
        e = look(db, reader, patient, &list[i], NULL);
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
            e = look(db, reader, patients[i], &list[i], NULL);
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
    e = readings_replace(db, item, patient, resource, version, false, now_ms,
                         NULL);
    if (e == ERR_OK)
        e = placed(db, resource, &after, &held);
    *better = e == ERR_OK && after > used;
    return e;
}

/* ---- one of them, and what a mapping settles ------------------------------ */

static enum err patient_held(struct db *db, int64_t resource,
                             struct held_one *one, int64_t *patient)
{
    const enum query q = Q_HELD_OF_RESOURCE;
    enum err e = db_first(db, q, "i", resource);

    *one = (struct held_one){ .resource = resource };
    *patient = 0;
    if (e == ERR_OK) {
        *patient = db_int(db, q, 0);
        one->since_ms = db_int(db, q, 1);
    }
    db_done(db, q);
    return e;
}

enum err again_resource(struct db *db, const struct fhir_reader *reader,
                        int64_t resource, struct readings_fate *fate,
                        struct again_count *count)
{
    struct readings_fate unasked = { .used = 0 };
    struct held_one one;
    int64_t patient, before = 0, after = 0, held = 0, held_before;
    enum err e = patient_held(db, resource, &one, &patient);

    fate = fate != NULL ? fate : &unasked;
    *fate = unasked;
    if (e == ERR_OK)
        e = placed(db, resource, &before, &held);
    if (e == ERR_OK && one.since_ms == 0)
        one.since_ms = reader->now_s * 1000; /* nothing of it is held yet */
    if (e == ERR_OK)
        e = look(db, reader, patient, &one, fate);
    held_before = held;
    if (e == ERR_OK)
        e = placed(db, resource, &after, &held);
    if (e != ERR_OK)
        return e;
    count->looked++;
    /* what takes the place of a sign that stood makes no more readings */
    count->settled +=
        after > before || (after == before && held < held_before) ? 1 : 0;
    count->held += held > 0 ? 1 : 0;
    count->lost += after < before ? 1 : 0;
    if (!one.read && before > 0) {
        count->unread++;
        count->example = count->example != 0 ? count->example : resource;
    }
    return ERR_OK;
}

static enum err list_numbers(struct db *db, enum query q, int64_t *list,
                             size_t most, size_t *count, enum err e)
{
    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (*count < most)
            list[(*count)++] = db_int(db, q, 0);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err again_list_held(struct db *db, const char *reason, int64_t after,
                         int64_t *list, size_t most, size_t *count)
{
    const enum query q = Q_HELD_NUMBERS;

    return list_numbers(db, q, list, most, count,
                        db_query(db, q, "isi", after, reason, INT64(most)));
}

/* A person's mapping, and how far its sweep has come. */
struct mapping {
    int64_t id, looked;
    bool unit; /* it gives one to values without */
    bool gone; /* it was taken back */
    char system[AGAIN_TEXT_SIZE], code[AGAIN_TEXT_SIZE];
};

static enum err get_mapping(struct db *db, int64_t id, struct mapping *m)
{
    const enum query q = Q_MAPPING_SWEEP;
    enum err e = db_first(db, q, "i", id);

    if (e != ERR_OK)
        return e;
    m->id = db_int(db, q, 0);
    m->looked = db_int(db, q, 1);
    m->unit = db_int(db, q, 4) != 0;
    m->gone = db_int(db, q, 5) != 0;
    snprintf(m->system, sizeof(m->system), "%s", db_text(db, q, 2));
    snprintf(m->code, sizeof(m->code), "%s", db_text(db, q, 3));
    db_done(db, q);
    return ERR_OK;
}

/* What it may settle, after what has been looked at. */
static enum err list_for(struct db *db, const struct mapping *m, int64_t *list,
                         size_t *n)
{
    const enum query q = Q_AGAIN_CODE;
    bool of_unit = codes_is_unit(m->system);

    if (of_unit || strcmp(m->system, CODES_TEXT) == 0)
        return again_list_held(db, of_unit ? "unit" : NULL, m->looked, list,
                               AGAIN_MAPPING, n);
    return list_numbers(db, q, list, AGAIN_MAPPING, n,
                        db_query(db, q, "issii", m->looked, m->system, m->code,
                                 INT64(AGAIN_MAPPING), INT64(m->unit)));
}

static enum err look_at_all(struct db *db, const struct fhir_reader *reader,
                            struct mapping *m, struct again_count *count,
                            bool *end)
{
    int64_t list[AGAIN_MAPPING];
    size_t n = 0;
    enum err e = list_for(db, m, list, &n);

    for (size_t i = 0; e == ERR_OK && i < n; i++) {
        m->looked = list[i];
        e = again_resource(db, reader, list[i], NULL, count);
        e = e == ERR_ABSENT ? ERR_OK : e;
    }
    *end = n < AGAIN_MAPPING;
    return e;
}

enum err again_mapping(struct db *db, const struct fhir_reader *reader,
                       int64_t id, struct again_count *count, bool *more)
{
    struct mapping m;
    bool end = true;
    const unsigned lost = count->lost;
    enum err e = get_mapping(db, id, &m);

    *more = false;
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    e = m.gone ? again_text(db, reader, m.code, &m.looked, count, &end)
               : look_at_all(db, reader, &m, count, &end);
    if (e == ERR_OK && m.gone)
        e = db_run(db, Q_DEED_LOST, "ii", m.id, INT64(count->lost - lost));
    if (e == ERR_OK)
        e = db_run(db, Q_MAPPING_LOOKED, "ii", m.id,
                   end ? INT64(-1) : m.looked);
    *more = e == ERR_OK && (!end || id == 0);
    return e;
}

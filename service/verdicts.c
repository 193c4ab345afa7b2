#include "service/verdicts.h"

#include "service/resources.h"

#include <math.h>

enum err verdicts_of(struct db *db, int64_t resource, struct verdicts *out)
{
    const enum query q = Q_VERDICT_OF;
    enum err e = db_query(db, q, "i", resource);

    out->count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (out->count == COUNT(out->list))
            continue;
        out->list[out->count++] =
            (struct person_verdict){ .slot = (int)db_int(db, q, 0),
                                     .version = (int)db_int(db, q, 1),
                                     .acts = (unsigned)db_int(db, q, 2),
                                     .access = db_int(db, q, 3),
                                     .side = (enum side)db_int(db, q, 4),
                                     .patient = db_int(db, q, 5),
                                     .code = db_int(db, q, 6) };
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

const struct person_verdict *verdict_on(const struct verdicts *all,
                                        const struct fhir_reading *reading)
{
    for (size_t i = 0; i < all->count; i++) {
        if (all->list[i].slot == reading->reading.slot)
            return &all->list[i];
    }
    return NULL;
}

/* ---- where its component is now ------------------------------------------- */

enum { SLOT_GONE = -1000, SLOT_MOVING = -2000 };

static int64_t hashed(int64_t hash, const char *text)
{
    const uint64_t prime = UINT64_C(1099511628211);
    uint64_t h = (uint64_t)hash;

    for (; *text != '\0'; text++)
        h = (h ^ (unsigned char)*text) * prime;
    return (int64_t)(h * prime); /* a NUL ends each text */
}

int64_t verdict_code(const char *system, const char *code)
{
    const uint64_t basis = UINT64_C(14695981039346656037);
    int64_t hash;

    if (code == NULL || code[0] == '\0')
        return 0;
    hash = hashed((int64_t)basis, system != NULL ? system : "");
    hash = hashed(hash, code);
    return hash != 0 ? hash : 1;
}

/* The only component with this code; SLOT_GONE: none, or several. */
static int slot_of(const struct fhir_observation *o, int64_t code)
{
    int slot = SLOT_GONE;

    for (size_t i = 0; i < o->reading_count; i++) {
        const struct fhir_reading *r = &o->readings[i];

        if (r->reading.slot == 0 || r->reading.slot == slot ||
            verdict_code(r->system, r->code) != code)
            continue;
        if (slot != SLOT_GONE)
            return SLOT_GONE;
        slot = r->reading.slot;
    }
    return slot;
}

static bool follows(const struct person_verdict *v, int version)
{
    return v->slot != 0 && v->code != 0 && v->version != version;
}

/* Is this place that of another word, or may it be? */
static bool is_taken(const struct verdicts *all, size_t i, int version,
                     int slot)
{
    for (size_t k = 0; k < all->count; k++) {
        const struct person_verdict *v = &all->list[k];

        if (k != i && (follows(v, version) ? v->code == all->list[i].code
                                           : v->slot == slot))
            return true;
    }
    return false;
}

static enum err move(struct db *db, int64_t resource, int from, int to)
{
    return db_run(db, Q_VERDICT_FOLLOW, "iii", resource, INT64(from),
                  INT64(to));
}

enum err verdicts_follow(struct db *db, int64_t resource, int version,
                         const struct fhir_observation *o, struct verdicts *all)
{
    int to[FHIR_READINGS_MAX];
    enum err e = ERR_OK;

    for (size_t i = 0; i < all->count; i++) {
        const struct person_verdict *v = &all->list[i];

        to[i] = follows(v, version) ? slot_of(o, v->code) : v->slot;
        if (follows(v, version) &&
            (to[i] == SLOT_GONE || is_taken(all, i, version, to[i])))
            to[i] = SLOT_GONE - (int)i;
    }
    /* two may change places: first out of the way */
    for (size_t i = 0; e == ERR_OK && i < all->count; i++) {
        if (to[i] != all->list[i].slot)
            e = move(db, resource, all->list[i].slot, SLOT_MOVING - (int)i);
    }
    for (size_t i = 0; e == ERR_OK && i < all->count; i++) {
        if (to[i] != all->list[i].slot)
            e = move(db, resource, SLOT_MOVING - (int)i, to[i]);
        all->list[i].slot = to[i];
    }
    return e;
}

/* ---- what it settles ------------------------------------------------------- */

static bool says(const struct person_verdict *v, enum verdict_act act,
                 int version)
{
    return v != NULL && (v->acts & (unsigned)act) != 0 && v->version == version;
}

bool verdict_discards(const struct person_verdict *v, int version)
{
    return says(v, VERDICT_DISCARD, version);
}

/* A reading notes its first hold only: what else there is to hold it for. */
static enum hold other_hold(const struct fhir_reading *fr, bool future,
                            bool as_sent)
{
    const struct reading *r = &fr->reading;
    enum plausible judged;

    if (fr->unread)
        return HOLD_VALUE;
    if (future)
        return HOLD_TIME;
    if (quantity_info(r->quantity)->kind != VALUE_NUMBER)
        return HOLD_NONE;
    if (isnan(r->value))
        return HOLD_UNIT;
    judged = quantity_judge(r->quantity, r->value);
    return as_sent || judged == PLAUSIBLE || judged == PLAUSIBLE_UNUSUAL
               ? HOLD_NONE
               : HOLD_IMPLAUSIBLE;
}

void verdict_apply(const struct person_verdict *v, int version, bool future,
                   struct fhir_reading *fr)
{
    bool as_sent = says(v, VERDICT_AS_SENT, version), settled;

    if (v == NULL)
        return;
    if (v->side != SIDE_UNKNOWN && v->version != version &&
        fr->reading.side != SIDE_UNKNOWN && fr->reading.side != v->side) {
        /* the sender says otherwise since: a person has to look again */
        if (fr->hold == HOLD_NONE)
            fr->hold = HOLD_SIDE;
        return;
    }
    if (v->side != SIDE_UNKNOWN)
        fr->reading.side = v->side;
    settled =
        (fr->hold == HOLD_IMPLAUSIBLE && as_sent) ||
        (fr->hold == HOLD_OTHERWISE && as_sent) ||
        (fr->hold == HOLD_TIME && as_sent && !future) ||
        (fr->hold == HOLD_ACCESS && v->access != 0) ||
        (fr->hold == HOLD_SIDE && (v->access != 0 || v->side != SIDE_UNKNOWN));
    if (settled)
        fr->hold = other_hold(fr, future, as_sent);
}

static enum err content_of(struct db *db, int64_t resource, int version,
                           unsigned char digest[32])
{
    const enum query q = Q_VERSION_DIGEST;
    const unsigned char *bytes;
    size_t len = 0;
    enum err e = db_first(db, q, "ii", resource, INT64(version));

    if (e != ERR_OK)
        return e;
    bytes = db_blob(db, q, 0, &len);
    for (size_t i = 0; i < 32; i++)
        digest[i] = i < len ? bytes[i] : 0;
    db_done(db, q);
    return ERR_OK;
}

enum err verdict_put(struct db *db, const struct verdict_said *said)
{
    const struct person_verdict *v = &said->verdict;
    unsigned char digest[32];
    enum err e = content_of(db, said->resource, v->version, digest);

    if (e != ERR_OK)
        return e;
    return db_run(db, Q_VERDICT_PUT, "iiiiiiiisssbii", said->resource,
                  INT64(v->slot), partition_of(said->resource), said->now_ms,
                  INT64(v->version), INT64(v->acts), v->access, INT64(v->side),
                  said->reason, said->who, said->why, (const void *)digest,
                  sizeof(digest), v->patient, v->code);
}

enum err verdict_lift(struct db *db, int64_t resource)
{
    enum err e =
        db_run(db, Q_VERDICT_LIFT, "ii", resource, INT64(VERDICT_DISCARD));

    return e == ERR_OK && db_changes(db) == 0 ? ERR_ABSENT : e;
}

enum err verdict_equal(struct db *db, const unsigned char digest[32],
                       int64_t patient, int64_t *resource)
{
    const enum query q = Q_VERDICT_EQUAL;
    enum err e;

    *resource = 0;
    if (patient == 0)
        return ERR_OK; /* whose it is cannot be told */
    e = db_first(db, q, "bi", (const void *)digest, (size_t)32, patient);
    *resource = e == ERR_OK ? db_int(db, q, 0) : 0;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

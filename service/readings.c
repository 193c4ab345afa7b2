#include "service/readings.h"

#include "service/held.h"
#include "service/news.h"
#include "service/resources.h"
#include "service/reviewed.h"

#include <stdio.h>
#include <string.h>

enum { OWNERS_MAX = 16 };

/* Those who lose a reading must be looked at again. */
static enum err remove_old(struct db *db, int64_t patient, int64_t resource,
                           int64_t now_ms)
{
    int64_t owners[OWNERS_MAX];
    size_t count = 0;
    enum err e = db_query(db, Q_READING_OWNERS, "i", resource);

    while (e == ERR_OK && (e = db_next(db, Q_READING_OWNERS)) == ERR_OK) {
        if (count < OWNERS_MAX)
            owners[count++] = db_int(db, Q_READING_OWNERS, 0);
    }
    if (e == ERR_ABSENT)
        e = db_run(db, Q_READING_REMOVE, "i", resource);
    if (e == ERR_OK)
        e = db_run(db, Q_HELD_REMOVE, "i", resource);
    if (e == ERR_OK)
        e = db_run(db, Q_DERIVED_REMOVE, "i", resource);
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = news_mark_owner(db, owners[i], patient, now_ms);
    return e;
}

/* What is kept back and may be real: the sender can still reach for a phone. */
static void note_emergency(struct fhir_item *item, const struct fhir_reading *r,
                           enum hold hold, bool strict)
{
    const struct reading *of = &r->reading;
    bool unclear = hold == HOLD_ACCESS;

    outcome_add(&item->outcome, strict && unclear ? SEV_ERROR : SEV_WARNING,
                unclear             ? "access-ambiguous"
                : hold == HOLD_SIDE ? "access-side"
                                    : "held",
                "Observation",
                "%s is a sign of emergency, and %s: %s: phone now if this is "
                "real",
                held_words(of->quantity, of->sign),
                unclear             ? "which access it belongs to is not clear"
                : hold == HOLD_SIDE ? "its side does not fit the access: "
                                      "examine the hand"
                                    : "it cannot be used as it was sent",
                strict && unclear ? "refused" : "kept, not used");
}

static void note_side(struct fhir_item *item, const struct fhir_reading *r)
{
    const struct quantity_info *info = quantity_info(r->reading.quantity);

    if (info->scope == SCOPE_ARM && info->kind == VALUE_CODE)
        outcome_add(&item->outcome, SEV_WARNING, "access-side",
                    "Observation.bodySite",
                    "The side of %s does not fit the access: examine the hand; "
                    "phone if it is weak, numb or cold (kept, not used)",
                    info->code);
    else
        outcome_add(&item->outcome, SEV_WARNING, "access-side",
                    "Observation.focus",
                    "The side of %s does not agree with its access, or is "
                    "needed and not said: kept, not used",
                    info->code);
}

static void note_access(struct fhir_item *item,
                        const struct access_answer *answer,
                        const struct fhir_reading *r, bool strict)
{
    struct outcome *o = &item->outcome;
    const char *place = "Observation.focus";
    const char *what = quantity_info(r->reading.quantity)->code;

    if (answer->provisional)
        outcome_add(o, SEV_WARNING, "access-provisional", place,
                    "The access named has not come yet; it is known under "
                    "that name, type unknown, until its BodyStructure comes");
    else if (answer->hold == HOLD_SIDE)
        note_side(item, r);
    else if (answer->hold == HOLD_ACCESS)
        outcome_add(
            o, strict ? SEV_ERROR : SEV_WARNING, "access-ambiguous", place,
            "Which access %s belongs to is not clear: kept, not used", what);
    else if (answer->other_arm)
        outcome_add(o, SEV_INFORMATION, "access-side", place,
                    "%s is of the arm without an access: kept, not used", what);
    else if (answer->assumed)
        outcome_add(o, SEV_WARNING, "access-assumed", place,
                    "The access was taken from what is known of the patient; "
                    "the Observation names none");
}

static bool said_before(const struct outcome *o, const char *word)
{
    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, word) == 0)
            return true;
    }
    return false;
}

/* The limits for low flow depend on whether it is a fistula or a graft. */
static enum err note_type(struct db *db, struct fhir_item *item, int64_t owner,
                          const struct reading *r)
{
    struct access a;
    enum err e;

    if (r->quantity != Q_ACCESS_FLOW ||
        said_before(&item->outcome, "type-unknown"))
        return ERR_OK;
    e = access_get(db, owner, &a);
    if (e == ERR_OK && a.merged != 0)
        e = access_get(db, a.merged, &a);
    if (e == ERR_OK && a.type == SIGN_TYPE_UNKNOWN)
        outcome_add(&item->outcome, SEV_WARNING, "type-unknown", "Observation",
                    "The type of this access is not known: of the limits that "
                    "depend on it only those that all types share are applied");
    return e;
}

struct owner_cache {
    bool known[2]; /* by scope */
    enum side side[2];
    struct access_answer answer[2];
};

/* Whose reading is it?  Asked once per scope and side. */
static enum err find_owner(struct db *db, struct fhir_item *item,
                           int64_t patient, const struct fhir_reading *r,
                           struct owner_cache *cache,
                           struct access_answer *answer)
{
    const struct fhir_observation *o = &item->u.observation;
    const struct quantity_info *info = quantity_info(r->reading.quantity);
    struct access_question q = { .patient = patient,
                                 .observation = o,
                                 .scope = info->scope,
                                 .side = r->reading.side != SIDE_UNKNOWN
                                             ? r->reading.side
                                             : o->site.side,
                                 .region = r->region != NULL ? r->region : "",
                                 .is_sign = info->kind == VALUE_CODE };
    int slot = info->scope == SCOPE_ARM ? 1 : 0;
    enum err e;

    if (cache->known[slot] && cache->side[slot] == q.side) {
        *answer = cache->answer[slot];
        answer->provisional = false;
        return ERR_OK;
    }
    e = access_resolve(db, &q, answer);
    cache->known[slot] = e == ERR_OK;
    cache->side[slot] = q.side;
    cache->answer[slot] = *answer;
    return e;
}

static enum err add_reading(struct db *db, const struct reading *r,
                            int64_t owner, int64_t part, int how)
{
    return db_run(db, Q_READING_ADD, "iiiiiiiiiiidiiiiii", owner,
                  INT64(quantity_is_reviewed(r->quantity)), r->start_s,
                  INT64(r->quantity), r->id, INT64(r->slot), part,
                  INT64(r->version), INT64(r->status), r->end_s,
                  INT64(r->precision), r->value, INT64(r->bound),
                  INT64(r->sign), INT64(r->present), INT64(r->method),
                  INT64(r->side), INT64(how));
}

static enum err hold_reading(struct db *db, struct fhir_item *item,
                             int64_t patient, const struct fhir_reading *fr,
                             const struct reading *r, enum hold hold,
                             bool strict, int64_t now_ms)
{
    if (reading_is_emergency(r))
        note_emergency(item, fr, hold, strict);
    return held_add(db, patient, fr, r, hold, now_ms);
}

/* That a preliminary result confirms nothing is no answer to an emergency. */
static void note_preliminary(struct fhir_item *item, const struct reading *r)
{
    struct outcome *o = &item->outcome;

    if (r->status != READING_PRELIMINARY || !reading_is_emergency(r))
        return;
    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, "preliminary") == 0)
            snprintf(o->issues[i].text, sizeof(o->issues[i].text),
                     "Preliminary: a sign of emergency is reviewed at once all "
                     "the same");
    }
}

static enum err place_reading(struct db *db, struct fhir_item *item,
                              int64_t patient, const struct fhir_reading *fr,
                              struct reading *r, struct owner_cache *cache,
                              bool strict, int64_t now_ms)
{
    struct access_answer answer = { .hold = fr->hold };
    int64_t owner = patient;
    enum err e;

    if (fr->hold != HOLD_NONE)
        return hold_reading(db, item, patient, fr, r, fr->hold, strict, now_ms);
    if (quantity_info(r->quantity)->scope != SCOPE_PATIENT) {
        e = find_owner(db, item, patient, fr, cache, &answer);
        if (e != ERR_OK)
            return e;
        if (!(answer.hold != HOLD_NONE && reading_is_emergency(r)) &&
            !said_before(&item->outcome, "access-ambiguous") &&
            !said_before(&item->outcome, "access-assumed"))
            note_access(item, &answer, fr, strict);
        if (answer.hold != HOLD_NONE)
            return hold_reading(db, item, patient, fr, r, answer.hold, strict,
                                now_ms);
        if (!answer.other_arm)
            owner = answer.access;
    }
    /* a finger of the other arm is the patient's, and no rule looks at it */
    e = answer.other_arm
            ? ERR_OK
            : add_reading(db, r, owner, partition_of(owner), (int)answer.how);
    note_preliminary(item, r);
    if (e == ERR_OK && !answer.other_arm)
        e = note_type(db, item, owner, r);
    if (e == ERR_OK && !answer.other_arm && quantity_is_reviewed(r->quantity))
        e = news_mark_owner(db, owner, patient, now_ms);
    return e;
}

/* What was calculated from this Observation goes with it. */
static enum err withdraw_derived(struct db *db, const char *fid,
                                 int64_t patient, int64_t now_ms)
{
    char literal[FID_SIZE + 16];
    int64_t resources[OWNERS_MAX], owners[OWNERS_MAX];
    size_t count = 0, owner_count;
    enum err e;

    snprintf(literal, sizeof(literal), "Observation/%s", fid);
    e = db_query(db, Q_DERIVED_LIST, "s", literal);
    while (e == ERR_OK && (e = db_next(db, Q_DERIVED_LIST)) == ERR_OK) {
        if (count < OWNERS_MAX)
            resources[count++] = db_int(db, Q_DERIVED_LIST, 0);
    }
    if (e != ERR_ABSENT)
        return e;
    e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        owner_count = 0;
        e = db_query(db, Q_READING_OWNERS, "i", resources[i]);
        while (e == ERR_OK && (e = db_next(db, Q_READING_OWNERS)) == ERR_OK) {
            if (owner_count < OWNERS_MAX)
                owners[owner_count++] = db_int(db, Q_READING_OWNERS, 0);
        }
        e = e == ERR_ABSENT ? db_run(db, Q_READING_WITHDRAW, "ii", resources[i],
                                     INT64(READING_WITHDRAWN))
                            : e;
        for (size_t k = 0; e == ERR_OK && k < owner_count; k++)
            e = news_mark_owner(db, owners[k], patient, now_ms);
    }
    return e;
}

/* Was the Observation of this literal reference withdrawn before? */
static enum err is_withdrawn(struct db *db, const char *literal, bool *gone)
{
    static const char type[] = "Observation/";
    struct resource row = { .id = 0 };
    enum err e = ERR_ABSENT;

    if (strncmp(literal, type, strlen(type)) == 0)
        e = resource_by_fid(db, FHIR_OBSERVATION, literal + strlen(type), &row);
    *gone = e == ERR_OK && row.status == READING_WITHDRAWN;
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err note_sources(struct db *db, const struct fhir_observation *o,
                             int64_t resource)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < o->derived_count; i++) {
        bool gone = false;

        e = db_run(db, Q_DERIVED_ADD, "si", o->derived_from[i], resource);
        if (e == ERR_OK)
            e = is_withdrawn(db, o->derived_from[i], &gone);
        if (e == ERR_OK && gone)
            e = db_run(db, Q_READING_WITHDRAW, "ii", resource,
                       INT64(READING_WITHDRAWN));
    }
    return e;
}

enum err readings_replace(struct db *db, struct fhir_item *item,
                          int64_t patient, int64_t resource, int version,
                          bool strict_access, int64_t now_ms)
{
    struct fhir_observation *o = &item->u.observation;
    struct owner_cache cache = { .known = { false, false } };
    struct resource row;
    enum err e = remove_old(db, patient, resource, now_ms);

    if (e == ERR_OK && o->reading_status == READING_WITHDRAWN) {
        e = resource_get(db, resource, &row);
        return e == ERR_OK ? withdraw_derived(db, row.fid, patient, now_ms) : e;
    }
    for (size_t i = 0; e == ERR_OK && i < o->reading_count; i++) {
        struct reading r = o->readings[i].reading;

        r.id = resource;
        r.version = version;
        e = place_reading(db, item, patient, &o->readings[i], &r, &cache,
                          strict_access, now_ms);
    }
    return e == ERR_OK ? note_sources(db, o, resource) : e;
}

/* What is held is in no history: there the whole content is compared. */
static enum err held_duplicate(struct db *db, const struct fhir_item *item,
                               int64_t patient, int64_t *resource)
{
    enum err e = db_first(db, Q_HELD_EQUAL, "ib", patient,
                          (const void *)item->digest, sizeof(item->digest));

    *resource = e == ERR_OK ? db_int(db, Q_HELD_EQUAL, 0) : 0;
    db_done(db, Q_HELD_EQUAL);
    return e == ERR_ABSENT ? ERR_OK : e;
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
            e = find_owner(db, item, patient, &o->readings[i], &cache, &answer);
            owner = answer.access;
            if (answer.provisional) /* a second asking finds it known */
                note_access(item, &answer, &o->readings[i], false);
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

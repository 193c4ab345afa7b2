#include "service/readings_work.h"

#include "service/deceased.h"
#include "service/held.h"
#include "service/news.h"
#include "service/readings_stand.h"
#include "service/resources.h"
#include "service/reviewed.h"
#include "service/verdicts.h"

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
    if (e == ERR_OK)
        e = db_run(db, Q_UNMAPPED_REMOVE, "i", resource);
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = news_mark_owner(db, owners[i], patient, now_ms);
    return e;
}

enum err readings_find_owner(struct db *db, struct fhir_item *item,
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
                                 .is_sign = info->kind == VALUE_CODE,
                                 .access_arm = r->access_arm };
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

static enum err add_reading(struct db *db, enum query q,
                            const struct reading *r, int64_t owner,
                            int64_t part, int how)
{
    return db_run(db, q, "iiiiiiiiiiidiiiiii", owner,
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
                             bool strict, bool live, int64_t now_ms)
{
    if (fhir_reading_is_urgent(fr) || hold == HOLD_OTHERWISE)
        readings_note_emergency(item, fr, hold, strict);
    return held_add(db, patient, fr, r, hold, live, now_ms);
}

/* One Observation whose readings are being placed. */
struct placing {
    struct fhir_item *item;
    int64_t patient;
    struct owner_cache cache;
    struct verdicts verdicts; /* a person's words on it */
    struct stand stand;       /* what earlier versions have said */
    int version;
    bool strict;
    int64_t now_ms;
};

/* What was said of it while it was another patient's is of no use. */
static const struct person_verdict *verdict_of(const struct placing *p,
                                               const struct fhir_reading *fr)
{
    const struct person_verdict *said = verdict_on(&p->verdicts, fr);

    return said != NULL && said->patient != 0 && said->patient != p->patient
               ? NULL
               : said;
}

/* Does a newer version of it name another access than a person did? */
static bool is_contradicted(const struct placing *p,
                            const struct person_verdict *said,
                            const struct access *placed,
                            const struct access_answer *named)
{
    int64_t access = placed->merged != 0 ? placed->merged : placed->id;

    return said->version != p->version && named->hold == HOLD_NONE &&
           named->how <= ACCESS_BY_CONTAINED && named->access != access;
}

/* Which access it is of, by a person's word or by what is known. */
static enum err find_access(struct db *db, struct placing *p,
                            const struct fhir_reading *fr,
                            const struct person_verdict *said,
                            struct access_answer *answer)
{
    struct outcome *o = &p->item->outcome;
    struct access a;
    enum err e;

    if (said != NULL && said->access != 0) {
        e = access_get(db, said->access, &a);
        if (e == ERR_OK && said->version != p->version &&
            p->item->u.observation.name_count > 0) {
            e = readings_find_owner(db, p->item, p->patient, fr, &p->cache,
                                    answer);
            if (e == ERR_OK && is_contradicted(p, said, &a, answer)) {
                answer->hold = HOLD_ACCESS;
                return ERR_OK;
            }
        }
        if (e == ERR_OK && a.patient == p->patient)
            *answer = (struct access_answer){ .access = a.merged != 0 ? a.merged
                                                                      : a.id,
                                              .how = ACCESS_BY_PERSON };
        if (e != ERR_ABSENT && (e != ERR_OK || a.patient == p->patient))
            return e;
    }
    e = readings_find_owner(db, p->item, p->patient, fr, &p->cache, answer);
    if (e == ERR_OK &&
        !(answer->hold != HOLD_NONE && reading_is_emergency(&fr->reading)) &&
        !readings_said(o, "access-ambiguous") &&
        !readings_said(o, "access-assumed"))
        readings_note_access(p->item, answer, fr, p->strict);
    return e;
}

/* It is of this owner from now on. */
static enum err give(struct db *db, struct placing *p, const struct reading *r,
                     int64_t owner, enum access_how how)
{
    enum err e =
        add_reading(db, Q_READING_ADD, r, owner, partition_of(owner), (int)how);

    if (e == ERR_OK)
        e = readings_note_type(db, p->item, owner, r);
    if (e == ERR_OK && quantity_is_reviewed(r->quantity))
        e = news_mark_owner(db, owner, p->patient, p->now_ms);
    return e;
}

/* fate: HOLD_NONE if it is used, else why not. */
static enum err place_reading(struct db *db, struct placing *p,
                              const struct fhir_reading *fr, struct reading *r,
                              const struct person_verdict *said,
                              enum hold *fate)
{
    struct access_answer answer = { .how = ACCESS_BY_SOLE };
    bool of_patient = quantity_info(r->quantity)->scope == SCOPE_PATIENT;
    enum err e = ERR_OK;

    *fate = fr->hold;
    if (fr->hold == HOLD_NONE && !of_patient) {
        e = find_access(db, p, fr, said, &answer);
        *fate = answer.hold;
    }
    if (e == ERR_OK && *fate != HOLD_NONE)
        return hold_reading(
            db, p->item, p->patient, fr, r, *fate, p->strict,
            stand_is_live(&p->stand, &p->item->u.observation, fr), p->now_ms);
    if (e != ERR_OK)
        return e;
    /* a finger of the other arm is the patient's, and no rule looks at it */
    if (!answer.other_arm)
        e = give(db, p, r, of_patient ? p->patient : answer.access,
                 of_patient ? ACCESS_BY_FOCUS_REF : answer.how);
    readings_note_preliminary(p->item, r);
    return e;
}

static enum err place_all(struct db *db, struct placing *p, int64_t resource,
                          int version, struct readings_fate *fate)
{
    const struct fhir_observation *o = &p->item->u.observation;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < o->reading_count; i++) {
        struct fhir_reading fr = o->readings[i];
        const struct person_verdict *said = verdict_of(p, &fr);
        struct reading r;

        if (verdict_discards(said, version)) {
            fate->discarded++;
            continue;
        }
        stand_judge(&p->stand, o, &fr);
        verdict_apply(said, version,
                      readings_said(&p->item->outcome, "future-time"), &fr);
        r = fr.reading;
        r.id = resource;
        r.version = version;
        e = place_reading(db, p, &fr, &r, said, &fate->hold[i]);
        fate->is_used[i] = fate->hold[i] == HOLD_NONE;
        fate->used += fate->hold[i] == HOLD_NONE ? 1 : 0;
        fate->held += fate->hold[i] != HOLD_NONE ? 1 : 0;
    }
    return e;
}

/*
 * The newer version is not about it at all, so that nothing shows that it came:
 * the sign that stands is shown in its place, until a person discards that.
 */
static enum err show_silent(struct db *db, struct placing *p,
                            const struct reading *stands, int64_t resource,
                            int version)
{
    struct fhir_reading fr = { .reading = *stands,
                               .hold = HOLD_OTHERWISE,
                               .hint = "the newer report does not mention it" };

    if (verdict_discards(verdict_of(p, &fr), version))
        return ERR_OK;
    fr.reading.id = resource;
    fr.reading.version = version;
    return hold_reading(
        db, p->item, p->patient, &fr, &fr.reading, HOLD_OTHERWISE, p->strict,
        stand_is_live(&p->stand, &p->item->u.observation, &fr), p->now_ms);
}

/* The signs of emergency that this version has not ended go back. */
static enum err keep_standing(struct db *db, struct placing *p,
                              int64_t resource, int version,
                              const struct readings_fate *fate)
{
    const struct fhir_observation *o = &p->item->u.observation;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < p->stand.used_count; i++) {
        const struct stand_reading *one = &p->stand.used[i];

        if (stand_is_ended(o, &one->reading, fate))
            continue;
        e = add_reading(db, Q_READING_KEEP, &one->reading, one->owner,
                        partition_of(one->owner), (int)one->how);
        /* its place is taken by another reading of this version */
        if (e == ERR_OK &&
            (db_changes(db) == 0 || !stand_is_shown(o, &one->reading)))
            e = show_silent(db, p, &one->reading, resource, version);
    }
    return e;
}

/* So that it is found when somebody maps its code. */
static enum err note_unmapped(struct db *db, const struct fhir_observation *o,
                              int64_t resource, int64_t patient)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < o->unmapped_count; i++) {
        const struct fhir_unmapped *u = &o->unmapped[i];

        e = db_run(db, Q_UNMAPPED_ADD, "ssii",
                   u->system != NULL ? u->system : "", u->code, resource,
                   patient);
    }
    return e;
}

static enum err replace(struct db *db, struct fhir_item *item, int64_t patient,
                        int64_t resource, int version, bool strict_access,
                        int64_t now_ms, struct readings_fate *fate)
{
    struct fhir_observation *o = &item->u.observation;
    struct placing p = { .item = item,
                         .patient = patient,
                         .version = version,
                         .stand = { .version = version },
                         .strict = strict_access,
                         .now_ms = now_ms };
    struct readings_fate unasked = { .used = 0 };
    struct resource row;
    enum err e = ERR_OK;

    if (!o->is_first)
        e = stand_read(db, resource, version, &p.stand);
    if (e == ERR_OK && !o->is_first)
        e = remove_old(db, patient, resource, now_ms);
    fate = fate != NULL ? fate : &unasked;
    *fate = unasked;
    if (e == ERR_OK && o->reading_status == READING_WITHDRAWN) {
        e = resource_get(db, resource, &row);
        return e == ERR_OK
                   ? readings_withdraw_derived(db, row.fid, patient, now_ms)
                   : e;
    }
    if (e == ERR_OK && !o->is_first)
        e = verdicts_of(db, resource, &p.verdicts);
    if (e == ERR_OK)
        e = verdicts_follow(db, resource, version, o, &p.verdicts);
    if (e == ERR_OK)
        e = place_all(db, &p, resource, version, fate);
    if (e == ERR_OK)
        e = keep_standing(db, &p, resource, version, fate);
    if (e == ERR_OK)
        e = note_unmapped(db, o, resource, patient);
    return e == ERR_OK ? readings_note_sources(db, o, resource) : e;
}

enum err readings_replace(struct db *db, struct fhir_item *item,
                          int64_t patient, int64_t resource, int version,
                          bool strict_access, int64_t now_ms,
                          struct readings_fate *fate)
{
    bool changed;
    enum err e = replace(db, item, patient, resource, version, strict_access,
                         now_ms, fate);

    /* whoever is measured may not be dead, used or held */
    return e == ERR_OK ? deceased_judge(db, patient, &changed) : e;
}

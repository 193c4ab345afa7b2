#include "service/intake_work.h"

#include "service/again.h"
#include "service/intake_refs.h"
#include "service/news.h"
#include "service/readings.h"
#include "service/search_index.h"
#include "service/tally_intake.h"
#include "service/task_change.h"
#include "service/terms.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool is_stored_type(enum fhir_type t)
{
    return t == FHIR_OBSERVATION || t == FHIR_BODY_STRUCTURE ||
           t == FHIR_PATIENT;
}

void entry_refuse(struct entry *e, int status)
{
    e->result->status = status;
    e->result->stored = 0;
    e->result->fid[0] = '\0';
    e->result->reference[0] = '\0';
}

void entry_found(struct entry *e, int status)
{
    e->result->status = status;
    e->result->version = e->row.version;
    e->result->updated_ms = e->row.updated_ms;
    snprintf(e->result->fid, FID_SIZE, "%s", e->row.fid);
    snprintf(e->result->reference, sizeof(e->result->reference), "%s/%s",
             e->result->type, e->result->fid);
}

static enum err add_identifiers(struct db *db, const struct entry *e)
{
    enum err err = ERR_OK;

    /* outside HL7 v2 an identifier of two results would be of neither */
    if (e->beside && !e->in->v2)
        return ERR_OK;
    for (size_t i = 0; err == ERR_OK && i < e->item->identifier_count; i++) {
        const struct fhir_identifier *id = &e->item->identifiers[i];
        int64_t term;

        err = term_number(db, id->system != NULL ? id->system : "", id->value,
                          &term);
        if (err == ERR_OK)
            err = db_run(db, Q_RESOURCE_IDENT_ADD, "iii", term,
                         INT64(e->item->type), e->row.id);
    }
    return err;
}

static enum err put(struct db *db, struct entry *e, int64_t patient)
{
    const struct fhir_item *item = e->item;
    struct intake *in = e->in;
    struct new_version v = { .start = item->offset,
                             .len = item->len,
                             .digest = item->digest,
                             .patient =
                                 item->type == FHIR_OBSERVATION ? patient : 0 };
    bool is_new = e->row.id == 0;
    enum err err = ERR_OK;

    if (e->row.fid[0] == '\0')
        new_fid(e->row.fid);
    /* a message in which nothing is new is not kept */
    if (in->journal == 0)
        err = journal_add(db, in->source, in->now_ms, in->body, in->len,
                          &in->journal);
    if (err != ERR_OK)
        return err;
    v.journal = in->journal;

    if (item->type == FHIR_OBSERVATION) {
        e->row.status = (int)item->u.observation.reading_status;
        if (item->u.observation.issued_s != 0) /* a bare withdrawal has none */
            e->row.issued_s = item->u.observation.issued_s;
    }
    err = resource_put(db, &e->row, e->ident[0] != '\0' ? e->ident : NULL,
                       partition_of(patient), e->in->now_ms, &v);
    if (err == ERR_OK)
        err = add_identifiers(db, e);
    if (err == ERR_OK)
        entry_found(e, is_new ? 201 : 200);
    if (err == ERR_OK)
        e->result->stored = e->row.id;
    return err;
}

static enum err take_patient(struct db *db, struct entry *e)
{
    int64_t id;
    enum err err;

    e->item->u.patient.of_v2 = e->in->v2;
    err = patient_take(db, e->item, e->row.fid, e->row.id, &id);

    if (err == ERR_CONFLICT)
        return entry_clash(e, "Patient.identifier",
                           "It would make two people one: each has a resource "
                           "of its own, or a number of the same system");
    return err == ERR_OK ? again_patient(db, e->in->reader, id) : err;
}

/* Does the one whom it belongs to change it, by its id? */
static bool is_owners_word(const struct entry *e)
{
    const char *method = e->item->method;

    if (e->in->v2)
        return false;
    return method != NULL
               ? strcmp(method, "POST") != 0
               : e->item->id != NULL && strcmp(e->item->id, e->row.fid) == 0;
}

static enum err take_observation(struct db *db, struct entry *e,
                                 int64_t patient)
{
    struct readings_fate fate;
    bool strict = e->in->strict_access && e->in->source == SOURCE_HTTP;
    enum err err;

    e->item->u.observation.is_first = e->row.version == 1;
    e->item->u.observation.owners_word = is_owners_word(e);
    e->item->u.observation.live_from_s = e->in->live_from_s;
    err = readings_replace(db, e->item, patient, e->row.id, e->row.version,
                           strict, e->in->now_ms, &fate);
    if (e->item->u.observation.reading_status != READING_WITHDRAWN)
        e->result->used = fate.used;
    e->result->patient = patient;
    return err == ERR_OK
               ? tally_intake(db, e->in, e->item, &fate, patient, e->row.fid)
               : err;
}

/* What a resource means beyond its bytes. */
static enum err take(struct db *db, struct entry *e, int64_t patient)
{
    int64_t id;
    enum err err;

    if (e->item->type == FHIR_PATIENT)
        return take_patient(db, e);
    if (e->item->type == FHIR_OBSERVATION)
        return take_observation(db, e, patient);
    err = access_take(db, e->item, e->row.fid, e->row.id, e->in->merge_implied,
                      &id);
    if (err == ERR_CONFLICT)
        return entry_clash(e, "BodyStructure.patient",
                           "This access is known as that of another patient");
    if (err == ERR_OK)
        err = again_patient(db, e->in->reader, patient);
    if (err == ERR_OK)
        err = news_mark(db, id, e->in->now_ms);
    /* which access leads, and so where a dose is said, may have changed */
    return err == ERR_OK ? db_run(db, Q_NEWS_OF_PATIENT, "i", patient) : err;
}

/* *done: the entry is answered without storing anything. */
static enum err is_repeat(struct db *db, struct entry *e, int64_t patient,
                          bool *done)
{
    struct outcome *o = &e->item->outcome;
    bool same = false, better = false;
    int64_t equal = 0;
    enum err err = ERR_OK;

    *done = false;
    if (e->row.id != 0) {
        err = resource_is_same(db, &e->row, e->item->digest, &same);
    } else if (e->item->type == FHIR_OBSERVATION && e->ident[0] == '\0' &&
               e->row.fid[0] == '\0' &&
               e->item->u.observation.reading_count > 0) {
        err = readings_duplicate(db, e->item, patient, &equal);
        if (err == ERR_OK && equal != 0)
            err = resource_get(db, equal, &e->row);
        same = equal != 0;
    }
    if (err == ERR_OK && same && e->item->type == FHIR_OBSERVATION)
        err = again_observation(db, e->item, patient, e->row.id, e->row.version,
                                e->in->now_ms, &better);
    if (err != ERR_OK)
        return err;
    if (better) {
        entry_found(e,
                    200); /* the version that is stored says more than it did */
        *done = true;
        return ERR_OK;
    }
    if (same) {
        outcome_add(o, SEV_INFORMATION, "duplicate", "",
                    "Already stored; nothing has changed");
    } else if (entry_is_out_of_order(e)) {
        err = entry_late(db, e, &same);
        if (err == ERR_OK && same)
            err = tally_intake_late(db, e->in, patient, e->row.fid);
    }
    if (err != ERR_OK)
        return err;
    if (same)
        entry_found(e, 200);
    *done = same;
    return ERR_OK;
}

/* A person's change of a Task, in a batch or transaction. */
static enum err apply_task(struct db *db, struct entry *e)
{
    const struct fhir_item *item = e->item;
    struct intake *in = e->in;
    struct task_change change = {
        .id = item->url_id,
        .if_match = item->if_match,
        .if_none_match = item->if_none_match,
        .patch = item->patch != NULL,
        .body = item->patch != NULL ? item->patch : in->body + item->offset,
        .len = item->patch != NULL ? item->patch_len : item->len,
        .is_read = item->patch == NULL,
        .reader = in->reader,
        .must_match = in->task_if_match,
        .deliver = in->deliver,
        .now_ms = in->now_ms,
        .outcome = &e->item->outcome
    };
    enum err err = item->len > TASK_TAKEN_MAX ? ERR_CONFLICT : ERR_OK;

    if (err != ERR_OK)
        outcome_add(&e->item->outcome, SEV_ERROR, "too-long", "Task",
                    "A Task is taken up to %d bytes", TASK_TAKEN_MAX);
    else
        err = task_change(db, &change);
    if (err == ERR_CONFLICT)
        entry_refuse(e, e->item->outcome.status);
    if (err != ERR_OK)
        return err;
    e->row = change.row;
    in->tasks_changed++;
    entry_found(e, 200);
    return ERR_OK;
}

static enum err apply_entry(struct db *db, struct entry *e)
{
    int64_t patient;
    bool done;
    enum err err;

    if (e->item->type == FHIR_TASK)
        return apply_task(db, e);
    err = entry_condition(db, e, &done);

    if (err != ERR_OK || done)
        return err;
    err = entry_identify(db, e);
    if (err == ERR_OK && e->result->status == 0)
        entry_match(e);
    if (err == ERR_OK && e->result->status == 0)
        err = entry_patient(db, e, &patient);
    if (err != ERR_OK || e->result->status != 0)
        return err;
    err = is_repeat(db, e, patient, &done);
    if (err != ERR_OK || done)
        return err;
    err = put(db, e, patient);
    if (err == ERR_OK)
        err = take(db, e, patient);
    if (err == ERR_OK && outcome_refuses(&e->item->outcome) &&
        !(e->in->source == SOURCE_FEED && e->item->only_held)) {
        entry_refuse(e, e->item->outcome.status);
        return ERR_CONFLICT; /* found only now: undo what was put */
    }
    return err;
}

/* Everything of one entry, or nothing of it. */
static enum err apply_alone(struct db *db, struct entry *e)
{
    int64_t journal = e->in->journal;
    enum err err = db_run(db, Q_SAVE_ENTRY, "");
    enum err applied;

    if (err != ERR_OK)
        return err;
    applied = apply_entry(db, e);
    if (applied != ERR_OK) {
        err = db_run(db, Q_UNDO_ENTRY, "");
        db_forget_ids(db);
        e->in->journal = journal; /* undone with the entry that kept it */
        e->result->used = 0;
    }
    if (err == ERR_OK)
        err = db_run(db, Q_RELEASE_ENTRY, "");
    if (err != ERR_OK)
        return err;
    return applied == ERR_CONFLICT && e->result->status >= 400 ? ERR_OK
                                                               : applied;
}

static bool is_refused_before(const struct entry *e)
{
    return outcome_refuses(&e->item->outcome) &&
           !(e->in->source == SOURCE_FEED && e->item->only_held);
}

static bool any_refused(const struct intake *in)
{
    for (size_t i = 0; i < fhir_doc_count(in->doc); i++) {
        if (in->results[i].status >= 400)
            return true;
    }
    return false;
}

/* Tasks are made here; a person may change one. */
static bool changes_task(const struct fhir_item *item)
{
    return item->type == FHIR_TASK && item->url_id != NULL;
}

/* Mark what need not be tried; true if something is left. */
static bool sort_out(struct intake *in)
{
    bool left = false;

    for (size_t i = 0; i < fhir_doc_count(in->doc); i++) {
        struct fhir_item *item = fhir_doc_item(in->doc, i);
        struct entry e = { .in = in, .item = item, .result = &in->results[i] };

        *e.result = (struct intake_result){ .status = 0 };
        snprintf(e.result->type, sizeof(e.result->type), "%s",
                 item->type_name != NULL ? item->type_name : "");
        if (is_refused_before(&e)) {
            entry_refuse(&e, item->outcome.status);
        } else if (!is_stored_type(item->type) && !changes_task(item)) {
            outcome_add(&item->outcome, SEV_ERROR, "not-supported", "",
                        "This resource type is not taken here");
            entry_refuse(&e, 422);
        } else {
            left = true;
        }
    }
    return left;
}

/* One pass over the entries of a type; *applied: there were some. */
static enum err apply_type(struct db *db, struct intake *in,
                           enum fhir_type type, bool last, bool *applied)
{
    enum err err = ERR_OK;

    *applied = false;
    for (size_t i = 0; err == ERR_OK && i < fhir_doc_count(in->doc); i++) {
        struct entry e = { .in = in,
                           .item = fhir_doc_item(in->doc, i),
                           .result = &in->results[i] };

        if (e.item->type != type || e.result->status != 0 ||
            !intake_refs(in, i, last))
            continue;
        *applied = true;
        if (e.result->status != 0)
            continue; /* refused for a reference */
        err = apply_alone(db, &e);
        in->news = in->news || e.result->status < 300;
    }
    return err;
}

/* People and accesses before what is measured on them. */
static enum err apply_in_order(struct db *db, struct intake *in)
{
    static const enum fhir_type order[] = { FHIR_PATIENT, FHIR_BODY_STRUCTURE,
                                            FHIR_OBSERVATION, FHIR_TASK };
    enum err err = ERR_OK;

    for (size_t k = 0; err == ERR_OK && k < COUNT(order); k++) {
        bool more = true;

        /* again as long as an entry that others wait for was applied */
        while (err == ERR_OK && more)
            err = apply_type(db, in, order[k], false, &more);
        if (err == ERR_OK)
            err = apply_type(db, in, order[k], true, &more);
    }
    return err;
}

/*
 * What the new versions are found by, once it is known which there are: within
 * the savepoint of each entry the engine would keep every page of the index
 * once more.  Of two versions in one message the newer one counts.
 */
static enum err index_stored(struct db *db, const struct intake *in)
{
    const struct search_site site = { in->reader->zone, in->reader->self };
    enum err err = ERR_OK;

    for (size_t i = 0; err == ERR_OK && i < fhir_doc_count(in->doc); i++) {
        const struct fhir_item *item = fhir_doc_item(in->doc, i);
        struct resource row;

        if (in->results[i].stored == 0)
            continue;
        err = resource_get(db, in->results[i].stored, &row);
        if (err == ERR_OK && row.version == in->results[i].version)
            err = search_index_item(db, &row, item, &site);
    }
    return err;
}

enum err intake_apply(struct db *db, void *arg)
{
    struct intake *in = arg;
    bool transaction = fhir_doc_bundle(in->doc) == BUNDLE_TRANSACTION;
    bool left = sort_out(in);
    enum err err;

    in->journal = 0;
    in->tasks_changed = 0;
    in->news = in->all_failed = false;
    if (!left || (transaction && any_refused(in))) {
        in->all_failed = transaction && any_refused(in);
        return in->all_failed ? ERR_CONFLICT : ERR_OK;
    }
    err = apply_in_order(db, in);
    if (err == ERR_OK && transaction && any_refused(in)) {
        in->all_failed = true;
        in->news = false;
        in->tasks_changed = 0;
        return ERR_CONFLICT;
    }
    if (err == ERR_OK)
        err = tally_intake_used(db, in);
    return err == ERR_OK ? index_stored(db, in) : err;
}

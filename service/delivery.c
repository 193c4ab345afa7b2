#include "service/delivery_map.h"

#include "adapters/fhir_write.h"
#include "service/accesses.h"
#include "service/episodes.h"
#include "service/patients.h"

#include <stdio.h>
#include <string.h>

void delivery_init(struct delivery_data *d)
{
    buf_init(&d->body, TASK_MAX);
    buf_init(&d->sent, TASK_MAX);
    buf_init(&d->before, TASK_MAX);
    for (size_t i = 0; i < BESIDE_MAX; i++)
        buf_init(&d->beside[i].body, TASK_MAX);
    for (size_t i = 0; i < RECORD_LOOKUPS_MAX; i++) {
        buf_init(&d->looks[i].system, ALIAS_SIZE);
        buf_init(&d->looks[i].value, ALIAS_SIZE);
    }
}

void delivery_clear(struct delivery_data *d)
{
    buf_clear(&d->body);
    buf_clear(&d->sent);
    buf_clear(&d->before);
    for (size_t i = 0; i < BESIDE_MAX; i++)
        buf_clear(&d->beside[i].body);
    for (size_t i = 0; i < RECORD_LOOKUPS_MAX; i++) {
        buf_clear(&d->looks[i].system);
        buf_clear(&d->looks[i].value);
    }
}

static void copy_column(char *out, size_t size, const char *text)
{
    snprintf(out, size, "%s", text != NULL ? text : "");
}

static enum err load_row(struct db *db, struct delivery_data *d)
{
    const enum query q = Q_OUTBOX_GET;
    enum err e = db_first(db, q, "i", d->row);

    if (e != ERR_OK)
        return e;
    d->wanted = (int)db_int(db, q, 0);
    d->tries = (int)db_int(db, q, 1);
    copy_column(d->remote, sizeof(d->remote), db_text(db, q, 2));
    copy_column(d->key, sizeof(d->key), db_text(db, q, 3));
    d->status = (long)db_int(db, q, 4);
    d->task = db_int(db, q, 5);
    d->look_ms = db_int(db, q, 6);
    d->twin = db_int(db, q, 7) != 0;
    d->kind = (enum fhir_type)db_int(db, q, 8);
    d->was_aside = !db_is_null(db, q, 9);
    d->sent_version = (int)db_int(db, q, 10);
    d->is_new = d->remote[0] == '\0';
    db_done(db, q);
    return ERR_OK;
}

/* Which of what is beside a Task the record has not. */
static enum err list_beside(struct db *db, struct delivery_data *d)
{
    const enum query q = Q_OUTBOX_BESIDE;
    enum err e;

    d->beside_count = 0;
    if (d->kind != FHIR_TASK)
        return ERR_OK;
    e = db_query(db, q, "iiii", d->row, INT64(FHIR_DOCUMENT_REFERENCE),
                 INT64(FHIR_SERVICE_REQUEST), INT64(BESIDE_MAX));
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct beside *b = &d->beside[d->beside_count++];

        b->kind = (enum fhir_type)db_int(db, q, 0);
        b->row = db_int(db, q, 1);
        copy_column(b->key, sizeof(b->key), db_text(db, q, 2));
        b->remote[0] = b->remote_version[0] = '\0';
        b->status = 0;
        b->refused = b->later = false;
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* The newest version, in the words of the record. */
static enum err load_body(struct mapper *m, int64_t row, int *version,
                          char *fid, struct buf *out)
{
    struct resource r;
    struct buf ours;
    int64_t updated_ms;
    enum err e = resource_get(m->db, row, &r);

    buf_empty(out);
    buf_init(&ours, TASK_MAX);
    if (e == ERR_OK)
        e = resource_body(m->db, &r, 0, &ours, &updated_ms);
    if (e == ERR_OK) {
        *version = r.version;
        snprintf(fid, FID_SIZE, "%s", r.fid);
        e = fhir_localise(ours.data, ours.len, delivery_map_reference, m, out);
    }
    buf_clear(&ours);
    return e == ERR_OK ? m->err : e;
}

/* As far as is known what the record calls whom they name. */
static enum err load_bodies(struct mapper *m, struct delivery_data *d)
{
    enum err e = load_body(m, d->row, &d->wanted, d->fid, &d->body);

    for (size_t i = 0;
         e == ERR_OK && d->looked == d->look_count && i < d->beside_count;
         i++) {
        struct beside *b = &d->beside[i];

        e = load_body(m, b->row, &b->version, b->fid, &b->body);
    }
    return e;
}

/* To tell by it what a person has changed there. */
static enum err load_sent(struct db *db, struct delivery_data *d)
{
    struct resource r;
    int64_t updated_ms;
    enum err e;

    buf_empty(&d->sent);
    if (d->kind != FHIR_TASK || d->sent_version == 0)
        return ERR_OK;
    e = resource_get(db, d->row, &r);
    if (e == ERR_OK)
        e = resource_body(db, &r, d->sent_version, &d->sent, &updated_ms);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* What the record may have of ours: what was confirmed last, and, since an
 * answer can get lost, each version after it but the newest. */
static enum err load_before(struct db *db, struct delivery_data *d)
{
    int first = d->sent_version > 0 ? d->sent_version : 1;
    struct resource r;
    struct buf one;
    int64_t updated_ms;
    enum err e;

    buf_empty(&d->before);
    if (d->kind != FHIR_TASK || first >= d->wanted)
        return ERR_OK;
    buf_init(&one, TASK_MAX);
    e = resource_get(db, d->row, &r);
    for (int v = first; e == ERR_OK && v < d->wanted; v++) {
        if (v > first && v < d->wanted - BEFORE_MAX)
            continue;
        buf_empty(&one);
        e = resource_body(db, &r, v, &one, &updated_ms);
        if (e == ERR_OK)
            e = fhir_task_outline(one.data, one.len, &d->before);
    }
    buf_clear(&one);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err delivery_load(struct db *db, void *arg)
{
    struct delivery_data *d = arg;
    struct mapper m = { .db = db, .d = d, .err = ERR_OK };
    enum err e = load_row(db, d);

    d->target[0] = '\0';
    if (e == ERR_OK)
        e = list_beside(db, d);
    if (e == ERR_OK)
        e = load_sent(db, d);
    d->bundled = d->bundled && d->remote[0] == '\0' && d->beside_count > 0;
    if (e == ERR_OK && d->kind == FHIR_PROVENANCE) {
        e = db_first(db, Q_OUTBOX_REMOTE, "i", d->task);
        if (e == ERR_OK)
            copy_column(d->target, sizeof(d->target),
                        db_text(db, Q_OUTBOX_REMOTE, 0));
        db_done(db, Q_OUTBOX_REMOTE);
    }
    buf_init(&m.system, ALIAS_SIZE);
    buf_init(&m.value, ALIAS_SIZE);
    if (e == ERR_OK)
        e = load_bodies(&m, d);
    if (e == ERR_OK)
        e = load_before(db, d);
    buf_clear(&m.system);
    buf_clear(&m.value);
    return e;
}

static enum err save_lookups(struct db *db, const struct delivery_data *d)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < d->looked; i++) {
        const struct record_lookup *look = &d->looks[i];

        if (!look->known)
            continue; /* asked again with the next one */
        e = db_run(db, Q_LOOKUP_PUT, "ssssi", look->type, look->system.data,
                   look->value.data,
                   look->reference[0] != '\0' ? look->reference : NULL,
                   d->now_ms);
    }
    return e;
}

/* What a person made of it there is so in our own copy as well: its status, and
 * who is to see to it.  What else was changed there stays there. */
static enum err copy_seen(struct db *db, struct delivery_data *d, bool status,
                          bool owner)
{
    const struct fhir_deed seen = { .base = d->base,
                                    .status = status ? d->seen_status : NULL,
                                    .reason = d->seen_reason,
                                    .owner = owner ? d->seen_owner : NULL,
                                    .business =
                                        status ? BUSINESS_NONE : BUSINESS_STAYS,
                                    .now_ms = d->now_ms };
    struct new_version v = { 0 };
    struct fhir_task_view view;
    struct resource r;
    struct buf ours, changed;
    int64_t updated_ms, access = 0;
    enum err e = db_first(db, Q_TASK_GET, "i", d->row);

    if (e == ERR_OK)
        access = db_int(db, Q_TASK_GET, 1);
    db_done(db, Q_TASK_GET);
    buf_init(&ours, TASK_MAX);
    buf_init(&changed, TASK_MAX);
    if (e == ERR_OK)
        e = resource_get(db, d->row, &r);
    if (e == ERR_OK)
        e = resource_body(db, &r, 0, &ours, &updated_ms);
    if (e == ERR_OK)
        e = fhir_deed_write(ours.data, ours.len, &seen, &changed);
    if (e == ERR_OK)
        e = fhir_task_view(changed.data, changed.len, &view);
    v.body = changed.data;
    v.len = changed.len;
    if (e == ERR_OK)
        e = resource_put(db, &r, NULL, partition_of(access), d->now_ms, &v);
    if (e == ERR_OK)
        e = db_run(db, Q_TASK_STATUS, "iss", d->row, view.status,
                   view.priority);
    if (e == ERR_OK && r.version == d->wanted + 1)
        d->wanted = r.version; /* it says nothing that is not there */
    buf_clear(&ours);
    buf_clear(&changed);
    return e;
}

/* Has its status been changed there since we were heard last?  Who has taken it
 * there, while somebody took it here, was not handed it. */
static bool is_moved_there(const struct delivery_data *d, const char *ours)
{
    const char *there = d->seen_status[0] != '\0' ? d->seen_status : ours;
    struct fhir_task_view sent = { .status = "requested" };

    if (d->sent.len > 0 &&
        fhir_task_view(d->sent.data, d->sent.len, &sent) != ERR_OK)
        return false;
    return strcmp(there, sent.status) != 0;
}

/*
 * The record's Task may say what we have not: then a person did it.  What we
 * said ourselves may come back too, after an answer that got lost.
 */
static enum err follow_people(struct db *db, struct delivery_data *d)
{
    const enum query q = Q_TASK_GET;
    bool status =
        d->seen_status[0] != '\0' && strcmp(d->seen_status, "requested") != 0;
    bool owner = d->seen_owner[0] != '\0', moved;
    enum err e;

    if (!status && !owner)
        return ERR_OK;
    e = db_first(db, q, "i", d->row);
    if (e != ERR_OK)
        return e;
    status = status && strcmp(db_text(db, q, 2), d->seen_status) != 0;
    moved = is_moved_there(d, db_text(db, q, 2));
    db_done(db, q);
    if (status)
        e = episode_follow(db, d->row, d->seen_status, d->now_ms / 1000);
    if (e == ERR_OK && owner)
        e = episode_own(db, d->row, d->seen_owner, moved, d->now_ms / 1000);
    return e == ERR_OK && (status || owner) ? copy_seen(db, d, status, owner)
                                            : e;
}

/* Its id there, and the first version that it has there. */
static enum err save_remote(struct db *db, const struct delivery_data *d)
{
    if (d->lost)
        return db_run(db, Q_OUTBOX_LOST, "i", d->row);
    if (d->remote[0] == '\0')
        return ERR_OK;
    return db_run(db, Q_OUTBOX_FOUND, "iss", d->row, d->remote,
                  d->remote_version[0] != '\0' ? d->remote_version : NULL);
}

enum err delivery_save_beside(struct db *db, void *arg)
{
    struct delivery_data *d = arg;
    enum err e = save_lookups(db, d);

    for (size_t i = 0; e == ERR_OK && i < d->beside_count; i++) {
        const struct beside *b = &d->beside[i];

        if (b->refused)
            e = db_run(db, Q_OUTBOX_DEAD, "iisii", b->row, INT64(b->status),
                       b->body.data, d->now_ms, INT64(b->version));
        if (b->later)
            e = db_run(db, Q_OUTBOX_ALONE, "iii", b->row, d->due_ms,
                       INT64(b->status));
        if (b->remote[0] == '\0')
            continue;
        e = db_run(db, Q_OUTBOX_FOUND, "iss", b->row, b->remote,
                   b->remote_version[0] != '\0' ? b->remote_version : NULL);
        if (e == ERR_OK)
            e = db_run(db, Q_OUTBOX_SENT, "iiii", b->row, INT64(b->version),
                       INT64(b->status), INT64(0));
    }
    return e == ERR_OK ? save_remote(db, d) : e;
}

/* Once the Task is there, flags and Provenances may follow, whatever becomes of
 * its changes. */
static enum err wake_others(struct db *db, const struct delivery_data *d)
{
    if (d->kind != FHIR_TASK || d->remote[0] == '\0')
        return ERR_OK;
    return db_run(db, Q_OUTBOX_WAKE, "iiii", d->row, d->now_ms,
                  INT64(FHIR_FLAG), INT64(FHIR_PROVENANCE));
}

/* What came after its Task is referred to by it from now on. */
static enum err save_sent(struct db *db, const struct delivery_data *d)
{
    enum err e = db_run(db, Q_OUTBOX_SENT, "iiii", d->row, INT64(d->wanted),
                        INT64(d->status), d->look_ms);

    if (e == ERR_OK && d->is_new &&
        (d->kind == FHIR_DOCUMENT_REFERENCE || d->kind == FHIR_SERVICE_REQUEST))
        e = db_run(db, Q_OUTBOX_LOOK, "iii", d->task, d->now_ms, INT64(0));
    return e;
}

enum err delivery_save(struct db *db, void *arg)
{
    struct delivery_data *d = arg;
    enum err e = save_lookups(db, d);

    if (e == ERR_OK)
        e = save_remote(db, d);
    if (e == ERR_OK)
        e = wake_others(db, d);
    if (e == ERR_OK && d->kind == FHIR_TASK)
        e = follow_people(db, d);
    if (e != ERR_OK)
        return e;
    switch (d->result) {
    case DELIVERED:
        return save_sent(db, d);
    case DELIVER_LATER:
        return db_run(db, Q_OUTBOX_RETRY, "iiii", d->row, INT64(d->tries),
                      d->due_ms, INT64(d->status));
    case STILL_ASIDE:
        return db_run(db, Q_OUTBOX_STILL_DEAD, "ii", d->row, d->look_ms);
    case DELIVER_NEVER:
        break;
    }
    return db_run(db, Q_OUTBOX_DEAD, "iisii", d->row, INT64(d->status),
                  d->answer, d->now_ms, INT64(d->wanted));
}

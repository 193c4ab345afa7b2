#include "service/delivery.h"

#include "adapters/fhir_write.h"
#include "service/accesses.h"
#include "service/episodes.h"
#include "service/patients.h"

#include <stdio.h>
#include <string.h>

enum { LOOKUP_KEPT_MS = 24 * 3600 * 1000 };

void delivery_init(struct delivery_data *d)
{
    buf_init(&d->body, TASK_MAX);
    for (size_t i = 0; i < RECORD_LOOKUPS_MAX; i++) {
        buf_init(&d->looks[i].system, ALIAS_SIZE);
        buf_init(&d->looks[i].value, ALIAS_SIZE);
    }
}

void delivery_clear(struct delivery_data *d)
{
    buf_clear(&d->body);
    for (size_t i = 0; i < RECORD_LOOKUPS_MAX; i++) {
        buf_clear(&d->looks[i].system);
        buf_clear(&d->looks[i].value);
    }
}

/* What is needed to say in the record's words what our references mean. */
struct mapper {
    struct db *db;
    struct delivery_data *d;
    char text[ALIAS_SIZE]; /* of the last reference made */
    char literal[FID_SIZE + 24];
    struct buf system, value;
    enum err err;
};

/* "Patient/p-1001" here: its kind and resource; ERR_ABSENT if we have none */
static enum err find_local(struct db *db, const char *literal,
                           struct resource *r)
{
    static const struct {
        const char *type;
        enum fhir_type kind;
    } kinds[] = { { "Patient/", FHIR_PATIENT },
                  { "BodyStructure/", FHIR_BODY_STRUCTURE },
                  { "Observation/", FHIR_OBSERVATION } };

    for (size_t i = 0; i < COUNT(kinds); i++) {
        size_t len = strlen(kinds[i].type);

        if (strncmp(literal, kinds[i].type, len) == 0)
            return resource_by_fid(db, kinds[i].kind, literal + len, r);
    }
    return ERR_ABSENT;
}

/* Asked on this way, or kept from before.  ERR_OK: m->literal, "" if the
 * record has none; ERR_ABSENT: to be asked. */
static enum err known_lookup(struct mapper *m, const char *type)
{
    const char *reference;
    enum err e;

    for (size_t i = 0; i < m->d->look_count; i++) {
        const struct record_lookup *look = &m->d->looks[i];

        if (strcmp(look->type, type) == 0 &&
            strcmp(look->system.data, m->system.data) == 0 &&
            strcmp(look->value.data, m->value.data) == 0) {
            snprintf(m->literal, sizeof(m->literal), "%s", look->reference);
            return ERR_OK;
        }
    }
    e = db_first(m->db, Q_LOOKUP_GET, "sssi", type, m->system.data,
                 m->value.data, m->d->now_ms - LOOKUP_KEPT_MS);
    if (e != ERR_OK)
        return e;
    reference = db_text(m->db, Q_LOOKUP_GET, 0);
    snprintf(m->literal, sizeof(m->literal), "%s",
             reference != NULL ? reference : "");
    db_done(m->db, Q_LOOKUP_GET);
    return ERR_OK;
}

/* One question at a time; beyond the ceiling the reference stays logical. */
static void ask(struct mapper *m, const char *type)
{
    struct record_lookup *look;

    if (m->d->must_look_up || m->d->look_count == RECORD_LOOKUPS_MAX)
        return;
    look = &m->d->looks[m->d->look_count++];
    m->d->must_look_up = true;
    snprintf(look->type, sizeof(look->type), "%s", type);
    look->reference[0] = '\0';
    buf_puts(&look->system, m->system.data);
    buf_puts(&look->value, m->value.data);
}

/* No identifier: a reference by what it is called here. */
static void by_our_name(struct mapper *m, const char *literal,
                        struct fhir_out_ref *out)
{
    buf_empty(&m->value);
    buf_puts(&m->value, literal);
    snprintf(m->text, sizeof(m->text), "%s/NamingSystem/local-reference",
             m->d->base);
    out->system = m->text;
    out->value = m->value.data;
}

static bool map_reference(void *arg, const char *literal,
                          struct fhir_out_ref *out)
{
    struct mapper *m = arg;
    struct resource r;
    const char *type;
    enum err e = find_local(m->db, literal, &r);

    buf_empty(&m->system);
    buf_empty(&m->value);
    if (e == ERR_OK)
        e = resource_first_identifier(m->db, r.id, &m->system, &m->value);
    if (e == ERR_ABSENT) {
        by_our_name(m, literal, out);
        return true;
    }
    if (e != ERR_OK) {
        m->err = e;
        return false;
    }
    out->system = m->system.len > 0 ? m->system.data : NULL;
    out->value = m->value.data;
    if (r.kind == FHIR_OBSERVATION)
        return true;
    type = r.kind == FHIR_PATIENT ? "Patient" : "BodyStructure";
    e = known_lookup(m, type);
    if (e == ERR_ABSENT) {
        ask(m, type);
    } else if (e != ERR_OK) {
        m->err = e;
    } else if (m->literal[0] != '\0') {
        out->literal = m->literal;
        out->system = out->value = NULL;
    }
    return true;
}

static enum err load_row(struct db *db, struct delivery_data *d)
{
    const enum query q = Q_OUTBOX_GET;
    enum err e = db_first(db, q, "i", d->task);
    const char *remote;

    if (e != ERR_OK)
        return e;
    d->wanted = (int)db_int(db, q, 0);
    d->tries = (int)db_int(db, q, 1);
    remote = db_text(db, q, 2);
    snprintf(d->remote, sizeof(d->remote), "%s", remote != NULL ? remote : "");
    snprintf(d->key, sizeof(d->key), "%s", db_text(db, q, 5));
    d->status = (long)db_int(db, q, 6);
    db_done(db, q);
    return ERR_OK;
}

enum err delivery_load(struct db *db, void *arg)
{
    struct delivery_data *d = arg;
    struct mapper m = { .db = db, .d = d, .err = ERR_OK };
    struct resource row;
    struct buf ours;
    int64_t updated_ms;
    enum err e = load_row(db, d);

    d->must_look_up = false;
    buf_empty(&d->body);
    buf_init(&ours, TASK_MAX);
    buf_init(&m.system, ALIAS_SIZE);
    buf_init(&m.value, ALIAS_SIZE);
    if (e == ERR_OK)
        e = resource_get(db, d->task, &row);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &ours, &updated_ms);
    if (e == ERR_OK)
        d->wanted = row.version;
    if (e == ERR_OK)
        e = fhir_task_localise(ours.data, ours.len, map_reference, &m,
                               &d->body);
    if (e == ERR_OK)
        e = m.err;
    buf_clear(&ours);
    buf_clear(&m.system);
    buf_clear(&m.value);
    return e;
}

static enum err save_lookups(struct db *db, const struct delivery_data *d)
{
    size_t answered = d->look_count - (d->must_look_up ? 1 : 0);
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < answered; i++) {
        const struct record_lookup *look = &d->looks[i];

        e = db_run(db, Q_LOOKUP_PUT, "ssssi", look->type, look->system.data,
                   look->value.data,
                   look->reference[0] != '\0' ? look->reference : NULL,
                   d->now_ms);
    }
    return e;
}

/*
 * The record's Task may say what we have not: then a person did it.  What we
 * said ourselves may come back too, after an answer that got lost.
 */
static enum err follow_people(struct db *db, const struct delivery_data *d)
{
    const enum query q = Q_TASK_GET;
    bool ours;
    enum err e;

    if (d->seen_status[0] == '\0' || strcmp(d->seen_status, "requested") == 0)
        return ERR_OK;
    e = db_first(db, q, "i", d->task);
    if (e != ERR_OK)
        return e;
    ours = strcmp(db_text(db, q, 2), d->seen_status) == 0;
    db_done(db, q);
    return ours ? ERR_OK
                : episode_follow(db, d->task, d->seen_status, d->now_ms / 1000);
}

enum err delivery_save(struct db *db, void *arg)
{
    struct delivery_data *d = arg;
    enum err e = save_lookups(db, d);

    if (e == ERR_OK && d->remote[0] != '\0')
        e = db_run(db, Q_OUTBOX_FOUND, "is", d->task, d->remote);
    if (e == ERR_OK)
        e = follow_people(db, d);
    if (e != ERR_OK)
        return e;
    switch (d->result) {
    case DELIVERED:
        return db_run(db, Q_OUTBOX_SENT, "iii", d->task, INT64(d->wanted),
                      INT64(d->status));
    case DELIVER_LATER:
        return db_run(db, Q_OUTBOX_RETRY, "iiii", d->task, INT64(d->tries),
                      d->due_ms, INT64(d->status));
    case DELIVER_NEVER:
        break;
    }
    return db_run(db, Q_OUTBOX_DEAD, "iis", d->task, INT64(d->status),
                  d->answer);
}

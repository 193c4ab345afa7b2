#include "service/delivery.h"

#include "adapters/fhir_write.h"
#include "service/accesses.h"
#include "service/episodes.h"
#include "service/patients.h"

#include <stdio.h>
#include <string.h>

enum { TASK_MAX = 1024 * 1024, LOOKUP_KEPT_MS = 24 * 3600 * 1000 };

void delivery_init(struct delivery_data *d)
{
    buf_init(&d->body, TASK_MAX);
    buf_init(&d->look.system, ALIAS_SIZE);
    buf_init(&d->look.value, ALIAS_SIZE);
}

void delivery_clear(struct delivery_data *d)
{
    buf_clear(&d->body);
    buf_clear(&d->look.system);
    buf_clear(&d->look.value);
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

/* A lookup of before: ERR_OK, reference "" if the record has none. */
static enum err known_lookup(struct mapper *m, const char *type)
{
    enum err e = db_first(m->db, Q_LOOKUP_GET, "sssi", type, m->system.data,
                          m->value.data, m->d->now_ms - LOOKUP_KEPT_MS);
    const char *reference;

    if (e != ERR_OK)
        return e;
    reference = db_text(m->db, Q_LOOKUP_GET, 0);
    snprintf(m->literal, sizeof(m->literal), "%s",
             reference != NULL ? reference : "");
    db_done(m->db, Q_LOOKUP_GET);
    return ERR_OK;
}

static void ask(struct mapper *m, const char *type)
{
    struct record_lookup *look = &m->d->look;

    m->d->must_look_up = true;
    snprintf(look->type, sizeof(look->type), "%s", type);
    buf_empty(&look->system);
    buf_empty(&look->value);
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

enum err delivery_save_lookup(struct db *db, void *arg)
{
    struct delivery_data *d = arg;

    return db_run(db, Q_LOOKUP_PUT, "ssssi", d->look.type, d->look.system.data,
                  d->look.value.data,
                  d->look.reference[0] != '\0' ? d->look.reference : NULL,
                  d->now_ms);
}

enum err delivery_save_remote(struct db *db, void *arg)
{
    struct delivery_data *d = arg;

    return db_run(db, Q_OUTBOX_FOUND, "is", d->task, d->remote);
}

enum err delivery_save(struct db *db, void *arg)
{
    struct delivery_data *d = arg;
    enum err e = ERR_OK;

    if (d->remote[0] != '\0')
        e = delivery_save_remote(db, d);
    if (e == ERR_OK && d->seen_status[0] != '\0' &&
        strcmp(d->seen_status, "requested") != 0)
        e = episode_follow(db, d->task, d->seen_status, d->now_ms / 1000);
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

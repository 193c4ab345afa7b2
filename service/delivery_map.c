#include "service/delivery_map.h"

#include "service/poll_take.h"

#include <stdio.h>
#include <string.h>

enum { LOOKUP_KEPT_MS = 24 * 3600 * 1000 };

/* "Patient/p-1001" here: its kind and resource; ERR_ABSENT if we have none */
static enum err find_local(struct db *db, const char *literal,
                           struct resource *r)
{
    static const struct {
        const char *type;
        enum fhir_type kind;
    } kinds[] = { { "Patient/", FHIR_PATIENT },
                  { "BodyStructure/", FHIR_BODY_STRUCTURE },
                  { "Observation/", FHIR_OBSERVATION },
                  { "Task/", FHIR_TASK },
                  { "DocumentReference/", FHIR_DOCUMENT_REFERENCE },
                  { "ServiceRequest/", FHIR_SERVICE_REQUEST },
                  { "Flag/", FHIR_FLAG },
                  { "Provenance/", FHIR_PROVENANCE },
                  { "List/", FHIR_LIST } };

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
    /* where no more can be asked on this way an older answer is better than
     * none: a list names many people */
    e = db_first(
        m->db, Q_LOOKUP_GET, "sssi", type, m->system.data, m->value.data,
        m->d->look_count == RECORD_LOOKUPS_MAX ? 0
                                               : m->d->now_ms - LOOKUP_KEPT_MS);
    if (e != ERR_OK)
        return e;
    reference = db_text(m->db, Q_LOOKUP_GET, 0);
    snprintf(m->literal, sizeof(m->literal), "%s",
             reference != NULL ? reference : "");
    db_done(m->db, Q_LOOKUP_GET);
    return ERR_OK;
}

/* Beyond the ceiling the reference stays logical. */
static void ask(struct mapper *m, const char *type)
{
    struct record_lookup *look;

    if (m->d->look_count == RECORD_LOOKUPS_MAX)
        return;
    look = &m->d->looks[m->d->look_count++];
    snprintf(look->type, sizeof(look->type), "%s", type);
    look->reference[0] = '\0';
    look->known = false;
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

/*
 * What goes to the record by itself, or with a Task: as the record calls it,
 * if it has it; by urn:uuid, if it is in the same Bundle; else by name.
 */
static enum err map_sent(struct mapper *m, const struct resource *r,
                         const char *literal, struct fhir_out_ref *out)
{
    const enum query q = Q_OUTBOX_REMOTE;
    enum err e = db_first(m->db, q, "i", r->id);

    if (e == ERR_OK) {
        const char *version = db_text(m->db, q, 1);

        snprintf(m->literal, sizeof(m->literal), "%.*s/%s",
                 (int)strcspn(literal, "/"), literal, db_text(m->db, q, 0));
        snprintf(m->version, sizeof(m->version), "%s",
                 version != NULL ? version : "");
        out->literal = m->literal;
        out->version = m->version[0] != '\0' ? m->version : NULL;
        db_done(m->db, q);
        return ERR_OK;
    }
    if (e != ERR_ABSENT)
        return e;
    for (size_t i = 0; m->d->bundled && i < m->d->beside_count; i++) {
        if (m->d->beside[i].row == r->id) {
            resource_urn(r->fid, m->literal);
            out->literal = m->literal;
            return ERR_OK;
        }
    }
    by_our_name(m, literal, out);
    return ERR_OK;
}

/* What was read in the record keeps the id that it has there.  ERR_ABSENT: it
 * came another way. */
static enum err map_origin(struct mapper *m, const struct resource *r,
                           const char *literal, struct fhir_out_ref *out)
{
    char remote[FID_SIZE];
    enum err e = record_origin(m->db, r->id, remote, m->version);

    if (e != ERR_OK)
        return e;
    snprintf(m->literal, sizeof(m->literal), "%.*s/%s",
             (int)strcspn(literal, "/"), literal, remote);
    out->literal = m->literal;
    out->version = m->version[0] != '\0' ? m->version : NULL;
    return ERR_OK;
}

static bool is_ours(enum fhir_type kind)
{
    return kind == FHIR_TASK || kind == FHIR_DOCUMENT_REFERENCE ||
           kind == FHIR_SERVICE_REQUEST || kind == FHIR_FLAG ||
           kind == FHIR_PROVENANCE || kind == FHIR_LIST;
}

bool delivery_map_reference(void *arg, const char *literal,
                            struct fhir_out_ref *out)
{
    struct mapper *m = arg;
    struct resource r;
    const char *type;
    enum err e = find_local(m->db, literal, &r);

    buf_empty(&m->system);
    buf_empty(&m->value);
    if (e == ERR_OK && is_ours(r.kind)) {
        m->err = map_sent(m, &r, literal, out);
        return m->err == ERR_OK;
    }
    if (e == ERR_OK) {
        e = map_origin(m, &r, literal, out);
        if (e != ERR_ABSENT) {
            m->err = e;
            return e == ERR_OK;
        }
        e = resource_first_identifier(m->db, r.id, &m->system, &m->value);
    }
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

#include "service/again_local.h"

#include "service/intake_refs.h"

#include <stdio.h>
#include <string.h>

/* The message that it came in. */
struct message {
    int64_t seq, updated_ms;
    struct fhir_doc *doc;
};

static bool any_local(const struct fhir_observation *o)
{
    bool any = ref_is_local(o->subject.literal);

    for (size_t i = 0; i < o->name_count; i++)
        any = any || ref_is_local(o->names[i].ref.literal);
    for (size_t i = 0; i < o->derived_count; i++)
        any = any || ref_is_local(o->derived_from[i]);
    return any;
}

static enum err read_message(struct db *db, const struct fhir_reader *reader,
                             const struct resource *row, struct buf *body,
                             struct message *m)
{
    const enum query q = Q_VERSION_GET;
    struct outcome outcome;
    enum err e = db_first(db, q, "ii", row->id, INT64(row->version));

    if (e != ERR_OK)
        return e;
    m->updated_ms = db_int(db, q, 0);
    m->seq = db_int(db, q, 1);
    db_done(db, q);
    if (m->seq == 0)
        return ERR_ABSENT;
    e = journal_read(db, m->seq, body);
    outcome_init(&outcome);
    if (e == ERR_OK)
        e = fhir_read(reader, body->data, body->len, &outcome, &m->doc);
    return e == ERR_FORM || e == ERR_LIMIT ? ERR_ABSENT : e;
}

/* The resource here that an entry has become. */
static enum err find_entry(struct db *db, const struct message *m,
                           const struct fhir_item *entry, struct resource *r)
{
    const enum query q = Q_VERSION_AT;
    const struct fhir_identifier *first = &entry->identifiers[0];
    enum err e =
        db_first(db, q, "iii", m->updated_ms, m->seq, INT64(entry->offset));
    int64_t id = e == ERR_OK ? db_int(db, q, 0) : 0;

    db_done(db, q);
    if (e == ERR_OK)
        return resource_get(db, id, r);
    /* it was known already, and nothing of it was new */
    if (e == ERR_ABSENT && entry->identifier_count > 0)
        e = resource_by_identifier(db, entry->type,
                                   first->system != NULL ? first->system : "",
                                   first->value, r);
    if (e == ERR_ABSENT && entry->id != NULL)
        e = resource_by_fid(db, entry->type, entry->id, r);
    return e == ERR_AMBIGUOUS ? ERR_ABSENT : e;
}

static enum err resolve(struct db *db, const struct message *m,
                        const char **literal, struct again_names *names,
                        bool *ok)
{
    enum err e = ERR_ABSENT;

    if (!ref_is_local(*literal))
        return ERR_OK;
    for (size_t i = 0; e == ERR_ABSENT && i < fhir_doc_count(m->doc); i++) {
        const struct fhir_item *entry = fhir_doc_item(m->doc, i);
        struct resource r;

        if (entry->full_url == NULL || strcmp(entry->full_url, *literal) != 0)
            continue;
        e = find_entry(db, m, entry, &r);
        if (e != ERR_OK || names->count == AGAIN_NAMES_MAX)
            continue;
        snprintf(names->texts[names->count], sizeof(names->texts[0]), "%s/%s",
                 entry->type_name, r.fid);
        *literal = names->texts[names->count++];
    }
    *ok = *ok && e == ERR_OK;
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err resolve_all(struct db *db, const struct message *m,
                            struct fhir_observation *o,
                            struct again_names *names, bool *ok)
{
    enum err e = resolve(db, m, &o->subject.literal, names, ok);

    for (size_t i = 0; e == ERR_OK && i < o->name_count; i++)
        e = resolve(db, m, &o->names[i].ref.literal, names, ok);
    for (size_t i = 0; e == ERR_OK && i < o->derived_count; i++)
        e = resolve(db, m, &o->derived_from[i], names, ok);
    return e;
}

enum err again_resolve(struct db *db, const struct fhir_reader *reader,
                       const struct resource *row, struct fhir_item *item,
                       struct again_names *names, bool *ok)
{
    struct fhir_observation *o = &item->u.observation;
    struct message m = { .seq = 0 };
    struct buf body;
    enum err e;

    names->count = 0;
    *ok = true;
    if (!any_local(o))
        return ERR_OK;
    buf_init(&body, BODY_MAX);
    e = read_message(db, reader, row, &body, &m);
    if (e == ERR_ABSENT) {
        *ok = false;
        e = ERR_OK;
    } else if (e == ERR_OK) {
        e = resolve_all(db, &m, o, names, ok);
    }
    fhir_doc_free(m.doc);
    buf_clear(&body);
    return e;
}

/* Some of what came from the record as one collection, read and applied. */
#include "service/poll_take_work.h"

#include "service/accesses.h"
#include "service/again.h"
#include "service/intake.h"
#include "service/news.h"
#include "service/quarantine.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void take_open_batch(struct take_batch *b)
{
    buf_empty(&b->body);
    buf_puts(&b->body, "{\"resourceType\":\"Bundle\",\"type\":\"collection\","
                       "\"entry\":[");
    b->count = 0;
}

/* What the record has deleted is withdrawn, as far as it was a reading. */
static void write_withdrawal(const char *id, struct buf *out)
{
    buf_printf(out,
               "{\"resourceType\":\"Observation\",\"id\":\"%s\","
               "\"status\":\"entered-in-error\"}",
               id);
}

/*
 * A resource as it came, but for references by the record's own address: they
 * become relative, and mean the same whoever reads the bytes later.
 */
static void add_resource(struct buf *out, const char *json, size_t len,
                         const char *base)
{
    static const char key[] = "\"reference\"";
    size_t base_len = base != NULL ? strlen(base) : 0, kept = 0;

    for (size_t i = 0; base_len > 0 && i + sizeof(key) - 1 < len; i++) {
        size_t at = i + sizeof(key) - 1;

        if (json[i] != '"' || memcmp(json + i, key, sizeof(key) - 1) != 0)
            continue;
        while (at < len && strchr(" \t\r\n:", json[at]) != NULL)
            at++;
        if (len - at < base_len + 2 || json[at] != '"' ||
            memcmp(json + at + 1, base, base_len) != 0 ||
            json[at + 1 + base_len] != '/')
            continue;
        buf_add(out, json + kept, at + 1 - kept);
        kept = at + base_len + 2;
        i = kept - 1;
    }
    buf_add(out, json + kept, len - kept);
}

void take_add(struct take_batch *b, size_t i, const struct take_origin *origin)
{
    const struct fhir_page_entry *e = &b->take->page->entries[i];

    buf_puts(&b->body, b->count > 0 ? ",{\"resource\":" : "{\"resource\":");
    if (e->deleted)
        write_withdrawal(e->id, &b->body);
    else
        add_resource(&b->body, b->take->body + e->offset, e->len,
                     b->take->reader->self);
    buf_puts(&b->body, "}");
    b->at[b->count] = i;
    b->fids[b->count][0] = '\0';
    b->origins[b->count++] = *origin;
}

/* It has become this one here; the record's name for it means it too. */
static enum err join_names(struct db *db, struct take_batch *b,
                           struct fhir_item *item, const struct resource *r,
                           const char *remote)
{
    char literal[FID_SIZE + 24];
    int64_t id;
    enum err e;

    if (item->type == FHIR_OBSERVATION || strcmp(remote, r->fid) == 0)
        return ERR_OK;
    snprintf(literal, sizeof(literal), "%s/%s", item->type_name, remote);
    item->full_url = literal;
    if (item->type == FHIR_PATIENT) {
        e = patient_take(db, item, r->fid, r->id, &id);
    } else {
        e = access_take(db, item, r->fid, r->id, b->take->merge_implied, &id);
        if (e == ERR_OK)
            e = news_mark(db, id, b->take->now_ms);
    }
    item->full_url = NULL;
    if (e == ERR_OK && item->type == FHIR_PATIENT)
        e = again_patient(db, b->take->reader, id);
    return e;
}

/* The same, of which nothing is left if two people would become one. */
static enum err join_alone(struct db *db, struct take_batch *b, size_t k,
                           struct fhir_item *item, const struct resource *r)
{
    const char *remote = b->take->page->entries[b->at[k]].id;
    enum err e = db_run(db, Q_SAVE_ENTRY, ""), joined;

    if (e != ERR_OK)
        return e;
    joined = join_names(db, b, item, r, remote);
    if (joined != ERR_OK) {
        e = db_run(db, Q_UNDO_ENTRY, "");
        db_forget_ids(db);
    }
    if (e == ERR_OK)
        e = db_run(db, Q_RELEASE_ENTRY, "");
    if (e != ERR_OK || joined != ERR_CONFLICT)
        return e != ERR_OK ? e : joined;
    b->take->refused++;
    return poll_not_taken(db, b->take, b->at[k], 409, "",
                          "Its id at the record is known here as that of "
                          "somebody else");
}

/* Where it came from, and whom it speaks of. */
static enum err note(struct db *db, struct take_batch *b, size_t k,
                     struct fhir_item *item, const struct intake_result *result)
{
    const struct fhir_page_entry *p = &b->take->page->entries[b->at[k]];
    struct resource r = { .id = 0 };
    char version[FID_SIZE];
    enum err e = ERR_OK;

    take_version_of(p, version);
    if (result->status < 400)
        e = resource_by_fid(db, item->type, result->fid, &r);
    else
        e = take_note_refusal(db, b->take, b->at[k], result->status,
                              &item->outcome);
    if (e == ERR_OK && p->id != NULL)
        e = db_run(db, Q_ORIGIN_PUT, "issii", INT64(item->type), p->id, version,
                   p->updated_ms, r.id);
    if (e == ERR_OK && r.id != 0 && p->id != NULL &&
        b->origins[k].resource == 0)
        e = join_alone(db, b, k, item, &r);
    /* what was not taken before, and is now, waits for nobody */
    if (e == ERR_OK && r.id != 0 && b->origins[k].resource == 0 &&
        b->origins[k].version[0] != '\0')
        e = quarantine_close_remote(db, item->type, p->id, 0, b->take->now_ms);
    if (result->status < 400) {
        b->take->stored++;
        b->take->withdrawn += p->deleted ? 1 : 0;
    }
    return e == ERR_OK ? take_want_all(db, b->take, item) : e;
}

static enum err apply(struct db *db, struct take_batch *b, struct fhir_doc *doc)
{
    struct intake in = { .doc = doc,
                         .reader = b->take->reader,
                         .body = b->body.data,
                         .len = b->body.len,
                         .source = SOURCE_FEED,
                         .sender = "record",
                         .way = (enum quarantine_way)b->take->source,
                         .merge_implied = b->take->merge_implied,
                         .now_ms = b->take->now_ms,
                         .results = calloc(b->count + 1,
                                           sizeof(struct intake_result)) };
    enum err e = in.results != NULL ? ERR_OK : ERR_MEMORY;

    for (size_t k = 0; e == ERR_OK && k < b->count; k++) {
        struct fhir_item *item = fhir_doc_item(doc, k);

        if (b->fids[k][0] == '\0')
            continue;
        item->method = "PUT"; /* the owner's word */
        item->url_id = b->fids[k];
    }
    if (e == ERR_OK)
        e = intake_apply(db, &in);
    for (size_t k = 0; e == ERR_OK && k < b->count; k++)
        e = note(db, b, k, fhir_doc_item(doc, k), &in.results[k]);
    b->take->news = b->take->news || in.news;
    free(in.results);
    return e;
}

/* The number here of what the record has told us of before. */
static enum err find_fids(struct db *db, struct take_batch *b)
{
    for (size_t k = 0; k < b->count; k++) {
        struct resource r;
        enum err e;

        if (b->origins[k].resource == 0)
            continue;
        e = resource_get(db, b->origins[k].resource, &r);
        if (e != ERR_OK && e != ERR_ABSENT)
            return e;
        if (e == ERR_OK)
            snprintf(b->fids[k], FID_SIZE, "%s", r.fid);
    }
    return ERR_OK;
}

static enum err read_and_apply(struct db *db, struct take_batch *b,
                               struct outcome *outcome)
{
    struct fhir_doc *doc;
    enum err e = buf_ok(&b->body);

    if (e == ERR_OK)
        e = fhir_read(b->take->reader, b->body.data, b->body.len, outcome,
                      &doc);
    if (e != ERR_OK)
        return e == ERR_MEMORY ? e : ERR_FORM;
    e = find_fids(db, b);
    if (e == ERR_OK)
        e = apply(db, b, doc);
    fhir_doc_free(doc);
    return e;
}

enum err take_close_batch(struct db *db, struct take_batch *b)
{
    struct outcome outcome;
    size_t at[TAKE_BATCH_ENTRIES], count = b->count;
    struct take_origin origin;
    enum err e;

    if (count == 0)
        return ERR_OK;
    outcome_init(&outcome);
    buf_puts(&b->body, "]}");
    e = read_and_apply(db, b, &outcome);
    if (e != ERR_FORM)
        return e;
    if (count == 1)
        return take_note_refusal(db, b->take, b->at[0], 400, &outcome);
    /* one of them spoils the others: each by itself */
    memcpy(at, b->at, sizeof(at));
    for (size_t k = 0; k < count; k++) {
        origin = b->origins[k];
        take_open_batch(b);
        take_add(b, at[k], &origin);
        e = take_close_batch(db, b);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

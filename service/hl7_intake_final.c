/*
 * Results in the store that a message gives another status: preliminary ones
 * that become final (U), and what stood beside one that is taken back.
 */
#include "service/hl7_intake_work.h"

#include "adapters/fhir_touch.h"

#include <stdlib.h>

static void say_unknown(struct hl7_intake *in, const struct hl7_entry *entry)
{
    struct hl7_place place = entry->place;

    place.field = 11;
    in->refused++;
    hl7_issue_add(&in->issues, HL7_ERROR, HL7_UNKNOWN_KEY, "not-found", &place,
                  "It makes a result final that is not known here");
}

static enum err note_resource(struct hl7_restated *out, int64_t id)
{
    if (out->count == out->size) {
        size_t size = out->size > 0 ? 2 * out->size : 8;
        int64_t *more = realloc(out->resources, size * sizeof(*more));

        if (more == NULL)
            return ERR_MEMORY;
        out->resources = more;
        out->size = size;
    }
    out->resources[out->count++] = id;
    return ERR_OK;
}

enum err hl7_put_status(struct db *db, const struct resource *row,
                        const char *status, struct hl7_restated *out)
{
    struct buf *b = &out->body, body;
    int64_t updated_ms;
    enum err e;

    buf_init(&body, BODY_MAX);
    e = resource_body(db, row, 0, &body, &updated_ms);
    if (e == ERR_OK) {
        buf_puts(b, b->len == 0
                        ? "{\"resourceType\":\"Bundle\",\"type\":\"batch\","
                          "\"entry\":[{\"resource\":"
                        : ",{\"resource\":");
        e = fhir_put_status(body.data, body.len, status, b);
        buf_puts(b, ",\"request\":{\"method\":\"POST\","
                    "\"url\":\"Observation\"}}");
    }
    buf_clear(&body);
    return e == ERR_OK ? note_resource(out, row->id) : e;
}

static enum err promote_one(struct db *db, struct hl7_intake *in, size_t i,
                            struct hl7_restated *out)
{
    const struct hl7_entry *entry = &in->oru.entries[i];
    struct resource row;
    enum err e;

    if (!entry->promote)
        return ERR_OK;
    e = hl7_find_result(db, fhir_doc_item(in->doc, i), &row);
    if (e == ERR_ABSENT && entry->if_known)
        return ERR_OK; /* it may have had fewer repetitions */
    if (e == ERR_ABSENT || e == ERR_AMBIGUOUS) {
        say_unknown(in, entry);
        return ERR_OK;
    }
    if (e != ERR_OK)
        return e;
    if (row.status != READING_PRELIMINARY) {
        in->there++; /* it is final, or more than that */
        return ERR_OK;
    }
    in->stored++;
    return hl7_put_status(db, &row, "final", out);
}

/* Each entry is of the resource whose bytes it has, whatever its identifiers
 * say: several may have been told apart by more than these. */
static enum err apply_entries(struct db *db, struct intake *final,
                              const struct hl7_restated *from)
{
    size_t count = fhir_doc_count(final->doc);
    struct hl7_match *keys = calloc(count + 1, sizeof(*keys));
    enum err e = ERR_OK;

    final->results = calloc(count + 1, sizeof(*final->results));
    if (final->results == NULL || keys == NULL)
        e = ERR_MEMORY;
    for (size_t i = 0; e == ERR_OK && i < count && i < from->count; i++)
        e = hl7_adopt(db, &keys[i], fhir_doc_item(final->doc, i),
                      from->resources[i]);
    if (e == ERR_OK)
        e = intake_apply(db, final);
    free(final->results);
    free(keys);
    return e;
}

/* A Bundle of stored Observations, which have been read before. */
static enum err apply_final(struct db *db, struct hl7_intake *in,
                            const struct hl7_restated *from)
{
    struct outcome outcome;
    struct intake final = { .reader = &in->reader,
                            .body = from->body.data,
                            .len = from->body.len,
                            .source = SOURCE_FEED,
                            .merge_implied = in->merge_implied,
                            .now_ms = in->now_ms,
                            .sender = in->profile->name,
                            .sample = in->control,
                            .way = in->way };
    enum err e;

    outcome_init(&outcome);
    e = fhir_read(&in->reader, from->body.data, from->body.len, &outcome,
                  &final.doc);
    if (e != ERR_OK)
        return e;
    e = apply_entries(db, &final, from);
    if (e == ERR_OK)
        in->news = in->news || final.news;
    fhir_doc_free(final.doc);
    return e;
}

enum err hl7_items_promote(struct db *db, struct hl7_intake *in)
{
    struct hl7_restated restated = { .count = 0 };
    enum err e = ERR_OK;

    buf_init(&restated.body, BODY_MAX);
    for (size_t i = 0; e == ERR_OK && i < in->oru.entry_count; i++) {
        e = promote_one(db, in, i, &restated);
        if (e == ERR_OK)
            e = hl7_items_withdraw(db, in, i, &restated);
    }
    if (e == ERR_OK && restated.count > 0) {
        buf_puts(&restated.body, "]}");
        e = buf_ok(&restated.body);
        if (e == ERR_OK)
            e = apply_final(db, in, &restated);
    }
    buf_clear(&restated.body);
    free(restated.resources);
    return e;
}

/* The next step of a file, taken apart: on the pool. */
#include "service/drop_work.h"

#include <stdlib.h>
#include <string.h>

#define WRAP_OPEN                                                              \
    "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":["         \
    "{\"resource\":"
#define WRAP_CLOSE "}]}"

/* ---- parts ---------------------------------------------------------------- */

/* Whatever is wrong with it stands in its outcome.  ERR_MEMORY. */
static enum err read_part(const struct drop *d, struct drop_part *part)
{
    enum err e = fhir_read(&d->reader, part->body, part->len, &part->outcome,
                           &part->doc);

    if (e == ERR_MEMORY)
        return e;
    if (e != ERR_OK) {
        part->doc = NULL;
        return ERR_OK;
    }
    part->results =
        calloc(fhir_doc_count(part->doc) + 1, sizeof(*part->results));
    return part->results != NULL ? ERR_OK : ERR_MEMORY;
}

static struct drop_part *new_part(struct drop *d, size_t own_max)
{
    struct drop_part *part = &d->parts[d->part_count++];

    part->doc = NULL;
    part->results = NULL;
    part->first = 0;
    part->bundle = false;
    outcome_init(&part->outcome);
    buf_init(&part->own, own_max);
    return part;
}

/* All lines as one Bundle; ERR_FORM: one of them spoils it. */
static enum err read_together(struct drop *d)
{
    const struct feed_batch *batch = &d->parcel.batch;
    struct drop_part *part = new_part(d, 0);
    enum err e;

    part->body = batch->body.data;
    part->len = batch->body.len;
    e = read_part(d, part);
    if (e == ERR_OK && part->doc != NULL &&
        fhir_doc_count(part->doc) == batch->count)
        return ERR_OK;
    drop_free_step(d);
    return e == ERR_OK ? ERR_FORM : e;
}

/* A line by itself: a Bundle as it is, so that its kind counts. */
static enum err read_line(struct drop *d, size_t i)
{
    const struct feed_batch *batch = &d->parcel.batch;
    const struct feed_entry *entry = &batch->entries[i];
    const char *text = batch->body.data + entry->start;
    struct drop_part *part = new_part(d, DROP_BYTES + 256);
    enum err e;

    part->first = i;
    part->bundle = feed_is_bundle(text, entry->len);
    if (part->bundle) {
        part->body = text;
        part->len = entry->len;
        return read_part(d, part);
    }
    feed_batch_single(batch, i, &part->own);
    part->body = part->own.data;
    part->len = part->own.len;
    e = buf_ok(&part->own);
    return e == ERR_OK ? read_part(d, part) : ERR_MEMORY;
}

static bool has_bundle(const struct feed_batch *batch)
{
    for (size_t i = 0; i < batch->count; i++) {
        if (feed_is_bundle(batch->body.data + batch->entries[i].start,
                           batch->entries[i].len))
            return true;
    }
    return false;
}

static enum err read_lines(struct drop *d)
{
    const struct feed_batch *batch = &d->parcel.batch;
    enum err e = feed_parcel_next(d->feed, &d->parcel);

    if (e == ERR_ABSENT)
        d->ended = true;
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    d->end = d->parcel.taken;
    d->end_line = d->parcel.lines;
    if (batch->count == 0)
        return ERR_OK;
    e = has_bundle(batch) ? ERR_FORM : read_together(d);
    if (e != ERR_FORM)
        return e;
    e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < batch->count; i++)
        e = read_line(d, i);
    return e;
}

/* ---- a document ----------------------------------------------------------- */

static enum err read_document(struct drop *d)
{
    struct drop_part *part;
    enum err e;

    buf_empty(&d->text);
    e = feed_rest(d->feed, &d->text);
    if (e == ERR_LIMIT) {
        d->reason = "the document is too long; as NDJSON, one resource a "
                    "line, it may have any length";
        return ERR_OK;
    }
    if (e != ERR_OK)
        return e;
    d->ended = true;
    d->end = feed_taken(d->feed);
    d->end_line = 1;
    part = new_part(d, (size_t)DROP_DOCUMENT_MAX + 256);
    part->bundle = feed_is_bundle(d->text.data, d->text.len);
    part->body = d->text.data;
    part->len = d->text.len;
    if (part->bundle)
        return read_part(d, part);
    buf_puts(&part->own, WRAP_OPEN);
    buf_add(&part->own, d->text.data, d->text.len);
    buf_puts(&part->own, WRAP_CLOSE);
    part->body = part->own.data;
    part->len = part->own.len;
    return buf_ok(&part->own) == ERR_OK ? read_part(d, part) : ERR_MEMORY;
}

void drop_read(struct drop *d)
{
    d->reader.now_s = d->options.now_ms() / 1000;
    d->err = d->form == DROP_DOCUMENT ? read_document(d) : read_lines(d);
    if (d->err != ERR_OK)
        drop_free_step(d);
}

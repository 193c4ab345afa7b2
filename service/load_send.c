/*
 * A body to the service, and what becomes of each of its entries.
 *
 * A Bundle that is refused as a whole is sent again entry by entry, so that
 * only what is at fault is lost.
 */
#include "service/load.h"

#include <stdlib.h>

#define BUNDLE_ROOM 256

bool load_call(struct load *l, const char *path, const char *content_type,
               const char *accept, const char *body, size_t len, long *status,
               struct buf *out)
{
    enum err e = session_call_as(&l->session, "POST", path, content_type,
                                 accept, body, len, status, out);

    if (e == ERR_OK && *status != 401 && *status != 403 && *status != 404 &&
        *status != 429 && *status != 503)
        return true;
    progress_clear(&l->progress);
    session_complain_of(&l->session, *status, e, out);
    fprintf(stderr,
            "headgate: %s: stopped; what was loaded before stays, and may be "
            "sent again\n",
            l->name);
    l->broken = true;
    return false;
}

/* An answer taken apart: the fate of each, and all that was said. */
struct answered {
    struct error_answer *said;
    size_t count;
    bool lone;
};

/* False: nothing more can be sent. */
static bool send_body(struct load *l, const struct buf *body,
                      struct answered *a)
{
    struct buf out;
    long status = 0;
    enum err e = ERR_OK;
    bool ok;

    *a = (struct answered){ .said = NULL };
    buf_init(&out, LOAD_ANSWER_MAX);
    ok = load_call(l, "/fhir", "application/fhir+json", NULL, body->data,
                   body->len, &status, &out);
    if (ok)
        e = fhir_answer_read(out.data, out.len, (int)status, l->answers,
                             LOAD_ENTRIES_MAX, &a->count, &a->lone);
    if (ok && e == ERR_OK)
        e = error_answer_open(out.data, out.len, &a->said);
    buf_clear(&out);
    if (e != ERR_OK) {
        progress_clear(&l->progress);
        session_complain(&l->session, status, e);
        l->broken = true;
    }
    return ok && e == ERR_OK;
}

void load_send_whole(struct load *l, const struct buf *body,
                     const struct error_place *place, bool lone_is_all)
{
    struct error_place at = *place;
    struct answered a;

    if (!send_body(l, body, &a))
        return;
    for (size_t i = 0; i < a.count; i++) {
        at.entry = a.lone || !lone_is_all ? 0 : i + 1;
        load_count(l, &l->answers[i], a.said, i, &at);
    }
    if (a.lone && lone_is_all && l->answers[0].fate == FATE_REFUSED) {
        progress_clear(&l->progress);
        fprintf(stderr, "%s:%llu: nothing of this Bundle was loaded\n", l->name,
                (unsigned long long)place->line);
    }
    error_answer_close(a.said);
}

static struct error_place place_of(const struct load *l,
                                   const struct feed_entry *entry)
{
    return (struct error_place){ .file = l->name,
                                 .line = entry->line,
                                 .offset = entry->offset };
}

/* Those that were no objects, as far as that line: in the order of the file. */
static void refuse_before(struct load *l, uint64_t line)
{
    const struct feed_parcel *parcel = l->parcel;

    while (!l->broken && l->next_fault < parcel->fault_count &&
           parcel->faults[l->next_fault].at.line < line) {
        const struct feed_fault *fault = &parcel->faults[l->next_fault++];
        struct error_place place = place_of(l, &fault->at);

        if (fault->err == ERR_LIMIT)
            load_refuse(l, &place, "too-long", "the line is too long");
        else
            load_refuse(l, &place, "json-syntax",
                        "the line is not one JSON object");
    }
}

/* A Bundle that stands in a line goes as it is, so that its own kind counts;
 * anything else in a Bundle of its own. */
static void send_single(struct load *l, const struct feed_batch *batch,
                        size_t i)
{
    const struct feed_entry *entry = &batch->entries[i];
    const char *text = batch->body.data + entry->start;
    struct error_place place = place_of(l, entry);
    bool bundle = feed_is_bundle(text, entry->len);
    struct buf one;

    refuse_before(l, entry->line);
    buf_init(&one, (size_t)FEED_LINE_MAX + BUNDLE_ROOM);
    if (bundle)
        buf_add(&one, text, entry->len);
    else
        feed_batch_single(batch, i, &one);
    if (buf_ok(&one) != ERR_OK)
        load_refuse(l, &place, "too-long", "the line is too long");
    else
        load_send_whole(l, &one, &place, bundle);
    buf_clear(&one);
}

static void send_singly(struct load *l, const struct feed_batch *batch)
{
    for (size_t i = 0; i < batch->count && !l->broken; i++)
        send_single(l, batch, i);
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

static void send_batch(struct load *l, const struct feed_batch *batch)
{
    struct answered a;

    if (has_bundle(batch)) {
        send_singly(l, batch);
        return;
    }
    if (!send_body(l, &batch->body, &a))
        return;
    if (a.lone && batch->count > 1) {
        send_singly(l, batch);
    } else {
        for (size_t i = 0; i < a.count && i < batch->count; i++) {
            struct error_place place = place_of(l, &batch->entries[i]);

            refuse_before(l, place.line);
            load_count(l, &l->answers[i], a.said, i, &place);
        }
    }
    error_answer_close(a.said);
}

void load_send_parcel(struct load *l, const struct feed_parcel *parcel)
{
    l->parcel = parcel;
    l->next_fault = 0;
    if (parcel->batch.count > 0)
        send_batch(l, &parcel->batch);
    refuse_before(l, UINT64_MAX);
}

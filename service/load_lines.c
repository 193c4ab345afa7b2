/* The lines of a file, or the one document that it is. */
#include "service/load.h"

#include <errno.h>
#include <string.h>

void load_lines(struct load *l, struct feed *feed)
{
    struct feed_parcel parcel;
    enum err e =
        feed_parcel_init(&parcel, LOAD_ENTRIES_AT_ONCE, LOAD_BYTES_AT_ONCE);

    if (e != ERR_OK) {
        load_say_unreadable(l, e);
        return;
    }
    while (!l->broken && load_stopped() == 0) {
        errno = 0;
        e = feed_parcel_next(feed, &parcel);
        if (e != ERR_OK)
            break;
        load_send_parcel(l, &parcel);
        if (!l->broken)
            load_mark(l, parcel.taken, parcel.lines);
        progress_update(&l->progress, feed_taken(feed), load_now_ms());
    }
    /* A read that the signal interrupted is no fault of the file. */
    if (e != ERR_OK && e != ERR_ABSENT && load_stopped() == 0)
        load_say_unreadable(l, e);
    feed_parcel_clear(&parcel);
}

static bool is_blank(const struct buf *body)
{
    return body->len == 0 || strspn(body->data, " \t\r\n") == body->len;
}

static void wrap(const struct buf *body, struct buf *out)
{
    buf_puts(out, "{\"resourceType\":\"Bundle\",\"type\":"
                  "\"collection\",\"entry\":[{\"resource\":");
    buf_add(out, body->data, body->len);
    buf_puts(out, "}]}");
}

/* A Bundle as it is, so that its own kind (batch, transaction) counts; a
 * single resource in a Bundle around it. */
void load_document(struct load *l, struct feed *feed)
{
    struct error_place place = { .file = l->name, .line = 1 };
    struct buf body, wrapped;
    enum err e;

    buf_init(&body, LOAD_DOCUMENT_MAX);
    buf_init(&wrapped, LOAD_DOCUMENT_MAX + 256);
    errno = 0;
    e = feed_rest(feed, &body);
    if (e == ERR_OK && !is_blank(&body)) {
        bool bundle = feed_is_bundle(body.data, body.len);

        if (!bundle)
            wrap(&body, &wrapped);
        e = buf_ok(&wrapped);
        if (e == ERR_OK)
            load_send_whole(l, bundle ? &body : &wrapped, &place, bundle);
    }
    if (e == ERR_LIMIT)
        load_refuse(l, &place, "too-long",
                    "the document is too long; send it as NDJSON, one "
                    "resource a line");
    else if (e != ERR_OK)
        load_say_unreadable(l, e);
    if (!l->broken)
        load_mark(l, feed_taken(feed), 1);
    buf_clear(&body);
    buf_clear(&wrapped);
}

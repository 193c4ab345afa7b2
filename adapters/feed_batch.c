/* Lines into Bundles; the lines themselves are in feed.c. */
#include "adapters/feed.h"

#include "adapters/feed_work.h"

#include <stdlib.h>

#define BUNDLE_OPEN                                                            \
    "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":["
#define BUNDLE_CLOSE "]}"
#define ENTRY_OPEN   "{\"resource\":"
#define ENTRY_CLOSE  "}"

enum {
    BUNDLE_ROOM = sizeof(BUNDLE_OPEN BUNDLE_CLOSE) - 1,
    ENTRY_ROOM = sizeof(ENTRY_OPEN ENTRY_CLOSE), /* and a comma for the NUL */
    BUNDLE_LEAST = 256
};

enum err feed_batch_init(struct feed_batch *batch, size_t entries_max,
                         size_t bytes_max)
{
    struct feed_entry *entries;

    if (entries_max == 0 || bytes_max < BUNDLE_LEAST)
        return ERR_RANGE;
    entries = calloc(entries_max, sizeof(*entries));
    if (entries == NULL)
        return ERR_MEMORY;
    *batch = (struct feed_batch){ .entries = entries,
                                  .entries_max = entries_max,
                                  .bytes_max = bytes_max };
    buf_init(&batch->body, bytes_max);
    return ERR_OK;
}

void feed_batch_clear(struct feed_batch *batch)
{
    free(batch->entries);
    buf_clear(&batch->body);
    *batch = (struct feed_batch){ .entries = NULL };
    buf_init(&batch->body, 0);
}

bool feed_batch_fits(const struct feed_batch *batch, size_t len)
{
    size_t used = batch->body.len > 0
                      ? batch->body.len + sizeof(BUNDLE_CLOSE) - 1
                      : BUNDLE_ROOM;

    return batch->count < batch->entries_max &&
           len <= batch->bytes_max - ENTRY_ROOM &&
           used <= batch->bytes_max - ENTRY_ROOM - len;
}

void feed_batch_add(struct feed_batch *batch, const struct feed_line *line)
{
    struct buf *body = &batch->body;

    buf_puts(body, batch->count == 0 ? BUNDLE_OPEN ENTRY_OPEN : "," ENTRY_OPEN);
    batch->entries[batch->count++] =
        (struct feed_entry){ .line = line->number,
                             .offset = line->offset,
                             .start = body->len,
                             .len = line->len };
    buf_add(body, line->text, line->len);
    buf_puts(body, ENTRY_CLOSE);
}

enum err feed_batch_complete(struct feed_batch *batch)
{
    buf_puts(&batch->body, BUNDLE_CLOSE);
    batch->complete = true;
    return buf_ok(&batch->body);
}

void feed_batch_renew(struct feed_batch *batch)
{
    buf_empty(&batch->body);
    batch->count = 0;
    batch->complete = false;
}

enum err feed_gather(struct feed *feed, struct feed_batch *batch)
{
    struct feed_line line;
    enum err e;

    if (batch->complete)
        feed_batch_renew(batch);
    for (;;) {
        e = feed_next(feed, &line);
        if (e == ERR_OK && feed_batch_fits(batch, line.len)) {
            feed_batch_add(batch, &line);
            continue;
        }
        if (e == ERR_OK && batch->count > 0)
            feed_again(feed); /* first of the next Bundle */
        else if (e == ERR_OK)
            e = ERR_LIMIT;
        if (e == ERR_OK || (e == ERR_ABSENT && batch->count > 0))
            return feed_batch_complete(batch);
        line.text = NULL;
        if (e == ERR_FORM || e == ERR_LIMIT)
            batch->problem = line;
        return e;
    }
}

void feed_batch_single(const struct feed_batch *batch, size_t i,
                       struct buf *out)
{
    const struct feed_entry *entry = &batch->entries[i];

    buf_empty(out);
    buf_puts(out, BUNDLE_OPEN ENTRY_OPEN);
    buf_add(out, batch->body.data + entry->start, entry->len);
    buf_puts(out, ENTRY_CLOSE BUNDLE_CLOSE);
}

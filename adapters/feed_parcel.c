/* Steps through a file; the Bundles are made in feed_batch.c. */
#include "adapters/feed.h"

#include "adapters/feed_work.h"

#include <stdlib.h>

enum err feed_parcel_init(struct feed_parcel *parcel, size_t entries_max,
                          size_t bytes_max)
{
    struct feed_fault *faults;
    enum err e = feed_batch_init(&parcel->batch, entries_max, bytes_max);

    if (e != ERR_OK)
        return e;
    faults = calloc(entries_max, sizeof(*faults));
    if (faults == NULL) {
        feed_batch_clear(&parcel->batch);
        return ERR_MEMORY;
    }
    parcel->faults = faults;
    parcel->fault_count = 0;
    parcel->taken = parcel->lines = 0;
    buf_init(&parcel->faulty, bytes_max);
    return ERR_OK;
}

void feed_parcel_clear(struct feed_parcel *parcel)
{
    free(parcel->faults);
    parcel->faults = NULL;
    buf_clear(&parcel->faulty);
    feed_batch_clear(&parcel->batch);
}

static bool is_empty(const struct feed_parcel *parcel)
{
    return parcel->batch.count == 0 && parcel->fault_count == 0;
}

/* One more of those that cannot be used; false: the parcel is full. */
static bool add_fault(struct feed_parcel *parcel, enum err e,
                      const struct feed_line *line)
{
    struct buf *faulty = &parcel->faulty;
    bool has_text = line->text != NULL;
    bool fits = !has_text || line->len <= faulty->ceiling - faulty->len;

    if (parcel->fault_count == parcel->batch.entries_max ||
        (!fits && !is_empty(parcel)))
        return false;
    parcel->faults[parcel->fault_count++] =
        (struct feed_fault){ .err = e,
                             .at = { .line = line->number,
                                     .offset = line->offset,
                                     .start = faulty->len,
                                     .len = line->len },
                             .kept = has_text && fits };
    if (has_text && fits)
        buf_add(faulty, line->text, line->len);
    return true;
}

/* One line into the parcel; false: it is full, and the line was left. */
static bool take(struct feed_parcel *parcel, enum err e,
                 const struct feed_line *line)
{
    if (e == ERR_OK && feed_batch_fits(&parcel->batch, line->len)) {
        feed_batch_add(&parcel->batch, line);
        return true;
    }
    if (e == ERR_OK && parcel->batch.count > 0)
        return false;
    return add_fault(parcel, e == ERR_OK ? ERR_LIMIT : e, line);
}

enum err feed_parcel_next(struct feed *feed, struct feed_parcel *parcel)
{
    struct feed_line line;
    enum err e;

    feed_batch_renew(&parcel->batch);
    buf_empty(&parcel->faulty);
    parcel->fault_count = 0;
    for (;;) {
        e = feed_next(feed, &line);
        if (e != ERR_OK && e != ERR_FORM && e != ERR_LIMIT)
            break;
        if (take(parcel, e, &line))
            continue;
        feed_again(feed);
        e = ERR_ABSENT;
        break;
    }
    if (e != ERR_ABSENT || is_empty(parcel))
        return e;
    parcel->taken = feed_taken(feed);
    parcel->lines = feed_lines(feed);
    e = buf_ok(&parcel->faulty);
    return e == ERR_OK && parcel->batch.count > 0
               ? feed_batch_complete(&parcel->batch)
               : e;
}

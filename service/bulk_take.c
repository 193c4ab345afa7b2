/* The lines of an exported file go into the store, some at a time. */
#include "service/bulk_work.h"

#include <string.h>

static struct poll_take new_take(struct bulk *b, const struct fhir_page *page)
{
    return (struct poll_take){ .page = page,
                               .body = b->batch.body.data,
                               .reader = &b->reader,
                               .merge_implied =
                                   b->options.config->merge_implied,
                               .anew = b->since[0] == '\0',
                               .source = TAKE_BULK,
                               .file = (int)b->file + 1,
                               .places = b->batch.entries,
                               .now_ms = b->options.now_ms() };
}

static void add_up(struct bulk *b, const struct poll_take *t)
{
    b->totals.stored += t->stored + t->known;
    b->totals.refused += t->refused;
    b->news = b->news || t->news;
    b->fetches = b->fetches || t->fetches;
}

/* A line that is no resource. */
static enum err note_line(struct db *db, struct bulk *b,
                          const struct feed_entry *at, const char *text)
{
    struct fhir_page none = { .count = 0 };
    struct poll_take take = new_take(b, &none);

    take.places = at;
    b->totals.refused++;
    return poll_not_taken(db, &take, 0, 400, "", text);
}

static enum err take_page(struct db *db, struct bulk *b, const char *body,
                          size_t len, const struct feed_entry *places)
{
    struct fhir_page page;
    struct poll_take take;
    enum err e = fhir_page_read(body, len, &page);

    if (e != ERR_OK)
        return e;
    take = new_take(b, &page);
    take.body = body;
    take.places = places;
    e = poll_take(db, &take);
    add_up(b, &take);
    fhir_page_clear(&page);
    return e;
}

/* Each line by itself: one of them is no JSON. */
static enum err take_lines(struct db *db, struct bulk *b)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < b->batch.count; i++) {
        const struct feed_entry *at = &b->batch.entries[i];

        e = take_page(db, b, b->batch.body.data + at->start, at->len, at);
        if (e == ERR_FORM || e == ERR_LIMIT)
            e = note_line(db, b, at, "This line is no resource in JSON");
    }
    return e;
}

/* Each line is a Bundle of deletions. */
static enum err take_deletions(struct db *db, struct bulk *b,
                               const struct feed_entry *at)
{
    const char *line = b->batch.body.data + at->start;
    struct fhir_page page;
    struct poll_take take;
    enum err e = fhir_page_read(line, at->len, &page);

    if (e == ERR_FORM || e == ERR_LIMIT)
        return note_line(db, b, at, "This line is no Bundle in JSON");
    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < page.count; i++)
        page.entries[i].outcome = !page.entries[i].deleted;
    take = new_take(b, &page);
    take.body = line;
    take.places = NULL;
    e = poll_take(db, &take);
    add_up(b, &take);
    fhir_page_clear(&page);
    return e;
}

static enum err take_batch(struct db *db, struct bulk *b)
{
    enum err e = ERR_OK;

    b->lines = b->batch.count;
    if (!b->manifest.files[b->file].deletions) {
        e = take_page(db, b, b->batch.body.data, b->batch.body.len,
                      b->batch.entries);
        return e == ERR_FORM || e == ERR_LIMIT ? take_lines(db, b) : e;
    }
    for (size_t i = 0; e == ERR_OK && i < b->batch.count; i++)
        e = take_deletions(db, b, &b->batch.entries[i]);
    return e;
}

static enum err take_next(struct db *db, struct bulk *b)
{
    enum err e = feed_gather(b->feed, &b->batch);
    struct feed_entry at;

    if (e == ERR_OK)
        return take_batch(db, b);
    if (e == ERR_FORM || e == ERR_LIMIT) {
        at = (struct feed_entry){ .line = b->batch.problem.number,
                                  .offset = b->batch.problem.offset };
        b->lines = 1;
        return note_line(db, b, &at,
                         e == ERR_LIMIT ? "This line is too long"
                                        : "This line is no JSON object");
    }
    b->file_done = e == ERR_ABSENT;
    b->disk_failed = e == ERR_IO;
    return e == ERR_ABSENT || e == ERR_IO ? ERR_OK : e;
}

enum err bulk_run_take(struct db *db, void *arg)
{
    struct bulk *b = arg;
    enum err e;

    memset(&b->totals, 0, sizeof(b->totals));
    b->lines = 0;
    b->news = b->fetches = false;
    b->reader.now_s = b->options.now_ms() / 1000;
    e = take_next(db, b);
    return e == ERR_OK
               ? db_run(db, Q_BULK_COUNT, "iiii", b->row, INT64(b->lines),
                        INT64(b->totals.stored), INT64(b->totals.refused))
               : e;
}

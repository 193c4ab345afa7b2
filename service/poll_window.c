/* A page of a window is taken, and how far the window got is noted with it. */
#include "service/poll_work.h"

#include <stdlib.h>
#include <string.h>

enum {
    SECOND_MS = 1000, /* an HTTP-date, and some servers' times, have whole
                         seconds */
};

void poll_window_start(struct poll_window *w, const struct poll_source *source,
                       int64_t from_ms)
{
    if (!w->durable && !w->again)
        w->cursor_ms = from_ms != INT64_MIN ? from_ms : source->now_ms();
    if (!w->again)
        w->since_ms = w->cursor_ms - (int64_t)source->overlap_s * 1000;
    if (w->since_ms < 0)
        w->since_ms = 0;
    w->max_ms = w->last_ms = w->first_server_ms = INT64_MIN;
    w->unsorted = false;
    w->clock_back = w->again;
    w->again = false;
    w->undated = 0;
}

/* A part of a query; what lists and codes need stays as it is. */
void poll_percent(const char *text, struct buf *out)
{
    static const char hex[] = "0123456789ABCDEF";

    for (; *text != '\0'; text++) {
        unsigned char c = (unsigned char)*text;

        if (strchr("-._~,/:", c) != NULL || (c >= '0' && c <= '9') ||
            (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'))
            buf_add(out, text, 1);
        else if (c != ' ')
            buf_printf(out, "%%%c%c", hex[c >> 4], hex[c & 15]);
    }
}

/* ---- what every page goes through --------------------------------------- */

/* false: it is no page of this kind; the verdict says so. */
static enum err open_page(struct walk_page *page, enum fhir_page_kind kind,
                          struct fhir_page *read, bool *ok)
{
    enum err e = fhir_page_read(page->body, page->len, read);

    *ok = e == ERR_OK && read->kind == kind;
    if (e == ERR_OK && !*ok)
        fhir_page_clear(read);
    if (!*ok)
        page->verdict = WALK_NO_PAGE;
    return e == ERR_MEMORY ? e : ERR_OK;
}

static enum err keep_next(const struct fhir_page *read, struct walk_page *page)
{
    size_t len = read->next != NULL ? strlen(read->next) + 1 : 0;

    page->next = NULL;
    if (len == 0)
        return ERR_OK;
    page->next = malloc(len);
    if (page->next == NULL)
        return ERR_MEMORY;
    memcpy(page->next, read->next, len);
    return ERR_OK;
}

static enum err take_rows(struct db *db, const struct poll_source *source,
                          const struct walk_page *page,
                          const struct fhir_page *read, enum take_source from,
                          struct poll_taken *taken)
{
    struct poll_take take = { .page = read,
                              .body = page->body,
                              .reader = source->reader,
                              .merge_implied = source->merge_implied,
                              .source = from,
                              .now_ms = source->now_ms() };
    enum err e = poll_take(db, &take);

    taken->stored = take.stored;
    taken->refused = take.refused;
    taken->withdrawn = take.withdrawn;
    taken->news = take.news;
    taken->fetches = take.fetches;
    return e;
}

/* ---- a search ------------------------------------------------------------ */

/*
 * The record's clock has been set back behind what it said before: what it
 * writes now would be older than the cursor.  So the window begins where its
 * clock stands; the cursor stays.
 */
static bool is_behind(struct poll_window *w, const struct poll_source *source,
                      const struct walk_page *page)
{
    if (page->number > 0 || w->clock_back || page->server_ms == INT64_MIN ||
        page->server_ms + INT64_C(2) * SECOND_MS > w->cursor_ms)
        return false;
    w->again = true;
    if (!w->durable) /* that was our clock: the record's counts */
        w->cursor_ms = page->server_ms;
    w->since_ms = page->server_ms - (int64_t)source->overlap_s * 1000;
    if (w->since_ms < 0)
        w->since_ms = 0;
    return true;
}

/* Notes the times of the rows; false: some are older than was asked for. */
static bool look_at_rows(struct poll_window *w, const struct fhir_page *read,
                         struct poll_taken *taken)
{
    for (size_t i = 0; i < read->count; i++) {
        const struct fhir_page_entry *e = &read->entries[i];

        if (e->outcome || !e->matched || e->type != w->type)
            continue;
        taken->rows++;
        if (e->updated_ms == INT64_MIN) {
            taken->undated++;
            continue;
        }
        if (e->updated_ms < w->since_ms - SECOND_MS)
            return false;
        if (e->updated_ms < w->last_ms)
            w->unsorted = true;
        w->last_ms = e->updated_ms;
        if (e->updated_ms > w->max_ms)
            w->max_ms = e->updated_ms;
    }
    w->undated += taken->undated;
    return true;
}

/*
 * How far it is known to be whole.  sure_ms: the newest row of the pages
 * before; that this page had nothing older shows that they were in order.
 */
static int64_t reached(const struct poll_window *w,
                       const struct walk_page *page, int64_t sure_ms)
{
    int64_t at_ms = page->next == NULL ? w->max_ms
                    : w->unsorted      ? INT64_MIN
                                       : sure_ms;

    if (page->next == NULL && at_ms == INT64_MIN && w->undated > 0)
        at_ms = w->first_server_ms; /* rows do not say when */
    if (page->server_ms != INT64_MIN && at_ms > page->server_ms + SECOND_MS)
        at_ms = page->server_ms;
    return at_ms > w->cursor_ms ? at_ms : w->cursor_ms;
}

static enum err put_cursor(struct db *db, const struct poll_window *w,
                           const struct poll_source *source,
                           const struct walk_page *page,
                           const struct poll_taken *taken)
{
    return db_run(db, Q_FEED_PUT, "siii", w->name, taken->cursor_ms,
                  page->next == NULL ? source->now_ms() : INT64(0),
                  page->server_ms != INT64_MIN ? page->server_ms : INT64(0));
}

static enum err take_search(struct db *db, struct poll_window *w,
                            const struct poll_source *source,
                            struct walk_page *page,
                            const struct fhir_page *read,
                            struct poll_taken *taken)
{
    int64_t sure_ms = w->max_ms;
    enum err e;

    if (page->number == 0)
        w->first_server_ms = page->server_ms;
    if (is_behind(w, source, page)) {
        page->verdict = WALK_AGAIN;
        return ERR_OK;
    }
    if (!look_at_rows(w, read, taken)) {
        page->verdict = WALK_LENIENT;
        return ERR_OK;
    }
    e = keep_next(read, page);
    if (e == ERR_OK)
        e = source->rows != NULL
                ? source->rows(db, source, page, read, taken)
                : take_rows(db, source, page, read, TAKE_POLL, taken);
    taken->cursor_ms = reached(w, page, sure_ms);
    taken->unsorted = w->unsorted;
    return e == ERR_OK ? put_cursor(db, w, source, page, taken) : e;
}

enum err poll_window_take(struct db *db, struct poll_window *w,
                          const struct poll_source *source,
                          struct walk_page *page, struct poll_taken *taken)
{
    struct fhir_page read;
    bool ok;
    enum err e = open_page(page, PAGE_SEARCH, &read, &ok);

    *taken = (struct poll_taken){ .cursor_ms = w->cursor_ms,
                                  .server_ms = page->server_ms };
    if (!ok)
        return e;
    e = take_search(db, w, source, page, &read, taken);
    fhir_page_clear(&read);
    return e;
}

/* ---- what was deleted ---------------------------------------------------- */

/* Has it been made anew since?  A history has the newest first. */
static bool is_back(const struct fhir_page *read, size_t at)
{
    const struct fhir_page_entry *gone = &read->entries[at];

    for (size_t i = 0; i < at; i++) {
        const struct fhir_page_entry *e = &read->entries[i];

        if (e->id != NULL && !e->deleted && e->type == gone->type &&
            strcmp(e->id, gone->id) == 0)
            return true;
    }
    return false;
}

/* Of a history only what is gone is taken: the rest comes by the search. */
static void leave_deletions(struct fhir_page *read)
{
    for (size_t i = read->count; i-- > 0;) {
        if (!read->entries[i].deleted || is_back(read, i))
            read->entries[i].outcome = true;
    }
}

enum err poll_deletes_take(struct db *db, struct poll_window *w,
                           const struct poll_source *source,
                           struct walk_page *page, struct poll_taken *taken)
{
    struct fhir_page read;
    bool ok;
    enum err e = open_page(page, PAGE_HISTORY, &read, &ok);

    *taken = (struct poll_taken){ .cursor_ms = w->cursor_ms,
                                  .server_ms = page->server_ms };
    if (!ok)
        return e;
    if (page->number == 0)
        w->first_server_ms = page->server_ms;
    for (size_t i = 0; i < read.count; i++) {
        taken->rows += read.entries[i].deleted ? 1 : 0;
        if (read.entries[i].updated_ms > w->max_ms)
            w->max_ms = read.entries[i].updated_ms;
    }
    leave_deletions(&read);
    e = keep_next(&read, page);
    if (e == ERR_OK)
        e = take_rows(db, source, page, &read, TAKE_POLL, taken);
    if (e == ERR_OK && page->next == NULL) {
        int64_t at_ms =
            w->first_server_ms != INT64_MIN ? w->first_server_ms : w->max_ms;

        taken->cursor_ms = at_ms > w->cursor_ms ? at_ms : w->cursor_ms;
        e = put_cursor(db, w, source, page, taken);
    }
    fhir_page_clear(&read);
    return e;
}

/* ---- one by its id ------------------------------------------------------- */

enum err poll_single_take(struct db *db, const struct poll_source *source,
                          enum fhir_type kind, const char *remote,
                          struct walk_page *page, struct poll_taken *taken)
{
    struct fhir_page read;
    bool ok;
    enum err e = open_page(page, PAGE_RESOURCE, &read, &ok);

    *taken = (struct poll_taken){ .server_ms = page->server_ms };
    if (!ok)
        return e;
    if (read.entries[0].type != kind || read.entries[0].id == NULL ||
        strcmp(read.entries[0].id, remote) != 0) {
        page->verdict = WALK_NO_PAGE;
        fhir_page_clear(&read);
        return ERR_OK;
    }
    taken->rows = 1;
    e = take_rows(db, source, page, &read, TAKE_BY_ID, taken);
    if (e == ERR_OK)
        e = db_run(db, Q_FETCH_DONE, "is", INT64(kind), remote);
    fhir_page_clear(&read);
    return e;
}

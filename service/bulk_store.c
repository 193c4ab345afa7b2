/* Where an export stands, in the store. */
#include "service/bulk_work.h"

#include <string.h>

/* What the last whole export reached; "" none. */
static enum err load_since(struct db *db, struct bulk *b)
{
    enum err e = db_first(db, Q_META_GET, "s", "bulk_since");

    if (e == ERR_OK && b->since[0] == '\0')
        snprintf(b->since, sizeof(b->since), "%s", db_text(db, Q_META_GET, 0));
    db_done(db, Q_META_GET);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* The '+' of a zone would be read as a blank. */
static enum err add_since(struct bulk *b)
{
    struct buf text;
    enum err e;

    buf_init(&text, sizeof(b->target) - 1);
    buf_printf(&text, "%s&_since=", b->target);
    poll_percent(b->since, &text);
    e = buf_ok(&text);
    if (e == ERR_OK)
        memcpy(b->target, text.data, text.len + 1);
    buf_clear(&text);
    return e;
}

enum err bulk_run_begin(struct db *db, void *arg)
{
    struct bulk *b = arg;
    enum err e = load_since(db, b);

    if (e == ERR_OK && strcmp(b->since, "all") == 0)
        b->since[0] = '\0';
    if (e == ERR_OK && b->since[0] != '\0')
        e = add_since(b);
    if (e == ERR_OK)
        e = db_run(db, Q_BULK_ADD, "issi", INT64(BULK_ASKING), b->since,
                   b->target, b->options.now_ms());
    if (e == ERR_OK)
        e = db_run(db, Q_BULK_TRIM, "");
    if (e == ERR_OK)
        e = db_first(db, Q_BULK_LAST, "");
    if (e == ERR_OK)
        b->row = db_int(db, Q_BULK_LAST, 0);
    db_done(db, Q_BULK_LAST);
    return e;
}

static const char *or_empty(const char *text)
{
    return text != NULL ? text : "";
}

enum err bulk_run_load(struct db *db, void *arg)
{
    const enum query q = Q_BULK_LAST;
    struct bulk *b = arg;
    enum err e = db_first(db, q, "");

    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    b->row = db_int(db, q, 0);
    b->state = (enum bulk_state)db_int(db, q, 1);
    snprintf(b->since, sizeof(b->since), "%s", or_empty(db_text(db, q, 2)));
    snprintf(b->target, sizeof(b->target), "%s", or_empty(db_text(db, q, 3)));
    buf_puts(&b->status_url, or_empty(db_text(db, q, 4)));
    buf_puts(&b->manifest_text, or_empty(db_text(db, q, 5)));
    b->file = (size_t)db_int(db, q, 6);
    b->view.began_ms = db_int(db, q, 7);
    b->view.ended_ms = db_int(db, q, 8);
    b->view.lines = (uint64_t)db_int(db, q, 9);
    b->view.stored = (uint64_t)db_int(db, q, 10);
    b->view.refused = (uint64_t)db_int(db, q, 11);
    db_done(db, q);
    return buf_ok(&b->status_url) == ERR_OK ? buf_ok(&b->manifest_text)
                                            : ERR_MEMORY;
}

enum err bulk_run_save(struct db *db, void *arg)
{
    struct bulk *b = arg;
    bool ended = b->state >= BULK_DONE;
    enum err e =
        db_run(db, Q_BULK_STATE, "iissiis", b->row, INT64(b->state),
               b->status_url.len > 0 ? b->status_url.data : NULL,
               b->manifest_text.len > 0 ? b->manifest_text.data : NULL,
               INT64(b->file), ended ? b->options.now_ms() : INT64(0), b->why);

    if (e == ERR_OK && b->state == BULK_DONE)
        e = db_run(db, Q_META_PUT, "ss", "bulk_since", b->manifest.time);
    return e;
}

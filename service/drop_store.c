/* Where a file stands, in the store: on its thread. */
#include "service/drop_work.h"

#include <string.h>

/* The next rows; those of files that are gone are found on the pool. */
enum err drop_run_old(struct db *db, struct drop *d)
{
    const enum query q = Q_DROPPED_NAMES;
    enum err e = db_query(db, q, "s", d->last_name);

    d->old_count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        snprintf(d->old[d->old_count].name, DROP_PATH_SIZE, "%s",
                 db_text(db, q, 0));
        d->old[d->old_count].number = db_int(db, q, 1);
        d->old_count++;
    }
    if (d->old_count > 0)
        memcpy(d->last_name, d->old[d->old_count - 1].name, DROP_PATH_SIZE);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err forget(struct db *db, const char *name, int64_t number)
{
    enum err e = db_run(db, Q_DROPPED_LINES_END, "i", number);

    return e == ERR_OK ? db_run(db, Q_DROPPED_END, "s", name) : e;
}

enum err drop_run_forget(struct db *db, struct drop *d)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < d->old_count; i++) {
        if (d->old[i].gone)
            e = forget(db, d->old[i].name, d->old[i].number);
    }
    return e;
}

static enum err get_row(struct db *db, const char *key, struct drop_row *row)
{
    const enum query q = Q_DROPPED_GET;
    enum err e = db_first(db, q, "s", key);

    if (e != ERR_OK)
        return e;
    *row = (struct drop_row){ .number = db_int(db, q, 0),
                              .bytes = db_int(db, q, 1),
                              .changed_ms = db_int(db, q, 2),
                              .start = db_int(db, q, 3),
                              .line = db_int(db, q, 4),
                              .stored = db_int(db, q, 5),
                              .there = db_int(db, q, 6),
                              .held = db_int(db, q, 7),
                              .refused = db_int(db, q, 8),
                              .began_ms = db_int(db, q, 9) };
    snprintf(row->target, sizeof(row->target), "%s", db_text(db, q, 10));
    db_done(db, q);
    return ERR_OK;
}

/* A fresh file begins; one in taken/ goes on where it stands. */
enum err drop_run_row(struct db *db, struct drop *d)
{
    enum err e = get_row(db, d->key, &d->row);

    if (e != ERR_ABSENT && (e != ERR_OK || !d->fresh))
        return e;
    if (e == ERR_OK)
        e = forget(db, d->key, d->row.number);
    else
        e = ERR_OK;
    d->row = (struct drop_row){ .bytes = d->bytes,
                                .changed_ms = d->changed_ms,
                                .began_ms = d->options.now_ms() };
    if (e == ERR_OK)
        e = db_new_id(db, &d->row.number);
    return e == ERR_OK
               ? db_run(db, Q_DROPPED_ADD, "siiii", d->key, d->row.number,
                        d->row.bytes, d->row.changed_ms, d->row.began_ms)
               : e;
}

enum err drop_run_target(struct db *db, struct drop *d)
{
    return db_run(db, Q_DROPPED_TARGET, "ss", d->key, d->row.target);
}

/* The next lines of the error file. */
enum err drop_run_page(struct db *db, struct drop *d)
{
    const enum query q = Q_DROPPED_LINES;
    size_t count = 0;
    enum err e =
        db_query(db, q, "iii", d->row.number, d->listed_start, d->listed_entry);

    buf_empty(&d->page);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        d->listed_start = db_int(db, q, 0);
        d->listed_entry = db_int(db, q, 1);
        buf_puts(&d->page, db_text(db, q, 2));
        count++;
    }
    d->page_last = count == 0;
    if (e == ERR_ABSENT)
        e = buf_ok(&d->page);
    return e;
}

enum err drop_run_end(struct db *db, struct drop *d)
{
    return forget(db, d->key, d->row.number);
}

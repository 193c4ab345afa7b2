#include "service/readings.h"

#include <stdlib.h>

enum { OWNERS_MAX = 16 };

static void read_row(struct db *db, struct reading *r)
{
    const enum query q = Q_READING_LIST;

    *r = (struct reading){ .start_s = db_int(db, q, 0),
                           .quantity = (enum quantity)db_int(db, q, 1),
                           .id = db_int(db, q, 2),
                           .slot = (int)db_int(db, q, 3),
                           .version = (int)db_int(db, q, 4),
                           .status = (enum reading_status)db_int(db, q, 5),
                           .end_s = db_int(db, q, 6),
                           .precision = (enum precision)db_int(db, q, 7),
                           .value = db_double(db, q, 8),
                           .bound = (enum bound)db_int(db, q, 9),
                           .sign = (enum sign)db_int(db, q, 10),
                           .present = db_int(db, q, 11) != 0,
                           .method = (enum method)db_int(db, q, 12),
                           .side = (enum side)db_int(db, q, 13) };
}

static enum err load_owner(struct db *db, int64_t owner, int64_t from_s,
                           struct reading *list, size_t max, size_t *count)
{
    enum err e =
        db_query(db, Q_READING_LIST, "iii", owner, from_s, INT64(max - *count));

    while (e == ERR_OK && (e = db_next(db, Q_READING_LIST)) == ERR_OK) {
        if (*count < max)
            read_row(db, &list[(*count)++]);
    }
    db_done(db, Q_READING_LIST);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static int by_time(const void *a, const void *b)
{
    const struct reading *x = a, *y = b;

    if (x->start_s != y->start_s)
        return x->start_s < y->start_s ? -1 : 1;
    if (x->id != y->id)
        return x->id < y->id ? -1 : 1;
    return x->slot - y->slot;
}

enum err readings_load(struct db *db, const struct access *a, int64_t from_s,
                       struct reading *list, size_t max, size_t *count)
{
    int64_t owners[OWNERS_MAX] = { a->id, a->patient };
    size_t owner_count = 2;
    enum err e = db_query(db, Q_ACCESS_MERGED_INTO, "i", a->id);

    while (e == ERR_OK && (e = db_next(db, Q_ACCESS_MERGED_INTO)) == ERR_OK) {
        if (owner_count < OWNERS_MAX)
            owners[owner_count++] = db_int(db, Q_ACCESS_MERGED_INTO, 0);
    }
    if (e == ERR_ABSENT)
        e = ERR_OK;
    *count = 0;
    for (size_t i = 0; e == ERR_OK && i < owner_count; i++)
        e = load_owner(db, owners[i], from_s, list, max, count);
    if (e == ERR_OK && *count > 0)
        qsort(list, *count, sizeof(*list), by_time);
    return e;
}

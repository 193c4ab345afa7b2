#include "service/search_index.h"

#include "service/terms.h"

#include <stdio.h>

/* Where the values of one resource go. */
struct indexing {
    struct db *db;
    const struct resource *row;
};

static enum err put_found(void *arg, const struct search_found *f)
{
    const struct indexing *to = arg;
    int64_t term;
    enum err e;

    if (f->is_span)
        return db_run(to->db, Q_SOUGHT_SPAN, "iiii", to->row->id,
                      INT64(f->number), f->from_ms, f->to_ms);
    e = term_number(to->db, f->system, f->value, &term);
    if (e != ERR_OK)
        return e;
    /* Tasks are read in the order of their change; nothing else is. */
    return to->row->kind == FHIR_TASK
               ? db_run(to->db, Q_SOUGHT_TERM, "iiii", to->row->id,
                        INT64(f->number), term, to->row->updated_ms)
               : db_run(to->db, Q_SOUGHT_TERM, "iii", to->row->id,
                        INT64(f->number), term);
}

/* What older versions were found by. */
static enum err forget_old(struct db *db, const struct resource *r)
{
    enum err e = ERR_OK;

    if (r->version > 1)
        e = db_run(db, Q_SOUGHT_FORGET, "i", r->id);
    if (e == ERR_OK && r->version > 1)
        e = db_run(db, Q_SOUGHT_FORGET_SPANS, "i", r->id);
    return e;
}

enum err search_index_item(struct db *db, const struct resource *r,
                           const struct fhir_item *item,
                           const struct search_site *site)
{
    struct indexing to = { db, r };
    enum err e = forget_old(db, r);

    return e == ERR_OK ? fhir_search_visit_item(item, site, put_found, &to) : e;
}

enum err search_index_put(struct db *db, const struct resource *r,
                          const char *json, size_t len,
                          const struct search_site *site)
{
    struct indexing to = { db, r };
    enum err e = forget_old(db, r);

    if (e == ERR_OK)
        e = fhir_search_visit(r->kind, json, len, site, put_found, &to);
    /* A Task of a damaged store must not stop the one that replaces it. */
    return e == ERR_FORM ? ERR_OK : e;
}

/* ---- what was there before ---------------------------------------------- */

/* One message of the journal, taken out once for all that came in it. */
struct message {
    int64_t seq; /* 0: none yet */
    struct buf body;
};

static enum err index_old(struct db *db, const struct search_site *site,
                          struct message *m)
{
    const enum query q = Q_SOUGHT_OLD;
    struct resource row = { .id = db_int(db, q, 0),
                            .kind = (enum fhir_type)db_int(db, q, 1),
                            .version = (int)db_int(db, q, 3),
                            .updated_ms = db_int(db, q, 4) };
    int64_t journal = db_int(db, q, 5), updated_ms;
    size_t start = (size_t)db_int(db, q, 6), len = (size_t)db_int(db, q, 7);
    enum err e = ERR_OK;

    snprintf(row.fid, FID_SIZE, "%s", db_text(db, q, 2));
    if (journal == 0 || journal != m->seq) {
        buf_empty(&m->body);
        m->seq = journal;
        e = journal == 0 ? resource_body(db, &row, 0, &m->body, &updated_ms)
                         : journal_read(db, journal, &m->body);
    }
    if (e != ERR_OK)
        return e;
    if (journal == 0)
        return search_index_put(db, &row, m->body.data, m->body.len, site);
    return start + len <= m->body.len
               ? search_index_put(db, &row, m->body.data + start, len, site)
               : ERR_STORE;
}

enum err search_index_all(struct db *db, const struct fhir_reader *reader)
{
    const enum query q = Q_SOUGHT_OLD;
    const struct search_site site = { reader->zone, reader->self };
    struct message m = { .seq = 0 };
    enum err e = db_query(db, q, "");

    buf_init(&m.body, BODY_MAX);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        e = index_old(db, &site, &m);
    db_done(db, q);
    buf_clear(&m.body);
    return e == ERR_ABSENT ? ERR_OK : e;
}

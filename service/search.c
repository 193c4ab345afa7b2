#include "service/search.h"

#include "adapters/hex.h"
#include "service/search_sql.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- sort keys ---------------------------------------------------------- */

/* In the order of urgency, not of the alphabet: whoever sorts by priority
 * wants the most urgent together. */
static const char urgencies[] = " routine urgent asap stat ";

static bool is_number(const struct search_sort *sort)
{
    const struct search_param *p = sort->param;

    return p->form == SEARCH_UPDATED || p->form == SEARCH_DATE ||
           strcmp(p->name, "priority") == 0;
}

/* A resource without a value comes before all that have one. */
static void put_key(struct search_sql *s, const struct search_sort *sort)
{
    const struct search_param *p = sort->param;

    if (p->form == SEARCH_UPDATED) {
        sql_put(s, sql_updated(s));
    } else if (p->form == SEARCH_ID) {
        sql_put(s, "r.fid");
    } else if (p->form == SEARCH_DATE) {
        buf_printf(&s->text,
                   "coalesce((SELECT min(o.from_ms) FROM search_span o WHERE "
                   "o.resource = r.id AND o.name = %d), ",
                   p->number);
        sql_number(s, INT64_MIN);
        sql_put(s, ")");
    } else if (is_number(sort)) {
        sql_put(s, "coalesce((SELECT min(instr(");
        sql_text(s, urgencies);
        buf_printf(&s->text,
                   ", ' ' || o.value || ' ')) FROM search_token o WHERE "
                   "o.resource = r.id AND o.name = %d), 0)",
                   p->number);
    } else {
        buf_printf(&s->text,
                   "coalesce((SELECT min(o.value) FROM search_token o WHERE "
                   "o.resource = r.id AND o.name = %d), '')",
                   p->number);
    }
}

/* ---- handles ------------------------------------------------------------ */

/* "number LF key LF key", as hexadecimal digits. */
void search_handle(const struct search_query *q, const struct search_hit *hit,
                   struct buf *out)
{
    char text[(SEARCH_SORTS_MAX + 1) * (FID_SIZE + 1)];
    char hex[2 * sizeof(text) + 1];
    int len = snprintf(text, sizeof(text), "%lld", (long long)hit->row.id);

    for (size_t i = 0; i < q->sort_count && len < (int)sizeof(text); i++) {
        const struct search_key *k = &hit->keys[i];

        len += is_number(&q->sorts[i])
                   ? snprintf(text + len, sizeof(text) - (size_t)len, "\n%lld",
                              (long long)k->number)
                   : snprintf(text + len, sizeof(text) - (size_t)len, "\n%s",
                              k->text);
    }
    hex_write((const unsigned char *)text, strlen(text), hex);
    buf_puts(out, hex);
}

/* Where a page begins. */
struct cursor {
    char text[(SEARCH_SORTS_MAX + 1) * (FID_SIZE + 1)];
    int64_t id;
    struct db_value keys[SEARCH_SORTS_MAX];
};

/* No text has a NUL in it. */
static bool read_hex(const char *hex, char *text, size_t size)
{
    size_t digits = strlen(hex), len = digits / 2;

    if (len >= size || !hex_read(hex, digits, (unsigned char *)text, len))
        return false;
    text[len] = '\0';
    return strlen(text) == len;
}

static bool read_number(const char *text, int64_t *number)
{
    char *end;

    *number = strtoll(text, &end, 10);
    return end != text && *end == '\0';
}

static bool read_cursor(const struct search_query *q, struct cursor *c)
{
    char *at = c->text;

    if (!read_hex(q->after, c->text, sizeof(c->text)))
        return false;
    for (size_t i = 0; i < q->sort_count; i++) {
        at = strchr(at, '\n');
        if (at == NULL)
            return false;
        *at++ = '\0';
        c->keys[i] = (struct db_value){ at, 0 };
    }
    if (strchr(at, '\n') != NULL || !read_number(c->text, &c->id))
        return false;
    for (size_t i = 0; i < q->sort_count; i++) {
        if (!is_number(&q->sorts[i]))
            continue;
        if (!read_number(c->keys[i].text, &c->keys[i].number))
            return false;
        c->keys[i].text = NULL;
    }
    return true;
}

/* ---- a page ------------------------------------------------------------- */

static void put_bound(struct search_sql *s, struct db_value v)
{
    if (v.text != NULL)
        sql_text(s, v.text);
    else
        sql_number(s, v.number);
}

/* Resources of equal keys come in the direction of the first of these. */
static bool ids_down(const struct search_query *q)
{
    return q->sort_count > 0 && q->sorts[0].down;
}

/* The order of one or two columns is that of an index, and is told so that
 * the page begins where the one before ended. */
static void put_after(struct search_sql *s, const struct cursor *c)
{
    const struct search_query *q = s->query;

    if (q->sort_count == 1) {
        sql_put(s, q->sorts[0].down ? " WHERE (k0, id) < ("
                                    : " WHERE (k0, id) > (");
        put_bound(s, c->keys[0]);
        sql_put(s, ", ");
        sql_number(s, c->id);
        sql_put(s, ")");
        return;
    }
    sql_put(s, " WHERE (");
    for (size_t i = 0; i <= q->sort_count; i++) {
        sql_put(s, i > 0 ? " OR (" : "(");
        for (size_t k = 0; k < i; k++) {
            buf_printf(&s->text, "k%zu = ", k);
            put_bound(s, c->keys[k]);
            sql_put(s, " AND ");
        }
        if (i < q->sort_count) {
            buf_printf(&s->text, "k%zu %c ", i, q->sorts[i].down ? '<' : '>');
            put_bound(s, c->keys[i]);
        } else {
            sql_put(s, ids_down(q) ? "id < " : "id > ");
            sql_number(s, c->id);
        }
        sql_put(s, ")");
    }
    sql_put(s, ")");
}

static void put_page(struct search_sql *s, const struct cursor *c)
{
    const struct search_query *q = s->query;

    buf_printf(&s->text,
               "SELECT id, fid, ver, updated_ms%s%s%s FROM (SELECT %s AS id, "
               "r.fid AS fid, r.ver AS ver, r.updated_ms AS updated_ms",
               q->sort_count > 0 ? ", k0" : "", q->sort_count > 1 ? ", k1" : "",
               q->sort_count > 2 ? ", k2" : "", sql_resource(s));
    for (size_t i = 0; i < q->sort_count; i++) {
        sql_put(s, ", ");
        put_key(s, &q->sorts[i]);
        buf_printf(&s->text, " AS k%zu", i);
    }
    sql_conditions(s);
    sql_put(s, ") found");
    if (q->after != NULL)
        put_after(s, c);
    sql_put(s, " ORDER BY ");
    for (size_t i = 0; i < q->sort_count; i++)
        buf_printf(&s->text, "k%zu %s, ", i, q->sorts[i].down ? "DESC" : "ASC");
    sql_put(s, ids_down(q) ? "id DESC LIMIT " : "id ASC LIMIT ");
    sql_number(s, INT64(q->count + 1));
}

static void read_hit(const struct search_sql *s, struct search_hit *h)
{
    const struct search_query *q = s->query;

    h->row = (struct resource){ .id = db_int(s->db, Q_ASKED, 0),
                                .kind = q->type,
                                .version = (int)db_int(s->db, Q_ASKED, 2),
                                .updated_ms = db_int(s->db, Q_ASKED, 3) };
    snprintf(h->row.fid, FID_SIZE, "%s", db_text(s->db, Q_ASKED, 1));
    for (size_t i = 0; i < q->sort_count; i++) {
        if (is_number(&q->sorts[i]))
            h->keys[i].number = db_int(s->db, Q_ASKED, 4 + (int)i);
        else
            snprintf(h->keys[i].text, FID_SIZE, "%s",
                     db_text(s->db, Q_ASKED, 4 + (int)i));
    }
}

/* Hand the statement over, if it could be put together. */
static enum err ask(struct search_sql *s)
{
    if (s->err == ERR_OK)
        s->err = buf_ok(&s->text);
    return s->err != ERR_OK ? s->err
                            : db_ask(s->db, s->text.data, s->values, s->count);
}

enum err search_find(struct db *db, const struct search_query *q,
                     struct search_hit *hits, size_t *count)
{
    struct search_sql *s = malloc(sizeof(*s));
    struct cursor c = { .id = 0 };
    enum err e;

    *count = 0;
    if (s == NULL)
        return ERR_MEMORY;
    sql_open(s, db, q);
    if (q->after != NULL && !read_cursor(q, &c)) {
        e = ERR_FORM;
    } else {
        put_page(s, &c);
        e = ask(s);
    }
    while (e == ERR_OK && (e = db_next(db, Q_ASKED)) == ERR_OK) {
        if (*count <= (size_t)q->count)
            read_hit(s, &hits[(*count)++]);
    }
    sql_close(s);
    free(s);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err search_total(struct db *db, const struct search_query *q,
                      long long *total)
{
    struct search_sql *s = malloc(sizeof(*s));
    enum err e;

    if (s == NULL)
        return ERR_MEMORY;
    sql_open(s, db, q);
    sql_put(s, "SELECT count(*)");
    sql_conditions(s);
    e = ask(s);
    if (e == ERR_OK)
        e = db_next(db, Q_ASKED);
    if (e == ERR_OK)
        *total = db_int(db, Q_ASKED, 0);
    sql_close(s);
    free(s);
    return e;
}

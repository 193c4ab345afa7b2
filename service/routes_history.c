/*
 * What became of one resource, or of all of a type: its versions, newest
 * first.  Pages are cut by the version shown last, so that what is stored in
 * between comes before the first page and shifts nothing.
 */
#include "service/app.h"

#include "adapters/fhir_search.h"
#include "adapters/fhir_write.h"
#include "service/resources.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    HISTORY_DEFAULT = 50,
    HISTORY_MAX = 200,
    PAGE_BYTES_MAX = ANSWER_SIZE_MAX / 4 /* a page with more ends there */
};

struct past {
    struct exchange x; /* first */
    enum fhir_type type;
    char id[FID_SIZE]; /* "": of all of the type */
    int count;
    int64_t since_ms;             /* no version before */
    int64_t at_from_ms, at_to_ms; /* current at some moment of these */
    int64_t after_ms, after;      /* the page before ended at: time and number
                                     of a resource, or version of the one */
    struct buf self, links;
};

static void history_release(struct exchange *x)
{
    buf_clear(&((struct past *)x)->self);
    buf_clear(&((struct past *)x)->links);
}

/* ---- what is asked for -------------------------------------------------- */

static bool take_count(struct past *h, const char *value)
{
    char *end;
    long n = strtol(value, &end, 10);

    if (value[0] < '0' || value[0] > '9' || *end != '\0')
        return false;
    h->count = n > HISTORY_MAX ? HISTORY_MAX : (int)n;
    return true;
}

static bool take_since(struct past *h, const char *value)
{
    struct fhir_time at;
    int64_t to_ms;

    return fhir_instant_read(value, strlen(value), &at) == ERR_OK &&
           fhir_search_span(value, h->x.service->zone, &h->since_ms, &to_ms) ==
               ERR_OK;
}

static bool take_at(struct past *h, const char *value)
{
    return fhir_search_span(value, h->x.service->zone, &h->at_from_ms,
                            &h->at_to_ms) == ERR_OK;
}

/* Our own handle: "time.number", in hexadecimal digits. */
static bool take_after(struct past *h, const char *value)
{
    char *end;

    if (value[strspn(value, "0123456789abcdef.")] != '\0')
        return false;
    h->after_ms = strtoll(value, &end, 16);
    if (end == value || *end != '.')
        return false;
    value = end + 1;
    h->after = strtoll(value, &end, 16);
    return end != value && *end == '\0';
}

static bool take_format(struct past *h, const char *value)
{
    (void)h;
    (void)value;
    return true; /* looked at by the routes */
}

static void visit(void *arg, const char *name, const char *value)
{
    static const struct {
        const char *name;
        bool (*take)(struct past *h, const char *value);
    } known[] = {
        { "_count", take_count },   { "_since", take_since },
        { "_at", take_at },         { "_after", take_after },
        { "_format", take_format }, { "_pretty", take_format },
    };
    struct past *h = arg;
    size_t i = 0;

    while (i < COUNT(known) && strcmp(known[i].name, name) != 0)
        i++;
    if (i == COUNT(known) || !known[i].take(h, value))
        outcome_add(&h->x.outcome, SEV_ERROR, "bad-parameter", "",
                    i == COUNT(known)
                        ? "A history has no such parameter: %.40s"
                        : "The value of a parameter is not understood: %.40s",
                    name);
    else if (strcmp(name, "_after") != 0)
        http_query_add(&h->links, name, value);
}

/* ---- versions ----------------------------------------------------------- */

static enum err start_rows(struct db *db, const struct past *h,
                           int64_t resource, enum query *q)
{
    int64_t limit = INT64(h->count + 1);

    if (resource != 0) {
        *q = Q_HISTORY_ONE;
        return db_query(db, *q, "iiiiii", resource, h->since_ms, h->after,
                        h->at_from_ms, h->at_to_ms, limit);
    }
    *q = h->type == FHIR_OBSERVATION ? Q_HISTORY_CAME : Q_HISTORY_OURS;
    return db_query(db, *q, "iiiiiii", INT64(h->type), h->since_ms, h->after_ms,
                    h->after, h->at_from_ms, h->at_to_ms, limit);
}

static enum err find_versions(struct db *db, const struct past *h,
                              int64_t resource, struct resource *rows,
                              size_t *count)
{
    enum query q;
    enum err e = start_rows(db, h, resource, &q);

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct resource *r = &rows[(*count)++];

        *r = (struct resource){ .id = db_int(db, q, 0),
                                .kind = h->type,
                                .version = (int)db_int(db, q, 1),
                                .updated_ms = db_int(db, q, 2) };
        snprintf(r->fid, FID_SIZE, "%s", db_text(db, q, 3));
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err count_versions(struct db *db, const struct past *h,
                               int64_t resource, long long *total)
{
    const enum query q = Q_HISTORY_ONE_COUNT;
    enum err e = db_first(db, q, "iiii", resource, h->since_ms, h->at_from_ms,
                          h->at_to_ms);

    if (e == ERR_OK)
        *total = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

/* ---- the Bundle --------------------------------------------------------- */

static void write_begin(struct past *h, const struct resource *last,
                        long long total)
{
    struct buf self, next;
    struct fhir_link links[2];

    buf_init(&self, 4096);
    buf_init(&next, 4096);
    buf_printf(&self, "%s/%s%s%s/_history%s%s", h->self.data,
               type_word(h->type), h->id[0] != '\0' ? "/" : "", h->id,
               h->links.len > 0 ? "?" : "", h->links.data);
    if (last != NULL)
        buf_printf(&next, "%s%s_after=%llx.%llx", self.data,
                   h->links.len > 0 ? "&" : "?",
                   (unsigned long long)last->updated_ms,
                   h->id[0] != '\0' ? (unsigned long long)last->version
                                    : (unsigned long long)last->id);
    links[0] = (struct fhir_link){ "self", self.data };
    links[1] = (struct fhir_link){ "next", next.len > 0 ? next.data : NULL };
    fhir_write_bundle_begin("history", total, links, COUNT(links), &h->x.body);
    buf_clear(&self);
    buf_clear(&next);
}

/* *count: in, those that were found; out, those that have been written. */
static enum err write_versions(struct db *db, struct past *h,
                               const struct resource *rows, size_t *count,
                               struct buf *out)
{
    struct buf json, url;
    int64_t updated_ms;
    size_t i = 0;
    enum err e = ERR_OK;

    buf_init(&json, BODY_MAX);
    buf_init(&url, 2048);
    for (; e == ERR_OK && i < *count && out->len < PAGE_BYTES_MAX; i++) {
        buf_empty(&json);
        buf_empty(&url);
        buf_printf(&url, "%s/%s/%s", h->self.data, type_word(h->type),
                   rows[i].fid);
        e = resource_served(db, h->x.service->config.fhir_base, &rows[i],
                            rows[i].version, &json, &updated_ms);
        if (e == ERR_OK)
            fhir_write_searchset_entry(url.data, json.data, json.len, NULL,
                                       i == 0, out);
    }
    *count = i;
    buf_clear(&json);
    buf_clear(&url);
    return e;
}

static enum err write_history(struct db *db, struct past *h, int64_t resource,
                              struct resource *rows)
{
    long long total = -1;
    size_t found, count;
    struct buf entries;
    enum err e = find_versions(db, h, resource, rows, &found);

    if (e == ERR_OK && resource != 0)
        e = count_versions(db, h, resource, &total);
    if (e != ERR_OK)
        return e;
    count = found > (size_t)h->count ? (size_t)h->count : found;
    buf_init(&entries, ANSWER_SIZE_MAX);
    e = write_versions(db, h, rows, &count, &entries);
    write_begin(h, found > count && count > 0 ? &rows[count - 1] : NULL, total);
    buf_add(&h->x.body, entries.data, entries.len);
    fhir_write_searchset_end(&h->x.body);
    if (e == ERR_OK)
        e = buf_ok(&entries);
    buf_clear(&entries);
    return e;
}

static enum err read_history(struct db *db, void *arg)
{
    struct past *h = arg;
    struct resource row = { .id = 0 };
    struct resource *rows = calloc((size_t)h->count + 2, sizeof(*rows));
    enum err e = rows != NULL ? ERR_OK : ERR_MEMORY;

    if (e == ERR_OK && h->id[0] != '\0')
        e = resource_shown(db, h->type, h->id, &row);
    if (e == ERR_OK)
        e = write_history(db, h, row.id, rows);
    free(rows);
    return e;
}

static void not_found(struct past *h)
{
    outcome_add(&h->x.outcome, SEV_ERROR, "not-found", "",
                "This %s, or this version of it, is not known here",
                type_word(h->type));
    exchange_refuse(&h->x);
}

static void on_history(void *arg, enum err e)
{
    struct past *h = arg;

    if (e == ERR_ABSENT)
        not_found(h);
    else if (e != ERR_OK)
        exchange_failed(&h->x, e);
    else
        exchange_answer(&h->x, 200, NULL, 0);
}

static void start(struct past *h, const char *id)
{
    snprintf(h->id, sizeof(h->id), "%s", id != NULL ? id : "");
    h->count = HISTORY_DEFAULT;
    h->since_ms = h->at_from_ms = INT64_MIN;
    h->at_to_ms = h->after_ms = h->after = INT64_MAX;
    buf_init(&h->self, 1024);
    buf_init(&h->links, 1024);
    exchange_base(&h->x, &h->self);
    http_query_each(h->x.request, visit, h);
}

void route_history(struct service *s, struct http_request *request,
                   enum fhir_type type, const char *id)
{
    struct past *h = (struct past *)exchange_new(s, request, sizeof(*h));

    if (h == NULL)
        return;
    h->x.release = history_release;
    h->type = type;
    if (id != NULL && !fhir_is_id(id)) {
        not_found(h);
        return;
    }
    start(h, id);
    if (outcome_refuses(&h->x.outcome)) {
        exchange_refuse(&h->x);
        return;
    }
    h->x.job =
        (struct store_job){ .run = read_history, .done = on_history, .arg = h };
    exchange_submit(&h->x);
}

/*
 * Searching Tasks.  Pages are cut by the number of the last Task shown, so
 * that they neither repeat nor lose one when others come in between.
 */
#include "service/app.h"

#include "adapters/fhir_write.h"
#include "service/patients.h"
#include "service/resources.h"
#include "service/task_query.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINKS_MAX = 8192 };

struct search {
    struct exchange x; /* first */
    struct task_query query;
    struct buf self;  /* our base, as the client calls it */
    struct buf links; /* the query of the links, without the cursor */
};

static void search_release(struct exchange *x)
{
    buf_clear(&((struct search *)x)->self);
    buf_clear(&((struct search *)x)->links);
}

static void link_add(struct buf *query, const char *name, const char *value)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyz"
                                "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~,:/";

    buf_printf(query, "%s%s=", query->len > 0 ? "&" : "?", name);
    for (; *value != '\0'; value++) {
        if (strchr(plain, *value) != NULL)
            buf_add(query, value, 1);
        else
            buf_printf(query, "%%%02X", (unsigned)(unsigned char)*value);
    }
}

/* What is said of a parameter, by what became of it. */
static const char *const said[] = {
    [TAKEN_NOT] = "The value of a search parameter is not understood",
    [TAKEN_TWICE] = "This search parameter may be given once",
    [TAKEN_UNKNOWN] = "This search parameter is not known here",
    [TAKEN_MODIFIED] = "No modifier and no chain is understood here",
};

static bool is_strict(const struct search *q)
{
    const char *prefer = http_header(q->x.request, "Prefer");

    return prefer != NULL && strstr(prefer, "handling=strict") != NULL;
}

static void visit(void *arg, const char *name, const char *value)
{
    struct search *q = arg;
    enum taken taken = task_query_take(&q->query, name, value);
    bool passes = taken == TAKEN_UNKNOWN && !is_strict(q);

    if (taken != TAKEN)
        outcome_add(&q->x.outcome, passes ? SEV_WARNING : SEV_ERROR,
                    "bad-parameter", "", "%s: %.40s", said[taken], name);
    else if (strcmp(name, "_after") != 0)
        link_add(&q->links, name, value);
}

static const char *or_null(const char *text)
{
    return text[0] != '\0' ? text : NULL;
}

/* The patient of the search as our number; -1: nobody of that name. */
static enum err search_patient(struct db *db, const struct task_query *q,
                               int64_t *patient, bool *any)
{
    const char *bar = strchr(q->patient, '|');
    char system[ALIAS_SIZE];
    enum err e;

    *any = q->patient[0] == '\0';
    *patient = -1;
    if (*any)
        return ERR_OK;
    if (bar != NULL) {
        snprintf(system, sizeof(system), "%.*s", (int)(bar - q->patient),
                 q->patient);
        e = patient_find(db, NULL, system, bar + 1, patient);
    } else {
        e = patient_find(db, q->patient, NULL, NULL, patient);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

struct hit {
    int64_t resource;
    struct resource row;
};

static enum err find_hits(struct db *db, const struct task_query *q,
                          int64_t patient, bool any, struct hit *hits,
                          size_t *count)
{
    const enum query sql = any ? Q_TASK_SEARCH : Q_TASK_SEARCH_PATIENT;
    enum err e = db_query(db, sql, any ? "isssssiii" : "isssssiiii", q->after,
                          or_null(q->id), or_null(q->key), or_null(q->status),
                          or_null(q->priority), or_null(q->code), q->from_ms,
                          q->to_ms, INT64(q->count + 1), patient);

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, sql)) == ERR_OK) {
        struct hit *h = &hits[*count];

        if (*count > (size_t)q->count)
            continue;
        h->resource = db_int(db, sql, 0);
        h->row = (struct resource){ .id = h->resource,
                                    .kind = FHIR_TASK,
                                    .version = (int)db_int(db, sql, 2),
                                    .updated_ms = db_int(db, sql, 3) };
        snprintf(h->row.fid, FID_SIZE, "%s", db_text(db, sql, 1));
        ++*count;
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err count_hits(struct db *db, const struct task_query *q,
                           int64_t patient, bool any, long long *total)
{
    const enum query sql = any ? Q_TASK_TOTAL : Q_TASK_TOTAL_PATIENT;
    enum err e = db_first(db, sql, any ? "isssssiii" : "isssssiiii", INT64(0),
                          or_null(q->id), or_null(q->key), or_null(q->status),
                          or_null(q->priority), or_null(q->code), q->from_ms,
                          q->to_ms, INT64(0), patient);

    if (e == ERR_OK)
        *total = db_int(db, sql, 0);
    db_done(db, sql);
    return e;
}

static void write_number_36(int64_t n, char out[16])
{
    char digits[16];
    size_t len = 0;

    do {
        digits[len++] = "0123456789abcdefghijklmnopqrstuvwxyz"[n % 36];
        n /= 36;
    } while (n > 0 && len < sizeof(digits) - 1);
    for (size_t i = 0; i < len; i++)
        out[i] = digits[len - 1 - i];
    out[len] = '\0';
}

static enum err write_page(struct db *db, struct search *q,
                           const struct hit *hits, size_t found,
                           long long total)
{
    size_t count =
        found > (size_t)q->query.count ? (size_t)q->query.count : found;
    struct buf self, next, json, url;
    char cursor[16];
    int64_t updated_ms;
    enum err e = ERR_OK;

    buf_init(&self, 4096);
    buf_init(&next, 4096);
    buf_init(&url, 1024);
    buf_init(&json, BODY_MAX);
    buf_printf(&self, "%s/Task%s", q->self.data, q->links.data);
    if (found > count && count > 0) {
        write_number_36(hits[count - 1].resource, cursor);
        buf_printf(&next, "%s%s_after=%s", self.data,
                   q->links.len > 0 ? "&" : "?", cursor);
    }
    fhir_write_searchset_begin("searchset", total, self.data,
                               next.len > 0 ? next.data : NULL, &q->x.body);
    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        buf_empty(&json);
        buf_empty(&url);
        buf_printf(&url, "%s/Task/%s", q->self.data, hits[i].row.fid);
        e = resource_served(db, q->x.service->config.fhir_base, &hits[i].row, 0,
                            &json, &updated_ms);
        if (e == ERR_OK)
            fhir_write_searchset_entry(url.data, json.data, json.len, "match",
                                       i == 0, &q->x.body);
    }
    if (e == ERR_OK && q->x.outcome.count > 0) {
        buf_empty(&json);
        fhir_write_outcome(q->x.service->config.fhir_base, &q->x.outcome, NULL,
                           &json);
        fhir_write_searchset_entry(NULL, json.data, json.len, "outcome",
                                   count == 0, &q->x.body);
    }
    fhir_write_searchset_end(&q->x.body);
    buf_clear(&self);
    buf_clear(&next);
    buf_clear(&url);
    buf_clear(&json);
    return e;
}

static enum err run_search(struct db *db, void *arg)
{
    struct search *q = arg;
    struct hit *hits = calloc((size_t)q->query.count + 2, sizeof(*hits));
    long long total = 0;
    int64_t patient;
    size_t found = 0;
    bool any;
    enum err e = hits != NULL ? search_patient(db, &q->query, &patient, &any)
                              : ERR_MEMORY;

    if (e == ERR_OK)
        e = find_hits(db, &q->query, patient, any, hits, &found);
    if (e == ERR_OK)
        e = count_hits(db, &q->query, patient, any, &total);
    if (e == ERR_OK)
        e = write_page(db, q, hits, found, total);
    free(hits);
    return e;
}

static void on_search(void *arg, enum err e)
{
    struct search *q = arg;
    if (e != ERR_OK)
        exchange_failed(&q->x, e);
    else
        exchange_answer(&q->x, 200, NULL, 0);
}

void route_task_search(struct service *s, struct http_request *r)
{
    struct search *q = (struct search *)exchange_new(s, r, sizeof(*q));

    if (q == NULL)
        return;
    q->x.release = search_release;
    buf_init(&q->self, 1024);
    buf_init(&q->links, LINKS_MAX);
    exchange_base(&q->x, &q->self);
    task_query_init(&q->query, s->config.fhir_base, q->self.data, s->zone);
    http_query_each(r, visit, q);
    http_form_each(r, visit, q);
    if (buf_ok(&q->links) != ERR_OK)
        outcome_add(&q->x.outcome, SEV_ERROR, "bad-parameter", "",
                    "The search is too long");
    if (outcome_refuses(&q->x.outcome)) {
        exchange_refuse(&q->x);
        return;
    }
    q->x.job =
        (struct store_job){ .run = run_search, .done = on_search, .arg = q };
    store_submit(s->store, &q->x.job);
}

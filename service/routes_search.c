/*
 * Searching Tasks.  Pages are cut by the number of the last Task shown, so
 * that they neither repeat nor lose one when others come in between.
 */
#include "service/app.h"

#include "adapters/fhir_write.h"
#include "service/patients.h"
#include "service/resources.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAGE_DEFAULT = 50, PAGE_MAX = 500, TOKENS_SIZE = 256 };

struct search {
    struct exchange x; /* first */
    char id[FID_SIZE], key[80], patient[ALIAS_SIZE];
    /* ",requested,accepted,": any of these; "" any */
    char status[TOKENS_SIZE], priority[TOKENS_SIZE], code[TOKENS_SIZE];
    int64_t from_ms, to_ms; /* of _lastUpdated */
    int64_t after;          /* keyset: the last resource of the page before */
    int count;
    struct buf query; /* of the links, without the cursor */
};

static void search_release(struct exchange *x)
{
    buf_clear(&((struct search *)x)->query);
}

/* "s|c" and "c" to c; a list becomes ",c1,c2,". */
static bool take_tokens(const char *value, char list[TOKENS_SIZE])
{
    size_t len = 1;

    list[0] = ',';
    while (*value != '\0') {
        size_t n = strcspn(value, ",");
        const char *bar = memchr(value, '|', n);
        const char *code = bar != NULL ? bar + 1 : value;
        size_t code_len = (size_t)(value + n - code);

        if (len + code_len + 2 > TOKENS_SIZE)
            return false;
        memcpy(list + len, code, code_len);
        len += code_len;
        list[len++] = ',';
        value += n + (value[n] == ',' ? 1 : 0);
    }
    list[len] = '\0';
    return len > 1;
}

/* _lastUpdated=ge2026-01-01T00:00:00Z and the like. */
static bool take_updated(struct search *q, const char *value)
{
    char prefix[3] = "eq";
    struct fhir_time at;

    if (value[0] >= 'a' && value[0] <= 'z') {
        memcpy(prefix, value, 2);
        value += 2;
    }
    if (fhir_time_read(value, strlen(value), q->x.service->zone, &at) != ERR_OK)
        return false;
    if (strcmp(prefix, "eq") == 0 || strcmp(prefix, "ge") == 0)
        q->from_ms = at.start_s * 1000;
    else if (strcmp(prefix, "gt") == 0 || strcmp(prefix, "sa") == 0)
        q->from_ms = at.end_s * 1000;
    if (strcmp(prefix, "eq") == 0 || strcmp(prefix, "le") == 0)
        q->to_ms = at.end_s * 1000;
    else if (strcmp(prefix, "lt") == 0 || strcmp(prefix, "eb") == 0)
        q->to_ms = at.start_s * 1000;
    return strstr("eq ge gt sa le lt eb", prefix) != NULL;
}

static bool take_count(struct search *q, const char *value)
{
    char *end;
    long n = strtol(value, &end, 10);

    if (end == value || *end != '\0' || n < 0)
        return false;
    q->count = n > PAGE_MAX ? PAGE_MAX : (int)n;
    return true;
}

static bool take_key(struct search *q, const char *value)
{
    const char *bar = strchr(value, '|');

    return snprintf(q->key, sizeof(q->key), "%s",
                    bar != NULL ? bar + 1 : value) < (int)sizeof(q->key);
}

static bool take_text(char *to, size_t size, const char *value)
{
    return value[0] != '\0' && snprintf(to, size, "%s", value) < (int)size;
}

/* Also by our own handle of the page before. */
static bool take_after(struct search *q, const char *value)
{
    char *end;

    q->after = strtoll(value, &end, 36);
    return end != value && *end == '\0' && q->after >= 0;
}

enum taken { TAKEN, TAKEN_NOT, TAKEN_UNKNOWN };

static enum taken take(struct search *q, const char *name, const char *value)
{
    bool ok;

    if (strcmp(name, "_id") == 0)
        ok = take_text(q->id, sizeof(q->id), value);
    else if (strcmp(name, "identifier") == 0)
        ok = take_key(q, value);
    else if (strcmp(name, "patient") == 0 || strcmp(name, "subject") == 0)
        ok = take_text(q->patient, sizeof(q->patient), value);
    else if (strcmp(name, "status") == 0)
        ok = take_tokens(value, q->status);
    else if (strcmp(name, "priority") == 0)
        ok = take_tokens(value, q->priority);
    else if (strcmp(name, "code") == 0)
        ok = take_tokens(value, q->code);
    else if (strcmp(name, "_lastUpdated") == 0)
        ok = take_updated(q, value);
    else if (strcmp(name, "_count") == 0)
        ok = take_count(q, value);
    else if (strcmp(name, "_after") == 0)
        ok = take_after(q, value);
    else if (strcmp(name, "_format") == 0 || strcmp(name, "_pretty") == 0)
        ok = true;
    else
        return TAKEN_UNKNOWN;
    return ok ? TAKEN : TAKEN_NOT;
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

static void visit(void *arg, const char *name, const char *value)
{
    struct search *q = arg;
    const char *prefer = http_header(q->x.request, "Prefer");
    bool strict = prefer != NULL && strstr(prefer, "handling=strict") != NULL;

    switch (take(q, name, value)) {
    case TAKEN:
        if (strcmp(name, "_after") != 0)
            link_add(&q->query, name, value);
        break;
    case TAKEN_NOT:
        outcome_add(&q->x.outcome, SEV_ERROR, "bad-parameter", "",
                    "The value of a search parameter is not understood: %.40s",
                    name);
        break;
    case TAKEN_UNKNOWN:
        outcome_add(&q->x.outcome, strict ? SEV_ERROR : SEV_WARNING,
                    "bad-parameter", "",
                    "This search parameter is not known here: %.40s", name);
        break;
    }
}

static const char *or_null(const char *text)
{
    return text[0] != '\0' ? text : NULL;
}

/* The patient of the search as our number; -1: nobody of that name. */
static enum err search_patient(struct db *db, struct search *q,
                               int64_t *patient, bool *any)
{
    char literal[ALIAS_SIZE + 8], *bar = strchr(q->patient, '|');
    enum err e;

    *any = q->patient[0] == '\0';
    *patient = -1;
    if (*any)
        return ERR_OK;
    if (bar != NULL) {
        *bar = '\0';
        e = patient_find(db, NULL, q->patient, bar + 1, patient);
        *bar = '|';
    } else {
        snprintf(literal, sizeof(literal), "%s%s",
                 strchr(q->patient, '/') != NULL ? "" : "Patient/", q->patient);
        e = patient_find(db, literal, NULL, NULL, patient);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

struct hit {
    int64_t resource;
    struct resource row;
};

static enum err find_hits(struct db *db, struct search *q, int64_t patient,
                          bool any, struct hit *hits, size_t *count)
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

static enum err count_hits(struct db *db, struct search *q, int64_t patient,
                           bool any, long long *total)
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
    size_t count = found > (size_t)q->count ? (size_t)q->count : found;
    struct buf self, next, json, url;
    char cursor[16];
    int64_t updated_ms;
    enum err e = ERR_OK;

    buf_init(&self, 4096);
    buf_init(&next, 4096);
    buf_init(&url, 1024);
    buf_init(&json, BODY_MAX);
    exchange_base(&q->x, &self);
    buf_printf(&self, "/Task%s", q->query.data);
    if (found > count && count > 0) {
        write_number_36(hits[count - 1].resource, cursor);
        buf_printf(&next, "%s%s_after=%s", self.data,
                   q->query.len > 0 ? "&" : "?", cursor);
    }
    fhir_write_searchset_begin("searchset", total, self.data,
                               next.len > 0 ? next.data : NULL, &q->x.body);
    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        buf_empty(&json);
        buf_empty(&url);
        exchange_base(&q->x, &url);
        buf_printf(&url, "/Task/%s", hits[i].row.fid);
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
    struct hit *hits = calloc((size_t)q->count + 2, sizeof(*hits));
    long long total = 0;
    int64_t patient;
    size_t found = 0;
    bool any;
    enum err e =
        hits != NULL ? search_patient(db, q, &patient, &any) : ERR_MEMORY;

    if (e == ERR_OK)
        e = find_hits(db, q, patient, any, hits, &found);
    if (e == ERR_OK)
        e = count_hits(db, q, patient, any, &total);
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
    q->count = PAGE_DEFAULT;
    q->to_ms = INT64_MAX;
    q->from_ms = INT64_MIN;
    buf_init(&q->query, 2048);
    http_query_each(r, visit, q);
    http_form_each(r, visit, q);
    if (buf_ok(&q->query) != ERR_OK)
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

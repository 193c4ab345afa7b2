#include "service/app.h"

#include "adapters/fhir_write.h"
#include "service/intake.h"
#include "service/log.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    LARGE_ENTRIES = 20,     /* see store.h */
    INLINE_MAX = 64 * 1024, /* a larger body is read on a pool thread */
    LOCATION_SIZE = 1024,
    CONDITION_MAX = 2048
};

/* A resource or Bundle coming in. */
struct arrival {
    struct exchange x; /* first */
    uv_work_t work;
    enum fhir_type type; /* FHIR_BUNDLE: at the root */
    bool update;
    char id[FID_SIZE]; /* of the path, for an update */
    const char *body;
    size_t len;
    struct fhir_reader reader;
    struct buf self;         /* our base, as the sender calls it */
    struct buf condition;    /* of an update: what follows its "?" */
    struct door_grant grant; /* of the sender; its scopes are ours: */
    char *scopes;            /* NULL: everything */
    char sender[64];         /* name of the client; "" not told */
    struct fhir_doc *doc;
    enum err read; /* what reading came to */
    struct intake in;
};

static void release(struct exchange *x)
{
    struct arrival *a = (struct arrival *)x;

    fhir_doc_free(a->doc);
    buf_clear(&a->self);
    buf_clear(&a->condition);
    free(a->scopes);
    free(a->in.results);
}

/* ---- the answer --------------------------------------------------------- */

static enum err representation(struct arrival *a, const struct fhir_item *item,
                               const struct intake_result *result)
{
    struct buf meta;
    enum err e;

    buf_init(&meta, 1024);
    fhir_write_meta(a->reader.base, result->version, result->updated_ms, NULL,
                    &meta);
    e = buf_ok(&meta);
    if (e == ERR_OK)
        e = fhir_respell(a->body + item->offset, item->len, result->fid,
                         meta.data, &a->x.body);
    buf_clear(&meta);
    return e;
}

/* Refused for its content, and kept nowhere: its sender's report counts it. */
static void count_refused(struct arrival *a, const struct outcome *outcome,
                          int status)
{
    if (status >= 400 && status < 500 && status != 401 && status != 403)
        tally_loop_refused(a->x.service->tally, a->sender, QUARANTINE_HTTP,
                           outcome);
}

static void refuse(struct arrival *a)
{
    count_refused(a, &a->x.outcome, a->x.outcome.status);
    exchange_refuse(&a->x);
}

static void answer_one(struct arrival *a)
{
    struct fhir_item *item = fhir_doc_item(a->doc, 0);
    const struct intake_result *result = &a->in.results[0];
    char etag[32], location[LOCATION_SIZE], modified[64];
    struct http_header_line lines[3];

    if (result->status >= 400) {
        a->x.outcome = item->outcome;
        a->x.outcome.status = result->status;
        refuse(a);
        return;
    }
    snprintf(location, sizeof(location), "%s/%s/%s/_history/%d", a->self.data,
             result->type, result->fid, result->version);
    snprintf(etag, sizeof(etag), "W/\"%d\"", result->version);
    http_date_write(result->updated_ms / 1000, modified, sizeof(modified));
    lines[0] = (struct http_header_line){ "Location", location };
    lines[1] = (struct http_header_line){ "ETag", etag };
    lines[2] = (struct http_header_line){ "Last-Modified", modified };
    if (http_prefers(a->x.request, "return", "representation")) {
        if (representation(a, item, result) != ERR_OK)
            buf_empty(&a->x.body);
    } else if (!http_prefers(a->x.request, "return", "minimal")) {
        fhir_write_outcome(a->reader.base, &item->outcome, NULL, &a->x.body);
    }
    exchange_answer(&a->x, result->status, lines, COUNT(lines));
}

/* All that was wrong with a transaction, with the entries' places. */
static void gather_refusals(struct arrival *a)
{
    struct outcome *all = &a->x.outcome;

    for (size_t i = 0; i < fhir_doc_count(a->doc); i++) {
        const struct outcome *one = &fhir_doc_item(a->doc, i)->outcome;

        if (a->in.results[i].status < 400)
            continue;
        for (size_t k = 0; k < one->count; k++) {
            const struct issue *issue = &one->issues[k];
            const char *rest = strchr(issue->place, '.');
            char place[200];

            if (strncmp(issue->place, "Bundle", 6) == 0)
                snprintf(place, sizeof(place), "%s", issue->place);
            else
                snprintf(place, sizeof(place), "Bundle.entry[%zu].resource%s",
                         i, rest != NULL ? rest : "");
            outcome_add(all, issue->severity, issue->word, place, "%s",
                        issue->text);
        }
        if (all->status < a->in.results[i].status)
            all->status = a->in.results[i].status;
    }
}

/* How large a Bundle was, for the log. */
static void tell_bundle(const struct arrival *a, size_t refused)
{
    enum bundle_type bundle = fhir_doc_bundle(a->doc);

    log_event(LOG_DEBUG, "fhir.bundle",
              KEY_TABLE("kind", bundle == BUNDLE_TRANSACTION  ? "transaction"
                                : bundle == BUNDLE_COLLECTION ? "collection"
                                                              : "batch"),
              KEY_INT("entries", fhir_doc_count(a->doc)),
              KEY_INT("refused", refused), KEY_INT("bytes", a->len),
              KEY_INT("ms", log_ms_since(a->x.began_ns)));
}

static void answer_bundle(struct arrival *a)
{
    size_t count = fhir_doc_count(a->doc), refused = 0;
    bool transaction = fhir_doc_bundle(a->doc) == BUNDLE_TRANSACTION;
    struct fhir_response *responses = calloc(count + 1, sizeof(*responses));
    char(*texts)[2][160] = calloc(count + 1, sizeof(*texts));

    if (responses == NULL || texts == NULL) {
        free(responses);
        free(texts);
        exchange_failed(&a->x, ERR_MEMORY);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        const struct intake_result *r = &a->in.results[i];

        responses[i].status = r->status;
        responses[i].outcome = &fhir_doc_item(a->doc, i)->outcome;
        count_refused(a, responses[i].outcome, r->status);
        if (r->status >= 400) {
            refused++;
            continue;
        }
        snprintf(texts[i][0], sizeof(texts[i][0]), "%s/%s/_history/%d", r->type,
                 r->fid, r->version);
        snprintf(texts[i][1], sizeof(texts[i][1]), "W/\"%d\"", r->version);
        responses[i].location = texts[i][0];
        responses[i].etag = texts[i][1];
        responses[i].modified_ms = r->updated_ms;
    }
    tell_bundle(a, refused);
    fhir_write_bundle_response(a->reader.base, transaction, responses, count,
                               &a->x.body);
    free(responses);
    free(texts);
    exchange_answer(&a->x, 200, NULL, 0);
}

static void on_stored(void *arg, enum err e)
{
    struct arrival *a = arg;
    struct service *s = a->x.service;

    if (a->in.all_failed) {
        if (a->type == FHIR_BUNDLE)
            tell_bundle(a, fhir_doc_count(a->doc));
        gather_refusals(a);
        refuse(a);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&a->x, e);
        return;
    }
    if (a->in.news)
        store_wake(s->store);
    if (a->in.tasks_changed > 0 && s->outbox != NULL)
        outbox_kick(s->outbox);
    s->counters.tasks_changed += a->in.tasks_changed;
    s->counters.resources += fhir_doc_count(a->doc);
    if (a->type == FHIR_BUNDLE)
        answer_bundle(a);
    else
        answer_one(a);
}

/* ---- reading and storing ------------------------------------------------ */

/* For the audit trail: what came of it, and what it was. */
static void note(struct arrival *a)
{
    struct audit_request *audit = &a->x.audit;
    enum bundle_type bundle = fhir_doc_bundle(a->doc);
    size_t count = fhir_doc_count(a->doc), refused = 0;

    for (size_t i = 0; i < count; i++)
        refused += a->in.results[i].status >= 400 ? 1 : 0;
    audit_request_count(audit, count - refused, refused);
    audit->refused = refused == count && count > 0;
    if (a->type == FHIR_BUNDLE)
        snprintf(audit->action, sizeof(audit->action), "%s",
                 bundle == BUNDLE_COLLECTION    ? "collection"
                 : bundle == BUNDLE_TRANSACTION ? "transaction"
                                                : "batch");
    audit->key_seen = a->type != FHIR_BUNDLE && a->in.results[0].stored != 0;
    if (a->type != FHIR_BUNDLE)
        snprintf(audit->key, sizeof(audit->key), "%s", a->in.results[0].fid);
    else if (a->in.journal != 0)
        snprintf(audit->key, sizeof(audit->key), "%lld",
                 (long long)a->in.journal);
}

static enum err apply(struct db *db, void *arg)
{
    struct arrival *a = arg;
    enum err e = intake_apply(db, &a->in);

    note(a);
    return e;
}

/* The path says what must come; the body must agree. */
static bool agrees(struct arrival *a)
{
    struct fhir_item *item;
    enum bundle_type bundle = fhir_doc_bundle(a->doc);
    struct outcome *o = &a->x.outcome;

    if (a->type == FHIR_BUNDLE) {
        if (bundle == BUNDLE_NONE)
            outcome_add(o, SEV_ERROR, "bad-value", "Bundle",
                        "A Bundle is taken here; send a single resource to "
                        "its own path");
        return bundle != BUNDLE_NONE;
    }
    item = bundle == BUNDLE_NONE ? fhir_doc_item(a->doc, 0) : NULL;
    if (item == NULL || item->type != a->type) {
        outcome_add(o, SEV_ERROR, "bad-value", "resourceType",
                    "The path asks for a %s", type_word(a->type));
        return false;
    }
    item->method = a->update ? "PUT" : "POST";
    item->if_none_exist =
        a->update ? NULL : http_header(a->x.request, "If-None-Exist");
    item->if_match = http_header(a->x.request, "If-Match");
    item->if_none_match =
        a->update ? http_header(a->x.request, "If-None-Match") : NULL;
    if (a->update && a->id[0] == '\0') {
        item->condition = a->condition.data;
        return true;
    }
    item->url_id = a->update ? a->id : NULL;
    /* What is refused for its form may not have been read as far as its id;
     * the sender is told of the form. */
    if (a->update && !outcome_refuses(&item->outcome) &&
        (item->id == NULL || strcmp(item->id, a->id) != 0)) {
        outcome_add(o, SEV_ERROR, "bad-value", "Resource.id",
                    "The id in the body must be that of the path");
        return false;
    }
    return true;
}

/* A collection is a feed that carries histories too, and headgate load says
 * that it loads one. */
static bool is_history(const struct arrival *a)
{
    return fhir_doc_bundle(a->doc) == BUNDLE_COLLECTION ||
           http_header(a->x.request, "X-Headgate-History") != NULL;
}

static void store(struct arrival *a)
{
    struct service *s = a->x.service;
    size_t count;

    if (a->read != ERR_OK || !agrees(a)) {
        if (a->x.outcome.status == 0) {
            exchange_failed(&a->x, a->read);
        } else {
            refuse(a);
        }
        return;
    }
    if (a->type == FHIR_BUNDLE && doors_check_bundle(&a->grant, a->doc) > 0)
        exchange_forbid(&a->x, a->grant.client, NULL);
    count = fhir_doc_count(a->doc);
    a->in = (struct intake){
        .doc = a->doc,
        .reader = &a->reader,
        .body = a->body,
        .len = a->len,
        .source = fhir_doc_bundle(a->doc) == BUNDLE_COLLECTION ? SOURCE_FEED
                                                               : SOURCE_HTTP,
        .strict_access = s->config.fhir_strict_access,
        .merge_implied = s->config.merge_implied,
        .task_if_match = s->config.fhir_task_if_match,
        .deliver = s->review.record && !s->review.silent,
        .now_ms = clock_ms(),
        .sender = a->sender,
        .way = QUARANTINE_HTTP,
        .live_from_s = is_history(a) ? 0 : service_live_from_s(s),
        .results = calloc(count + 1, sizeof(struct intake_result))
    };
    if (a->in.results == NULL) {
        exchange_failed(&a->x, ERR_MEMORY);
        return;
    }
    a->x.job = (struct store_job){ .run = apply,
                                   .done = on_stored,
                                   .arg = a,
                                   .large = count > LARGE_ENTRIES };
    exchange_submit(&a->x);
}

static void read_body(struct arrival *a)
{
    a->read = fhir_read(&a->reader, a->body, a->len, &a->x.outcome, &a->doc);
}

static void on_work(uv_work_t *work)
{
    read_body(work->data);
}

static void after_work(uv_work_t *work, int status)
{
    struct arrival *a = work->data;

    if (status != 0)
        a->read = ERR_STOPPED;
    store(a);
}

/* A Bundle is judged when it has been read; another request may have been
 * routed by then.  false: no memory. */
static bool keep_grant(struct arrival *a)
{
    const char *scopes = a->x.service->grant.scopes;

    a->grant = a->x.service->grant;
    snprintf(a->sender, sizeof(a->sender), "%s",
             a->grant.name != NULL ? a->grant.name : "");
    a->grant.name = a->sender;
    if (scopes == NULL)
        return true;
    a->grant.scopes = a->scopes = malloc(strlen(scopes) + 1);
    if (a->scopes == NULL)
        return false;
    memcpy(a->scopes, scopes, strlen(scopes) + 1);
    return true;
}

/* What an update goes by, without what says how to answer. */
static void keep_condition(void *arg, const char *name, const char *value)
{
    struct arrival *a = arg;

    if (strcmp(name, "_format") != 0 && strcmp(name, "_pretty") != 0)
        http_query_add(&a->condition, name, value);
}

static void start(struct service *s, struct http_request *r,
                  enum fhir_type type, const char *id, bool update)
{
    struct arrival *a = (struct arrival *)exchange_new(s, r, sizeof(*a));

    if (a == NULL)
        return;
    a->x.release = release;
    a->type = type;
    a->update = update;
    a->body = http_body(r, &a->len);
    a->reader = s->reader;
    a->reader.now_s = clock_ms() / 1000;
    buf_init(&a->self, 512);
    exchange_base(&a->x, &a->self);
    a->reader.self = buf_ok(&a->self) == ERR_OK ? a->self.data : NULL;
    a->work.data = a;
    if (!keep_grant(a)) {
        exchange_failed(&a->x, ERR_MEMORY);
        return;
    }
    if (id != NULL && !fhir_is_id(id)) {
        outcome_add(&a->x.outcome, SEV_ERROR, "bad-value", "Resource.id",
                    "An id is 1 to 64 letters, digits, '-' and '.'");
        exchange_refuse(&a->x);
        return;
    }
    snprintf(a->id, sizeof(a->id), "%s", id != NULL ? id : "");
    buf_init(&a->condition, CONDITION_MAX);
    if (update && id == NULL)
        http_query_each(r, keep_condition, a);
    if (buf_ok(&a->condition) != ERR_OK) {
        outcome_add(&a->x.outcome, SEV_ERROR, "bad-parameter", "",
                    "The condition is too long");
        exchange_refuse(&a->x);
        return;
    }
    if (a->len > INLINE_MAX &&
        uv_queue_work(s->loop, &a->work, on_work, after_work) == 0)
        return;
    read_body(a);
    store(a);
}

void route_create(struct service *s, struct http_request *r,
                  enum fhir_type type)
{
    start(s, r, type, NULL, false);
}

void route_update(struct service *s, struct http_request *r,
                  enum fhir_type type, const char *id)
{
    start(s, r, type, id, true);
}

void route_bundle(struct service *s, struct http_request *r)
{
    start(s, r, FHIR_BUNDLE, NULL, false);
}

#include "service/outbox_work.h"

#include "adapters/fhir_list.h"
#include "adapters/fhir_member.h"
#include "adapters/fhir_write.h"
#include "service/app.h"
#include "service/log.h"
#include "service/retry.h"

#include <stdio.h>
#include <string.h>

/* A try that ended with a success, and is still waiting, was one whose body
 * was no Task, and one that ended with 410 was of a Task that the record has
 * lost before we knew that it had it; an outage before it does not count. */
static int unclear_before(const struct delivery_data *d)
{
    struct http_answer before = { .err = ERR_OK, .status = d->status };

    if (outbox_is_success(&before) || d->status == 410 ||
        (d->status != 0 && retry_class(&before) == RETRY_UNCLEAR))
        return d->tries;
    return 0;
}

bool outbox_is_id(const char *id, size_t len)
{
    static const char allowed[] = "abcdefghijklmnopqrstuvwxyz"
                                  "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.";

    /* dots alone would lead to another address */
    return len > 0 && len <= 64 && strspn(id, allowed) >= len &&
           strspn(id, ".") < len;
}

/* ---- loading ------------------------------------------------------------ */

/* Is it to be looked for before anything else? */
static bool must_seek(const struct delivery *d)
{
    const struct delivery_data *data = &d->data;

    return !d->sought && data->key[0] != '\0' &&
           (data->twin || (data->remote[0] == '\0' && d->outbox->no_condition));
}

enum delivery_state outbox_next(const struct delivery *d)
{
    const struct delivery_data *data = &d->data;
    bool bundles = !d->alone && data->remote[0] == '\0';

    if (data->looked < data->look_count)
        return LOOKING_UP;
    if (must_seek(d))
        return FINDING_TWINS;
    if (data->beside_count > 0 && data->bundled)
        return BUNDLING;
    if (data->beside_count > 1 && bundles && d->outbox->way == WAY_BATCH)
        return BATCHING;
    if (data->beside_count > 0)
        return BESIDE;
    if (data->remote[0] == '\0')
        return CREATING;
    /* what it came from was written down once, and does not change */
    return data->kind == FHIR_PROVENANCE ? SAVING : FETCHING;
}

/* Of this row alone; it must not keep the others waiting. */
static bool is_spoilt(enum err e)
{
    return e == ERR_FORM || e == ERR_ABSENT || e == ERR_LIMIT;
}

static void on_loaded(void *arg, enum err e)
{
    struct delivery *d = arg;

    d->job_running = false;
    if (e != ERR_OK || d->outbox->closing) {
        d->failed = e != ERR_OK;
        if (d->failed)
            log_event(LOG_ERROR, "outbox.load", KEY_INT("row", d->data.row),
                      KEY_ERR(e));
        if (!d->outbox->closing && is_spoilt(e))
            outbox_put_aside(d, &(struct http_answer){ .body = "" });
        else
            outbox_delivered(d);
        return;
    }
    d->unclear = unclear_before(&d->data);
    d->beside_at = 0;
    d->data.result = DELIVERED;
    outbox_go(d, outbox_next(d));
}

static void write_reference(struct record_lookup *look, const char *id)
{
    char type[sizeof(look->type)];

    memcpy(type, look->type, sizeof(type));
    snprintf(look->reference, sizeof(look->reference), "%s/%s", type, id);
}

static void on_looked_up(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    struct record_lookup *look = &d->data.looks[d->data.looked];
    char id[FID_SIZE];
    enum err e;

    d->call = NULL;
    if (outbox_is_success(answer)) {
        e = answer->body_len == 0
                ? ERR_FORM
                : fhir_sole_match(answer->body, answer->body_len,
                                  look->system.data, look->value.data, id);
        look->known = e == ERR_OK || e == ERR_ABSENT;
        if (e == ERR_OK) {
            write_reference(look, id);
        } else if (e == ERR_CONFLICT) {
            log_event(LOG_ERROR, "record.lenient", KEY_INT("row", d->data.row));
        } else if (e != ERR_ABSENT && e != ERR_AMBIGUOUS && d->unclear == 0) {
            /* no answer to a search: asked once more, then done without */
            outbox_unclear(d, answer);
            return;
        }
    } else if (outbox_must_wait(d, answer) ||
               (retry_class(answer) == RETRY_UNCLEAR && d->unclear == 0)) {
        outbox_not_done(d, answer);
        return;
    }
    /* not found, or a search that is not offered: a logical reference */
    d->data.looked++;
    outbox_go(d, d->data.looked < d->data.look_count ? LOOKING_UP : LOADING);
}

/* ---- creating ----------------------------------------------------------- */

/* "../Task/77/_history/2": the id, and the version. */
static bool take_location(const char *type, const char *location,
                          char id[FID_SIZE], char version[FID_SIZE])
{
    size_t type_len = strlen(type), len;
    const char *at = location;

    while (at != NULL && (at = strstr(at, type)) != NULL &&
           (at[type_len] != '/' || (at != location && at[-1] != '/')))
        at++;
    if (at == NULL)
        return false;
    at += type_len + 1;
    len = strcspn(at, "/?#");
    if (!outbox_is_id(at, len))
        return false;
    snprintf(id, FID_SIZE, "%.*s", (int)len, at);
    at += len;
    if (strncmp(at, "/_history/", 10) == 0 &&
        outbox_is_id(at + 10, strcspn(at + 10, "/?#")))
        snprintf(version, FID_SIZE, "%.*s", (int)strcspn(at + 10, "/?#"),
                 at + 10);
    return true;
}

/* W/"3", "3" or 3 */
static void take_etag(const char *etag, char version[FID_SIZE])
{
    size_t len;

    if (etag == NULL)
        return;
    if (strncmp(etag, "W/", 2) == 0)
        etag += 2;
    etag += etag[0] == '"' ? 1 : 0;
    len = strcspn(etag, "\"");
    if (outbox_is_id(etag, len))
        snprintf(version, FID_SIZE, "%.*s", (int)len, etag);
}

bool outbox_take_id(enum fhir_type kind, const struct http_answer *answer,
                    char id[FID_SIZE], char version[FID_SIZE])
{
    char type[32];

    version[0] = '\0';
    if (take_location(type_word(kind), answer->location, id, version)) {
        if (version[0] == '\0')
            take_etag(answer->etag, version);
        return true;
    }
    take_etag(answer->etag, version);
    return answer->body_len > 0 &&
           fhir_member_text(answer->body, answer->body_len, "resourceType",
                            type, sizeof(type)) == ERR_OK &&
           strcmp(type, type_word(kind)) == 0 &&
           fhir_member_text(answer->body, answer->body_len, "id", id,
                            FID_SIZE) == ERR_OK &&
           outbox_is_id(id, strlen(id));
}

static void on_created(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;

    d->call = NULL;
    d->data.status = answer->status;
    if (answer->err == ERR_OK && answer->status == 412 && !d->sought &&
        d->data.key[0] != '\0')
        outbox_go(d, FINDING_TWINS); /* there are several of it */
    else if (answer->err == ERR_OK && answer->status == 409 &&
             ++d->refetched < REFETCH_MAX)
        outbox_go(d, CREATING); /* a race was lost, and it may be there now */
    else if (!outbox_is_success(answer))
        outbox_not_done(d, answer);
    else if (!outbox_take_id(d->data.kind, answer, d->data.remote,
                             d->data.remote_version))
        outbox_unclear(d, answer); /* created, perhaps, but who can say which */
    else if (answer->status == 200 && d->data.kind != FHIR_PROVENANCE)
        outbox_go(d, FETCHING); /* was there before: perhaps an older one */
    else
        outbox_save(d, DELIVERED);
}

/* ---- saving ------------------------------------------------------------- */

static void on_saved(void *arg, enum err e)
{
    struct delivery *d = arg;

    d->job_running = false;
    d->failed = e != ERR_OK;
    if (d->failed)
        log_event(LOG_ERROR, "outbox.save", KEY_INT("row", d->data.row),
                  KEY_ERR(e));
    outbox_delivered(
        d); /* what was not saved is sent again, and does no harm */
}

/* What went well of a Bundle is kept; then what did not, or the next step. */
static void on_beside_saved(void *arg, enum err e)
{
    struct delivery *d = arg;
    struct http_answer held = { .err = ERR_OK,
                                .status = d->held_status,
                                .body = "" };

    if (e != ERR_OK || d->outbox->closing) {
        on_saved(arg, e);
        return;
    }
    d->job_running = false;
    d->held_status = 0;
    if (held.status != 0)
        outbox_not_done(d, &held);
    else
        outbox_go(d, LOADING);
}

/* ---- calls ------------------------------------------------------------- */

void outbox_percent(struct buf *out, const char *text)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyz"
                                "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~";

    for (; *text != '\0'; text++) {
        if (strchr(plain, *text) != NULL)
            buf_add(out, text, 1);
        else
            buf_printf(out, "%%%02X", (unsigned)(unsigned char)*text);
    }
}

const char *outbox_naming(enum fhir_type kind)
{
    return kind == FHIR_LIST ? "/NamingSystem/" FHIR_UNIT_LIST
                             : "/NamingSystem/task-key";
}

void outbox_condition(const struct delivery *d, enum fhir_type kind,
                      const char *key, struct buf *out)
{
    char recorded[64];

    if (kind != FHIR_PROVENANCE) {
        buf_puts(out, "identifier=");
        outbox_percent(out, d->outbox->base);
        outbox_percent(out, outbox_naming(kind));
        buf_puts(out, "%7C");
        outbox_percent(out, key);
        return;
    }
    /* no identifier in R4: by what it is of, and when it was written */
    buf_printf(out, "target=Task/%s", d->data.target);
    if (fhir_member_text(d->data.body.data, d->data.body.len, "recorded",
                         recorded, sizeof(recorded)) == ERR_OK) {
        buf_puts(out, "&recorded=");
        outbox_percent(out, recorded);
    }
}

void outbox_call(struct delivery *d, const struct outbox_call *call,
                 http_done_fn on_done)
{
    const char *headers[3];
    size_t n = 0;
    struct record_request request = { .method = call->method,
                                      .target = call->target->data,
                                      .headers = headers,
                                      .body_type = call->body_type,
                                      .answer_max = ANSWER_MAX };
    struct http_answer failed = { .err = buf_ok(call->target), .body = "" };

    if (call->body != NULL) {
        headers[n++] = "Prefer: return=representation";
        request.body = call->body->data;
        request.body_len = call->body->len;
    }
    if (call->condition != NULL)
        headers[n++] = call->condition;
    headers[n] = NULL;
    if (failed.err == ERR_OK)
        failed.err = record_call_start(d->outbox->record, &request, on_done, d,
                                       &d->call);
    if (failed.err != ERR_OK) {
        d->call = NULL;
        outbox_not_done(d, &failed);
    }
}

static void look_up(struct delivery *d)
{
    const struct record_lookup *look = &d->data.looks[d->data.looked];
    struct buf target;

    buf_init(&target, URL_SIZE);
    buf_printf(&target, "/%s?identifier=", look->type);
    outbox_percent(&target, look->system.data);
    buf_puts(&target, "%7C");
    outbox_percent(&target, look->value.data);
    buf_puts(&target, "&_count=2");
    outbox_call(d, &(struct outbox_call){ .method = "GET", .target = &target },
                on_looked_up);
    buf_clear(&target);
}

static void create(struct delivery *d)
{
    struct buf target, condition;

    buf_init(&target, URL_SIZE);
    buf_init(&condition, URL_SIZE);
    buf_printf(&target, "/%s", type_word(d->data.kind));
    buf_puts(&condition, "If-None-Exist: ");
    outbox_condition(d, d->data.kind, d->data.key, &condition);
    outbox_call(d,
                &(struct outbox_call){ .method = "POST",
                                       .target = &target,
                                       .condition = condition.data,
                                       .body = &d->data.body },
                on_created);
    buf_clear(&target);
    buf_clear(&condition);
}

static void submit(struct delivery *d, enum err (*run)(struct db *, void *),
                   void (*done)(void *, enum err))
{
    d->data.now_ms = d->outbox->options.now_ms();
    d->job = (struct store_job){ .run = run, .done = done, .arg = &d->data };
    d->job_running = true;
    store_submit(d->outbox->store, &d->job);
}

static void load(struct delivery *d)
{
    d->data.bundled = !d->alone && d->outbox->way == WAY_TRANSACTION;
    submit(d, delivery_load, on_loaded);
}

void outbox_go(struct delivery *d, enum delivery_state next)
{
    d->state = next;
    switch (next) {
    case LOADING:
        load(d);
        break;
    case LOOKING_UP:
        look_up(d);
        break;
    case BUNDLING:
        outbox_bundle(d);
        break;
    case BATCHING:
        outbox_batch(d);
        break;
    case BESIDE:
        outbox_beside(d);
        break;
    case SAVING_BESIDE:
        submit(d, delivery_save_beside, on_beside_saved);
        break;
    case FINDING_TWINS:
        outbox_find_twins(d);
        break;
    case READING_TWIN:
        outbox_read_twin(d);
        break;
    case RETIRING_TWIN:
        outbox_retire_twin(d);
        break;
    case CREATING:
        create(d);
        break;
    case FETCHING:
    case PATCHING:
    case UPDATING:
        outbox_change(d, next);
        break;
    case SAVING:
        submit(d, delivery_save, on_saved);
        break;
    }
}

void outbox_send(struct delivery *d)
{
    outbox_go(d, LOADING);
}

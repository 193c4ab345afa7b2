#include "service/outbox_work.h"

#include "adapters/fhir_answer.h"
#include "adapters/fhir_write.h"
#include "service/log.h"
#include "service/retry.h"

#include <stdio.h>
#include <string.h>

enum {
    URL_SIZE = 1200,
    ANSWER_MAX = 1024 * 1024,
    REFETCH_MAX = 5 /* reads of a Task that others keep changing */
};

static void go(struct delivery *d, enum delivery_state next);

/* ---- what becomes of an answer ----------------------------------------- */

static void save(struct delivery *d, enum delivery_result result)
{
    d->data.result = result;
    go(d, SAVING);
}

static void try_later(struct delivery *d, const struct http_answer *answer,
                      int64_t wait_ms, bool at_least)
{
    int64_t now_ms = d->outbox->options.now_ms();
    int64_t asked_ms;

    if (answer->retry_after != NULL &&
        retry_after_ms(answer->retry_after, now_ms, &asked_ms) == ERR_OK &&
        (!at_least || asked_ms > wait_ms))
        wait_ms = asked_ms;
    d->data.tries++;
    d->data.due_ms = now_ms + wait_ms;
    log_event(LOG_WARN, "outbox.retry", KEY_INT("row", d->data.task),
              KEY_INT("status", answer->status), KEY_ERR(answer->err),
              KEY_INT("tries", d->data.tries), KEY_INT("wait_ms", wait_ms));
    save(d, DELIVER_LATER);
}

static void put_aside(struct delivery *d, const struct http_answer *answer)
{
    size_t len =
        answer->body_len < ANSWER_KEPT - 1 ? answer->body_len : ANSWER_KEPT - 1;

    memcpy(d->answer, answer->body != NULL ? answer->body : "",
           answer->body != NULL ? len : 0);
    d->answer[answer->body != NULL ? len : 0] = '\0';
    d->data.answer = d->answer;
    log_event(LOG_ERROR, "outbox.aside", KEY_INT("row", d->data.task),
              KEY_INT("status", answer->status));
    save(d, DELIVER_NEVER);
}

/* Perhaps for good, perhaps not: a few times, with long waits. */
static void unclear(struct delivery *d, const struct http_answer *answer)
{
    const struct outbox_options *options = &d->outbox->options;

    d->data.status = answer->status;
    d->data.tries = d->unclear;
    if (d->unclear + 1 >= options->unclear_tries)
        put_aside(d, answer);
    else
        try_later(d, answer,
                  retry_unclear_ms(d->unclear, options->retry_last_ms), true);
}

/* Anything but success. */
static void not_done(struct delivery *d, const struct http_answer *answer)
{
    const struct outbox_options *options = &d->outbox->options;

    d->data.status = answer->status;
    switch (retry_class(answer)) {
    case RETRY_LATER:
        try_later(d, answer,
                  retry_wait_ms(d->data.tries, options->retry_first_ms,
                                options->retry_last_ms),
                  false);
        break;
    case RETRY_UNCLEAR:
        unclear(d, answer);
        break;
    case RETRY_NEVER:
        put_aside(d, answer);
        break;
    }
}

static bool is_success(const struct http_answer *answer)
{
    return answer->err == ERR_OK && answer->status >= 200 &&
           answer->status < 300;
}

/* A try that ended with a success, and is still waiting, was one whose body
 * was no Task; an outage before it does not count. */
static int unclear_before(const struct delivery_data *d)
{
    struct http_answer before = { .err = ERR_OK, .status = d->status };

    if (is_success(&before) ||
        (d->status != 0 && retry_class(&before) == RETRY_UNCLEAR))
        return d->tries;
    return 0;
}

/* Letters, digits, "-" and ".": what FHIR allows.  Dots alone are refused,
 * since they would lead to another address. */
static bool is_id(const char *id, size_t len)
{
    static const char allowed[] = "abcdefghijklmnopqrstuvwxyz"
                                  "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.";

    return len > 0 && len <= 64 && strspn(id, allowed) >= len &&
           strspn(id, ".") < len;
}

/* ---- states ------------------------------------------------------------ */

static void on_loaded(void *arg, enum err e)
{
    struct delivery *d = arg;

    d->job_running = false;
    if (e != ERR_OK || d->outbox->closing) {
        d->failed = e != ERR_OK;
        if (d->failed)
            log_event(LOG_ERROR, "outbox.load", KEY_INT("row", d->data.task),
                      KEY_ERR(e));
        outbox_delivered(d);
    } else if (d->data.must_look_up) {
        d->unclear = unclear_before(&d->data);
        go(d, LOOKING_UP);
    } else {
        d->unclear = unclear_before(&d->data);
        go(d, d->data.remote[0] != '\0' ? FETCHING : CREATING);
    }
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
    struct record_lookup *look = &d->data.looks[d->data.look_count - 1];
    char id[FID_SIZE];
    enum err e;

    d->call = NULL;
    if (is_success(answer)) {
        e = answer->body_len == 0
                ? ERR_FORM
                : fhir_sole_match(answer->body, answer->body_len, id);
        if (e == ERR_OK) {
            write_reference(look, id);
        } else if (e != ERR_ABSENT && e != ERR_AMBIGUOUS && d->unclear == 0) {
            /* no answer to a search: asked once more, then done without */
            unclear(d, answer);
            return;
        }
    } else if (retry_class(answer) != RETRY_NEVER && answer->status != 403 &&
               answer->status != 404) {
        not_done(d, answer);
        return;
    }
    /* not found, or a record without this resource: a logical reference */
    d->data.must_look_up = false;
    go(d, LOADING);
}

/* The id that the record gave: of Location, or of the body. */
static bool take_remote_id(struct delivery *d, const struct http_answer *answer)
{
    struct fhir_task_view view;
    const char *at =
        answer->location != NULL ? strstr(answer->location, "Task/") : NULL;
    size_t len = at != NULL ? strcspn(at + 5, "/?") : 0;

    if (at != NULL && len < sizeof(d->data.remote) && is_id(at + 5, len)) {
        memcpy(d->data.remote, at + 5, len);
        d->data.remote[len] = '\0';
        return true;
    }
    if (answer->body_len == 0 ||
        fhir_task_view(answer->body, answer->body_len, &view) != ERR_OK ||
        !is_id(view.id, strlen(view.id)))
        return false;
    snprintf(d->data.remote, sizeof(d->data.remote), "%s", view.id);
    return true;
}

static void on_created(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;

    d->call = NULL;
    d->data.status = answer->status;
    if (!is_success(answer)) {
        not_done(d, answer);
    } else if (!take_remote_id(d, answer)) {
        unclear(d, answer); /* created, perhaps, but nobody can say which */
    } else if (answer->status == 200) {
        go(d, FETCHING); /* was there before: perhaps an older version */
    } else {
        save(d, DELIVERED);
    }
}

/* Nothing, the Task or an OperationOutcome: what FHIR lets a server say to an
 * update.  A page to log in on is none of them. */
static bool says_updated(const struct http_answer *answer)
{
    struct fhir_task_view view;
    struct fhir_answer outcome;
    size_t count;
    bool lone = false;

    if (answer->body_len == 0 ||
        fhir_task_view(answer->body, answer->body_len, &view) == ERR_OK)
        return true;
    return fhir_answer_read(answer->body, answer->body_len, (int)answer->status,
                            &outcome, 1, &count, &lone) == ERR_OK &&
           lone;
}

static void on_updated(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;

    d->call = NULL;
    d->data.status = answer->status;
    if (is_success(answer) && says_updated(answer)) {
        save(d, DELIVERED);
    } else if (is_success(answer)) {
        unclear(d, answer);
    } else if (answer->err == ERR_OK && answer->status == 412 &&
               ++d->refetched < REFETCH_MAX) {
        go(d, FETCHING); /* someone was faster: read again, decide again */
    } else {
        not_done(d, answer);
    }
}

/* Ours and theirs become what is to be sent; false if nothing is. */
static enum err merge(struct delivery *d, const struct http_answer *answer,
                      bool *same)
{
    struct fhir_task_view view;
    struct buf merged;
    enum err e = fhir_task_view(answer->body, answer->body_len, &view);

    buf_init(&merged, ANSWER_MAX);
    if (e == ERR_OK)
        e = fhir_task_merge(d->data.body.data, d->data.body.len, answer->body,
                            answer->body_len, same, &merged);
    if (e == ERR_OK) {
        snprintf(d->data.seen_status, sizeof(d->data.seen_status), "%s",
                 view.status);
        buf_empty(&d->data.body);
        buf_add(&d->data.body, merged.data, merged.len);
        e = buf_ok(&d->data.body);
    }
    buf_clear(&merged);
    return e;
}

static void on_fetched(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    bool same = false;

    d->call = NULL;
    d->data.status = answer->status;
    if (answer->err == ERR_OK &&
        (answer->status == 404 || answer->status == 410)) {
        /* deleted there by people: closed, and not made again */
        snprintf(d->data.seen_status, sizeof(d->data.seen_status), "%s",
                 "entered-in-error");
        save(d, DELIVERED);
    } else if (!is_success(answer)) {
        not_done(d, answer);
    } else if (answer->body_len == 0 || merge(d, answer, &same) != ERR_OK) {
        unclear(d, answer);
    } else if (same) {
        save(d, DELIVERED);
    } else {
        snprintf(d->etag, sizeof(d->etag), "%s",
                 answer->etag != NULL ? answer->etag : "");
        go(d, UPDATING);
    }
}

static void on_saved(void *arg, enum err e)
{
    struct delivery *d = arg;

    d->job_running = false;
    d->failed = e != ERR_OK;
    if (d->failed)
        log_event(LOG_ERROR, "outbox.save", KEY_INT("row", d->data.task),
                  KEY_ERR(e));
    outbox_delivered(
        d); /* what was not saved is sent again, and does no harm */
}

/* ---- calls ------------------------------------------------------------- */

static void percent(struct buf *out, const char *text)
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

static void start_call(struct delivery *d, const char *method,
                       const struct buf *url, const char *condition,
                       bool with_body, http_done_fn on_done)
{
    struct outbox *o = d->outbox;
    const char *headers[8];
    size_t n = 0;
    struct http_call_options options = { .method = method,
                                         .url = url->data,
                                         .headers = headers,
                                         .timeout_ms = o->options.timeout_ms,
                                         .answer_max = ANSWER_MAX };
    struct http_answer failed = { .err = ERR_MEMORY };

    headers[n++] = "Accept: application/fhir+json; fhirVersion=4.0";
    if (with_body) {
        headers[n++] = "Content-Type: application/fhir+json";
        headers[n++] = "Prefer: return=representation";
        options.body = d->data.body.data;
        options.body_len = d->data.body.len;
    }
    if (condition != NULL)
        headers[n++] = condition;
    if (o->auth != NULL)
        headers[n++] = o->auth;
    headers[n] = NULL;
    failed.err = buf_ok(url);
    if (failed.err == ERR_OK)
        failed.err = http_call_start(o->client, &options, on_done, d, &d->call);
    if (failed.err != ERR_OK) {
        d->call = NULL;
        not_done(d, &failed);
    }
}

static void look_up(struct delivery *d)
{
    const struct record_lookup *look = &d->data.looks[d->data.look_count - 1];
    struct buf url;

    buf_init(&url, URL_SIZE);
    buf_printf(&url, "%s/%s?identifier=", d->outbox->url, look->type);
    percent(&url, look->system.data);
    buf_puts(&url, "%7C");
    percent(&url, look->value.data);
    buf_puts(&url, "&_count=2");
    start_call(d, "GET", &url, NULL, false, on_looked_up);
    buf_clear(&url);
}

static void create(struct delivery *d)
{
    struct buf url, condition;

    buf_init(&url, URL_SIZE);
    buf_init(&condition, URL_SIZE);
    buf_printf(&url, "%s/Task", d->outbox->url);
    buf_puts(&condition, "If-None-Exist: identifier=");
    percent(&condition, d->outbox->base);
    percent(&condition, "/NamingSystem/task-key");
    buf_puts(&condition, "%7C");
    percent(&condition, d->data.key);
    start_call(d, "POST", &url, condition.data, true, on_created);
    buf_clear(&url);
    buf_clear(&condition);
}

static void fetch_or_update(struct delivery *d, bool update)
{
    struct buf url, condition;

    buf_init(&url, URL_SIZE);
    buf_init(&condition, URL_SIZE);
    buf_printf(&url, "%s/Task/", d->outbox->url);
    percent(&url, d->data.remote);
    buf_printf(&condition, "If-Match: %s", d->etag);
    if (update)
        start_call(d, "PUT", &url, d->etag[0] != '\0' ? condition.data : NULL,
                   true, on_updated);
    else
        start_call(d, "GET", &url, NULL, false, on_fetched);
    buf_clear(&url);
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

static void go(struct delivery *d, enum delivery_state next)
{
    d->state = next;
    switch (next) {
    case LOADING:
        submit(d, delivery_load, on_loaded);
        break;
    case LOOKING_UP:
        look_up(d);
        break;
    case CREATING:
        create(d);
        break;
    case FETCHING:
        fetch_or_update(d, false);
        break;
    case UPDATING:
        fetch_or_update(d, true);
        break;
    case SAVING:
        submit(d, delivery_save, on_saved);
        break;
    }
}

void outbox_send(struct delivery *d)
{
    go(d, LOADING);
}

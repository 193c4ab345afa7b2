#include "service/bulk.h"

#include "service/bulk_work.h"
#include "service/log.h"
#include "service/retry.h"

#include <string.h>

enum {
    TRIES_MAX = 12,  /* passing failures in a row, of one request */
    UNCLEAR_MAX = 5, /* answers 500 in a row */
    STATUS_FIRST_MS = 500,
    STATUS_LAST_MS = 60000
};
/* ---- waiting and jobs ---------------------------------------------------- */

static void on_timer(uv_timer_t *timer)
{
    struct bulk *b = timer->data;

    b->step = B_IDLE;
    b->then(b);
}

void bulk_wait(struct bulk *b, int64_t ms, void (*then)(struct bulk *))
{
    b->step = B_WAIT;
    b->then = then;
    uv_timer_start(&b->timer, on_timer, (uint64_t)(ms > 0 ? ms : 0), 0);
}

static void on_job(void *arg, enum err e)
{
    struct bulk *b = arg;

    b->step = B_IDLE;
    b->job_err = e;
    if (b->closing)
        bulk_close_if_done(b);
    else if (b->cancelling)
        bulk_cancel_now(b);
    else
        b->then(b);
}

void bulk_job(struct bulk *b, enum err (*run)(struct db *, void *),
              void (*then)(struct bulk *))
{
    b->step = B_JOB;
    b->then = then;
    b->job = (struct store_job){ .run = run, .done = on_job, .arg = b };
    store_submit(b->options.store, &b->job);
}

/* How things stand is stored; then on. */
void bulk_save(struct bulk *b, enum bulk_state state,
               void (*then)(struct bulk *))
{
    b->state = b->view.state = state;
    bulk_job(b, bulk_run_save, then);
}

void bulk_call(struct bulk *b, const struct record_request *request,
               http_done_fn on_done)
{
    enum err e =
        record_call_start(b->options.record, request, on_done, b, &b->call);

    if (e == ERR_OK) {
        b->step = B_CALL;
        return;
    }
    b->call = NULL;
    bulk_fail(b,
              e == ERR_DENIED ? "the record names an address on another host"
                              : "the request could not be made",
              0);
}

/* Later once more; false: it has been tried often enough. */
bool bulk_try_later(struct bulk *b, const struct http_answer *a,
                    void (*then)(struct bulk *))
{
    int64_t ms, pause_ms = 0;

    if (retry_class(a) == RETRY_UNCLEAR && b->unclear++ >= UNCLEAR_MAX)
        return false;
    if (retry_class(a) != RETRY_UNCLEAR && retry_class(a) != RETRY_LATER)
        return false;
    if (b->tries++ >= TRIES_MAX)
        return false;
    if (a->retry_after == NULL ||
        retry_after_ms(a->retry_after, b->options.now_ms(), &ms) != ERR_OK)
        ms = retry_wait_ms(b->tries, b->options.config->outbox_retry_first_ms,
                           b->options.config->outbox_retry_last_ms);
    if (!record_may_ask(b->options.record, &pause_ms) && pause_ms > ms)
        ms = pause_ms;
    bulk_wait(b, ms, then);
    return true;
}

/* ---- the end ------------------------------------------------------------- */

static void after_end(struct bulk *b)
{
    b->view.ended_ms = b->options.now_ms();
    fhir_manifest_clear(&b->manifest);
    buf_empty(&b->manifest_text);
    buf_empty(&b->status_url);
    b->since[0] = '\0';
    bulk_schedule(b);
}

void bulk_fail(struct bulk *b, const char *why, long status)
{
    log_event(LOG_ERROR, "bulk.failed", KEY_INT("status", status),
              KEY_INT("file", b->file));
    bulk_drop_file(b);
    b->why = b->view.why = why;
    b->view.failed++;
    bulk_save(b, BULK_FAILED, after_end);
}

static void finish(struct bulk *b)
{
    log_event(LOG_INFO, "bulk.done", KEY_INT("files", b->file),
              KEY_INT("lines", b->view.lines), KEY_INT("taken", b->view.stored),
              KEY_INT("refused", b->view.refused),
              KEY_INT("errors_there", b->manifest.errors));
    b->view.done++;
    bulk_save(b, BULK_DONE, after_end);
}

/* Whatever it answers: the export is its own to clear up. */
static void on_deleted(void *arg, const struct http_answer *answer)
{
    struct bulk *b = arg;

    b->call = NULL;
    log_event(LOG_DEBUG, "bulk.deleted", KEY_INT("status", answer->status));
    if (b->cancelling) {
        b->cancelling = false;
        bulk_save(b, BULK_CANCELLED, after_end);
    } else {
        finish(b);
    }
}

void bulk_delete_there(struct bulk *b)
{
    struct record_request request = { .method = "DELETE",
                                      .target = b->status_url.data,
                                      .answer_max = 65536 };
    enum err e =
        record_call_start(b->options.record, &request, on_deleted, b, &b->call);
    struct http_answer none = { .err = e, .body = "" };

    if (e == ERR_OK)
        b->step = B_CALL;
    else
        on_deleted(b, &none);
}

void bulk_cancel_now(struct bulk *b)
{
    bulk_drop_file(b);
    if (b->status_url.len > 0) {
        bulk_delete_there(b);
        return;
    }
    b->cancelling = false;
    bulk_save(b, BULK_CANCELLED, after_end);
}

enum err bulk_cancel(struct bulk *b)
{
    if (b->state == BULK_NONE || b->state >= BULK_DONE || b->cancelling)
        return ERR_ABSENT;
    b->cancelling = true;
    if (b->call != NULL)
        record_call_cancel(b->call);
    b->call = NULL;
    if (b->step == B_JOB)
        return ERR_OK; /* it goes on when that is done */
    uv_timer_stop(&b->timer);
    bulk_cancel_now(b);
    return ERR_OK;
}

/* ---- waiting for it ------------------------------------------------------ */

void bulk_read_manifest(struct bulk *b)
{
    enum err e = fhir_manifest_read(b->manifest_text.data, b->manifest_text.len,
                                    &b->manifest);

    if (e != ERR_OK) {
        bulk_fail(b, "what the record says of its export cannot be read", 200);
        return;
    }
    b->view.files = b->manifest.count;
    b->view.errors = b->manifest.errors;
    if (b->manifest.errors > 0)
        log_event(LOG_WARN, "bulk.errors_there",
                  KEY_INT("files", b->manifest.errors));
    bulk_save_file(b);
}

static void on_status(void *arg, const struct http_answer *a)
{
    struct bulk *b = arg;
    int64_t ms;

    b->call = NULL;
    b->step = B_IDLE;
    if (a->err == ERR_OK && a->status == 202) {
        b->unclear = 0;
        if (a->retry_after == NULL ||
            retry_after_ms(a->retry_after, b->options.now_ms(), &ms) != ERR_OK)
            ms = STATUS_FIRST_MS << (b->tries < 7 ? b->tries : 7);
        b->tries = b->tries < TRIES_MAX ? b->tries + 1 : b->tries;
        bulk_wait(
            b,
            ms < STATUS_LAST_MS || a->retry_after != NULL ? ms : STATUS_LAST_MS,
            bulk_poll_status);
    } else if (a->err == ERR_OK && a->status == 200) {
        b->tries = b->unclear = 0;
        buf_empty(&b->manifest_text);
        buf_add(&b->manifest_text, a->body, a->body_len);
        bulk_read_manifest(b);
    } else {
        if (b->tries >= TRIES_MAX)
            b->tries = 0; /* those were answers */
        if (!bulk_try_later(b, a, bulk_poll_status))
            bulk_fail(b, "the record gave the export up", a->status);
    }
}

void bulk_poll_status(struct bulk *b)
{
    struct record_request request = { .method = "GET",
                                      .target = b->status_url.data,
                                      .accept = "application/json",
                                      .answer_max = BULK_MANIFEST_MAX };

    bulk_call(b, &request, on_status);
}

static void after_asking(struct bulk *b);

static void save_asked(struct bulk *b)
{
    bulk_save(b, BULK_WAITING, after_asking);
}

static void after_asking(struct bulk *b)
{
    if (b->job_err != ERR_OK)
        bulk_wait(b, b->options.config->outbox_retry_last_ms, save_asked);
    else
        bulk_poll_status(b);
}

/* ---- asking for it ------------------------------------------------------- */

static void on_asked(void *arg, const struct http_answer *a)
{
    static const char patients[] = "/Patient/$export";
    struct bulk *b = arg;

    b->call = NULL;
    b->step = B_IDLE;
    if (a->err == ERR_OK && a->status == 202 && a->source != NULL &&
        http_answer_header(a, "Content-Location") != NULL) {
        b->tries = b->unclear = 0;
        walk_resolve(record_url(b->options.record),
                     http_answer_header(a, "Content-Location"), &b->status_url);
        if (buf_ok(&b->status_url) != ERR_OK ||
            !record_is_same_origin(b->options.record, b->status_url.data)) {
            buf_empty(&b->status_url);
            bulk_fail(b, "the record names an address on another host",
                      a->status);
        } else {
            save_asked(b);
        }
    } else if (a->err == ERR_OK &&
               (a->status == 400 || a->status == 404 || a->status == 405 ||
                a->status == 501) &&
               strncmp(b->target, patients, sizeof(patients) - 1) == 0) {
        /* it exports all of itself, or nothing */
        memmove(b->target, b->target + strlen("/Patient"),
                strlen(b->target) + 1 - strlen("/Patient"));
        bulk_ask(b);
    } else if (!bulk_try_later(b, a, bulk_ask)) {
        bulk_fail(b,
                  a->status == 202
                      ? "the record does not say where its export is"
                      : "the record refuses the export",
                  a->status);
    }
}

void bulk_ask(struct bulk *b)
{
    static const char *const headers[] = { "Prefer: respond-async", NULL };
    struct record_request request = { .method = "GET",
                                      .target = b->target,
                                      .headers = headers,
                                      .accept = "application/fhir+json",
                                      .answer_max = 65536 };
    int64_t pause_ms;

    if (!record_may_ask(b->options.record, &pause_ms))
        bulk_wait(b, pause_ms, bulk_ask);
    else
        bulk_call(b, &request, on_asked);
}

void bulk_after_begin(struct bulk *b)
{
    if (b->job_err != ERR_OK) {
        b->state = b->view.state = BULK_FAILED;
        b->view.why = "our own store failed";
        b->view.failed++;
        after_end(b);
        return;
    }
    log_event(LOG_INFO, "bulk.begin", KEY_INT("since", b->since[0] != '\0'));
    bulk_ask(b);
}

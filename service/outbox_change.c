/*
 * A resource that the record has already: read, merged with ours, and sent
 * back as a patch or whole.
 */
#include "service/outbox_work.h"

#include "adapters/fhir_answer.h"
#include "adapters/fhir_companion.h"
#include "adapters/fhir_member.h"
#include "adapters/fhir_patch_out.h"
#include "service/app.h"
#include "service/log.h"

#include <stdio.h>
#include <string.h>

enum { REFETCH_MAX = 5 /* reads of a Task that others keep changing */ };

/* Nothing, the resource or an OperationOutcome: what FHIR lets a server say to
 * an update.  A page to log in on is none of them. */
static bool says_updated(const struct delivery *d,
                         const struct http_answer *answer)
{
    struct fhir_answer outcome;
    char type[32];
    size_t count;
    bool lone = false;

    if (answer->body_len == 0)
        return true;
    if (fhir_member_text(answer->body, answer->body_len, "resourceType", type,
                         sizeof(type)) == ERR_OK &&
        strcmp(type, type_word(d->data.kind)) == 0)
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
    if (outbox_is_success(answer) && says_updated(d, answer)) {
        outbox_save(d, DELIVERED);
    } else if (outbox_is_success(answer)) {
        outbox_unclear(d, answer);
    } else if (answer->err == ERR_OK &&
               (answer->status == 412 || answer->status == 409) &&
               ++d->refetched < REFETCH_MAX) {
        outbox_go(d, FETCHING); /* someone was faster: read and decide again */
    } else {
        outbox_not_done(d, answer);
    }
}

/* What a server without PATCH may say; 400 and 422 may be about this patch, so
 * that others are tried. */
static void on_patched(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    long status = answer->err == ERR_OK ? answer->status : 0;

    if (status == 404 || status == 405 || status == 415 || status == 501) {
        if (!d->outbox->no_patch)
            log_event(LOG_INFO, "outbox.no_patch", KEY_INT("status", status));
        d->outbox->no_patch = true;
    }
    if (status == 400 || status == 404 || status == 405 || status == 415 ||
        status == 422 || status == 501) {
        d->call = NULL;
        d->whole = true;
        outbox_go(d, UPDATING);
        return;
    }
    on_updated(arg, answer);
}

static enum err merge_two(const struct delivery *d,
                          const struct http_answer *answer, bool *same,
                          struct buf *merged)
{
    const struct buf *ours = &d->data.body;

    return d->data.kind == FHIR_TASK
               ? fhir_task_merge(ours->data, ours->len, answer->body,
                                 answer->body_len, same, merged)
               : fhir_companion_merge(d->data.kind, ours->data, ours->len,
                                      answer->body, answer->body_len, same,
                                      merged);
}

/* Ours and theirs become what is to be sent; same: nothing is. */
static enum err merge(struct delivery *d, const struct http_answer *answer,
                      bool *same)
{
    struct fhir_task_view view = { .status = "", .reason = "" };
    struct buf merged;
    enum err e = ERR_OK;

    buf_init(&merged, ANSWER_MAX);
    if (d->data.kind == FHIR_TASK)
        e = fhir_task_view(answer->body, answer->body_len, &view);
    if (e == ERR_OK)
        e = merge_two(d, answer, same, &merged);
    buf_empty(&d->patch);
    if (e == ERR_OK && !*same && !d->whole && !d->outbox->no_patch)
        e = fhir_patch_write(answer->body, answer->body_len, merged.data,
                             merged.len, &d->patch);
    if (e == ERR_OK) {
        snprintf(d->data.seen_status, sizeof(d->data.seen_status), "%s",
                 view.status);
        snprintf(d->data.seen_reason, sizeof(d->data.seen_reason), "%s",
                 view.reason);
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
        if (d->data.kind == FHIR_TASK)
            snprintf(d->data.seen_status, sizeof(d->data.seen_status), "%s",
                     "entered-in-error");
        outbox_save(d, DELIVERED);
    } else if (!outbox_is_success(answer)) {
        outbox_not_done(d, answer);
    } else if (answer->body_len == 0 || merge(d, answer, &same) != ERR_OK) {
        outbox_unclear(d, answer);
    } else if (same) {
        outbox_save(d, DELIVERED);
    } else if (d->data.was_aside) {
        outbox_save(d, STILL_ASIDE); /* the same is not sent again */
    } else {
        snprintf(d->etag, sizeof(d->etag), "%s",
                 answer->etag != NULL ? answer->etag : "");
        outbox_go(d, d->patch.len > 0 ? PATCHING : UPDATING);
    }
}

void outbox_change(struct delivery *d, enum delivery_state state)
{
    struct buf target, condition;
    struct outbox_call call = { .method = "GET", .target = &target };
    http_done_fn on_done = on_fetched;

    buf_init(&target, URL_SIZE);
    buf_init(&condition, URL_SIZE);
    buf_printf(&target, "/%s/%s", type_word(d->data.kind), d->data.remote);
    buf_printf(&condition, "If-Match: %s", d->etag);
    if (state != FETCHING && d->etag[0] != '\0')
        call.condition = condition.data;
    if (state == UPDATING) {
        call.method = "PUT";
        call.body = &d->data.body;
        on_done = on_updated;
    } else if (state == PATCHING) {
        call.method = "PATCH";
        call.body = &d->patch;
        call.body_type = "application/json-patch+json";
        on_done = on_patched;
    }
    outbox_call(d, &call, on_done);
    buf_clear(&target);
    buf_clear(&condition);
}

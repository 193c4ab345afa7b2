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

/*
 * What a server without PATCH may say; 400 and 422 may be about this patch, or
 * say that the status it tests is another by now.  So it is read again, and
 * put back whole.
 */
static void on_patched(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    long status = answer->err == ERR_OK ? answer->status : 0;

    if (status == 405 || status == 415 || status == 501) {
        if (!d->outbox->no_patch)
            log_event(LOG_INFO, "outbox.no_patch", KEY_INT("status", status));
        d->outbox->no_patch = true;
    }
    if (status == 400 || status == 404 || status == 405 || status == 415 ||
        status == 422 || status == 501) {
        d->call = NULL;
        d->whole = true;
        outbox_go(d, FETCHING);
        return;
    }
    on_updated(arg, answer);
}

/* Ours goes into theirs; then what people did here goes into that. */
static enum err carry_deeds(const struct delivery *d, const struct buf *ours,
                            const struct http_answer *answer, bool *same,
                            struct buf *merged)
{
    struct buf plain;
    struct fhir_carry carry = { .ours = ours->data,
                                .ours_len = ours->len,
                                .theirs = answer->body,
                                .theirs_len = answer->body_len,
                                .before = &d->data.before };
    enum err e;

    if (d->data.before.len == 0)
        return fhir_task_merge(ours->data, ours->len, answer->body,
                               answer->body_len, same, merged);
    buf_init(&plain, ANSWER_MAX);
    e = fhir_task_merge(ours->data, ours->len, answer->body, answer->body_len,
                        same, &plain);
    carry.merged = plain.data;
    carry.merged_len = plain.len;
    if (e == ERR_OK)
        e = fhir_task_carry(&carry, same, merged);
    buf_clear(&plain);
    return e;
}

/* A priority that a person set before taking it in hand stands. */
static enum err merge_task(const struct delivery *d,
                           const struct http_answer *answer, bool *same,
                           struct buf *merged)
{
    const struct buf *ours = &d->data.body, *sent = &d->data.sent;
    struct buf yielded;
    enum err e = ERR_OK;

    buf_init(&yielded, ANSWER_MAX);
    if (sent->len > 0)
        e = fhir_task_yield(ours->data, ours->len, sent->data, sent->len,
                            answer->body, answer->body_len, &yielded);
    else
        buf_add(&yielded, ours->data, ours->len);
    if (e == ERR_OK)
        e = carry_deeds(d, &yielded, answer, same, merged);
    buf_clear(&yielded);
    return e;
}

static enum err merge_two(const struct delivery *d,
                          const struct http_answer *answer, bool *same,
                          struct buf *merged)
{
    const struct buf *ours = &d->data.body;

    return d->data.kind == FHIR_TASK
               ? merge_task(d, answer, same, merged)
               : fhir_companion_merge(d->data.kind, ours->data, ours->len,
                                      answer->body, answer->body_len, same,
                                      merged);
}

/* What people made of it at the record: what will stand there, and is not what
 * we say.  Ours is as it was loaded: what was done here since is newer. */
static enum err see_people(struct delivery *d)
{
    struct delivery_data *data = &d->data;
    const struct buf *ours = &data->body, *there = &d->merged;
    struct fhir_task_view mine, view;
    char owner[FHIR_OWNER_SIZE];
    enum err e;

    data->seen_status[0] = data->seen_reason[0] = data->seen_owner[0] = '\0';
    if (data->kind != FHIR_TASK)
        return ERR_OK;
    e = fhir_task_view(ours->data, ours->len, &mine);
    if (e == ERR_OK)
        e = fhir_task_view(there->data, there->len, &view);
    if (e != ERR_OK)
        return e;
    if (strcmp(mine.status, view.status) != 0) {
        memcpy(data->seen_status, view.status, sizeof(view.status));
        memcpy(data->seen_reason, view.reason, sizeof(view.reason));
    }
    fhir_task_owner(ours->data, ours->len, owner);
    fhir_task_owner(there->data, there->len, data->seen_owner);
    if (strcmp(owner, data->seen_owner) == 0)
        data->seen_owner[0] = '\0';
    return ERR_OK;
}

/* Ours and theirs become what is to be sent; same: nothing is.  What is ours
 * stays as it is, for it may have to be merged with something newer. */
static enum err merge(struct delivery *d, const struct http_answer *answer,
                      bool *same)
{
    enum err e;

    buf_empty(&d->merged);
    buf_empty(&d->patch);
    e = merge_two(d, answer, same, &d->merged);
    if (e == ERR_OK)
        e = see_people(d);
    if (e == ERR_OK && !*same && !d->whole && !d->outbox->no_patch)
        e = fhir_patch_write(answer->body, answer->body_len, d->merged.data,
                             d->merged.len, &d->patch);
    return e;
}

/* Deleted there by people.  A gateway that has lost its server says 404 as
 * well, and no OperationOutcome. */
static bool is_gone(const struct http_answer *answer)
{
    char type[32];

    if (answer->err != ERR_OK || answer->status != 404)
        return answer->err == ERR_OK && answer->status == 410;
    return answer->body_len > 0 &&
           fhir_member_text(answer->body, answer->body_len, "resourceType",
                            type, sizeof(type)) == ERR_OK &&
           strcmp(type, "OperationOutcome") == 0;
}

/* Is it the one that we mean?  A record that passes over a condition answers
 * a create with whatever it has. */
static bool is_ours(const struct delivery *d, const struct http_answer *answer)
{
    char system[URL_SIZE];

    snprintf(system, sizeof(system), "%s/NamingSystem/task-key",
             d->outbox->base);
    /* what was new to the record, or was sent before, is known by its id */
    return d->data.key[0] == '\0' || d->made || d->data.sent_version > 0 ||
           fhir_is_named(answer->body, answer->body_len, system, d->data.key);
}

bool outbox_keep_etag(struct delivery *d, const struct http_answer *answer)
{
    d->etag[0] = '\0';
    if (answer->etag != NULL && strlen(answer->etag) >= sizeof(d->etag))
        return false;
    if (answer->etag != NULL)
        snprintf(d->etag, sizeof(d->etag), "%s", answer->etag);
    return true;
}

/* Somebody else's: what it says is not kept, and not told under our patient. */
static void on_not_ours(struct delivery *d)
{
    log_event(LOG_ERROR, "record.lenient", KEY_INT("row", d->data.row));
    d->data.remote[0] = d->data.remote_version[0] = '\0';
    d->data.lost = true;
    outbox_put_aside(d, &(struct http_answer){ .body = "", .status = 200 });
}

static void on_gone(struct delivery *d)
{
    /* closed, and not made again */
    if (d->data.kind == FHIR_TASK)
        snprintf(d->data.seen_status, sizeof(d->data.seen_status), "%s",
                 "entered-in-error");
    outbox_save(d, DELIVERED);
}

static void on_fetched(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    bool same = false;

    d->call = NULL;
    d->data.status = answer->status;
    if (is_gone(answer) && d->data.sent_version > 0) {
        on_gone(d);
    } else if (!outbox_is_success(answer) && !is_gone(answer)) {
        outbox_not_done(d, answer);
    } else if (answer->body_len > 0 && !is_gone(answer) &&
               !is_ours(d, answer)) {
        on_not_ours(d);
    } else if (is_gone(answer) || answer->body_len == 0 ||
               merge(d, answer, &same) != ERR_OK ||
               !outbox_keep_etag(d, answer)) {
        /* gone, though made a moment ago; or of no version that has a name */
        outbox_unclear(d, answer);
    } else if (same) {
        outbox_save(d, DELIVERED);
    } else if (d->data.was_aside) {
        outbox_save(d, STILL_ASIDE); /* the same is not sent again */
    } else {
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
        call.body = &d->merged;
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

/*
 * Several of one kind in the record, for its conditional create let two
 * through: one is kept, the others are marked as entered in error.
 *
 * Kept is one that a person has touched, else the one that was sent, else the
 * oldest.  Another that a
 * person has touched stays as it is, and is only said in the log.
 */
#include "service/outbox_work.h"

#include "adapters/fhir_bundle_out.h"
#include "adapters/fhir_member.h"
#include "service/app.h"
#include "service/log.h"
#include "service/retry.h"

#include <stdio.h>
#include <string.h>

enum { FOUND_MAX = 50 };

static bool is_untouched(enum fhir_type kind, const char *status)
{
    const char *made = kind == FHIR_TASK              ? "requested"
                       : kind == FHIR_SERVICE_REQUEST ? "draft"
                       : kind == FHIR_FLAG            ? "active"
                                                      : "current";

    return strcmp(status, made) == 0;
}

static bool is_retired(const struct fhir_found *f)
{
    return strcmp(f->status, "entered-in-error") == 0;
}

/* Is a rather to be kept than b?  known: the one that was sent, "" none. */
static bool is_better(enum fhir_type kind, const char *known,
                      const struct fhir_found *a, const struct fhir_found *b)
{
    bool a_touched = !is_untouched(kind, a->status);
    bool b_touched = !is_untouched(kind, b->status);

    if (is_retired(a) != is_retired(b))
        return is_retired(b);
    if (a_touched != b_touched)
        return a_touched;
    if (strcmp(a->id, known) == 0 || strcmp(b->id, known) == 0)
        return strcmp(a->id, known) == 0;
    if (a->updated_ms != b->updated_ms)
        return a->updated_ms < b->updated_ms;
    return strcmp(a->id, b->id) < 0;
}

static void choose(struct delivery *d, const struct fhir_found *found,
                   size_t count)
{
    enum fhir_type kind = d->data.kind;
    size_t best = 0, left = 0;

    for (size_t i = 1; i < count; i++) {
        if (is_better(kind, d->data.remote, &found[i], &found[best]))
            best = i;
    }
    d->twin_count = 0;
    for (size_t i = 0; i < count; i++) {
        if (i == best || is_retired(&found[i]))
            continue;
        if (is_untouched(kind, found[i].status) && d->twin_count < TWINS_MAX)
            snprintf(d->twins[d->twin_count++], FID_SIZE, "%s", found[i].id);
        else
            left++;
    }
    if (strcmp(d->data.remote, found[best].id) != 0)
        d->data.remote_version[0] = '\0';
    snprintf(d->data.remote, sizeof(d->data.remote), "%s", found[best].id);
    if (d->twin_count > 0 || left > 0)
        log_event(LOG_WARN, "outbox.twins", KEY_INT("row", d->data.row),
                  KEY_INT("retired", d->twin_count), KEY_INT("left", left));
}

/* Noted first if there is something to go with it: it has an id from now on,
 * and is no longer to be made together with it. */
static enum delivery_state after_twins(const struct delivery *d)
{
    return d->data.remote[0] != '\0' && d->data.beside_count > 0
               ? SAVING_BESIDE
               : outbox_next(d);
}

/* A search that is not offered, or refused, does not hold anything up. */
static void not_found(struct delivery *d, const struct http_answer *answer)
{
    if (outbox_must_wait(d, answer) ||
        (retry_class(answer) == RETRY_UNCLEAR && d->unclear == 0)) {
        outbox_not_done(d, answer);
        return;
    }
    d->sought = true;
    outbox_go(d, outbox_next(d));
}

static void on_found(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    struct fhir_found found[FOUND_MAX];
    char system[URL_SIZE];
    size_t count = 0;
    bool more = false;
    enum err e = ERR_FORM;

    d->call = NULL;
    d->data.status = answer->status;
    if (!outbox_is_success(answer)) {
        not_found(d, answer);
        return;
    }
    snprintf(system, sizeof(system), "%s%s", d->outbox->base,
             outbox_naming(d->data.kind));
    if (answer->body_len > 0)
        e = fhir_search_found(type_word(d->data.kind), system, d->data.key,
                              answer->body, answer->body_len, found, FOUND_MAX,
                              &count, &more);
    if (count > FOUND_MAX)
        count = FOUND_MAX; /* the rest is found the next time */
    d->sought = true;
    if (e == ERR_CONFLICT) {
        log_event(LOG_ERROR, "record.lenient", KEY_INT("row", d->data.row));
        count = 0; /* not one of them is ours */
    } else if (e != ERR_OK) {
        outbox_unclear(d, answer);
        return;
    }
    if (count > 0)
        choose(d, found, count);
    outbox_go(d, d->twin_count > 0 ? READING_TWIN : after_twins(d));
}

void outbox_find_twins(struct delivery *d)
{
    struct buf target;

    buf_init(&target, URL_SIZE);
    buf_printf(&target, "/%s?", type_word(d->data.kind));
    outbox_condition(d, d->data.kind, d->data.key, &target);
    buf_printf(&target, "&_count=%d", FOUND_MAX);
    outbox_call(d, &(struct outbox_call){ .method = "GET", .target = &target },
                on_found);
    buf_clear(&target);
}

/* The next of them, or on with the one that is kept. */
static void next_twin(struct delivery *d)
{
    d->twin_count--;
    outbox_go(d, d->twin_count > 0 ? READING_TWIN : after_twins(d));
}

/* The record does not let it be ended: a person has to see to it. */
static void leave_twin(struct delivery *d, long status)
{
    log_event(LOG_ERROR, "outbox.twin_left", KEY_INT("row", d->data.row),
              KEY_INT("status", status));
    next_twin(d);
}

static void on_retired(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;

    d->call = NULL;
    d->data.status = answer->status;
    if (outbox_is_success(answer) || answer->status == 404 ||
        answer->status == 410 || answer->status == 412)
        next_twin(d); /* 412: a person was faster, and it is theirs now */
    else if (outbox_must_wait(d, answer))
        outbox_not_done(d, answer);
    else
        leave_twin(d, answer->status);
}

static void on_twin(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    char status[32] = "";
    enum err e = ERR_FORM;

    d->call = NULL;
    d->data.status = answer->status;
    if (answer->err == ERR_OK &&
        (answer->status == 404 || answer->status == 410)) {
        next_twin(d);
        return;
    }
    if (!outbox_is_success(answer)) {
        outbox_not_done(d, answer);
        return;
    }
    buf_empty(&d->patch);
    if (answer->body_len > 0 &&
        fhir_member_text(answer->body, answer->body_len, "status", status,
                         sizeof(status)) == ERR_OK &&
        is_untouched(d->data.kind, status))
        e = fhir_member_put(answer->body, answer->body_len, "status",
                            "entered-in-error", &d->patch);
    if (e == ERR_OK && outbox_keep_etag(d, answer))
        outbox_go(d, RETIRING_TWIN);
    else
        next_twin(d);
}

static void call_twin(struct delivery *d, const char *method,
                      http_done_fn on_done)
{
    struct buf target, condition;
    struct outbox_call call = { .method = method, .target = &target };

    buf_init(&target, URL_SIZE);
    buf_init(&condition, URL_SIZE);
    buf_printf(&target, "/%s/%s", type_word(d->data.kind),
               d->twins[d->twin_count - 1]);
    buf_printf(&condition, "If-Match: %s", d->etag);
    if (strcmp(method, "PUT") == 0) {
        call.body = &d->patch;
        if (d->etag[0] != '\0')
            call.condition = condition.data;
    }
    outbox_call(d, &call, on_done);
    buf_clear(&target);
    buf_clear(&condition);
}

void outbox_read_twin(struct delivery *d)
{
    call_twin(d, "GET", on_twin);
}

void outbox_retire_twin(struct delivery *d)
{
    call_twin(d, "PUT", on_retired);
}

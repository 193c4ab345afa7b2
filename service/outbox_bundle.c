/*
 * A Task and what it refers to: in one transaction; or what it refers to
 * first, in a batch or one by one, so that the Task can name it by its id.
 */
#include "service/outbox_work.h"

#include "adapters/fhir_bundle_out.h"
#include "adapters/fhir_member.h"
#include "service/app.h"
#include "service/log.h"
#include "service/retry.h"

#include <stdio.h>
#include <string.h>

enum { ENTRIES_MAX = BESIDE_MAX + 1 };

static void fall_back(struct delivery *d, enum bundle_way way, long status)
{
    if (d->outbox->way < way) {
        log_event(LOG_INFO, "outbox.way", KEY_INT("status", status),
                  KEY_INT("way", way));
        d->outbox->way = way;
    }
    outbox_go(d, LOADING);
}

/* What a server says that does not take this kind of Bundle. */
static bool says_unknown(const struct http_answer *a)
{
    return a->err == ERR_OK &&
           (a->status == 400 || a->status == 404 || a->status == 405 ||
            a->status == 415 || a->status == 501);
}

/*
 * What may be about one of the entries: each alone shows which.  So may a
 * failure that passes, once it has been seen twice: a Task does not wait for
 * what goes with it.
 */
static bool may_be_one(const struct delivery *d, const struct http_answer *a)
{
    if (outbox_is_success(a) || a->status == 401 || a->err == ERR_DENIED)
        return false;
    return retry_class(a) != RETRY_LATER || d->data.tries >= 2;
}

static void send_bundle(struct delivery *d, bool transaction,
                        http_done_fn on_done)
{
    struct fhir_entry entries[ENTRIES_MAX] = { { 0 } };
    char urns[ENTRIES_MAX][48];
    struct buf conditions[ENTRIES_MAX], body, target;
    size_t count = d->data.beside_count + (transaction ? 1 : 0);
    struct http_answer failed = { .body = "" };

    buf_init(&target, 16);
    buf_init(&body, (size_t)2 * ANSWER_MAX);
    for (size_t i = 0; i < count; i++) {
        bool is_task = i == d->data.beside_count;
        const struct beside *b = is_task ? NULL : &d->data.beside[i];
        const struct buf *json = is_task ? &d->data.body : &b->body;
        enum fhir_type kind = is_task ? d->data.kind : b->kind;

        buf_init(&conditions[i], URL_SIZE);
        outbox_condition(d, kind, is_task ? d->data.key : b->key,
                         &conditions[i]);
        resource_urn(is_task ? d->data.fid : b->fid, urns[i]);
        entries[i] = (struct fhir_entry){ .full_url = urns[i],
                                          .method = "POST",
                                          .url = type_word(kind),
                                          .if_none_exist = conditions[i].data,
                                          .json = json->data,
                                          .len = json->len };
    }
    failed.err = fhir_bundle_write(transaction, entries, count, &body);
    if (failed.err == ERR_OK)
        outbox_call(d,
                    &(struct outbox_call){
                        .method = "POST", .target = &target, .body = &body },
                    on_done);
    for (size_t i = 0; i < count; i++)
        buf_clear(&conditions[i]);
    buf_clear(&body);
    buf_clear(&target);
    if (failed.err != ERR_OK)
        outbox_not_done(d, &failed);
}

static bool is_good(const struct fhir_entry_answer *a)
{
    return a->status >= 200 && a->status < 300 &&
           outbox_is_id(a->id, strlen(a->id));
}

/* No status, or a 2xx without an id, is as unclear as a 500. */
static long bad_status(const struct fhir_entry_answer *a)
{
    return a->status < 300 ? 500 : a->status;
}

static void take_beside(struct delivery *d, const struct fhir_entry_answer *a,
                        struct beside *b)
{
    b->status = a->status;
    if (is_good(a)) {
        snprintf(b->remote, sizeof(b->remote), "%s", a->id);
        snprintf(b->remote_version, sizeof(b->remote_version), "%s",
                 a->version);
    } else if (d->held_status == 0) {
        d->held_status = bad_status(a);
    }
}

/* What the entries say; the Task's is the last of a transaction. */
static enum err take_answers(struct delivery *d,
                             const struct http_answer *answer, size_t expected,
                             bool *is_transaction)
{
    struct fhir_entry_answer entries[ENTRIES_MAX];
    size_t count;
    enum err e =
        answer->body_len > 0
            ? fhir_bundle_answers(answer->body, answer->body_len, entries,
                                  ENTRIES_MAX, &count, is_transaction)
            : ERR_FORM;

    if (e == ERR_OK && count != expected)
        e = ERR_FORM;
    d->held_status = 0;
    for (size_t i = 0; e == ERR_OK && i < d->data.beside_count; i++)
        take_beside(d, &entries[i], &d->data.beside[i]);
    if (e != ERR_OK || expected == d->data.beside_count)
        return e;
    if (is_good(&entries[expected - 1])) {
        snprintf(d->data.remote, sizeof(d->data.remote), "%s",
                 entries[expected - 1].id);
        snprintf(d->data.remote_version, sizeof(d->data.remote_version), "%s",
                 entries[expected - 1].version);
        d->made = entries[expected - 1].status == 201;
    } else if (d->held_status == 0) {
        d->held_status = bad_status(&entries[expected - 1]);
    }
    return ERR_OK;
}

/* One that is refused for good is sent alone, and told apart there. */
static void judge_held(struct delivery *d)
{
    struct http_answer held = { .err = ERR_OK, .status = d->held_status };

    if (held.status == 0 || !outbox_gives_up(d, &held))
        return;
    d->held_status = 0;
    d->alone = true;
}

/* The entries of the transaction were carried out one by one.  A Task that was
 * refused then may have been refused for the names it had for the others. */
static void learn_batch(struct delivery *d, long status)
{
    if (d->outbox->way == WAY_TRANSACTION) {
        log_event(LOG_INFO, "outbox.way", KEY_INT("status", status),
                  KEY_INT("way", WAY_BATCH));
        d->outbox->way = WAY_BATCH;
    }
    judge_held(d);
}

/*
 * Saved, and then loaded again: the Task is read back, and where the record
 * has carried out the entries one by one, its references are put right.
 */
static void on_bundled(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    bool is_transaction = true;

    d->call = NULL;
    d->data.status = answer->status;
    if (says_unknown(answer)) {
        fall_back(d, WAY_BATCH, answer->status);
    } else if (may_be_one(d, answer)) {
        d->alone = true;
        outbox_go(d, LOADING);
    } else if (!outbox_is_success(answer)) {
        outbox_not_done(d, answer);
    } else if (take_answers(d, answer, d->data.beside_count + 1,
                            &is_transaction) != ERR_OK) {
        outbox_unclear(d, answer);
    } else {
        if (!is_transaction)
            learn_batch(d, answer->status);
        outbox_go(d, SAVING_BESIDE);
    }
}

void outbox_bundle(struct delivery *d)
{
    send_bundle(d, true, on_bundled);
}

static void on_batched(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    bool is_transaction = false;

    d->call = NULL;
    d->data.status = answer->status;
    if (says_unknown(answer)) {
        fall_back(d, WAY_SINGLES, answer->status);
    } else if (may_be_one(d, answer)) {
        d->alone = true;
        outbox_go(d, LOADING);
    } else if (!outbox_is_success(answer)) {
        outbox_not_done(d, answer);
    } else if (take_answers(d, answer, d->data.beside_count, &is_transaction) !=
               ERR_OK) {
        outbox_unclear(d, answer);
    } else {
        judge_held(d);
        outbox_go(d, SAVING_BESIDE);
    }
}

void outbox_batch(struct delivery *d)
{
    send_bundle(d, false, on_batched);
}

/* ---- one by one --------------------------------------------------------- */

static void next_beside(struct delivery *d)
{
    d->beside_at++;
    d->beside_sought = false;
    outbox_go(d, d->beside_at < d->data.beside_count ? BESIDE : SAVING_BESIDE);
}

/* For good: put aside with what the record said.  Else by itself, later. */
static void without(struct delivery *d, const struct http_answer *answer)
{
    struct beside *b = &d->data.beside[d->beside_at];

    b->refused = outbox_gives_up(d, answer);
    b->later = !b->refused;
    d->data.due_ms = d->outbox->options.now_ms() +
                     retry_unclear_ms(0, d->outbox->options.retry_last_ms);
    /* what passes is tried again by itself */
    log_event(b->refused ? LOG_ERROR : LOG_WARN, "outbox.beside",
              KEY_INT("row", b->row), KEY_INT("status", answer->status),
              KEY_INT("refused", b->refused));
    buf_empty(&b->body);
    if (answer->body_len > 0)
        buf_add(&b->body, answer->body,
                answer->body_len < ANSWER_KEPT ? answer->body_len
                                               : ANSWER_KEPT);
    next_beside(d);
}

/* A record that passes over a condition answers 200 with whatever it has. */
static bool is_named(const struct delivery *d, struct beside *b,
                     const struct http_answer *answer)
{
    char system[URL_SIZE];

    snprintf(system, sizeof(system), "%s/NamingSystem/task-key",
             d->outbox->base);
    if (answer->status != 200 || answer->body_len == 0 ||
        fhir_is_named(answer->body, answer->body_len, system, b->key))
        return true;
    b->remote[0] = '\0';
    return false;
}

static void on_beside(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    struct beside *b = &d->data.beside[d->beside_at];

    d->call = NULL;
    d->data.status = b->status = answer->status;
    if (outbox_is_success(answer) &&
        outbox_take_id(b->kind, answer, b->remote, b->remote_version) &&
        is_named(d, b, answer))
        next_beside(d);
    else if (may_be_one(d, answer) || outbox_is_success(answer))
        without(d, answer);
    else
        outbox_not_done(d, answer);
}

/* Found: that one.  Not, or not to be searched for: made. */
static void on_beside_sought(void *arg, const struct http_answer *answer)
{
    struct delivery *d = arg;
    struct beside *b = &d->data.beside[d->beside_at];
    struct fhir_found found;
    char system[URL_SIZE];
    size_t count = 0;
    bool more = false;

    d->call = NULL;
    d->beside_sought = true;
    snprintf(system, sizeof(system), "%s/NamingSystem/task-key",
             d->outbox->base);
    if (outbox_is_success(answer) && answer->body_len > 0 &&
        fhir_search_found(type_word(b->kind), system, b->key, answer->body,
                          answer->body_len, &found, 1, &count,
                          &more) == ERR_OK &&
        count > 0 && outbox_is_id(found.id, strlen(found.id))) {
        b->status = answer->status;
        snprintf(b->remote, sizeof(b->remote), "%s", found.id);
        next_beside(d);
    } else if (!outbox_is_success(answer) && outbox_must_wait(d, answer)) {
        outbox_not_done(d, answer);
    } else {
        outbox_go(d, BESIDE);
    }
}

static void seek_beside(struct delivery *d)
{
    const struct beside *b = &d->data.beside[d->beside_at];
    struct buf target;

    buf_init(&target, URL_SIZE);
    buf_printf(&target, "/%s?", type_word(b->kind));
    outbox_condition(d, b->kind, b->key, &target);
    outbox_call(d, &(struct outbox_call){ .method = "GET", .target = &target },
                on_beside_sought);
    buf_clear(&target);
}

void outbox_beside(struct delivery *d)
{
    const struct beside *b = &d->data.beside[d->beside_at];
    struct buf target, condition;

    if (d->outbox->no_condition && !d->beside_sought) {
        seek_beside(d);
        return;
    }
    buf_init(&target, URL_SIZE);
    buf_init(&condition, URL_SIZE);
    buf_printf(&target, "/%s", type_word(b->kind));
    buf_puts(&condition, "If-None-Exist: ");
    outbox_condition(d, b->kind, b->key, &condition);
    outbox_call(d,
                &(struct outbox_call){ .method = "POST",
                                       .target = &target,
                                       .condition = condition.data,
                                       .body = &b->body },
                on_beside);
    buf_clear(&target);
    buf_clear(&condition);
}

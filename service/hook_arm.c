/* What is asked of the record to keep its Subscriptions alive. */
#include "adapters/fhir_subscription.h"
#include "service/hook_arm_work.h"
#include "service/log.h"
#include "service/poll_work.h"
#include "service/retry.h"

#include <stdio.h>
#include <string.h>

enum {
    ANSWER_MAX = 4 * 1024 * 1024,
    LOOK_MS = 300 * 1000, /* at one that lives */
    ASKED_MS = 1000       /* at one that the record is still to take up;
                             doubles up to LOOK_MS */
};

static struct armed *current(struct hook_arm *a)
{
    return &a->list[a->at];
}

/* ---- what is due --------------------------------------------------------- */

static void on_timer(uv_timer_t *timer);

static void schedule(struct hook_arm *a)
{
    int64_t due_ms = INT64_MAX, wait_ms;

    for (size_t i = 0; i < a->count; i++) {
        if (a->list[i].due_ms < due_ms) {
            due_ms = a->list[i].due_ms;
            a->at = i;
        }
    }
    wait_ms = due_ms - a->options.now_ms();
    uv_timer_start(&a->timer, on_timer, (uint64_t)(wait_ms > 0 ? wait_ms : 0),
                   0);
}

static void on_timer(uv_timer_t *timer)
{
    struct hook_arm *a = timer->data;
    int64_t wait_ms;

    if (a->step != ARM_IDLE)
        return;
    if (!record_may_ask(a->options.record, &wait_ms)) {
        uv_timer_start(&a->timer, on_timer, (uint64_t)wait_ms, 0);
        return;
    }
    arm_go(a, ARM_LOADING);
}

/* When it is looked at again, as long as nothing is wrong with it. */
static int64_t look_ms(struct armed *s)
{
    int64_t ms = ASKED_MS;

    if (s->state == ARM_ACTIVE) {
        s->asked = 0;
        return LOOK_MS;
    }
    for (int i = 0; i < s->asked && ms < LOOK_MS; i++)
        ms *= 2;
    s->asked++;
    return ms < LOOK_MS ? ms : LOOK_MS;
}

/* Settled for now, or later once more. */
static void rest(struct hook_arm *a, enum arm_state state, long status)
{
    struct armed *s = current(a);
    bool fine = state == ARM_ACTIVE || state == ARM_ASKED;

    if (s->state != state)
        log_event(fine ? LOG_INFO : LOG_ERROR, "hook.subscription",
                  KEY_INT("which", a->at), KEY_INT("state", state),
                  KEY_INT("status", status));
    s->state = state;
    s->status = status;
    s->tries = fine ? 0 : s->tries + 1;
    s->due_ms =
        a->options.now_ms() +
        (fine ? look_ms(s)
              : retry_unclear_ms(s->tries - 1,
                                 a->options.config->outbox_retry_last_ms));
    arm_go(a, ARM_IDLE);
}

/* ---- the store ----------------------------------------------------------- */

static enum err run_load(struct db *db, void *arg)
{
    const enum query q = Q_SUBSCRIPTION_GET;
    struct hook_arm *a = arg;
    struct armed *s = current(a);
    enum err e = db_first(db, q, "s", s->name);

    s->remote[0] = '\0';
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    /* with other criteria it is another one */
    if (strcmp(db_text(db, q, 1), s->criteria.data) == 0 &&
        db_text(db, q, 0) != NULL)
        snprintf(s->remote, FID_SIZE, "%s", db_text(db, q, 0));
    db_done(db, q);
    return ERR_OK;
}

static enum err run_save(struct db *db, void *arg)
{
    struct hook_arm *a = arg;
    const struct armed *s = current(a);

    return db_run(db, Q_SUBSCRIPTION_PUT, "sssi", s->name, s->remote,
                  s->criteria.data, s->end_s * 1000);
}

static void on_job(void *arg, enum err e)
{
    struct hook_arm *a = arg;
    enum arm_step was = a->step;

    a->step = ARM_IDLE;
    if (a->closing)
        arm_close_if_done(a);
    else if (e != ERR_OK)
        rest(a, current(a)->state, 0);
    else if (was == ARM_SAVING)
        rest(a, ARM_ASKED, 0);
    else
        arm_go(a, current(a)->remote[0] != '\0' ? ARM_READING : ARM_SEEKING);
}

static void submit(struct hook_arm *a, enum err (*run)(struct db *, void *))
{
    a->job = (struct store_job){ .run = run, .done = on_job, .arg = a };
    store_submit(a->options.store, &a->job);
}

/* ---- the record ---------------------------------------------------------- */

static void call(struct hook_arm *a, const struct record_request *request,
                 http_done_fn on_done)
{
    if (record_call_start(a->options.record, request, on_done, a, &a->call) ==
        ERR_OK)
        return;
    a->call = NULL;
    rest(a, ARM_REFUSED, 0);
}

static bool is_success(const struct http_answer *answer)
{
    return answer->err == ERR_OK && answer->status >= 200 &&
           answer->status < 300;
}

/* The one that was found: does it live, and long enough? */
static void judge(struct hook_arm *a, const struct fhir_subscription *found)
{
    struct armed *s = current(a);
    int64_t half_s =
        (int64_t)a->options.config->record_subscription_days * DAY_S / 2;
    bool lives = strcmp(found->status, "active") == 0 ||
                 strcmp(found->status, "requested") == 0;
    bool lasts = found->end_s == INT64_MIN ||
                 found->end_s > a->options.now_ms() / 1000 + half_s;
    bool known = strcmp(s->remote, found->id) == 0;

    snprintf(s->remote, FID_SIZE, "%s", found->id);
    if (lives && lasts && known) {
        rest(a, strcmp(found->status, "active") == 0 ? ARM_ACTIVE : ARM_ASKED,
             0);
    } else if (!lives && s->state != ARM_GIVEN_UP && known) {
        rest(a, ARM_GIVEN_UP, 0); /* and after a wait it is asked anew */
    } else {
        arm_go(a, ARM_WRITING);
    }
}

static void on_read(void *arg, const struct http_answer *answer)
{
    struct hook_arm *a = arg;
    struct armed *s = current(a);
    struct fhir_subscription found;

    a->call = NULL;
    if (answer->err == ERR_OK &&
        (answer->status == 404 || answer->status == 410)) {
        s->remote[0] = '\0';
        arm_go(a, ARM_SEEKING);
    } else if (!is_success(answer)) {
        rest(a, s->state, answer->status);
    } else if (fhir_subscription_find(
                   answer->body, answer->body_len, s->criteria.data,
                   a->options.config->record_hook_url, &found) == ERR_OK) {
        judge(a, &found);
    } else {
        arm_go(a, ARM_WRITING); /* somebody has changed it */
    }
}

static void on_sought(void *arg, const struct http_answer *answer)
{
    struct hook_arm *a = arg;
    struct armed *s = current(a);
    struct fhir_subscription found;

    a->call = NULL;
    if (answer->err != ERR_OK || retry_class(answer) == RETRY_LATER) {
        if (!is_success(answer)) {
            rest(a, s->state, answer->status);
            return;
        }
    }
    if (is_success(answer) &&
        fhir_subscription_find(answer->body, answer->body_len, s->criteria.data,
                               a->options.config->record_hook_url,
                               &found) == ERR_OK)
        snprintf(s->remote, FID_SIZE, "%s", found.id);
    arm_go(a, ARM_WRITING);
}

/* Its id, of the body or of the Location. */
static bool take_id(const struct http_answer *answer, char id[FID_SIZE])
{
    struct fhir_page page;
    const char *at = answer->location != NULL
                         ? strstr(answer->location, "Subscription/")
                         : NULL;

    if (at != NULL) {
        at += strlen("Subscription/");
        snprintf(id, FID_SIZE, "%.*s", (int)strcspn(at, "/?"), at);
        return fhir_is_id(id);
    }
    if (fhir_page_read(answer->body, answer->body_len, &page) != ERR_OK)
        return false;
    if (page.kind == PAGE_RESOURCE && page.entries[0].id != NULL)
        snprintf(id, FID_SIZE, "%s", page.entries[0].id);
    fhir_page_clear(&page);
    return fhir_is_id(id);
}

static void on_written(void *arg, const struct http_answer *answer)
{
    struct hook_arm *a = arg;
    struct armed *s = current(a);

    a->call = NULL;
    if (is_success(answer) &&
        (s->remote[0] != '\0' || take_id(answer, s->remote))) {
        arm_go(a, ARM_SAVING);
        return;
    }
    if (s->remote[0] == '\0' && !a->no_condition && answer->err == ERR_OK &&
        (answer->status == 400 || answer->status == 412 ||
         answer->status == 501)) {
        /* it does not know conditions of this kind, or has several */
        a->no_condition = true;
        arm_go(a, ARM_SEEKING);
        return;
    }
    if (answer->err == ERR_OK &&
        (answer->status == 404 || answer->status == 410))
        s->remote[0] = '\0';
    rest(a,
         answer->err == ERR_OK && answer->status < 500 ? ARM_REFUSED : s->state,
         answer->status);
}

static void read_it(struct hook_arm *a)
{
    char target[FID_SIZE + 32];
    struct record_request request = { .method = "GET",
                                      .target = target,
                                      .answer_max = ANSWER_MAX };

    snprintf(target, sizeof(target), "/Subscription/%s", current(a)->remote);
    call(a, &request, on_read);
}

static void seek(struct hook_arm *a)
{
    struct record_request request = { .method = "GET",
                                      .answer_max = ANSWER_MAX };
    struct buf target;

    buf_init(&target, ARM_TEXT_MAX);
    buf_puts(&target, "/Subscription?_count=200&type=rest-hook&url=");
    poll_percent(a->options.config->record_hook_url, &target);
    request.target = target.data;
    call(a, &request, on_sought);
    buf_clear(&target);
}

/* A request that is sent twice on its way makes one all the same. */
static void write_condition(const struct hook_arm *a, const struct armed *s,
                            struct buf *out)
{
    buf_puts(out, "If-None-Exist: type=rest-hook&url=");
    poll_percent(a->options.config->record_hook_url, out);
    buf_puts(out, "&criteria=");
    poll_percent(s->criteria.data, out);
}

static void write_it(struct hook_arm *a)
{
    const struct config *c = a->options.config;
    struct armed *s = current(a);
    char target[FID_SIZE + 32];
    struct record_request request = { .target = target,
                                      .answer_max = ANSWER_MAX };
    struct fhir_subscription_wish wish = {
        .id = s->remote[0] != '\0' ? s->remote : NULL,
        .criteria = s->criteria.data,
        .endpoint = c->record_hook_url,
        .token = a->token,
        .payload = c->record_hook_payload,
        .end_s = a->options.now_ms() / 1000 +
                 (int64_t)c->record_subscription_days * DAY_S
    };
    const char *headers[2] = { NULL, NULL };
    struct buf body, condition;

    s->end_s = wish.end_s;
    buf_init(&condition, ARM_TEXT_MAX);
    buf_init(&body, ARM_TEXT_MAX);
    write_condition(a, s, &condition);
    headers[0] = condition.data;
    if (wish.id == NULL && !a->no_condition && buf_ok(&condition) == ERR_OK)
        request.headers = headers;
    fhir_subscription_write(&wish, &body);
    snprintf(target, sizeof(target), "/Subscription%s%s",
             wish.id != NULL ? "/" : "", wish.id != NULL ? wish.id : "");
    request.method = wish.id != NULL ? "PUT" : "POST";
    request.body = body.data;
    request.body_len = body.len;
    if (buf_ok(&body) == ERR_OK)
        call(a, &request, on_written);
    else
        rest(a, ARM_REFUSED, 0);
    buf_clear(&body);
    buf_clear(&condition);
}

void arm_go(struct hook_arm *a, enum arm_step next)
{
    a->step = next;
    switch (next) {
    case ARM_IDLE:
        schedule(a);
        break;
    case ARM_LOADING:
        submit(a, run_load);
        break;
    case ARM_READING:
        read_it(a);
        break;
    case ARM_SEEKING:
        seek(a);
        break;
    case ARM_WRITING:
        write_it(a);
        break;
    case ARM_SAVING:
        submit(a, run_save);
        break;
    }
}

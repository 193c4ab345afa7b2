#include "service/poll.h"

#include "service/log.h"
#include "service/poll_events.h"
#include "service/poll_work.h"
#include "service/retry.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    TARGET_SIZE = 512, /* of one by its id */
    KICK_MS = 100,     /* calls that come together make one round */
    BY_ID_MAX = 1000,  /* in one round */
    ABSENT_MS = 24 * 3600 * 1000,
    AGAIN_MS = 5 * 60 * 1000
};

/* ---- waiting ------------------------------------------------------------- */

void poll_on_timer(uv_timer_t *timer)
{
    struct poll *p = timer->data;
    int64_t wait_ms;

    if (p->stage != POLL_IDLE)
        return;
    if (!record_may_ask(p->options.record, &wait_ms)) {
        uv_timer_start(&p->timer, poll_on_timer, (uint64_t)wait_ms, 0);
        return;
    }
    p->kicked = p->later = false;
    p->at = 0;
    p->by_id = 0;
    p->round_stored = p->round_refused = 0;
    p->round_ns = log_now_ns();
    for (size_t i = 0; i < p->feed_count; i++)
        p->feeds[i].restarts = 0;
    poll_go(p, POLL_LOADING);
}

static void schedule(struct poll *p)
{
    int64_t wait_ms = (int64_t)p->options.config->record_poll_s * 1000;

    p->failures = p->later ? p->failures + 1 : 0;
    if (p->later)
        wait_ms =
            retry_wait_ms(p->failures, p->options.config->outbox_retry_first_ms,
                          p->options.config->outbox_retry_last_ms);
    else if (p->kicked)
        wait_ms = KICK_MS;
    else if (wait_ms == 0)
        return; /* not by itself */
    else        /* so that many services do not ask at one time */
        wait_ms += retry_wait_ms(0, (int)(wait_ms / 8), (int)(wait_ms / 8));
    uv_timer_start(&p->timer, poll_on_timer, (uint64_t)wait_ms, 0);
}

void poll_kick(struct poll *p)
{
    if (p->closing || p->kicked)
        return;
    p->kicked = true;
    if (p->stage == POLL_IDLE && p->failures == 0)
        uv_timer_start(&p->timer, poll_on_timer, KICK_MS, 0);
}

/* ---- jobs ---------------------------------------------------------------- */

static enum err run_load(struct db *db, void *arg)
{
    struct poll *p = arg;
    struct poll_window *w = &p->feeds[p->at].window;
    enum err e = db_first(db, Q_FEED_GET, "s", w->name);

    w->durable = e == ERR_OK;
    if (e == ERR_OK) {
        w->cursor_ms = db_int(db, Q_FEED_GET, 0);
        db_done(db, Q_FEED_GET);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err run_choose(struct db *db, void *arg)
{
    struct poll *p = arg;
    const enum query q = Q_FETCH_DUE;
    enum err e = db_run(db, Q_FETCH_TRIM, "i", p->options.now_ms());

    p->found = false;
    if (e == ERR_OK)
        e = db_first(db, q, "i", p->options.now_ms());
    if (e == ERR_OK) {
        p->found = true;
        p->kind = (enum fhir_type)db_int(db, q, 0);
        snprintf(p->remote, sizeof(p->remote), "%s", db_text(db, q, 1));
        db_done(db, q);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* What was asked for by its id is not there, or cannot be had now. */
static enum err run_note(struct db *db, void *arg)
{
    struct poll *p = arg;

    return db_run(db, Q_FETCH_LATER, "isii", INT64(p->kind), p->remote,
                  p->options.now_ms() + (p->absent ? ABSENT_MS : AGAIN_MS),
                  INT64(p->absent ? 1 : 0));
}

void poll_end_round(struct poll *p)
{
    log_event(p->round_stored + p->round_refused > 0 ? LOG_INFO : LOG_DEBUG,
              "poll.round", KEY_INT("taken", p->round_stored),
              KEY_INT("refused", p->round_refused), KEY_INT("by_id", p->by_id),
              KEY_INT("complete", !p->later),
              KEY_INT("ms", log_ms_since(p->round_ns)));
    poll_go(p, POLL_IDLE);
}

static void on_job(void *arg, enum err e)
{
    struct poll *p = arg;

    p->job_running = false;
    if (p->closing) {
        poll_close_if_done(p);
        return;
    }
    if (e != ERR_OK) {
        p->later = true;
        poll_end_round(p);
    } else if (p->stage == POLL_LOADING) {
        poll_start_window(p);
    } else if (p->stage == POLL_CHOOSING) {
        if (p->found && p->by_id < BY_ID_MAX)
            poll_go(p, POLL_BY_ID);
        else
            poll_end_round(p);
    } else {
        poll_go(p, POLL_CHOOSING);
    }
}

static void submit(struct poll *p, enum err (*run)(struct db *, void *))
{
    p->job_running = true;
    p->job = (struct store_job){ .run = run, .done = on_job, .arg = p };
    store_submit(p->options.store, &p->job);
}

static void on_by_id_end(struct poll *p, enum walk_end end, long status)
{
    p->by_id++;
    p->total_by_id++;
    p->absent = status == 404 || status == 410;
    p->total_absent += p->absent ? 1 : 0;
    if (end == WALK_DONE)
        poll_go(p, POLL_CHOOSING);
    else if (end == WALK_LATER || end == WALK_STORE) {
        p->later = true;
        poll_end_round(p);
    } else {
        if (!p->absent)
            log_event(LOG_WARN, "poll.by_id",
                      KEY_TABLE("trouble", walk_word(end)),
                      KEY_INT("status", status));
        poll_go(p, POLL_NOTING);
    }
}

void poll_on_walk_end(void *arg, enum walk_end end, long status)
{
    struct poll *p = arg;

    if (p->stage == POLL_BY_ID)
        on_by_id_end(p, end, status);
    else
        poll_on_window_end(p, end, status);
}

enum err poll_take_page(struct db *db, void *arg, struct walk_page *page)
{
    struct poll *p = arg;
    struct poll_window *w = &p->feeds[p->at < p->feed_count ? p->at : 0].window;

    p->reader.now_s = p->options.now_ms() / 1000;
    if (p->stage == POLL_BY_ID && p->kind == FHIR_OTHER)
        return poll_events_take(db, &p->source, p->remote, page, &p->taken);
    if (p->stage == POLL_BY_ID)
        return poll_single_take(db, &p->source, p->kind, p->remote, page,
                                &p->taken);
    return p->stage == POLL_DELETES
               ? poll_deletes_take(db, w, &p->source, page, &p->taken)
               : poll_window_take(db, w, &p->source, page, &p->taken);
}

static void begin_by_id(struct poll *p)
{
    struct buf target;

    buf_init(&target, TARGET_SIZE);
    if (p->kind == FHIR_OTHER)
        poll_events_target(p->remote, &target);
    else
        buf_printf(&target, "/%s/%s", poll_type_name(p->kind), p->remote);
    walk_begin(p->walk, target.data, false);
    buf_clear(&target);
}

void poll_go(struct poll *p, enum poll_stage next)
{
    p->stage = next;
    switch (next) {
    case POLL_IDLE:
        schedule(p);
        break;
    case POLL_LOADING:
        submit(p, run_load);
        break;
    case POLL_CHOOSING:
        submit(p, run_choose);
        break;
    case POLL_BY_ID:
        begin_by_id(p);
        break;
    case POLL_NOTING:
        submit(p, run_note);
        break;
    case POLL_WINDOW:
    case POLL_DELETES:
        break; /* start_window has begun it */
    }
}

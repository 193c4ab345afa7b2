/*
 * Whose turn it is: looking, waiting, opening and closing.
 *
 *     WAITING --timer--> look (pool) --> a turn for each folder --> look ...
 *         ^                    | nothing was done in this round
 *         '--------------------'
 *
 * Within a turn files are taken one after the other; a large one stops at the
 * end of the turn and is gone on with in the next round, from the store.
 */
#include "service/drop_work.h"

#include "service/log.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

int64_t drop_mono_ms(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* ---- one thing at a time -------------------------------------------------- */

void drop_handle_closed(struct drop *d)
{
    void (*on_closed)(void *) = d->on_closed;
    void *arg = d->closed_arg;

    if (--d->closing_handles > 0)
        return;
    free(d->folders);
    buf_clear(&d->text);
    buf_clear(&d->line);
    buf_clear(&d->page);
    free(d);
    on_closed(arg);
}

static void timer_closed(uv_handle_t *handle)
{
    drop_handle_closed(handle->data);
}

static void close_now(struct drop *d)
{
    drop_close_file(d);
    if (d->parcel_open)
        feed_parcel_clear(&d->parcel);
    d->closing_handles = 1 + drop_watch_end(d);
    uv_close((uv_handle_t *)&d->timer, timer_closed);
}

/* What was started has ended. */
static void go_on(struct drop *d, enum err e)
{
    d->step = DROP_IDLE;
    d->err = e;
    if (d->closing)
        close_now(d);
    else
        d->then(d);
}

static void on_pool(uv_work_t *work)
{
    struct drop *d = work->data;

    d->pool(d);
}

static void after_pool(uv_work_t *work, int status)
{
    struct drop *d = work->data;

    go_on(d, status == 0 ? d->err : ERR_STOPPED);
}

void drop_pool(struct drop *d, void (*run)(struct drop *),
               void (*then)(struct drop *))
{
    d->pool = run;
    d->then = then;
    d->err = ERR_OK;
    d->step = DROP_POOL;
    d->work.data = d;
    if (uv_queue_work(d->options.loop, &d->work, on_pool, after_pool) != 0)
        go_on(d, ERR_MEMORY);
}

static enum err on_job(struct db *db, void *arg)
{
    struct drop *d = arg;

    return d->run(db, d);
}

static void after_job(void *arg, enum err e)
{
    go_on(arg, e);
}

void drop_job(struct drop *d, enum err (*run)(struct db *, struct drop *),
              void (*then)(struct drop *))
{
    d->run = run;
    d->then = then;
    d->step = DROP_JOB;
    d->job = (struct store_job){
        .run = on_job, .done = after_job, .arg = d, .large = true
    };
    store_submit(d->options.store, &d->job);
}

/* ---- rounds --------------------------------------------------------------- */

static void look(struct drop *d);

static void on_timer(uv_timer_t *timer)
{
    struct drop *d = timer->data;

    d->step = DROP_IDLE;
    look(d);
}

void drop_wait(struct drop *d, uint64_t ms)
{
    d->step = DROP_WAITING;
    uv_timer_start(&d->timer, on_timer, ms, 0);
}

static int longer(int pause_ms)
{
    if (pause_ms == 0)
        return DROP_PAUSE_FIRST_MS;
    return pause_ms < DROP_PAUSE_LAST_MS / 2 ? pause_ms * 2
                                             : DROP_PAUSE_LAST_MS;
}

/* Nothing at all can be done. */
static void pause_all(struct drop *d)
{
    d->pause_ms = longer(d->pause_ms);
    log_event(LOG_WARN, "drop.pause", KEY_INT("ms", d->pause_ms),
              KEY_ERR(d->err));
    drop_wait(d, (uint64_t)d->pause_ms);
}

void drop_pause(struct drop *d)
{
    struct drop_folder *f = &d->folders[d->turn];

    f->pause_ms = longer(f->pause_ms);
    f->paused_to_ms = drop_mono_ms() + f->pause_ms;
    d->failing = true;
    log_event(LOG_WARN, "drop.pause", KEY_INT("file", d->row.number),
              KEY_INT("ms", f->pause_ms), KEY_ERR(d->err));
    drop_next_folder(d);
}

/* When the first folder that pauses may be tried again. */
static uint64_t until_turn_ms(struct drop *d, uint64_t ms)
{
    int64_t now_ms = drop_mono_ms();

    d->failing = false;
    for (size_t i = 0; i < d->folder_count; i++) {
        const struct drop_folder *f = &d->folders[i];
        int64_t left = f->paused_to_ms > now_ms ? f->paused_to_ms - now_ms : 0;

        if (f->pause_ms == 0)
            continue;
        d->failing = true;
        if ((uint64_t)left < ms)
            ms = (uint64_t)left;
    }
    return ms;
}

bool drop_turn_over(const struct drop *d)
{
    return drop_mono_ms() >= d->turn_end_ms;
}

static void end_round(struct drop *d)
{
    uint64_t ms =
        until_turn_ms(d, (uint64_t)d->options.config->drop_poll_s * 1000);

    if (d->worked)
        look(d);
    else if (d->hinted && drop_soon_ms(d) < ms)
        drop_wait(d, drop_soon_ms(d));
    else
        drop_wait(d, ms);
}

static void begin_turn(struct drop *d)
{
    struct drop_folder *f = &d->folders[d->turn];

    d->next_file = 0;
    if (f->queue_count == 0) /* what was wrong with it is gone */
        f->pause_ms = 0;
    if (f->pause_ms > 0 && drop_mono_ms() < f->paused_to_ms) {
        drop_next_folder(d);
        return;
    }
    d->turn_end_ms = drop_mono_ms() + DROP_TURN_MS;
    drop_next_file(d);
}

void drop_next_folder(struct drop *d)
{
    drop_close_file(d);
    d->turn++;
    if (d->turn >= d->folder_count)
        end_round(d);
    else
        begin_turn(d);
}

/* The oldest first: what has not settled yet is waited for. */
void drop_next_file(struct drop *d)
{
    const struct drop_folder *f = &d->folders[d->turn];
    const struct drop_found *found;

    drop_close_file(d);
    if (!f->usable || d->next_file >= f->queue_count ||
        (d->next_file > 0 && drop_turn_over(d))) {
        drop_next_folder(d);
        return;
    }
    found = &f->queue[d->next_file++];
    if (!found->taken && !found->settled) {
        drop_next_folder(d);
        return;
    }
    drop_begin(d, found);
}

static void count_waiting(struct drop *d)
{
    struct drop_view *v = &d->view;
    unsigned before = v->unusable;
    int64_t oldest_ns = INT64_MAX;

    v->waiting = 0;
    v->folders = 0;
    v->unusable = d->too_many ? 1 : 0;
    for (size_t i = 0; i < d->folder_count; i++) {
        const struct drop_folder *f = &d->folders[i];

        v->folders += f->usable ? 1 : 0;
        v->unusable += f->usable ? 0 : 1;
        v->waiting += f->waiting;
        if (f->waiting > 0 && f->oldest_ns < oldest_ns)
            oldest_ns = f->oldest_ns;
    }
    if (v->unusable > before)
        log_event(LOG_WARN, "drop.unusable", KEY_INT("folders", v->unusable),
                  KEY_INT("usable", v->folders));
    v->oldest_s = v->waiting > 0
                      ? d->options.now_ms() / 1000 - oldest_ns / 1000000000
                      : 0;
    if (v->oldest_s < 0)
        v->oldest_s = 0;
}

static void after_look(struct drop *d)
{
    if (d->err != ERR_OK) {
        pause_all(d);
        return;
    }
    d->pause_ms = 0;
    count_waiting(d);
    drop_watch_all(d);
    d->worked = false;
    d->turn = 0;
    if (d->folder_count == 0)
        end_round(d);
    else
        begin_turn(d);
}

static void look(struct drop *d)
{
    d->hinted = false;
    drop_pool(d, drop_scan, after_look);
}

/* ---- what was left of an earlier run -------------------------------------- */

static void find_old(struct drop *d);

static void after_forget(struct drop *d)
{
    if (d->err != ERR_OK)
        pause_all(d);
    else
        find_old(d);
}

static void after_gone(struct drop *d)
{
    drop_job(d, drop_run_forget, after_forget);
}

/* Rows of files that are no longer there: they were moved, and the process
 * ended before that was noted. */
static void after_old(struct drop *d)
{
    if (d->err != ERR_OK)
        pause_all(d);
    else if (d->old_count == 0)
        look(d);
    else
        drop_pool(d, drop_find_gone, after_gone);
}

static void find_old(struct drop *d)
{
    drop_job(d, drop_run_old, after_old);
}

/* ---- opening and closing -------------------------------------------------- */

static struct drop *make(const struct drop_options *options)
{
    struct drop *d = calloc(1, sizeof(*d));

    if (d == NULL)
        return NULL;
    d->folders = calloc(DROP_FOLDERS_MAX, sizeof(*d->folders));
    d->options = *options;
    d->reader = *options->reader;
    d->reader.self = NULL;
    buf_init(&d->text, DROP_DOCUMENT_MAX);
    buf_init(&d->line, (size_t)256 * 1024);
    buf_init(&d->page, (size_t)64 * 1024 * 1024);
    if (d->folders == NULL ||
        feed_parcel_init(&d->parcel, DROP_ENTRIES, DROP_BYTES) != ERR_OK) {
        free(d->folders);
        free(d);
        return NULL;
    }
    d->parcel_open = true;
    return d;
}

enum err drop_open(const struct drop_options *options, struct drop **drop,
                   struct buf *why)
{
    struct drop *d;
    unsigned bad = 0;
    struct buf said;
    enum err e;

    buf_init(&said, (size_t)64 * 1024);
    e = drop_check(options->config->drop_folder, &said, &bad);
    if (e != ERR_OK)
        buf_printf(why, "[drop] folder cannot be used:\n%s", said.data);
    buf_clear(&said);
    if (e != ERR_OK)
        return e;
    d = make(options);
    if (d == NULL)
        return ERR_MEMORY;
    uv_timer_init(options->loop, &d->timer);
    d->timer.data = d;
    log_event(LOG_INFO, "drop.open", KEY_INT("unusable", bad));
    *drop = d;
    find_old(d);
    return ERR_OK;
}

void drop_close(struct drop *d, void (*on_closed)(void *arg), void *arg)
{
    d->closing = true;
    d->on_closed = on_closed;
    d->closed_arg = arg;
    if (d->step == DROP_WAITING || d->step == DROP_IDLE)
        close_now(d);
}

/* ---- what others ask ------------------------------------------------------ */

void drop_look(const struct drop *drop, struct drop_view *view)
{
    *view = drop->view;
    view->pausing = drop->pause_ms > 0 || drop->failing;
}

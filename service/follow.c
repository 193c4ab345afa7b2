#include "service/follow.h"

#include "service/log.h"
#include "service/poll_work.h"
#include "service/retry.h"

#include <stdio.h>
#include <stdlib.h>

enum {
    TARGET_SIZE = 2048,
    SYSTEM_SIZE = CONFIG_TEXT_SIZE + 32,
    RESTARTS_MAX = 3,   /* of a window in one round */
    RECHECKS_MAX = 200, /* in one round */
    KICK_MS = 100,
    ROWS = 200
};

enum stage { IDLE, LOADING, WINDOW, RECHECK };

struct follow {
    struct follow_options options;
    struct fhir_reader reader; /* base alone is used */
    struct poll_source source;
    struct poll_window window;
    struct poll_taken taken;
    char system[SYSTEM_SIZE]; /* of our Task keys */
    uv_timer_t timer;
    struct walk *walk;
    struct store_job job;
    bool job_running;
    enum stage stage;
    int plea; /* 0 strict, 1 not strict, 2 not sorted */
    int restarts, failures;
    bool kicked, later;
    uint64_t rows_seen; /* in this window */
    int64_t search_ms;  /* one by one until then; a record may learn it */
    size_t marked;      /* by the recheck */
    struct follow_view view;
    bool closing;
    void (*on_closed)(void *arg);
    void *closed_arg;
    int open_parts;
};

static void go(struct follow *f, enum stage next);

/* ---- what was found ----------------------------------------------------- */

static enum err see_rows(struct db *db, const struct poll_source *source,
                         const struct walk_page *page,
                         const struct fhir_page *read, struct poll_taken *taken)
{
    struct follow *f = source->arg;
    int64_t now_ms = f->options.now_ms();
    enum err e = ERR_OK;

    if (page->number == 0)
        f->rows_seen = 0;
    for (size_t i = 0; e == ERR_OK && i < read->count; i++) {
        const struct fhir_page_entry *row = &read->entries[i];
        const char *key;
        bool marked;

        if (row->type != FHIR_TASK || row->id == NULL || row->outcome)
            continue;
        key = fhir_page_identifier(read, i, f->system);
        if (key == NULL)
            continue; /* not of ours: a lenient server */
        f->rows_seen++;
        e = follow_seen(db, key, row->id, row->version, row->updated_ms, now_ms,
                        &marked);
        taken->stored += marked ? 1 : 0;
        taken->looks = taken->looks || marked;
    }
    if (e == ERR_OK && read->next == NULL && f->rows_seen == 0)
        e = follow_should_find(db, f->window.since_ms, now_ms, &taken->blind);
    return e;
}

/* ---- rounds -------------------------------------------------------------- */

static void on_timer(uv_timer_t *timer)
{
    struct follow *f = timer->data;
    int64_t wait_ms;

    if (f->stage != IDLE)
        return;
    if (!record_may_ask(f->options.record, &wait_ms)) {
        uv_timer_start(&f->timer, on_timer, (uint64_t)wait_ms, 0);
        return;
    }
    if (f->view.one_by_one && f->options.now_ms() >= f->search_ms) {
        f->view.one_by_one = false;
        f->plea = 0;
    }
    f->kicked = f->later = false;
    f->restarts = 0;
    f->window.again = false;
    go(f, f->view.one_by_one ? RECHECK : LOADING);
}

static void schedule(struct follow *f)
{
    int64_t wait_ms = (int64_t)f->options.config->record_follow_s * 1000;

    f->failures = f->later ? f->failures + 1 : 0;
    if (f->later)
        wait_ms =
            retry_wait_ms(f->failures, f->options.config->outbox_retry_first_ms,
                          f->options.config->outbox_retry_last_ms);
    else if (f->kicked)
        wait_ms = KICK_MS;
    else if (wait_ms == 0)
        return;
    else
        wait_ms += retry_wait_ms(0, (int)(wait_ms / 8), (int)(wait_ms / 8));
    uv_timer_start(&f->timer, on_timer, (uint64_t)wait_ms, 0);
}

void follow_kick(struct follow *f)
{
    if (f->closing || f->kicked)
        return;
    f->kicked = true;
    if (f->stage == IDLE && f->failures == 0)
        uv_timer_start(&f->timer, on_timer, KICK_MS, 0);
}

static enum err run_load(struct db *db, void *arg)
{
    struct follow *f = arg;
    enum err e = db_first(db, Q_FEED_GET, "s", f->window.name);

    f->window.durable = e == ERR_OK;
    if (e == ERR_OK) {
        f->window.cursor_ms = db_int(db, Q_FEED_GET, 0);
        db_done(db, Q_FEED_GET);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Open Tasks of which nothing has been seen for long. */
static enum err run_recheck(struct db *db, void *arg)
{
    struct follow *f = arg;
    const enum query q = Q_FOLLOW_OPEN;
    const struct config *c = f->options.config;
    int64_t now_ms = f->options.now_ms();
    int64_t wait_s =
        f->view.one_by_one ? c->record_follow_s : c->record_recheck_s;
    int64_t tasks[RECHECKS_MAX];
    size_t count = 0;
    enum err e =
        db_query(db, q, "ii", now_ms - wait_s * 1000, INT64(RECHECKS_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        tasks[count++] = db_int(db, q, 0);
    if (e != ERR_ABSENT)
        return e;
    f->marked = count;
    e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        e = db_run(db, Q_OUTBOX_LOOK, "iii", tasks[i], now_ms, INT64(0));
        if (e == ERR_OK)
            e = db_run(db, Q_FOLLOW_PUT, "isi", tasks[i], "", now_ms);
    }
    return e;
}

static void start_window(struct follow *f)
{
    char since[FHIR_TIME_SIZE];
    struct buf target;

    poll_window_start(&f->window, &f->source, INT64_MIN);
    if (f->plea == 2)
        f->window.unsorted = true;
    fhir_time_write_ms(f->window.since_ms, since);
    buf_init(&target, TARGET_SIZE);
    buf_puts(&target, "/Task?identifier=");
    poll_percent(f->system, &target);
    buf_printf(&target, "%%7C&_lastUpdated=ge%s&_count=%d", since, ROWS);
    if (f->plea < 2)
        buf_puts(&target, "&_sort=_lastUpdated");
    f->stage = WINDOW;
    walk_begin(f->walk, target.data, f->plea == 0);
    buf_clear(&target);
}

static void close_if_done(struct follow *f);

static void on_job(void *arg, enum err e)
{
    struct follow *f = arg;

    f->job_running = false;
    if (f->closing) {
        close_if_done(f);
        return;
    }
    if (e != ERR_OK) {
        f->later = true;
        go(f, IDLE);
    } else if (f->stage == LOADING) {
        start_window(f);
    } else {
        f->view.looks += f->marked;
        if (f->marked > 0)
            f->options.on_looks(f->options.arg);
        go(f, IDLE);
    }
}

static void submit(struct follow *f, enum err (*run)(struct db *, void *))
{
    f->job_running = true;
    f->job = (struct store_job){ .run = run, .done = on_job, .arg = f };
    store_submit(f->options.store, &f->job);
}

static void go(struct follow *f, enum stage next)
{
    f->stage = next;
    switch (next) {
    case IDLE:
        schedule(f);
        break;
    case LOADING:
        submit(f, run_load);
        break;
    case RECHECK:
        submit(f, run_recheck);
        break;
    case WINDOW:
        break; /* start_window has begun it */
    }
}

static enum err take(struct db *db, void *arg, struct walk_page *page)
{
    struct follow *f = arg;

    return poll_window_take(db, &f->window, &f->source, page, &f->taken);
}

static void on_page(void *arg)
{
    struct follow *f = arg;

    f->view.cursor_ms = f->taken.cursor_ms;
    f->view.server_ms = f->taken.server_ms;
    f->view.pages++;
    f->view.rows += f->taken.rows;
    f->view.looks += f->taken.stored;
    if (f->taken.looks)
        f->options.on_looks(f->options.arg);
}

/* Less is asked for, or the same again; false: it is as it is. */
static bool try_anew(struct follow *f, enum walk_end end)
{
    if (end == WALK_STRICT && f->plea < 2) {
        f->plea++;
        return true;
    }
    return (end == WALK_EXPIRED || end == WALK_AGAIN) &&
           f->restarts++ < RESTARTS_MAX;
}

static void one_by_one(struct follow *f, enum walk_end end, long status)
{
    f->view.one_by_one = true;
    f->search_ms = f->options.now_ms() +
                   (int64_t)f->options.config->record_recheck_s * 1000;
    log_event(LOG_WARN, "follow.one_by_one",
              KEY_TABLE("trouble", walk_word(end)), KEY_INT("status", status),
              KEY_INT("blind", f->taken.blind));
}

static void on_end(void *arg, enum walk_end end, long status)
{
    struct follow *f = arg;

    if (try_anew(f, end)) {
        go(f, LOADING);
        return;
    }
    f->view.trouble = end;
    if (end == WALK_DONE) {
        f->view.ended_ms = f->options.now_ms();
        if (f->taken.blind)
            one_by_one(f, end, status);
    } else if (end == WALK_LATER || end == WALK_STORE) {
        f->later = true;
        log_event(LOG_WARN, "follow.stopped",
                  KEY_TABLE("trouble", walk_word(end)),
                  KEY_INT("status", status));
        go(f, IDLE);
        return;
    } else {
        one_by_one(f, end, status);
    }
    go(f, RECHECK);
}

/* ---- opening and closing ------------------------------------------------- */

enum err follow_open(const struct follow_options *options,
                     struct follow **follow)
{
    struct follow *f = calloc(1, sizeof(*f));
    struct walk_options walk = { .loop = options->loop,
                                 .record = options->record,
                                 .store = options->store,
                                 .retry_first_ms =
                                     options->config->outbox_retry_first_ms,
                                 .retry_last_ms =
                                     options->config->outbox_retry_last_ms,
                                 .take = take,
                                 .on_page = on_page,
                                 .on_end = on_end,
                                 .arg = f };
    enum err e;

    if (f == NULL)
        return ERR_MEMORY;
    f->options = *options;
    f->source =
        (struct poll_source){ .rows = see_rows,
                              .arg = f,
                              .reader = &f->reader,
                              .overlap_s =
                                  options->config->record_poll_overlap_s,
                              .now_ms = options->now_ms };
    f->window = (struct poll_window){ .name = "Task", .type = FHIR_TASK };
    f->view.interval_s = options->config->record_follow_s;
    f->view.cursor_ms = f->view.server_ms = f->view.ended_ms = INT64_MIN;
    snprintf(f->system, sizeof(f->system), "%s/NamingSystem/task-key",
             options->config->fhir_base);
    e = walk_open(&walk, &f->walk);
    if (e != ERR_OK) {
        free(f);
        return e;
    }
    uv_timer_init(options->loop, &f->timer);
    f->timer.data = f;
    if (options->config->record_follow_s > 0)
        follow_kick(f);
    *follow = f;
    return ERR_OK;
}

static void part_closed(void *arg)
{
    struct follow *f = arg;
    void (*closed)(void *) = f->on_closed;
    void *closed_arg = f->closed_arg;

    if (--f->open_parts > 0)
        return;
    free(f);
    closed(closed_arg);
}

static void timer_closed(uv_handle_t *handle)
{
    part_closed(handle->data);
}

static void close_if_done(struct follow *f)
{
    if (f->job_running)
        return;
    f->open_parts = 2;
    uv_close((uv_handle_t *)&f->timer, timer_closed);
    walk_close(f->walk, part_closed, f);
}

void follow_close(struct follow *f, void (*closed)(void *arg), void *arg)
{
    f->closing = true;
    f->on_closed = closed;
    f->closed_arg = arg;
    uv_timer_stop(&f->timer);
    close_if_done(f);
}

void follow_look(const struct follow *f, struct follow_view *view)
{
    *view = f->view;
}

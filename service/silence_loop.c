#include "service/silence_loop.h"

#include "service/log.h"
#include "service/silence.h"

#include <stdlib.h>

enum { FIRST_MS = 60 * 1000, PAUSE_MS = 3600 * 1000 };

struct silence_loop {
    struct store *store;
    int limit_d;
    int64_t (*now_ms)(void);
    uv_timer_t timer;
    struct store_job job;
    bool running, closing;
    size_t said;  /* how many were said last */
    size_t count; /* of the store thread while running, with feeds */
    struct silent_feed feeds[SILENCE_FEEDS_MAX];
    void (*on_closed)(void *arg);
    void *closed_arg;
};

static enum err run_look(struct db *db, void *arg)
{
    struct silence_loop *l = arg;

    return silence_read(db, l->now_ms(), l->limit_d, l->feeds, &l->count);
}

static void say(struct silence_loop *l)
{
    if (l->count != l->said)
        log_event(l->count > 0 ? LOG_WARN : LOG_INFO, "feeds.silent",
                  KEY_INT("count", l->count),
                  KEY_INT("days", l->count > 0 ? l->feeds[0].silent_d : 0));
    l->said = l->count;
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct silence_loop *l = handle->data;
    void (*on_closed)(void *) = l->on_closed;
    void *arg = l->closed_arg;

    free(l);
    on_closed(arg);
}

static void on_looked(void *arg, enum err e)
{
    struct silence_loop *l = arg;

    l->running = false;
    if (e == ERR_OK)
        say(l);
    else
        log_event(LOG_ERROR, "feeds.look", KEY_ERR(e));
    if (l->closing)
        uv_close((uv_handle_t *)&l->timer, on_handle_closed);
}

static void on_timer(uv_timer_t *timer)
{
    struct silence_loop *l = timer->data;

    if (l->running || l->closing)
        return;
    l->running = true;
    l->job = (struct store_job){ .run = run_look, .done = on_looked, .arg = l };
    store_submit(l->store, &l->job);
}

enum err silence_loop_open(uv_loop_t *loop, struct store *store, int limit_d,
                           int64_t (*now_ms)(void), struct silence_loop **out)
{
    struct silence_loop *l = calloc(1, sizeof(*l));

    if (l == NULL)
        return ERR_MEMORY;
    l->store = store;
    l->limit_d = limit_d;
    l->now_ms = now_ms;
    uv_timer_init(loop, &l->timer);
    l->timer.data = l;
    uv_timer_start(&l->timer, on_timer, FIRST_MS, PAUSE_MS);
    *out = l;
    return ERR_OK;
}

void silence_loop_close(struct silence_loop *l, void (*on_closed)(void *arg),
                        void *arg)
{
    l->closing = true;
    l->on_closed = on_closed;
    l->closed_arg = arg;
    uv_timer_stop(&l->timer);
    if (!l->running)
        uv_close((uv_handle_t *)&l->timer, on_handle_closed);
}

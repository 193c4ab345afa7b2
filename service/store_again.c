#include "service/store_again.h"

static void on_handle_closed(uv_handle_t *handle)
{
    struct store_again *a = handle->data;

    a->on_closed(a->closed_arg);
}

static void on_done(void *arg, enum err e)
{
    struct store_again *a = arg;

    a->running = false;
    if (a->closing)
        uv_close((uv_handle_t *)&a->timer, on_handle_closed);
    else
        a->done(a->arg, e);
}

static enum err on_run(struct db *db, void *arg)
{
    struct store_again *a = arg;

    return a->run(db, a->arg);
}

static void on_timer(uv_timer_t *timer)
{
    struct store_again *a = timer->data;

    if (a->running || a->closing)
        return;
    a->running = true;
    a->job = (struct store_job){ .run = on_run, .done = on_done, .arg = a };
    store_submit(a->store, &a->job);
}

void store_again_open(struct store_again *a, uv_loop_t *loop,
                      struct store *store, uint64_t first_ms, uint64_t pause_ms,
                      enum err (*run)(struct db *db, void *arg),
                      void (*done)(void *arg, enum err e), void *arg)
{
    a->store = store;
    a->run = run;
    a->done = done;
    a->arg = arg;
    uv_timer_init(loop, &a->timer);
    a->timer.data = a;
    uv_timer_start(&a->timer, on_timer, first_ms, pause_ms);
}

void store_again_pause(struct store_again *a, uint64_t pause_ms)
{
    uv_timer_start(&a->timer, on_timer, pause_ms, pause_ms);
}

void store_again_close(struct store_again *a, void (*on_closed)(void *arg),
                       void *arg)
{
    a->closing = true;
    a->on_closed = on_closed;
    a->closed_arg = arg;
    uv_timer_stop(&a->timer);
    if (!a->running)
        uv_close((uv_handle_t *)&a->timer, on_handle_closed);
}

#include "service/unit_list_loop.h"

#include "service/log.h"

#include <stdlib.h>

enum { FIRST_MS = 200, SECOND_MS = 1000 };

struct unit_list_loop {
    struct store *store;
    struct unit_list_options options;
    uv_timer_t timer;
    struct store_job job;
    bool running, kept, closing; /* kept: once since the start */
    bool told;                   /* of the store thread while running */
    void (*on_told)(void *arg);
    void *told_arg;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

static enum err run_keep(struct db *db, void *arg)
{
    struct unit_list_loop *l = arg;

    l->told = false;
    return unit_list_keep(db, &l->options, !l->kept, &l->told);
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct unit_list_loop *l = handle->data;
    void (*on_closed)(void *) = l->on_closed;
    void *arg = l->closed_arg;

    free(l);
    on_closed(arg);
}

static void on_kept(void *arg, enum err e)
{
    struct unit_list_loop *l = arg;

    l->running = false;
    l->kept = l->kept || e == ERR_OK;
    if (e != ERR_OK)
        log_event(LOG_ERROR, "lists.keep", KEY_ERR(e));
    if (l->closing)
        uv_close((uv_handle_t *)&l->timer, on_handle_closed);
    else if (e == ERR_OK && l->told)
        l->on_told(l->told_arg);
}

static void on_timer(uv_timer_t *timer)
{
    struct unit_list_loop *l = timer->data;

    if (l->running || l->closing)
        return;
    l->running = true;
    l->job = (struct store_job){ .run = run_keep, .done = on_kept, .arg = l };
    store_submit(l->store, &l->job);
}

enum err unit_list_loop_open(uv_loop_t *loop, struct store *store,
                             const struct unit_list_options *options,
                             int pause_s, void (*on_told)(void *arg), void *arg,
                             struct unit_list_loop **out)
{
    struct unit_list_loop *l = calloc(1, sizeof(*l));

    if (l == NULL)
        return ERR_MEMORY;
    l->store = store;
    l->options = *options;
    l->on_told = on_told;
    l->told_arg = arg;
    uv_timer_init(loop, &l->timer);
    l->timer.data = l;
    uv_timer_start(&l->timer, on_timer, FIRST_MS,
                   (uint64_t)pause_s * SECOND_MS);
    *out = l;
    return ERR_OK;
}

void unit_list_loop_close(struct unit_list_loop *l,
                          void (*on_closed)(void *arg), void *arg)
{
    l->closing = true;
    l->on_closed = on_closed;
    l->closed_arg = arg;
    uv_timer_stop(&l->timer);
    if (!l->running)
        uv_close((uv_handle_t *)&l->timer, on_handle_closed);
}

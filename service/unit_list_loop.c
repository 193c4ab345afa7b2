#include "service/unit_list_loop.h"

#include "service/log.h"
#include "service/store_again.h"

#include <stdlib.h>

enum { FIRST_MS = 200, SECOND_MS = 1000 };

struct unit_list_loop {
    struct store_again keep;
    struct unit_list_options options;
    bool kept; /* once since the start */
    bool told; /* of the store thread while it runs */
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

static void on_kept(void *arg, enum err e)
{
    struct unit_list_loop *l = arg;

    l->kept = l->kept || e == ERR_OK;
    if (e != ERR_OK)
        log_event(LOG_ERROR, "lists.keep", KEY_ERR(e));
    else if (l->told)
        l->on_told(l->told_arg);
}

enum err unit_list_loop_open(uv_loop_t *loop, struct store *store,
                             const struct unit_list_options *options,
                             int pause_s, void (*on_told)(void *arg), void *arg,
                             struct unit_list_loop **out)
{
    struct unit_list_loop *l = calloc(1, sizeof(*l));

    if (l == NULL)
        return ERR_MEMORY;
    l->options = *options;
    l->on_told = on_told;
    l->told_arg = arg;
    store_again_open(&l->keep, loop, store, FIRST_MS,
                     (uint64_t)pause_s * SECOND_MS, run_keep, on_kept, l);
    *out = l;
    return ERR_OK;
}

static void on_keep_closed(void *arg)
{
    struct unit_list_loop *l = arg;
    void (*on_closed)(void *) = l->on_closed;
    void *closed_arg = l->closed_arg;

    free(l);
    on_closed(closed_arg);
}

void unit_list_loop_close(struct unit_list_loop *l,
                          void (*on_closed)(void *arg), void *arg)
{
    l->on_closed = on_closed;
    l->closed_arg = arg;
    store_again_close(&l->keep, on_keep_closed, l);
}

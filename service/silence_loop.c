#include "service/silence_loop.h"

#include "service/log.h"
#include "service/silence.h"
#include "service/store_again.h"

#include <stdlib.h>

enum { FIRST_MS = 60 * 1000, PAUSE_MS = 3600 * 1000 };

struct silence_loop {
    struct store_again look;
    int limit_d;
    int64_t (*now_ms)(void);
    size_t said;  /* how many were said last */
    size_t count; /* of the store thread while it looks, with feeds */
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

static void on_looked(void *arg, enum err e)
{
    if (e == ERR_OK)
        say(arg);
    else
        log_event(LOG_ERROR, "feeds.look", KEY_ERR(e));
}

enum err silence_loop_open(uv_loop_t *loop, struct store *store, int limit_d,
                           int64_t (*now_ms)(void), struct silence_loop **out)
{
    struct silence_loop *l = calloc(1, sizeof(*l));

    if (l == NULL)
        return ERR_MEMORY;
    l->limit_d = limit_d;
    l->now_ms = now_ms;
    store_again_open(&l->look, loop, store, FIRST_MS, PAUSE_MS, run_look,
                     on_looked, l);
    *out = l;
    return ERR_OK;
}

static void on_look_closed(void *arg)
{
    struct silence_loop *l = arg;
    void (*on_closed)(void *) = l->on_closed;
    void *closed_arg = l->closed_arg;

    free(l);
    on_closed(closed_arg);
}

void silence_loop_close(struct silence_loop *l, void (*on_closed)(void *arg),
                        void *arg)
{
    l->on_closed = on_closed;
    l->closed_arg = arg;
    store_again_close(&l->look, on_look_closed, l);
}

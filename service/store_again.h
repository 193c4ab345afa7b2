/*
 * store_again - a job of the store, done again and again
 *
 * Loop thread.  The job runs after the first wait and then at each pause, never
 * twice at a time; what it came to is told on the loop.
 */
#ifndef HEADGATE_SERVICE_STORE_AGAIN_H
#define HEADGATE_SERVICE_STORE_AGAIN_H

#include "service/store.h"

struct store_again {
    struct store *store;
    uv_timer_t timer;
    struct store_job job;
    bool running, closing;
    enum err (*run)(struct db *db, void *arg);
    void (*done)(void *arg, enum err e);
    void (*on_closed)(void *arg);
    void *arg, *closed_arg;
};

/*
 * Begin; *a, which the caller owns and has zeroed, must last until on_closed
 * of store_again_close.
 *
 * run   store thread, see store_job
 * done  loop thread; not called any more once it is being closed
 */
void store_again_open(struct store_again *a, uv_loop_t *loop,
                      struct store *store, uint64_t first_ms, uint64_t pause_ms,
                      enum err (*run)(struct db *db, void *arg),
                      void (*done)(void *arg, enum err e), void *arg);

/* From done: the next run is in pause_ms, and so are those behind it. */
void store_again_pause(struct store_again *a, uint64_t pause_ms);

/* on_closed is called from the loop when nothing of it is left.  The store
 * must be closed after it. */
void store_again_close(struct store_again *a, void (*on_closed)(void *arg),
                       void *arg);

#endif

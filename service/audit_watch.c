#include "service/audit_watch.h"

#include "service/audit.h"
#include "service/log.h"
#include "service/store_again.h"

#include <stdlib.h>

enum {
    FIRST_MS = 2000,
    STEP_US = 3000, /* of the store thread, before others have a turn */
    BETWEEN_MS = 50,
    DAY_MS = 24 * 3600 * 1000
};

struct audit_watch {
    struct store_again again;
    int64_t (*now_ms)(void);
    struct audit_walk walk; /* store thread while it walks, else the loop's */
    bool waiting;           /* for the next day: the timer has its long pause */
    int64_t told;           /* the row of which the log has been told; 0 none */
    struct audit_found *found;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

static enum err run_step(struct db *db, void *arg)
{
    struct audit_watch *w = arg;

    w->walk.until_ns = uv_hrtime() + (uint64_t)STEP_US * 1000;
    return audit_walk_step(db, &w->walk);
}

/* The same fault is told once, and not each day. */
static void tell(struct audit_watch *w)
{
    const struct audit_walk *walk = &w->walk;

    if (walk->broken == 0) {
        log_event(LOG_INFO, "audit.whole", KEY_INT("rows", walk->after));
        atomic_store(&w->found->verified_s, w->now_ms() / 1000);
    } else if (walk->broken != w->told) {
        log_event(LOG_ERROR, "audit.broken", KEY_INT("row", walk->broken),
                  KEY_TABLE("why", walk->why));
    }
    w->told = walk->broken;
    atomic_store(&w->found->broken, walk->broken);
}

/* On with the walk, or again from the first row in a day. */
static void on_step(void *arg, enum err e)
{
    struct audit_watch *w = arg;
    bool goes_on = e == ERR_OK && w->walk.more;

    if (e != ERR_OK)
        log_event(LOG_ERROR, "audit.walk", KEY_ERR(e));
    else if (!goes_on)
        tell(w);
    if (!goes_on)
        w->walk = (struct audit_walk){ .after = 0 };
    if (goes_on == w->waiting)
        store_again_pause(&w->again, goes_on ? BETWEEN_MS : DAY_MS);
    w->waiting = !goes_on;
}

enum err audit_watch_open(uv_loop_t *loop, struct store *store,
                          int64_t (*now_ms)(void), struct audit_found *found,
                          struct audit_watch **out)
{
    struct audit_watch *w = calloc(1, sizeof(*w));

    if (w == NULL)
        return ERR_MEMORY;
    w->now_ms = now_ms;
    w->found = found;
    store_again_open(&w->again, loop, store, FIRST_MS, BETWEEN_MS, run_step,
                     on_step, w);
    *out = w;
    return ERR_OK;
}

static void on_again_closed(void *arg)
{
    struct audit_watch *w = arg;
    void (*on_closed)(void *) = w->on_closed;
    void *closed_arg = w->closed_arg;

    free(w);
    on_closed(closed_arg);
}

void audit_watch_close(struct audit_watch *w, void (*on_closed)(void *arg),
                       void *arg)
{
    w->on_closed = on_closed;
    w->closed_arg = arg;
    store_again_close(&w->again, on_again_closed, w);
}

void audit_watch_metrics(const struct audit_found *found, struct buf *out)
{
    buf_printf(
        out,
        "# HELP headgate_audit_broken 1 if the chain of the audit trail "
        "is not whole (headgate audit verify)\n"
        "# TYPE headgate_audit_broken gauge\n"
        "headgate_audit_broken %d\n"
        "# HELP headgate_audit_verified_timestamp_seconds When the chain "
        "of the audit trail was last walked and found whole; 0 not since "
        "the start\n"
        "# TYPE headgate_audit_verified_timestamp_seconds gauge\n"
        "headgate_audit_verified_timestamp_seconds %lld\n",
        atomic_load(&found->broken) != 0 ? 1 : 0,
        atomic_load(&found->verified_s));
}

void audit_watch_say(const struct audit_found *found, struct buf *out)
{
    long long broken = atomic_load(&found->broken);

    if (broken != 0)
        buf_printf(out,
                   "audit trail: broken at row %lld; see headgate audit "
                   "verify\n",
                   broken);
}

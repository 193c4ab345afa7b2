#include "service/audit_doors.h"

#include "service/audit.h"
#include "service/log.h"
#include "service/store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WRITE_MS = 10000, ROWS_MAX = 64, ACTOR_SIZE = 128, WHY_SIZE = 64 };

struct turned_away {
    bool forbidden; /* who it is is known, or does not matter */
    char actor[ACTOR_SIZE], why[WHY_SIZE];
    int64_t last_ms, count;
};

/* Rows on their way into the store. */
struct batch {
    struct store_job job;
    size_t count;
    struct turned_away rows[ROWS_MAX];
};

struct audit_doors {
    struct store *store;
    int64_t (*now_ms)(void);
    uv_timer_t timer;
    struct batch *open; /* NULL: nobody since the last writing */
    void (*on_closed)(void *arg);
    void *closed_arg;
};

static enum err run_write(struct db *db, void *arg)
{
    const struct batch *b = arg;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < b->count; i++) {
        const struct turned_away *t = &b->rows[i];
        char detail[WHY_SIZE + 48];
        const struct audit_entry row = {
            .at_ms = t->last_ms,
            .kind = t->actor[0] != '\0' ? "token" : "unknown",
            .actor = t->actor,
            .scope = t->forbidden ? t->why : "",
            .action = t->forbidden ? "forbidden" : "login-failed",
            .outcome = AUDIT_REFUSED,
            .detail = detail
        };

        snprintf(detail, sizeof(detail), "%s, times %lld", t->why,
                 (long long)t->count);
        e = audit_note(db, &row);
    }
    return e;
}

static void on_written(void *arg, enum err e)
{
    if (e != ERR_OK)
        log_event(LOG_WARN, "audit.lost", KEY_ERR(e));
    free(arg);
}

static void write_open(struct audit_doors *d)
{
    struct batch *b = d->open;

    if (b == NULL)
        return;
    d->open = NULL;
    b->job =
        (struct store_job){ .run = run_write, .done = on_written, .arg = b };
    store_submit(d->store, &b->job);
}

static void on_timer(uv_timer_t *timer)
{
    write_open(timer->data);
}

enum err audit_doors_open(uv_loop_t *loop, struct store *store,
                          int64_t (*now_ms)(void), struct audit_doors **out)
{
    struct audit_doors *d = calloc(1, sizeof(*d));

    if (d == NULL)
        return ERR_MEMORY;
    d->store = store;
    d->now_ms = now_ms;
    uv_timer_init(loop, &d->timer);
    d->timer.data = d;
    *out = d;
    return ERR_OK;
}

/* Of the same client and reason; where there are too many, the last. */
static struct turned_away *row_of(struct batch *b,
                                  const struct turned_away *like)
{
    struct turned_away *last = &b->rows[ROWS_MAX - 1];

    for (size_t i = 0; i < b->count; i++) {
        if (b->rows[i].forbidden == like->forbidden &&
            strcmp(b->rows[i].actor, like->actor) == 0 &&
            strcmp(b->rows[i].why, like->why) == 0)
            return &b->rows[i];
    }
    if (b->count == ROWS_MAX) {
        last->forbidden = false;
        last->actor[0] = '\0';
        snprintf(last->why, sizeof(last->why), "others");
        return last;
    }
    b->rows[b->count] = *like;
    return &b->rows[b->count++];
}

void audit_doors_note(struct audit_doors *d, const char *actor, const char *why)
{
    struct turned_away like = { .forbidden = actor != NULL };
    struct turned_away *row;

    if (d == NULL)
        return;
    if (d->open == NULL) {
        d->open = calloc(1, sizeof(*d->open));
        if (d->open == NULL)
            return; /* it has been answered, and is counted in the metrics */
        uv_timer_start(&d->timer, on_timer, WRITE_MS, 0);
    }
    snprintf(like.actor, sizeof(like.actor), "%s", actor != NULL ? actor : "");
    snprintf(like.why, sizeof(like.why), "%s", why);
    row = row_of(d->open, &like);
    row->count++;
    row->last_ms = d->now_ms();
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct audit_doors *d = handle->data;
    void (*on_closed)(void *) = d->on_closed;
    void *arg = d->closed_arg;

    free(d);
    on_closed(arg);
}

void audit_doors_close(struct audit_doors *d, void (*on_closed)(void *arg),
                       void *arg)
{
    write_open(d);
    d->on_closed = on_closed;
    d->closed_arg = arg;
    uv_close((uv_handle_t *)&d->timer, on_handle_closed);
}

#include "service/audit_doors.h"

#include "adapters/http_address.h"
#include "service/audit.h"
#include "service/log.h"
#include "service/store.h"

#include <arpa/inet.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WRITE_MS = 10000, ROWS_MAX = 64, ACTOR_SIZE = 128, WHY_SIZE = 64 };

struct turned_away {
    enum audit_shut shut;
    struct http_address from;
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

enum { PLACE_SIZE = INET6_ADDRSTRLEN + 16 };

/* ", from 192.0.2.7", ", from 2001:db8:0:7::/64"; "" not known. */
static void write_place(const struct http_address *from, char place[PLACE_SIZE])
{
    static const unsigned char mapped[12] = { [10] = 0xff, [11] = 0xff };
    char text[INET6_ADDRSTRLEN] = "";
    struct http_address host = *from;
    size_t len = http_address_host_bytes(from);
    bool is_v4 = memcmp(from->bytes, mapped, sizeof(mapped)) == 0;

    place[0] = '\0';
    if (!from->known)
        return;
    memset(host.bytes + len, 0, sizeof(host.bytes) - len);
    if (is_v4)
        inet_ntop(AF_INET, host.bytes + 12, text, sizeof(text));
    else
        inet_ntop(AF_INET6, host.bytes, text, sizeof(text));
    snprintf(place, PLACE_SIZE, ", from %s%s", text,
             len < sizeof(host.bytes) ? "/64" : "");
}

static enum err write_row(struct db *db, const struct turned_away *t)
{
    static const char *const actions[] = { [AUDIT_SHUT_FALSE] = "login-failed",
                                           [AUDIT_SHUT_RIGHT] = "forbidden",
                                           [AUDIT_SHUT_OFTEN] = "blocked" };
    char detail[WHY_SIZE + PLACE_SIZE + 48], place[PLACE_SIZE];
    const struct audit_entry row = {
        .at_ms = t->last_ms,
        .kind = t->actor[0] != '\0' ? "token" : "unknown",
        .actor = t->actor,
        .scope = t->shut == AUDIT_SHUT_RIGHT ? t->why : "",
        .action = actions[t->shut],
        .outcome = AUDIT_REFUSED,
        .detail = detail
    };

    write_place(&t->from, place);
    snprintf(detail, sizeof(detail), "%s%s, times %lld", t->why, place,
             (long long)t->count);
    return audit_note(db, &row);
}

static enum err run_write(struct db *db, void *arg)
{
    const struct batch *b = arg;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < b->count; i++)
        e = write_row(db, &b->rows[i]);
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

/* Of the same client, place and reason; where there are too many, the last. */
static struct turned_away *row_of(struct batch *b,
                                  const struct turned_away *like)
{
    struct turned_away *last = &b->rows[ROWS_MAX - 1];

    for (size_t i = 0; i < b->count; i++) {
        if (b->rows[i].shut == like->shut &&
            http_address_same_host(&b->rows[i].from, &like->from) &&
            strcmp(b->rows[i].actor, like->actor) == 0 &&
            strcmp(b->rows[i].why, like->why) == 0)
            return &b->rows[i];
    }
    if (b->count == ROWS_MAX) {
        last->shut = AUDIT_SHUT_FALSE;
        last->from.known = false;
        last->actor[0] = '\0';
        snprintf(last->why, sizeof(last->why), "others");
        return last;
    }
    b->rows[b->count] = *like;
    return &b->rows[b->count++];
}

void audit_doors_from(struct audit_doors *d, enum audit_shut shut,
                      const struct http_address *from, const char *actor,
                      const char *why)
{
    struct turned_away like = { .shut = shut };
    struct turned_away *row;

    if (d == NULL)
        return;
    if (d->open == NULL) {
        d->open = calloc(1, sizeof(*d->open));
        if (d->open == NULL)
            return; /* it has been answered, and is counted in the metrics */
        uv_timer_start(&d->timer, on_timer, WRITE_MS, 0);
    }
    if (from != NULL)
        like.from = *from;
    snprintf(like.actor, sizeof(like.actor), "%s", actor != NULL ? actor : "");
    snprintf(like.why, sizeof(like.why), "%s", why);
    row = row_of(d->open, &like);
    row->count++;
    row->last_ms = d->now_ms();
}

void audit_doors_note(struct audit_doors *d, const char *actor, const char *why)
{
    audit_doors_from(d, actor != NULL ? AUDIT_SHUT_RIGHT : AUDIT_SHUT_FALSE,
                     NULL, actor, why);
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

#include "service/tally_loop.h"

#include "service/log.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WRITE_MS = 30000, ROWS_MAX = 200, SENDER_SIZE = 128, PLACE_SIZE = 160 };

struct refused {
    char sender[SENDER_SIZE], place[PLACE_SIZE];
    const char *word; /* static, of outcome.c */
    enum quarantine_way way;
    int64_t last_ms, count;
};

/* Rows on their way into the store. */
struct batch {
    struct store_job job;
    size_t count;
    struct refused rows[ROWS_MAX];
};

struct tally_loop {
    struct store *store;
    int64_t (*now_ms)(void);
    uv_timer_t timer;
    struct batch *open; /* NULL: nothing was refused since the last writing */
    void (*on_closed)(void *arg);
    void *closed_arg;
};

static enum err run_write(struct db *db, void *arg)
{
    const struct batch *b = arg;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < b->count; i++) {
        const struct refused *r = &b->rows[i];
        const struct tally_row row = { .at_ms = r->last_ms,
                                       .source = r->sender,
                                       .way = r->way,
                                       .class = TALLY_REFUSED,
                                       .reason = r->word,
                                       .place = r->place,
                                       .count = r->count };

        e = tally_add(db, &row);
    }
    return e;
}

static void on_written(void *arg, enum err e)
{
    if (e != ERR_OK)
        log_event(LOG_WARN, "tally.lost", KEY_ERR(e));
    free(arg);
}

static void write_open(struct tally_loop *t)
{
    struct batch *b = t->open;

    if (b == NULL)
        return;
    t->open = NULL;
    b->job =
        (struct store_job){ .run = run_write, .done = on_written, .arg = b };
    store_submit(t->store, &b->job);
}

static void on_timer(uv_timer_t *timer)
{
    write_open(timer->data);
}

enum err tally_loop_open(uv_loop_t *loop, struct store *store,
                         int64_t (*now_ms)(void), struct tally_loop **out)
{
    struct tally_loop *t = calloc(1, sizeof(*t));

    if (t == NULL)
        return ERR_MEMORY;
    t->store = store;
    t->now_ms = now_ms;
    uv_timer_init(loop, &t->timer);
    t->timer.data = t;
    uv_timer_start(&t->timer, on_timer, WRITE_MS, WRITE_MS);
    *out = t;
    return ERR_OK;
}

static const struct issue *first_error(const struct outcome *o)
{
    for (size_t i = 0; i < o->count; i++) {
        if (o->issues[i].severity >= SEV_ERROR)
            return &o->issues[i];
    }
    return NULL;
}

/* Of the same sender and fault; where there are too many, of the same fault
 * anywhere. */
static struct refused *row_of(struct batch *b, const struct refused *like)
{
    struct refused *last = &b->rows[ROWS_MAX - 1];

    for (size_t i = 0; i < b->count; i++) {
        if (b->rows[i].way == like->way && b->rows[i].word == like->word &&
            strcmp(b->rows[i].sender, like->sender) == 0 &&
            strcmp(b->rows[i].place, like->place) == 0)
            return &b->rows[i];
    }
    if (b->count == ROWS_MAX) {
        last->place[0] = last->sender[0] = '\0';
        last->word = "too-many";
        return last;
    }
    b->rows[b->count] = *like;
    return &b->rows[b->count++];
}

void tally_loop_refused(struct tally_loop *t, const char *sender,
                        enum quarantine_way way, const struct outcome *outcome)
{
    const struct issue *first = first_error(outcome);
    struct refused like = { .word = "bad-request", .way = way };
    struct refused *row;

    if (t == NULL)
        return;
    if (t->open == NULL)
        t->open = calloc(1, sizeof(*t->open));
    if (t->open == NULL)
        return; /* a count, not an input */
    snprintf(like.sender, sizeof(like.sender), "%s",
             sender != NULL ? sender : "");
    if (first != NULL) {
        like.word = first->word;
        snprintf(like.place, sizeof(like.place), "%s", first->place);
    }
    row = row_of(t->open, &like);
    row->count++;
    row->last_ms = t->now_ms();
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct tally_loop *t = handle->data;
    void (*on_closed)(void *) = t->on_closed;
    void *arg = t->closed_arg;

    free(t);
    on_closed(arg);
}

void tally_loop_close(struct tally_loop *t, void (*on_closed)(void *arg),
                      void *arg)
{
    write_open(t);
    t->on_closed = on_closed;
    t->closed_arg = arg;
    uv_close((uv_handle_t *)&t->timer, on_handle_closed);
}

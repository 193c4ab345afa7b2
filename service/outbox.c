#include "service/outbox_work.h"

#include "adapters/fhir_record.h"
#include "service/app.h"
#include "service/log.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    POLL_MS = 60000, /* look for what is due, whatever happens */
    PAUSE_MS = 5000  /* after the store has failed */
};

static void start_claim(struct outbox *o);

static void on_timer(uv_timer_t *timer)
{
    outbox_kick(timer->data);
}

/* ---- ending ------------------------------------------------------------ */

static void finish_closing(uv_handle_t *timer)
{
    struct outbox *o = timer->data;
    void (*on_closed)(void *) = o->on_closed;
    void *arg = o->closed_arg;

    free(o->base);
    free(o);
    on_closed(arg);
}

static void close_when_idle(struct outbox *o)
{
    if (o->closing && o->deliveries == NULL && !o->claiming &&
        !uv_is_closing((uv_handle_t *)&o->timer))
        uv_close((uv_handle_t *)&o->timer, finish_closing);
}

/* One try, and what came of it. */
static void tell(const struct delivery *d)
{
    static const char *const words[] = { [DELIVERED] = "sent",
                                         [DELIVER_LATER] = "later",
                                         [DELIVER_NEVER] = "aside",
                                         [STILL_ASIDE] = "still-aside" };
    const struct delivery_data *data = &d->data;

    log_event(LOG_DEBUG, "outbox.try", KEY_INT("row", data->row),
              KEY_TABLE("type", type_word(data->kind)),
              KEY_TABLE("outcome", d->failed            ? "store-failed"
                                   : d->outbox->closing ? "stopped"
                                                        : words[data->result]),
              KEY_INT("status", data->status), KEY_INT("tries", data->tries),
              KEY_INT("resources", 1 + data->beside_count),
              KEY_INT("bytes", data->body.len),
              KEY_INT("ms", log_ms_since(d->began_ns)));
}

void outbox_delivered(struct delivery *d)
{
    struct outbox *o = d->outbox;
    struct delivery **at = &o->deliveries;
    bool failed = d->failed;

    while (*at != d)
        at = &(*at)->next;
    *at = d->next;
    o->in_flight--;
    tell(d);
    delivery_clear(&d->data);
    buf_clear(&d->patch);
    buf_clear(&d->merged);
    free(d);
    if (o->closing)
        close_when_idle(o);
    else if (failed)
        uv_timer_start(&o->timer, on_timer, PAUSE_MS, 0);
    else
        start_claim(o);
}

/* ---- claiming ---------------------------------------------------------- */

static void take_row(struct outbox *o, struct db *db)
{
    o->rows[o->row_count] = db_int(db, Q_OUTBOX_DUE, 0);
    o->tries[o->row_count++] = (int)db_int(db, Q_OUTBOX_DUE, 1);
}

static enum err claim_run(struct db *db, void *arg)
{
    struct outbox *o = arg;
    int64_t now_ms = o->options.now_ms();
    enum err e = ERR_OK;

    /* Whoever starts the service again may have mended what was unclear. */
    if (!o->revived)
        e = db_run(db, Q_OUTBOX_REVIVE, "i", now_ms);
    if (e == ERR_OK)
        e = db_query(db, Q_OUTBOX_DUE, "ii", now_ms, INT64(PARALLEL_MAX));
    o->row_count = 0;
    o->next_due_ms = 0;
    while (e == ERR_OK && (e = db_next(db, Q_OUTBOX_DUE)) == ERR_OK) {
        if (o->row_count < PARALLEL_MAX)
            take_row(o, db);
    }
    if (e == ERR_ABSENT)
        e = db_first(db, Q_OUTBOX_NEXT, "i", now_ms);
    if (e == ERR_OK)
        o->next_due_ms = db_int(db, Q_OUTBOX_NEXT, 0);
    db_done(db, Q_OUTBOX_NEXT);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static bool in_flight(const struct outbox *o, int64_t row)
{
    for (const struct delivery *d = o->deliveries; d != NULL; d = d->next) {
        if (d->data.row == row)
            return true;
    }
    return false;
}

static void deliver(struct outbox *o, int64_t row)
{
    struct delivery *d = calloc(1, sizeof(*d));

    if (d == NULL)
        return; /* it stays due */
    d->outbox = o;
    d->began_ns = log_now_ns();
    delivery_init(&d->data);
    buf_init(&d->patch, ANSWER_MAX);
    buf_init(&d->merged, ANSWER_MAX);
    d->data.row = row;
    d->data.base = o->base;
    d->next = o->deliveries;
    o->deliveries = d;
    o->in_flight++;
    outbox_send(d);
}

static void set_timer(struct outbox *o)
{
    int64_t wait_ms = POLL_MS;

    if (o->next_due_ms > 0) {
        wait_ms = o->next_due_ms - o->options.now_ms();
        wait_ms = wait_ms < 1 ? 1 : wait_ms > POLL_MS ? POLL_MS : wait_ms;
    }
    uv_timer_start(&o->timer, on_timer, (uint64_t)wait_ms, 0);
}

/* While the record is tried out, what has failed least goes first: one that it
 * never answers must not be all that it is tried with. */
static void put_fresh_first(struct outbox *o)
{
    struct record_view view;

    record_look(o->record, &view);
    if (view.state == RECORD_ASKING)
        return;
    for (size_t i = 1; i < o->row_count; i++) {
        int64_t row = o->rows[i];
        int tries = o->tries[i];
        size_t at = i;

        for (; at > 0 && o->tries[at - 1] > tries; at--) {
            o->rows[at] = o->rows[at - 1];
            o->tries[at] = o->tries[at - 1];
        }
        o->rows[at] = row;
        o->tries[at] = tries;
    }
}

/* As many as may be under way, while the record may be asked. */
static void deliver_due(struct outbox *o)
{
    int64_t now_ms = o->options.now_ms(), wait_ms;

    put_fresh_first(o);
    for (size_t i = 0; i < o->row_count; i++) {
        if (o->in_flight >= (unsigned)o->options.parallel)
            return;
        if (in_flight(o, o->rows[i]))
            continue;
        if (!record_may_ask(o->record, &wait_ms)) {
            if (o->next_due_ms == 0 || now_ms + wait_ms < o->next_due_ms)
                o->next_due_ms = now_ms + wait_ms;
            return;
        }
        deliver(o, o->rows[i]);
    }
}

static void on_claimed(void *arg, enum err e)
{
    struct outbox *o = arg;

    o->claiming = false;
    o->revived = o->revived || e == ERR_OK;
    if (o->closing) {
        close_when_idle(o);
        return;
    }
    if (e == ERR_OK)
        deliver_due(o);
    set_timer(o);
    if (o->again) {
        o->again = false;
        start_claim(o);
    }
}

static void start_claim(struct outbox *o)
{
    if (o->closing)
        return;
    if (o->claiming) {
        o->again = true;
        return;
    }
    o->claiming = true;
    o->claim =
        (struct store_job){ .run = claim_run, .done = on_claimed, .arg = o };
    store_submit(o->store, &o->claim);
}

void outbox_learn(struct outbox *o, const struct fhir_record_says *says)
{
    const struct fhir_ability *task = &says->types[RECORD_TASK];

    if (says->transaction == SAYS_NO && o->way == WAY_TRANSACTION)
        o->way = WAY_BATCH;
    if (says->batch == SAYS_NO && o->way == WAY_BATCH)
        o->way = WAY_SINGLES;
    if (fhir_record_can(says, RECORD_TASK, RECORD_PATCH) == SAYS_NO ||
        says->json_patch == SAYS_NO)
        o->no_patch = true;
    o->no_condition = task->conditional_create == SAYS_NO;
}

void outbox_kick(struct outbox *o)
{
    if (o->in_flight < (unsigned)o->options.parallel)
        start_claim(o);
}

/* ---- opening and closing ----------------------------------------------- */

enum err outbox_open(uv_loop_t *loop, struct store *store,
                     struct record *record,
                     const struct outbox_options *options, struct outbox **out)
{
    struct outbox *o = calloc(1, sizeof(*o));

    if (o == NULL)
        return ERR_MEMORY;
    o->store = store;
    o->record = record;
    o->no_condition = true; /* until it is known */
    o->options = *options;
    if (o->options.parallel > PARALLEL_MAX)
        o->options.parallel = PARALLEL_MAX;
    o->base = strdup(options->base);
    if (o->base == NULL) {
        free(o);
        return ERR_MEMORY;
    }
    uv_timer_init(loop, &o->timer);
    o->timer.data = o;
    *out = o;
    start_claim(o);
    return ERR_OK;
}

void outbox_close(struct outbox *o, void (*on_closed)(void *arg), void *arg)
{
    struct delivery *d = o->deliveries;

    o->closing = true;
    o->on_closed = on_closed;
    o->closed_arg = arg;
    uv_timer_stop(&o->timer);
    while (d != NULL) {
        struct delivery *next = d->next;

        if (d->call != NULL) {
            record_call_cancel(d->call);
            d->call = NULL;
            outbox_delivered(d);
        }
        d = next;
    }
    close_when_idle(o);
}

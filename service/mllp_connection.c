/*
 * One connection.  Bytes are read from the network only while its message is
 * awaited and all that was read before is used up: `at` and `left` are what is
 * not.  Each wait has a deadline, and one timer runs for the nearest.
 */
#include "service/mllp_work.h"

#include "service/log.h"

#include <stdlib.h>
#include <string.h>

/* ---- the end -------------------------------------------------------------- */

/* What the frames said since the last time. */
static void count(struct mllp_connection *c)
{
    struct mllp_view *v = &c->server->view;
    const struct mllp_counts *now = &c->mllp.counts;

    v->frames += now->frames - c->told.frames;
    v->outside += now->outside - c->told.outside;
    v->restarted += now->restarted - c->told.restarted;
    v->unended += now->unended - c->told.unended;
    v->too_long += now->too_long - c->told.too_long;
    c->told = *now;
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct mllp_connection *c = handle->data;
    struct mllp_server *s = c->server;

    if (--c->handles > 0)
        return;
    *c->link = c->next;
    if (c->next != NULL)
        c->next->link = c->link;
    tls_stream_free(c->tls);
    mllp_clear(&c->mllp);
    buf_clear(&c->out);
    buf_clear(&c->greeting);
    free(c);
    mllp_server_settle(s);
}

void mllp_connection_close(struct mllp_connection *c)
{
    if (c->state == MLLP_CLOSING)
        return;
    if (c->state == MLLP_READING && mllp_is_open(&c->mllp))
        c->server->view.dropped++;
    count(c);
    c->server->view.open--;
    if (c->began_ns != 0)
        log_event(LOG_DEBUG, "mllp.closed",
                  KEY_INT("open", c->server->view.open),
                  KEY_INT("frames", c->mllp.counts.frames),
                  KEY_INT("in_frame",
                          c->state == MLLP_READING && mllp_is_open(&c->mllp)),
                  KEY_INT("ms", log_ms_since(c->began_ns)));
    c->state = MLLP_CLOSING;
    if (c->call != NULL)
        c->call->connection = NULL;
    c->call = NULL;
    uv_close((uv_handle_t *)&c->timer, on_handle_closed);
    uv_close((uv_handle_t *)&c->tcp, on_handle_closed);
}

void mllp_connection_quiesce(struct mllp_connection *c)
{
    c->last = true;
    if (c->state == MLLP_OPENING || c->state == MLLP_READING)
        mllp_connection_close(c);
}

/* ---- waits ---------------------------------------------------------------- */

static void on_timer(uv_timer_t *timer);

static void arm(struct mllp_connection *c)
{
    uint64_t next = c->deadline_ms, now = uv_now(c->server->loop);

    if (c->settle_ms != 0 && (next == 0 || c->settle_ms < next))
        next = c->settle_ms;
    if (next == 0)
        uv_timer_stop(&c->timer);
    else
        uv_timer_start(&c->timer, on_timer, next > now ? next - now : 0, 0);
}

void mllp_wait(struct mllp_connection *c, int ms, bool for_message)
{
    c->deadline_ms = ms > 0 ? uv_now(c->server->loop) + (uint64_t)ms : 0;
    c->for_message = for_message;
    c->settle_ms = 0;
    arm(c);
}

/* A message that began has a limit of its own, which what follows does not
 * put off; and silence may mean that its last byte is not coming. */
static void watch_message(struct mllp_connection *c)
{
    const struct mllp_server_options *o = &c->server->options;

    if (!mllp_is_open(&c->mllp)) {
        if (c->for_message)
            mllp_wait(c, o->idle_timeout_ms, false);
        return;
    }
    if (!c->for_message)
        mllp_wait(c, o->message_timeout_ms, true);
    c->settle_ms = uv_now(c->server->loop) + (uint64_t)o->settle_ms;
    arm(c);
}

/* ---- messages ------------------------------------------------------------- */

static void stop_reading(struct mllp_connection *c)
{
    if (c->reading)
        uv_read_stop((uv_stream_t *)&c->tcp);
    c->reading = false;
}

static void hand_over(struct mllp_connection *c, bool too_long)
{
    struct mllp_server *s = c->server;
    struct mllp_call *call = calloc(1, sizeof(*call));

    stop_reading(c);
    count(c);
    if (call == NULL) {
        mllp_connection_close(c); /* no answer: it will be sent again */
        return;
    }
    *call = (struct mllp_call){ .server = s, .connection = c };
    c->call = call;
    c->state = MLLP_WORKING;
    mllp_wait(c, 0, false);
    s->calls++;
    s->on_message(s->arg, call, c->mllp.frame.data, c->mllp.frame.len,
                  too_long);
}

/* Has a message come, or can none come any more?  Then true. */
static bool take_plain(struct mllp_connection *c)
{
    size_t used = 0;
    enum err e = mllp_feed(&c->mllp, c->at, c->left, &used);

    c->at += used;
    c->left -= used;
    if (e == ERR_OK || e == ERR_LIMIT)
        hand_over(c, e == ERR_LIMIT);
    else if (e != ERR_ABSENT)
        mllp_connection_close(c);
    else if (c->left == 0)
        watch_message(c);
    return c->state != MLLP_READING;
}

static void settle(struct mllp_connection *c)
{
    c->settle_ms = 0;
    if (mllp_settle(&c->mllp) == ERR_OK)
        hand_over(c, false);
    else
        arm(c);
}

static void fail_tls(struct mllp_connection *c)
{
    c->server->view.tls_failures++;
    log_event(LOG_INFO, "mllp.tls_failed",
              KEY_INT("greeting", c->state == MLLP_OPENING));
}

static void on_timer(uv_timer_t *timer)
{
    struct mllp_connection *c = timer->data;
    uint64_t now = uv_now(c->server->loop);

    if (c->settle_ms != 0 && now >= c->settle_ms && c->state == MLLP_READING) {
        settle(c);
        return;
    }
    if (c->deadline_ms == 0 || now < c->deadline_ms) {
        arm(c);
        return;
    }
    if (c->state == MLLP_OPENING)
        fail_tls(c);
    else if (c->for_message)
        c->server->view.slow++;
    else
        c->server->view.idle++;
    if (c->for_message && c->state != MLLP_OPENING)
        log_event(LOG_INFO, "mllp.slow",
                  KEY_INT("answering", c->state == MLLP_ANSWERING));
    mllp_connection_close(c);
}

/* ---- the network ---------------------------------------------------------- */

static void on_alloc(uv_handle_t *handle, size_t suggested, uv_buf_t *room)
{
    struct mllp_connection *c = handle->data;

    (void)suggested;
    *room = uv_buf_init(c->network, sizeof(c->network));
}

/* The greeting of TLS, alerts and key updates: what was written when there is
 * no answer under way. */
static void on_greeted(uv_write_t *write, int status)
{
    struct mllp_connection *c = write->data;

    c->writing = false;
    if (c->state == MLLP_CLOSING)
        return;
    if (status != 0 || c->last) {
        mllp_connection_close(c);
        return;
    }
    mllp_pump(c);
}

/* false: the connection has ended, or waits until it is written. */
static bool send_greeting(struct mllp_connection *c)
{
    uv_buf_t piece;

    buf_empty(&c->greeting);
    if (tls_stream_give(c->tls, &c->greeting) != ERR_OK) {
        mllp_connection_close(c);
        return false;
    }
    if (c->greeting.len == 0)
        return true;
    stop_reading(c);
    piece = uv_buf_init(c->greeting.data, (unsigned)c->greeting.len);
    c->write.data = c;
    c->writing = true;
    if (uv_write(&c->write, (uv_stream_t *)&c->tcp, &piece, 1, on_greeted) !=
        0) {
        c->writing = false;
        mllp_connection_close(c);
    }
    return false;
}

/* Plain bytes of TLS into `plain`; false: none, or the connection has ended
 * or waits. */
static bool decrypt(struct mllp_connection *c)
{
    bool was_open = tls_stream_is_open(c->tls);
    size_t len = 0;
    enum err e = tls_stream_read(c->tls, c->plain, sizeof(c->plain), &len);

    if (!was_open && tls_stream_is_open(c->tls) && c->state == MLLP_OPENING) {
        c->state = MLLP_READING;
        mllp_wait(c, c->server->options.idle_timeout_ms, false);
    }
    if (e == ERR_OK) {
        c->at = c->plain;
        c->left = len;
        return true;
    }
    if (e == ERR_STOPPED) {
        c->ended = true;
    } else if (e != ERR_ABSENT) {
        fail_tls(c);
        c->last = true; /* once the alert is sent */
        if (send_greeting(c))
            mllp_connection_close(c);
        return false;
    }
    send_greeting(c);
    return false;
}

static void on_read(uv_stream_t *stream, ssize_t n, const uv_buf_t *room)
{
    struct mllp_connection *c = stream->data;

    (void)room;
    if (n == 0 || c->state == MLLP_CLOSING)
        return;
    if (n < 0) {
        stop_reading(c);
        if (n != UV_EOF)
            mllp_connection_close(c); /* reset: nobody waits for an answer */
        c->ended = true;
    } else if (c->tls == NULL) {
        c->at = c->network;
        c->left = (size_t)n;
    } else if (tls_stream_take(c->tls, c->network, (size_t)n) != ERR_OK) {
        mllp_connection_close(c);
    }
    mllp_pump(c);
}

/* The other side has ended its side, and all that came is used up. */
static void finish(struct mllp_connection *c)
{
    c->last = true;
    if (c->state == MLLP_READING && mllp_settle(&c->mllp) == ERR_OK)
        hand_over(c, false);
    else
        mllp_connection_close(c);
}

static bool awaits(const struct mllp_connection *c)
{
    return c->state == MLLP_OPENING || c->state == MLLP_READING;
}

/* Go on with what was read, then with what is to be read. */
void mllp_pump(struct mllp_connection *c)
{
    while (awaits(c) && !c->writing) {
        if (c->left > 0) {
            if (take_plain(c))
                return;
        } else if (c->tls == NULL || !decrypt(c)) {
            break;
        }
    }
    if (!awaits(c) || c->writing)
        return;
    if (c->ended) {
        finish(c);
    } else if (!c->reading) {
        c->reading =
            uv_read_start((uv_stream_t *)&c->tcp, on_alloc, on_read) == 0;
        if (!c->reading)
            mllp_connection_close(c);
    }
}

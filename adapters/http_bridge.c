/* Bytes of one connection, both ways; see http_tls_work.h. */
#include "adapters/http_tls_work.h"

#include <stdlib.h>
#include <unistd.h>

static void pump(struct bridge *b);

/* ---- the end -------------------------------------------------------------- */

static void on_handle_closed(uv_handle_t *handle)
{
    struct bridge *b = handle->data;
    struct http_tls *t = b->owner;

    if (--b->handles > 0)
        return;
    *b->link = b->next;
    if (b->next != NULL)
        b->next->link = b->link;
    tls_stream_free(b->tls);
    http_flow_drop(b->flow);
    buf_clear(&b->out);
    free(b);
    t->view.open--;
    http_tls_bridge_gone(t);
}

void http_bridge_close(struct bridge *b)
{
    if (b->state == CLOSED)
        return;
    if (b->state == GREETING)
        b->owner->view.failed++;
    b->state = CLOSED;
    uv_close((uv_handle_t *)&b->timer, on_handle_closed);
    uv_close((uv_handle_t *)&b->inner, on_handle_closed);
    uv_close((uv_handle_t *)&b->net, on_handle_closed);
}

static void on_timer(uv_timer_t *timer)
{
    http_bridge_close(timer->data);
}

void http_bridge_limit(struct bridge *b, int ms)
{
    uv_timer_start(&b->timer, on_timer, (uint64_t)ms, 0);
}

static void stop_reading(uv_stream_t *stream, bool *reads)
{
    if (*reads)
        uv_read_stop(stream);
    *reads = false;
}

static void on_net_shut(uv_shutdown_t *request, int status)
{
    (void)request;
    (void)status; /* the end of the peer, or the limit, is awaited anyway */
}

/* All is written: say our end, and let the peer say his. */
static void begin_end(struct bridge *b)
{
    b->state = ENDING;
    stop_reading((uv_stream_t *)&b->inner, &b->inner_reads);
    if (b->net_ended || b->unproved || b->owner->closing ||
        uv_shutdown(&b->end, (uv_stream_t *)&b->net, on_net_shut) != 0) {
        http_bridge_close(b);
        return;
    }
    http_bridge_limit(b, b->owner->options.linger_ms);
}

/* ---- to the network ------------------------------------------------------- */

static void on_net_written(uv_write_t *write, int status)
{
    struct bridge *b = write->data;

    b->net_writes = false;
    if (b->state == CLOSED)
        return;
    if (status != 0) {
        http_bridge_close(b);
        return;
    }
    if (b->state == OPEN)
        uv_timer_stop(&b->timer);
    pump(b);
}

/* What TLS wants sent.  True: nothing is under way. */
static bool flush(struct bridge *b)
{
    uv_buf_t piece;

    if (b->net_writes)
        return false;
    buf_empty(&b->out);
    if (tls_stream_give(b->tls, &b->out) != ERR_OK) {
        http_bridge_close(b);
        return false;
    }
    if (b->out.len == 0)
        return true;
    piece = uv_buf_init(b->out.data, (unsigned)b->out.len);
    b->to_net.data = b;
    b->net_writes = true;
    if (uv_write(&b->to_net, (uv_stream_t *)&b->net, &piece, 1,
                 on_net_written) != 0) {
        b->net_writes = false;
        http_bridge_close(b);
        return false;
    }
    if (b->state == OPEN) /* the greeting keeps the limit that it has */
        http_bridge_limit(b, b->unproved ? b->owner->options.linger_ms
                                         : b->owner->options.write_ms);
    return false;
}

static void on_inner_alloc(uv_handle_t *handle, size_t size, uv_buf_t *room)
{
    struct bridge *b = handle->data;

    (void)size;
    *room = uv_buf_init(b->answer, sizeof(b->answer));
}

static void on_inner_read(uv_stream_t *stream, ssize_t n, const uv_buf_t *room)
{
    struct bridge *b = stream->data;

    (void)room;
    if (n == 0 || b->state != OPEN)
        return;
    stop_reading(stream, &b->inner_reads);
    if (n < 0) {
        /* the end, or a reset since not all was read: it is over either way */
        b->inner_ended = true;
        tls_stream_end(b->tls);
    } else if (tls_stream_write(b->tls, b->answer, (size_t)n) != ERR_OK) {
        http_bridge_close(b);
        return;
    }
    pump(b);
}

/* ---- from the network ----------------------------------------------------- */

/* Nobody reads there any more: its answer, and the end, come from there.  After
 * any other error a piece is lost, and what follows must not be read as if it
 * came next. */
static void go_on_without(struct bridge *b, int status)
{
    if (status != UV_EPIPE && status != UV_ECONNRESET)
        http_bridge_close(b);
}

static void on_inner_written(uv_write_t *write, int status)
{
    struct bridge *b = write->data;

    b->inner_writes = false;
    if (b->state != OPEN)
        return;
    if (status == 0)
        pump(b);
    else
        go_on_without(b, status);
}

/* True: all of it is taken, and more may come. */
static bool pass_on(struct bridge *b, size_t len)
{
    uv_buf_t piece = uv_buf_init(b->plain, (unsigned)len);
    int sent = uv_try_write((uv_stream_t *)&b->inner, &piece, 1);

    b->flow->bytes += len;
    if (sent == (int)len)
        return true;
    if (sent < 0 && sent != UV_EAGAIN) {
        go_on_without(b, sent);
        return false;
    }
    if (sent > 0) {
        piece.base += sent;
        piece.len -= (size_t)sent;
    }
    b->to_inner.data = b;
    b->inner_writes = uv_write(&b->to_inner, (uv_stream_t *)&b->inner, &piece,
                               1, on_inner_written) == 0;
    if (!b->inner_writes)
        http_bridge_close(b);
    return false;
}

static void on_inner_shut(uv_shutdown_t *request, int status)
{
    (void)request;
    (void)status;
}

/* Nothing more will come: the HTTP server is to see that, too. */
static void tell_inner(struct bridge *b)
{
    if (b->inner_told)
        return;
    b->inner_told = true;
    if (uv_shutdown(&b->end, (uv_stream_t *)&b->inner, on_inner_shut) != 0)
        http_bridge_close(b);
}

/* The greeting is done: from here on there is an HTTP server. */
static bool open_inner(struct bridge *b)
{
    const struct http_tls_options *o = &b->owner->options;
    int pair[2];

    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0,
                   pair) != 0)
        return false;
    if (uv_pipe_open(&b->inner, pair[0]) != 0) {
        close(pair[0]);
        close(pair[1]);
        return false;
    }
    b->state = OPEN;
    b->owner->view.greeted++;
    if (tls_stream_has_certificate(b->tls))
        b->owner->view.with_certificate++;
    if (!b->net_writes)
        uv_timer_stop(&b->timer);
    else
        http_bridge_limit(b, o->write_ms);
    return o->on_stream(o->arg, pair[1], (struct sockaddr *)&b->peer,
                        (socklen_t)b->peer_len, b->flow);
}

/* Plain bytes go on; false: none are there, or the other side has not taken
 * those before, or it is over. */
static bool decrypt(struct bridge *b)
{
    size_t len = 0;
    enum err e = tls_stream_read(b->tls, b->plain, sizeof(b->plain), &len);

    if (b->state == GREETING && tls_stream_is_open(b->tls) && !open_inner(b)) {
        http_bridge_close(b);
        return false;
    }
    if (e == ERR_OK)
        return pass_on(b, len);
    if (e == ERR_STOPPED) {
        b->net_ended = true;
    } else if (e != ERR_ABSENT) {
        /* the alert, if there is one, is still sent */
        b->unproved = b->state == GREETING;
        b->owner->view.failed += b->unproved ? 1 : 0;
        b->state = OPEN;
        b->inner_ended = true;
    }
    return false;
}

static void on_net_alloc(uv_handle_t *handle, size_t size, uv_buf_t *room)
{
    struct bridge *b = handle->data;

    (void)size;
    *room = uv_buf_init(b->network, sizeof(b->network));
}

static void on_net_read(uv_stream_t *stream, ssize_t n, const uv_buf_t *room)
{
    struct bridge *b = stream->data;

    (void)room;
    if (n == 0 || b->state == CLOSED)
        return;
    if (b->state == ENDING) {
        if (n < 0)
            http_bridge_close(b);
        return;
    }
    if (n < 0) {
        stop_reading(stream, &b->net_reads);
        if (n != UV_EOF || b->state == GREETING) {
            http_bridge_close(b);
            return;
        }
        b->net_ended = true;
    } else if (tls_stream_take(b->tls, b->network, (size_t)n) != ERR_OK) {
        http_bridge_close(b);
        return;
    }
    pump(b);
}

/* ---- both ----------------------------------------------------------------- */

static void start_reading(struct bridge *b)
{
    bool failed = false;

    if (!b->net_ended && !b->net_reads) {
        b->net_reads = uv_read_start((uv_stream_t *)&b->net, on_net_alloc,
                                     on_net_read) == 0;
        failed = !b->net_reads;
    }
    if (b->state == OPEN && !b->inner_reads) {
        b->inner_reads = uv_read_start((uv_stream_t *)&b->inner, on_inner_alloc,
                                       on_inner_read) == 0;
        failed = failed || !b->inner_reads;
    }
    if (failed)
        http_bridge_close(b);
}

/* Go on with whatever can be done. */
static void pump(struct bridge *b)
{
    while (b->state != CLOSED && b->state != ENDING && !b->inner_ended &&
           !b->inner_writes && decrypt(b))
        ;
    if (b->state == CLOSED || b->state == ENDING)
        return;
    if (!flush(b)) {
        /* one thing at a time: who does not take answers is not read from */
        stop_reading((uv_stream_t *)&b->net, &b->net_reads);
        stop_reading((uv_stream_t *)&b->inner, &b->inner_reads);
        return;
    }
    if (b->inner_ended) {
        begin_end(b);
        if (b->state == ENDING && !b->net_reads)
            b->net_reads = uv_read_start((uv_stream_t *)&b->net, on_net_alloc,
                                         on_net_read) == 0;
        return;
    }
    /* what was read but is not taken, or follows an end, must not pile up */
    if (b->inner_writes || b->net_ended)
        stop_reading((uv_stream_t *)&b->net, &b->net_reads);
    if (!b->inner_writes && b->net_ended && b->state == OPEN)
        tell_inner(b);
    if (b->state != CLOSED && !b->inner_writes)
        start_reading(b);
    else if (b->state == OPEN && !b->inner_reads)
        b->inner_reads = uv_read_start((uv_stream_t *)&b->inner, on_inner_alloc,
                                       on_inner_read) == 0;
}

/* ---- beginning ------------------------------------------------------------ */

struct bridge *http_bridge_new(struct http_tls *t)
{
    struct bridge *b = calloc(1, sizeof(*b));

    if (b == NULL)
        return NULL;
    b->flow = http_flow_new();
    if (b->flow == NULL ||
        tls_stream_new(t->options.context, &b->tls) != ERR_OK) {
        http_flow_drop(b->flow);
        free(b);
        return NULL;
    }
    b->owner = t;
    buf_init(&b->out, OUT_MAX);
    uv_tcp_init(t->options.loop, &b->net);
    uv_pipe_init(t->options.loop, &b->inner, 0);
    uv_timer_init(t->options.loop, &b->timer);
    b->net.data = b->inner.data = b->timer.data = b;
    b->handles = 3;
    b->next = t->bridges;
    b->link = &t->bridges;
    if (b->next != NULL)
        b->next->link = &b->next;
    t->bridges = b;
    t->view.open++;
    return b;
}

void http_bridge_start(struct bridge *b)
{
    b->admitted = true;
    uv_tcp_nodelay(&b->net, 1);
    http_bridge_limit(b, b->owner->options.greeting_ms);
    start_reading(b);
}

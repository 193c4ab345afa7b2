#include "adapters/http_tls_work.h"

#include <stdlib.h>
#include <unistd.h>

enum { BACKLOG = 511 };

static void accept_next(struct http_tls *t);

/* ---- the end -------------------------------------------------------------- */

static void settle(struct http_tls *t)
{
    void (*on_closed)(void *) = t->on_closed;
    void *arg = t->closed_arg;

    if (!t->closing || t->listens || t->bridges != NULL)
        return;
    free(t);
    on_closed(arg);
}

void http_tls_bridge_gone(struct http_tls *t)
{
    if (t->waiting && !t->quiet)
        accept_next(t);
    settle(t);
}

/* ---- accepting ------------------------------------------------------------ */

/* One that cannot have a place: taken off the queue and closed, or the loop
 * would be told of it without end. */
static void turn_away(struct http_tls *t)
{
    uv_tcp_t *net = malloc(sizeof(*net));

    if (net == NULL || uv_tcp_init(t->options.loop, net) != 0) {
        free(net);
        return;
    }
    (void)uv_accept((uv_stream_t *)&t->listener, (uv_stream_t *)net);
    uv_close((uv_handle_t *)net, (uv_close_cb)free);
}

static void accept_next(struct http_tls *t)
{
    struct bridge *b;

    t->waiting = http_tls_is_full(t);
    if (t->waiting)
        return; /* not accepted: the listener rests until somebody goes */
    b = http_bridge_new(t);
    if (b == NULL) {
        turn_away(t);
        return;
    }
    b->peer_len = sizeof(b->peer);
    if (uv_accept((uv_stream_t *)&t->listener, (uv_stream_t *)&b->net) != 0 ||
        uv_tcp_getpeername(&b->net, (struct sockaddr *)&b->peer,
                           &b->peer_len) != 0 ||
        !t->options.admits(t->options.arg, (struct sockaddr *)&b->peer)) {
        b->state = ENDING; /* it failed at no greeting */
        http_bridge_close(b);
        return;
    }
    http_bridge_start(b);
}

static void on_connection(uv_stream_t *listener, int status)
{
    struct http_tls *t = listener->data;

    if (status == 0 && !t->quiet)
        accept_next(t);
}

/* ---- opening and closing -------------------------------------------------- */

static void on_listener_closed(uv_handle_t *handle)
{
    struct http_tls *t = handle->data;

    t->listens = false;
    settle(t);
}

static void nobody(void *arg)
{
    (void)arg;
}

enum err http_tls_open(const struct http_tls_options *options,
                       struct http_tls **out)
{
    struct http_tls *t = calloc(1, sizeof(*t));

    if (t == NULL) {
        close(options->listen_fd);
        return ERR_MEMORY;
    }
    t->options = *options;
    uv_tcp_init(options->loop, &t->listener);
    t->listener.data = t;
    t->listens = true;
    if (uv_tcp_open(&t->listener, options->listen_fd) != 0)
        close(options->listen_fd);
    else if (uv_listen((uv_stream_t *)&t->listener, BACKLOG, on_connection) ==
             0) {
        *out = t;
        return ERR_OK;
    }
    http_tls_close(t, nobody, NULL);
    return ERR_IO;
}

void http_tls_look(const struct http_tls *t, struct http_tls_view *view)
{
    *view = t->view;
}

bool http_tls_is_full(const struct http_tls *t)
{
    return t->view.open >= t->options.connections_max;
}

unsigned http_tls_of_host(const struct http_tls *t,
                          const struct http_address *address)
{
    unsigned count = 0;

    for (const struct bridge *b = t->bridges; b != NULL; b = b->next) {
        struct http_address own;

        if (!b->admitted)
            continue; /* the one that is asked about, or turned away */
        http_address_set(&own, (const struct sockaddr *)&b->peer);
        count += http_address_same_host(&own, address) ? 1 : 0;
    }
    return count;
}

void http_tls_quiesce(struct http_tls *t)
{
    if (t->quiet)
        return;
    t->quiet = true;
    uv_close((uv_handle_t *)&t->listener, on_listener_closed);
    for (struct bridge *b = t->bridges; b != NULL; b = b->next) {
        if (b->state == GREETING)
            http_bridge_close(b);
    }
}

void http_tls_close(struct http_tls *t, void (*on_closed)(void *arg), void *arg)
{
    t->closing = true;
    t->on_closed = on_closed;
    t->closed_arg = arg;
    http_tls_quiesce(t);
    for (struct bridge *b = t->bridges; b != NULL; b = b->next) {
        if (b->state == ENDING)
            http_bridge_close(b);
        else if (b->state == OPEN)
            http_bridge_limit(b, t->options.linger_ms);
    }
    settle(t);
}

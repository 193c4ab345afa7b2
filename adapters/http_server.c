#include "adapters/http_server_work.h"

#include "adapters/http_head.h"

#include <errno.h>
#include <stdlib.h>
#include <unistd.h>

enum {
    /* Of the library, for each connection: the head, its table of headers, and
     * room for a piece of the body. */
    POOL_BYTES = 4 * HTTP_HEAD_MAX_BYTES,
    CLOSE_WAIT_MS = 1000 /* for answers to be sent when the server closes */
};

/* ---- Running the library ---- */

static void stop(struct http_server *s);

static bool is_sending(const struct http_server *s)
{
    const struct http_connection *c;

    for (c = s->connections; c != NULL; c = c->next)
        if (c->peer.phase == HTTP_SENDING)
            return true;
    return false;
}

static void on_again(uv_timer_t *timer);

void http_run(struct http_server *s)
{
    MHD_UNSIGNED_LONG_LONG wait_ms;

    if (s->daemon == NULL)
        return;
    MHD_run(s->daemon);
    if (s->closing && (!is_sending(s) || uv_now(s->loop) >= s->close_until_ms))
        stop(s);
    else if (MHD_get_timeout(s->daemon, &wait_ms) == MHD_YES)
        uv_timer_start(&s->again, on_again, wait_ms, 0);
    else
        uv_timer_stop(&s->again);
}

static void on_again(uv_timer_t *timer)
{
    http_run(timer->data);
}

static void on_poll(uv_poll_t *poll, int status, int events)
{
    (void)status;
    (void)events;
    http_run(poll->data);
}

static void on_prepare(uv_prepare_t *prepare)
{
    uv_prepare_stop(prepare);
    http_run(prepare->data);
}

void http_run_soon(struct http_server *s)
{
    uv_prepare_start(&s->prepare, on_prepare);
}

/* ---- Opening and closing ---- */

static void maybe_free(struct http_server *s)
{
    void (*on_closed)(void *) = s->on_closed;
    void *arg = s->closed_arg;

    if (s->handles > 0 || s->lingers.head != NULL || !s->closing)
        return;
    free(s);
    if (on_closed != NULL)
        on_closed(arg);
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct http_server *s = handle->data;

    s->handles--;
    maybe_free(s);
}

static void on_linger_end(void *arg)
{
    maybe_free(arg);
}

static struct MHD_Daemon *start_daemon(struct http_server *s)
{
    unsigned flags = MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME |
                     (s->behind_tls ? MHD_USE_NO_LISTEN_SOCKET : 0);

    /* without a socket of its own it takes no such option: the list ends */
    return MHD_start_daemon(
        flags, 0, http_on_accept, s, http_on_access, s,
        MHD_OPTION_CONNECTION_LIMIT, s->connections_max,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)POOL_BYTES,
        MHD_OPTION_CONNECTION_TIMEOUT, 0u, MHD_OPTION_URI_LOG_CALLBACK,
        http_on_target, s, MHD_OPTION_NOTIFY_COMPLETED, http_on_completed, s,
        MHD_OPTION_NOTIFY_CONNECTION, http_on_connection, s,
        s->behind_tls ? MHD_OPTION_END : MHD_OPTION_LISTEN_SOCKET,
        s->listener.fd, MHD_OPTION_END);
}

static void init_handles(struct http_server *s)
{
    s->poll.data = s;
    s->again.data = s;
    s->tick.data = s;
    s->prepare.data = s;
    uv_timer_init(s->loop, &s->again);
    uv_timer_init(s->loop, &s->tick);
    uv_prepare_init(s->loop, &s->prepare);
    s->handles = 4;
}

/* Start the library and poll it. */
static enum err start(struct http_server *s)
{
    const union MHD_DaemonInfo *info;

    s->daemon = start_daemon(s);
    if (s->daemon == NULL) {
        close(s->listener.fd);
        return ERR_IO;
    }
    info = MHD_get_daemon_info(s->daemon, MHD_DAEMON_INFO_EPOLL_FD);
    if (info == NULL || uv_poll_init(s->loop, &s->poll, info->epoll_fd) != 0) {
        MHD_stop_daemon(s->daemon); /* closes the listening socket, too */
        if (s->behind_tls)
            close(s->listener.fd);
        return ERR_IO;
    }
    init_handles(s);
    if (uv_poll_start(&s->poll, UV_READABLE, on_poll) != 0)
        abort(); /* it has just been accepted by uv_poll_init() */
    /* The first run puts the listening socket into the epoll set. */
    http_run(s);
    return ERR_OK;
}

static enum err start_tls(struct http_server *s, struct tls_context *context)
{
    const struct http_tls_options options = {
        .loop = s->loop,
        .listen_fd = s->listener.fd,
        .context = context,
        .connections_max = s->connections_max,
        .greeting_ms = s->limits.request_ms,
        .write_ms = s->limits.request_ms + s->limits.idle_ms,
        .linger_ms = HTTP_LINGER_MS,
        .admits = http_admits,
        .on_stream = http_on_stream,
        .arg = s
    };
    enum err e = http_tls_open(&options, &s->tls);

    if (e == ERR_OK)
        s->handles++;
    return e;
}

enum err http_server_open(uv_loop_t *loop,
                          const struct http_server_options *options,
                          http_handler_fn on_request,
                          http_refusal_fn on_refusal, void *arg,
                          struct http_server **server)
{
    struct http_server *s = calloc(1, sizeof(*s));
    enum err e;
    int reason;

    if (s == NULL)
        return ERR_MEMORY;
    s->loop = loop;
    s->limits = (struct http_limits){ options->request_timeout_ms,
                                      options->idle_timeout_ms,
                                      options->socket_path != NULL };
    s->body_max = options->body_max;
    s->bodies_max = options->bodies_max;
    s->on_head = options->on_head;
    s->connections_max = options->connections_max;
    s->per_client_max = options->per_client_max;
    s->proxies = options->proxies;
    s->behind_tls = options->tls != NULL;
    s->on_request = on_request;
    s->on_refusal = on_refusal;
    s->arg = arg;
    s->lingers = (struct http_linger_set){ .loop = loop,
                                           .most = options->connections_max,
                                           .on_end = on_linger_end,
                                           .arg = s };
    e = s->limits.local
            ? http_listen_unix(options->socket_path, &s->listener)
            : http_listen_tcp(options->address, options->port, &s->listener);
    if (e != ERR_OK)
        goto free_server;
    e = start(s);
    if (e != ERR_OK)
        goto unlink;
    if (s->behind_tls)
        e = start_tls(s, options->tls);
    if (e != ERR_OK) {
        http_server_close(s, NULL, NULL); /* it has handles by now */
        return e;
    }
    *server = s;
    return ERR_OK;
unlink:
    reason = errno;
    http_listen_unlink(&s->listener);
    errno = reason;
free_server:
    reason = errno;
    free(s);
    errno = reason;
    return e;
}

int http_server_port(const struct http_server *server)
{
    return server->listener.port;
}

unsigned http_server_pending(const struct http_server *server)
{
    return server->pending;
}

void http_server_quiesce(struct http_server *server)
{
    if (server->quiet)
        return;
    server->quiet = true;
    /* Unlinked first: who finds no file asks no process that is leaving. */
    http_listen_unlink(&server->listener);
    if (server->tls != NULL)
        http_tls_quiesce(server->tls);
    if (!server->behind_tls)
        close(MHD_quiesce_daemon(server->daemon));
}

void http_server_look(const struct http_server *s,
                      struct http_server_view *view)
{
    struct http_tls_view tls = { 0 };

    if (s->tls != NULL)
        http_tls_look(s->tls, &tls);
    *view =
        (struct http_server_view){ .open = s->tls != NULL ? tls.open
                                                          : s->connection_count,
                                   .crowded = s->crowded,
                                   .overfull = s->overfull,
                                   .tls_greeted = tls.greeted,
                                   .tls_certificates = tls.with_certificate,
                                   .tls_failed = tls.failed };
}

static void on_tls_closed(void *arg)
{
    struct http_server *s = arg;

    s->handles--;
    maybe_free(s);
}

/* The last step: nothing is pending and nothing is being sent. */
static void stop(struct http_server *s)
{
    struct MHD_Daemon *daemon = s->daemon;
    struct http_tls *tls = s->tls;

    s->tls = NULL;
    s->daemon = NULL; /* first: what follows closes connections */
    uv_close((uv_handle_t *)&s->poll, on_handle_closed);
    uv_close((uv_handle_t *)&s->again, on_handle_closed);
    uv_close((uv_handle_t *)&s->tick, on_handle_closed);
    uv_close((uv_handle_t *)&s->prepare, on_handle_closed);
    MHD_stop_daemon(daemon);
    http_linger_expire(&s->lingers, UINT64_MAX);
    if (tls != NULL)
        http_tls_close(tls, on_tls_closed, s);
}

void http_server_close(struct http_server *server, void (*on_closed)(void *),
                       void *arg)
{
    struct http_connection *c;

    http_server_quiesce(server);
    for (c = server->connections; c != NULL; c = c->next)
        if (c->request != NULL && c->request->stage == HTTP_WAITING)
            http_answer_closing(c->request);
    server->closing = true;
    server->on_closed = on_closed;
    server->closed_arg = arg;
    server->close_until_ms = uv_now(server->loop) + CLOSE_WAIT_MS;
    /* Not from here: this may be a handler, inside the library. */
    http_start_tick(server);
    http_run_soon(server);
}

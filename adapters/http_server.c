/*
 * A connection goes through the phases drawn in http_phase.h.  A request is
 * gathered in on_access(), handed to the owner when it is whole, and its
 * connection suspended in the library until http_reply() resumes it.
 *
 * The library has one epoll descriptor, which the loop polls.  It is run when
 * that is readable, and from a prepare handle after a reply, so that a reply
 * made in a timer or an async callback leaves before the loop sleeps.
 */
#include "adapters/http_server.h"
#include "adapters/http_head.h"
#include "adapters/http_linger.h"
#include "adapters/http_listen.h"
#include "adapters/http_phase.h"
#include "adapters/http_target.h"
#include "adapters/http_tls.h"

#include <asm/socket.h> /* SO_PEERCRED, which POSIX does not name */
#include <fcntl.h>
#include <microhttpd.h>
#include <stdlib.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

enum {
    /* Of the library, for each connection: the head, its table of headers, and
     * room for a piece of the body. */
    POOL_BYTES = 4 * HTTP_HEAD_MAX_BYTES,
    REFUSAL_MAX_BYTES = 65536,
    LINGER_MS = 2000,
    FULL_IDLE_MS = 1000, /* idle limit while every connection is taken */
    CLOSE_WAIT_MS = 1000 /* for answers to be sent when the server closes */
};

#define RETRY_AFTER_S "5"

struct connection {
    struct http_server *server;
    struct connection *prev, *next;
    struct http_request *request; /* NULL while IDLE */
    struct http_peer peer;
    struct http_address address;
    bool refused;
};

enum stage { HEAD, BODY, WAITING, ANSWERED };

struct http_request {
    struct connection *connection;
    struct MHD_Connection *mhd;
    struct http_target target;
    enum err target_err;
    struct buf body;
    size_t counted;     /* of it, in the server's bodies */
    const char *method; /* borrowed from the library */
    enum stage stage;
    bool seen; /* its head, by the owner */
    bool suspended;
    bool failed; /* no answer could be queued: break off */
};

struct http_server {
    uv_loop_t *loop;
    struct MHD_Daemon *daemon; /* NULL once stopped */
    struct http_listener listener;
    struct http_limits limits;
    size_t body_max;
    size_t bodies, bodies_max; /* of all, what is beyond small ones */
    unsigned connections_max;
    unsigned per_client_max;
    const struct http_prefixes *proxies;
    struct http_tls *tls; /* NULL: plain, or closed */
    bool behind_tls;
    struct http_flow *handed; /* of the connection being handed over */
    uint64_t crowded, overfull;
    http_head_fn on_head;
    http_handler_fn on_request;
    http_refusal_fn on_refusal;
    void *arg;
    struct connection *connections;
    unsigned connection_count;
    struct http_linger_set lingers;
    uv_poll_t poll;       /* the library's epoll descriptor */
    uv_timer_t again;     /* when the library asks to be run */
    uv_timer_t tick;      /* limits; runs while there are connections */
    uv_prepare_t prepare; /* runs after a reply and a close */
    unsigned pending;
    unsigned handles; /* not yet closed */
    bool quiet;       /* does not accept */
    bool closing;
    uint64_t close_until_ms; /* set while closing */
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/* ---- Running the library ---- */

static void stop(struct http_server *s);

static bool is_sending(const struct http_server *s)
{
    const struct connection *c;

    for (c = s->connections; c != NULL; c = c->next)
        if (c->peer.phase == HTTP_SENDING)
            return true;
    return false;
}

static void on_again(uv_timer_t *timer);

static void run(struct http_server *s)
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
    run(timer->data);
}

static void on_poll(uv_poll_t *poll, int status, int events)
{
    (void)status;
    (void)events;
    run(poll->data);
}

static void on_prepare(uv_prepare_t *prepare)
{
    uv_prepare_stop(prepare);
    run(prepare->data);
}

/* ---- Limits of time ---- */

static void enter(struct connection *c, enum http_phase phase)
{
    http_peer_enter(&c->peer, &c->server->limits, phase,
                    uv_now(c->server->loop));
}

/* With every place taken, no connection is kept for a next request while
 * others wait to be accepted. */
static bool is_full(const struct http_server *s)
{
    return s->connection_count >= s->connections_max ||
           (s->tls != NULL && http_tls_is_full(s->tls));
}

static void on_tick(uv_timer_t *tick)
{
    struct http_server *s = tick->data;
    struct http_limits limits = s->limits;
    struct connection *c;

    if (is_full(s) && limits.idle_ms > FULL_IDLE_MS)
        limits.idle_ms = FULL_IDLE_MS;
    for (c = s->connections; c != NULL; c = c->next)
        http_peer_check(&c->peer, &limits, uv_now(s->loop));
    http_linger_expire(&s->lingers, uv_now(s->loop));
    if (s->closing)
        run(s);
    else if (s->connections == NULL && s->lingers.head == NULL)
        uv_timer_stop(tick);
}

static void start_tick(struct http_server *s)
{
    uint64_t tick_ms = (uint64_t)http_limits_tick_ms(&s->limits);

    if (!uv_is_active((uv_handle_t *)&s->tick))
        uv_timer_start(&s->tick, on_tick, tick_ms, tick_ms);
}

/* ---- Answers ---- */

/* The number that the client gave its request; NULL if there is none. */
static const char *request_id(const struct http_request *r)
{
    const char *id = http_header(r, HTTP_REQUEST_ID);

    return http_head_is_request_id(id) ? id : NULL;
}

static struct MHD_Response *new_response(const struct http_request *r,
                                         const char *content_type,
                                         const char *body, size_t len)
{
    const struct http_server *s = r->connection->server;
    const char *id = request_id(r);
    struct MHD_Response *response;

    /* The library does not write to a body that it copies. */
    response = MHD_create_response_from_buffer(
        body != NULL ? len : 0,
        (void *)(uintptr_t)body, /* NOLINT(performance-no-int-to-ptr) */
        MHD_RESPMEM_MUST_COPY);
    if (response == NULL)
        return NULL;
    if ((content_type != NULL &&
         MHD_add_response_header(response, "Content-Type", content_type) !=
             MHD_YES) ||
        (id != NULL &&
         MHD_add_response_header(response, HTTP_REQUEST_ID, id) != MHD_YES) ||
        ((s->quiet || is_full(s)) &&
         MHD_add_response_header(response, "Connection", "close") != MHD_YES)) {
        MHD_destroy_response(response);
        return NULL;
    }
    return response;
}

/* Of each body what is beyond a small one counts. */
static void count_body(struct http_request *r)
{
    struct http_server *s = r->connection->server;

    s->bodies -= r->counted;
    r->counted =
        r->body.len > HTTP_SMALL_BODY ? r->body.len - HTTP_SMALL_BODY : 0;
    s->bodies += r->counted;
}

static void forget_body(struct http_request *r)
{
    buf_clear(&r->body);
    count_body(r);
}

/*
 * End the wait for an answer.  Without a response (no memory, or one that
 * cannot be sent) the library is left to ask again, and on_access() then
 * breaks the connection off: the peer must not wait for ever.
 */
static void answer(struct http_request *r, int status,
                   struct MHD_Response *response)
{
    struct http_server *s = r->connection->server;

    s->pending--;
    r->stage = ANSWERED;
    enter(r->connection, HTTP_SENDING);
    r->failed = response == NULL || MHD_queue_response(r->mhd, (unsigned)status,
                                                       response) != MHD_YES;
    if (response != NULL)
        MHD_destroy_response(response);
    forget_body(r);
    if (r->suspended) {
        r->suspended = false;
        MHD_resume_connection(r->mhd);
        uv_prepare_start(&s->prepare, on_prepare);
    }
}

void http_reply(struct http_request *r, int status,
                const struct http_header_line *lines, size_t line_count,
                const char *content_type, const char *body, size_t len)
{
    struct MHD_Response *response;
    size_t i;

    response = new_response(r, content_type, body, len);
    for (i = 0; response != NULL && i < line_count; i++) {
        if (MHD_add_response_header(response, lines[i].name, lines[i].value) ==
            MHD_YES)
            continue;
        MHD_destroy_response(response);
        response = NULL;
    }
    answer(r, status, response);
}

/* The body for an answer of the server's own, as the owner words it. */
static void own_body(struct http_server *s, int status, struct buf *body,
                     const char **content_type)
{
    buf_init(body, REFUSAL_MAX_BYTES);
    *content_type = NULL;
    if (s->on_refusal != NULL)
        s->on_refusal(s->arg, status, body, content_type);
    if (buf_ok(body) != ERR_OK)
        buf_empty(body);
}

static void answer_closing(struct http_request *r)
{
    struct http_server *s = r->connection->server;
    const char *content_type;
    struct buf body;

    own_body(s, 503, &body, &content_type);
    answer(r, 503, new_response(r, content_type, body.data, body.len));
    buf_clear(&body);
}

/* ---- Refusals ---- */

/* What else such an answer needs: RFC 9110, 10.2.1 and 10.2.3. */
static bool add_line(struct MHD_Response *response, int status)
{
    if (status == 405)
        return MHD_add_response_header(response, "Allow", HTTP_METHODS) ==
               MHD_YES;
    return status != 503 || MHD_add_response_header(response, "Retry-After",
                                                    RETRY_AFTER_S) == MHD_YES;
}

/* Refuse before the body is read; the library then closes the connection. */
static enum MHD_Result refuse_early(struct http_request *r, int status)
{
    struct http_server *s = r->connection->server;
    struct MHD_Response *response;
    enum MHD_Result result = MHD_NO;
    const char *content_type;
    struct buf body;

    own_body(s, status, &body, &content_type);
    response = new_response(r, content_type, body.data, body.len);
    buf_clear(&body);
    r->stage = ANSWERED;
    r->connection->refused = true;
    enter(r->connection, HTTP_SENDING);
    if (response == NULL)
        return MHD_NO;
    if (add_line(response, status))
        result = MHD_queue_response(r->mhd, (unsigned)status, response);
    MHD_destroy_response(response);
    return result;
}

/*
 * Refuse a body that has grown too large, or for which there is no room any
 * more.  The library answers only before a body or after it, and this one may
 * never end; nothing else is being sent on the connection, so the answer is
 * written past the library, which is then told to close.
 */
static enum MHD_Result refuse_midway(struct http_request *r, int status)
{
    const char *content_type;
    struct buf body, text;

    own_body(r->connection->server, status, &body, &content_type);
    buf_init(&text, REFUSAL_MAX_BYTES + 1024);
    buf_printf(&text, "HTTP/1.1 %d %s\r\nConnection: close\r\n", status,
               status == 413 ? "Content Too Large" : "Service Unavailable");
    if (status == 503)
        buf_puts(&text, "Retry-After: " RETRY_AFTER_S "\r\n");
    if (content_type != NULL)
        buf_printf(&text, "Content-Type: %s\r\n", content_type);
    if (request_id(r) != NULL)
        buf_printf(&text, HTTP_REQUEST_ID ": %s\r\n", request_id(r));
    buf_printf(&text, "Content-Length: %zu\r\n\r\n", body.len);
    buf_add(&text, body.data, body.len);
    if (buf_ok(&text) == ERR_OK)
        (void)send(r->connection->peer.fd, text.data, text.len,
                   MSG_DONTWAIT | MSG_NOSIGNAL);
    buf_clear(&text);
    buf_clear(&body);
    r->connection->refused = true;
    return MHD_NO;
}

/* ---- Requests ---- */

static enum MHD_Result visit_header(void *arg, enum MHD_ValueKind kind,
                                    const char *name, const char *value)
{
    (void)kind;
    http_head_note(arg, name, value);
    return MHD_YES;
}

/* 0 if the request can be served, else the status that refuses it. */
static int check_head(const struct http_request *r, const char *version)
{
    const union MHD_ConnectionInfo *info;
    struct http_head h = { 0 };

    info = MHD_get_connection_info(r->mhd,
                                   MHD_CONNECTION_INFO_REQUEST_HEADER_SIZE);
    MHD_get_connection_values(r->mhd, MHD_HEADER_KIND, visit_header, &h);
    if (r->target_err == ERR_FORM)
        h.malformed = true;
    return http_head_refusal(&h, r->method, version,
                             info != NULL ? info->header_size : 0,
                             r->connection->server->body_max);
}

/* By its head, what its body is going to be. */
static bool may_be_large(const struct http_request *r)
{
    const char *length = http_header(r, "Content-Length");

    return http_header(r, "Transfer-Encoding") != NULL ||
           http_header(r, "Expect") != NULL ||
           (length != NULL && strtoull(length, NULL, 10) > HTTP_SMALL_BODY);
}

/* There is no room for what it says that it sends. */
static bool is_overfull(const struct http_request *r)
{
    struct http_server *s = r->connection->server;
    const char *length = http_header(r, "Content-Length");
    unsigned long long bytes = length != NULL ? strtoull(length, NULL, 10) : 0;

    if (s->bodies_max == 0 || bytes <= HTTP_SMALL_BODY ||
        s->bodies + (bytes - HTTP_SMALL_BODY) <= s->bodies_max)
        return false;
    s->overfull++;
    return true;
}

/* Before much is taken: may it come in at all? */
static enum MHD_Result show_head(struct http_request *r)
{
    struct http_server *s = r->connection->server;

    s->pending++; /* until it is answered, or left */
    if (s->on_head != NULL)
        s->on_head(s->arg, r);
    if (r->stage == ANSWERED) {
        r->connection->refused = true;
        return r->failed ? MHD_NO : MHD_YES;
    }
    s->pending--;
    r->seen = s->on_head != NULL;
    if (is_overfull(r))
        return refuse_early(r, 503);
    r->stage = BODY;
    return MHD_YES;
}

static enum MHD_Result take_head(struct http_request *r, const char *method,
                                 const char *version)
{
    int status;

    if (r->target_err == ERR_MEMORY)
        return MHD_NO;
    r->method = method;
    status = check_head(r, version);
    if (status != 0)
        return refuse_early(r, status);
    if (may_be_large(r))
        return show_head(r);
    r->stage = BODY;
    return MHD_YES;
}

static enum MHD_Result take_piece(struct http_request *r, const char *data,
                                  size_t *len)
{
    struct http_server *s = r->connection->server;

    buf_add(&r->body, data, *len);
    *len = 0;
    count_body(r);
    if (buf_ok(&r->body) == ERR_LIMIT)
        return refuse_midway(r, 413);
    if (s->bodies_max > 0 && r->counted > 0 && s->bodies > s->bodies_max) {
        s->overfull++;
        return refuse_midway(r, 503);
    }
    return buf_ok(&r->body) == ERR_OK ? MHD_YES : MHD_NO;
}

static enum MHD_Result take_end(struct http_request *r)
{
    struct http_server *s = r->connection->server;

    r->stage = WAITING;
    s->pending++;
    enter(r->connection, HTTP_ASKED);
    s->on_request(s->arg, r);
    if (r->stage == WAITING) {
        r->suspended = true;
        MHD_suspend_connection(r->mhd);
    }
    return r->failed ? MHD_NO : MHD_YES;
}

/* Called by the library: once with the head, for each piece of the body, and
 * at the end; and once more if no answer could be queued. */
static enum MHD_Result on_access(void *arg, struct MHD_Connection *mhd,
                                 const char *url, const char *method,
                                 const char *version, const char *data,
                                 size_t *len, void **context)
{
    const struct http_server *s = arg;
    struct http_request *r = *context;

    (void)mhd;
    (void)url;
    if (r == NULL || s->closing)
        return MHD_NO; /* no memory; or the owner is not called any more */
    switch (r->stage) {
    case HEAD:
        return take_head(r, method, version);
    case BODY:
        return *len > 0 ? take_piece(r, data, len) : take_end(r);
    case WAITING:
    case ANSWERED:
        break;
    }
    return MHD_NO;
}

/* The first line has come.  Its target is read here, before the library
 * decodes it in its own way; what is returned becomes the context. */
static void *on_target(void *arg, const char *raw, struct MHD_Connection *mhd)
{
    struct http_server *s = arg;
    const union MHD_ConnectionInfo *info;
    struct http_request *r = calloc(1, sizeof(*r));

    info = MHD_get_connection_info(mhd, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    if (r == NULL || info == NULL || info->socket_context == NULL) {
        free(r);
        return NULL;
    }
    r->mhd = mhd;
    r->connection = info->socket_context;
    r->target_err = http_target_read(raw != NULL ? raw : "", &r->target);
    buf_init(&r->body, s->body_max);
    r->connection->request = r;
    if (r->connection->peer.phase == HTTP_IDLE)
        enter(r->connection, HTTP_RECEIVING);
    return r;
}

static void on_completed(void *arg, struct MHD_Connection *mhd, void **context,
                         enum MHD_RequestTerminationCode why)
{
    struct http_request *r = *context;
    struct connection *c;

    (void)arg;
    (void)mhd;
    (void)why;
    if (r == NULL)
        return;
    *context = NULL;
    c = r->connection;
    c->request = NULL;
    if (c->peer.phase != HTTP_CUT)
        enter(c, HTTP_IDLE);
    http_target_clear(&r->target);
    forget_body(r);
    free(r);
}

/* ---- Connections ---- */

static void *open_connection(struct http_server *s, int fd,
                             const struct sockaddr *from)
{
    struct connection *c = calloc(1, sizeof(*c));

    if (c == NULL) {
        shutdown(fd, SHUT_RDWR);
        return NULL;
    }
    c->server = s;
    http_peer_init(&c->peer, fd, s->handed, uv_now(s->loop));
    if (!s->limits.local)
        http_address_set(&c->address, from);
    s->connection_count++;
    c->next = s->connections;
    if (c->next != NULL)
        c->next->prev = c;
    s->connections = c;
    start_tick(s);
    return c;
}

static void close_connection(struct connection *c)
{
    struct http_server *s = c->server;
    int fd;

    if (c->refused && !s->closing) {
        fd = fcntl(c->peer.fd, F_DUPFD_CLOEXEC, 0);
        if (fd >= 0)
            http_linger_add(&s->lingers, fd, uv_now(s->loop) + LINGER_MS);
    }
    if (c->next != NULL)
        c->next->prev = c->prev;
    if (c->prev != NULL)
        c->prev->next = c->next;
    else
        s->connections = c->next;
    s->connection_count--;
    http_peer_end(&c->peer);
    /* The library looks whether it may accept again only when it is run. */
    if (s->daemon != NULL)
        uv_prepare_start(&s->prepare, on_prepare);
    free(c);
}

static void on_connection(void *arg, struct MHD_Connection *mhd, void **context,
                          enum MHD_ConnectionNotificationCode what)
{
    const union MHD_ConnectionInfo *fd, *from;

    if (what == MHD_CONNECTION_NOTIFY_STARTED) {
        fd = MHD_get_connection_info(mhd, MHD_CONNECTION_INFO_CONNECTION_FD);
        from = MHD_get_connection_info(mhd, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
        *context = open_connection(arg, fd->connect_fd,
                                   from != NULL ? from->client_addr : NULL);
    } else if (*context != NULL) {
        close_connection(*context);
        *context = NULL;
    }
}

/* Connections of the host of an address.  Behind TLS those that are there are
 * counted there, from their greeting to their end; here, those alone whose peer
 * has gone while they wait for their answer. */
static unsigned count_of_host(const struct http_server *s,
                              const struct http_address *address)
{
    unsigned count = s->tls != NULL ? http_tls_of_host(s->tls, address) : 0;

    for (const struct connection *c = s->connections; c != NULL; c = c->next) {
        bool here = c->peer.flow == NULL || http_flow_is_last(c->peer.flow);

        count += here && http_address_same_host(&c->address, address) ? 1 : 0;
    }
    return count;
}

/* May one more connection of this address be had?  One client must not take
 * every place. */
static bool has_room(struct http_server *s, const struct sockaddr *from)
{
    struct http_address address;

    http_address_set(&address, from);
    if (s->limits.local || s->per_client_max == 0 ||
        (s->proxies != NULL && http_prefixes_have(s->proxies, &address)))
        return true;
    if (count_of_host(s, &address) < s->per_client_max)
        return true;
    s->crowded++;
    return false;
}

/* Asked by the library, for each that it would accept. */
static enum MHD_Result on_accept(void *arg, const struct sockaddr *from,
                                 socklen_t len)
{
    struct http_server *s = arg;

    (void)len;
    /* behind TLS it has been asked before the greeting */
    return s->behind_tls || has_room(s, from) ? MHD_YES : MHD_NO;
}

static bool admits(void *arg, const struct sockaddr *from)
{
    return has_room(arg, from);
}

static bool on_stream(void *arg, int fd, const struct sockaddr *peer,
                      socklen_t len, struct http_flow *flow)
{
    struct http_server *s = arg;
    enum MHD_Result taken;

    if (s->daemon == NULL || s->closing) {
        close(fd);
        return false;
    }
    s->handed = flow;
    taken = MHD_add_connection(s->daemon, fd, peer, len);
    s->handed = NULL;
    uv_prepare_start(&s->prepare, on_prepare);
    return taken == MHD_YES;
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
        flags, 0, on_accept, s, on_access, s, MHD_OPTION_CONNECTION_LIMIT,
        s->connections_max, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
        (size_t)POOL_BYTES, MHD_OPTION_CONNECTION_TIMEOUT, 0u,
        MHD_OPTION_URI_LOG_CALLBACK, on_target, s, MHD_OPTION_NOTIFY_COMPLETED,
        on_completed, s, MHD_OPTION_NOTIFY_CONNECTION, on_connection, s,
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
    run(s);
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
        .linger_ms = LINGER_MS,
        .admits = admits,
        .on_stream = on_stream,
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
    http_listen_unlink(&s->listener);
free_server:
    free(s);
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
    struct connection *c;

    http_server_quiesce(server);
    for (c = server->connections; c != NULL; c = c->next)
        if (c->request != NULL && c->request->stage == WAITING)
            answer_closing(c->request);
    server->closing = true;
    server->on_closed = on_closed;
    server->closed_arg = arg;
    server->close_until_ms = uv_now(server->loop) + CLOSE_WAIT_MS;
    /* Not from here: this may be a handler, inside the library. */
    start_tick(server);
    uv_prepare_start(&server->prepare, on_prepare);
}

/* ---- What the client sent ---- */

const char *http_method(const struct http_request *r)
{
    return r->method;
}

const char *http_path(const struct http_request *r)
{
    return r->target.path;
}

const char *http_header(const struct http_request *r, const char *name)
{
    return MHD_lookup_connection_value(r->mhd, MHD_HEADER_KIND, name);
}

struct lines {
    const char *name;
    struct buf *out;
    bool found;
};

static enum MHD_Result add_value(void *arg, enum MHD_ValueKind kind,
                                 const char *name, const char *value)
{
    struct lines *l = arg;

    (void)kind;
    if (strcasecmp(name, l->name) == 0) {
        buf_printf(l->out, "%s%s", l->found ? ", " : "",
                   value != NULL ? value : "");
        l->found = true;
    }
    return MHD_YES;
}

bool http_header_all(const struct http_request *r, const char *name,
                     struct buf *out)
{
    struct lines l = { .name = name, .out = out };

    MHD_get_connection_values(r->mhd, MHD_HEADER_KIND, add_value, &l);
    return l.found;
}

bool http_head_was_seen(const struct http_request *r)
{
    return r->seen;
}

const char *http_query(const struct http_request *r, const char *name)
{
    return http_target_query(&r->target, name);
}

void http_query_each(const struct http_request *r,
                     void (*visit)(void *arg, const char *name,
                                   const char *value),
                     void *arg)
{
    http_target_each(&r->target, visit, arg);
}

const char *http_body(const struct http_request *r, size_t *len)
{
    *len = r->body.len;
    return r->body.data;
}

const struct http_address *http_peer_of(const struct http_request *r)
{
    return &r->connection->address;
}

bool http_is_tls(const struct http_request *r)
{
    return r->connection->server->behind_tls;
}

bool http_is_local(const struct http_request *r)
{
    return r->connection->server->limits.local;
}

long http_peer_uid(const struct http_request *r)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(r->mhd, MHD_CONNECTION_INFO_CONNECTION_FD);
    /* struct ucred of the kernel, whose name the C library hides */
    struct {
        pid_t pid;
        uid_t uid;
        gid_t gid;
    } peer;
    socklen_t len = sizeof(peer);

    if (info == NULL ||
        getsockopt(info->connect_fd, SOL_SOCKET, SO_PEERCRED, &peer, &len) != 0)
        return -1;
    return (long)peer.uid;
}

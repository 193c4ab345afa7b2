/* Connections: who may have one, and for how long. */
#include "adapters/http_server_work.h"

#include <fcntl.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <unistd.h>

enum { FULL_IDLE_MS = 1000 /* idle limit while every connection is taken */ };

/* ---- Limits of time ---- */

void http_enter(struct http_connection *c, enum http_phase phase)
{
    http_peer_enter(&c->peer, &c->server->limits, phase,
                    uv_now(c->server->loop));
}

bool http_server_is_full(const struct http_server *s)
{
    return s->connection_count >= s->connections_max ||
           (s->tls != NULL && http_tls_is_full(s->tls));
}

static void on_tick(uv_timer_t *tick)
{
    struct http_server *s = tick->data;
    struct http_limits limits = s->limits;
    struct http_connection *c;

    if (http_server_is_full(s) && limits.idle_ms > FULL_IDLE_MS)
        limits.idle_ms = FULL_IDLE_MS;
    for (c = s->connections; c != NULL; c = c->next)
        http_peer_check(&c->peer, &limits, uv_now(s->loop));
    http_linger_expire(&s->lingers, uv_now(s->loop));
    if (s->closing)
        http_run(s);
    else if (s->connections == NULL && s->lingers.head == NULL)
        uv_timer_stop(tick);
}

void http_start_tick(struct http_server *s)
{
    uint64_t tick_ms = (uint64_t)http_limits_tick_ms(&s->limits);

    if (!uv_is_active((uv_handle_t *)&s->tick))
        uv_timer_start(&s->tick, on_tick, tick_ms, tick_ms);
}

/* ---- Beginning and end ---- */

static void *open_connection(struct http_server *s, int fd,
                             const struct sockaddr *from)
{
    struct http_connection *c = calloc(1, sizeof(*c));

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
    http_start_tick(s);
    return c;
}

static void close_connection(struct http_connection *c)
{
    struct http_server *s = c->server;
    int fd;

    if (c->refused && !s->closing) {
        fd = fcntl(c->peer.fd, F_DUPFD_CLOEXEC, 0);
        if (fd >= 0)
            http_linger_add(&s->lingers, fd, uv_now(s->loop) + HTTP_LINGER_MS);
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
        http_run_soon(s);
    free(c);
}

void http_on_connection(void *arg, struct MHD_Connection *mhd, void **context,
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

    for (const struct http_connection *c = s->connections; c != NULL;
         c = c->next) {
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
enum MHD_Result http_on_accept(void *arg, const struct sockaddr *from,
                               socklen_t len)
{
    struct http_server *s = arg;

    (void)len;
    /* behind TLS it has been asked before the greeting */
    return s->behind_tls || has_room(s, from) ? MHD_YES : MHD_NO;
}

bool http_admits(void *arg, const struct sockaddr *from)
{
    return has_room(arg, from);
}

bool http_on_stream(void *arg, int fd, const struct sockaddr *peer,
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
    http_run_soon(s);
    return taken == MHD_YES;
}

/* Who may connect, and how a connection begins. */
#include "service/mllp_work.h"

#include "service/log.h"

#include <stdlib.h>

enum { ANSWER_MAX = 256 * 1024, GREETING_MAX = 128 * 1024 };

static bool is_let_in(struct mllp_connection *c)
{
    struct mllp_server *s = c->server;
    struct sockaddr_storage peer;
    int len = sizeof(peer);

    if (uv_tcp_getpeername(&c->tcp, (struct sockaddr *)&peer, &len) != 0 ||
        !mllp_allows(&s->options.allow, (struct sockaddr *)&peer))
        s->view.turned_away++;
    else if (s->quiet || s->view.open > s->options.connections_max)
        s->view.full++;
    else
        return true;
    log_event(LOG_INFO, "mllp.turned_away", KEY_INT("open", s->view.open));
    return false;
}

static enum err start(struct mllp_connection *c)
{
    const struct mllp_server_options *o = &c->server->options;

    if (c->server->tls != NULL) {
        enum err e = tls_stream_new(c->server->tls, &c->tls);

        if (e != ERR_OK)
            return e;
    }
    if (o->keep_alive_s > 0)
        uv_tcp_keepalive(&c->tcp, 1, (unsigned)o->keep_alive_s);
    uv_tcp_nodelay(&c->tcp, 1);
    c->server->view.connections++;
    c->began_ns = log_now_ns();
    log_event(LOG_DEBUG, "mllp.opened", KEY_INT("open", c->server->view.open),
              KEY_INT("tls", c->tls != NULL));
    c->state = c->tls != NULL ? MLLP_OPENING : MLLP_READING;
    mllp_wait(c, c->tls != NULL ? o->message_timeout_ms : o->idle_timeout_ms,
              c->tls != NULL);
    mllp_pump(c);
    return ERR_OK;
}

enum err mllp_connection_open(struct mllp_server *s)
{
    struct mllp_connection *c = calloc(1, sizeof(*c));
    enum err e = ERR_OK;

    if (c == NULL)
        return ERR_MEMORY;
    c->server = s;
    mllp_init(&c->mllp, s->options.frame_max);
    buf_init(&c->out, ANSWER_MAX);
    buf_init(&c->greeting, GREETING_MAX);
    uv_tcp_init(s->loop, &c->tcp);
    uv_timer_init(s->loop, &c->timer);
    c->tcp.data = c->timer.data = c;
    c->handles = 2;
    c->next = s->connections;
    c->link = &s->connections;
    if (c->next != NULL)
        c->next->link = &c->next;
    s->connections = c;
    s->view.open++;
    c->state = MLLP_READING;
    if (uv_accept((uv_stream_t *)&s->listener, (uv_stream_t *)&c->tcp) != 0)
        e = ERR_IO;
    else if (is_let_in(c))
        e = start(c);
    else
        mllp_connection_close(c);
    if (e != ERR_OK)
        mllp_connection_close(c);
    return e;
}

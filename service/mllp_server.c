#include "service/mllp_work.h"

#include "adapters/catalogue.h"
#include "adapters/http_listen.h"

#include <errno.h>
#include <stdlib.h>
#include <unistd.h>

static void on_connection(uv_stream_t *listener, int status)
{
    struct mllp_server *s = listener->data;

    if (status == 0 && mllp_connection_open(s) != ERR_OK)
        s->view.full++;
}

static enum err listen_here(struct mllp_server *s, struct buf *why)
{
    struct http_listener made;
    enum err e = http_listen_tcp(s->options.address, s->options.port, &made);
    int reason = errno, failed = 0;

    if (e == ERR_OK) {
        uv_tcp_init(s->loop, &s->listener);
        s->listener.data = s;
        s->listens = true;
        s->port = made.port;
        failed = uv_tcp_open(&s->listener, made.fd);
        if (failed != 0)
            close(made.fd);
        else
            failed = uv_listen((uv_stream_t *)&s->listener, 511, on_connection);
    }
    if (failed != 0) {
        reason = -failed; /* so libuv numbers what the system says */
        e = ERR_IO;
    }
    if (e != ERR_OK)
        /* TRANSLATORS: address, port, a reason without a full stop */
        buf_printf(why, _("%s port %d: cannot be listened on for HL7 v2: %s"),
                   s->options.address, s->options.port,
                   http_listen_reason(reason));
    return e;
}

static void nobody(void *arg)
{
    (void)arg;
}

enum err mllp_server_open(uv_loop_t *loop,
                          const struct mllp_server_options *options,
                          mllp_message_fn on_message, void *arg,
                          struct mllp_server **out, struct buf *why)
{
    struct mllp_server *s = calloc(1, sizeof(*s));
    bool tls =
        options->tls.certificate != NULL && options->tls.certificate[0] != '\0';
    enum err e = ERR_OK;

    if (s == NULL)
        return ERR_MEMORY;
    s->loop = loop;
    s->options = *options;
    s->on_message = on_message;
    s->arg = arg;
    if (tls)
        e = tls_context_open(&options->tls, &s->tls, why);
    if (e == ERR_OK)
        e = listen_here(s, why);
    if (e != ERR_OK) {
        mllp_server_close(s, nobody, NULL);
        return e;
    }
    *out = s;
    return ERR_OK;
}

int mllp_server_port(const struct mllp_server *s)
{
    return s->port;
}

void mllp_server_look(const struct mllp_server *s, struct mllp_view *view)
{
    *view = s->view;
}

void mllp_server_take_tls(struct mllp_server *s, struct tls_context *fresh)
{
    tls_context_take(s->tls, fresh);
}

int64_t mllp_server_lists_end_s(const struct mllp_server *s)
{
    return s->tls != NULL ? tls_context_lists_end_s(s->tls) : INT64_MAX;
}

int64_t mllp_server_tls_end_s(const struct mllp_server *s)
{
    return s->tls != NULL ? tls_context_end_s(s->tls) : INT64_MAX;
}

unsigned mllp_server_pending(const struct mllp_server *s)
{
    unsigned pending = s->calls;

    for (const struct mllp_connection *c = s->connections; c != NULL;
         c = c->next)
        pending += c->state == MLLP_ANSWERING ? 1 : 0;
    return pending;
}

/* ---- closing -------------------------------------------------------------- */

void mllp_server_settle(struct mllp_server *s)
{
    if (!s->closing || s->listens || s->connections != NULL)
        return;
    if (!s->closed) {
        void (*on_closed)(void *) = s->on_closed;
        void *arg = s->closed_arg;

        s->closed = true;
        s->calls++; /* keeps it while it tells */
        on_closed(arg);
        s->calls--;
    }
    if (s->calls > 0)
        return;
    tls_context_close(s->tls);
    free(s);
}

static void on_listener_closed(uv_handle_t *handle)
{
    struct mllp_server *s = handle->data;

    s->listens = false;
    mllp_server_settle(s);
}

static void stop_listening(struct mllp_server *s)
{
    if (s->listens && !uv_is_closing((uv_handle_t *)&s->listener))
        uv_close((uv_handle_t *)&s->listener, on_listener_closed);
}

void mllp_server_quiesce(struct mllp_server *s)
{
    s->quiet = true;
    stop_listening(s);
    for (struct mllp_connection *c = s->connections, *next; c != NULL;
         c = next) {
        next = c->next;
        mllp_connection_quiesce(c);
    }
}

void mllp_server_close(struct mllp_server *s, void (*on_closed)(void *),
                       void *arg)
{
    s->quiet = s->closing = true;
    s->on_closed = on_closed;
    s->closed_arg = arg;
    stop_listening(s);
    for (struct mllp_connection *c = s->connections, *next; c != NULL;
         c = next) {
        next = c->next;
        mllp_connection_close(c);
    }
    mllp_server_settle(s);
}

/* The answer to a message, and what comes after it. */
#include "service/mllp_work.h"

#include <stdlib.h>

static void next_message(struct mllp_connection *c)
{
    if (c->last || c->server->quiet) {
        mllp_connection_close(c);
        return;
    }
    c->state = MLLP_READING;
    mllp_wait(c, c->server->options.idle_timeout_ms, false);
    mllp_pump(c);
}

static void on_answered(uv_write_t *write, int status)
{
    struct mllp_connection *c = write->data;

    c->writing = false;
    if (c->state == MLLP_CLOSING)
        return;
    if (status != 0)
        mllp_connection_close(c);
    else
        next_message(c);
}

static enum err put_out(struct mllp_connection *c, const char *frames,
                        size_t len)
{
    enum err e;

    buf_empty(&c->out);
    if (c->tls == NULL) {
        buf_add(&c->out, frames, len);
        return buf_ok(&c->out);
    }
    e = tls_stream_write(c->tls, frames, len);
    if (e == ERR_OK && (c->last || c->server->quiet))
        tls_stream_end(c->tls);
    return e == ERR_OK ? tls_stream_give(c->tls, &c->out) : e;
}

static void answer(struct mllp_connection *c, const char *frames, size_t len,
                   bool last)
{
    uv_buf_t piece;

    c->call = NULL;
    c->last = c->last || last;
    if (len == 0) {
        next_message(c);
        return;
    }
    if (put_out(c, frames, len) != ERR_OK) {
        mllp_connection_close(c);
        return;
    }
    c->state = MLLP_ANSWERING;
    mllp_wait(c, c->server->options.message_timeout_ms, true);
    piece = uv_buf_init(c->out.data, (unsigned)c->out.len);
    c->write.data = c;
    c->writing = true;
    if (uv_write(&c->write, (uv_stream_t *)&c->tcp, &piece, 1, on_answered) !=
        0) {
        c->writing = false;
        mllp_connection_close(c);
    }
}

void mllp_answer(struct mllp_call *call, const char *frames, size_t len,
                 bool close)
{
    struct mllp_server *s = call->server;
    struct mllp_connection *c = call->connection;

    free(call);
    if (c != NULL)
        answer(c, frames, len, close);
    s->calls--;
    mllp_server_settle(s);
}

bool mllp_bears(const void *arg, const char *name)
{
    const struct mllp_call *call = arg;

    return call->connection != NULL && call->connection->tls != NULL &&
           tls_stream_has_name(call->connection->tls, name);
}

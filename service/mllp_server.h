/*
 * mllp_server - messages of HL7 v2 over MLLP, plain or by TLS, on the loop
 *
 * Of each connection one message is dealt with at a time: the next bytes are
 * read only when the answer to it has been written, so that answers come in
 * order and a sender cannot fill the memory.
 *
 *     OPENING --> READING --> WORKING --> ANSWERING --> READING ...
 *      (TLS)         |           |            |
 *                    +-----------+------------+--> CLOSING
 *
 * A sender that ends its side still gets the answer to what came whole.
 * What goes on above a message is the handler's affair.
 */
#ifndef HEADGATE_SERVICE_MLLP_SERVER_H
#define HEADGATE_SERVICE_MLLP_SERVER_H

#include "adapters/tls_stream.h"
#include "service/mllp_allow.h"

#include <stdint.h>
#include <uv.h>

struct mllp_server;
struct mllp_call; /* one message, until it is answered */

struct mllp_server_options {
    const char *address;  /* "127.0.0.1", "::1", "::" */
    int port;             /* 0 picks a free one */
    struct tls_files tls; /* certificate NULL or "": plain */
    struct mllp_allow allow;
    size_t frame_max; /* bytes of a message */
    unsigned connections_max;
    int idle_timeout_ms;    /* without a message */
    int message_timeout_ms; /* from a message's first byte to its last; for
                               the greeting of TLS; for taking an answer */
    int settle_ms;          /* until a missing last CR is forgiven */
    int keep_alive_s;       /* 0: none */
};

/* Since the opening. */
struct mllp_view {
    unsigned open; /* connections now */
    uint64_t connections;
    uint64_t turned_away; /* not of the addresses that may connect */
    uint64_t full;        /* beyond connections_max */
    uint64_t tls_failures;
    uint64_t idle, slow; /* closed: nothing came; a message or the taking of
                            an answer took too long */
    uint64_t frames, too_long, outside, restarted, unended; /* see mllp.h */
    uint64_t dropped; /* frames that were open when their connection ended */
};

/*
 * A message has come.  Loop thread.  The handler sees to it that mllp_answer
 * is called exactly once for the call, now or later.
 *
 * bytes     the message without its frame, borrowed until mllp_answer
 * too_long  it is longer than frame_max: bytes are its beginning
 */
typedef void (*mllp_message_fn)(void *arg, struct mllp_call *call,
                                const char *bytes, size_t len, bool too_long);

/*
 * mllp_server_open - listen
 *
 * why  out: what is wrong, for a person
 *
 * ERR_IO      the address cannot be bound
 * ERR_CONFIG  certificate or key, see tls_stream.h
 * ERR_MEMORY
 */
MUST_CHECK enum err mllp_server_open(uv_loop_t *loop,
                                     const struct mllp_server_options *options,
                                     mllp_message_fn on_message, void *arg,
                                     struct mllp_server **server,
                                     struct buf *why);

int mllp_server_port(const struct mllp_server *server);

/*
 * mllp_answer - the answer, and the call's end; its pointer is dead afterwards
 *
 * frames  with their MLLP frames around them, copied; len 0: none is given
 * close   the connection ends when they are sent
 *
 * Callable from the handler or later, from the loop thread only; also when the
 * connection has gone in the meantime.
 */
void mllp_answer(struct mllp_call *call, const char *frames, size_t len,
                 bool close);

/* Has the other side proved this name?  For hl7_senders_find; false if its
 * connection has gone. */
bool mllp_bears(const void *call, const char *name);

void mllp_server_look(const struct mllp_server *server, struct mllp_view *view);

/* Go on with other certificates for new connections: fresh is taken over.  Only
 * of a server that has TLS. */
void mllp_server_take_tls(struct mllp_server *server,
                          struct tls_context *fresh);

/* Until when its certificate is good, see tls_context_end_s; INT64_MAX: none. */
int64_t mllp_server_tls_end_s(const struct mllp_server *server);
/* Until when its revocation lists are, see tls_context_lists_end_s. */
int64_t mllp_server_lists_end_s(const struct mllp_server *server);

/* Accept nobody, and close each connection once what is being dealt with on it
 * has been answered. */
void mllp_server_quiesce(struct mllp_server *server);

/* Messages handed to the handler, or whose answers are being sent. */
unsigned mllp_server_pending(const struct mllp_server *server);

/*
 * Close all.  Calls that are not answered yet stay the handler's: they must
 * still be answered, which then only frees them.  on_closed is called from the
 * loop when every handle is closed; the server is freed then, or when the last
 * call has been answered.
 */
void mllp_server_close(struct mllp_server *server, void (*on_closed)(void *),
                       void *arg);

#endif

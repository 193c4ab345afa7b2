/*
 * http_tls - TLS before the HTTP server
 *
 * The HTTP server reads and writes sockets itself.  So each connection is
 * ended here, and handed to it as one half of a pair of local sockets; the
 * bytes between go through tls_stream:
 *
 *     network <--> uv_tcp_t <--> tls_stream <--> socket pair <--> HTTP server
 *
 * A connection is handed over when its greeting is done, so that the HTTP
 * server sees nobody who did not prove what was asked of him.  One side is read
 * only when what came from it before has been taken by the other: a connection
 * holds a fixed amount of memory.  How long a request may take stays with the
 * HTTP server, which ends its half; the greeting, a write that the peer does
 * not take, and the wait for the peer's end have limits here.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_TLS_H
#define HEADGATE_ADAPTERS_HTTP_TLS_H

#include "adapters/http_address.h"
#include "adapters/http_phase.h"
#include "adapters/tls_stream.h"

#include <stdint.h>
#include <sys/socket.h>
#include <uv.h>

struct http_tls;

struct http_tls_options {
    uv_loop_t *loop;             /* borrowed */
    int listen_fd;               /* taken over, also on an error */
    struct tls_context *context; /* borrowed, as long as this is open */
    unsigned connections_max;    /* more wait in the listener's queue */
    int greeting_ms;             /* from the connection to the end of it */
    int write_ms;                /* until what is written is taken */
    int linger_ms;               /* for the peer's end after ours; who failed at
                                    the greeting is not waited for */
    /* May this peer connect at all?  Asked before the greeting. */
    bool (*admits)(void *arg, const struct sockaddr *peer);
    /* A half of a pair, taken over; false: it could not be, and is closed */
    bool (*on_stream)(void *arg, int fd, const struct sockaddr *peer,
                      socklen_t len, struct http_flow *flow);
    void *arg;
};

/* Since the opening. */
struct http_tls_view {
    unsigned open;             /* connections now, those being greeted too */
    uint64_t greeted;          /* greetings that succeeded */
    uint64_t with_certificate; /* of these, with one of the client */
    uint64_t failed; /* that did not: no or a false certificate, no TLS,
                                too slow */
};

/* ERR_IO, ERR_MEMORY */
MUST_CHECK enum err http_tls_open(const struct http_tls_options *options,
                                  struct http_tls **tls);

void http_tls_look(const struct http_tls *tls, struct http_tls_view *view);

/* Is every place taken? */
bool http_tls_is_full(const struct http_tls *tls);

/* Connections of the host of this address that take a place: from their being
 * accepted until they are closed, whatever state they are in. */
unsigned http_tls_of_host(const struct http_tls *tls,
                          const struct http_address *address);

/* Accept nobody any more; those that are being greeted are let go. */
void http_tls_quiesce(struct http_tls *tls);

/*
 * Close all.  To be called when the HTTP server has closed its halves: what it
 * wrote is still sent, within linger_ms.  on_closed is called from the loop;
 * this is freed then.
 */
void http_tls_close(struct http_tls *tls, void (*on_closed)(void *arg),
                    void *arg);

#endif

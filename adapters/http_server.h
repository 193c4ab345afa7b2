/*
 * http_server - HTTP/1.1 on the event loop
 *
 * The only file that knows the HTTP server library.  Each request is read
 * whole (up to the body ceiling), handed to the handler on the loop thread,
 * and stays suspended until http_reply() is called: now, or after a commit.
 * The head of one whose body may be large is shown to the owner before the body
 * is taken, so that nobody can leave much here who may not.
 *
 * Limits that the library does not enforce are enforced here: a deadline
 * from the first byte of a request to its last (a peer that drips bytes is
 * cut), a ceiling for chunked bodies.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_SERVER_H
#define HEADGATE_ADAPTERS_HTTP_SERVER_H

#include "adapters/buf.h"
#include "adapters/http_address.h"
#include "adapters/tls_stream.h"

#include <stdint.h>
#include <uv.h>

struct http_server;
struct http_request;

/*
 * Bytes of a body that are taken before anybody has looked at the request: a
 * small one is cheaper read than refused, which ends the connection.
 */
enum { HTTP_SMALL_BODY = 65536 };

enum { HTTP_LINES_MAX = 16384 }; /* of http_header_all() */

/*
 * A request whose body may be longer than HTTP_SMALL_BODY (by its
 * Content-Length, or for having none), or which waits for leave to send it
 * (Expect: 100-continue; RFC 9110, 10.1.1).  The owner may answer with
 * http_reply(), now or never, and the connection is closed after that; else the
 * body is read, and the handler called with all.  http_body() is empty here.
 */
typedef void (*http_head_fn)(void *arg, struct http_request *request);

struct http_server_options {
    const char *address;     /* "127.0.0.1", "::1", "0.0.0.0" */
    int port;                /* 0 picks a free one */
    const char *socket_path; /* not NULL: a Unix socket, mode 0600, instead of
                                address and port */
    size_t body_max;         /* bytes of a request body; more is answered 413 */
    size_t bodies_max;    /* bytes of all bodies that are not answered yet, of
                                each what goes beyond HTTP_SMALL_BODY; more is
                                answered 503 with Retry-After.  0: any number */
    http_head_fn on_head; /* NULL: nobody looks at heads */
    unsigned connections_max;
    int request_timeout_ms;  /* from first to last byte of a request */
    int idle_timeout_ms;     /* keep-alive without a request */
    struct tls_context *tls; /* borrowed until on_closed; NULL: plain.  Not with
                                socket_path */
    unsigned per_client_max; /* connections of one address (of IPv6, of its
                                first 64 bits); 0: any number */
    const struct http_prefixes *proxies; /* borrowed; whose number is not
                                            limited; NULL: none */
};

/* Since the opening. */
struct http_server_view {
    unsigned open;             /* connections now */
    uint64_t crowded;          /* turned away, above per_client_max */
    uint64_t overfull;         /* bodies refused, above bodies_max */
    uint64_t tls_greeted;      /* greetings of TLS that succeeded */
    uint64_t tls_certificates; /* of these, with a certificate of the client */
    uint64_t tls_failed;       /* that did not succeed */
};

/*
 * Called once per complete request, on the loop thread.  The handler must
 * see to it that http_reply() is called exactly once for it.
 */
typedef void (*http_handler_fn)(void *arg, struct http_request *request);

/* In place of a status: answered 503, since http_server_close() has found it
 * unanswered.  The handler has seen it, and may have done what was asked. */
enum { HTTP_CLOSING = 0 };

/* Called for what is refused before the handler sees it: status is 413 (body
 * too large), 405, 431 or 400, or 503 above bodies_max; and with HTTP_CLOSING.
 * Fills body and its content type (static). */
typedef void (*http_refusal_fn)(void *arg, int status, struct buf *body,
                                const char **content_type);

/*
 * http_server_open - listen
 *
 * ERR_IO      the address cannot be bound; errno is the reason, see
 *             http_listen_reason()
 * ERR_MEMORY
 */
MUST_CHECK enum err http_server_open(uv_loop_t *loop,
                                     const struct http_server_options *options,
                                     http_handler_fn on_request,
                                     http_refusal_fn on_refusal, void *arg,
                                     struct http_server **server);

/* The port that is listened on (0 for a Unix socket). */
int http_server_port(const struct http_server *server);

void http_server_look(const struct http_server *server,
                      struct http_server_view *view);

/* Stop accepting; running requests may still be answered. */
void http_server_quiesce(struct http_server *server);

/* Requests handed to the handler and not yet answered. */
unsigned http_server_pending(const struct http_server *server);

/*
 * Close all.  Requests not yet answered are answered 503 here; their
 * http_request pointers are dead afterwards.  on_closed is called from the
 * loop when every handle is closed; the server is freed then.
 */
void http_server_close(struct http_server *server, void (*on_closed)(void *),
                       void *arg);

/* What the client sent.  All borrowed until http_reply(). */
const char *http_method(const struct http_request *r);
const char *http_path(const struct http_request *r); /* percent-decoded */
/* The first line of this name; NULL if absent. */
const char *http_header(const struct http_request *r, const char *name);
/* The values of all its lines as one list, ", " between them, at the end of out
 * (RFC 9110, 5.3); false: there is none. */
bool http_header_all(const struct http_request *r, const char *name,
                     struct buf *out);
/* Was its head shown to on_head, which has left it to the handler? */
bool http_head_was_seen(const struct http_request *r);
/* First value of a query parameter, decoded; NULL if absent. */
const char *http_query(const struct http_request *r, const char *name);
/* Visit every query parameter in order; value "" if it has none. */
void http_query_each(const struct http_request *r,
                     void (*visit)(void *arg, const char *name,
                                   const char *value),
                     void *arg);
const char *http_body(const struct http_request *r, size_t *len);
/* True for a request that came over a Unix socket. */
bool http_is_local(const struct http_request *r);
/* Of such a one: the user who opened it, as the system says; -1: not told. */
long http_peer_uid(const struct http_request *r);

/* Whose connection it is; not known for a Unix socket.  Behind a proxy that is
 * the proxy. */
const struct http_address *http_peer_of(const struct http_request *r);
/* True for a request that came by TLS of this server. */
bool http_is_tls(const struct http_request *r);

struct http_header_line {
    const char *name, *value; /* copied */
};

/*
 * Answer and end the request; the pointer is dead afterwards.  body is
 * copied (NULL for none); header lines are copied.  The client's X-Request-Id
 * is added here, as it is to the answers of the server's own.  Callable from
 * the loop thread only, from inside the handler or later.
 */
void http_reply(struct http_request *r, int status,
                const struct http_header_line *lines, size_t line_count,
                const char *content_type, const char *body, size_t len);

#endif

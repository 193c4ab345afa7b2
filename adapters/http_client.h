/*
 * http_client - HTTP requests on the event loop, by libcurl's multi interface
 *
 * Redirects are never followed; a reply body has a ceiling; every call has a
 * time limit.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_CLIENT_H
#define HEADGATE_ADAPTERS_HTTP_CLIENT_H

#include "adapters/buf.h"

#include <stdint.h>
#include <uv.h>

struct http_client;
struct http_call;

struct http_answer {
    enum err err;     /* ERR_OK: a whole HTTP answer came, see status.
                         ERR_TIMEOUT, ERR_LIMIT (body over the ceiling),
                         ERR_IO (connection, DNS, TLS, reset) */
    long status;      /* 0 unless ERR_OK */
    const char *body; /* borrowed for the call-back; NUL-terminated */
    size_t body_len;
    const char *etag, *location, *retry_after; /* NULL if not sent */
    const void *source; /* for http_answer_header; NULL: no headers */
    const char *reason; /* of ERR_IO: what the library says, "SSL peer
                           certificate ... was not OK"; static; NULL */
};

/* A header of an answer, any capitals; NULL if it was not sent.  Borrowed for
 * the call-back. */
const char *http_answer_header(const struct http_answer *answer,
                               const char *name);

typedef void (*http_done_fn)(void *arg, const struct http_answer *answer);

/* A piece of the body of a 2xx answer as it comes, instead of answer.body;
 * false: enough, the call ends with ERR_LIMIT.  Must not start, cancel or
 * close anything. */
typedef bool (*http_piece_fn)(void *arg, const char *piece, size_t len);

struct http_call_options {
    const char *method; /* "GET", "POST", "PUT", "PATCH", "DELETE" */
    const char *url;
    const char *socket_path;    /* NULL, or a Unix socket to go by */
    const char *const *headers; /* "Name: value", NULL-terminated, or
                                          NULL; copied */
    const char *body;           /* copied; NULL for none */
    size_t body_len;
    int timeout_ms;
    size_t answer_max;      /* ceiling of the reply body */
    http_piece_fn on_piece; /* NULL: the body is gathered; called with arg */
};

/* An HTTP-date in any of its three forms (RFC 9110, 5.6.7) as UTC seconds;
 * ERR_FORM. */
MUST_CHECK enum err http_date_s(const char *text, int64_t *at_s);

MUST_CHECK enum err http_client_open(uv_loop_t *loop,
                                     struct http_client **client);

/* Whom to believe by TLS, and who we are.  NULL or "": nothing of it is set. */
struct http_trust {
    const char *ca;          /* PEM: the authorities that count, in place of
                                those of the system */
    const char *certificate; /* PEM: ours, and what leads to its root */
    const char *key;         /* PEM: its private key, without a password */
};

/*
 * http_client_trust - for all calls that are started from now on
 *
 * Copied.  The files are read for each new connection, so that renewed ones
 * count without a restart; one that cannot be used makes a call end with
 * ERR_IO (tls_trust_try says before what is wrong with it).  Without this the
 * authorities of the system count.  TLS 1.2 or newer in any case.
 *
 * ERR_MEMORY  nothing has changed
 */
MUST_CHECK enum err http_client_trust(struct http_client *client,
                                      const struct http_trust *trust);

/*
 * Start a call.  A kept connection that the server closes before it answers is
 * replaced and the request sent once more, by libcurl; a POST with a body is
 * not: it ends with ERR_IO, and whoever asked decides.
 *
 * on_done is called exactly once, later, from the loop, never from inside this
 * function and never after http_call_cancel().
 */
MUST_CHECK enum err http_call_start(struct http_client *client,
                                    const struct http_call_options *options,
                                    http_done_fn on_done, void *arg,
                                    struct http_call **call);

/* Abandon a call that has not called back. */
void http_call_cancel(struct http_call *call);

/* Cancels all calls; on_closed runs from the loop when the handles are closed
 * and the client is freed. */
void http_client_close(struct http_client *client, void (*on_closed)(void *),
                       void *arg);

#endif

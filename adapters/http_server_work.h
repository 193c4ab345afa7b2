/*
 * http_server_work - what the parts of the HTTP server share
 *
 *     http_server.c      opening, closing, running the library
 *     http_connection.c  connections, who may have one, limits of time
 *     http_request.c     requests as they come in, and what the client sent
 *     http_answer.c      answers and refusals
 *
 * A connection goes through the phases drawn in http_phase.h.  A request is
 * gathered in http_on_access(), handed to the owner when it is whole, and its
 * connection suspended in the library until http_reply() resumes it.
 *
 * The library has one epoll descriptor, which the loop polls.  It is run when
 * that is readable, and from a prepare handle after a reply, so that a reply
 * made in a timer or an async callback leaves before the loop sleeps.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_SERVER_WORK_H
#define HEADGATE_ADAPTERS_HTTP_SERVER_WORK_H

#include "adapters/http_linger.h"
#include "adapters/http_listen.h"
#include "adapters/http_phase.h"
#include "adapters/http_server.h"
#include "adapters/http_target.h"
#include "adapters/http_tls.h"

#include <microhttpd.h>

enum { HTTP_LINGER_MS = 2000 };

struct http_connection {
    struct http_server *server;
    struct http_connection *prev, *next;
    struct http_request *request; /* NULL while IDLE */
    struct http_peer peer;
    struct http_address address;
    bool refused;
};

enum http_stage { HTTP_HEAD, HTTP_BODY, HTTP_WAITING, HTTP_ANSWERED };

struct http_request {
    struct http_connection *connection;
    struct MHD_Connection *mhd;
    struct http_target target;
    enum err target_err;
    struct buf body;
    size_t counted;     /* of it, in the server's bodies */
    const char *method; /* borrowed from the library */
    enum http_stage stage;
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
    struct http_connection *connections;
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

/* ---- http_server.c ---- */

/* Let the library do what there is to do. */
void http_run(struct http_server *s);
/* The same before the loop sleeps; also from inside the library. */
void http_run_soon(struct http_server *s);

/* ---- http_connection.c ---- */

void http_enter(struct http_connection *c, enum http_phase phase);

/* With every place taken, no connection is kept for a next request while
 * others wait to be accepted. */
bool http_server_is_full(const struct http_server *s);

void http_start_tick(struct http_server *s);

/* Callbacks of the library: a connection has begun or ended; may it begin? */
void http_on_connection(void *arg, struct MHD_Connection *mhd, void **context,
                        enum MHD_ConnectionNotificationCode what);
enum MHD_Result http_on_accept(void *arg, const struct sockaddr *from,
                               socklen_t len);
/* Those of http_tls. */
bool http_admits(void *arg, const struct sockaddr *from);
bool http_on_stream(void *arg, int fd, const struct sockaddr *peer,
                    socklen_t len, struct http_flow *flow);

/* ---- http_request.c ---- */

/* Callbacks of the library: the first line has come; the head, a piece of the
 * body, its end; it is over. */
void *http_on_target(void *arg, const char *raw, struct MHD_Connection *mhd);
enum MHD_Result http_on_access(void *arg, struct MHD_Connection *mhd,
                               const char *url, const char *method,
                               const char *version, const char *data,
                               size_t *len, void **context);
void http_on_completed(void *arg, struct MHD_Connection *mhd, void **context,
                       enum MHD_RequestTerminationCode why);

/* Of each body what is beyond a small one counts. */
void http_count_body(struct http_request *r);
void http_forget_body(struct http_request *r);

/* ---- http_answer.c ---- */

/* Refuse before the body is read; the library then closes the connection. */
enum MHD_Result http_refuse_early(struct http_request *r, int status);
/* Refuse a body that has grown too large, or for which there is no room. */
enum MHD_Result http_refuse_midway(struct http_request *r, int status);
/* One that waits for its answer while the server closes. */
void http_answer_closing(struct http_request *r);

#endif

/*
 * http_tls_work - what the parts of TLS before the HTTP server share
 *
 *     http_tls.c     listening, accepting, closing
 *     http_bridge.c  one connection, by its states
 *
 *     GREETING --> OPEN --> ENDING --> CLOSED
 *         |          |                   ^
 *         +----------+-------------------+
 *
 * In ENDING our end is said, and what the peer still sends is thrown away:
 * closing at once would send a reset, which may overtake the answer.  Who has
 * failed at the greeting gets the alert and is closed without that: a place
 * must not be had for nothing.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_TLS_WORK_H
#define HEADGATE_ADAPTERS_HTTP_TLS_WORK_H

#include "adapters/http_tls.h"

enum {
    PIECE_BYTES = 16 * 1024, /* as much as a record of TLS holds */
    OUT_MAX = 256 * 1024
};

enum state { GREETING, OPEN, ENDING, CLOSED };

struct bridge {
    struct http_tls *owner;
    struct bridge *next, **link;
    uv_tcp_t net;
    uv_pipe_t inner;
    uv_timer_t timer;
    uv_write_t to_net, to_inner;
    uv_shutdown_t end;
    unsigned handles; /* not yet closed */
    enum state state;
    struct tls_stream *tls;
    struct http_flow *flow;
    struct sockaddr_storage peer;
    int peer_len;
    bool admitted;                 /* counts for its address until freed */
    bool unproved;                 /* the greeting has failed */
    bool net_reads, inner_reads;   /* uv_read_start is in force */
    bool net_writes, inner_writes; /* under way */
    bool net_ended;                /* the peer has ended its side */
    bool inner_told;               /* and the HTTP server knows */
    bool inner_ended;              /* the HTTP server has ended its half */
    struct buf out;                /* being written to the network */
    char network[PIECE_BYTES], plain[PIECE_BYTES], answer[PIECE_BYTES];
};

struct http_tls {
    struct http_tls_options options;
    uv_tcp_t listener;
    bool listens; /* its handle is not closed yet */
    bool waiting; /* somebody is to be accepted when there is a place */
    bool quiet, closing;
    struct bridge *bridges;
    struct http_tls_view view;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/* One that waits to be accepted; NULL: no memory.  In its owner's list. */
struct bridge *http_bridge_new(struct http_tls *owner);
/* It is accepted, and may stay: begin with the greeting. */
void http_bridge_start(struct bridge *b);
/* Within so long something has to happen, or it is closed. */
void http_bridge_limit(struct bridge *b, int ms);
/* Now, whatever its state; it is freed later. */
void http_bridge_close(struct bridge *b);

/* One has gone: there is a place, or it was the last. */
void http_tls_bridge_gone(struct http_tls *tls);

#endif

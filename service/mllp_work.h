/*
 * mllp_work - what the parts of the MLLP listener share; not for others
 *
 *     mllp_server.c      listening, accepting, closing
 *     mllp_accept.c      who may connect
 *     mllp_connection.c  one connection, by its states
 *     mllp_reply.c       the answer to a message
 */
#ifndef HEADGATE_SERVICE_MLLP_WORK_H
#define HEADGATE_SERVICE_MLLP_WORK_H

#include "adapters/mllp.h"
#include "service/mllp_server.h"

enum { MLLP_READ_SIZE = 16 * 1024 };

enum mllp_state {
    MLLP_OPENING,   /* TLS is being agreed upon */
    MLLP_READING,   /* the next message is awaited */
    MLLP_WORKING,   /* one is with the handler: call is set */
    MLLP_ANSWERING, /* write is under way */
    MLLP_CLOSING    /* handles are being closed */
};

struct mllp_connection {
    struct mllp_server *server;
    struct mllp_connection *next, **link; /* in server->connections */
    uv_tcp_t tcp;
    uv_timer_t timer;
    uv_write_t write;
    int handles; /* that are open: tcp, timer */
    enum mllp_state state;
    struct tls_stream *tls; /* NULL: plain */
    struct mllp mllp;
    struct mllp_counts told; /* of mllp.counts: those that server->view has */
    struct mllp_call *call;
    uint64_t began_ns;            /* by log_now_ns(); 0: it was not let in */
    char network[MLLP_READ_SIZE]; /* as read */
    char plain[MLLP_READ_SIZE];   /* of TLS */
    const char *at;               /* what is not used up yet, in one of them */
    size_t left;
    bool reading;         /* uv_read_start is in force */
    bool writing;         /* write is under way */
    bool ended;           /* the other side has ended its side */
    bool last;            /* close when the answer is sent */
    uint64_t deadline_ms; /* by uv_now; 0 none */
    bool for_message;     /* the deadline is that of a message, not of idling */
    uint64_t settle_ms;   /* when a last CR is forgiven; 0: not awaited */
    struct buf out;       /* what is being sent */
    struct buf greeting;  /* of TLS, to be sent */
};

struct mllp_call {
    struct mllp_server *server;
    struct mllp_connection *connection; /* NULL: it has gone */
};

struct mllp_server {
    uv_loop_t *loop;
    struct mllp_server_options options;
    mllp_message_fn on_message;
    void *arg;
    uv_tcp_t listener;
    int port;
    struct tls_context *tls; /* NULL: plain */
    struct mllp_connection *connections;
    struct mllp_view view;
    unsigned calls; /* that are not answered */
    bool quiet;     /* see quiesce */
    bool closing;   /* close was called */
    bool listens;   /* the handle of the listener is not closed yet */
    bool closed;    /* on_closed was called */
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/* Accept what waits; freed by itself.  ERR_MEMORY, ERR_IO. */
MUST_CHECK enum err mllp_connection_open(struct mllp_server *server);
/* Now, whatever its state. */
void mllp_connection_close(struct mllp_connection *c);
/* Close it if nothing of it is being dealt with. */
void mllp_connection_quiesce(struct mllp_connection *c);

/* Within so long (0: whenever) something has to happen: a message is to be
 * whole, or taken; or else one is to begin. */
void mllp_wait(struct mllp_connection *c, int ms, bool for_message);
/* Go on with what was read, then with what is to be read. */
void mllp_pump(struct mllp_connection *c);

/* Something of it has ended: is that all? */
void mllp_server_settle(struct mllp_server *server);

#endif

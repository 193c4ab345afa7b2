/*
 * http_phase - where a server's connection stands, and how long it may stay
 *
 *     IDLE --first byte--> RECEIVING --last byte--> ASKED --reply--> SENDING
 *       ^                      |                                        |
 *       |                      +---refused (413, 400, ...)------------->|
 *       +------------------------all sent-------------------------------+
 *
 * ASKED waits for the owner's answer and has no limit here.  Every other
 * phase has an absolute one, counted from its beginning: a limit that counts
 * from the last byte lets a peer that drips bytes stay for ever.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_PHASE_H
#define HEADGATE_ADAPTERS_HTTP_PHASE_H

#include <stdbool.h>
#include <stdint.h>

enum http_phase {
    HTTP_IDLE,
    HTTP_RECEIVING,
    HTTP_ASKED,
    HTTP_SENDING,
    HTTP_CUT /* shut down here; its owner will see the end and close */
};

struct http_limits {
    int request_ms; /* from first to last byte of a request */
    int idle_ms;    /* without a request */
    bool local;     /* Unix sockets: the first byte cannot be seen, so IDLE
                       may last for both limits together */
};

/* Plain bytes that came from a peer whose socket does not count them: it
 * stands behind TLS.  Shared by who counts and who looks. */
struct http_flow {
    uint64_t bytes;
    unsigned holders; /* freed when the last has let it go */
};

struct http_peer {
    int fd;                 /* borrowed */
    struct http_flow *flow; /* held; NULL: the socket counts */
    enum http_phase phase;
    uint64_t since_ms;     /* time at which the phase began */
    uint64_t bytes_before; /* received when IDLE began; 0 if local */
};

/* A connection that has just been accepted: IDLE.  flow NULL: see above; it is
 * held from now on. */
void http_peer_init(struct http_peer *p, int fd, struct http_flow *flow,
                    uint64_t now_ms);
/* The connection has ended. */
void http_peer_end(struct http_peer *p);

/* One with one holder; NULL: no memory. */
struct http_flow *http_flow_new(void);
/* Has the other holder let it go? */
bool http_flow_is_last(const struct http_flow *flow);
/* NULL: nothing. */
void http_flow_drop(struct http_flow *flow);

void http_peer_enter(struct http_peer *p, const struct http_limits *limits,
                     enum http_phase phase, uint64_t now_ms);

/*
 * See whether an idle peer has begun a request, and shut its socket down if
 * the limit of its phase is over, or if nothing more can come from it.  To be
 * called every http_limits_tick_ms().
 */
void http_peer_check(struct http_peer *p, const struct http_limits *limits,
                     uint64_t now_ms);

/* How often to check so that a limit is kept within about a sixteenth. */
int http_limits_tick_ms(const struct http_limits *limits);

#endif

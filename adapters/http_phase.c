#include "adapters/http_phase.h"

#include <linux/tcp.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <sys/socket.h>

enum { TICK_MIN_MS = 5, TICK_MAX_MS = 500 };

/* Bytes that the peer has sent so far. */
static uint64_t bytes_received(const struct http_peer *p,
                               const struct http_limits *limits)
{
    struct tcp_info info = { 0 };
    socklen_t len = sizeof(info);

    if (p->flow != NULL)
        return p->flow->bytes;
    if (limits->local ||
        getsockopt(p->fd, IPPROTO_TCP, TCP_INFO, &info, &len) != 0)
        return 0;
    return info.tcpi_bytes_received;
}

struct http_flow *http_flow_new(void)
{
    struct http_flow *flow = calloc(1, sizeof(*flow));

    if (flow != NULL)
        flow->holders = 1;
    return flow;
}

bool http_flow_is_last(const struct http_flow *flow)
{
    return flow->holders == 1;
}

void http_flow_drop(struct http_flow *flow)
{
    if (flow != NULL && --flow->holders == 0)
        free(flow);
}

void http_peer_init(struct http_peer *p, int fd, struct http_flow *flow,
                    uint64_t now_ms)
{
    /* Nothing has been read yet, though bytes may wait in the socket. */
    *p = (struct http_peer){
        .fd = fd, .flow = flow, .phase = HTTP_IDLE, .since_ms = now_ms
    };
    if (flow != NULL)
        flow->holders++;
}

void http_peer_end(struct http_peer *p)
{
    http_flow_drop(p->flow);
    p->flow = NULL;
}

void http_peer_enter(struct http_peer *p, const struct http_limits *limits,
                     enum http_phase phase, uint64_t now_ms)
{
    p->phase = phase;
    p->since_ms = now_ms;
    if (phase == HTTP_IDLE)
        p->bytes_before = bytes_received(p, limits);
}

/* Most time that a peer may spend in its phase; 0 for no limit. */
static int limit_ms(const struct http_peer *p, const struct http_limits *limits)
{
    switch (p->phase) {
    case HTTP_IDLE:
        return limits->idle_ms + (limits->local ? limits->request_ms : 0);
    case HTTP_RECEIVING:
        return limits->request_ms;
    case HTTP_SENDING:
        return limits->idle_ms + limits->request_ms;
    case HTTP_ASKED:
    case HTTP_CUT:
        break;
    }
    return 0;
}

/*
 * Has the peer ended its side, and everything that it sent been read?  Where
 * the end comes together with the last bytes, the library is woken once for
 * both, and may not look again.
 */
static bool has_left(const struct http_peer *p)
{
    char byte;

    return (p->phase == HTTP_IDLE || p->phase == HTTP_RECEIVING) &&
           recv(p->fd, &byte, 1, MSG_PEEK | MSG_DONTWAIT) == 0;
}

void http_peer_check(struct http_peer *p, const struct http_limits *limits,
                     uint64_t now_ms)
{
    int limit;

    /* The library tells of a request when its first line is whole; this is
     * how a first line that drips is noticed. */
    if (p->phase == HTTP_IDLE && bytes_received(p, limits) > p->bytes_before)
        http_peer_enter(p, limits, HTTP_RECEIVING, now_ms);
    limit = limit_ms(p, limits);
    if (has_left(p) || (limit > 0 && now_ms - p->since_ms >= (uint64_t)limit)) {
        http_peer_enter(p, limits, HTTP_CUT, now_ms);
        shutdown(p->fd, SHUT_RDWR);
    }
}

int http_limits_tick_ms(const struct http_limits *limits)
{
    int least = limits->request_ms < limits->idle_ms ? limits->request_ms
                                                     : limits->idle_ms;
    int tick_ms = least / 16;

    if (tick_ms < TICK_MIN_MS)
        return TICK_MIN_MS;
    return tick_ms < TICK_MAX_MS ? tick_ms : TICK_MAX_MS;
}

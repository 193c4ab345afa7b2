/*
 * http_linger - let a refused peer read its answer
 *
 * Closing a TCP connection while bytes of the peer are unread sends a reset,
 * and the reset can overtake the answer: the peer sees a broken connection
 * in place of 413.  So the socket is shut for writing, and what the peer
 * still sends is thrown away until it closes or the wait is over.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_LINGER_H
#define HEADGATE_ADAPTERS_HTTP_LINGER_H

#include <stdint.h>
#include <uv.h>

struct http_linger;

struct http_linger_set {
    uv_loop_t *loop; /* borrowed */
    unsigned most;   /* more are closed at once */
    unsigned count;
    struct http_linger *head;  /* NULL if none */
    void (*on_end)(void *arg); /* after one has ended and is freed */
    void *arg;
};

/*
 * Take over the socket fd and close it when the peer has closed, or at
 * until_ms (time of the loop), whichever is first.
 */
void http_linger_add(struct http_linger_set *set, int fd, uint64_t until_ms);

/* End all whose time is over; UINT64_MAX ends every one. */
void http_linger_expire(struct http_linger_set *set, uint64_t now_ms);

#endif

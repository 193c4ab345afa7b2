/*
 * http_head - may a request with these headers be served?
 *
 * A request whose end can be read in two ways lets a peer smuggle a second
 * one past whatever stands before this server, so doubt is refused.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_HEAD_H
#define HEADGATE_ADAPTERS_HTTP_HEAD_H

#include <stdbool.h>
#include <stddef.h>

/* A client's own number for its request, which every answer gives back. */
#define HTTP_REQUEST_ID "X-Request-Id"

enum { HTTP_HEAD_MAX_BYTES = 16384 }; /* request line and headers */

/* For the Allow header of a 405. */
#define HTTP_METHODS "GET, HEAD, POST, PUT, PATCH, DELETE, OPTIONS"

struct http_head { /* all zero, then http_head_note() for each header */
    unsigned hosts, lengths, encodings;
    const char *length, *encoding; /* borrowed */
    bool malformed;
};

void http_head_note(struct http_head *h, const char *name, const char *value);

/*
 * http_head_refusal - 0, or the status that refuses the request
 *
 *     431  larger than HTTP_HEAD_MAX_BYTES
 *     400  no Host or several, two lengths, a coding other than "chunked", a
 *          blank in a header name
 *     405  a method not in HTTP_METHODS
 *     413  Content-Length over body_max
 *
 * version is "HTTP/1.0" or later; head_bytes the size of line and headers.
 *
 * Source: RFC 9112 sections 3.2, 5.1 and 6.3.
 */
int http_head_refusal(const struct http_head *h, const char *method,
                      const char *version, size_t head_bytes, size_t body_max);

/* Is this a request number that may be given back: 1 to 128 visible ASCII
 * characters?  value NULL: it is not. */
bool http_head_is_request_id(const char *value);

#endif

/*
 * request_line - the line of the log for an answer over HTTP, at debug
 *
 *     event=http.answer method=GET route=/fhir/TYPE/ID type=Task status=200
 *     bytes=4711 local=0 ms=3
 *
 * Route and type are words of the program: nothing of a path that came in, no
 * id, no parameter, and a path that is not known here is "other".
 */
#ifndef HEADGATE_SERVICE_REQUEST_LINE_H
#define HEADGATE_SERVICE_REQUEST_LINE_H

#include "adapters/http_server.h"

struct request_route {
    const char *pattern; /* static: "/fhir/TYPE/ID", "/queue", "other" */
    const char *type;    /* static: of FHIR; "" none */
};

/* path: percent-decoded, without its query. */
void request_route_of(const char *path, struct request_route *out);

/* The name of a type that is served here, if the text begins with one of len
 * bytes; "" none. */
const char *request_type(const char *text, size_t len);

/*
 * Before http_reply().
 *
 * bytes     of the body of the answer
 * began_ns  by log_now_ns(), when the request was whole; 0: it is answered at
 *           once
 */
void request_line(const struct http_request *r, int status, size_t bytes,
                  uint64_t began_ns);

/* http_reply() with its line, for what is answered at once. */
void request_reply(struct http_request *r, int status,
                   const struct http_header_line *lines, size_t line_count,
                   const char *content_type, const char *body, size_t len);

#endif

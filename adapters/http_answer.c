/* Answers, of the owner and of the server itself. */
#include "adapters/http_server_work.h"

#include "adapters/http_head.h"

#include <sys/socket.h>

enum { REFUSAL_MAX_BYTES = 65536 };

#define RETRY_AFTER_S "5"

/* ---- Answers ---- */

/* The number that the client gave its request; NULL if there is none. */
static const char *request_id(const struct http_request *r)
{
    const char *id = http_header(r, HTTP_REQUEST_ID);

    return http_head_is_request_id(id) ? id : NULL;
}

static struct MHD_Response *new_response(const struct http_request *r,
                                         const char *content_type,
                                         const char *body, size_t len)
{
    const struct http_server *s = r->connection->server;
    const char *id = request_id(r);
    struct MHD_Response *response;

    /* The library does not write to a body that it copies. */
    response = MHD_create_response_from_buffer(
        body != NULL ? len : 0,
        (void *)(uintptr_t)body, /* NOLINT(performance-no-int-to-ptr) */
        MHD_RESPMEM_MUST_COPY);
    if (response == NULL)
        return NULL;
    if ((content_type != NULL &&
         MHD_add_response_header(response, "Content-Type", content_type) !=
             MHD_YES) ||
        (id != NULL &&
         MHD_add_response_header(response, HTTP_REQUEST_ID, id) != MHD_YES) ||
        ((s->quiet || http_server_is_full(s)) &&
         MHD_add_response_header(response, "Connection", "close") != MHD_YES)) {
        MHD_destroy_response(response);
        return NULL;
    }
    return response;
}

/*
 * End the wait for an answer.  Without a response (no memory, or one that
 * cannot be sent) the library is left to ask again, and http_on_access() then
 * breaks the connection off: the peer must not wait for ever.
 */
static void answer(struct http_request *r, int status,
                   struct MHD_Response *response)
{
    struct http_server *s = r->connection->server;

    s->pending--;
    r->stage = HTTP_ANSWERED;
    http_enter(r->connection, HTTP_SENDING);
    r->failed = response == NULL || MHD_queue_response(r->mhd, (unsigned)status,
                                                       response) != MHD_YES;
    if (response != NULL)
        MHD_destroy_response(response);
    http_forget_body(r);
    if (r->suspended) {
        r->suspended = false;
        MHD_resume_connection(r->mhd);
        http_run_soon(s);
    }
}

void http_reply(struct http_request *r, int status,
                const struct http_header_line *lines, size_t line_count,
                const char *content_type, const char *body, size_t len)
{
    struct MHD_Response *response;
    size_t i;

    response = new_response(r, content_type, body, len);
    for (i = 0; response != NULL && i < line_count; i++) {
        if (MHD_add_response_header(response, lines[i].name, lines[i].value) ==
            MHD_YES)
            continue;
        MHD_destroy_response(response);
        response = NULL;
    }
    answer(r, status, response);
}

/* The body for an answer of the server's own, as the owner words it. */
static void own_body(struct http_server *s, int status, struct buf *body,
                     const char **content_type)
{
    buf_init(body, REFUSAL_MAX_BYTES);
    *content_type = NULL;
    if (s->on_refusal != NULL)
        s->on_refusal(s->arg, status, body, content_type);
    if (buf_ok(body) != ERR_OK)
        buf_empty(body);
}

void http_answer_closing(struct http_request *r)
{
    struct http_server *s = r->connection->server;
    const char *content_type;
    struct buf body;

    own_body(s, HTTP_CLOSING, &body, &content_type);
    answer(r, 503, new_response(r, content_type, body.data, body.len));
    buf_clear(&body);
}

/* ---- Refusals ---- */

/* What else such an answer needs: RFC 9110, 10.2.1 and 10.2.3. */
static bool add_line(struct MHD_Response *response, int status)
{
    if (status == 405)
        return MHD_add_response_header(response, "Allow", HTTP_METHODS) ==
               MHD_YES;
    return status != 503 || MHD_add_response_header(response, "Retry-After",
                                                    RETRY_AFTER_S) == MHD_YES;
}

enum MHD_Result http_refuse_early(struct http_request *r, int status)
{
    struct http_server *s = r->connection->server;
    struct MHD_Response *response;
    enum MHD_Result result = MHD_NO;
    const char *content_type;
    struct buf body;

    own_body(s, status, &body, &content_type);
    response = new_response(r, content_type, body.data, body.len);
    buf_clear(&body);
    r->stage = HTTP_ANSWERED;
    r->connection->refused = true;
    http_enter(r->connection, HTTP_SENDING);
    if (response == NULL)
        return MHD_NO;
    if (add_line(response, status))
        result = MHD_queue_response(r->mhd, (unsigned)status, response);
    MHD_destroy_response(response);
    return result;
}

/*
 * Refuse a body that has grown too large, or for which there is no room any
 * more.  The library answers only before a body or after it, and this one may
 * never end; nothing else is being sent on the connection, so the answer is
 * written past the library, which is then told to close.
 */
enum MHD_Result http_refuse_midway(struct http_request *r, int status)
{
    const char *content_type;
    struct buf body, text;

    own_body(r->connection->server, status, &body, &content_type);
    buf_init(&text, REFUSAL_MAX_BYTES + 1024);
    buf_printf(&text, "HTTP/1.1 %d %s\r\nConnection: close\r\n", status,
               status == 413 ? "Content Too Large" : "Service Unavailable");
    if (status == 503)
        buf_puts(&text, "Retry-After: " RETRY_AFTER_S "\r\n");
    if (content_type != NULL)
        buf_printf(&text, "Content-Type: %s\r\n", content_type);
    if (request_id(r) != NULL)
        buf_printf(&text, HTTP_REQUEST_ID ": %s\r\n", request_id(r));
    buf_printf(&text, "Content-Length: %zu\r\n\r\n", body.len);
    buf_add(&text, body.data, body.len);
    if (buf_ok(&text) == ERR_OK)
        (void)send(r->connection->peer.fd, text.data, text.len,
                   MSG_DONTWAIT | MSG_NOSIGNAL);
    buf_clear(&text);
    buf_clear(&body);
    r->connection->refused = true;
    return MHD_NO;
}

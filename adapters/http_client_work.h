/*
 * http_client_work - what the parts of the HTTP client share
 *
 *     http_client.c          the client and its calls from start to end; the
 *                            sockets and the timer of libcurl on the loop
 *     http_client_request.c  what libcurl is told of a call: headers, body,
 *                            limits, whom to believe
 *     http_client_answer.c   what came back: the body and its ceiling, headers
 *
 * libcurl tells which sockets to watch and when to wake; the loop does both
 * and calls curl_multi_socket_action().  Finished calls are collected after
 * each such call, so a call-back never runs inside libcurl and may start,
 * cancel or close what it likes.
 *
 *     http_call_start --> curl_multi_add_handle --> on_timer_change
 *                                                        |
 *     on_done <-- collect <-- act <-- on_timer, on_socket_event
 */
#ifndef HEADGATE_ADAPTERS_HTTP_CLIENT_WORK_H
#define HEADGATE_ADAPTERS_HTTP_CLIENT_WORK_H

#include "adapters/http_client.h"

#include <curl/curl.h>

struct http_call {
    struct http_client *client;
    struct http_call *prev, *next;
    CURL *easy;
    struct curl_slist *headers;
    struct buf body; /* of the answer */
    char *sent;      /* body of a POST, given piece by piece */
    size_t sent_len, sent_at;
    http_done_fn on_done;
    http_piece_fn on_piece; /* NULL: the body is gathered */
    size_t piece_bytes, piece_max;
    bool stopped; /* by on_piece, or by the ceiling */
    void *arg;
};

struct watch; /* a socket that libcurl wants watched */

struct http_client {
    uv_loop_t *loop;
    CURLM *multi; /* NULL once closing */
    uv_timer_t timer;
    struct http_call *calls;
    struct watch *watches;
    unsigned handles;             /* not yet closed */
    char *ca, *certificate, *key; /* see http_trust; NULL */
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/* ---- http_client_request.c ---- */

/* Copies the header lines; ERR_FORM: one of them is not one line. */
enum err http_call_add_headers(struct http_call *call,
                               const struct http_call_options *o);

/* All the rest that libcurl has to know before the call is started. */
CURLcode http_call_set(struct http_call *call,
                       const struct http_call_options *o);

void http_client_forget_trust(struct http_client *client);

/* ---- http_client_answer.c ---- */

/* Call-back of libcurl: a piece of the body; less than was given: give up. */
size_t http_call_on_body(char *data, size_t size, size_t count, void *arg);

/* Borrowed from the call. */
struct http_answer http_call_answer(const struct http_call *call,
                                    CURLcode result);

#endif

/*
 * libcurl tells which sockets to watch and when to wake; the loop does both
 * and calls curl_multi_socket_action().  Finished calls are collected after
 * each such call, so a call-back never runs inside libcurl and may start,
 * cancel or close what it likes.
 *
 *     http_call_start --> curl_multi_add_handle --> on_timer_change
 *                                                        |
 *     on_done <-- collect <-- act <-- on_timer, on_socket_event
 */
#include "adapters/http_client.h"

#include <curl/curl.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

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

/* A socket that libcurl wants watched. */
struct watch {
    struct http_client *client;
    struct watch *prev, *next;
    uv_poll_t poll;
    curl_socket_t fd;
};

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

/* ---- Ends of calls ---- */

static void free_call(struct http_call *call)
{
    curl_easy_cleanup(call->easy);
    curl_slist_free_all(call->headers);
    buf_clear(&call->body);
    free(call->sent);
    free(call);
}

/* Take the call out of libcurl's hands and off the list. */
static void detach(struct http_call *call)
{
    curl_multi_remove_handle(call->client->multi, call->easy);
    if (call->next != NULL)
        call->next->prev = call->prev;
    if (call->prev != NULL)
        call->prev->next = call->next;
    else
        call->client->calls = call->next;
}

static enum err result_err(const struct http_call *call, CURLcode result)
{
    if (buf_ok(&call->body) != ERR_OK)
        return buf_ok(&call->body);
    if (call->stopped)
        return ERR_LIMIT;
    switch ((int)result) {
    case CURLE_OK:
        return ERR_OK;
    case CURLE_OPERATION_TIMEDOUT:
        return ERR_TIMEOUT;
    case CURLE_FILESIZE_EXCEEDED:
        return ERR_LIMIT;
    case CURLE_OUT_OF_MEMORY:
        return ERR_MEMORY;
    default:
        return ERR_IO;
    }
}

/* A header of the final answer; NULL if it was not sent. */
static const char *answer_header(CURL *easy, const char *name)
{
    struct curl_header *header;

    if (curl_easy_header(easy, name, 0, CURLH_HEADER, -1, &header) != CURLHE_OK)
        return NULL;
    return header->value;
}

const char *http_answer_header(const struct http_answer *answer,
                               const char *name)
{
    const struct http_call *call = answer->source;

    return call != NULL ? answer_header(call->easy, name) : NULL;
}

static void finish(struct http_call *call, CURLcode result)
{
    struct http_answer answer = { .err = result_err(call, result), .body = "" };

    if (answer.err == ERR_OK) {
        curl_easy_getinfo(call->easy, CURLINFO_RESPONSE_CODE, &answer.status);
        answer.body = call->body.data;
        answer.body_len = call->body.len;
        answer.etag = answer_header(call->easy, "ETag");
        answer.location = answer_header(call->easy, "Location");
        answer.retry_after = answer_header(call->easy, "Retry-After");
        answer.source = call;
    } else if (answer.err == ERR_IO) {
        answer.reason = curl_easy_strerror(result);
    }
    detach(call);
    call->on_done(call->arg, &answer);
    free_call(call);
}

/* Call back for what has finished.  A call-back may close the client. */
static void collect(struct http_client *client)
{
    CURLMsg *message;
    int left;

    while (client->multi != NULL &&
           (message = curl_multi_info_read(client->multi, &left)) != NULL) {
        char *call = NULL;
        CURLcode result = message->data.result;

        if (message->msg != CURLMSG_DONE)
            continue;
        curl_easy_getinfo(message->easy_handle, CURLINFO_PRIVATE, &call);
        finish((struct http_call *)(void *)call, result);
    }
}

static void act(struct http_client *client, curl_socket_t fd, int events)
{
    int running;

    if (client->multi == NULL)
        return;
    curl_multi_socket_action(client->multi, fd, events, &running);
    collect(client);
}

/* ---- The loop's side of libcurl ---- */

static void on_timer(uv_timer_t *timer)
{
    act(timer->data, CURL_SOCKET_TIMEOUT, 0);
}

static int on_timer_change(CURLM *multi, long timeout_ms, void *arg)
{
    struct http_client *client = arg;

    (void)multi;
    if (uv_is_closing((uv_handle_t *)&client->timer))
        return 0;
    if (timeout_ms < 0)
        uv_timer_stop(&client->timer);
    else /* 0 means "at once", but this is inside libcurl: soon is at once */
        uv_timer_start(&client->timer, on_timer,
                       timeout_ms > 0 ? (uint64_t)timeout_ms : 1, 0);
    return 0;
}

static void on_socket_event(uv_poll_t *poll, int status, int events)
{
    struct watch *w = poll->data;
    int flags = 0;

    if (status < 0)
        flags |= CURL_CSELECT_ERR;
    if ((events & UV_READABLE) != 0)
        flags |= CURL_CSELECT_IN;
    if ((events & UV_WRITABLE) != 0)
        flags |= CURL_CSELECT_OUT;
    act(w->client, w->fd, flags);
}

static void handle_closed(struct http_client *client)
{
    void (*on_closed)(void *) = client->on_closed;
    void *arg = client->closed_arg;

    client->handles--;
    if (client->handles > 0)
        return;
    /* The timer is a handle, so this is reached after http_client_close. */
    free(client->ca);
    free(client->certificate);
    free(client->key);
    free(client);
    curl_global_cleanup();
    if (on_closed != NULL)
        on_closed(arg);
}

static void on_watch_closed(uv_handle_t *handle)
{
    struct watch *w = handle->data;
    struct http_client *client = w->client;

    free(w);
    handle_closed(client);
}

static void on_timer_closed(uv_handle_t *handle)
{
    handle_closed(handle->data);
}

static struct watch *start_watch(struct http_client *client, curl_socket_t fd)
{
    struct watch *w = calloc(1, sizeof(*w));

    if (w == NULL || uv_poll_init_socket(client->loop, &w->poll, fd) != 0) {
        free(w);
        return NULL;
    }
    w->client = client;
    w->fd = fd;
    w->poll.data = w;
    w->next = client->watches;
    if (w->next != NULL)
        w->next->prev = w;
    client->watches = w;
    client->handles++;
    return w;
}

static void end_watch(struct watch *w)
{
    if (w->next != NULL)
        w->next->prev = w->prev;
    if (w->prev != NULL)
        w->prev->next = w->next;
    else
        w->client->watches = w->next;
    uv_close((uv_handle_t *)&w->poll, on_watch_closed);
}

static int on_socket_change(CURL *easy, curl_socket_t fd, int what, void *arg,
                            void *socket_arg)
{
    struct http_client *client = arg;
    struct watch *w = socket_arg;
    int events = 0;

    (void)easy;
    if (what == CURL_POLL_REMOVE) {
        if (w != NULL) {
            curl_multi_assign(client->multi, fd, NULL);
            end_watch(w);
        }
        return 0;
    }
    if (w == NULL) {
        w = start_watch(client, fd);
        if (w == NULL)
            return -1; /* libcurl fails the transfers */
        curl_multi_assign(client->multi, fd, w);
    }
    if ((what & CURL_POLL_IN) != 0)
        events |= UV_READABLE;
    if ((what & CURL_POLL_OUT) != 0)
        events |= UV_WRITABLE;
    return uv_poll_start(&w->poll, events, on_socket_event) == 0 ? 0 : -1;
}

static size_t on_body(char *data, size_t size, size_t count, void *arg)
{
    struct http_call *call = arg;
    long status = 0;

    if (call->on_piece != NULL)
        curl_easy_getinfo(call->easy, CURLINFO_RESPONSE_CODE, &status);
    if (status >= 200 && status < 300) {
        call->piece_bytes += size * count;
        call->stopped = call->piece_bytes > call->piece_max ||
                        !call->on_piece(call->arg, data, size * count);
        return call->stopped ? 0 : size * count;
    }
    buf_add(&call->body, data, size * count);
    /* Less than was given makes libcurl give up. */
    return buf_ok(&call->body) == ERR_OK ? size * count : 0;
}

/* ---- Starting calls ---- */

/* Copies the header lines.  libcurl must not call a body a web form because
 * the caller has not said what it is. */
static enum err add_headers(struct http_call *call,
                            const struct http_call_options *o)
{
    bool typed = false;
    struct curl_slist *list;
    size_t i;

    for (i = 0; o->headers != NULL && o->headers[i] != NULL; i++) {
        if (strpbrk(o->headers[i], "\r\n") != NULL)
            return ERR_FORM;
        typed = typed || strncasecmp(o->headers[i], "Content-Type:", 13) == 0;
        list = curl_slist_append(call->headers, o->headers[i]);
        if (list == NULL)
            return ERR_MEMORY;
        call->headers = list;
    }
    if (!typed) {
        list = curl_slist_append(call->headers, "Content-Type:");
        if (list == NULL)
            return ERR_MEMORY;
        call->headers = list;
    }
    return ERR_OK;
}

#define SET(option, value)                                                     \
    (result =                                                                  \
         result != CURLE_OK ? result : curl_easy_setopt(easy, option, value))

/* A body that cannot be begun again: where a kept connection breaks before an
 * answer has come, libcurl would send it a second time by itself, and nobody
 * would know that it may have arrived twice. */
static size_t on_read(char *out, size_t size, size_t count, void *arg)
{
    struct http_call *call = arg;
    size_t left = call->sent_len - call->sent_at;
    size_t n = size * count < left ? size * count : left;

    if (n > 0)
        memcpy(out, call->sent + call->sent_at, n);
    call->sent_at += n;
    return n;
}

static CURLcode set_post(struct http_call *call,
                         const struct http_call_options *o)
{
    CURL *easy = call->easy;
    CURLcode result = CURLE_OK;

    call->sent_len = o->body != NULL ? o->body_len : 0;
    call->sent = malloc(call->sent_len + 1);
    if (call->sent == NULL)
        return CURLE_OUT_OF_MEMORY;
    if (call->sent_len > 0)
        memcpy(call->sent, o->body, call->sent_len);
    SET(CURLOPT_POST, 1L);
    SET(CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)call->sent_len);
    SET(CURLOPT_READFUNCTION, on_read);
    SET(CURLOPT_READDATA, call);
    return result;
}

/* Method, body and where to. */
static CURLcode set_request(struct http_call *call,
                            const struct http_call_options *o)
{
    CURL *easy = call->easy;
    CURLcode result = CURLE_OK;
    bool head = strcmp(o->method, "HEAD") == 0;
    bool post = strcmp(o->method, "POST") == 0;
    bool sends = o->body != NULL || strcmp(o->method, "PUT") == 0 ||
                 strcmp(o->method, "PATCH") == 0;

    if (post) {
        result = set_post(call, o);
    } else if (sends) {
        /* The size first: with it the body is copied as bytes. */
        SET(CURLOPT_POSTFIELDSIZE_LARGE,
            (curl_off_t)(o->body != NULL ? o->body_len : 0));
        SET(CURLOPT_COPYPOSTFIELDS, o->body != NULL ? o->body : "");
    } else {
        SET(CURLOPT_NOBODY, head ? 1L : 0L);
    }
    SET(CURLOPT_URL, o->url);
    if (!head && !post)
        SET(CURLOPT_CUSTOMREQUEST, o->method);
    if (o->socket_path != NULL) {
        SET(CURLOPT_UNIX_SOCKET_PATH, o->socket_path);
        SET(CURLOPT_PROXY, "");
    }
    return result;
}

static CURLcode set_limits(CURL *easy, const struct http_call_options *o)
{
    CURLcode result = CURLE_OK;

    SET(CURLOPT_TIMEOUT_MS, (long)o->timeout_ms);
    SET(CURLOPT_CONNECTTIMEOUT_MS, (long)o->timeout_ms);
    SET(CURLOPT_MAXFILESIZE_LARGE, (curl_off_t)o->answer_max);
    SET(CURLOPT_FOLLOWLOCATION, 0L);
    SET(CURLOPT_PROTOCOLS_STR, "http,https");
    SET(CURLOPT_NOSIGNAL, 1L);
    /* Without it, ending a call whose name look-up hangs would hold up the
     * loop until the look-up ends. */
    SET(CURLOPT_QUICK_EXIT, 1L);
    return result;
}

static CURLcode set_tls(CURL *easy, const struct http_client *client)
{
    CURLcode result = CURLE_OK;

    SET(CURLOPT_SSLVERSION, (long)CURL_SSLVERSION_TLSv1_2);
    SET(CURLOPT_SSL_VERIFYPEER, 1L);
    SET(CURLOPT_SSL_VERIFYHOST, 2L);
    if (client->ca != NULL) {
        SET(CURLOPT_CAINFO, client->ca);
        SET(CURLOPT_CAPATH, NULL);
        SET(CURLOPT_CA_CACHE_TIMEOUT, 0L); /* a new file counts at once */
    }
    if (client->certificate != NULL) {
        SET(CURLOPT_SSLCERT, client->certificate);
        SET(CURLOPT_SSLKEY, client->key);
    }
    return result;
}

static CURLcode set_call(struct http_call *call,
                         const struct http_call_options *o)
{
    CURL *easy = call->easy;
    CURLcode result = set_request(call, o);

    if (result == CURLE_OK)
        result = set_limits(easy, o);
    if (result == CURLE_OK)
        result = set_tls(easy, call->client);
    SET(CURLOPT_HTTPHEADER, call->headers);
    SET(CURLOPT_WRITEFUNCTION, on_body);
    SET(CURLOPT_WRITEDATA, call);
    SET(CURLOPT_PRIVATE, call);
    return result;
}

enum err http_call_start(struct http_client *client,
                         const struct http_call_options *options,
                         http_done_fn on_done, void *arg,
                         struct http_call **call)
{
    struct http_call *c;
    enum err e = ERR_MEMORY;

    if (client->multi == NULL)
        return ERR_STOPPED;
    if (options->timeout_ms <= 0)
        return ERR_RANGE;
    c = calloc(1, sizeof(*c));
    if (c == NULL)
        return ERR_MEMORY;
    c->client = client;
    c->on_done = on_done;
    c->on_piece = options->on_piece;
    c->piece_max = options->answer_max;
    c->arg = arg;
    buf_init(&c->body, options->answer_max);
    c->easy = curl_easy_init();
    if (c->easy == NULL)
        goto free_call;
    e = add_headers(c, options);
    if (e != ERR_OK)
        goto free_call;
    e = ERR_MEMORY;
    if (set_call(c, options) != CURLE_OK ||
        curl_multi_add_handle(client->multi, c->easy) != CURLM_OK)
        goto free_call;
    c->next = client->calls;
    if (c->next != NULL)
        c->next->prev = c;
    client->calls = c;
    *call = c;
    return ERR_OK;
free_call:
    free_call(c);
    return e;
}

void http_call_cancel(struct http_call *call)
{
    detach(call);
    free_call(call);
}

/* ---- Opening and closing ---- */

enum err http_client_open(uv_loop_t *loop, struct http_client **client)
{
    struct http_client *c = calloc(1, sizeof(*c));

    if (c == NULL)
        return ERR_MEMORY;
    if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK)
        goto free_client;
    c->multi = curl_multi_init();
    if (c->multi == NULL)
        goto clean_up;
    c->loop = loop;
    curl_multi_setopt(c->multi, CURLMOPT_SOCKETFUNCTION, on_socket_change);
    curl_multi_setopt(c->multi, CURLMOPT_SOCKETDATA, c);
    curl_multi_setopt(c->multi, CURLMOPT_TIMERFUNCTION, on_timer_change);
    curl_multi_setopt(c->multi, CURLMOPT_TIMERDATA, c);
    uv_timer_init(loop, &c->timer);
    c->timer.data = c;
    c->handles = 1;
    *client = c;
    return ERR_OK;
clean_up:
    curl_global_cleanup();
free_client:
    free(c);
    return ERR_MEMORY;
}

/* A copy; "" and NULL: NULL.  false: no memory. */
static bool copy_path(const char *path, char **out)
{
    *out = NULL;
    if (path == NULL || path[0] == '\0')
        return true;
    *out = strdup(path);
    return *out != NULL;
}

enum err http_client_trust(struct http_client *client,
                           const struct http_trust *trust)
{
    char *made[3] = { NULL };

    if (!copy_path(trust->ca, &made[0]) ||
        !copy_path(trust->certificate, &made[1]) ||
        !copy_path(trust->key, &made[2])) {
        for (size_t i = 0; i < COUNT(made); i++)
            free(made[i]);
        return ERR_MEMORY;
    }
    free(client->ca);
    free(client->certificate);
    free(client->key);
    client->ca = made[0];
    client->certificate = made[1];
    client->key = made[2];
    return ERR_OK;
}

void http_client_close(struct http_client *client, void (*on_closed)(void *),
                       void *arg)
{
    struct http_call *call, *next;

    client->on_closed = on_closed;
    client->closed_arg = arg;
    for (call = client->calls; call != NULL; call = next) {
        next = call->next;
        http_call_cancel(call);
    }
    curl_multi_cleanup(client->multi);
    client->multi = NULL;
    while (client->watches != NULL)
        end_watch(client->watches);
    uv_close((uv_handle_t *)&client->timer, on_timer_closed);
}

enum err http_date_s(const char *text, int64_t *at_s)
{
    time_t at = curl_getdate(text, NULL);

    if (at == (time_t)-1)
        return ERR_FORM;
    *at_s = at;
    return ERR_OK;
}

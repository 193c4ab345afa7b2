#include "adapters/http_client_work.h"

#include <stdlib.h>

/* A socket that libcurl wants watched. */
struct watch {
    struct http_client *client;
    struct watch *prev, *next;
    uv_poll_t poll;
    curl_socket_t fd;
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

static void finish(struct http_call *call, CURLcode result)
{
    struct http_answer answer = http_call_answer(call, result);

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
    http_client_forget_trust(client);
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

/* ---- Starting calls ---- */

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
    e = http_call_add_headers(c, options);
    if (e != ERR_OK)
        goto free_call;
    e = ERR_MEMORY;
    if (http_call_set(c, options) != CURLE_OK ||
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

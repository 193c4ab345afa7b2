/*
 * http_world - a loop with one server and one client, for the HTTP tests
 *
 * Real sockets on this machine only.  Nothing waits longer than GUARD_MS: a
 * test that hangs fails.
 */
#ifndef HEADGATE_TESTS_HTTP_WORLD_H
#define HEADGATE_TESTS_HTTP_WORLD_H

#include "adapters/http_client.h"
#include "adapters/http_server.h"
#include "tests/test.h"

enum { GUARD_MS = 10000, BODY_MAX = 100000, HELD_MAX = 4 };

struct world {
    uv_loop_t loop;
    uv_timer_t guard;
    bool late; /* the guard has gone off */
    struct http_server_options options;
    struct http_server *server;
    struct http_client *client;
    bool server_closed, client_closed, guard_closed;
    struct http_request *held[HELD_MAX]; /* requests to "/hold" */
    unsigned held_count;
    unsigned handled; /* requests that reached the handler */
    unsigned refused; /* bodies asked for by the server */
    char seen[1024];  /* what "/query" was asked */
};

/* What a call came back with. */
struct result {
    unsigned times;
    enum err err;
    long status;
    char body[512];
    size_t body_len;
    char etag[64], location[128], retry_after[64];
};

/* The loop of the world; there is one at a time. */
static uv_loop_t *world_loop;

/*
 * To be called where something happens that a test waits for.  It may happen
 * in a timer, and the loop would then still sleep until the next event.
 */
static inline void wake_test(void)
{
    uv_stop(world_loop);
}

static inline void set_flag(void *arg)
{
    *(bool *)arg = true;
    wake_test();
}

static inline void guard_gone(uv_timer_t *timer)
{
    ((struct world *)timer->data)->late = true;
    wake_test();
}

static inline void guard_closed(uv_handle_t *handle)
{
    ((struct world *)handle->data)->guard_closed = true;
}

/* Run the loop until *flag, which some call-back sets. */
static inline void run_until(struct world *w, const bool *flag)
{
    while (!*flag && !w->late)
        uv_run(&w->loop, UV_RUN_ONCE);
    if (w->late)
        print_error("nothing happened for %d ms\n", GUARD_MS);
    assert_false(w->late);
}

/* ---- What the server under test answers ---- */

struct delay {
    uv_timer_t timer;
    struct http_request *request;
};

static inline void delay_closed(uv_handle_t *handle)
{
    free(handle->data);
}

static inline void delay_over(uv_timer_t *timer)
{
    struct delay *d = timer->data;

    http_reply(d->request, 200, NULL, 0, "text/plain", "later", 5);
    uv_close((uv_handle_t *)timer, delay_closed);
}

static inline void reply_later(struct world *w, struct http_request *r)
{
    struct delay *d = calloc(1, sizeof(*d));

    assert_non_null(d);
    d->request = r;
    d->timer.data = d;
    uv_timer_init(&w->loop, &d->timer);
    uv_timer_start(&d->timer, delay_over, 20, 0);
}

static inline void see_pair(void *arg, const char *name, const char *value)
{
    struct world *w = arg;
    size_t used = strlen(w->seen);

    snprintf(w->seen + used, sizeof(w->seen) - used, "[%s=%s]", name, value);
}

static inline void reply_headers(struct http_request *r, int status)
{
    static const struct http_header_line lines[] = {
        { "ETag", "W/\"3\"" },
        { "Location", "/echo" },
        { "Retry-After", "17" },
    };

    http_reply(r, status, lines, COUNT(lines), "text/plain", "there", 5);
}

/* A header that would split the answer in two is not sent. */
static inline void reply_unsendable(struct http_request *r)
{
    static const struct http_header_line line = { "X-A", "b\r\nX-C: d" };

    http_reply(r, 200, &line, 1, NULL, "x", 1);
}

static inline void world_request(void *arg, struct http_request *r)
{
    struct world *w = arg;
    const char *path = http_path(r);
    const char *type = http_header(r, "content-type");
    size_t len;
    const char *body = http_body(r, &len);
    struct http_header_line method = { "X-Method", http_method(r) };

    w->handled++;
    wake_test();
    if (strcmp(path, "/later") == 0) {
        reply_later(w, r);
    } else if (strcmp(path, "/hold") == 0) {
        assert_true(w->held_count < HELD_MAX);
        w->held[w->held_count++] = r;
    } else if (strcmp(path, "/headers") == 0) {
        reply_headers(r, 201);
    } else if (strcmp(path, "/redirect") == 0) {
        reply_headers(r, 302);
    } else if (strcmp(path, "/method") == 0) {
        http_reply(r, 200, NULL, 0, NULL, method.value, strlen(method.value));
    } else if (strcmp(path, "/query") == 0) {
        w->seen[0] = '\0';
        http_query_each(r, see_pair, w);
        http_reply(r, 200, NULL, 0, "text/plain", w->seen, strlen(w->seen));
    } else if (strcmp(path, "/local") == 0) {
        http_reply(r, 200, NULL, 0, NULL, http_is_local(r) ? "yes" : "no",
                   http_is_local(r) ? 3 : 2);
    } else if (strcmp(path, "/unsendable") == 0) {
        reply_unsendable(r);
    } else if (strcmp(path, "/big") == 0) {
        static const char big[8000000];

        http_reply(r, 200, NULL, 0, NULL, big, sizeof(big));
    } else if (strcmp(path, "/close") == 0) {
        http_server_close(w->server, set_flag, &w->server_closed);
        w->server = NULL;
    } else {
        http_reply(r, 200, &method, 1, type, body, len);
    }
}

static inline void world_refusal(void *arg, int status, struct buf *body,
                                 const char **content_type)
{
    ((struct world *)arg)->refused++;
    buf_printf(body, "refused %d", status);
    *content_type = "text/plain";
}

/* ---- Setting up and taking down ---- */

static inline void world_init(struct world *w)
{
    memset(w, 0, sizeof(*w));
    assert_int_equal(uv_loop_init(&w->loop), 0);
    world_loop = &w->loop;
    uv_timer_init(&w->loop, &w->guard);
    w->guard.data = w;
    uv_timer_start(&w->guard, guard_gone, GUARD_MS, 0);
    assert_int_equal(http_client_open(&w->loop, &w->client), ERR_OK);
    w->options = (struct http_server_options){ .address = "127.0.0.1",
                                               .body_max = BODY_MAX,
                                               .connections_max = 300,
                                               .request_timeout_ms = 5000,
                                               .idle_timeout_ms = 5000 };
}

static inline void world_serve(struct world *w)
{
    assert_int_equal(http_server_open(&w->loop, &w->options, world_request,
                                      world_refusal, w, &w->server),
                     ERR_OK);
}

static inline void world_close_server(struct world *w)
{
    http_server_close(w->server, set_flag, &w->server_closed);
    w->server = NULL;
    run_until(w, &w->server_closed);
    w->server_closed = false;
}

/* Close all; every handle must be gone. */
static inline void world_end(struct world *w)
{
    if (w->server != NULL)
        world_close_server(w);
    http_client_close(w->client, set_flag, &w->client_closed);
    run_until(w, &w->client_closed);
    uv_close((uv_handle_t *)&w->guard, guard_closed);
    while (!w->guard_closed)
        uv_run(&w->loop, UV_RUN_ONCE);
    uv_run(&w->loop, UV_RUN_NOWAIT);
    assert_int_equal(uv_loop_close(&w->loop), 0);
}

/* ---- Calls ---- */

static inline void take_text(char *to, size_t size, const char *from)
{
    snprintf(to, size, "%s", from != NULL ? from : "");
}

static inline void take_answer(void *arg, const struct http_answer *a)
{
    struct result *r = arg;

    r->times++;
    wake_test();
    r->err = a->err;
    r->status = a->status;
    r->body_len = a->body_len;
    assert_int_equal(a->body[a->body_len], '\0');
    take_text(r->body, sizeof(r->body), a->body);
    take_text(r->etag, sizeof(r->etag), a->etag);
    take_text(r->location, sizeof(r->location), a->location);
    take_text(r->retry_after, sizeof(r->retry_after), a->retry_after);
}

static inline struct http_call_options call_to(struct world *w, char *url,
                                               size_t size, const char *path)
{
    snprintf(url, size, "http://%s%s%s:%d%s",
             strchr(w->options.address, ':') != NULL ? "[" : "",
             w->options.address,
             strchr(w->options.address, ':') != NULL ? "]" : "",
             w->server != NULL ? http_server_port(w->server) : 9, path);
    return (struct http_call_options){ .method = "GET",
                                       .url = url,
                                       .socket_path = w->options.socket_path,
                                       .timeout_ms = 5000,
                                       .answer_max = 200000 };
}

static inline void await(struct world *w, const struct result *r,
                         unsigned times)
{
    while (r->times < times && !w->late)
        uv_run(&w->loop, UV_RUN_ONCE);
    assert_false(w->late);
}

/* Start a call and wait for what it brings. */
static inline void call(struct world *w, const struct http_call_options *o,
                        struct result *r)
{
    struct http_call *c;

    memset(r, 0, sizeof(*r));
    assert_int_equal(http_call_start(w->client, o, take_answer, r, &c), ERR_OK);
    assert_int_equal(r->times, 0); /* never from inside the start */
    await(w, r, 1);
}

static inline void get(struct world *w, const char *path, struct result *r)
{
    char url[512];
    struct http_call_options o = call_to(w, url, sizeof(url), path);

    call(w, &o, r);
}

#endif

/* http_client: limits, failures, cancelling, answers of odd servers */
#include "tests/http_world.h"

#include <netinet/in.h>

static void test_ceiling(void **state)
{
    static const struct {
        size_t answer_max;
        enum err err;
    } cases[] = { { 5, ERR_OK }, { 4, ERR_LIMIT }, { 0, ERR_LIMIT } };
    struct world w;
    struct result r;
    char url[128];
    size_t i;

    (void)state;
    world_init(&w);
    world_serve(&w);
    for (i = 0; i < COUNT(cases); i++) {
        struct http_call_options o = call_to(&w, url, sizeof(url), "/later");

        o.answer_max = cases[i].answer_max;
        call(&w, &o, &r);
        assert_int_equal(r.err, cases[i].err);
        assert_int_equal(r.status, cases[i].err == ERR_OK ? 200 : 0);
    }
    world_end(&w);
}

static void test_call_failures(void **state)
{
    struct world w;
    struct result r;
    char url[128];
    struct http_call_options o;
    struct http_call *c;
    static const char *const two_lines[] = { "X-A: b\r\nX-C: d", NULL };

    (void)state;
    world_init(&w);
    world_serve(&w);
    ROW("nobody answers");
    o = call_to(&w, url, sizeof(url), "/hold");
    o.timeout_ms = 60;
    call(&w, &o, &r);
    assert_int_equal(r.err, ERR_TIMEOUT);
    assert_int_equal(r.status, 0);
    ROW("no limit of time");
    o.timeout_ms = 0;
    assert_int_equal(http_call_start(w.client, &o, take_answer, &r, &c),
                     ERR_RANGE);
    ROW("a line break in a header");
    o.timeout_ms = 60;
    o.headers = two_lines;
    assert_int_equal(http_call_start(w.client, &o, take_answer, &r, &c),
                     ERR_FORM);
    ROW("refused connection");
    o = call_to(&w, url, sizeof(url), "/echo");
    world_close_server(&w);
    call(&w, &o, &r);
    assert_int_equal(r.err, ERR_IO);
    ROW("another scheme");
    o.url = "file:///etc/hostname";
    call(&w, &o, &r);
    assert_int_equal(r.err, ERR_IO);
    world_end(&w);
}

static void test_cancel(void **state)
{
    struct world w;
    struct result r[3];
    char url[128];
    struct http_call_options o;
    struct http_call *c[3];
    size_t i;

    (void)state;
    memset(r, 0, sizeof(r));
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/later");
    for (i = 0; i < 3; i++)
        assert_int_equal(
            http_call_start(w.client, &o, take_answer, &r[i], &c[i]), ERR_OK);
    http_call_cancel(c[0]); /* before anything has happened */
    while (w.handled < 2)
        uv_run(&w.loop, UV_RUN_ONCE);
    http_call_cancel(c[1]); /* while the server works on it */
    await(&w, &r[2], 1);
    get(&w, "/echo", &r[2]);
    assert_int_equal(r[0].times, 0);
    assert_int_equal(r[1].times, 0);
    world_end(&w);
}

/* Of two calls that end in the same turn, the first cancels the second. */
struct rival {
    struct http_call *call;
    struct rival *other;
    unsigned *times;
};

static void cancel_other(void *arg, const struct http_answer *a)
{
    struct rival *r = arg;

    assert_int_equal(a->err, ERR_IO);
    ++*r->times;
    wake_test();
    http_call_cancel(r->other->call);
}

static void test_cancel_from_callback(void **state)
{
    struct world w;
    struct result r;
    unsigned times = 0;
    struct rival rivals[2] = { { NULL, &rivals[1], &times },
                               { NULL, &rivals[0], &times } };
    char url[128];
    struct http_call_options o;
    size_t i;

    (void)state;
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/echo");
    o.url = "file:///never";
    for (i = 0; i < 2; i++)
        assert_int_equal(http_call_start(w.client, &o, cancel_other, &rivals[i],
                                         &rivals[i].call),
                         ERR_OK);
    while (times == 0 && !w.late)
        uv_run(&w.loop, UV_RUN_ONCE);
    get(&w, "/echo", &r);
    assert_int_equal(r.status, 200);
    assert_int_equal(times, 1);
    world_end(&w);
}

static void close_client(void *arg, const struct http_answer *a)
{
    struct world *w = arg;

    assert_int_equal(a->status, 200);
    http_client_close(w->client, set_flag, &w->client_closed);
}

static void test_client_closed_from_callback(void **state)
{
    struct world w;
    struct result never = { 0 };
    char url[128];
    struct http_call_options o;
    struct http_call *c;

    (void)state;
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/hold");
    assert_int_equal(http_call_start(w.client, &o, take_answer, &never, &c),
                     ERR_OK);
    o = call_to(&w, url, sizeof(url), "/later");
    assert_int_equal(http_call_start(w.client, &o, close_client, &w, &c),
                     ERR_OK);
    run_until(&w, &w.client_closed);
    assert_int_equal(never.times, 0);
    w.client_closed = false;
    assert_int_equal(http_client_open(&w.loop, &w.client), ERR_OK);
    world_end(&w);
}

/* ---- A server that sends what it is told ---- */

struct canned {
    uv_tcp_t listener, peer;
    uv_write_t write;
    const char *text;
    bool peer_open, listener_closed;
};

static void canned_written(uv_write_t *write, int status)
{
    struct canned *c = write->data;

    (void)status;
    uv_close((uv_handle_t *)&c->peer, NULL);
    c->peer_open = false;
}

static void canned_alloc(uv_handle_t *handle, size_t wish, uv_buf_t *buf)
{
    static char waste[65536];

    (void)handle;
    (void)wish;
    *buf = uv_buf_init(waste, sizeof(waste));
}

static void canned_read(uv_stream_t *stream, ssize_t n, const uv_buf_t *buf)
{
    struct canned *c = stream->data;
    uv_buf_t out = { .base = (char *)(uintptr_t)c->text,
                     .len = strlen(c->text) };

    (void)buf;
    if (n == 0)
        return;
    uv_read_stop(stream);
    c->write.data = c;
    uv_write(&c->write, stream, &out, 1, canned_written);
}

static void canned_connection(uv_stream_t *listener, int status)
{
    struct canned *c = listener->data;

    if (status < 0 || c->peer_open)
        return;
    uv_tcp_init(listener->loop, &c->peer);
    c->peer.data = c;
    c->peer_open = true;
    uv_accept(listener, (uv_stream_t *)&c->peer);
    uv_read_start((uv_stream_t *)&c->peer, canned_alloc, canned_read);
}

static void canned_listener_closed(uv_handle_t *handle)
{
    ((struct canned *)handle->data)->listener_closed = true;
}

static int canned_listen(struct canned *c, uv_loop_t *loop, const char *text)
{
    struct sockaddr_in a;
    struct sockaddr_storage bound;
    int len = sizeof(bound);

    memset(c, 0, sizeof(*c));
    c->text = text;
    c->listener.data = c;
    uv_tcp_init(loop, &c->listener);
    uv_ip4_addr("127.0.0.1", 0, &a);
    uv_tcp_bind(&c->listener, (struct sockaddr *)&a, 0);
    assert_int_equal(
        uv_listen((uv_stream_t *)&c->listener, 8, canned_connection), 0);
    uv_tcp_getsockname(&c->listener, (struct sockaddr *)&bound, &len);
    memcpy(&a, &bound, sizeof(a));
    return ntohs(a.sin_port);
}

static const struct {
    const char *name, *text;
    enum err err;
    long status;
    const char *body;
} answers[] = {
    { "ends with the connection", "HTTP/1.1 200 OK\r\n\r\nabc", ERR_OK, 200,
      "abc" },
    { "too long without a length", "HTTP/1.1 200 OK\r\n\r\nabcdefghi",
      ERR_LIMIT, 0, "" },
    { "too long in chunks",
      "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n"
      "5\r\nabcde\r\n4\r\nfghi\r\n0\r\n\r\n",
      ERR_LIMIT, 0, "" },
    { "at the ceiling in chunks",
      "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n"
      "5\r\nabcde\r\n3\r\nfgh\r\n0\r\n\r\n",
      ERR_OK, 200, "abcdefgh" },
    { "shorter than it says", "HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nabc",
      ERR_IO, 0, "" },
    { "closed without a word", "", ERR_IO, 0, "" },
    { "not HTTP", "+OK ready\r\n", ERR_IO, 0, "" },
    { "an interim answer first",
      "HTTP/1.1 103 Early Hints\r\nETag: \"no\"\r\n\r\n"
      "HTTP/1.1 201 Created\r\nContent-Length: 2\r\n\r\nok",
      ERR_OK, 201, "ok" },
    { "nothing to say", "HTTP/1.1 204 No Content\r\n\r\n", ERR_OK, 204, "" },
    { "a server's error is an answer",
      "HTTP/1.1 500 Oh\r\nContent-Length: 0\r\n\r\n", ERR_OK, 500, "" },
};

static void test_odd_answers(void **state)
{
    struct world w;
    size_t i;

    (void)state;
    world_init(&w);
    for (i = 0; i < COUNT(answers); i++) {
        struct canned c;
        struct result r;
        char url[64];
        struct http_call_options o;

        ROW(answers[i].name);
        o = call_to(&w, url, sizeof(url), "/");
        snprintf(url, sizeof(url), "http://127.0.0.1:%d/",
                 canned_listen(&c, &w.loop, answers[i].text));
        o.answer_max = 8;
        call(&w, &o, &r);
        assert_int_equal(r.err, answers[i].err);
        assert_int_equal(r.status, answers[i].status);
        assert_string_equal(r.body, answers[i].body);
        assert_string_equal(r.etag, "");
        uv_close((uv_handle_t *)&c.listener, canned_listener_closed);
        run_until(&w, &c.listener_closed);
        while (c.peer_open)
            uv_run(&w.loop, UV_RUN_ONCE);
        uv_run(&w.loop, UV_RUN_NOWAIT);
    }
    world_end(&w);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ceiling),
        cmocka_unit_test(test_call_failures),
        cmocka_unit_test(test_cancel),
        cmocka_unit_test(test_cancel_from_callback),
        cmocka_unit_test(test_client_closed_from_callback),
        cmocka_unit_test(test_odd_answers),
    };

    /* A proxy of the machine must not stand between the two. */
    setenv("no_proxy", "*", 1);
    return cmocka_run_group_tests(tests, NULL, NULL);
}

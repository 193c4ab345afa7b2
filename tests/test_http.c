/* http_server and http_client against each other, over real sockets */
#include "tests/http_world.h"

static void test_methods(void **state)
{
    /* RFC 9110 section 9.3.2: HEAD has no body and the same headers. */
    static const struct {
        const char *method, *body, *want;
    } cases[] = {
        { "GET", NULL, "GET" },       { "HEAD", NULL, "" },
        { "POST", "x", "POST" },      { "POST", NULL, "POST" },
        { "PUT", "x", "PUT" },        { "PATCH", "x", "PATCH" },
        { "DELETE", NULL, "DELETE" }, { "OPTIONS", NULL, "OPTIONS" },
    };
    struct world w;
    struct result r;
    char url[128];
    size_t i;

    (void)state;
    world_init(&w);
    world_serve(&w);
    for (i = 0; i < COUNT(cases); i++) {
        struct http_call_options o = call_to(&w, url, sizeof(url), "/method");

        ROW(cases[i].method);
        o.method = cases[i].method;
        o.body = cases[i].body;
        o.body_len = cases[i].body != NULL ? strlen(cases[i].body) : 0;
        call(&w, &o, &r);
        assert_int_equal(r.err, ERR_OK);
        assert_int_equal(r.status, 200);
        assert_string_equal(r.body, cases[i].want);
        assert_int_equal(w.handled, i + 1);
    }
    assert_int_equal(http_server_pending(w.server), 0);
    world_end(&w);
}

enum { MUCH = 2000000 };

static void test_bodies(void **state)
{
    static const struct {
        const char *name;
        size_t len;
        long status;
    } cases[] = {
        { "empty", 0, 200 },
        { "one byte", 1, 200 },
        { "larger than the library's buffer", 70000, 200 },
        { "at the ceiling", BODY_MAX, 200 },
        { "one byte over", BODY_MAX + 1, 413 },
        { "far over", MUCH, 413 },
    };
    static const char *const headers[] = { "Content-Type: text/x-odd", NULL };
    struct world w;
    struct result r;
    char url[128], *body = malloc(MUCH);
    size_t i;

    (void)state;
    assert_non_null(body);
    memset(body, 'b', MUCH);
    world_init(&w);
    world_serve(&w);
    for (i = 0; i < COUNT(cases); i++) {
        struct http_call_options o = call_to(&w, url, sizeof(url), "/echo");

        ROW(cases[i].name);
        o.method = "POST";
        o.headers = headers;
        o.body = body;
        o.body_len = cases[i].len;
        call(&w, &o, &r);
        assert_int_equal(r.err, ERR_OK);
        assert_int_equal(r.status, cases[i].status);
        if (cases[i].status == 413)
            assert_string_equal(r.body, "refused 413");
        else
            assert_int_equal(r.body_len, cases[i].len);
    }
    world_end(&w);
    free(body);
}

static void test_bytes_survive(void **state)
{
    static const char body[] = "a\0b\r\n\xff";
    struct world w;
    struct result r;
    char url[128];
    struct http_call_options o;

    (void)state;
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/echo");
    o.method = "PUT";
    o.body = body;
    o.body_len = sizeof(body) - 1;
    call(&w, &o, &r);
    assert_int_equal(r.body_len, sizeof(body) - 1);
    assert_memory_equal(r.body, "a", 2);
    world_end(&w);
}

static void test_reply_later(void **state)
{
    struct world w;
    struct result r;

    (void)state;
    world_init(&w);
    world_serve(&w);
    get(&w, "/later", &r);
    assert_int_equal(r.status, 200);
    assert_string_equal(r.body, "later");
    assert_int_equal(http_server_pending(w.server), 0);
    world_end(&w);
}

/* A reply made in an async call-back, as the store's thread causes it. */
static void on_async(uv_async_t *async)
{
    struct world *w = async->data;

    http_reply(w->held[0], 200, NULL, 0, NULL, "async", 5);
    uv_close((uv_handle_t *)async, NULL);
}

static void send_async(void *arg)
{
    uv_async_send(arg);
}

static void test_reply_from_async(void **state)
{
    struct world w;
    struct result r = { 0 };
    char url[128];
    struct http_call_options o;
    struct http_call *c;
    uv_async_t async;
    uv_thread_t thread;
    uint64_t start_ns, took_ms;

    (void)state;
    world_init(&w);
    world_serve(&w);
    uv_async_init(&w.loop, &async, on_async);
    async.data = &w;
    o = call_to(&w, url, sizeof(url), "/hold");
    assert_int_equal(http_call_start(w.client, &o, take_answer, &r, &c),
                     ERR_OK);
    while (w.held_count == 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    assert_int_equal(http_server_pending(w.server), 1);
    start_ns = uv_hrtime();
    assert_int_equal(uv_thread_create(&thread, send_async, &async), 0);
    await(&w, &r, 1);
    took_ms = (uv_hrtime() - start_ns) / 1000000;
    uv_thread_join(&thread);
    assert_string_equal(r.body, "async");
    assert_true(took_ms < 1000); /* the loop did not sleep on it */
    world_end(&w);
}

static void test_parallel(void **state)
{
    enum { CALLS = 200 };
    static struct result results[CALLS];
    static const unsigned connections[] = { 300, 4 };
    struct world w;
    char url[128];
    struct http_call *c;
    size_t i, k;

    (void)state;
    for (k = 0; k < COUNT(connections); k++) {
        ROW(k == 0 ? "room for all" : "four connections for all");
        memset(results, 0, sizeof(results));
        world_init(&w);
        w.options.connections_max = connections[k];
        world_serve(&w);
        for (i = 0; i < CALLS; i++) {
            char path[64];
            struct http_call_options o;

            snprintf(path, sizeof(path), i % 2 == 0 ? "/later" : "/query?n=%zu",
                     i);
            o = call_to(&w, url, sizeof(url), path);
            o.timeout_ms = GUARD_MS;
            assert_int_equal(
                http_call_start(w.client, &o, take_answer, &results[i], &c),
                ERR_OK);
        }
        for (i = 0; i < CALLS; i++) {
            char want[64];

            await(&w, &results[i], 1);
            snprintf(want, sizeof(want), i % 2 == 0 ? "later" : "[n=%zu]", i);
            assert_string_equal(results[i].body, want);
        }
        for (i = 0; i < CALLS; i++)
            assert_int_equal(results[i].times, 1);
        world_end(&w);
    }
}

static void test_answer_headers(void **state)
{
    static const struct {
        const char *path;
        long status;
        const char *etag, *location, *retry_after;
    } cases[] = {
        { "/headers", 201, "W/\"3\"", "/echo", "17" },
        { "/redirect", 302, "W/\"3\"", "/echo", "17" }, /* not followed */
        { "/echo", 200, "", "", "" },
    };
    struct world w;
    struct result r;
    size_t i;

    (void)state;
    world_init(&w);
    world_serve(&w);
    for (i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].path);
        get(&w, cases[i].path, &r);
        assert_int_equal(r.status, cases[i].status);
        assert_string_equal(r.etag, cases[i].etag);
        assert_string_equal(r.location, cases[i].location);
        assert_string_equal(r.retry_after, cases[i].retry_after);
        assert_int_equal(w.handled, i + 1);
    }
    world_end(&w);
}

static void test_query(void **state)
{
    static const struct {
        const char *target, *want;
    } cases[] = {
        { "/query", "" },
        { "/query?", "" },
        { "/query?a=1&b=2&a=3", "[a=1][b=2][a=3]" },
        { "/query?flag&x=", "[flag=][x=]" },
        { "/query?a=1%262&b=c+d&e%3Df=g", "[a=1&2][b=c d][e=f=g]" },
        { "/qu%65ry?date=ge2024-01-01", "[date=ge2024-01-01]" },
    };
    struct world w;
    struct result r;
    size_t i;

    (void)state;
    world_init(&w);
    world_serve(&w);
    for (i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].target);
        get(&w, cases[i].target, &r);
        assert_int_equal(r.status, 200);
        assert_string_equal(r.body, cases[i].want);
    }
    world_end(&w);
}

static void test_ipv6(void **state)
{
    struct world w;
    struct result r;

    (void)state;
    world_init(&w);
    w.options.address = "::1";
    if (http_server_open(&w.loop, &w.options, world_request, world_refusal, &w,
                         &w.server) != ERR_OK) {
        print_message("    this machine has no IPv6\n");
        world_end(&w);
        skip();
    }
    get(&w, "/local", &r);
    assert_int_equal(r.status, 200);
    assert_string_equal(r.body, "no");
    world_end(&w);
}

static void test_bad_address(void **state)
{
    static const struct {
        const char *address;
        int port, reason;
    } cases[] = {
        { "localhost.example", 0, EINVAL },
        { "192.0.2.1", 0, EADDRNOTAVAIL }, /* of nobody: RFC 5737 */
        { "127.0.0.1", -1, EINVAL },
        { "127.0.0.1", 65536, EINVAL },
        { "", 0, EINVAL },
    };
    struct world w;
    struct http_server *second = NULL;
    size_t i;

    (void)state;
    world_init(&w);
    world_serve(&w);
    for (i = 0; i <= COUNT(cases); i++) {
        struct http_server_options o = w.options;

        ROW(i < COUNT(cases) ? cases[i].address : "port in use");
        o.address = i < COUNT(cases) ? cases[i].address : "127.0.0.1";
        o.port = i < COUNT(cases) ? cases[i].port : http_server_port(w.server);
        assert_int_equal(
            http_server_open(&w.loop, &o, world_request, NULL, &w, &second),
            ERR_IO);
        /* as bind(2) has it */
        assert_int_equal(errno,
                         i < COUNT(cases) ? cases[i].reason : EADDRINUSE);
    }
    assert_null(second);
    world_end(&w);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_methods),
        cmocka_unit_test(test_bodies),
        cmocka_unit_test(test_bytes_survive),
        cmocka_unit_test(test_reply_later),
        cmocka_unit_test(test_reply_from_async),
        cmocka_unit_test(test_parallel),
        cmocka_unit_test(test_answer_headers),
        cmocka_unit_test(test_query),
        cmocka_unit_test(test_ipv6),
        cmocka_unit_test(test_bad_address),
    };

    /* A proxy of the machine must not stand between the two. */
    setenv("no_proxy", "*", 1);
    return cmocka_run_group_tests(tests, NULL, NULL);
}

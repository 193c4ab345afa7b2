/* http_server against bytes that no well-behaved client sends */
#include "tests/http_raw.h"

static const struct {
    const char *name, *text, *want; /* what the answer begins with */
    unsigned handled;
} requests[] = {
    { "plain", "GET /echo HTTP/1.1\r\n" HOST "\r\n", "HTTP/1.1 200 ", 1 },
    { "HTTP/1.0 needs no Host", "GET /echo HTTP/1.0\r\n\r\n", "HTTP/1.1 200 ",
      1 },
    { "absolute form", "GET http://h.example/echo HTTP/1.1\r\n" HOST "\r\n",
      "HTTP/1.1 200 ", 1 },
    { "chunked",
      "POST /echo HTTP/1.1\r\n" HOST "Transfer-Encoding: chunked\r\n\r\n"
      "3\r\nabc\r\n0\r\n\r\n",
      "HTTP/1.1 200 ", 1 },
    { "NUL in the path", "GET /a%00b HTTP/1.1\r\n" HOST "\r\n", "HTTP/1.1 400 ",
      0 },
    { "NUL in the query", "GET /a?b=%00 HTTP/1.1\r\n" HOST "\r\n",
      "HTTP/1.1 400 ", 0 },
    { "half an escape", "GET /a%4 HTTP/1.1\r\n" HOST "\r\n", "HTTP/1.1 400 ",
      0 },
    { "a blank in the target", "GET /a b HTTP/1.1\r\n" HOST "\r\n",
      "HTTP/1.1 400 ", 0 },
    /* RFC 9112 section 3.2 */
    { "no Host", "GET / HTTP/1.1\r\n\r\n", "HTTP/1.1 400 ", 0 },
    { "two Hosts", "GET / HTTP/1.1\r\n" HOST HOST "\r\n", "HTTP/1.1 400 ", 0 },
    /* RFC 9112 section 5.1 */
    { "a blank before the colon",
      "POST / HTTP/1.1\r\n" HOST "Content-Length : 3\r\n\r\nabc",
      "HTTP/1.1 400 ", 0 },
    /* RFC 9112 section 6.3 */
    { "two lengths",
      "POST / HTTP/1.1\r\n" HOST
      "Content-Length: 3\r\nContent-Length: 4\r\n\r\nabc",
      "HTTP/1.1 400 ", 0 },
    { "length and chunks",
      "POST / HTTP/1.1\r\n" HOST
      "Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
      "HTTP/1.1 400 ", 0 },
    { "unknown coding",
      "POST / HTTP/1.1\r\n" HOST "Transfer-Encoding: gzip\r\n\r\n",
      "HTTP/1.1 400 ", 0 },
    { "negative length",
      "POST / HTTP/1.1\r\n" HOST "Content-Length: -1\r\n\r\n", "HTTP/1.1 400 ",
      0 },
    { "bad chunk size",
      "POST / HTTP/1.1\r\n" HOST "Transfer-Encoding: chunked\r\n\r\nxyz\r\n",
      "HTTP/1.1 400 ", 0 },
    { "unknown method", "BREW /pot HTTP/1.1\r\n" HOST "\r\n", "HTTP/1.1 405 ",
      0 },
    { "part of a known method", "GE / HTTP/1.1\r\n" HOST "\r\n",
      "HTTP/1.1 405 ", 0 },
    { "TRACE", "TRACE / HTTP/1.1\r\n" HOST "\r\n", "HTTP/1.1 405 ", 0 },
    { "length over the ceiling, no body sent",
      "POST / HTTP/1.1\r\n" HOST "Content-Length: 100001\r\n\r\n",
      "HTTP/1.1 413 ", 0 },
    { "length beyond all numbers",
      "POST / HTTP/1.1\r\n" HOST
      "Content-Length: 99999999999999999999999\r\n\r\n",
      "HTTP/1.1 413 ", 0 },
    { "asks before sending too much",
      "POST / HTTP/1.1\r\n" HOST
      "Expect: 100-continue\r\nContent-Length: 100001\r\n\r\n",
      "HTTP/1.1 413 ", 0 },
    { "asks before sending a little",
      "POST / HTTP/1.1\r\n" HOST
      "Expect: 100-continue\r\nContent-Length: 3\r\n\r\n",
      "HTTP/1.1 100 ", 0 },
};

static void test_requests(void **state)
{
    size_t i;

    (void)state;
    for (i = 0; i < COUNT(requests); i++) {
        struct world w;
        struct raw raw;

        ROW(requests[i].name);
        world_init(&w);
        world_serve(&w);
        raw_open(&raw, &w);
        assert_true(raw_send(&raw, requests[i].text, strlen(requests[i].text)));
        raw_await(&raw, "\r\n\r\n", 1);
        assert_memory_equal(raw.got, requests[i].want,
                            strlen(requests[i].want));
        assert_int_equal(w.handled, requests[i].handled);
        /* RFC 9110 section 15.5.6: a 405 must say what is allowed. */
        if (strstr(requests[i].want, "405") != NULL)
            assert_non_null(strstr(raw.got, "\r\nAllow: GET, HEAD, POST"));
        raw_close(&raw);
        world_end(&w);
    }
}

static void test_head_ceiling(void **state)
{
    static const struct {
        const char *name;
        size_t bytes;
        const char *want;
    } cases[] = {
        { "15 kB of headers", 15000, "HTTP/1.1 200 " },
        { "17 kB of headers", 17000, "HTTP/1.1 431 " },
        { "40 kB of headers", 40000, "HTTP/1.1 431 " },
        { "more than the library holds", 90000, "HTTP/1.1 431 " },
    };
    static char text[100000];
    size_t i, n;

    (void)state;
    for (i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct raw raw;

        ROW(cases[i].name);
        world_init(&w);
        world_serve(&w);
        raw_open(&raw, &w);
        n = (size_t)snprintf(text, sizeof(text),
                             "GET /echo HTTP/1.1\r\n" HOST "X-Long: ");
        memset(text + n, 'x', cases[i].bytes);
        n += cases[i].bytes;
        n += (size_t)snprintf(text + n, sizeof(text) - n, "\r\n\r\n");
        assert_true(raw_send(&raw, text, n));
        raw_await(&raw, "\r\n\r\n", 1);
        assert_memory_equal(raw.got, cases[i].want, strlen(cases[i].want));
        raw_close(&raw);
        world_end(&w);
    }
}

/* The answer must reach a peer that sends on and on without reading. */
static void test_flood_reads_its_413(void **state)
{
    static const struct {
        const char *name, *head, *piece_head;
    } cases[] = {
        { "by length",
          "POST / HTTP/1.1\r\n" HOST "Content-Length: 5000000\r\n\r\n", "" },
        { "by chunks",
          "POST / HTTP/1.1\r\n" HOST "Transfer-Encoding: chunked\r\n\r\n",
          "2710\r\n" }, /* 10000 bytes each */
        { "by one endless chunk",
          "POST / HTTP/1.1\r\n" HOST "Transfer-Encoding: chunked\r\n\r\n"
          "FFFFFFFF\r\n",
          "" },
    };
    char piece[10000];
    size_t i, k;

    (void)state;
    memset(piece, 'a', sizeof(piece));
    for (i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct raw raw;
        int on = 4000000;

        ROW(cases[i].name);
        world_init(&w);
        world_serve(&w);
        raw_open(&raw, &w);
        setsockopt(raw.fd, SOL_SOCKET, SO_SNDBUF, &on, sizeof(on));
        assert_true(raw_send(&raw, cases[i].head, strlen(cases[i].head)));
        for (k = 0; k < 100 && !raw.ended; k++) {
            assert_true(raw_send(&raw, cases[i].piece_head,
                                 strlen(cases[i].piece_head)));
            assert_true(raw_send(&raw, piece, sizeof(piece)));
            assert_true(raw_send(&raw, "\r\n", 2));
            uv_run(&w.loop, UV_RUN_NOWAIT);
        }
        raw_await(&raw, "refused 413", 1);
        assert_memory_equal(raw.got, "HTTP/1.1 413 ", 13);
        assert_non_null(strstr(raw.got, "\r\nContent-Type: text/plain\r\n"));
        assert_int_equal(w.handled, 0);
        raw_close(&raw);
        world_end(&w);
    }
}

static void test_chunked_ceiling(void **state)
{
    static const struct {
        size_t pieces, last;
        const char *want;
    } cases[] = {
        { 100, 0, "HTTP/1.1 200 " },
        { 100, 1, "HTTP/1.1 413 " },
    };
    static char text[120000];
    size_t i, k, n;

    (void)state;
    for (i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct raw raw;

        ROW(cases[i].want);
        world_init(&w);
        world_serve(&w);
        raw_open(&raw, &w);
        n = (size_t)snprintf(text, sizeof(text),
                             "POST /method HTTP/1.1\r\n" HOST
                             "Transfer-Encoding: chunked\r\n\r\n");
        for (k = 0; k < cases[i].pieces; k++)
            n += (size_t)snprintf(text + n, sizeof(text) - n,
                                  "3e8\r\n%01000d\r\n", 0);
        if (cases[i].last > 0)
            n += (size_t)snprintf(text + n, sizeof(text) - n, "1\r\nx\r\n");
        n += (size_t)snprintf(text + n, sizeof(text) - n, "0\r\n\r\n");
        assert_true(raw_send(&raw, text, n));
        raw_await(&raw, "\r\n\r\n", 1);
        assert_memory_equal(raw.got, cases[i].want, strlen(cases[i].want));
        raw_close(&raw);
        world_end(&w);
    }
}

static void test_pipeline(void **state)
{
    static const char text[] = "GET /later HTTP/1.1\r\n" HOST "\r\n"
                               "GET /query?n=1 HTTP/1.1\r\n" HOST "\r\n"
                               "GET /query?n=2 HTTP/1.1\r\n" HOST "\r\n";
    struct world w;
    struct raw raw;
    const char *first, *second, *third;

    (void)state;
    world_init(&w);
    world_serve(&w);
    raw_open(&raw, &w);
    assert_true(raw_send(&raw, text, sizeof(text) - 1));
    raw_await(&raw, "[n=2]", 1);
    first = strstr(raw.got, "later");
    second = strstr(raw.got, "[n=1]");
    third = strstr(raw.got, "[n=2]");
    assert_true(first != NULL && first < second && second < third);
    assert_false(raw.ended);
    raw_close(&raw);
    world_end(&w);
}

/* While an answer is still being sent, nothing new is taken up. */
static void test_requests_after_close(void **state)
{
    static const char *const late[] = {
        "BREW /pot HTTP/1.1\r\n" HOST "\r\n",
        "GET /echo HTTP/1.1\r\n" HOST "\r\n",
    };
    static const char big[] = "GET /big HTTP/1.1\r\n" HOST "\r\n";
    size_t i;

    (void)state;
    for (i = 0; i < COUNT(late); i++) {
        struct world w;
        struct raw slow, other;

        world_init(&w);
        world_serve(&w);
        raw_open(&slow, &w);
        raw_open(&other, &w);
        uv_poll_stop(&slow.poll); /* does not read */
        raw_send(&slow, big, sizeof(big) - 1);
        while (w.handled == 0)
            uv_run(&w.loop, UV_RUN_ONCE);
        raw_send(&other, late[i], strlen(late[i]));
        world_close_server(&w);
        raw_await(&other, "\r\n\r\n", 1);
        assert_int_equal(w.handled, 1);
        assert_int_equal(w.refused, 0);
        assert_int_equal(other.got_len, 0);
        raw_close(&other);
        raw_close(&slow);
        world_end(&w);
    }
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_requests),
        cmocka_unit_test(test_head_ceiling),
        cmocka_unit_test(test_flood_reads_its_413),
        cmocka_unit_test(test_chunked_ceiling),
        cmocka_unit_test(test_pipeline),
        cmocka_unit_test(test_requests_after_close),
    };

    /* A proxy of the machine must not stand between the two. */
    setenv("no_proxy", "*", 1);
    return cmocka_run_group_tests(tests, NULL, NULL);
}

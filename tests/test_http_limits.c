/* The limits of time of http_server, and that it sleeps meanwhile */
#include "tests/http_raw.h"

struct drip {
    uv_timer_t timer;
    struct raw *raw;
    const char *text;
    size_t at, len;
    bool closed;
};

static void drip_one(uv_timer_t *timer)
{
    struct drip *d = timer->data;

    if (d->at < d->len)
        raw_send(d->raw, d->text + d->at++, 1);
}

static void drip_closed(uv_handle_t *handle)
{
    ((struct drip *)handle->data)->closed = true;
}

/* Send one byte every 10 ms until the server ends it; how long that took. */
static uint64_t drip_ms(struct raw *raw, const char *text)
{
    struct drip d = { .raw = raw, .text = text, .len = strlen(text) };
    uint64_t start_ns = uv_hrtime(), took_ms;

    uv_timer_init(&raw->world->loop, &d.timer);
    d.timer.data = &d;
    uv_timer_start(&d.timer, drip_one, 10, 10);
    run_until(raw->world, &raw->ended);
    took_ms = (uv_hrtime() - start_ns) / 1000000;
    uv_close((uv_handle_t *)&d.timer, drip_closed);
    run_until(raw->world, &d.closed);
    return took_ms;
}

#define LONG                                                                   \
    "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" \
    "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"

static void test_drip(void **state)
{
    static const struct {
        const char *name, *first, *drip;
        bool local;
    } cases[] = {
        { "the first line", "", "GET /" LONG LONG, false },
        { "a header", "GET / HTTP/1.1\r\n", "X-A: " LONG LONG, false },
        { "the body", "POST / HTTP/1.1\r\n" HOST "Content-Length: 999\r\n\r\n",
          LONG LONG, false },
        { "the second request", "GET /echo HTTP/1.1\r\n" HOST "\r\n",
          "GET /" LONG LONG, false },
        { "a header, over a Unix socket", "GET / HTTP/1.1\r\n",
          "X-A: " LONG LONG, true },
        { "the first line, over a Unix socket", "", "GET /" LONG LONG, true },
    };
    char path[64];
    size_t i;

    (void)state;
    snprintf(path, sizeof(path), "/tmp/headgate-drip-%d", (int)getpid());
    for (i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct raw raw;
        uint64_t took_ms;

        ROW(cases[i].name);
        world_init(&w);
        w.options.request_timeout_ms = 200;
        /* Over TCP the first byte is seen; over a Unix socket an idle limit
         * and a request's limit together bound it. */
        w.options.idle_timeout_ms = cases[i].local ? 200 : 5000;
        w.options.socket_path = cases[i].local ? path : NULL;
        world_serve(&w);
        raw_open(&raw, &w);
        raw_send(&raw, cases[i].first, strlen(cases[i].first));
        if (strstr(cases[i].name, "second") != NULL)
            raw_await(&raw, "\r\n\r\n", 1);
        took_ms = drip_ms(&raw, cases[i].drip);
        assert_true(took_ms >= 150);
        assert_true(took_ms < 2000);
        raw_close(&raw);
        world_end(&w);
    }
}

static void test_idle(void **state)
{
    static const struct {
        const char *name, *text;
        int request_ms, idle_ms;
    } cases[] = {
        { "nothing sent", "", 5000, 200 },
        { "kept after an answer", "GET /echo HTTP/1.1\r\n" HOST "\r\n", 5000,
          200 },
        { "begun and left", "GET /echo HT", 200, 5000 },
    };
    size_t i;

    (void)state;
    for (i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct raw raw;
        uint64_t start_ns = uv_hrtime(), took_ms;

        ROW(cases[i].name);
        world_init(&w);
        w.options.request_timeout_ms = cases[i].request_ms;
        w.options.idle_timeout_ms = cases[i].idle_ms;
        world_serve(&w);
        raw_open(&raw, &w);
        raw_send(&raw, cases[i].text, strlen(cases[i].text));
        run_until(&w, &raw.ended);
        took_ms = (uv_hrtime() - start_ns) / 1000000;
        assert_true(took_ms >= 150 && took_ms < 2000);
        raw_close(&raw);
        world_end(&w);
    }
}

/* The handler may take its time: the limits are for the peer. */
static void test_no_limit_while_asked(void **state)
{
    struct world w;
    struct result r;

    (void)state;
    world_init(&w);
    w.options.request_timeout_ms = 5;
    w.options.idle_timeout_ms = 5;
    world_serve(&w);
    get(&w, "/later", &r); /* after 20 ms */
    assert_int_equal(r.status, 200);
    world_end(&w);
}

/* ---- The loop must sleep when there is nothing to do ---- */

static void count_turn(uv_check_t *check)
{
    ++*(unsigned *)check->data;
}

static void end_nap(uv_timer_t *timer)
{
    *(bool *)timer->data = true;
    wake_test();
}

/* Turns that the loop makes in 200 ms. */
static unsigned turns_in_nap(struct world *w)
{
    uv_check_t check;
    uv_timer_t nap;
    unsigned turns = 0;
    bool over = false;

    uv_check_init(&w->loop, &check);
    uv_timer_init(&w->loop, &nap);
    check.data = &turns;
    nap.data = &over;
    uv_check_start(&check, count_turn);
    uv_timer_start(&nap, end_nap, 200, 0);
    run_until(w, &over);
    uv_close((uv_handle_t *)&check, NULL);
    uv_close((uv_handle_t *)&nap, NULL);
    uv_run(&w->loop, UV_RUN_NOWAIT);
    return turns;
}

static void test_sleeps(void **state)
{
    static const struct {
        const char *name, *text;
        bool leaves;
        unsigned connections_max;
    } cases[] = {
        { "a peer that does not read", "GET /big HTTP/1.1\r\n" HOST "\r\n",
          false, 9 },
        { "a peer that waits", "GET /hold HTTP/1.1\r\n" HOST "\r\n", false, 9 },
        { "a peer that has left", "GET /hold HTTP/1.1\r\n" HOST "\r\n", true,
          9 },
        { "half a request", "GET /hold HT", false, 9 },
        { "no place for another", "GET /hold HTTP/1.1\r\n" HOST "\r\n", false,
          1 },
    };
    size_t i;

    (void)state;
    for (i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct raw raw, other;

        ROW(cases[i].name);
        world_init(&w);
        w.options.connections_max = cases[i].connections_max;
        world_serve(&w);
        raw_open(&raw, &w);
        raw_send(&raw, cases[i].text, strlen(cases[i].text));
        uv_poll_stop(&raw.poll); /* reads nothing */
        while (strstr(cases[i].text, "1.1") != NULL && w.handled == 0)
            uv_run(&w.loop, UV_RUN_ONCE);
        raw_open(&other, &w);
        if (cases[i].leaves)
            shutdown(raw.fd, SHUT_RDWR);
        assert_true(turns_in_nap(&w) < 40);
        raw_close(&other);
        raw_close(&raw);
        world_end(&w);
    }
}

/* An answer that is not taken does not hold its connection for ever. */
static void test_unread_answer(void **state)
{
    static const char text[] = "GET /big HTTP/1.1\r\n" HOST "\r\n";
    static const char plain[] = "GET /echo HTTP/1.1\r\n" HOST "\r\n";
    struct world w;
    struct raw raw, other;
    char more;

    (void)state;
    world_init(&w);
    w.options.request_timeout_ms = 100;
    w.options.idle_timeout_ms = 100;
    w.options.connections_max = 1;
    world_serve(&w);
    raw_open(&raw, &w);
    uv_poll_stop(&raw.poll);
    raw_send(&raw, text, sizeof(text) - 1);
    while (w.handled == 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    /* The only place is free again when the second is answered. */
    raw_open(&other, &w);
    raw_send(&other, plain, sizeof(plain) - 1);
    raw_await(&other, "\r\n\r\n", 1);
    assert_memory_equal(other.got, "HTTP/1.1 200 ", 13);
    assert_true(recv(raw.fd, &more, 1, MSG_DONTWAIT) == 1);
    raw_close(&other);
    raw_close(&raw);
    world_end(&w);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_drip),
        cmocka_unit_test(test_idle),
        cmocka_unit_test(test_no_limit_while_asked),
        cmocka_unit_test(test_sleeps),
        cmocka_unit_test(test_unread_answer),
    };

    /* A proxy of the machine must not stand between the two. */
    setenv("no_proxy", "*", 1);
    return cmocka_run_group_tests(tests, NULL, NULL);
}

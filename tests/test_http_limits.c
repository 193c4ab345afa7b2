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

/* ---- Bodies: who may send one, and how much there may be of them ---- */

static struct {
    unsigned count;
    char list[64]; /* of the last: X-List, all lines */
} heads;

/* As an owner does: without a token it is answered now. */
static void look_at_head(void *arg, struct http_request *r)
{
    struct buf list;
    size_t len;

    (void)arg;
    heads.count++;
    http_body(r, &len);
    assert_int_equal(len, 0);
    assert_false(http_head_was_seen(r));
    buf_init(&list, HTTP_LINES_MAX);
    if (http_header_all(r, "x-list", &list))
        snprintf(heads.list, sizeof(heads.list), "%s", list.data);
    buf_clear(&list);
    if (http_header(r, "Authorization") == NULL)
        http_reply(r, 401, NULL, 0, "text/plain", "who are you", 11);
}

static void raw_send_all(struct raw *raw, const char *text, size_t len)
{
    while (len > 0 && !raw->ended && !raw->world->late) {
        ssize_t n = send(raw->fd, text, len, MSG_DONTWAIT | MSG_NOSIGNAL);

        if (n > 0) {
            text += n;
            len -= (size_t)n;
        }
        uv_run(&raw->world->loop, UV_RUN_NOWAIT);
    }
}

static void raw_send_text(struct raw *raw, const char *text)
{
    raw_send_all(raw, text, strlen(text));
}

static void open_guarded(struct world *w, size_t bodies_max)
{
    world_init(w);
    w->options.on_head = look_at_head;
    w->options.bodies_max = bodies_max;
    world_serve(w);
    memset(&heads, 0, sizeof(heads));
}

#define TOKEN "Authorization: Bearer x\r\n"

/* RFC 9110, 10.1.1: to who waits for leave to send its body the last word may be
 * said at once; and 15.5: a refusal needs no body to have come. */
static void test_head_first(void **state)
{
    static const struct {
        const char *name, *head;
        unsigned heads, handled;
        bool answered; /* with the head alone */
    } cases[] = {
        { "small", "Content-Length: 5\r\n", 0, 1, false },
        { "as much as is small", "Content-Length: 65536\r\n", 0, 0, false },
        { "large", "Content-Length: 65537\r\n", 1, 0, true },
        { "of any length", "Transfer-Encoding: chunked\r\n", 1, 0, true },
        { "that waits", "Content-Length: 5\r\nExpect: 100-continue\r\n", 1, 0,
          true },
        { "large, with a token", "Content-Length: 65537\r\n" TOKEN, 1, 0,
          false },
        { "that waits, with a token",
          "Content-Length: 5\r\nExpect: 100-continue\r\n" TOKEN, 1, 1, false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct raw raw;

        ROW(cases[i].name);
        open_guarded(&w, 0);
        raw_open(&raw, &w);
        raw_send_text(&raw, "POST /method HTTP/1.1\r\n" HOST);
        raw_send_text(&raw, cases[i].head);
        raw_send_text(&raw, "\r\n");
        if (cases[i].answered) {
            run_until(&w, &raw.ended); /* it is not read on */
            assert_memory_equal(raw.got, "HTTP/1.1 401 ", 13);
            assert_non_null(strstr(raw.got, "who are you"));
        } else if (strstr(cases[i].head, "Expect") != NULL) {
            raw_await(&raw, "HTTP/1.1 100 ", 1);
        }
        raw_send_text(&raw, "hello");
        if (cases[i].handled > 0) {
            raw_await(&raw, "HTTP/1.1 200 ", 1);
            /* and the connection is kept */
            raw_send_text(&raw, "GET /method HTTP/1.1\r\n" HOST "\r\n");
            raw_await(&raw, "HTTP/1.1 200 ", 2);
            assert_false(raw.ended);
        }
        assert_int_equal(heads.count, cases[i].heads);
        assert_int_equal(w.handled, 2 * cases[i].handled);
        assert_int_equal(count_text(raw.got, "HTTP/1.1 100 "),
                         strcmp(cases[i].name, "that waits, with a token") ==
                             0);
        raw_close(&raw);
        world_end(&w);
    }
}

/* RFC 9110, 5.3: lines of one name are one list, in their order. */
static void test_lines_of_one_name(void **state)
{
    struct world w;
    struct raw raw;

    (void)state;
    open_guarded(&w, 0);
    raw_open(&raw, &w);
    raw_send_text(&raw, "POST / HTTP/1.1\r\n" HOST "X-List: a, b\r\n"
                        "Other: c\r\nx-list:d\r\nX-LIST:\r\nX-List: e\r\n"
                        "Transfer-Encoding: chunked\r\n\r\n");
    run_until(&w, &raw.ended);
    assert_string_equal(heads.list, "a, b, d, , e");
    raw_close(&raw);
    world_end(&w);
}

#define LARGE_HEAD                                                             \
    "POST /method HTTP/1.1\r\n" HOST TOKEN "Content-Length: 100000\r\n\r\n"

static void expect_full(struct raw *raw)
{
    run_until(raw->world, &raw->ended);
    assert_memory_equal(raw->got, "HTTP/1.1 503 ", 13);
    assert_non_null(strstr(raw->got, "\r\nRetry-After: 5\r\n"));
    assert_non_null(strstr(raw->got, "refused 503"));
    raw_close(raw);
}

/* Room for one large body and a half, 34464 bytes of each being more than
 * small: RFC 9110, 15.6.4 and 10.2.3. */
static void test_bodies_together(void **state)
{
    static char body[BODY_MAX];
    struct http_server_view view;
    struct world w;
    struct raw first, second;

    (void)state;
    memset(body, 'x', sizeof(body));
    open_guarded(&w, 50000);
    raw_open(&first, &w);
    raw_send_text(&first, LARGE_HEAD);
    raw_send_all(&first, body, sizeof(body) - 1);
    for (int i = 0; i < 50; i++)
        uv_run(&w.loop, UV_RUN_NOWAIT);
    /* another one: told by its head */
    raw_open(&second, &w);
    raw_send_text(&second, LARGE_HEAD);
    expect_full(&second);
    /* one that does not say how long it is: told on the way */
    raw_open(&second, &w);
    raw_send_text(&second, "POST /method HTTP/1.1\r\n" HOST TOKEN
                           "Transfer-Encoding: chunked\r\n\r\n15f90\r\n");
    raw_send_all(&second, body, 90000);
    expect_full(&second);
    /* a small one always has room */
    raw_open(&second, &w);
    raw_send_text(&second, "POST /method HTTP/1.1\r\n" HOST
                           "Content-Length: 5\r\n\r\nhello");
    raw_await(&second, "HTTP/1.1 200 ", 1);
    assert_int_equal(w.handled, 1);
    /* the first is whole, and makes room */
    raw_send_all(&first, body, 1);
    raw_await(&first, "HTTP/1.1 200 ", 1);
    assert_int_equal(w.handled, 2);
    raw_send_text(&second, LARGE_HEAD);
    raw_send_all(&second, body, sizeof(body));
    raw_await(&second, "HTTP/1.1 200 ", 2);
    assert_int_equal(w.handled, 3);
    http_server_look(w.server, &view);
    assert_int_equal(view.overfull, 2);
    raw_close(&first);
    raw_close(&second);
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
        cmocka_unit_test(test_head_first),
        cmocka_unit_test(test_lines_of_one_name),
        cmocka_unit_test(test_bodies_together),
    };

    /* A proxy of the machine must not stand between the two. */
    setenv("no_proxy", "*", 1);
    return cmocka_run_group_tests(tests, NULL, NULL);
}

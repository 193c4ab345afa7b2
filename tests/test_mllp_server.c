/*
 * The listener from outside: sockets of the system, frames written by hand
 * after HL7 v2.5.1, appendix C (0x0B message 0x1C 0x0D).  Loop and clients run
 * in turns in one thread.
 */
#include "service/mllp_server.h"

#include "service/log.h"
#include "tests/tls_kit.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <time.h>

enum { CALLS_MAX = 512, GOT_MAX = 4 * 1024 * 1024, WAIT_MS = 5000 };

/* ---- the world ------------------------------------------------------------ */

static uv_loop_t loop;
static struct mllp_server *server;
static bool closed;

/* What the handler was called for. */
static struct {
    struct mllp_call *call; /* not answered yet */
    char text[64];
    size_t len;
    bool too_long, bears;
} calls[CALLS_MAX];
static size_t call_count;
static bool by_hand;   /* answer() answers; else at once */
static size_t padding; /* bytes more in each answer */

static void answer(size_t i, bool close)
{
    static char frame[300 * 1024];
    int n = snprintf(frame, sizeof(frame), "\x0b%.60s!", calls[i].text);

    memset(frame + n, '.', padding);
    memcpy(frame + n + padding, "\x1c\r", 2);
    mllp_answer(calls[i].call, frame, (size_t)n + padding + 2, close);
    calls[i].call = NULL;
}

static void on_message(void *arg, struct mllp_call *call, const char *bytes,
                       size_t len, bool too_long)
{
    (void)arg;
    assert_true(call_count < CALLS_MAX);
    calls[call_count].call = call;
    snprintf(calls[call_count].text, sizeof(calls[0].text), "%.*s", (int)len,
             bytes);
    calls[call_count].len = len;
    calls[call_count].too_long = too_long;
    calls[call_count].bears = mllp_bears(call, "hall-north.example");
    call_count++;
    if (!by_hand)
        answer(call_count - 1, false);
}

static struct mllp_server_options defaults(void)
{
    return (struct mllp_server_options){ .address = "127.0.0.1",
                                         .frame_max = 1000,
                                         .connections_max = 300,
                                         .idle_timeout_ms = 60000,
                                         .message_timeout_ms = 60000,
                                         .settle_ms = 30,
                                         .keep_alive_s = 60 };
}

static void open_server(const struct mllp_server_options *options)
{
    struct buf why;

    log_set_level(LOG_ERROR);
    buf_init(&why, 1024);
    assert_int_equal(uv_loop_init(&loop), 0);
    assert_int_equal(
        mllp_server_open(&loop, options, on_message, NULL, &server, &why),
        ERR_OK);
    buf_clear(&why);
    call_count = padding = 0;
    by_hand = closed = false;
}

static void on_closed(void *arg)
{
    *(bool *)arg = true;
}

static void close_server(void)
{
    if (!closed)
        mllp_server_close(server, on_closed, &closed);
    for (size_t i = 0; i < call_count; i++) {
        if (calls[i].call != NULL)
            answer(i, false);
    }
    uv_run(&loop, UV_RUN_DEFAULT);
    assert_true(closed);
    assert_int_equal(uv_loop_close(&loop), 0);
}

static struct mllp_view view(void)
{
    struct mllp_view v;

    mllp_server_look(server, &v);
    return v;
}

/* ---- clients -------------------------------------------------------------- */

struct client {
    int fd;
    SSL *ssl; /* NULL: plain */
    char *got;
    size_t len;
    bool ended;
};

static int connect_socket(int receive_room)
{
    struct sockaddr_in at = { .sin_family = AF_INET,
                              .sin_port =
                                  htons((uint16_t)mllp_server_port(server)) };
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

    at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    assert_true(fd >= 0);
    if (receive_room > 0)
        setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &receive_room,
                   sizeof(receive_room));
    assert_int_equal(connect(fd, (struct sockaddr *)&at, sizeof(at)), 0);
    assert_int_equal(fcntl(fd, F_SETFL, O_NONBLOCK), 0);
    return fd;
}

static struct client open_client(void)
{
    return (struct client){ .fd = connect_socket(0),
                            .got = calloc(1, GOT_MAX) };
}

static void close_client(struct client *c)
{
    SSL_free(c->ssl);
    close(c->fd);
    free(c->got);
}

static void sleep_ms(int ms)
{
    const struct timespec wait = { 0, ms * 1000000L };

    nanosleep(&wait, NULL);
}

static void turn(void)
{
    uv_run(&loop, UV_RUN_NOWAIT);
    sleep_ms(1);
}

/* What has come for it. */
static void look(struct client *c)
{
    ssize_t n;

    do {
        n = c->ssl != NULL
                ? SSL_read(c->ssl, c->got + c->len, 4096)
                : recv(c->fd, c->got + c->len, GOT_MAX - c->len - 1, 0);
        if (n > 0)
            c->len += (size_t)n;
    } while (n > 0);
    if (c->ssl != NULL)
        c->ended =
            c->ended || SSL_get_error(c->ssl, (int)n) != SSL_ERROR_WANT_READ;
    else
        c->ended = c->ended || n == 0 || (n < 0 && errno != EAGAIN);
    c->got[c->len] = '\0';
}

/* Until so many bytes have come, or the connection has ended. */
static void await_bytes(struct client *c, size_t len)
{
    for (int i = 0; i < WAIT_MS && c->len < len && !c->ended; i++) {
        turn();
        look(c);
    }
}

static void await_end(struct client *c)
{
    for (int i = 0; i < WAIT_MS && !c->ended; i++) {
        turn();
        look(c);
    }
    assert_true(c->ended);
}

static void await_calls(size_t count)
{
    for (int i = 0; i < WAIT_MS && call_count < count; i++)
        turn();
    assert_int_equal(call_count, count);
}

static void run_ms(int ms)
{
    for (int i = 0; i < ms; i++)
        turn();
}

static void send_bytes(struct client *c, const char *bytes, size_t len)
{
    while (len > 0) {
        ssize_t n = c->ssl != NULL ? SSL_write(c->ssl, bytes, (int)len)
                                   : send(c->fd, bytes, len, MSG_NOSIGNAL);

        if (n > 0) {
            bytes += n;
            len -= (size_t)n;
        } else {
            turn();
            look(c);
        }
    }
}

static void send_text(struct client *c, const char *text)
{
    send_bytes(c, text, strlen(text));
}

static void expect_got(struct client *c, const char *text)
{
    await_bytes(c, strlen(text));
    assert_string_equal(c->got, text);
    c->len = 0;
}

/* ---- frames --------------------------------------------------------------- */

static void answers_each_frame(void **state)
{
    static const struct {
        const char *name, *sent, *got;
    } cases[] = {
        { "one", "\x0bONE\x1c\r", "\x0bONE!\x1c\r" },
        { "three at once",
          "\x0b"
          "A\x1c\r\x0b"
          "B\x1c\r\x0b"
          "C\x1c\r",
          "\x0b"
          "A!\x1c\r\x0b"
          "B!\x1c\r\x0b"
          "C!\x1c\r" },
        { "junk before and between",
          "HELLO\r\n\x0b"
          "A\x1c\r\r\n??\x0b"
          "B\x1c\r",
          "\x0b"
          "A!\x1c\r\x0b"
          "B!\x1c\r" },
        { "begun anew", "\x0bHALF\x0bWHOLE\x1c\r", "\x0bWHOLE!\x1c\r" },
        { "last CR missing before the next",
          "\x0b"
          "A\x1c\x0b"
          "B\x1c\r",
          "\x0b"
          "A!\x1c\r\x0b"
          "B!\x1c\r" },
        { "last CR missing at the end",
          "\x0b"
          "A\x1c",
          "\x0b"
          "A!\x1c\r" },
        { "segments", "\x0bMSH|^~\\&|\rPID|1\r\x1c\r",
          "\x0bMSH|^~\\&|\rPID|1\r!\x1c\r" },
        { "empty", "\x0b\x1c\r", "\x0b!\x1c\r" },
    };
    struct mllp_server_options o = defaults();
    struct mllp_view v;

    (void)state;
    for (size_t i = 0; i < 2 * COUNT(cases); i++) {
        struct client c;
        bool by_bytes = i % 2 == 1;

        ROW(cases[i / 2].name);
        open_server(&o);
        c = open_client();
        for (const char *at = cases[i / 2].sent; by_bytes && *at != '\0';
             at++) {
            send_bytes(&c, at, 1);
            uv_run(&loop, UV_RUN_NOWAIT);
            look(&c);
        }
        if (!by_bytes)
            send_text(&c, cases[i / 2].sent);
        expect_got(&c, cases[i / 2].got);
        run_ms(5);
        look(&c);
        assert_int_equal(c.len, 0); /* exactly one each */
        assert_false(c.ended);
        close_client(&c);
        run_ms(5);
        v = view();
        assert_int_equal(v.open, 0);
        assert_int_equal(v.frames, call_count);
        assert_int_equal(v.connections, 1);
        close_server();
    }
}

static void counts_what_it_lets_pass(void **state)
{
    struct mllp_server_options o = defaults();
    struct client c;
    struct mllp_view v;

    (void)state;
    open_server(&o);
    c = open_client();
    send_text(&c, "abc\r\n\x0bHALF\x0b"
                  "A\x1c\x0b"
                  "B\x1c\r");
    expect_got(&c, "\x0b"
                   "A!\x1c\r\x0b"
                   "B!\x1c\r");
    v = view();
    assert_int_equal(v.outside, 3);
    assert_int_equal(v.restarted, 1);
    assert_int_equal(v.unended, 1);
    assert_int_equal(v.frames, 2);
    close_client(&c);
    close_server();
}

/* One message is dealt with at a time; what follows is not even read. */
static void waits_for_the_answer(void **state)
{
    static char flood[8 * 1024 * 1024];
    struct mllp_server_options o = defaults();
    struct client c;
    size_t sent = 0;

    (void)state;
    open_server(&o);
    by_hand = true;
    c = open_client();
    for (size_t i = 0; i + 5 <= sizeof(flood); i += 5)
        memcpy(flood + i,
               "\x0b"
               "AB\x1c\r",
               5);
    for (int i = 0; i < 300; i++) {
        ssize_t n =
            send(c.fd, flood + sent, sizeof(flood) - sent, MSG_NOSIGNAL);

        sent += n > 0 ? (size_t)n : 0;
        turn();
    }
    assert_int_equal(call_count, 1);
    assert_true(sent < sizeof(flood)); /* the network is full instead */
    assert_int_equal(mllp_server_pending(server), 1);
    answer(0, false);
    await_calls(2);
    expect_got(&c, "\x0b"
                   "AB!\x1c\r");
    answer(1, true); /* and the connection ends */
    await_bytes(&c, 6);
    assert_memory_equal(c.got,
                        "\x0b"
                        "AB!\x1c\r",
                        6);
    await_end(&c);
    assert_int_equal(call_count, 2);
    close_client(&c);
    close_server();
}

static void tells_of_long_frames(void **state)
{
    struct mllp_server_options o = defaults();
    char frame[3000];
    struct client c;

    (void)state;
    open_server(&o);
    c = open_client();
    memset(frame, 'x', sizeof(frame));
    frame[0] = '\x0b';
    memcpy(frame + 1001, "\x1c\r", 2); /* 1000 bytes: the longest */
    send_bytes(&c, frame, 1003);
    await_calls(1);
    assert_int_equal(calls[0].len, 1000);
    assert_false(calls[0].too_long);
    frame[1001] = 'x';
    frame[1002] = '\x1c';
    send_bytes(&c, frame, 1003);
    send_text(&c, "\r\x0bNEXT\x1c\r");
    await_calls(3);
    assert_true(calls[1].too_long);
    assert_int_equal(calls[1].len, 1000);
    assert_string_equal(calls[2].text, "NEXT");
    assert_false(calls[2].too_long);
    assert_int_equal(view().too_long, 1);
    assert_int_equal(view().frames, 2);
    run_ms(5);
    look(&c);
    assert_false(c.ended);
    close_client(&c);
    close_server();
}

static void answers_after_a_half_close(void **state)
{
    static const struct {
        const char *name, *sent, *got;
        unsigned dropped;
    } cases[] = {
        { "whole",
          "\x0b"
          "A\x1c\r\x0b"
          "B\x1c\r",
          "\x0b"
          "A!\x1c\r\x0b"
          "B!\x1c\r",
          0 },
        { "whole but for the CR",
          "\x0b"
          "A\x1c",
          "\x0b"
          "A!\x1c\r",
          0 },
        { "whole and half",
          "\x0b"
          "A\x1c\r\x0b"
          "B",
          "\x0b"
          "A!\x1c\r",
          1 },
        { "nothing", "", "", 0 },
    };
    struct mllp_server_options o = defaults();

    (void)state;
    o.settle_ms = 60000; /* not by waiting */
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct client c;

        ROW(cases[i].name);
        open_server(&o);
        c = open_client();
        send_text(&c, cases[i].sent);
        shutdown(c.fd, SHUT_WR);
        await_end(&c);
        assert_string_equal(c.got, cases[i].got);
        assert_int_equal(view().dropped, cases[i].dropped);
        close_client(&c);
        close_server();
    }
}

/* ---- limits --------------------------------------------------------------- */

static void closes_the_idle(void **state)
{
    struct mllp_server_options o = defaults();
    struct client c;

    (void)state;
    o.idle_timeout_ms = 60;
    open_server(&o);
    c = open_client();
    send_text(&c, "\x0b"
                  "A\x1c\r");
    expect_got(&c, "\x0b"
                   "A!\x1c\r");
    for (int i = 0; i < 300 && !c.ended; i++) {
        if (i % 10 == 0 && !c.ended)
            send(c.fd, "\r", 1, MSG_NOSIGNAL); /* no message */
        turn();
        look(&c);
    }
    assert_true(c.ended);
    assert_int_equal(view().idle, 1);
    assert_int_equal(view().slow, 0);
    close_client(&c);
    close_server();
}

/* Dripping does not put it off. */
static void closes_the_slow(void **state)
{
    struct mllp_server_options o = defaults();
    struct client c;

    (void)state;
    o.message_timeout_ms = 80;
    open_server(&o);
    c = open_client();
    send_text(&c, "\x0b");
    for (int i = 0; i < 400 && !c.ended; i++) {
        send(c.fd, "x", 1, MSG_NOSIGNAL);
        turn();
        look(&c);
    }
    assert_true(c.ended);
    assert_int_equal(view().slow, 1);
    assert_int_equal(view().dropped, 1);
    assert_int_equal(call_count, 0);
    close_client(&c);
    close_server();
}

static void closes_who_takes_no_answer(void **state)
{
    struct mllp_server_options o = defaults();
    struct client c = { .got = calloc(1, GOT_MAX) };
    struct mllp_view v;

    (void)state;
    o.message_timeout_ms = 150;
    open_server(&o);
    padding = 200 * 1024;
    c.fd = connect_socket(4096);
    for (int i = 0; i < 60; i++)
        send(c.fd,
             "\x0b"
             "A\x1c\r",
             4, MSG_NOSIGNAL);
    for (int i = 0; i < WAIT_MS && (v = view(), v.slow) == 0; i++)
        turn();
    assert_int_equal(v.slow, 1);
    assert_int_equal(v.open, 0);
    assert_true(call_count < 60);
    close_client(&c);
    close_server();
}

static void limits_connections(void **state)
{
    struct mllp_server_options o = defaults();
    struct client c[3];

    (void)state;
    o.connections_max = 2;
    open_server(&o);
    for (size_t i = 0; i < COUNT(c); i++) {
        c[i] = open_client();
        run_ms(3);
    }
    await_end(&c[2]);
    assert_int_equal(view().full, 1);
    send_text(&c[0], "\x0b"
                     "A\x1c\r");
    expect_got(&c[0], "\x0b"
                      "A!\x1c\r");
    close_client(&c[1]); /* makes room */
    run_ms(5);
    c[1] = open_client();
    send_text(&c[1], "\x0b"
                     "B\x1c\r");
    expect_got(&c[1], "\x0b"
                      "B!\x1c\r");
    for (size_t i = 0; i < COUNT(c); i++)
        close_client(&c[i]);
    close_server();
}

static void serves_many(void **state)
{
    enum { MANY = 200 };
    static struct client c[MANY];
    struct mllp_server_options o = defaults();
    char text[32];

    (void)state;
    open_server(&o);
    for (int i = 0; i < MANY; i++) {
        c[i] = (struct client){ .fd = connect_socket(0),
                                .got = calloc(1, GOT_MAX / 64) };
        uv_run(&loop, UV_RUN_NOWAIT);
    }
    for (int i = 0; i < MANY; i++) {
        snprintf(text, sizeof(text), "\x0bM%d\x1c\r", i);
        send_text(&c[i], text);
    }
    for (int i = 0; i < MANY; i++) {
        snprintf(text, sizeof(text), "\x0bM%d!\x1c\r", i);
        for (int k = 0; k < WAIT_MS && c[i].len < strlen(text); k++) {
            ssize_t n = recv(c[i].fd, c[i].got + c[i].len, 100, 0);

            c[i].len += n > 0 ? (size_t)n : 0;
            if (c[i].len < strlen(text))
                turn();
        }
        assert_string_equal(c[i].got, text);
        close(c[i].fd);
        free(c[i].got);
    }
    assert_int_equal(view().connections, MANY);
    close_server();
}

/* ---- who may -------------------------------------------------------------- */

static void reads_addresses(void **state)
{
    static const struct {
        const char *allow, *peer;
        bool want;
    } cases[] = {
        { "", "192.0.2.1", true },
        { "192.0.2.1", "192.0.2.1", true },
        { "192.0.2.1", "192.0.2.2", false },
        { "10.20.0.0/16", "10.20.255.255", true },
        { "10.20.0.0/16", "10.21.0.0", false },
        { "10.20.0.0/15", "10.21.0.0", true },
        { "10.20.0.0/15", "10.22.0.0", false },
        { "192.0.2.128/25", "192.0.2.127", false },
        { "192.0.2.128/25", "192.0.2.128", true },
        { "0.0.0.0/0", "203.0.113.9", true },
        { "0.0.0.0/0", "2001:db8::1", false },
        { "::/0", "2001:db8::1", true },
        { "::/0", "203.0.113.9", true }, /* all there are */
        { "2001:db8::/32", "2001:db8:ffff::1", true },
        { "2001:db8::/32", "2001:db9::1", false },
        { "10.0.0.1, 2001:db8::7 ,192.0.2.0/24", "192.0.2.77", true },
        { "10.0.0.1, 2001:db8::7 ,192.0.2.0/24", "2001:db8::7", true },
        { "10.0.0.1, 2001:db8::7 ,192.0.2.0/24", "10.0.0.2", false },
        { "192.0.2.7", "::ffff:192.0.2.7", true }, /* RFC 4291, 2.5.5.2 */
        { "::ffff:192.0.2.7", "192.0.2.7", true },
    };
    static const char *const bad[] = { "hall",        "10.0.0.0/33", "10.0.0/8",
                                       "10.0.0.0/",   "10.0.0.0/-1", "::/129",
                                       "10.0.0.0/8x", "2001:db8::g", "/8" };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct sockaddr_in6 six = { .sin6_family = AF_INET6 };
        struct sockaddr_in four = { .sin_family = AF_INET };
        bool is_six = strchr(cases[i].peer, ':') != NULL;
        struct mllp_allow allow;
        const char *at;

        ROW(cases[i].allow);
        assert_int_equal(mllp_allow_read(cases[i].allow, &allow, &at), ERR_OK);
        assert_int_equal(
            inet_pton(is_six ? AF_INET6 : AF_INET, cases[i].peer,
                      is_six ? (void *)&six.sin6_addr : (void *)&four.sin_addr),
            1);
        assert_int_equal(mllp_allows(&allow, is_six ? (struct sockaddr *)&six
                                                    : (struct sockaddr *)&four),
                         cases[i].want);
    }
    for (size_t i = 0; i < COUNT(bad); i++) {
        struct mllp_allow allow;
        const char *at = NULL;
        char text[64];

        ROW(bad[i]);
        snprintf(text, sizeof(text), "10.0.0.1, %s, 10.0.0.2", bad[i]);
        assert_int_equal(mllp_allow_read(text, &allow, &at), ERR_FORM);
        assert_ptr_equal(at, text + 10);
    }
}

static void turns_others_away(void **state)
{
    struct mllp_server_options o = defaults();
    const char *at;
    struct client c;

    (void)state;
    assert_int_equal(mllp_allow_read("192.0.2.0/24", &o.allow, &at), ERR_OK);
    open_server(&o);
    c = open_client();
    await_end(&c);
    assert_int_equal(view().turned_away, 1);
    assert_int_equal(view().connections, 0);
    close_client(&c);
    close_server();
}

/* ---- the end -------------------------------------------------------------- */

static void finishes_what_it_has(void **state)
{
    struct mllp_server_options o = defaults();
    struct client idle, busy, half;

    (void)state;
    open_server(&o);
    by_hand = true;
    idle = open_client();
    busy = open_client();
    half = open_client();
    send_text(&busy, "\x0b"
                     "A\x1c\r\x0b"
                     "B\x1c\r");
    send_text(&half, "\x0bHALF");
    await_calls(1);
    run_ms(5);
    mllp_server_quiesce(server);
    await_end(&idle);
    await_end(&half);
    assert_int_equal(mllp_server_pending(server), 1);
    answer(0, false);
    await_end(&busy);
    assert_string_equal(busy.got, "\x0b"
                                  "A!\x1c\r");
    assert_int_equal(call_count, 1); /* B was not taken: it is sent again */
    assert_int_equal(mllp_server_pending(server), 0);
    close_client(&idle);
    close_client(&busy);
    close_client(&half);
    close_server();
}

static void closes_while_it_works(void **state)
{
    struct mllp_server_options o = defaults();
    struct client c;

    (void)state;
    open_server(&o);
    by_hand = true;
    c = open_client();
    send_text(&c, "\x0b"
                  "A\x1c\r");
    await_calls(1);
    mllp_server_close(server, on_closed, &closed);
    for (int i = 0; i < WAIT_MS && !closed; i++)
        turn();
    assert_true(closed);
    assert_false(mllp_bears(calls[0].call, "x"));
    answer(0, false); /* to nobody */
    await_end(&c);
    assert_int_equal(c.len, 0);
    close_client(&c);
    close_server();
}

/* The sender has gone before it is answered. */
static void answers_nobody(void **state)
{
    struct mllp_server_options o = defaults();
    const struct linger reset = { 1, 0 };
    struct client c;

    (void)state;
    open_server(&o);
    by_hand = true;
    c = open_client();
    send_text(&c, "\x0b"
                  "A\x1c\r");
    await_calls(1);
    setsockopt(c.fd, SOL_SOCKET, SO_LINGER, &reset, sizeof(reset));
    close_client(&c);
    run_ms(5);
    answer(0, false);
    run_ms(5);
    assert_int_equal(view().open, 0);
    close_server();
}

/* ---- TLS ------------------------------------------------------------------ */

static struct client open_tls(const struct kit_pair *own)
{
    struct client c = open_client();

    c.ssl = kit_new_client(TLS1_3_VERSION, own);
    SSL_set_fd(c.ssl, c.fd);
    for (int i = 0; i < WAIT_MS && SSL_do_handshake(c.ssl) != 1; i++)
        turn();
    assert_true(SSL_is_init_finished(c.ssl));
    return c;
}

static struct mllp_server_options mutual(void)
{
    struct mllp_server_options o = defaults();

    o.tls = (struct tls_files){ kit_path("server.pem"), kit_path("server.key"),
                                kit_path("ca.pem"), NULL, false };
    return o;
}

static void speaks_tls(void **state)
{
    struct mllp_server_options o = mutual();
    struct client c;

    (void)state;
    open_server(&o);
    c = open_tls(&kit_client);
    send_text(&c, "\x0b"
                  "A\x1c\r\x0b"
                  "B\x1c\r");
    expect_got(&c, "\x0b"
                   "A!\x1c\r\x0b"
                   "B!\x1c\r");
    assert_true(calls[0].bears);
    padding = 200 * 1024;
    send_text(&c, "\x0b"
                  "C\x1c");
    await_bytes(&c, padding + 5);
    assert_int_equal(c.len, padding + 5);
    padding = 0;
    c.len = 0;
    send_text(&c, "\x0b"
                  "D\x1c\r");
    SSL_shutdown(c.ssl); /* it ends its side */
    await_end(&c);
    assert_string_equal(c.got, "\x0b"
                               "D!\x1c\r");
    assert_int_equal(view().tls_failures, 0);
    close_client(&c);
    close_server();
}

static void refuses_false_clients(void **state)
{
    const struct kit_pair *const own[] = { NULL, &kit_stranger, &kit_expired };
    struct mllp_server_options o = mutual();
    struct client c;

    (void)state;
    open_server(&o);
    for (size_t i = 0; i < COUNT(own); i++) {
        ROW(i == 0 ? "none" : i == 1 ? "of another authority" : "expired");
        c = open_tls(own[i]); /* in 1.3 the client learns of it later */
        SSL_write(c.ssl,
                  "\x0b"
                  "A\x1c\r",
                  4);
        await_end(&c);
        assert_int_equal(c.len, 0);
        close_client(&c);
    }
    c = open_client(); /* and without TLS */
    send_text(&c, "\x0bMSH|^~\\&|A\x1c\r");
    await_end(&c);
    assert_null(memchr(c.got, '!', c.len));
    close_client(&c);
    assert_int_equal(view().tls_failures, COUNT(own) + 1);
    assert_int_equal(call_count, 0);
    close_server();
}

/* Somebody who connects and says nothing holds no place for ever. */
static void limits_the_greeting(void **state)
{
    struct mllp_server_options o = mutual();
    struct client c;

    (void)state;
    o.message_timeout_ms = 50;
    open_server(&o);
    c = open_client();
    await_end(&c);
    assert_int_equal(view().tls_failures, 1);
    close_client(&c);
    close_server();
}

static void says_what_is_wrong(void **state)
{
    struct mllp_server_options o = defaults();
    struct mllp_server *other = NULL;
    struct buf why;

    (void)state;
    open_server(&o);
    buf_init(&why, 1024);
    o.port = mllp_server_port(server);
    assert_int_equal(
        mllp_server_open(&loop, &o, on_message, NULL, &other, &why), ERR_IO);
    assert_non_null(strstr(why.data, "cannot be listened on for HL7 v2: it is "
                                     "in use by another program"));
    buf_empty(&why);
    o = defaults();
    o.tls = (struct tls_files){ kit_path("none.pem"), kit_path("server.key"),
                                NULL, NULL, false };
    assert_int_equal(
        mllp_server_open(&loop, &o, on_message, NULL, &other, &why),
        ERR_CONFIG);
    assert_non_null(strstr(why.data, "none.pem"));
    assert_null(other);
    buf_clear(&why);
    close_server();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers_each_frame),
        cmocka_unit_test(counts_what_it_lets_pass),
        cmocka_unit_test(waits_for_the_answer),
        cmocka_unit_test(tells_of_long_frames),
        cmocka_unit_test(answers_after_a_half_close),
        cmocka_unit_test(closes_the_idle),
        cmocka_unit_test(closes_the_slow),
        cmocka_unit_test(closes_who_takes_no_answer),
        cmocka_unit_test(limits_connections),
        cmocka_unit_test(serves_many),
        cmocka_unit_test(reads_addresses),
        cmocka_unit_test(turns_others_away),
        cmocka_unit_test(finishes_what_it_has),
        cmocka_unit_test(closes_while_it_works),
        cmocka_unit_test(answers_nobody),
        cmocka_unit_test(speaks_tls),
        cmocka_unit_test(refuses_false_clients),
        cmocka_unit_test(limits_the_greeting),
        cmocka_unit_test(says_what_is_wrong),
    };

    return cmocka_run_group_tests(tests, kit_start, kit_stop);
}

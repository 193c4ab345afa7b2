/* HTTP by TLS: the other side is OpenSSL's own client, or libcurl (RFC 8446,
 * RFC 5246, RFC 9112). */
#include "adapters/http_tls.h"

#include "tests/http_raw.h"
#include "tests/tls_kit.h"

#include <fcntl.h>
#include <openssl/err.h>
#include <signal.h>

/* ---- a client whose every byte is ours to give ---------------------------- */

struct line {
    struct world *world;
    SSL *ssl;
    uv_poll_t poll;
    int fd;
    char got[8192];
    size_t got_len;
    bool open, failed, ended, closed;
};

static void line_go_on(struct line *l)
{
    int n = 1;

    while (n > 0 && l->got_len < sizeof(l->got) - 1) {
        ERR_clear_error();
        n = SSL_read(l->ssl, l->got + l->got_len,
                     (int)(sizeof(l->got) - 1 - l->got_len));
        l->open = SSL_is_init_finished(l->ssl);
        if (n > 0)
            l->got_len += (size_t)n;
    }
    switch (SSL_get_error(l->ssl, n)) {
    case SSL_ERROR_NONE:
    case SSL_ERROR_WANT_READ:
        return;
    case SSL_ERROR_ZERO_RETURN:
        l->ended = true;
        break;
    default:
        l->failed = l->ended = true;
    }
    uv_poll_stop(&l->poll);
}

static void line_readable(uv_poll_t *poll, int status, int events)
{
    (void)status;
    (void)events;
    line_go_on(poll->data);
}

static void line_open(struct line *l, struct world *w, int version,
                      const struct kit_pair *own)
{
    struct sockaddr_in in = { .sin_family = AF_INET,
                              .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };

    memset(l, 0, sizeof(*l));
    l->world = w;
    l->fd = socket(AF_INET, SOCK_STREAM, 0);
    in.sin_port = htons((uint16_t)http_server_port(w->server));
    assert_int_equal(connect(l->fd, (struct sockaddr *)&in, sizeof(in)), 0);
    fcntl(l->fd, F_SETFL, O_NONBLOCK);
    l->ssl = kit_new_client(version, own);
    SSL_set_fd(l->ssl, l->fd);
    uv_poll_init(&w->loop, &l->poll, l->fd);
    l->poll.data = l;
    uv_poll_start(&l->poll, UV_READABLE, line_readable);
    line_go_on(l); /* begins the greeting */
}

static void line_run(struct line *l, const bool *flag)
{
    while (!*flag && !l->ended && !l->world->late)
        uv_run(&l->world->loop, UV_RUN_ONCE);
    assert_false(l->world->late);
}

static void line_send(struct line *l, const char *text)
{
    if (!l->ended)
        (void)SSL_write(l->ssl, text, (int)strlen(text));
}

static void line_await(struct line *l, const char *what, unsigned times)
{
    while (count_text(l->got, what) < times && !l->ended && !l->world->late)
        uv_run(&l->world->loop, UV_RUN_ONCE);
    assert_false(l->world->late);
    assert_int_equal(count_text(l->got, what), times);
}

static void line_gone(uv_handle_t *handle)
{
    ((struct line *)handle->data)->closed = true;
}

static void line_close(struct line *l)
{
    uv_close((uv_handle_t *)&l->poll, line_gone);
    run_until(l->world, &l->closed);
    SSL_free(l->ssl);
    close(l->fd);
}

/* ---- a server ------------------------------------------------------------- */

static void serve_tls(struct world *w, const struct tls_files *files)
{
    struct buf why;

    world_init(w);
    buf_init(&why, 1024);
    assert_int_equal(tls_context_open(files, &w->options.tls, &why), ERR_OK);
    buf_clear(&why);
    w->options.request_timeout_ms = 300;
    w->options.idle_timeout_ms = 3000;
    world_serve(w);
}

static struct tls_files plain_files(void)
{
    return (struct tls_files){ .certificate = kit_path("server.pem"),
                               .key = kit_path("server.key") };
}

static void end_tls(struct world *w)
{
    struct tls_context *context = w->options.tls;

    world_end(w);
    tls_context_close(context);
}

static struct http_server_view look(const struct world *w)
{
    struct http_server_view view;

    http_server_look(w->server, &view);
    return view;
}

static struct http_call_options secure_call(struct world *w, char *url,
                                            size_t size, const char *path)
{
    struct http_call_options o = call_to(w, url, size, path);

    snprintf(url, size, "https://localhost:%d%s", http_server_port(w->server),
             path);
    return o;
}

static void trust(struct world *w, const char *ca, const char *who)
{
    char pem[64], key[64];
    struct http_trust t = { .ca = ca };

    snprintf(pem, sizeof(pem), "%s.pem", who != NULL ? who : "");
    snprintf(key, sizeof(key), "%s.key", who != NULL ? who : "");
    if (who != NULL) {
        t.certificate = kit_path(pem);
        t.key = kit_path(key);
    }
    assert_int_equal(http_client_trust(w->client, &t), ERR_OK);
}

/* ---- who is believed ------------------------------------------------------ */

static void speaks_tls(void **state)
{
    static const int versions[] = { TLS1_2_VERSION, TLS1_3_VERSION };
    struct tls_files files = plain_files();

    (void)state;
    for (size_t i = 0; i < COUNT(versions); i++) {
        struct world w;
        struct line l;

        serve_tls(&w, &files);
        line_open(&l, &w, versions[i], NULL);
        line_run(&l, &l.open);
        assert_true(l.open);
        assert_int_equal(SSL_version(l.ssl), versions[i]);
        /* two requests in one write, and a third later */
        line_send(&l, "GET /method HTTP/1.1\r\n" HOST "\r\n"
                      "POST /echo HTTP/1.1\r\n" HOST
                      "Content-Length: 5\r\n\r\nhello");
        line_await(&l, "HTTP/1.1 200", 2);
        assert_non_null(strstr(l.got, "hello"));
        line_send(&l, "GET /later HTTP/1.1\r\n" HOST "\r\n");
        line_await(&l, "later", 1);
        assert_int_equal(look(&w).tls_greeted, 1);
        assert_int_equal(look(&w).open, 1);
        line_close(&l);
        end_tls(&w);
    }
}

static void refuses_what_is_old(void **state)
{
    struct tls_files files = plain_files();
    struct world w;
    struct line l;
    struct raw raw;

    (void)state;
    serve_tls(&w, &files);
    line_open(&l, &w, TLS1_1_VERSION, NULL);
    line_run(&l, &l.open);
    assert_true(l.failed && !l.open);
    line_close(&l);
    /* HTTP without TLS gets an alert, and no page */
    raw_open(&raw, &w);
    raw_send(&raw, "GET / HTTP/1.1\r\n" HOST "\r\n", 30);
    run_until(&w, &raw.ended);
    assert_null(strstr(raw.got, "HTTP/1.1"));
    raw_close(&raw);
    assert_int_equal(look(&w).tls_failed, 2);
    assert_int_equal(w.handled, 0);
    end_tls(&w);
}

/* Certificates of clients: required, asked for, not asked for. */
static void asks_for_certificates(void **state)
{
    const struct {
        const char *name;
        const struct kit_pair *own;
        bool ca, may_lack, let;
    } cases[] = {
        { "required, and there", &kit_client, true, false, true },
        { "required, and none", NULL, true, false, false },
        { "required, of another authority", &kit_stranger, true, false, false },
        { "required, run out", &kit_expired, true, false, false },
        { "asked, and there", &kit_client, true, true, true },
        { "asked, and none", NULL, true, true, true },
        { "asked, of another authority", &kit_stranger, true, true, false },
        { "not asked", &kit_client, false, false, true },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct tls_files files = plain_files();
        struct world w;
        struct line l;

        ROW(cases[i].name);
        files.client_ca = cases[i].ca ? kit_path("ca.pem") : NULL;
        files.client_may_lack = cases[i].may_lack;
        serve_tls(&w, &files);
        line_open(&l, &w, TLS1_3_VERSION, cases[i].own);
        line_run(&l, &l.open);
        line_send(&l,
                  "GET /echo HTTP/1.1\r\n" HOST "Connection: close\r\n\r\n");
        line_run(&l, &l.ended);
        assert_int_equal(count_text(l.got, "HTTP/1.1 200"), cases[i].let);
        assert_int_equal(w.handled, cases[i].let);
        assert_int_equal(look(&w).tls_certificates,
                         cases[i].let && cases[i].ca && cases[i].own != NULL);
        assert_int_equal(look(&w).tls_failed, !cases[i].let);
        line_close(&l);
        end_tls(&w);
    }
}

static void believes_its_own_authority(void **state)
{
    struct tls_files files = plain_files();
    struct http_call_options o;
    struct result r;
    struct world w;
    char url[256];

    (void)state;
    files.client_ca = kit_path("ca.pem");
    serve_tls(&w, &files);
    o = secure_call(&w, url, sizeof(url), "/echo");
    call(&w, &o, &r); /* the authorities of the system do not know ours */
    assert_int_equal(r.err, ERR_IO);
    trust(&w, kit_path("ca.pem"), NULL);
    call(&w, &o, &r); /* and the server does not know us */
    assert_int_equal(r.err, ERR_IO);
    trust(&w, kit_path("ca.pem"), "client");
    call(&w, &o, &r);
    assert_int_equal(r.status, 200);
    /* a name that is not in the certificate */
    snprintf(url, sizeof(url), "https://127.0.0.2:%d/echo",
             http_server_port(w.server));
    call(&w, &o, &r);
    assert_int_equal(r.err, ERR_IO);
    end_tls(&w);
}

/* ---- sizes ---------------------------------------------------------------- */

struct sized {
    struct result r; /* first */
    size_t len;
};

static bool count_sized(void *arg, const char *piece, size_t len)
{
    (void)piece;
    ((struct sized *)arg)->len += len;
    return true;
}

static void carries_large_bodies(void **state)
{
    struct tls_files files = plain_files();
    static char body[BODY_MAX];
    struct http_call_options o;
    struct http_call *c;
    struct sized big = { .len = 0 };
    struct world w;
    char url[256];

    (void)state;
    memset(body, 'x', sizeof(body));
    serve_tls(&w, &files);
    trust(&w, kit_path("ca.pem"), NULL);
    o = secure_call(&w, url, sizeof(url), "/echo");
    o.method = "POST";
    o.body = body;
    o.body_len = sizeof(body);
    call(&w, &o, &big.r);
    assert_int_equal(big.r.status, 200);
    assert_int_equal(big.r.body_len, sizeof(body));
    o = secure_call(&w, url, sizeof(url), "/big");
    o.answer_max = 9000000;
    o.on_piece = count_sized;
    memset(&big, 0, sizeof(big));
    assert_int_equal(http_call_start(w.client, &o, take_answer, &big, &c),
                     ERR_OK);
    await(&w, &big.r, 1);
    assert_int_equal(big.len, 8000000);
    end_tls(&w);
}

/* One that is too large is told so, though it goes on sending. */
static void refuses_large_bodies(void **state)
{
    struct tls_files files = plain_files();
    char piece[4096 + 16];
    struct world w;
    struct line l;

    (void)state;
    memset(piece, 'x', sizeof(piece));
    snprintf(piece, sizeof(piece), "1000\r\n");
    piece[6] = 'x';
    snprintf(piece + 6 + 4096, 3, "\r\n");
    serve_tls(&w, &files);
    line_open(&l, &w, TLS1_3_VERSION, NULL);
    line_run(&l, &l.open);
    line_send(&l, "POST /echo HTTP/1.1\r\n" HOST
                  "Transfer-Encoding: chunked\r\n\r\n");
    while (!l.ended) {
        line_send(&l, piece);
        uv_run(&w.loop, UV_RUN_NOWAIT);
        assert_false(w.late);
    }
    assert_non_null(strstr(l.got, "HTTP/1.1 413"));
    assert_false(l.failed); /* its end was said; nothing was cut off */
    line_close(&l);
    end_tls(&w);
}

/* ---- time ----------------------------------------------------------------- */

struct drip {
    uv_timer_t timer;
    struct line *line;
    const char *text;
    size_t at;
    bool closed;
};

static void drip_one(uv_timer_t *timer)
{
    struct drip *d = timer->data;
    char byte[2] = { d->text[d->at], '\0' };

    if (byte[0] != '\0') {
        line_send(d->line, byte);
        d->at++;
    }
}

static void drip_closed(uv_handle_t *handle)
{
    ((struct drip *)handle->data)->closed = true;
}

/* A byte every 10 ms, each in a record of its own, and the limit of a request
 * still ends it: 300 ms, within a tenth of a second. */
static void cuts_those_who_drip(void **state)
{
    static const char drip[] =
        "/xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"
        "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"
        "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx";
    static const char *const firsts[] = { "GET ", "GET / HTTP/1.1\r\nX-A: ",
                                          "POST / HTTP/1.1\r\n" HOST
                                          "Content-Length: 999\r\n\r\n",
                                          "GET /echo HTTP/1.1\r\n" HOST
                                          "\r\nGET " };
    struct tls_files files = plain_files();

    (void)state;
    for (size_t i = 0; i < COUNT(firsts); i++) {
        struct world w;
        struct line l;
        struct drip d = { .line = &l, .text = drip };
        uint64_t start_ns, took_ms;

        ROW(firsts[i]);
        serve_tls(&w, &files);
        line_open(&l, &w, TLS1_3_VERSION, NULL);
        line_run(&l, &l.open);
        start_ns = uv_hrtime();
        line_send(&l, firsts[i]);
        uv_timer_init(&w.loop, &d.timer);
        d.timer.data = &d;
        uv_timer_start(&d.timer, drip_one, 10, 10);
        line_run(&l, &l.ended);
        took_ms = (uv_hrtime() - start_ns) / 1000000;
        assert_in_range(took_ms, 280, 1500);
        uv_close((uv_handle_t *)&d.timer, drip_closed);
        run_until(&w, &d.closed);
        line_close(&l);
        end_tls(&w);
    }
}

/* Who connects and says nothing, or half a greeting, goes at the limit of a
 * request; who was greeted and says nothing at that of idling. */
static void cuts_those_who_are_silent(void **state)
{
    static const char half[] = "\x16\x03\x01\x02\x00\x01";
    struct tls_files files = plain_files();
    struct world w;
    struct raw raw[2];
    struct line l;

    (void)state;
    serve_tls(&w, &files);
    raw_open(&raw[0], &w);
    raw_open(&raw[1], &w);
    raw_send(&raw[1], half, sizeof(half) - 1);
    run_until(&w, &raw[0].ended);
    run_until(&w, &raw[1].ended);
    raw_close(&raw[0]);
    raw_close(&raw[1]);
    assert_int_equal(look(&w).tls_failed, 2);
    line_open(&l, &w, TLS1_2_VERSION, NULL);
    line_run(&l, &l.open);
    line_run(&l, &l.ended); /* 3 s, and no reset */
    assert_false(l.failed);
    line_close(&l);
    end_tls(&w);
}

/* ---- places --------------------------------------------------------------- */

static void waits_for_a_place(void **state)
{
    struct tls_files files = plain_files();
    struct world w;
    struct line first, second;

    (void)state;
    world_init(&w);
    w.options.connections_max = 1;
    w.options.request_timeout_ms = w.options.idle_timeout_ms = 5000;
    {
        struct buf why;

        buf_init(&why, 1024);
        assert_int_equal(tls_context_open(&files, &w.options.tls, &why),
                         ERR_OK);
        buf_clear(&why);
    }
    world_serve(&w);
    line_open(&first, &w, TLS1_3_VERSION, NULL);
    line_run(&first, &first.open);
    line_open(&second, &w, TLS1_3_VERSION, NULL);
    for (int i = 0; i < 20; i++)
        uv_run(&w.loop, UV_RUN_NOWAIT);
    assert_false(second.open);
    assert_int_equal(look(&w).open, 1);
    line_send(&first, "GET /echo HTTP/1.1\r\n" HOST "\r\n");
    line_run(&first, &first.ended); /* none is kept while all are taken */
    assert_non_null(strstr(first.got, "Connection: close"));
    line_close(&first);
    line_run(&second, &second.open);
    assert_true(second.open);
    line_close(&second);
    end_tls(&w);
}

/* An address has so many places; a proxy as many as it wants. */
static void limits_an_address(void **state)
{
    struct tls_files files = plain_files();
    struct http_prefixes proxies;
    const char *bad;

    (void)state;
    assert_int_equal(http_prefixes_read("127.0.0.0/8", &proxies, &bad), ERR_OK);
    for (int i = 0; i < 4; i++) {
        bool tls = (i & 1) != 0, proxy = (i & 2) != 0;
        struct world w;
        struct raw raw[4];

        world_init(&w);
        w.options.per_client_max = 3;
        w.options.proxies = proxy ? &proxies : NULL;
        if (tls) {
            struct buf why;

            buf_init(&why, 1024);
            assert_int_equal(tls_context_open(&files, &w.options.tls, &why),
                             ERR_OK);
            buf_clear(&why);
        }
        world_serve(&w);
        for (size_t k = 0; k < COUNT(raw); k++)
            raw_open(&raw[k], &w);
        if (proxy) {
            for (int n = 0; n < 50; n++)
                uv_run(&w.loop, UV_RUN_NOWAIT);
        } else {
            run_until(&w, &raw[3].ended);
        }
        assert_int_equal(raw[3].ended, !proxy);
        assert_int_equal(look(&w).crowded, !proxy);
        for (size_t k = 0; k < 3; k++)
            assert_false(raw[k].ended);
        raw_close(&raw[0]);
        for (int n = 0; n < 50; n++)
            uv_run(&w.loop, UV_RUN_NOWAIT);
        /* a place that is free again */
        raw_close(&raw[3]);
        raw_open(&raw[3], &w);
        for (int n = 0; n < 50; n++)
            uv_run(&w.loop, UV_RUN_NOWAIT);
        assert_false(raw[3].ended);
        for (size_t k = 1; k < COUNT(raw); k++)
            raw_close(&raw[k]);
        end_tls(&w);
    }
}

/* Who fails at the greeting has the alert, and no place after that, though he
 * does not go. */
static void keeps_no_place_for_a_failure(void **state)
{
    /* a record of the greeting, with nothing of it inside */
    static const char wrong[] = "\x16\x03\x01\x00\x05xxxxx";
    struct tls_files files = plain_files();
    struct world w;
    struct raw raw;

    (void)state;
    serve_tls(&w, &files);
    raw_open(&raw, &w);
    raw_send(&raw, wrong, sizeof(wrong) - 1);
    run_until(&w, &raw.ended);
    /* RFC 8446, 5.1 and 6: an alert (21), fatal (2) */
    assert_true(raw.got_len >= 7);
    assert_int_equal(raw.got[0], 21);
    assert_int_equal(raw.got[5], 2);
    for (int n = 0; n < 50; n++)
        uv_run(&w.loop,
               UV_RUN_NOWAIT); /* much less than the wait for his end */
    assert_int_equal(look(&w).open, 0);
    assert_int_equal(look(&w).tls_failed, 1);
    raw_close(&raw);
    end_tls(&w);
}

/* A connection counts for its address until it is gone, also while its end is
 * waited for. */
static void counts_until_the_end(void **state)
{
    struct tls_files files = plain_files();
    struct line l;
    struct world w;
    struct raw raw;

    (void)state;
    world_init(&w);
    w.options.per_client_max = 1;
    {
        struct buf why;

        buf_init(&why, 1024);
        assert_int_equal(tls_context_open(&files, &w.options.tls, &why),
                         ERR_OK);
        buf_clear(&why);
    }
    world_serve(&w);
    line_open(&l, &w, TLS1_3_VERSION, NULL);
    line_run(&l, &l.open);
    line_send(&l, "GET /echo HTTP/1.1\r\n" HOST "Connection: close\r\n\r\n");
    line_run(&l, &l.ended); /* the server has said its end, the client not */
    assert_int_equal(look(&w).open, 1);
    raw_open(&raw, &w);
    run_until(&w, &raw.ended);
    assert_int_equal(look(&w).crowded, 1);
    raw_close(&raw);
    line_close(&l);
    while (look(&w).open > 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    line_open(&l, &w, TLS1_3_VERSION, NULL);
    line_run(&l, &l.open);
    assert_true(l.open);
    line_close(&l);
    end_tls(&w);
}

/* ---- a piece that cannot be handed on ------------------------------------- */

/* These take the place of libuv's own, which they are where nothing fails: the
 * socket to the HTTP server takes nothing at once, and what should wait for it
 * cannot (ENOMEM). */
static bool fails;

int uv_try_write(uv_stream_t *stream, const uv_buf_t bufs[], unsigned count)
{
    return fails && stream->type == UV_NAMED_PIPE
               ? UV_EAGAIN
               : uv_try_write2(stream, bufs, count, NULL);
}

int uv_write(uv_write_t *request, uv_stream_t *stream, const uv_buf_t bufs[],
             unsigned count, uv_write_cb done)
{
    return fails && stream->type == UV_NAMED_PIPE
               ? UV_ENOMEM
               : uv_write2(request, stream, bufs, count, NULL, done);
}

/* Bytes that are lost must not be followed by others: the connection ends. */
static void leaves_no_hole(void **state)
{
    struct tls_files files = plain_files();
    struct world w;
    struct line l;

    (void)state;
    serve_tls(&w, &files);
    line_open(&l, &w, TLS1_3_VERSION, NULL);
    line_run(&l, &l.open);
    line_send(&l, "POST /echo HTTP/1.1\r\n" HOST "Content-Length: 6\r\n\r\n");
    for (int n = 0; n < 50; n++)
        uv_run(&w.loop, UV_RUN_NOWAIT);
    fails = true;
    line_send(&l, "one");
    while (look(&w).open > 0 && !w.late)
        uv_run(&w.loop, UV_RUN_ONCE);
    fails = false;
    line_send(&l, "twotwo");
    line_run(&l, &l.ended);
    assert_int_equal(w.handled, 0);
    assert_int_equal(count_text(l.got, "HTTP/1.1"), 0);
    line_close(&l);
    end_tls(&w);
}

/* ---- another certificate -------------------------------------------------- */

static long serial_of(const struct line *l)
{
    return ASN1_INTEGER_get(
        X509_get0_serialNumber(SSL_get0_peer_certificate(l->ssl)));
}

static void takes_another_certificate(void **state)
{
    struct tls_files files = plain_files();
    struct tls_context *fresh = NULL;
    struct line before, after;
    struct world w;
    struct buf why;

    (void)state;
    serve_tls(&w, &files);
    line_open(&before, &w, TLS1_3_VERSION, NULL);
    line_run(&before, &before.open);
    files.certificate = kit_path("client.pem");
    files.key = kit_path("client.key");
    buf_init(&why, 1024);
    assert_int_equal(tls_context_open(&files, &fresh, &why), ERR_OK);
    buf_clear(&why);
    tls_context_take(w.options.tls, fresh);
    line_open(&after, &w, TLS1_3_VERSION, NULL);
    line_run(&after, &after.open);
    assert_int_equal(
        serial_of(&before),
        ASN1_INTEGER_get(X509_get0_serialNumber(kit_server.certificate)));
    assert_int_equal(serial_of(&after), ASN1_INTEGER_get(X509_get0_serialNumber(
                                            kit_client.certificate)));
    /* who was there goes on */
    line_send(&before, "GET /echo HTTP/1.1\r\n" HOST "\r\n");
    line_await(&before, "HTTP/1.1 200", 1);
    line_close(&before);
    line_close(&after);
    end_tls(&w);
}

/* An answer that is due is given while the server closes. */
static void answers_while_it_closes(void **state)
{
    struct tls_files files = plain_files();
    struct world w;
    struct line held, idle;

    (void)state;
    serve_tls(&w, &files);
    line_open(&held, &w, TLS1_3_VERSION, NULL);
    line_open(&idle, &w, TLS1_3_VERSION, NULL);
    line_run(&held, &held.open);
    line_run(&idle, &idle.open);
    line_send(&held, "GET /hold HTTP/1.1\r\n" HOST "\r\n");
    while (w.held_count == 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    world_close_server(&w);
    line_run(&held, &held.ended);
    line_run(&idle, &idle.ended);
    assert_non_null(strstr(held.got, "HTTP/1.1 503"));
    assert_non_null(strstr(held.got, "refused 0"));
    assert_false(held.failed);
    line_close(&held);
    line_close(&idle);
    end_tls(&w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(speaks_tls),
        cmocka_unit_test(refuses_what_is_old),
        cmocka_unit_test(asks_for_certificates),
        cmocka_unit_test(believes_its_own_authority),
        cmocka_unit_test(carries_large_bodies),
        cmocka_unit_test(refuses_large_bodies),
        cmocka_unit_test(cuts_those_who_drip),
        cmocka_unit_test(cuts_those_who_are_silent),
        cmocka_unit_test(waits_for_a_place),
        cmocka_unit_test(limits_an_address),
        cmocka_unit_test(keeps_no_place_for_a_failure),
        cmocka_unit_test(counts_until_the_end),
        cmocka_unit_test(leaves_no_hole),
        cmocka_unit_test(takes_another_certificate),
        cmocka_unit_test(answers_while_it_closes),
    };

    signal(SIGPIPE, SIG_IGN);
    return cmocka_run_group_tests(tests, kit_start, kit_stop);
}

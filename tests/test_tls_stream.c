/* The other side is OpenSSL's own client: what it says of the connection is
 * what counts (RFC 8446, RFC 5246). */
#include "adapters/tls_stream.h"

#include "tests/tls_kit.h"

#include <openssl/err.h>

enum { PIECES_MAX = 400, ROOM = 300 * 1024 };

struct line {
    struct tls_context *context;
    struct tls_stream *stream;
    SSL *client;
    BIO *in, *out; /* of the client */
    size_t piece;  /* bytes that the network gives at a time; 0 all */
    char *got;     /* by the stream */
    size_t len;
    enum err said; /* by the last read of the stream */
    bool told;     /* the client was told by an alert that it is refused */
};

static struct line open_line(int version, const char *client_ca,
                             const struct kit_pair *own)
{
    const struct tls_files files = { kit_path("server.pem"),
                                     kit_path("server.key"), client_ca };
    struct line l = { .client = kit_new_client(version, own),
                      .got = malloc(ROOM) };
    struct buf why;

    buf_init(&why, 1024);
    assert_int_equal(tls_context_open(&files, &l.context, &why), ERR_OK);
    assert_int_equal(why.len, 0);
    buf_clear(&why);
    assert_int_equal(tls_stream_new(l.context, &l.stream), ERR_OK);
    l.in = BIO_new(BIO_s_mem());
    l.out = BIO_new(BIO_s_mem());
    BIO_set_mem_eof_return(l.in, -1);
    BIO_set_mem_eof_return(l.out, -1);
    SSL_set_bio(l.client, l.in, l.out);
    return l;
}

static void close_line(struct line *l)
{
    SSL_free(l->client);
    tls_stream_free(l->stream);
    tls_context_close(l->context);
    free(l->got);
}

static void read_all(struct line *l)
{
    size_t n;

    while ((l->said = tls_stream_read(l->stream, l->got + l->len, ROOM - l->len,
                                      &n)) == ERR_OK) {
        assert_true(n > 0 && n <= ROOM - l->len);
        l->len += n;
    }
}

/* The network, both ways, until nobody has anything to say. */
static void carry(struct line *l)
{
    bool more = true;

    while (more) {
        struct buf out;
        char *bytes;
        size_t len = (size_t)BIO_get_mem_data(l->out, &bytes);
        size_t step = l->piece > 0 ? l->piece : len;

        more = len > 0;
        for (size_t at = 0; at < len; at += step) {
            size_t n = len - at < step ? len - at : step;

            assert_int_equal(tls_stream_take(l->stream, bytes + at, n), ERR_OK);
            read_all(l);
        }
        (void)BIO_reset(l->out);
        buf_init(&out, ROOM * 2);
        assert_int_equal(tls_stream_give(l->stream, &out), ERR_OK);
        more = more || out.len > 0;
        if (out.len > 0)
            BIO_write(l->in, out.data, (int)out.len);
        buf_clear(&out);
        if (!SSL_is_init_finished(l->client)) {
            int n = SSL_do_handshake(l->client);

            l->told = l->told || SSL_get_error(l->client, n) == SSL_ERROR_SSL;
        }
        more = more || BIO_ctrl_pending(l->out) > 0;
    }
    ERR_clear_error();
}

static void greet(struct line *l)
{
    SSL_do_handshake(l->client);
    carry(l);
}

/* ---- cases ---------------------------------------------------------------- */

static void speaks_both_versions(void **state)
{
    static const int versions[] = { TLS1_2_VERSION, TLS1_3_VERSION };

    (void)state;
    for (size_t i = 0; i < 2 * COUNT(versions); i++) {
        struct line l = open_line(versions[i / 2], NULL, NULL);
        char answer[16] = "";

        l.piece = i % 2; /* all at once, and byte by byte */
        assert_false(tls_stream_is_open(l.stream));
        assert_int_equal(tls_stream_write(l.stream, "x", 1), ERR_FORM);
        greet(&l);
        assert_true(tls_stream_is_open(l.stream));
        assert_true(SSL_is_init_finished(l.client));
        assert_int_equal(SSL_version(l.client), versions[i / 2]);
        assert_int_equal(SSL_write(l.client, "question", 8), 8);
        carry(&l);
        assert_int_equal(l.len, 8);
        assert_memory_equal(l.got, "question", 8);
        assert_int_equal(l.said, ERR_ABSENT);
        assert_int_equal(tls_stream_write(l.stream, "answer", 6), ERR_OK);
        carry(&l);
        assert_int_equal(SSL_read(l.client, answer, sizeof(answer)), 6);
        assert_string_equal(answer, "answer");
        close_line(&l);
    }
}

static void refuses_old_versions(void **state)
{
    struct line l = open_line(TLS1_1_VERSION, NULL, NULL);

    (void)state;
    greet(&l);
    assert_int_equal(l.said, ERR_DENIED);
    assert_false(tls_stream_is_open(l.stream));
    assert_true(l.told);
    close_line(&l);
}

/* With an authority a client needs a certificate of it that is valid. */
static void knows_clients(void **state)
{
    static const struct {
        const char *name;
        const struct kit_pair *own;
        bool asked, open;
    } cases[] = {
        { "not asked", NULL, false, true },
        { "not asked, has one", &kit_client, false, true },
        { "asked, has none", NULL, true, false },
        { "asked, of another authority", &kit_stranger, true, false },
        { "asked, expired", &kit_expired, true, false },
        { "asked, has one", &kit_client, true, true },
    };
    static const int versions[] = { TLS1_2_VERSION, TLS1_3_VERSION };

    (void)state;
    for (size_t i = 0; i < 2 * COUNT(cases); i++) {
        size_t c = i / 2;
        struct line l =
            open_line(versions[i % 2],
                      cases[c].asked ? kit_path("ca.pem") : NULL, cases[c].own);
        bool known = cases[c].open && cases[c].asked;

        ROW(cases[c].name);
        greet(&l);
        assert_int_equal(tls_stream_is_open(l.stream), cases[c].open);
        assert_int_equal(l.said, cases[c].open ? ERR_ABSENT : ERR_DENIED);
        assert_int_equal(tls_stream_has_name(l.stream, "hall-north.example"),
                         known);
        assert_int_equal(tls_stream_has_name(l.stream, "MACHINE-2.example"),
                         known);
        assert_false(tls_stream_has_name(l.stream, "hall-south.example"));
        assert_false(tls_stream_has_name(l.stream, "example"));
        assert_false(tls_stream_has_name(l.stream, ""));
        close_line(&l);
    }
}

/* What was sent before the end is read before the end is told. */
static void tells_the_end(void **state)
{
    struct line l = open_line(TLS1_3_VERSION, NULL, NULL);

    (void)state;
    greet(&l);
    SSL_write(l.client, "last", 4);
    SSL_shutdown(l.client);
    carry(&l);
    assert_int_equal(l.len, 4);
    assert_int_equal(l.said, ERR_STOPPED);
    /* we may still answer, and end ourselves */
    assert_int_equal(tls_stream_write(l.stream, "ok", 2), ERR_OK);
    tls_stream_end(l.stream);
    carry(&l);
    assert_int_equal(SSL_read(l.client, l.got, 10), 2);
    assert_int_equal(SSL_read(l.client, l.got, 10), 0);
    assert_int_equal(SSL_get_error(l.client, 0), SSL_ERROR_ZERO_RETURN);
    close_line(&l);
}

static void sees_what_is_not_tls(void **state)
{
    static const char plain[] = "\x0bMSH|^~\\&|A|B|C|D\r\x1c\r";
    struct line l = open_line(TLS1_3_VERSION, NULL, NULL);
    char *bytes;
    long len;

    (void)state;
    assert_int_equal(tls_stream_take(l.stream, plain, sizeof(plain) - 1),
                     ERR_OK);
    read_all(&l);
    assert_int_equal(l.said, ERR_DENIED);
    close_line(&l);

    /* altered on its way */
    l = open_line(TLS1_2_VERSION, NULL, NULL);
    greet(&l);
    SSL_write(l.client, "question", 8);
    len = BIO_get_mem_data(l.out, &bytes);
    bytes[len - 3] ^= 1;
    carry(&l);
    assert_int_equal(l.said, ERR_FORM);
    assert_int_equal(l.len, 0);
    close_line(&l);
}

static void carries_much(void **state)
{
    struct line l = open_line(TLS1_3_VERSION, NULL, NULL);
    static char much[200 * 1024], back[200 * 1024];
    size_t len = 0;
    int n;

    (void)state;
    for (size_t i = 0; i < sizeof(much); i++)
        much[i] = (char)(i * 7 + i / 251);
    l.piece = 1400;
    greet(&l);
    assert_int_equal(SSL_write(l.client, much, sizeof(much)), sizeof(much));
    carry(&l);
    assert_int_equal(l.len, sizeof(much));
    assert_memory_equal(l.got, much, sizeof(much));
    assert_int_equal(tls_stream_write(l.stream, much, sizeof(much)), ERR_OK);
    carry(&l);
    while ((n = SSL_read(l.client, back + len, (int)(sizeof(back) - len))) > 0)
        len += (size_t)n;
    assert_int_equal(len, sizeof(much));
    assert_memory_equal(back, much, sizeof(much));
    close_line(&l);
}

static void names_wrong_files(void **state)
{
    const struct {
        const char *name;
        struct tls_files files;
        const char *at; /* the file that is named */
    } cases[] = {
        { "no certificate",
          { kit_path("none.pem"), kit_path("server.key"), NULL },
          "none.pem: is not a certificate" },
        { "a key as a certificate",
          { kit_path("server.key"), kit_path("server.key"), NULL },
          "server.key: is not a certificate" },
        { "no key",
          { kit_path("server.pem"), kit_path("none.key"), NULL },
          "none.key: is not the private key" },
        { "another's key",
          { kit_path("server.pem"), kit_path("client.key"), NULL },
          "client.key: " },
        { "a key as authority",
          { kit_path("server.pem"), kit_path("server.key"),
            kit_path("ca.key") },
          "ca.key: is not a file of certificates" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct tls_context *context = NULL;
        struct buf why;

        ROW(cases[i].name);
        buf_init(&why, 1024);
        assert_int_equal(tls_context_open(&cases[i].files, &context, &why),
                         ERR_CONFIG);
        assert_null(context);
        if (strstr(why.data, cases[i].at) == NULL)
            print_error("why: %s\n", why.data);
        assert_non_null(strstr(why.data, cases[i].at));
        assert_null(strstr(why.data, "PRIVATE"));
        buf_clear(&why);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(speaks_both_versions),
        cmocka_unit_test(refuses_old_versions),
        cmocka_unit_test(knows_clients),
        cmocka_unit_test(tells_the_end),
        cmocka_unit_test(sees_what_is_not_tls),
        cmocka_unit_test(carries_much),
        cmocka_unit_test(names_wrong_files),
    };

    return cmocka_run_group_tests(tests, kit_start, kit_stop);
}

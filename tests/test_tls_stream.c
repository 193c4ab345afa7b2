/* The other side is OpenSSL's own client: what it says of the connection is
 * what counts (RFC 8446, RFC 5246). */
#include "adapters/tls_stream.h"

#include "tests/tls_kit.h"

#include <openssl/err.h>
#include <time.h>

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

static struct line open_listed(int version, const char *client_ca,
                               const char *client_crl,
                               const struct kit_pair *own)
{
    const struct tls_files files = { .certificate = kit_path("server.pem"),
                                     .key = kit_path("server.key"),
                                     .client_ca = client_ca,
                                     .client_crl = client_crl };
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

static struct line open_line(int version, const char *client_ca,
                             const struct kit_pair *own)
{
    return open_listed(version, client_ca, NULL, own);
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

/*
 * RFC 5280, 6.3.3: the list must be of the issuer, signed by it and not have run
 * out; without one the status of a certificate is not known.  Made and signed
 * by OpenSSL, as `openssl ca -gencrl` makes them.
 */
static void knows_revoked_clients(void **state)
{
    static const struct {
        const char *name;
        const struct kit_pair *authority;
        int days;
        const struct kit_pair *revoked;
        bool open;
    } cases[] = {
        { "nobody is revoked", &kit_ca, 10, NULL, true },
        { "another is revoked", &kit_ca, 10, &kit_server, true },
        { "it is revoked", &kit_ca, 10, &kit_client, false },
        { "the list has run out", &kit_ca, -1, NULL, false },
        { "a list of another authority", &kit_other_ca, 10, NULL, false },
    };
    static const int versions[] = { TLS1_2_VERSION, TLS1_3_VERSION };

    (void)state;
    for (size_t i = 0; i < 2 * COUNT(cases); i++) {
        size_t c = i / 2;
        struct line l;

        ROW(cases[c].name);
        kit_write_list(cases[c].authority, cases[c].days, cases[c].revoked,
                       kit_path("lists.pem"), "we");
        l = open_listed(versions[i % 2], kit_path("ca.pem"),
                        kit_path("lists.pem"), &kit_client);
        assert_in_range(tls_context_lists_end_s(l.context) - time(NULL),
                        cases[c].days * 86400 - 60, cases[c].days * 86400);
        greet(&l);
        assert_int_equal(tls_stream_is_open(l.stream), cases[c].open);
        assert_int_equal(l.said, cases[c].open ? ERR_ABSENT : ERR_DENIED);
        assert_int_equal(tls_stream_has_name(l.stream, "hall-north.example"),
                         cases[c].open);
        close_line(&l);
    }
    /* of several lists that of the issuer counts */
    kit_write_list(&kit_other_ca, 10, NULL, kit_path("lists.pem"), "we");
    kit_write_list(&kit_ca, 5, NULL, kit_path("lists.pem"), "ae");
    for (int i = 0; i < 2; i++) {
        struct line l = open_listed(TLS1_3_VERSION, kit_path("ca.pem"),
                                    kit_path("lists.pem"), &kit_client);

        greet(&l);
        assert_true(tls_stream_is_open(l.stream));
        close_line(&l);
    }
    unlink(kit_path("lists.pem"));
}

/*
 * RFC 5280, 6.1.3 (a)(3): no certificate of the path is revoked, that of an
 * authority between included; and 6.3: without a list it is not known.  The
 * client sends the authority along, as RFC 8446, 4.4.2 has it.
 */
static void knows_revoked_authorities(void **state)
{
    struct kit_pair between =
        kit_sign("Authority of the hall", NULL, 20, &kit_ca, true);
    struct kit_pair machine =
        kit_make("hall-south.example", NULL, 20, &between);
    const struct {
        const char *name;
        bool root_list, between_list;
        const struct kit_pair *revoked_by_root, *revoked_between;
        bool open;
    } cases[] = {
        { "nobody is revoked", true, true, NULL, NULL, true },
        { "the machine is", true, true, NULL, &machine, false },
        { "its authority is", true, true, &between, NULL, false },
        { "no list of its authority", true, false, NULL, NULL, false },
        { "no list of the root", false, true, NULL, NULL, false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct line l;

        ROW(cases[i].name);
        unlink(kit_path("lists.pem"));
        if (cases[i].root_list)
            kit_write_list(&kit_ca, 10, cases[i].revoked_by_root,
                           kit_path("lists.pem"), "ae");
        if (cases[i].between_list)
            kit_write_list(&between, 10, cases[i].revoked_between,
                           kit_path("lists.pem"), "ae");
        l = open_listed(TLS1_3_VERSION, kit_path("ca.pem"),
                        kit_path("lists.pem"), &machine);
        assert_int_equal(SSL_add1_chain_cert(l.client, between.certificate), 1);
        greet(&l);
        assert_int_equal(tls_stream_is_open(l.stream), cases[i].open);
        assert_int_equal(l.said, cases[i].open ? ERR_ABSENT : ERR_DENIED);
        close_line(&l);
    }
    unlink(kit_path("lists.pem"));
    EVP_PKEY_free(machine.key);
    X509_free(machine.certificate);
    EVP_PKEY_free(between.key);
    X509_free(between.certificate);
}

/* Another connection of the same context. */
static bool is_let_in(struct line *l)
{
    bool open;

    SSL_free(l->client);
    tls_stream_free(l->stream);
    l->client = kit_new_client(TLS1_3_VERSION, &kit_client);
    assert_int_equal(tls_stream_new(l->context, &l->stream), ERR_OK);
    l->in = BIO_new(BIO_s_mem());
    l->out = BIO_new(BIO_s_mem());
    BIO_set_mem_eof_return(l->in, -1);
    BIO_set_mem_eof_return(l->out, -1);
    SSL_set_bio(l->client, l->in, l->out);
    greet(l);
    open = tls_stream_is_open(l->stream);
    return open;
}

/* A new list counts from the next connection on, without a restart; a file that
 * is broken or gone does not undo the list that was read. */
static void takes_new_lists(void **state)
{
    struct line l;
    FILE *f;

    (void)state;
    kit_write_list(&kit_ca, 10, NULL, kit_path("lists.pem"), "we");
    l = open_listed(TLS1_3_VERSION, kit_path("ca.pem"), kit_path("lists.pem"),
                    &kit_client);
    assert_true(is_let_in(&l));
    kit_write_list(&kit_ca, 10, &kit_client, kit_path("lists.pem"), "we");
    assert_false(is_let_in(&l));
    f = fopen(kit_path("lists.pem"), "we");
    assert_non_null(f);
    fputs("not a list\n", f);
    fclose(f);
    assert_false(is_let_in(&l));
    unlink(kit_path("lists.pem"));
    assert_false(is_let_in(&l));
    kit_write_list(&kit_ca, 3, NULL, kit_path("lists.pem"), "we");
    assert_true(is_let_in(&l));
    assert_in_range(tls_context_lists_end_s(l.context) - time(NULL),
                    3 * 86400 - 60, 3 * 86400);
    close_line(&l);
    unlink(kit_path("lists.pem"));
}

static void names_lists_that_are_none(void **state)
{
    struct tls_files files = { kit_path("server.pem"), kit_path("server.key"),
                               kit_path("ca.pem"), kit_path("none.pem"),
                               false };
    struct tls_context *context = NULL;
    struct buf why;

    (void)state;
    for (int i = 0; i < 3; i++) {
        buf_init(&why, 1024);
        files.client_crl = i == 0 ? kit_path("none.pem") : kit_path("ca.pem");
        files.client_ca = i == 2 ? "" : kit_path("ca.pem");
        assert_int_equal(tls_context_open(&files, &context, &why), ERR_CONFIG);
        assert_non_null(strstr(why.data, i == 0 ? "none.pem: " : "ca.pem: "));
        assert_non_null(strstr(why.data, "revocation lists"));
        buf_clear(&why);
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
          { kit_path("none.pem"), kit_path("server.key"), NULL, NULL, false },
          "none.pem: is not a certificate" },
        { "a key as a certificate",
          { kit_path("server.key"), kit_path("server.key"), NULL, NULL, false },
          "server.key: is not a certificate" },
        { "no key",
          { kit_path("server.pem"), kit_path("none.key"), NULL, NULL, false },
          "none.key: is not the private key" },
        { "another's key",
          { kit_path("server.pem"), kit_path("client.key"), NULL, NULL, false },
          "client.key: " },
        { "a key as authority",
          { kit_path("server.pem"), kit_path("server.key"), kit_path("ca.key"),
            NULL, false },
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
        cmocka_unit_test(knows_revoked_clients),
        cmocka_unit_test(knows_revoked_authorities),
        cmocka_unit_test(takes_new_lists),
        cmocka_unit_test(names_lists_that_are_none),
        cmocka_unit_test(tells_the_end),
        cmocka_unit_test(sees_what_is_not_tls),
        cmocka_unit_test(carries_much),
        cmocka_unit_test(names_wrong_files),
    };

    return cmocka_run_group_tests(tests, kit_start, kit_stop);
}

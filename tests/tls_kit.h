/*
 * tls_kit - certificates made for a test, and a client that is OpenSSL's own
 *
 * A certificate authority, another that nobody trusts, and what they sign, as
 * PEM files in a folder of the test.
 */
#ifndef HEADGATE_TESTS_TLS_KIT_H
#define HEADGATE_TESTS_TLS_KIT_H

#include "tests/test.h"

#include <openssl/ec.h>
#include <openssl/pem.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>
#include <unistd.h>

struct kit_pair {
    EVP_PKEY *key;
    X509 *certificate;
};

static char kit_folder[64];
static struct kit_pair kit_ca, kit_other_ca, kit_server, kit_client,
    kit_stranger, kit_expired;

static inline const char *kit_path(const char *name)
{
    static char paths[32][128];
    static size_t n;
    char *path = paths[n++ % COUNT(paths)];

    snprintf(path, sizeof(paths[0]), "%s/%s", kit_folder, name);
    return path;
}

static inline void kit_add(X509 *certificate, int nid, const char *value)
{
    X509V3_CTX ctx;
    X509_EXTENSION *extension;

    X509V3_set_ctx_nodb(&ctx);
    X509V3_set_ctx(&ctx, certificate, certificate, NULL, NULL, 0);
    extension = X509V3_EXT_conf_nid(NULL, &ctx, nid, value);
    assert_non_null(extension);
    assert_int_equal(X509_add_ext(certificate, extension, -1), 1);
    X509_EXTENSION_free(extension);
}

/* An authority or not; else as kit_make. */
static inline struct kit_pair kit_sign(const char *name,
                                       const char *alternative, int days,
                                       const struct kit_pair *issuer,
                                       bool authority)
{
    struct kit_pair p = { .key = EVP_EC_gen("P-256"),
                          .certificate = X509_new() };
    static long serial = 1;
    X509_NAME *subject;

    assert_non_null(p.key);
    assert_non_null(p.certificate);
    X509_set_version(p.certificate, 2);
    ASN1_INTEGER_set(X509_get_serialNumber(p.certificate), serial++);
    X509_gmtime_adj(X509_getm_notBefore(p.certificate), -10L * 86400);
    X509_gmtime_adj(X509_getm_notAfter(p.certificate), days * 86400L);
    X509_set_pubkey(p.certificate, p.key);
    subject = X509_get_subject_name(p.certificate);
    X509_NAME_add_entry_by_txt(subject, "CN", MBSTRING_ASC,
                               (const unsigned char *)name, -1, -1, 0);
    X509_set_issuer_name(
        p.certificate,
        issuer != NULL ? X509_get_subject_name(issuer->certificate) : subject);
    if (authority)
        kit_add(p.certificate, NID_basic_constraints, "critical,CA:TRUE");
    if (alternative != NULL)
        kit_add(p.certificate, NID_subject_alt_name, alternative);
    assert_true(X509_sign(p.certificate, issuer != NULL ? issuer->key : p.key,
                          EVP_sha256()) > 0);
    return p;
}

/* days: how long it is valid from now on; negative: it has ended.  alternative:
 * "DNS:a.example", or NULL.  issuer NULL: an authority, signed by itself. */
static inline struct kit_pair kit_make(const char *name,
                                       const char *alternative, int days,
                                       const struct kit_pair *issuer)
{
    return kit_sign(name, alternative, days, issuer, issuer == NULL);
}

static inline void kit_write(const struct kit_pair *p, const char *name)
{
    char file[64];
    FILE *f;

    snprintf(file, sizeof(file), "%s.pem", name);
    f = fopen(kit_path(file), "we");
    assert_non_null(f);
    assert_int_equal(PEM_write_X509(f, p->certificate), 1);
    fclose(f);
    snprintf(file, sizeof(file), "%s.key", name);
    f = fopen(kit_path(file), "we");
    assert_non_null(f);
    assert_int_equal(PEM_write_PrivateKey(f, p->key, NULL, NULL, 0, NULL, NULL),
                     1);
    fclose(f);
}

/* A revocation list of an authority, added to a file (mode "we": instead of
 * what was in it); days: how long it is good; revoked: NULL none. */
static inline void kit_write_list(const struct kit_pair *authority, int days,
                                  const struct kit_pair *revoked,
                                  const char *path, const char *mode)
{
    X509_CRL *list = X509_CRL_new();
    ASN1_TIME *last = X509_gmtime_adj(NULL, -20L * 86400);
    ASN1_TIME *next = X509_gmtime_adj(NULL, days * 86400L);
    FILE *f = fopen(path, mode);

    assert_non_null(f);
    assert_int_equal(X509_CRL_set_version(list, 1), 1);
    assert_int_equal(X509_CRL_set_issuer_name(
                         list, X509_get_subject_name(authority->certificate)),
                     1);
    assert_int_equal(X509_CRL_set1_lastUpdate(list, last), 1);
    assert_int_equal(X509_CRL_set1_nextUpdate(list, next), 1);
    if (revoked != NULL) {
        X509_REVOKED *one = X509_REVOKED_new();

        assert_int_equal(X509_REVOKED_set_serialNumber(
                             one, X509_get_serialNumber(revoked->certificate)),
                         1);
        assert_int_equal(X509_REVOKED_set_revocationDate(one, last), 1);
        assert_int_equal(X509_CRL_add0_revoked(list, one), 1);
    }
    assert_true(X509_CRL_sign(list, authority->key, EVP_sha256()) > 0);
    assert_int_equal(PEM_write_X509_CRL(f, list), 1);
    fclose(f);
    ASN1_TIME_free(last);
    ASN1_TIME_free(next);
    X509_CRL_free(list);
}

static inline int kit_start(void **state)
{
    (void)state;
    snprintf(kit_folder, sizeof(kit_folder), "/tmp/headgate-tls-XXXXXX");
    if (mkdtemp(kit_folder) == NULL)
        return -1;
    kit_ca = kit_make("Test authority", NULL, 30, NULL);
    kit_other_ca = kit_make("Another authority", NULL, 30, NULL);
    kit_server =
        kit_make("localhost", "DNS:localhost,IP:127.0.0.1", 30, &kit_ca);
    kit_client =
        kit_make("hall-north.example",
                 "DNS:machine-1.example,DNS:machine-2.example", 30, &kit_ca);
    kit_stranger = kit_make("hall-north.example", NULL, 30, &kit_other_ca);
    kit_expired = kit_make("hall-north.example", NULL, -1, &kit_ca);
    kit_write(&kit_ca, "ca");
    kit_write(&kit_server, "server");
    kit_write(&kit_client, "client");
    return 0;
}

static inline int kit_stop(void **state)
{
    static const char *const names[] = { "ca.pem",     "ca.key",
                                         "server.pem", "server.key",
                                         "client.pem", "client.key" };
    struct kit_pair *const pairs[] = {
        &kit_ca,     &kit_other_ca, &kit_server,
        &kit_client, &kit_stranger, &kit_expired
    };

    (void)state;
    for (size_t i = 0; i < COUNT(names); i++)
        unlink(kit_path(names[i]));
    for (size_t i = 0; i < COUNT(pairs); i++) {
        EVP_PKEY_free(pairs[i]->key);
        X509_free(pairs[i]->certificate);
    }
    return rmdir(kit_folder);
}

/* A client of one version, trusting kit_ca; own: its certificate, or NULL. */
static inline SSL *kit_new_client(int version, const struct kit_pair *own)
{
    SSL_CTX *ctx = SSL_CTX_new(TLS_client_method());
    SSL *ssl;

    assert_non_null(ctx);
    SSL_CTX_set_security_level(ctx, 0); /* so that old versions are offered */
    assert_int_equal(SSL_CTX_set_min_proto_version(ctx, version), 1);
    assert_int_equal(SSL_CTX_set_max_proto_version(ctx, version), 1);
    X509_STORE_add_cert(SSL_CTX_get_cert_store(ctx), kit_ca.certificate);
    SSL_CTX_set_verify(ctx, SSL_VERIFY_PEER, NULL);
    if (own != NULL) {
        assert_int_equal(SSL_CTX_use_certificate(ctx, own->certificate), 1);
        assert_int_equal(SSL_CTX_use_PrivateKey(ctx, own->key), 1);
    }
    ssl = SSL_new(ctx);
    assert_non_null(ssl);
    SSL_CTX_free(ctx); /* kept by ssl */
    SSL_set_connect_state(ssl);
    return ssl;
}

#endif

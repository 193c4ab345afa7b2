#include "adapters/tls_work.h"

#include <openssl/x509v3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* ---- the files ------------------------------------------------------------ */

/* What the library says is wrong, without what it read. */
static enum err complain(const char *path, const char *what, struct buf *why)
{
    unsigned long code = ERR_peek_last_error();
    const char *reason = code != 0 ? ERR_reason_error_string(code) : NULL;

    buf_printf(why, "%s: %s%s%s", path, what, reason != NULL ? ": " : "",
               reason != NULL ? reason : "");
    ERR_clear_error();
    return ERR_CONFIG;
}

/* A key with a password must not ask for it at the terminal. */
static int no_password(char *out, int size, int writing, void *arg)
{
    (void)writing;
    (void)arg;
    if (size > 0)
        out[0] = '\0';
    return 0;
}

static enum err require_clients(SSL_CTX *ctx, const char *path, bool may_lack,
                                struct buf *why)
{
    STACK_OF(X509_NAME) *names = SSL_load_client_CA_file(path);

    if (names == NULL)
        return complain(path, "is not a file of certificates in PEM", why);
    SSL_CTX_set_client_CA_list(ctx, names); /* takes them */
    if (SSL_CTX_load_verify_locations(ctx, path, NULL) != 1)
        return complain(path, "its certificates cannot be used", why);
    SSL_CTX_set_verify(ctx,
                       may_lack
                           ? SSL_VERIFY_PEER
                           : SSL_VERIFY_PEER | SSL_VERIFY_FAIL_IF_NO_PEER_CERT,
                       NULL);
    return ERR_OK;
}

/* What changes when a file does; "" there is none. */
static void stamp_of(const char *path, char stamp[TLS_STAMP_SIZE])
{
    struct stat st;

    stamp[0] = '\0';
    if (stat(path, &st) == 0)
        snprintf(stamp, TLS_STAMP_SIZE, "%lld %ld %lld %llu",
                 (long long)st.st_mtim.tv_sec, st.st_mtim.tv_nsec,
                 (long long)st.st_size, (unsigned long long)st.st_ino);
}

/* The earlier one of a time and another, as seconds since 1970; NULL: there is
 * no other. */
static int64_t earlier_s(int64_t end_s, const ASN1_TIME *other)
{
    ASN1_TIME *epoch = ASN1_TIME_set(NULL, 0);
    int days, seconds;

    if (epoch != NULL && other != NULL &&
        ASN1_TIME_diff(&days, &seconds, epoch, other) == 1 &&
        days * INT64_C(86400) + seconds < end_s)
        end_s = days * INT64_C(86400) + seconds;
    ASN1_TIME_free(epoch);
    return end_s;
}

/* The first end of any list of the store; one without an end has none. */
static int64_t first_end_s(X509_STORE *store)
{
    const STACK_OF(X509_OBJECT) *all = X509_STORE_get0_objects(store);
    int64_t end_s = INT64_MAX;

    for (int i = 0; i < sk_X509_OBJECT_num(all); i++) {
        const X509_CRL *crl =
            X509_OBJECT_get0_X509_CRL(sk_X509_OBJECT_value(all, i));

        if (crl != NULL)
            end_s = earlier_s(end_s, X509_CRL_get0_nextUpdate(crl));
    }
    return end_s;
}

/* Who signs clients, and whom they have revoked, in place of what the context
 * had. */
static bool read_lists(struct tls_context *c)
{
    X509_STORE *store = X509_STORE_new();
    X509_LOOKUP *lookup =
        store != NULL ? X509_STORE_add_lookup(store, X509_LOOKUP_file()) : NULL;

    stamp_of(c->crl, c->crl_read);
    if (lookup == NULL || X509_STORE_load_file(store, c->ca) != 1 ||
        X509_load_crl_file(lookup, c->crl, X509_FILETYPE_PEM) < 1 ||
        X509_STORE_set_flags(store, X509_V_FLAG_CRL_CHECK |
                                        X509_V_FLAG_CRL_CHECK_ALL) != 1) {
        X509_STORE_free(store);
        return false;
    }
    c->lists_end_s = first_end_s(store);
    SSL_CTX_set_cert_store(c->ctx, store); /* takes it */
    return true;
}

/* A list has its end, and a new one must count without a restart. */
void tls_context_renew_lists(struct tls_context *c)
{
    char now[TLS_STAMP_SIZE];

    if (c->crl[0] == '\0')
        return;
    stamp_of(c->crl, now);
    if (now[0] != '\0' && strcmp(now, c->crl_read) != 0)
        (void)read_lists(c); /* if not, those before go on to count */
    ERR_clear_error();
}

static enum err keep_path(const char *path, char out[TLS_PATH_MAX],
                          struct buf *why)
{
    size_t len = strlen(path);

    if (len >= TLS_PATH_MAX) {
        buf_printf(why, "%.80s...: the path is too long", path);
        return ERR_CONFIG;
    }
    memcpy(out, path, len + 1);
    return ERR_OK;
}

static enum err require_lists(struct tls_context *c,
                              const struct tls_files *files, struct buf *why)
{
    enum err e;

    if (files->client_crl == NULL || files->client_crl[0] == '\0')
        return ERR_OK;
    if (files->client_ca == NULL || files->client_ca[0] == '\0')
        return complain(files->client_crl,
                        "revocation lists without authorities", why);
    e = keep_path(files->client_ca, c->ca, why);
    if (e == ERR_OK)
        e = keep_path(files->client_crl, c->crl, why);
    if (e == ERR_OK && !read_lists(c))
        e = complain(c->crl, "is not a file of revocation lists in PEM", why);
    return e;
}

/* Ours, and its key. */
static enum err read_pair(SSL_CTX *ctx, const struct tls_files *files,
                          struct buf *why)
{
    if (SSL_CTX_use_certificate_chain_file(ctx, files->certificate) != 1)
        return complain(files->certificate,
                        "is not a certificate in PEM that can be used", why);
    if (SSL_CTX_use_PrivateKey_file(ctx, files->key, SSL_FILETYPE_PEM) != 1)
        return complain(files->key,
                        "is not the private key of that certificate, in PEM "
                        "without a password",
                        why);
    if (SSL_CTX_check_private_key(ctx) != 1)
        return complain(files->key, "does not belong to the certificate", why);
    return ERR_OK;
}

static enum err read_files(SSL_CTX *ctx, const struct tls_files *files,
                           struct buf *why)
{
    enum err e = read_pair(ctx, files, why);

    if (e != ERR_OK)
        return e;
    return files->client_ca != NULL && files->client_ca[0] != '\0'
               ? require_clients(ctx, files->client_ca, files->client_may_lack,
                                 why)
               : ERR_OK;
}

enum err tls_context_open(const struct tls_files *files,
                          struct tls_context **out, struct buf *why)
{
    struct tls_context *c = calloc(1, sizeof(*c));
    enum err e = ERR_MEMORY;

    if (c == NULL)
        return ERR_MEMORY;
    ERR_clear_error();
    c->ctx = SSL_CTX_new(TLS_server_method());
    if (c->ctx == NULL ||
        SSL_CTX_set_min_proto_version(c->ctx, TLS1_2_VERSION) != 1)
        goto free_context;
    SSL_CTX_set_options(c->ctx, SSL_OP_NO_RENEGOTIATION |
                                    SSL_OP_NO_COMPRESSION | SSL_OP_NO_TICKET |
                                    SSL_OP_CIPHER_SERVER_PREFERENCE);
    SSL_CTX_set_session_cache_mode(c->ctx, SSL_SESS_CACHE_OFF);
    SSL_CTX_set_num_tickets(c->ctx, 0);
    SSL_CTX_set_mode(c->ctx, SSL_MODE_RELEASE_BUFFERS);
    SSL_CTX_set_default_passwd_cb(c->ctx, no_password);
    c->lists_end_s = INT64_MAX;
    e = read_files(c->ctx, files, why);
    if (e == ERR_OK)
        e = require_lists(c, files, why);
    if (e != ERR_OK)
        goto free_context;
    *out = c;
    return ERR_OK;
free_context:
    tls_context_close(c);
    return e;
}

enum err tls_trust_try(const char *ca, const char *certificate, const char *key,
                       struct buf *why)
{
    const struct tls_files files = { .certificate = certificate, .key = key };
    SSL_CTX *ctx = SSL_CTX_new(TLS_client_method());
    enum err e = ERR_OK;

    if (ctx == NULL)
        return ERR_MEMORY;
    ERR_clear_error();
    SSL_CTX_set_default_passwd_cb(ctx, no_password);
    if (ca != NULL && ca[0] != '\0' &&
        SSL_CTX_load_verify_locations(ctx, ca, NULL) != 1)
        e = complain(ca, "is not a file of certificates in PEM", why);
    if (e == ERR_OK && certificate != NULL && certificate[0] != '\0')
        e = read_pair(ctx, &files, why);
    SSL_CTX_free(ctx);
    return e;
}

void tls_context_close(struct tls_context *c)
{
    if (c == NULL)
        return;
    SSL_CTX_free(c->ctx);
    free(c);
}

void tls_context_take(struct tls_context *c, struct tls_context *fresh)
{
    struct tls_context before = *c;

    *c = *fresh;
    *fresh = before;
    tls_context_close(fresh); /* open connections hold what they need of it */
}

int64_t tls_context_lists_end_s(const struct tls_context *c)
{
    return c->lists_end_s;
}

/* When certificates begin and end, as they say themselves. */
#include "adapters/tls_work.h"

#include <openssl/x509v3.h>
#include <string.h>

/* Seconds since 1970; false: it is not a time. */
static bool seconds_of(const ASN1_TIME *time, int64_t *out)
{
    ASN1_TIME *epoch = ASN1_TIME_set(NULL, 0);
    int days = 0, seconds = 0;
    bool ok = epoch != NULL && time != NULL &&
              ASN1_TIME_diff(&days, &seconds, epoch, time) == 1;

    ASN1_TIME_free(epoch);
    if (ok)
        *out = days * INT64_C(86400) + seconds;
    return ok;
}

static void narrow(struct tls_term *t, const X509 *certificate)
{
    int64_t at_s;

    if (seconds_of(X509_get0_notBefore(certificate), &at_s) &&
        at_s > t->begin_s)
        t->begin_s = at_s;
    if (seconds_of(X509_get0_notAfter(certificate), &at_s) && at_s < t->end_s)
        t->end_s = at_s;
}

/* Of ours, and of those that are sent with it: all have to be good. */
static void pair_term(SSL_CTX *ctx, struct tls_term *t)
{
    const X509 *own = SSL_CTX_get0_certificate(ctx);
    STACK_OF(X509) *chain = NULL;

    *t = (struct tls_term){ .begin_s = INT64_MIN, .end_s = INT64_MAX };
    if (own != NULL)
        narrow(t, own);
    if (SSL_CTX_get0_chain_certs(ctx, &chain) != 1)
        return;
    for (int i = 0; i < sk_X509_num(chain); i++)
        narrow(t, sk_X509_value(chain, i));
}

void tls_context_term(const struct tls_context *c, struct tls_term *term)
{
    pair_term(c->ctx, term);
}

int64_t tls_context_end_s(const struct tls_context *c)
{
    struct tls_term term;

    pair_term(c->ctx, &term);
    return term.end_s;
}

bool tls_file_term(const char *path, struct tls_term *term)
{
    SSL_CTX *ctx = SSL_CTX_new(TLS_client_method());
    bool ok = ctx != NULL && SSL_CTX_use_certificate_chain_file(ctx, path) == 1;

    if (ok)
        pair_term(ctx, term);
    SSL_CTX_free(ctx);
    ERR_clear_error();
    return ok;
}

int64_t tls_file_end_s(const char *path)
{
    struct tls_term term;

    return tls_file_term(path, &term) ? term.end_s : INT64_MAX;
}

bool tls_authorities_look(const char *path, int64_t until_s,
                          struct tls_authorities *found)
{
    X509_STORE *store = X509_STORE_new();
    bool ok = store != NULL && X509_STORE_load_file(store, path) == 1;
    const STACK_OF(X509_OBJECT) *all =
        ok ? X509_STORE_get0_objects(store) : NULL;

    *found = (struct tls_authorities){ .first_end_s = INT64_MAX };
    for (int i = 0; all != NULL && i < sk_X509_OBJECT_num(all); i++) {
        const X509 *one = X509_OBJECT_get0_X509(sk_X509_OBJECT_value(all, i));
        int64_t end_s = INT64_MAX;

        if (one == NULL) /* a revocation list */
            continue;
        found->count++;
        if (seconds_of(X509_get0_notAfter(one), &end_s) && end_s <= until_s)
            found->ended++;
        if (end_s < found->first_end_s)
            found->first_end_s = end_s;
    }
    X509_STORE_free(store);
    ERR_clear_error();
    return ok;
}

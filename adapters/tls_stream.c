#include "adapters/tls_work.h"

#include <limits.h>
#include <openssl/x509v3.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

struct tls_stream {
    SSL *ssl;
    BIO *in, *out; /* owned by ssl */
};

enum err tls_stream_new(struct tls_context *context, struct tls_stream **out)
{
    struct tls_stream *s = calloc(1, sizeof(*s));

    if (s == NULL)
        return ERR_MEMORY;
    tls_context_renew_lists(context);
    s->ssl = SSL_new(context->ctx);
    s->in = BIO_new(BIO_s_mem());
    s->out = BIO_new(BIO_s_mem());
    if (s->ssl == NULL || s->in == NULL || s->out == NULL) {
        SSL_free(s->ssl);
        BIO_free(s->in);
        BIO_free(s->out);
        free(s);
        return ERR_MEMORY;
    }
    /* empty is "not yet", not the end */
    BIO_set_mem_eof_return(s->in, -1);
    BIO_set_mem_eof_return(s->out, -1);
    SSL_set_bio(s->ssl, s->in, s->out);
    SSL_set_accept_state(s->ssl);
    *out = s;
    return ERR_OK;
}

void tls_stream_free(struct tls_stream *s)
{
    if (s == NULL)
        return;
    SSL_free(s->ssl);
    free(s);
}

/* The library counts in int. */
static int int_of(size_t len)
{
    return len > INT_MAX ? INT_MAX : (int)len;
}

enum err tls_stream_take(struct tls_stream *s, const char *bytes, size_t len)
{
    while (len > 0) {
        int n = BIO_write(s->in, bytes, int_of(len));

        if (n <= 0)
            return ERR_MEMORY;
        bytes += n;
        len -= (size_t)n;
    }
    return ERR_OK;
}

enum err tls_stream_read(struct tls_stream *s, char *out, size_t size,
                         size_t *len)
{
    bool greeted = SSL_is_init_finished(s->ssl);
    int n;

    ERR_clear_error(); /* one list for all connections of this thread */
    n = SSL_read(s->ssl, out, int_of(size));
    if (n > 0) {
        *len = (size_t)n;
        return ERR_OK;
    }
    switch (SSL_get_error(s->ssl, n)) {
    case SSL_ERROR_WANT_READ:
    case SSL_ERROR_WANT_WRITE:
        return ERR_ABSENT;
    case SSL_ERROR_ZERO_RETURN:
        return ERR_STOPPED;
    default:
        ERR_clear_error();
        return greeted ? ERR_FORM : ERR_DENIED;
    }
}

bool tls_stream_is_open(const struct tls_stream *s)
{
    return SSL_is_init_finished(s->ssl);
}

enum err tls_stream_write(struct tls_stream *s, const char *bytes, size_t len)
{
    while (len > 0) {
        int n;

        ERR_clear_error();
        n = SSL_write(s->ssl, bytes, int_of(len));
        if (n <= 0) {
            ERR_clear_error();
            return ERR_FORM;
        }
        bytes += n;
        len -= (size_t)n;
    }
    return ERR_OK;
}

void tls_stream_end(struct tls_stream *s)
{
    ERR_clear_error();
    if (SSL_is_init_finished(s->ssl))
        SSL_shutdown(s->ssl); /* said, not waited for */
    ERR_clear_error();
}

enum err tls_stream_give(struct tls_stream *s, struct buf *out)
{
    char *bytes;
    long len = BIO_get_mem_data(s->out, &bytes);

    if (len > 0)
        buf_add(out, bytes, (size_t)len);
    (void)BIO_reset(s->out);
    return buf_ok(out);
}

/* ---- whose certificate ---------------------------------------------------- */

static bool is_name(const ASN1_STRING *text, const char *name)
{
    size_t len = strlen(name);

    return text != NULL && ASN1_STRING_length(text) == (int)len &&
           strncasecmp((const char *)ASN1_STRING_get0_data(text), name, len) ==
               0;
}

static bool has_common_name(const X509 *certificate, const char *name)
{
    const X509_NAME *subject = X509_get_subject_name(certificate);
    int at = -1;

    while ((at = X509_NAME_get_index_by_NID(subject, NID_commonName, at)) >= 0)
        if (is_name(X509_NAME_ENTRY_get_data(X509_NAME_get_entry(subject, at)),
                    name))
            return true;
    return false;
}

static bool has_dns_name(const X509 *certificate, const char *name)
{
    GENERAL_NAMES *names =
        X509_get_ext_d2i(certificate, NID_subject_alt_name, NULL, NULL);
    bool found = false;

    for (int i = 0; !found && i < sk_GENERAL_NAME_num(names); i++) {
        const GENERAL_NAME *one = sk_GENERAL_NAME_value(names, i);

        found = one->type == GEN_DNS && is_name(one->d.dNSName, name);
    }
    GENERAL_NAMES_free(names);
    return found;
}

bool tls_stream_has_certificate(const struct tls_stream *s)
{
    return SSL_get0_peer_certificate(s->ssl) != NULL &&
           SSL_get_verify_result(s->ssl) == X509_V_OK;
}

bool tls_stream_has_name(const struct tls_stream *s, const char *name)
{
    const X509 *certificate = SSL_get0_peer_certificate(s->ssl);

    return certificate != NULL && name[0] != '\0' &&
           SSL_get_verify_result(s->ssl) == X509_V_OK &&
           (has_common_name(certificate, name) ||
            has_dns_name(certificate, name));
}

#include "adapters/jose_work.h"

#include <openssl/crypto.h>
#include <openssl/ecdsa.h>
#include <openssl/err.h>

enum { SIGNATURE_MAX = JOSE_RSA_BITS_MAX / 8 };

/* DER to r and s, 48 bytes each. */
static enum err write_raw(const unsigned char *der, size_t len, struct buf *out)
{
    unsigned char raw[2 * JOSE_P384_BYTES];
    ECDSA_SIG *pair = d2i_ECDSA_SIG(NULL, &der, (long)len);
    bool fine =
        pair != NULL &&
        BN_bn2binpad(ECDSA_SIG_get0_r(pair), raw, JOSE_P384_BYTES) > 0 &&
        BN_bn2binpad(ECDSA_SIG_get0_s(pair), raw + JOSE_P384_BYTES,
                     JOSE_P384_BYTES) > 0;

    ECDSA_SIG_free(pair);
    if (!fine)
        return ERR_MEMORY;
    buf_add(out, raw, sizeof(raw));
    return buf_ok(out);
}

enum err jose_key_sign(const struct jose_key *key, const void *data, size_t len,
                       struct buf *out)
{
    unsigned char signature[SIGNATURE_MAX];
    size_t signature_len = sizeof(signature);
    EVP_MD_CTX *ctx;
    bool fine;

    if (!key->is_private)
        return ERR_DENIED;
    ctx = EVP_MD_CTX_new();
    fine = ctx != NULL &&
           EVP_DigestSignInit(ctx, NULL, EVP_sha384(), NULL, key->pkey) == 1 &&
           EVP_DigestSign(ctx, signature, &signature_len, data, len) == 1;
    EVP_MD_CTX_free(ctx);
    ERR_clear_error();
    if (!fine)
        return ERR_MEMORY;
    if (key->alg == JOSE_ES384)
        return write_raw(signature, signature_len, out);
    buf_add(out, signature, signature_len);
    return buf_ok(out);
}

static bool is_signature(const struct jose_key *key, const void *data,
                         size_t len, const unsigned char *signature,
                         size_t signature_len)
{
    EVP_MD_CTX *ctx = EVP_MD_CTX_new();
    bool fine =
        ctx != NULL &&
        EVP_DigestVerifyInit(ctx, NULL, EVP_sha384(), NULL, key->pkey) == 1 &&
        EVP_DigestVerify(ctx, signature, signature_len, data, len) == 1;

    EVP_MD_CTX_free(ctx);
    ERR_clear_error();
    return fine;
}

/* r and s to the DER that OpenSSL verifies; false: no memory. */
static bool read_raw(const unsigned char *raw, unsigned char **der, int *len)
{
    ECDSA_SIG *pair = ECDSA_SIG_new();
    BIGNUM *r = BN_bin2bn(raw, JOSE_P384_BYTES, NULL);
    BIGNUM *s = BN_bin2bn(raw + JOSE_P384_BYTES, JOSE_P384_BYTES, NULL);

    *len = -1;
    if (pair != NULL && r != NULL && s != NULL &&
        ECDSA_SIG_set0(pair, r, s) == 1)
        *len = i2d_ECDSA_SIG(pair, der); /* r and s are the pair's now */
    else {
        BN_free(r);
        BN_free(s);
    }
    ECDSA_SIG_free(pair);
    return *len > 0;
}

enum err jose_key_verify(const struct jose_key *key, const void *data,
                         size_t len, const void *signature,
                         size_t signature_len)
{
    unsigned char *der = NULL;
    int der_len;
    bool fine;

    if (key->alg == JOSE_RS384)
        return is_signature(key, data, len, signature, signature_len)
                   ? ERR_OK
                   : ERR_DENIED;
    if (signature_len != (size_t)2 * JOSE_P384_BYTES)
        return ERR_DENIED;
    if (!read_raw(signature, &der, &der_len))
        return ERR_MEMORY;
    fine = is_signature(key, data, len, der, (size_t)der_len);
    OPENSSL_free(der);
    return fine ? ERR_OK : ERR_DENIED;
}

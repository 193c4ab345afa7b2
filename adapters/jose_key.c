#include "adapters/jose_work.h"

#include <openssl/core_names.h>
#include <openssl/crypto.h>
#include <openssl/err.h>
#include <openssl/param_build.h>
#include <openssl/pem.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DIGEST = 32 };

const char *jose_alg_word(enum jose_alg alg)
{
    return alg == JOSE_RS384 ? "RS384" : "ES384";
}

enum jose_alg jose_key_alg(const struct jose_key *key)
{
    return key->alg;
}

const char *jose_key_kid(const struct jose_key *key)
{
    return key->kid;
}

void jose_key_free(struct jose_key *key)
{
    if (key == NULL)
        return;
    EVP_PKEY_free(key->pkey);
    free(key);
}

/* ---- which keys are taken ----------------------------------------------- */

static bool is_p384(const EVP_PKEY *pkey)
{
    char name[64];
    size_t len;

    return EVP_PKEY_get_group_name(pkey, name, sizeof(name), &len) == 1 &&
           (strcmp(name, "secp384r1") == 0 || strcmp(name, "P-384") == 0);
}

/* ERR_RANGE, and why */
static enum err choose_alg(const EVP_PKEY *pkey, enum jose_alg *alg,
                           struct buf *why)
{
    int bits = EVP_PKEY_get_bits(pkey);

    switch (EVP_PKEY_get_base_id(pkey)) {
    case EVP_PKEY_RSA:
        *alg = JOSE_RS384;
        if (bits >= JOSE_RSA_BITS_MIN && bits <= JOSE_RSA_BITS_MAX)
            return ERR_OK;
        buf_printf(why, "an RSA key of %d bits; %d to %d are taken", bits,
                   JOSE_RSA_BITS_MIN, JOSE_RSA_BITS_MAX);
        return ERR_RANGE;
    case EVP_PKEY_EC:
        *alg = JOSE_ES384;
        if (is_p384(pkey))
            return ERR_OK;
        buf_puts(why, "a key of another curve than P-384 (secp384r1)");
        return ERR_RANGE;
    default:
        buf_puts(why, "neither an RSA key nor one of the curve P-384");
        return ERR_RANGE;
    }
}

enum err jose_key_adopt(EVP_PKEY *pkey, bool is_private, struct jose_key **out,
                        struct buf *why)
{
    struct jose_key *key = calloc(1, sizeof(*key));
    enum err e = key == NULL ? ERR_MEMORY : ERR_OK;

    if (e == ERR_OK)
        e = choose_alg(pkey, &key->alg, why);
    if (e != ERR_OK) {
        EVP_PKEY_free(pkey);
        free(key);
        return e;
    }
    key->pkey = pkey;
    key->is_private = is_private;
    *out = key;
    return ERR_OK;
}

/* ---- from PEM ----------------------------------------------------------- */

/* Nobody sits there to type one in. */
static int no_pass_phrase(char *out, int size, int writes, void *arg)
{
    (void)out;
    (void)size;
    (void)writes;
    *(bool *)arg = true;
    return -1;
}

static enum err set_kid(struct jose_key *key, const char *kid, struct buf *why)
{
    if (kid == NULL || kid[0] == '\0')
        return jose_key_thumbprint(key, key->kid);
    if (strlen(kid) >= sizeof(key->kid)) {
        buf_printf(why, "a key id of more than %d characters",
                   JOSE_KID_SIZE - 1);
        return ERR_RANGE;
    }
    memcpy(key->kid, kid, strlen(kid) + 1);
    return ERR_OK;
}

enum err jose_key_read_pem(const char *pem, size_t len, const char *kid,
                           struct jose_key **out, struct buf *why)
{
    bool asked = false;
    struct jose_key *key = NULL;
    BIO *bio = BIO_new_mem_buf(pem, len <= JOSE_SET_MAX ? (int)len : 0);
    EVP_PKEY *pkey;
    enum err e;

    if (bio == NULL)
        return ERR_MEMORY;
    pkey = PEM_read_bio_PrivateKey(bio, NULL, no_pass_phrase, &asked);
    BIO_free(bio);
    ERR_clear_error();
    if (pkey == NULL) {
        buf_puts(why, asked ? "the private key is under a pass phrase"
                            : "there is no private key in PEM in it");
        return ERR_FORM;
    }
    e = jose_key_adopt(pkey, true, &key, why);
    if (e == ERR_OK)
        e = set_kid(key, kid, why);
    if (e != ERR_OK) {
        jose_key_free(key);
        return e;
    }
    *out = key;
    return ERR_OK;
}

/* ---- from numbers ------------------------------------------------------- */

static enum err build(const char *kind, OSSL_PARAM_BLD *parts,
                      struct jose_key **key, struct buf *why)
{
    OSSL_PARAM *params = OSSL_PARAM_BLD_to_param(parts);
    EVP_PKEY_CTX *ctx = EVP_PKEY_CTX_new_from_name(NULL, kind, NULL);
    EVP_PKEY *pkey = NULL;
    enum err e = params != NULL && ctx != NULL ? ERR_OK : ERR_MEMORY;

    if (e == ERR_OK &&
        (EVP_PKEY_fromdata_init(ctx) != 1 ||
         EVP_PKEY_fromdata(ctx, &pkey, EVP_PKEY_PUBLIC_KEY, params) != 1)) {
        buf_puts(why, "numbers that are no public key");
        e = ERR_FORM;
    }
    EVP_PKEY_CTX_free(ctx);
    OSSL_PARAM_free(params);
    ERR_clear_error();
    return e == ERR_OK ? jose_key_adopt(pkey, false, key, why) : e;
}

enum err jose_key_of_rsa(const struct buf *n, const struct buf *e,
                         struct jose_key **key, struct buf *why)
{
    OSSL_PARAM_BLD *parts = OSSL_PARAM_BLD_new();
    BIGNUM *modulus =
        BN_bin2bn((const unsigned char *)n->data, (int)n->len, NULL);
    BIGNUM *exponent =
        BN_bin2bn((const unsigned char *)e->data, (int)e->len, NULL);
    enum err result = ERR_MEMORY;

    if (parts == NULL || modulus == NULL || exponent == NULL)
        goto done;
    result = ERR_FORM;
    /* 1 would make every signature true; a long one takes long */
    if (!BN_is_odd(exponent) || BN_is_one(exponent) ||
        BN_num_bits(exponent) > 64 || !BN_is_odd(modulus)) {
        buf_puts(why, "numbers that are no public key");
        goto done;
    }
    result = ERR_MEMORY;
    if (OSSL_PARAM_BLD_push_BN(parts, OSSL_PKEY_PARAM_RSA_N, modulus) == 1 &&
        OSSL_PARAM_BLD_push_BN(parts, OSSL_PKEY_PARAM_RSA_E, exponent) == 1)
        result = build("RSA", parts, key, why);
done:
    BN_free(modulus);
    BN_free(exponent);
    OSSL_PARAM_BLD_free(parts);
    return result;
}

enum err jose_key_of_p384(const struct buf *x, const struct buf *y,
                          struct jose_key **key, struct buf *why)
{
    unsigned char point[1 + 2 * JOSE_P384_BYTES] = { 4 }; /* uncompressed */
    OSSL_PARAM_BLD *parts;
    enum err e = ERR_MEMORY;

    if (x->len != JOSE_P384_BYTES || y->len != JOSE_P384_BYTES) {
        buf_puts(why, "coordinates that are not of 48 bytes");
        return ERR_FORM;
    }
    memcpy(point + 1, x->data, JOSE_P384_BYTES);
    memcpy(point + 1 + JOSE_P384_BYTES, y->data, JOSE_P384_BYTES);
    parts = OSSL_PARAM_BLD_new();
    if (parts != NULL &&
        OSSL_PARAM_BLD_push_utf8_string(parts, OSSL_PKEY_PARAM_GROUP_NAME,
                                        "secp384r1", 0) == 1 &&
        OSSL_PARAM_BLD_push_octet_string(parts, OSSL_PKEY_PARAM_PUB_KEY, point,
                                         sizeof(point)) == 1)
        e = build("EC", parts, key, why); /* on the curve, or refused */
    OSSL_PARAM_BLD_free(parts);
    return e;
}

/* ---- to numbers --------------------------------------------------------- */

/* least_bytes: padded in front to as many, for a coordinate */
static enum err write_number(const EVP_PKEY *pkey, const char *name,
                             int least_bytes, struct buf *out)
{
    unsigned char bytes[JOSE_RSA_BITS_MAX / 8];
    BIGNUM *number = NULL;
    int len;

    if (EVP_PKEY_get_bn_param(pkey, name, &number) != 1)
        return ERR_MEMORY;
    len = BN_num_bytes(number);
    len = len < least_bytes ? least_bytes : len;
    if ((size_t)len > sizeof(bytes) || BN_bn2binpad(number, bytes, len) != len)
        len = 0;
    BN_free(number);
    if (len == 0)
        return ERR_MEMORY;
    jose_base64_write(bytes, (size_t)len, out);
    return buf_ok(out);
}

enum err jose_key_numbers(const struct jose_key *key, struct buf *first,
                          struct buf *second)
{
    bool rsa = key->alg == JOSE_RS384;
    int least = rsa ? 1 : JOSE_P384_BYTES;
    enum err e = write_number(
        key->pkey, rsa ? OSSL_PKEY_PARAM_RSA_N : OSSL_PKEY_PARAM_EC_PUB_X,
        least, first);

    if (e != ERR_OK)
        return e;
    return write_number(key->pkey,
                        rsa ? OSSL_PKEY_PARAM_RSA_E : OSSL_PKEY_PARAM_EC_PUB_Y,
                        least, second);
}

enum err jose_key_thumbprint(const struct jose_key *key,
                             char out[JOSE_THUMBPRINT_SIZE])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned len = 0;
    struct buf first, second, text;
    enum err e;

    buf_init(&first, 4096);
    buf_init(&second, 4096);
    buf_init(&text, 8192);
    e = jose_key_numbers(key, &first, &second);
    if (e == ERR_OK && key->alg == JOSE_RS384)
        buf_printf(&text, "{\"e\":\"%s\",\"kty\":\"RSA\",\"n\":\"%s\"}",
                   second.data, first.data);
    else if (e == ERR_OK)
        buf_printf(&text,
                   "{\"crv\":\"P-384\",\"kty\":\"EC\",\"x\":\"%s\","
                   "\"y\":\"%s\"}",
                   first.data, second.data);
    if (e == ERR_OK)
        e = buf_ok(&text);
    if (e == ERR_OK &&
        EVP_Digest(text.data, text.len, digest, &len, EVP_sha256(), NULL) != 1)
        e = ERR_MEMORY;
    buf_empty(&text);
    if (e == ERR_OK) {
        jose_base64_write(digest, DIGEST, &text);
        snprintf(out, JOSE_THUMBPRINT_SIZE, "%s", text.data);
    }
    buf_clear(&first);
    buf_clear(&second);
    buf_clear(&text);
    return e;
}

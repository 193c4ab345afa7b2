/*
 * jose - signed statements (JWS) and the keys for them (JWK)
 *
 * Two algorithms and no other: RS384 and ES384, the two that SMART App Launch
 * asks of everyone.  Which one is used follows from the key, never from the
 * statement: what a statement says of its algorithm must agree with the key,
 * so that nobody can pass a public key off as a shared secret.
 *
 *     jose.c            compact serialisation, signing, verifying
 *     jose_base64.c     base64url
 *     jose_key.c        keys
 *     jose_signature.c  signatures over bytes
 *     jose_jwk.c        keys as JSON
 *     jose_claims.c     what an access token claims; see jose_claims.h
 *
 * Sources: RFC 7515 (JWS), 7517 (JWK), 7518 (algorithms), 7638 (thumbprint).
 */
#ifndef HEADGATE_ADAPTERS_JOSE_H
#define HEADGATE_ADAPTERS_JOSE_H

#include "adapters/buf.h"

enum {
    JOSE_TOKEN_MAX = 16384, /* bytes of a statement that is looked at */
    JOSE_KEYS_MAX = 32,     /* keys of a set that can be used */
    JOSE_SET_MAX = 262144,  /* bytes of a key set */
    JOSE_KID_SIZE = 256,
    JOSE_THUMBPRINT_SIZE = 44 /* 43 characters and a NUL */
};

/* ---- base64url (RFC 7515, 2: no padding) -------------------------------- */

void jose_base64_write(const void *data, size_t len, struct buf *out);

/*
 * Append the bytes.  Strict: one text for one run of bytes.
 *
 * ERR_FORM  another character ('=', '+', '/', a blank), a length that cannot
 *           be, or bits at the end that are not zero
 * ERR_LIMIT, ERR_MEMORY  of out
 */
MUST_CHECK enum err jose_base64_read(const char *text, size_t len,
                                     struct buf *out);

/* ---- one key ------------------------------------------------------------ */

enum jose_alg { JOSE_RS384, JOSE_ES384 };
const char *jose_alg_word(enum jose_alg alg); /* "RS384", "ES384" */

struct jose_key;

/*
 * jose_key_read_pem - a private key: PKCS #8, or the older forms of RSA and EC
 *
 * kid  NULL or "": the thumbprint
 * why  out: what is wrong, words only
 *
 * ERR_FORM   no private key in PEM, or one under a pass phrase
 * ERR_RANGE  RSA of less than 2048 or more than 8192 bits, a curve that is
 *            not P-384, another kind of key, a kid that is too long
 * ERR_MEMORY
 */
MUST_CHECK enum err jose_key_read_pem(const char *pem, size_t len,
                                      const char *kid, struct jose_key **key,
                                      struct buf *why);
void jose_key_free(struct jose_key *key);

enum jose_alg jose_key_alg(const struct jose_key *key);
const char *jose_key_kid(const struct jose_key *key); /* "" if it has none */

/* RFC 7638 with SHA-256.  ERR_MEMORY */
MUST_CHECK enum err jose_key_thumbprint(const struct jose_key *key,
                                        char out[JOSE_THUMBPRINT_SIZE]);

/*
 * The bare signature over bytes, as JWS has it: for ES384 r and s, 48 bytes
 * each (RFC 7518, 3.4), not DER.
 *
 * jose_key_sign    ERR_DENIED: no private half; ERR_MEMORY
 * jose_key_verify  ERR_DENIED: not a signature by this key; ERR_MEMORY
 */
MUST_CHECK enum err jose_key_sign(const struct jose_key *key, const void *data,
                                  size_t len, struct buf *out);
MUST_CHECK enum err jose_key_verify(const struct jose_key *key,
                                    const void *data, size_t len,
                                    const void *signature,
                                    size_t signature_len);

/* ---- key sets ----------------------------------------------------------- */

struct jose_keys;

/*
 * jose_keys_read - a JWK Set, or a single JWK
 *
 * Keys of other kinds, for other uses or for other algorithms are left out
 * (RFC 7517, 5); a key of ours that is broken refuses the whole set.  A key
 * without kid gets its thumbprint as kid.
 *
 * why  out: words, and the number of the key, from 1
 *
 * ERR_FORM    not JSON, not a key set, a broken key, a member twice
 * ERR_DENIED  a private or shared key stands in it: it has been given away
 * ERR_RANGE   RSA of less than 2048 or more than 8192 bits
 * ERR_CONFLICT  two keys with one kid
 * ERR_ABSENT  no key that can be used
 * ERR_LIMIT   larger than JOSE_SET_MAX, or more than JOSE_KEYS_MAX keys
 * ERR_MEMORY
 */
MUST_CHECK enum err jose_keys_read(const char *json, size_t len,
                                   struct jose_keys **keys, struct buf *why);
void jose_keys_free(struct jose_keys *keys);
size_t jose_keys_count(const struct jose_keys *keys);
const struct jose_key *jose_keys_at(const struct jose_keys *keys, size_t i);

/* Write the public halves as a JWK Set. */
void jose_keys_write(const struct jose_key *const *keys, size_t count,
                     struct buf *out);

/* ---- statements --------------------------------------------------------- */

/*
 * jose_sign - append the compact serialisation of a payload
 *
 * The header is alg, kid (if the key has one) and "typ":"JWT".
 *
 * ERR_DENIED (no private half), ERR_LIMIT, ERR_MEMORY
 */
MUST_CHECK enum err jose_sign(const struct jose_key *key, const char *payload,
                              size_t len, struct buf *out);

/*
 * jose_verify - append the payload of a statement that one of the keys signed
 *
 * The key is the one with the kid of the header.  Where the header has no kid
 * the set must have exactly one key for its alg.  Keys that the header brings
 * along (jwk, jku, x5c, x5u) are not looked at.
 *
 * ERR_FORM     not a statement in compact form: three parts, base64url, a
 *              header that is a JSON object without a member twice
 * ERR_LIMIT    longer than JOSE_TOKEN_MAX
 * ERR_UNKNOWN  there is no such key; the caller may read the set again
 * ERR_DENIED   another algorithm than the key's ("none" and HS* are never
 *              any key's), a header that must be understood (crit) and is
 *              not, a typ other than JWT and at+jwt, a false signature
 * ERR_MEMORY
 */
MUST_CHECK enum err jose_verify(const struct jose_keys *keys, const char *token,
                                size_t len, struct buf *payload);

#endif

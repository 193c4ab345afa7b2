/* jose_work - what the jose_* files share; private to them */
#ifndef HEADGATE_ADAPTERS_JOSE_WORK_H
#define HEADGATE_ADAPTERS_JOSE_WORK_H

#include "adapters/jose.h"

#include <openssl/evp.h>
#include <stdbool.h>

enum {
    JOSE_RSA_BITS_MIN = 2048, /* RFC 7518, 3.3 */
    JOSE_RSA_BITS_MAX = 8192, /* beyond it verifying takes noticeably long */
    JOSE_P384_BYTES = 48
};

struct jose_key {
    EVP_PKEY *pkey;
    enum jose_alg alg;
    bool is_private;
    char kid[JOSE_KID_SIZE];
};

/*
 * Take over a key of OpenSSL, which is freed also on an error.
 *
 * ERR_RANGE  not of a kind and size that is used here; ERR_MEMORY
 */
MUST_CHECK enum err jose_key_adopt(EVP_PKEY *pkey, bool is_private,
                                   struct jose_key **key, struct buf *why);

/* From the numbers, big-endian.  ERR_FORM (not a point of the curve, an
 * exponent that cannot be), ERR_RANGE, ERR_MEMORY */
MUST_CHECK enum err jose_key_of_rsa(const struct buf *n, const struct buf *e,
                                    struct jose_key **key, struct buf *why);
MUST_CHECK enum err jose_key_of_p384(const struct buf *x, const struct buf *y,
                                     struct jose_key **key, struct buf *why);

/* The public numbers as base64url: n and e, or x and y.  ERR_MEMORY */
MUST_CHECK enum err jose_key_numbers(const struct jose_key *key,
                                     struct buf *first, struct buf *second);

#endif

/*
 * jose_claims - what an access token claims, once its signature is known true
 *
 * Sources: RFC 7519, 4.1 (iss, aud, exp, nbf); RFC 8693, 4.2 (scope); RFC
 * 9068, 2.2 (client_id).  "scp" is common practice of some servers, no source.
 */
#ifndef HEADGATE_ADAPTERS_JOSE_CLAIMS_H
#define HEADGATE_ADAPTERS_JOSE_CLAIMS_H

#include "adapters/buf.h"

#include <stdint.h>

enum {
    JOSE_LEEWAY_S = 60, /* that two clocks may differ */
    JOSE_CLIENT_SIZE = 256,
    JOSE_SCOPE_SIZE = 4096
};

struct jose_expected {
    const char *issuer, *audience; /* exactly so */
    int64_t now_s;
};

struct jose_claims {
    char client[JOSE_CLIENT_SIZE]; /* client_id, else sub */
    char scope[JOSE_SCOPE_SIZE];   /* with a blank between; "" if none */
    int64_t expires_s;
};

/*
 * why  out: one static word of what is wrong: "form", "issuer", "audience",
 *      "expired", "not-yet", "client", "scope"; written on an error only
 *
 * ERR_FORM    no JSON object, a member twice, or one that is missing or of
 *             another kind (exp is required)
 * ERR_DENIED  another issuer or audience, expired, not yet valid
 */
MUST_CHECK enum err jose_claims_read(const char *json, size_t len,
                                     const struct jose_expected *expected,
                                     struct jose_claims *claims,
                                     const char **why);

#endif

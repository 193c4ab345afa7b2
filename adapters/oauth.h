/*
 * oauth - the words between a backend service and an authorisation server
 *
 * Only reading and writing of text; sending is service/smart.h's affair.
 *
 * Sources: SMART App Launch 2.2, "Backend Services" and "Conformance"; RFC
 * 6749, 4.4 (client credentials), 5.1 and 5.2 (answers); RFC 7523, 3 (the
 * statement); RFC 6750, 2.1 (what a token may look like).
 */
#ifndef HEADGATE_ADAPTERS_OAUTH_H
#define HEADGATE_ADAPTERS_OAUTH_H

#include "adapters/jose.h"

#include <stdint.h>

enum {
    OAUTH_URL_SIZE = 1024,
    OAUTH_SCOPE_SIZE = 4096,
    OAUTH_TOKEN_MAX = 12000,     /* characters of an access token */
    OAUTH_LIFE_S = 300,          /* of a token whose life is not said */
    OAUTH_LIFE_MAX_S = 86400,    /* what is more counts as so much */
    OAUTH_STATEMENT_LIFE_S = 240 /* five minutes are the most that is allowed;
                                    a minute is left for clocks that differ */
};

/* ---- .well-known/smart-configuration ------------------------------------ */

struct oauth_server {
    char token_url[OAUTH_URL_SIZE];
    bool takes_keys;               /* private_key_jwt, or it does not say */
    bool takes_rs384, takes_es384; /* or it does not say */
    char scopes[OAUTH_SCOPE_SIZE]; /* scopes_supported, with a blank between;
                                      cut at a word; "" if it does not say */
};

/* why: words.  ERR_FORM: no JSON object, a member twice, no token_endpoint */
MUST_CHECK enum err oauth_server_read(const char *json, size_t len,
                                      struct oauth_server *server,
                                      struct buf *why);

/* ---- asking for a token ------------------------------------------------- */

struct oauth_statement {
    const char *client_id;
    const char *token_url; /* the audience, exactly as it is posted to */
    const char *jti;       /* never used before */
    int64_t now_s;
};

/* Append the signed statement: iss and sub are the client, aud the token
 * address; iat is sent, for there are servers that refuse a statement
 * without, and nbf is not.  ERR_LIMIT, ERR_MEMORY, ERR_DENIED (public key) */
MUST_CHECK enum err oauth_statement_write(const struct jose_key *key,
                                          const struct oauth_statement *what,
                                          struct buf *out);

/* Append the form (application/x-www-form-urlencoded). */
void oauth_form_write(const char *scopes, const char *statement,
                      struct buf *out);

/* ---- the answer --------------------------------------------------------- */

struct oauth_error {
    const char *word; /* "invalid_client" */
    const char *text; /* for a person; neither holds anything of the answer */
    bool passing;     /* the same may be taken later, else it will not */
};

struct oauth_answer {
    char *token; /* owned; NULL: none was granted, see error */
    int64_t life_s;
    bool says_scope; /* else what was asked for is granted (RFC 6749, 5.1) */
    char scope[OAUTH_SCOPE_SIZE];
    const struct oauth_error *error; /* static; NULL if a token was granted */
};

/*
 * oauth_answer_read - of any HTTP status; 401 and 400 are read alike
 *
 * What is no answer of an authorisation server gets an error of ours:
 * "redirect", "no-such-address", "server" (5xx), "throttled" (429),
 * "bad-answer", "no-bearer" (a token of another type).
 *
 * ERR_MEMORY
 */
MUST_CHECK enum err oauth_answer_read(long status, const char *body, size_t len,
                                      struct oauth_answer *answer);
void oauth_answer_clear(struct oauth_answer *answer);

#endif

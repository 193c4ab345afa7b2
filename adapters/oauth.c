#include "adapters/oauth.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static bool copy(const char *text, char *out, size_t size)
{
    size_t len = strlen(text);

    if (len >= size)
        return false;
    memcpy(out, text, len + 1);
    return true;
}

/* ---- .well-known/smart-configuration ------------------------------------ */

/* Does a list name it?  Where there is no list nothing is ruled out. */
static bool lists(json_t *root, const char *member, const char *want)
{
    json_t *one, *list = json_object_get(root, member);
    size_t i;

    if (!json_is_array(list))
        return true;
    json_array_foreach(list, i, one)
    {
        if (json_is_string(one) && strcmp(json_string_value(one), want) == 0)
            return true;
    }
    return false;
}

static void join(json_t *list, char *out, size_t size)
{
    json_t *one;
    size_t i, used = 0;

    json_array_foreach(list, i, one)
    {
        size_t len = json_string_length(one);

        if (len == 0 || used + len + 2 > size)
            continue;
        if (used > 0)
            out[used++] = ' ';
        memcpy(out + used, json_string_value(one), len + 1);
        used += len;
    }
}

enum err oauth_server_read(const char *json, size_t len,
                           struct oauth_server *out, struct buf *why)
{
    static const char methods[] = "token_endpoint_auth_methods_supported";
    static const char algs[] =
        "token_endpoint_auth_signing_alg_values_supported";
    json_t *root = json_loadb(json, len, JSON_REJECT_DUPLICATES, NULL);
    const char *url =
        json_string_value(json_object_get(root, "token_endpoint"));
    struct oauth_server s = { .token_url = "" };
    bool fine = url != NULL && url[0] != '\0' &&
                copy(url, s.token_url, sizeof(s.token_url));

    if (!json_is_object(root))
        buf_puts(why, "it is no JSON object, or has a member twice");
    else if (!fine)
        buf_puts(why, "it names no token_endpoint");
    s.takes_keys = lists(root, methods, "private_key_jwt");
    s.takes_rs384 = lists(root, algs, "RS384");
    s.takes_es384 = lists(root, algs, "ES384");
    join(json_object_get(root, "scopes_supported"), s.scopes, sizeof(s.scopes));
    json_decref(root);
    if (!fine)
        return ERR_FORM;
    *out = s;
    return ERR_OK;
}

/* ---- asking for a token ------------------------------------------------- */

enum err oauth_statement_write(const struct jose_key *key,
                               const struct oauth_statement *what,
                               struct buf *out)
{
    json_int_t now_s = what->now_s;
    json_t *claims =
        json_pack("{ss ss ss ss sI sI}", "iss", what->client_id, "sub",
                  what->client_id, "aud", what->token_url, "jti", what->jti,
                  "iat", now_s, "exp", now_s + OAUTH_STATEMENT_LIFE_S);
    char *text = claims != NULL ? json_dumps(claims, JSON_COMPACT) : NULL;
    enum err e = ERR_MEMORY;

    if (text != NULL)
        e = jose_sign(key, text, strlen(text), out);
    free(text);
    json_decref(claims);
    return e;
}

static void percent(struct buf *out, const char *text)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyz"
                                "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~";

    for (; *text != '\0'; text++) {
        if (strchr(plain, *text) != NULL)
            buf_add(out, text, 1);
        else
            buf_printf(out, "%%%02X", (unsigned)(unsigned char)*text);
    }
}

void oauth_form_write(const char *scopes, const char *statement,
                      struct buf *out)
{
    buf_puts(out, "grant_type=client_credentials&scope=");
    percent(out, scopes);
    buf_puts(out, "&client_assertion_type=");
    percent(out, "urn:ietf:params:oauth:client-assertion-type:jwt-bearer");
    buf_puts(out, "&client_assertion=");
    percent(out, statement);
}

/* ---- the answer --------------------------------------------------------- */

enum { E_REDIRECT, E_ADDRESS, E_SERVER, E_THROTTLED, E_FORM, E_TYPE, E_CLIENT };

/* Those of ours, then those of RFC 6749, 5.2 and 4.1.2.1. */
static const struct oauth_error errors[] = {
    [E_REDIRECT] = { "redirect",
                     "the authorisation server answers with a redirect, which "
                     "is not followed",
                     false },
    [E_ADDRESS] = { "no-such-address", "there is nothing at the token address",
                    false },
    [E_SERVER] = { "server", "the authorisation server has a fault", true },
    [E_THROTTLED] = { "throttled",
                      "the authorisation server asks for fewer requests",
                      true },
    [E_FORM] = { "bad-answer",
                 "the token address does not answer as an authorisation server "
                 "does",
                 true },
    [E_TYPE] = { "no-bearer",
                 "the authorisation server gave a token that is no bearer "
                 "token",
                 false },
    [E_CLIENT] = { "invalid_client",
                   "the authorisation server does not know this client, its "
                   "key, or the way it signs",
                   false },
    { "unauthorized_client",
      "this client may not ask the authorisation server for tokens in this "
      "way",
      false },
    { "invalid_scope",
      "the authorisation server does not grant the scopes that are asked for",
      false },
    { "invalid_request",
      "the authorisation server does not understand the request for a token",
      false },
    { "invalid_grant",
      "the authorisation server does not take the signed statement", false },
    { "unsupported_grant_type",
      "the authorisation server has no tokens for backend services", false },
    { "access_denied", "the authorisation server says no", false },
    { "temporarily_unavailable",
      "the authorisation server is not available at the moment", true },
    { "server_error", "the authorisation server has a fault", true },
    { "other", "the authorisation server refuses for a reason of its own",
      false },
};

static const struct oauth_error *error_by_word(const char *word)
{
    size_t i = 0;

    while (i + 1 < COUNT(errors) && strcmp(errors[i].word, word) != 0)
        i++;
    return &errors[i];
}

/* RFC 6750, 2.1: b64token; so it can stand in a header. */
static bool is_token(const char *text, size_t len)
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyz"
                                  "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                  "0123456789-._~+/=";

    return len > 0 && len <= OAUTH_TOKEN_MAX && strspn(text, letters) == len;
}

/* A number, or (common practice of some servers, no source) one in quotes. */
static bool read_life(json_t *value, int64_t *life_s)
{
    const char *text = json_string_value(value);
    double seconds = OAUTH_LIFE_S;
    char *end;

    if (json_is_number(value)) {
        seconds = json_number_value(value);
    } else if (text != NULL) {
        seconds = strtod(text, &end);
        if (end == text || *end != '\0')
            return false;
    } else if (value != NULL) {
        return false;
    }
    if (!(seconds >= 1.0))
        return false;
    *life_s = seconds > OAUTH_LIFE_MAX_S ? OAUTH_LIFE_MAX_S : (int64_t)seconds;
    return true;
}

static bool read_scope(json_t *value, struct oauth_answer *a)
{
    a->says_scope = value != NULL;
    if (value == NULL)
        return true;
    return json_is_string(value) &&
           copy(json_string_value(value), a->scope, sizeof(a->scope));
}

static enum err read_grant(json_t *root, struct oauth_answer *a)
{
    json_t *token = json_object_get(root, "access_token");
    const char *type = json_string_value(json_object_get(root, "token_type"));
    size_t len = json_string_length(token);

    a->error = &errors[E_FORM];
    if (!json_is_string(token) || type == NULL ||
        !is_token(json_string_value(token), len) ||
        !read_life(json_object_get(root, "expires_in"), &a->life_s) ||
        !read_scope(json_object_get(root, "scope"), a))
        return ERR_OK;
    a->error = &errors[E_TYPE];
    if (strcasecmp(type, "bearer") != 0)
        return ERR_OK;
    a->token = malloc(len + 1);
    if (a->token == NULL)
        return ERR_MEMORY;
    memcpy(a->token, json_string_value(token), len + 1);
    a->error = NULL;
    return ERR_OK;
}

static const struct oauth_error *error_of(long status, json_t *root)
{
    const char *word = json_string_value(json_object_get(root, "error"));

    if (status >= 300 && status < 400)
        return &errors[E_REDIRECT];
    if (status == 429)
        return &errors[E_THROTTLED];
    if (status >= 500)
        return &errors[E_SERVER];
    if (word != NULL)
        return error_by_word(word);
    if (status == 401)
        return &errors[E_CLIENT];
    if (status == 404 || status == 405 || status == 410)
        return &errors[E_ADDRESS];
    return &errors[E_FORM];
}

enum err oauth_answer_read(long status, const char *body, size_t len,
                           struct oauth_answer *answer)
{
    json_t *root = json_loadb(body, len, JSON_REJECT_DUPLICATES, NULL);
    enum err e = ERR_OK;

    memset(answer, 0, sizeof(*answer));
    if (status == 200)
        e = read_grant(root, answer);
    else
        answer->error = error_of(status, root);
    json_decref(root);
    return e;
}

void oauth_answer_clear(struct oauth_answer *answer)
{
    free(answer->token);
    answer->token = NULL;
}

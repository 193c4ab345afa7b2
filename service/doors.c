#include "service/doors.h"

#include "adapters/jose.h"
#include "adapters/jose_claims.h"
#include "service/file.h"
#include "service/log.h"
#include "service/tokens.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    CLIENTS_MAX = 256, /* that get a number of their own */
    CLIENT_FIRST = 1001,
    AGAIN_MS = 10000, /* least time between two readings of the key set */
    FRESH_MS = 60000, /* then it is read again in any case: a key may have
                          been taken out */
    WHY_SIZE = 1024
};

struct doors {
    struct tokens *tokens;  /* NULL: no file */
    struct jose_keys *keys; /* NULL: no JWTs */
    char keys_path[CONFIG_TEXT_SIZE];
    char issuer[CONFIG_TEXT_SIZE], audience[CONFIG_TEXT_SIZE];
    int64_t read_ms;           /* when the key set was read last */
    struct jose_claims claims; /* of the request that is looked at */
    char *clients[CLIENTS_MAX];
    size_t client_count;
};

/* ---- the key set -------------------------------------------------------- */

static enum err read_keys(const char *path, struct jose_keys **keys,
                          struct buf *why)
{
    struct buf json, what;
    enum err e;

    buf_init(&json, JOSE_SET_MAX);
    buf_init(&what, WHY_SIZE);
    e = file_read(path, &json, why);
    if (e == ERR_OK) {
        e = jose_keys_read(json.data, json.len, keys, &what);
        if (e != ERR_OK && e != ERR_MEMORY) {
            buf_printf(why, "%s: %s", path, what.data);
            e = ERR_CONFIG;
        }
    }
    buf_clear(&json);
    buf_clear(&what);
    return e;
}

/* Keys change while we run.  A set that cannot be read changes nothing. */
static void read_again(struct doors *d, int64_t now_ms)
{
    struct jose_keys *keys = NULL;
    struct buf why;
    enum err e;

    d->read_ms = now_ms;
    buf_init(&why, WHY_SIZE);
    e = read_keys(d->keys_path, &keys, &why);
    buf_clear(&why);
    if (e != ERR_OK) {
        log_event(LOG_ERROR, "doors.keys", KEY_ERR(e));
        return;
    }
    jose_keys_free(d->keys);
    d->keys = keys;
}

/* ---- who ---------------------------------------------------------------- */

/* The number of a client by its name; 0: there are too many. */
static int number_of(struct doors *d, const char *name)
{
    size_t len = strlen(name) + 1, i = 0;

    while (i < d->client_count && strcmp(d->clients[i], name) != 0)
        i++;
    if (i == CLIENTS_MAX)
        return 0;
    if (i == d->client_count) {
        d->clients[i] = malloc(len);
        if (d->clients[i] == NULL)
            return 0;
        memcpy(d->clients[i], name, len);
        d->client_count++;
    }
    return CLIENT_FIRST + (int)i;
}

static enum err verify(struct doors *d, const char *token, int64_t now_ms,
                       struct buf *payload)
{
    int64_t age_ms = now_ms - d->read_ms;
    size_t len = strlen(token);
    enum err e;

    if (age_ms >= FRESH_MS || age_ms < 0)
        read_again(d, now_ms);
    e = jose_verify(d->keys, token, len, payload);
    if (e != ERR_UNKNOWN || now_ms - d->read_ms < AGAIN_MS)
        return e;
    read_again(d, now_ms);
    buf_empty(payload);
    return jose_verify(d->keys, token, len, payload);
}

static const char *verify_word(enum err e)
{
    switch ((int)e) {
    case ERR_UNKNOWN:
        return "key";
    case ERR_DENIED:
        return "signature";
    case ERR_LIMIT:
        return "too-long";
    case ERR_MEMORY:
        return "memory";
    default:
        return "form";
    }
}

static enum err who_by_jwt(struct doors *d, const char *token, int64_t now_ms,
                           struct door_grant *grant, const char **why)
{
    struct jose_expected expected = { .issuer = d->issuer,
                                      .audience = d->audience,
                                      .now_s = now_ms / 1000 };
    struct buf payload;
    enum err e;

    buf_init(&payload, JOSE_TOKEN_MAX);
    e = verify(d, token, now_ms, &payload);
    if (e != ERR_OK)
        *why = verify_word(e);
    else
        e = jose_claims_read(payload.data != NULL ? payload.data : "",
                             payload.len, &expected, &d->claims, why);
    buf_clear(&payload);
    if (e != ERR_OK)
        return ERR_DENIED;
    *grant = (struct door_grant){ .scopes = d->claims.scope,
                                  .client = number_of(d, d->claims.client),
                                  .name = d->claims.client,
                                  .is_signed = true };
    return ERR_OK;
}

enum err doors_who(struct doors *d, const char *authorization, int64_t now_ms,
                   struct door_grant *grant, const char **why)
{
    const char *token = tokens_bearer(authorization);
    struct tokens_client client;
    enum err e = ERR_DENIED;

    *why = "unknown";
    if (token == NULL) {
        *why = "none";
        e = ERR_ABSENT;
    } else if (d->tokens != NULL && tokens_accept(d->tokens, token, &client)) {
        *grant = (struct door_grant){ .scopes = client.scopes,
                                      .client = client.line,
                                      .name = client.name };
        e = ERR_OK;
    } else if (d->keys != NULL && strchr(token, '.') != NULL) {
        e = who_by_jwt(d, token, now_ms, grant, why);
    }
    return e;
}

/* ---- opening ------------------------------------------------------------ */

static enum err open_keys(struct doors *d, const struct config *c,
                          struct buf *why)
{
    if (c->http_jwt_keys[0] == '\0')
        return ERR_OK;
    snprintf(d->keys_path, sizeof(d->keys_path), "%s", c->http_jwt_keys);
    snprintf(d->issuer, sizeof(d->issuer), "%s", c->http_jwt_issuer);
    snprintf(d->audience, sizeof(d->audience), "%s", c->http_jwt_audience);
    return read_keys(d->keys_path, &d->keys, why);
}

enum err doors_open(const struct config *config, struct doors **out,
                    struct buf *why)
{
    struct doors *d = calloc(1, sizeof(*d));
    enum err e = d != NULL ? ERR_OK : ERR_MEMORY;

    if (e == ERR_OK && config->http_tokens[0] != '\0')
        e = tokens_load(config->http_tokens, &d->tokens, why);
    if (e == ERR_OK)
        e = open_keys(d, config, why);
    if (e == ERR_OK)
        *out = d;
    else
        doors_close(d);
    return e;
}

void doors_close(struct doors *d)
{
    if (d == NULL)
        return;
    for (size_t i = 0; i < d->client_count; i++)
        free(d->clients[i]);
    tokens_free(d->tokens);
    jose_keys_free(d->keys);
    free(d);
}

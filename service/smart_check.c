#include "adapters/origin.h"
#include "adapters/rights.h"
#include "service/smart_work.h"

#include <string.h>

/* Plain http is for tests on one machine: on a wire it would show the
 * token to everyone. */
static bool is_safe(const struct origin *o)
{
    return o->https || origin_is_loopback(o);
}

/* ---- what the record says of its authorisation server ------------------- */

static const struct oauth_error foreign = { "foreign-host", "", false };
static const struct oauth_error unsafe = { "plain-http", "", false };
static const struct oauth_error no_keys = { "no-key-login", "", false };
static const struct oauth_error no_alg = { "no-algorithm", "", false };
static const struct oauth_error bad_address = { "bad-address", "", false };

static const struct oauth_error *check_address(const struct smart *s,
                                               struct buf *why)
{
    struct origin record, server;

    if (origin_read(s->record_url, &record) != ERR_OK ||
        origin_read(s->server.token_url, &server) != ERR_OK ||
        strchr(s->server.token_url, '#') != NULL) {
        buf_puts(why, "the record names a token address that is none");
        return &bad_address;
    }
    if (!origin_equal(&record, &server)) {
        buf_printf(why,
                   "the record names a token address on another host (%s), and "
                   "nothing was sent there; if it is the right one, name it in "
                   "record.smart_token_url",
                   server.host);
        return &foreign;
    }
    if (!is_safe(&server)) {
        buf_puts(why, "the token address is plain http, by which anyone on "
                      "the way could read the token");
        return &unsafe;
    }
    return NULL;
}

const struct oauth_error *smart_check_server(const struct smart *s,
                                             struct buf *why)
{
    bool rsa = jose_key_alg(s->key) == JOSE_RS384;
    const struct oauth_error *wrong = check_address(s, why);

    if (wrong != NULL)
        return wrong;
    if (!s->server.takes_keys) {
        buf_puts(why, "the authorisation server does not take signed "
                      "statements (private_key_jwt)");
        return &no_keys;
    }
    if (rsa ? !s->server.takes_rs384 : !s->server.takes_es384) {
        buf_printf(why,
                   "the authorisation server does not take %s, by which the "
                   "key signs; %s is the other kind",
                   jose_alg_word(jose_key_alg(s->key)),
                   rsa ? "a P-384 key" : "an RSA key");
        return &no_alg;
    }
    return NULL;
}

/* ---- settings ----------------------------------------------------------- */

static enum err check_url(const char *key, const char *url, struct buf *why)
{
    struct origin o;

    if (origin_read(url, &o) != ERR_OK || strchr(url, '#') != NULL) {
        buf_printf(why,
                   "[record] %s: %.200s is no address that a key may be "
                   "used at",
                   key, url);
        return ERR_CONFIG;
    }
    if (is_safe(&o))
        return ERR_OK;
    buf_printf(why,
               "[record] %s: plain http shows the token to everyone on the "
               "way; use https (http only to 127.0.0.1 or [::1])",
               key);
    return ERR_CONFIG;
}

/* Those of a person in front of the screen are never granted to a service. */
static enum err check_scopes(const char *scopes, struct buf *why)
{
    const char *word;
    struct right scope;
    size_t len;
    int count = 0;

    for (; rights_next(&scopes, &word, &len); count++) {
        if (right_read(word, len, &scope) == ERR_OK &&
            scope.level != RIGHT_SYSTEM) {
            buf_printf(why,
                       "[record] smart_scopes: %.*s is not for a service; its "
                       "scopes begin with system/",
                       (int)(len < 80 ? len : 80), word);
            return ERR_CONFIG;
        }
    }
    if (count > 0 && count <= RIGHT_WORDS_MAX)
        return ERR_OK;
    buf_printf(why, "[record] smart_scopes: give 1 to %d scopes",
               RIGHT_WORDS_MAX);
    return ERR_CONFIG;
}

void smart_set_options(const struct config *c, int64_t (*now_ms)(void),
                       struct smart_options *o)
{
    *o = (struct smart_options){ .record_url = c->record_url,
                                 .client_id = c->record_smart_client_id,
                                 .key_path = c->record_smart_key,
                                 .scopes = c->record_smart_scopes,
                                 .timeout_ms = c->record_timeout_ms,
                                 .retry_first_ms = c->outbox_retry_first_ms,
                                 .retry_last_ms = c->outbox_retry_last_ms,
                                 .now_ms = now_ms };
    if (c->record_smart_key_next[0] != '\0')
        o->next_key_path = c->record_smart_key_next;
    if (c->record_smart_token_url[0] != '\0')
        o->token_url = c->record_smart_token_url;
}

enum err smart_check_options(const struct smart_options *o, struct buf *why)
{
    enum err e = check_url("url", o->record_url, why);

    if (e == ERR_OK && o->token_url != NULL)
        e = check_url("smart_token_url", o->token_url, why);
    if (e == ERR_OK && o->client_id[0] == '\0') {
        buf_puts(why, "[record] smart_client_id: must not be empty");
        e = ERR_CONFIG;
    }
    return e == ERR_OK ? check_scopes(o->scopes, why) : e;
}

#include "adapters/jose_work.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* ---- signing ------------------------------------------------------------ */

static enum err write_header(const struct jose_key *key, struct buf *out)
{
    json_t *header =
        json_pack("{ss ss}", "alg", jose_alg_word(key->alg), "typ", "JWT");
    char *text = NULL;
    enum err e = ERR_MEMORY;

    if (header != NULL &&
        (key->kid[0] == '\0' ||
         json_object_set_new(header, "kid", json_string(key->kid)) == 0))
        text = json_dumps(header, JSON_COMPACT);
    if (text != NULL) {
        jose_base64_write(text, strlen(text), out);
        e = buf_ok(out);
    }
    free(text);
    json_decref(header);
    return e;
}

enum err jose_sign(const struct jose_key *key, const char *payload, size_t len,
                   struct buf *out)
{
    struct buf input, signature;
    enum err e;

    buf_init(&input, JOSE_TOKEN_MAX);
    buf_init(&signature, JOSE_RSA_BITS_MAX / 8);
    e = write_header(key, &input);
    if (e == ERR_OK) {
        buf_puts(&input, ".");
        jose_base64_write(payload, len, &input);
        e = buf_ok(&input);
    }
    if (e == ERR_OK)
        e = jose_key_sign(key, input.data, input.len, &signature);
    if (e == ERR_OK) {
        buf_puts(&input, ".");
        jose_base64_write(signature.data, signature.len, &input);
        e = buf_ok(&input);
    }
    if (e == ERR_OK) {
        buf_add(out, input.data, input.len);
        e = buf_ok(out);
    }
    buf_clear(&input);
    buf_clear(&signature);
    return e;
}

/* ---- verifying ---------------------------------------------------------- */

/* A statement taken apart; spans of it. */
struct parts {
    const char *header, *payload, *signature;
    size_t header_len, payload_len, signature_len;
};

static bool split(const char *token, size_t len, struct parts *p)
{
    const char *end = token + len;
    const char *first = memchr(token, '.', len);
    const char *second = first != NULL
                             ? memchr(first + 1, '.', (size_t)(end - first - 1))
                             : NULL;

    if (second == NULL ||
        memchr(second + 1, '.', (size_t)(end - second - 1)) != NULL)
        return false;
    p->header = token;
    p->header_len = (size_t)(first - token);
    p->payload = first + 1;
    p->payload_len = (size_t)(second - first - 1);
    p->signature = second + 1;
    p->signature_len = (size_t)(end - second - 1);
    return p->header_len > 0 && p->signature_len > 0;
}

/* Access tokens are JWT or at+jwt (RFC 9068, 2.1); other types are made for
 * other things by the same signer. */
static bool is_typ_taken(json_t *typ)
{
    const char *text = json_string_value(typ);

    if (typ == NULL)
        return true;
    if (text == NULL)
        return false;
    if (strncasecmp(text, "application/", 12) == 0)
        text += 12;
    return strcasecmp(text, "JWT") == 0 || strcasecmp(text, "at+jwt") == 0;
}

static bool is_alg(const struct jose_key *key, const char *alg)
{
    return strcmp(jose_alg_word(key->alg), alg) == 0;
}

/* ERR_UNKNOWN, or ERR_DENIED if the key is for another algorithm. */
static enum err by_kid(const struct jose_keys *keys, const char *kid,
                       const char *alg, const struct jose_key **key)
{
    for (size_t i = 0; i < jose_keys_count(keys); i++) {
        const struct jose_key *one = jose_keys_at(keys, i);

        if (strcmp(one->kid, kid) != 0)
            continue;
        *key = one;
        return is_alg(one, alg) ? ERR_OK : ERR_DENIED;
    }
    return ERR_UNKNOWN;
}

static enum err by_alg(const struct jose_keys *keys, const char *alg,
                       const struct jose_key **key)
{
    size_t found = 0;

    for (size_t i = 0; i < jose_keys_count(keys); i++) {
        if (is_alg(jose_keys_at(keys, i), alg)) {
            *key = jose_keys_at(keys, i);
            found++;
        }
    }
    return found == 1 ? ERR_OK : ERR_UNKNOWN;
}

static enum err choose_key(const struct jose_keys *keys, json_t *header,
                           const struct jose_key **key)
{
    const char *alg = json_string_value(json_object_get(header, "alg"));
    json_t *kid = json_object_get(header, "kid");

    if (alg == NULL || (kid != NULL && !json_is_string(kid)))
        return ERR_FORM;
    /* nothing of it is understood here, so that each must be refused */
    if (json_object_get(header, "crit") != NULL ||
        !is_typ_taken(json_object_get(header, "typ")))
        return ERR_DENIED;
    if (strcmp(alg, "RS384") != 0 && strcmp(alg, "ES384") != 0)
        return ERR_DENIED;
    return kid != NULL ? by_kid(keys, json_string_value(kid), alg, key)
                       : by_alg(keys, alg, key);
}

static enum err read_header(const struct jose_keys *keys, const struct parts *p,
                            const struct jose_key **key)
{
    struct buf text;
    json_t *header = NULL;
    enum err e;

    buf_init(&text, JOSE_TOKEN_MAX);
    e = jose_base64_read(p->header, p->header_len, &text);
    if (e == ERR_OK) {
        header = json_loadb(text.data, text.len, JSON_REJECT_DUPLICATES, NULL);
        e = json_is_object(header) ? choose_key(keys, header, key) : ERR_FORM;
    }
    json_decref(header);
    buf_clear(&text);
    return e;
}

enum err jose_verify(const struct jose_keys *keys, const char *token,
                     size_t len, struct buf *payload)
{
    const struct jose_key *key = NULL;
    struct buf signature, content;
    struct parts p;
    enum err e;

    if (len > JOSE_TOKEN_MAX)
        return ERR_LIMIT;
    if (!split(token, len, &p))
        return ERR_FORM;
    buf_init(&signature, JOSE_TOKEN_MAX);
    buf_init(&content, JOSE_TOKEN_MAX);
    e = jose_base64_read(p.signature, p.signature_len, &signature);
    if (e == ERR_OK)
        e = jose_base64_read(p.payload, p.payload_len, &content);
    if (e == ERR_OK)
        e = read_header(keys, &p, &key);
    if (e == ERR_OK)
        e = jose_key_verify(key, token, p.header_len + 1 + p.payload_len,
                            signature.data, signature.len);
    if (e == ERR_OK) {
        buf_add(payload, content.data, content.len);
        e = buf_ok(payload);
    }
    buf_clear(&signature);
    buf_clear(&content);
    return e;
}

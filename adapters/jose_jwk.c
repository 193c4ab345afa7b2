#include "adapters/jose_work.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { NUMBER_MAX = JOSE_RSA_BITS_MAX / 8 + 1 };

struct jose_keys {
    size_t count;
    struct jose_key *keys[JOSE_KEYS_MAX];
};

void jose_keys_free(struct jose_keys *keys)
{
    for (size_t i = 0; keys != NULL && i < keys->count; i++)
        jose_key_free(keys->keys[i]);
    free(keys);
}

size_t jose_keys_count(const struct jose_keys *keys)
{
    return keys->count;
}

const struct jose_key *jose_keys_at(const struct jose_keys *keys, size_t i)
{
    return keys->keys[i];
}

/* ---- one key of a set --------------------------------------------------- */

static const char *text_of(json_t *jwk, const char *member)
{
    return json_string_value(json_object_get(jwk, member));
}

static bool text_is(json_t *jwk, const char *member, const char *want)
{
    const char *text = text_of(jwk, member);

    return text != NULL && strcmp(text, want) == 0;
}

/* A member that says what the key is for is silent, or says this. */
static bool may_be(json_t *jwk, const char *member, const char *want)
{
    return json_object_get(jwk, member) == NULL || text_is(jwk, member, want);
}

static bool may_verify(json_t *jwk)
{
    json_t *item, *operations = json_object_get(jwk, "key_ops");
    size_t i;

    if (operations == NULL)
        return true;
    json_array_foreach(operations, i, item)
    {
        if (json_is_string(item) &&
            strcmp(json_string_value(item), "verify") == 0)
            return true;
    }
    return false;
}

/* The members of RFC 7518 that nobody else may see: d of RSA and EC with the
 * primes, and k of a shared secret. */
static bool is_secret(json_t *jwk)
{
    static const char *const members[] = { "d",  "p",  "q",   "dp",
                                           "dq", "qi", "oth", "k" };

    for (size_t i = 0; i < COUNT(members); i++) {
        if (json_object_get(jwk, members[i]) != NULL)
            return true;
    }
    return false;
}

/* Is it of a kind, for a use, and for an algorithm that we know? */
static bool is_ours(json_t *jwk, bool *rsa)
{
    *rsa = text_is(jwk, "kty", "RSA");
    if (!*rsa && !(text_is(jwk, "kty", "EC") && text_is(jwk, "crv", "P-384")))
        return false;
    return may_be(jwk, "use", "sig") && may_verify(jwk) &&
           may_be(jwk, "alg", *rsa ? "RS384" : "ES384");
}

static enum err read_number(json_t *jwk, const char *member, struct buf *out,
                            struct buf *why)
{
    const char *text = text_of(jwk, member);
    enum err e = ERR_FORM;

    if (text != NULL)
        e = jose_base64_read(text, strlen(text), out);
    if (e == ERR_LIMIT)
        e = ERR_RANGE;
    if (e == ERR_OK && out->len == 0)
        e = ERR_FORM;
    if (e != ERR_OK)
        buf_printf(why, "its %s is no base64url number of a fitting length",
                   member);
    return e;
}

static enum err read_numbers(json_t *jwk, bool rsa, struct jose_key **key,
                             struct buf *why)
{
    struct buf first, second;
    enum err e;

    buf_init(&first, NUMBER_MAX);
    buf_init(&second, NUMBER_MAX);
    e = read_number(jwk, rsa ? "n" : "x", &first, why);
    if (e == ERR_OK)
        e = read_number(jwk, rsa ? "e" : "y", &second, why);
    /* RFC 7518, 6.3.1: as few octets as the number needs */
    if (e == ERR_OK && rsa &&
        (first.data[0] == '\0' || second.data[0] == '\0')) {
        buf_puts(why, "a number that begins with a zero byte");
        e = ERR_FORM;
    }
    if (e == ERR_OK)
        e = rsa ? jose_key_of_rsa(&first, &second, key, why)
                : jose_key_of_p384(&first, &second, key, why);
    buf_clear(&first);
    buf_clear(&second);
    return e;
}

static enum err read_kid(json_t *jwk, struct jose_key *key, struct buf *why)
{
    json_t *kid = json_object_get(jwk, "kid");

    if (kid == NULL)
        return jose_key_thumbprint(key, key->kid);
    if (!json_is_string(kid) || json_string_length(kid) == 0 ||
        json_string_length(kid) >= sizeof(key->kid)) {
        buf_printf(why, "its kid is no text of 1 to %d characters",
                   JOSE_KID_SIZE - 1);
        return ERR_FORM;
    }
    memcpy(key->kid, json_string_value(kid), json_string_length(kid) + 1);
    return ERR_OK;
}

/* *key stays NULL for one that is not ours. */
static enum err read_key(json_t *jwk, struct jose_key **key, struct buf *why)
{
    bool rsa;
    enum err e;

    if (!json_is_object(jwk)) {
        buf_puts(why, "no JSON object");
        return ERR_FORM;
    }
    if (is_secret(jwk)) {
        buf_puts(why, "a private or shared key; only the public part belongs "
                      "into a key set, and this key is to be replaced");
        return ERR_DENIED;
    }
    if (!is_ours(jwk, &rsa))
        return ERR_OK;
    e = read_numbers(jwk, rsa, key, why);
    if (e == ERR_OK)
        e = read_kid(jwk, *key, why);
    if (e != ERR_OK) {
        jose_key_free(*key);
        *key = NULL;
    }
    return e;
}

/* ---- a set -------------------------------------------------------------- */

static bool is_taken(const struct jose_keys *keys, const char *kid)
{
    for (size_t i = 0; i < keys->count; i++) {
        if (strcmp(keys->keys[i]->kid, kid) == 0)
            return true;
    }
    return false;
}

/* Takes key over. */
static enum err add_key(struct jose_keys *keys, struct jose_key *key,
                        struct buf *why)
{
    enum err e = ERR_OK;

    if (key == NULL)
        return ERR_OK;
    if (is_taken(keys, key->kid)) {
        buf_puts(why, "another key has the same kid");
        e = ERR_CONFLICT;
    } else if (keys->count == JOSE_KEYS_MAX) {
        buf_printf(why, "more than %d keys", JOSE_KEYS_MAX);
        e = ERR_LIMIT;
    }
    if (e == ERR_OK)
        keys->keys[keys->count++] = key;
    else
        jose_key_free(key);
    return e;
}

static enum err read_set(json_t *root, struct jose_keys *keys, struct buf *why)
{
    json_t *list = json_object_get(root, "keys"), *jwk;
    bool single = json_object_get(root, "kty") != NULL;
    size_t count = single ? 1 : json_array_size(list);

    if (!json_is_object(root) || (!single && !json_is_array(list))) {
        buf_puts(why, "no JWK Set: an object with an array \"keys\"");
        return ERR_FORM;
    }
    for (size_t i = 0; i < count; i++) {
        struct jose_key *key = NULL;
        struct buf what;
        enum err e;

        buf_init(&what, 1024);
        jwk = single ? root : json_array_get(list, i);
        e = read_key(jwk, &key, &what);
        if (e == ERR_OK)
            e = add_key(keys, key, &what);
        if (e != ERR_OK)
            buf_printf(why, "key %zu: %s", i + 1,
                       what.len > 0 ? what.data : err_word(e));
        buf_clear(&what);
        if (e != ERR_OK)
            return e;
    }
    if (keys->count > 0)
        return ERR_OK;
    buf_puts(why, "no key in it that can be used: RSA for RS384, or P-384 "
                  "for ES384");
    return ERR_ABSENT;
}

enum err jose_keys_read(const char *json, size_t len, struct jose_keys **out,
                        struct buf *why)
{
    struct jose_keys *keys;
    json_error_t error;
    json_t *root;
    enum err e;

    if (len > JOSE_SET_MAX) {
        buf_printf(why, "a key set of more than %d bytes", JOSE_SET_MAX);
        return ERR_LIMIT;
    }
    root = json_loadb(json, len, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL) {
        buf_printf(why, "no JSON, or a member twice, in line %d", error.line);
        return ERR_FORM;
    }
    keys = calloc(1, sizeof(*keys));
    e = keys != NULL ? read_set(root, keys, why) : ERR_MEMORY;
    json_decref(root);
    if (e == ERR_OK)
        *out = keys;
    else
        jose_keys_free(keys);
    return e;
}

/* ---- writing ------------------------------------------------------------ */

static json_t *write_key(const struct jose_key *key)
{
    bool rsa = key->alg == JOSE_RS384;
    struct buf first, second;
    json_t *jwk = NULL;

    buf_init(&first, 4096);
    buf_init(&second, 4096);
    if (jose_key_numbers(key, &first, &second) != ERR_OK)
        jwk = NULL;
    else if (rsa)
        jwk = json_pack("{ss ss ss ss ss ss}", "kty", "RSA", "kid", key->kid,
                        "use", "sig", "alg", "RS384", "n", first.data, "e",
                        second.data);
    else
        jwk = json_pack("{ss ss ss ss ss ss ss}", "kty", "EC", "kid", key->kid,
                        "use", "sig", "alg", "ES384", "crv", "P-384", "x",
                        first.data, "y", second.data);
    if (jwk != NULL && key->kid[0] == '\0')
        json_object_del(jwk, "kid");
    buf_clear(&first);
    buf_clear(&second);
    return jwk;
}

void jose_keys_write(const struct jose_key *const *keys, size_t count,
                     struct buf *out)
{
    json_t *list = json_array();
    json_t *root = json_object();
    char *text = NULL;
    bool fine = list != NULL && root != NULL;

    for (size_t i = 0; fine && i < count; i++)
        fine = json_array_append_new(list, write_key(keys[i])) == 0;
    if (fine)
        fine = json_object_set(root, "keys", list) == 0;
    if (fine)
        text = json_dumps(root, JSON_COMPACT);
    if (text != NULL)
        buf_puts(out, text);
    else
        out->err = ERR_MEMORY;
    free(text);
    json_decref(list);
    json_decref(root);
}

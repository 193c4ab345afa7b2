#include "adapters/jose_claims.h"

#include <jansson.h>
#include <string.h>

static bool is_text(json_t *value, const char *want)
{
    return json_is_string(value) && strcmp(json_string_value(value), want) == 0;
}

/* One audience, or a list of them. */
static bool is_audience(json_t *value, const char *want)
{
    json_t *one;
    size_t i;

    if (!json_is_array(value))
        return is_text(value, want);
    json_array_foreach(value, i, one)
    {
        if (is_text(one, want))
            return true;
    }
    return false;
}

/* A NumericDate, whole or not, within what a clock can say. */
static bool read_date(json_t *value, double *at_s)
{
    if (!json_is_number(value))
        return false;
    *at_s = json_number_value(value);
    return *at_s >= 0.0 && *at_s < 1e11;
}

static enum err check_times(json_t *root, int64_t now_s,
                            struct jose_claims *claims, const char **why)
{
    json_t *nbf = json_object_get(root, "nbf");
    double exp_s, nbf_s = 0.0, now = (double)now_s;

    *why = "form";
    if (!read_date(json_object_get(root, "exp"), &exp_s) ||
        (nbf != NULL && !read_date(nbf, &nbf_s)))
        return ERR_FORM;
    *why = "expired";
    if (now >= exp_s + JOSE_LEEWAY_S)
        return ERR_DENIED;
    *why = "not-yet";
    if (nbf_s > now + JOSE_LEEWAY_S)
        return ERR_DENIED;
    claims->expires_s = (int64_t)exp_s;
    return ERR_OK;
}

static bool copy(const char *text, char *out, size_t size)
{
    size_t len = strlen(text);

    if (len >= size)
        return false;
    memcpy(out, text, len + 1);
    return true;
}

static bool read_client(json_t *root, struct jose_claims *claims)
{
    json_t *value = json_object_get(root, "client_id");

    if (value == NULL)
        value = json_object_get(root, "sub");
    return json_is_string(value) && json_string_length(value) > 0 &&
           copy(json_string_value(value), claims->client,
                sizeof(claims->client));
}

/* Blanks stand between scopes, so none stands in one. */
static bool join(json_t *list, char *out, size_t size)
{
    json_t *one;
    size_t i, used = 0;

    json_array_foreach(list, i, one)
    {
        size_t len = json_string_length(one);

        if (!json_is_string(one) || len == 0 || used + len + 2 > size ||
            strchr(json_string_value(one), ' ') != NULL)
            return false;
        if (used > 0)
            out[used++] = ' ';
        memcpy(out + used, json_string_value(one), len + 1);
        used += len;
    }
    return true;
}

static bool read_scope(json_t *root, struct jose_claims *claims)
{
    json_t *value = json_object_get(root, "scope");

    if (value == NULL)
        value = json_object_get(root, "scp");
    if (value == NULL)
        return true;
    if (json_is_array(value))
        return join(value, claims->scope, sizeof(claims->scope));
    return json_is_string(value) &&
           copy(json_string_value(value), claims->scope, sizeof(claims->scope));
}

static enum err read_all(json_t *root, const struct jose_expected *expected,
                         struct jose_claims *claims, const char **why)
{
    enum err e;

    *why = "form";
    if (!json_is_object(root))
        return ERR_FORM;
    *why = "issuer";
    if (!is_text(json_object_get(root, "iss"), expected->issuer))
        return ERR_DENIED;
    *why = "audience";
    if (!is_audience(json_object_get(root, "aud"), expected->audience))
        return ERR_DENIED;
    e = check_times(root, expected->now_s, claims, why);
    if (e != ERR_OK)
        return e;
    *why = "client";
    if (!read_client(root, claims))
        return ERR_FORM;
    *why = "scope";
    return read_scope(root, claims) ? ERR_OK : ERR_FORM;
}

enum err jose_claims_read(const char *json, size_t len,
                          const struct jose_expected *expected,
                          struct jose_claims *claims, const char **why)
{
    struct jose_claims fresh = { .expires_s = 0 };
    json_t *root = json_loadb(json, len, JSON_REJECT_DUPLICATES, NULL);
    const char *word = "form";
    enum err e = read_all(root, expected, &fresh, &word);

    json_decref(root);
    if (e == ERR_OK)
        *claims = fresh;
    else
        *why = word;
    return e;
}

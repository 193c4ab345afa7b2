#include "adapters/http_target.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    return -1;
}

/*
 * Decode len bytes and a NUL to *out and move it behind them.  The text never
 * grows.  blank is what a "+" stands for.
 */
static bool decode(const char *from, size_t len, char blank, char **out)
{
    char *to = *out;
    size_t i;

    for (i = 0; i < len; i++) {
        char c = from[i];

        if ((unsigned char)c <= ' ' || c == 0x7f)
            return false;
        if (c == '%') {
            int high = i + 2 < len ? hex(from[i + 1]) : -1;
            int low = i + 2 < len ? hex(from[i + 2]) : -1;

            if (high < 0 || low < 0 || high + low == 0)
                return false;
            *to++ = (char)(unsigned char)(high * 16 + low);
            i += 2;
            continue;
        }
        *to++ = (char)(c == '+' ? blank : c);
    }
    *to++ = '\0';
    *out = to;
    return true;
}

/* One "name=value" or "name"; an empty part is no parameter. */
static bool decode_pair(struct http_target *t, const char *part, size_t len,
                        char **out)
{
    const char *equals = memchr(part, '=', len);
    size_t name_len = equals != NULL ? (size_t)(equals - part) : len;

    if (len == 0)
        return true;
    if (!decode(part, name_len, ' ', out))
        return false;
    if (equals == NULL)
        *(*out)++ = '\0';
    else if (!decode(equals + 1, len - name_len - 1, ' ', out))
        return false;
    t->pair_count++;
    return true;
}

static bool decode_query(struct http_target *t, const char *query, char **out)
{
    for (;;) {
        size_t len = strcspn(query, "&");

        if (!decode_pair(t, query, len, out))
            return false;
        if (query[len] == '\0')
            return true;
        query += len + 1;
    }
}

/* Where the path begins; NULL if the form is none that a server takes. */
static const char *path_start(const char *raw)
{
    size_t scheme = 0;

    if (raw[0] == '/' || strcmp(raw, "*") == 0)
        return raw;
    if (strncasecmp(raw, "http://", 7) == 0)
        scheme = 7;
    else if (strncasecmp(raw, "https://", 8) == 0)
        scheme = 8;
    if (scheme == 0 || raw[scheme] == '/' || raw[scheme] == '\0')
        return NULL;
    return raw + scheme + strcspn(raw + scheme, "/?");
}

enum err http_target_read(const char *raw, struct http_target *t)
{
    const char *path = path_start(raw);
    size_t path_len;
    struct http_target got = { NULL, NULL, 0 };
    char *out;

    if (path == NULL)
        return ERR_FORM;
    path_len = strcspn(path, "?");
    /* A query of n bytes holds at most n / 2 + 1 parameters, each of which
     * adds two NULs; the path may gain a "/" and its own NUL. */
    got.path = malloc(2 * strlen(path) + 8);
    if (got.path == NULL)
        return ERR_MEMORY;
    out = got.path;
    if (path_len == 0)
        *out++ = '/'; /* "http://h" and "http://h?q" mean the root */
    if (!decode(path, path_len, '+', &out))
        goto refuse;
    got.pairs = out;
    if (path[path_len] == '?' && !decode_query(&got, path + path_len + 1, &out))
        goto refuse;
    *t = got;
    return ERR_OK;
refuse:
    free(got.path);
    return ERR_FORM;
}

void http_target_clear(struct http_target *t)
{
    free(t->path);
    *t = (struct http_target){ NULL, NULL, 0 };
}

const char *http_target_query(const struct http_target *t, const char *name)
{
    const char *at = t->pairs;
    size_t i;

    for (i = 0; i < t->pair_count; i++) {
        const char *value = at + strlen(at) + 1;

        if (strcmp(at, name) == 0)
            return value;
        at = value + strlen(value) + 1;
    }
    return NULL;
}

void http_target_each(const struct http_target *t,
                      void (*visit)(void *arg, const char *name,
                                    const char *value),
                      void *arg)
{
    const char *at = t->pairs;
    size_t i;

    for (i = 0; i < t->pair_count; i++) {
        const char *value = at + strlen(at) + 1;

        visit(arg, at, value);
        at = value + strlen(value) + 1;
    }
}

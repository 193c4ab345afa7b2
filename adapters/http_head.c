#include "adapters/http_head.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { REQUEST_ID_MAX = 128 };

void http_head_note(struct http_head *h, const char *name, const char *value)
{
    if (strcasecmp(name, "Host") == 0) {
        h->hosts++;
    } else if (strcasecmp(name, "Content-Length") == 0) {
        h->lengths++;
        h->length = value;
    } else if (strcasecmp(name, "Transfer-Encoding") == 0) {
        h->encodings++;
        h->encoding = value;
    }
    /* "Content-Length :" is a length to some readers and not to others. */
    if (name[0] == '\0' || strpbrk(name, " \t") != NULL)
        h->malformed = true;
}

static bool is_known(const char *method)
{
    const char *at = HTTP_METHODS;
    size_t len = strlen(method);

    for (;;) {
        size_t n = strcspn(at, ",");

        if (n == len && memcmp(at, method, n) == 0)
            return true;
        if (at[n] == '\0')
            return false;
        at += n + 2; /* ", " */
    }
}

static bool is_ambiguous(const struct http_head *h, const char *version)
{
    if (h->malformed || h->hosts > 1 || h->lengths + h->encodings > 1)
        return true;
    if (h->hosts == 0 && strcmp(version, "HTTP/1.0") != 0)
        return true;
    return h->encodings > 0 &&
           (h->encoding == NULL || strcasecmp(h->encoding, "chunked") != 0);
}

/* False if it is no plain number; a very large one reads as ULLONG_MAX. */
static bool read_length(const char *text, unsigned long long *length)
{
    if (text[strspn(text, "0123456789")] != '\0' || text[0] == '\0')
        return false;
    *length = strtoull(text, NULL, 10);
    return true;
}

int http_head_refusal(const struct http_head *h, const char *method,
                      const char *version, size_t head_bytes, size_t body_max)
{
    unsigned long long length = 0;

    if (head_bytes > HTTP_HEAD_MAX_BYTES)
        return 431;
    if (is_ambiguous(h, version))
        return 400;
    if (!is_known(method))
        return 405;
    if (h->lengths > 0 &&
        (h->length == NULL || !read_length(h->length, &length)))
        return 400;
    return length > body_max ? 413 : 0;
}

bool http_head_is_request_id(const char *value)
{
    size_t len = value != NULL ? strlen(value) : 0;

    if (len == 0 || len > REQUEST_ID_MAX)
        return false;
    for (size_t i = 0; i < len; i++) {
        if (value[i] < 0x21 || value[i] > 0x7e)
            return false;
    }
    return true;
}

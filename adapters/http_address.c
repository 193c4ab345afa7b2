#include "adapters/http_address.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MAPPED_BITS = 96, WORD_SIZE = 64 };

static const unsigned char mapped[12] = { 0, 0, 0, 0, 0,    0,
                                          0, 0, 0, 0, 0xff, 0xff };

static void map_four(const void *four, unsigned char bytes[16])
{
    memcpy(bytes, mapped, sizeof(mapped));
    memcpy(bytes + sizeof(mapped), four, 4);
}

void http_address_set(struct http_address *a, const struct sockaddr *from)
{
    memset(a, 0, sizeof(*a));
    if (from == NULL)
        return;
    if (from->sa_family == AF_INET) {
        map_four(&((const struct sockaddr_in *)(const void *)from)->sin_addr,
                 a->bytes);
        a->known = true;
    } else if (from->sa_family == AF_INET6) {
        memcpy(a->bytes,
               &((const struct sockaddr_in6 *)(const void *)from)->sin6_addr,
               sizeof(a->bytes));
        a->known = true;
    }
}

/* A word in numbers; four says which kind it was. */
static bool read_word(const char *word, unsigned char bytes[16], bool *four)
{
    struct in_addr a;

    *four = inet_pton(AF_INET, word, &a) == 1;
    if (*four)
        map_four(&a, bytes);
    return *four || inet_pton(AF_INET6, word, bytes) == 1;
}

bool http_address_read(const char *text, size_t len, struct http_address *out)
{
    char word[WORD_SIZE], *at = word, *end;
    bool four;

    memset(out, 0, sizeof(*out));
    if (len >= sizeof(word))
        return false;
    snprintf(word, sizeof(word), "%.*s", (int)len, text);
    if (word[0] == '[') {
        at = word + 1;
        end = strchr(at, ']');
        if (end == NULL || (end[1] != '\0' && end[1] != ':'))
            return false;
        *end = '\0';
    } else {
        end = strchr(word, ':');
        if (end != NULL && strchr(end + 1, ':') == NULL)
            *end = '\0'; /* one colon: IPv4 and a port */
    }
    out->known = read_word(at, out->bytes, &four);
    return out->known;
}

bool http_address_same(const struct http_address *a,
                       const struct http_address *b)
{
    return a->known == b->known &&
           memcmp(a->bytes, b->bytes, sizeof(a->bytes)) == 0;
}

size_t http_address_host_bytes(const struct http_address *a)
{
    return memcmp(a->bytes, mapped, sizeof(mapped)) == 0 ? sizeof(a->bytes)
                                                         : sizeof(a->bytes) / 2;
}

bool http_address_same_host(const struct http_address *a,
                            const struct http_address *b)
{
    size_t len = http_address_host_bytes(a);

    return a->known == b->known && len == http_address_host_bytes(b) &&
           memcmp(a->bytes, b->bytes, len) == 0;
}

bool http_address_is_loopback(const struct http_address *a)
{
    static const unsigned char one[16] = { [15] = 1 };

    return a->known && (memcmp(a->bytes, one, sizeof(one)) == 0 ||
                        (memcmp(a->bytes, mapped, sizeof(mapped)) == 0 &&
                         a->bytes[12] == 127));
}

/* "/24"; the whole address if there is none. */
static bool read_bits(const char *slash, int most, int *bits)
{
    char *end;
    long n;

    *bits = most;
    if (slash == NULL)
        return true;
    n = strtol(slash + 1, &end, 10);
    *bits = (int)n;
    return slash[1] >= '0' && slash[1] <= '9' && *end == '\0' && n >= 0 &&
           n <= most;
}

static bool read_prefix(const char *text, size_t len, unsigned char bytes[16],
                        int *bits)
{
    char word[WORD_SIZE], *slash;
    bool four, ok;

    if (len >= sizeof(word))
        return false;
    snprintf(word, sizeof(word), "%.*s", (int)len, text);
    slash = strchr(word, '/');
    if (slash != NULL)
        *slash = '\0';
    if (!read_word(word, bytes, &four))
        return false;
    ok = read_bits(slash, four ? 32 : 128, bits);
    *bits += four ? MAPPED_BITS : 0;
    return ok;
}

enum err http_prefixes_read(const char *text, struct http_prefixes *out,
                            const char **bad)
{
    struct http_prefixes made = { .count = 0 };

    for (text += strspn(text, ", \t"); *text != '\0';
         text += strspn(text, ", \t")) {
        size_t len = strcspn(text, ", \t");

        *bad = text;
        if (made.count == HTTP_PREFIXES_MAX)
            return ERR_LIMIT;
        if (!read_prefix(text, len, made.list[made.count].bytes,
                         &made.list[made.count].bits))
            return ERR_FORM;
        made.count++;
        text += len;
    }
    *out = made;
    return ERR_OK;
}

bool http_prefixes_have(const struct http_prefixes *list,
                        const struct http_address *a)
{
    for (size_t i = 0; a->known && i < list->count; i++) {
        size_t whole = (size_t)list->list[i].bits / 8;
        int rest = list->list[i].bits % 8;

        if (memcmp(list->list[i].bytes, a->bytes, whole) == 0 &&
            (rest == 0 ||
             (list->list[i].bytes[whole] ^ a->bytes[whole]) >> (8 - rest) == 0))
            return true;
    }
    return false;
}

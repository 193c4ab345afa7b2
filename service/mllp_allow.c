#include "service/mllp_allow.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MAPPED_BITS = 96 };

static const unsigned char mapped[12] = { 0, 0, 0, 0, 0,    0,
                                          0, 0, 0, 0, 0xff, 0xff };

static void map_four(const void *four, unsigned char bytes[16])
{
    memcpy(bytes, mapped, sizeof(mapped));
    memcpy(bytes + sizeof(mapped), four, 4);
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

static bool read_one(const char *text, size_t len, struct mllp_prefix *p)
{
    char word[64], *slash;
    struct in_addr four;
    bool ok;

    if (len >= sizeof(word))
        return false;
    snprintf(word, sizeof(word), "%.*s", (int)len, text);
    slash = strchr(word, '/');
    if (slash != NULL)
        *slash = '\0';
    if (inet_pton(AF_INET, word, &four) == 1) {
        map_four(&four, p->bytes);
        ok = read_bits(slash, 32, &p->bits);
        p->bits += MAPPED_BITS;
        return ok;
    }
    return inet_pton(AF_INET6, word, p->bytes) == 1 &&
           read_bits(slash, 128, &p->bits);
}

enum err mllp_allow_read(const char *text, struct mllp_allow *out,
                         const char **bad)
{
    struct mllp_allow made = { .count = 0 };

    for (text += strspn(text, ", \t"); *text != '\0';
         text += strspn(text, ", \t")) {
        size_t len = strcspn(text, ", \t");

        *bad = text;
        if (made.count == MLLP_ALLOW_MAX)
            return ERR_LIMIT;
        if (!read_one(text, len, &made.list[made.count]))
            return ERR_FORM;
        made.count++;
        text += len;
    }
    *out = made;
    return ERR_OK;
}

static bool is_within(const struct mllp_prefix *p,
                      const unsigned char bytes[16])
{
    size_t whole = (size_t)p->bits / 8;
    int rest = p->bits % 8;

    if (memcmp(p->bytes, bytes, whole) != 0)
        return false;
    return rest == 0 || (p->bytes[whole] ^ bytes[whole]) >> (8 - rest) == 0;
}

bool mllp_allows(const struct mllp_allow *allow, const struct sockaddr *peer)
{
    unsigned char bytes[16];

    if (allow->count == 0)
        return true;
    if (peer->sa_family == AF_INET)
        map_four(&((const struct sockaddr_in *)(const void *)peer)->sin_addr,
                 bytes);
    else if (peer->sa_family == AF_INET6)
        memcpy(bytes,
               &((const struct sockaddr_in6 *)(const void *)peer)->sin6_addr,
               sizeof(bytes));
    else
        return false;
    for (size_t i = 0; i < allow->count; i++) {
        if (is_within(&allow->list[i], bytes))
            return true;
    }
    return false;
}

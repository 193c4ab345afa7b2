#include "adapters/origin.h"

#include <arpa/inet.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static bool is_plain(const char *url)
{
    for (; *url != '\0'; url++) {
        if (*url <= ' ' || *url > '~' || *url == '\\')
            return false;
    }
    return true;
}

static bool read_port(const char *text, size_t len, int *port)
{
    char *end;
    long number;

    if (len == 0 || len > 5 || strspn(text, "0123456789") < len)
        return false;
    number = strtol(text, &end, 10);
    *port = (int)number;
    return number > 0 && number <= 65535;
}

/* Lower case, and of letters that a host may have. */
static bool read_host(const char *text, size_t len, bool six,
                      struct origin *origin)
{
    const char *allowed =
        six ? "0123456789abcdef:." : "abcdefghijklmnopqrstuvwxyz0123456789-._";

    if (len == 0 || len >= sizeof(origin->host))
        return false;
    for (size_t i = 0; i < len; i++) {
        char c = text[i];

        if (c >= 'A' && c <= 'Z')
            c = (char)(c - 'A' + 'a');
        if (strchr(allowed, c) == NULL)
            return false;
        origin->host[i] = c;
    }
    origin->host[len] = '\0';
    return true;
}

enum err origin_read(const char *url, struct origin *out)
{
    struct origin o = { .https = strncasecmp(url, "https://", 8) == 0 };
    const char *host, *end, *tail;
    bool six;

    if ((!o.https && strncasecmp(url, "http://", 7) != 0) || !is_plain(url))
        return ERR_FORM;
    host = url + (o.https ? 8 : 7);
    end = host + strcspn(host, "/?#");
    six = *host == '[';
    host += six;
    tail = host + strcspn(host, six ? "]/?#" : ":/?#");
    if (tail > end || (six && *tail != ']') ||
        !read_host(host, (size_t)(tail - host), six, &o))
        return ERR_FORM;
    tail += six;
    o.port = o.https ? 443 : 80;
    if (tail < end && (*tail != ':' ||
                       !read_port(tail + 1, (size_t)(end - tail - 1), &o.port)))
        return ERR_FORM;
    *out = o;
    return ERR_OK;
}

bool origin_equal(const struct origin *a, const struct origin *b)
{
    return a->https == b->https && a->port == b->port &&
           strcmp(a->host, b->host) == 0;
}

bool origin_is_loopback(const struct origin *o)
{
    struct in6_addr six;
    struct in_addr four;

    if (inet_pton(AF_INET, o->host, &four) == 1)
        return ntohl(four.s_addr) >> 24 == 127;
    return inet_pton(AF_INET6, o->host, &six) == 1 &&
           IN6_IS_ADDR_LOOPBACK(&six);
}

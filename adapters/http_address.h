/*
 * http_address - who is at the other end, as a value that can be compared
 *
 * IPv4 as ::ffff:a.b.c.d, so that a client is the same one whichever listener
 * it came to (RFC 4291, 2.5.5.2).
 */
#ifndef HEADGATE_ADAPTERS_HTTP_ADDRESS_H
#define HEADGATE_ADAPTERS_HTTP_ADDRESS_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <sys/socket.h>

struct http_address {
    bool known; /* false: a Unix socket */
    unsigned char bytes[16];
};

enum { HTTP_PREFIXES_MAX = 64 };

/* Addresses and prefixes, "10.20.0.0/16, 192.0.2.7, 2001:db8::/32". */
struct http_prefixes {
    size_t count;
    struct {
        unsigned char bytes[16];
        int bits; /* of these that count, 0..128 */
    } list[HTTP_PREFIXES_MAX];
};

void http_address_set(struct http_address *a, const struct sockaddr *from);

/* From its text in numbers, of so many bytes; IPv6 also in brackets, either
 * with a port behind.  false: it is none. */
bool http_address_read(const char *text, size_t len, struct http_address *out);

bool http_address_same(const struct http_address *a,
                       const struct http_address *b);

/*
 * As many of the 16 bytes as tell one host from another: all of IPv4, of IPv6
 * the first 64 bits, since a host commonly has every address that follows (RFC
 * 4291, 2.5.1 and 2.5.4: an interface identifier of 64 bits).
 */
size_t http_address_host_bytes(const struct http_address *a);

/* Of one host, by these bytes?  Two that are not known are. */
bool http_address_same_host(const struct http_address *a,
                            const struct http_address *b);

/* Of this machine itself? */
bool http_address_is_loopback(const struct http_address *a);

/*
 * http_prefixes_read - a list with commas or blanks between
 *
 * ERR_FORM   not an address or prefix; *bad is where it stands in text
 * ERR_LIMIT  more than HTTP_PREFIXES_MAX
 */
MUST_CHECK enum err http_prefixes_read(const char *text,
                                       struct http_prefixes *out,
                                       const char **bad);

/* Is it in one of them?  An unknown one is in none. */
bool http_prefixes_have(const struct http_prefixes *list,
                        const struct http_address *address);

#endif

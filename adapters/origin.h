/*
 * origin - scheme, host and port of an address: where a secret may go
 *
 * Source: RFC 6454, 4 and 5 (origins); RFC 3986, 3.2 (authority).
 */
#ifndef HEADGATE_ADAPTERS_ORIGIN_H
#define HEADGATE_ADAPTERS_ORIGIN_H

#include "planner/err.h"

#include <stdbool.h>

struct origin {
    bool https;     /* else http */
    char host[256]; /* lower case; of IPv6 without the brackets */
    int port;       /* also where the address says none */
};

/*
 * ERR_FORM  not http or https, no host, a user name, a character that
 *           programs read in different ways (a blank, a backslash, a control
 *           character, anything beyond ASCII), a port that cannot be
 */
MUST_CHECK enum err origin_read(const char *url, struct origin *origin);

bool origin_equal(const struct origin *a, const struct origin *b);

/* 127.0.0.0/8 or ::1, in numbers: a name may lead anywhere. */
bool origin_is_loopback(const struct origin *origin);

#endif

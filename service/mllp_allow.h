/*
 * mllp_allow - which addresses may connect
 *
 * "10.20.0.0/16, 192.0.2.7, 2001:db8::/32": addresses and prefixes, IPv4 and
 * IPv6, with commas or blanks between.  An IPv4 address that comes over an
 * IPv6 listener (::ffff:a.b.c.d) is the IPv4 address.
 */
#ifndef HEADGATE_SERVICE_MLLP_ALLOW_H
#define HEADGATE_SERVICE_MLLP_ALLOW_H

#include "adapters/http_address.h"

enum { MLLP_ALLOW_MAX = HTTP_PREFIXES_MAX };

struct mllp_allow {
    struct http_prefixes prefixes; /* none: all */
};

/*
 * ERR_FORM   not an address or prefix; *bad is where it stands in text
 * ERR_LIMIT  more than MLLP_ALLOW_MAX
 */
MUST_CHECK enum err mllp_allow_read(const char *text, struct mllp_allow *out,
                                    const char **bad);

bool mllp_allows(const struct mllp_allow *allow, const struct sockaddr *peer);

#endif

#include "service/limits.h"

#include <sys/resource.h>

enum { OTHERS = 128, EACH_TLS = 3 };

long limits_needed(const struct config *c)
{
    bool tls = c->http_tls_certificate[0] != '\0';
    long each = (tls ? EACH_TLS : 1) + 1;

    return each * c->http_connections_max +
           (c->sender_count > 0 ? c->mllp_connections_max : 0) + OTHERS;
}

void limits_raise(const struct config *c)
{
    rlim_t needed = (rlim_t)limits_needed(c);
    struct rlimit limit;

    if (getrlimit(RLIMIT_NOFILE, &limit) != 0 || limit.rlim_cur >= needed)
        return;
    limit.rlim_cur = limit.rlim_max < needed ? limit.rlim_max : needed;
    (void)setrlimit(RLIMIT_NOFILE, &limit); /* limits_check tells */
}

void limits_check(const struct config *c, bool hard, struct buf *found)
{
    struct rlimit limit;
    rlim_t has;

    if (getrlimit(RLIMIT_NOFILE, &limit) == 0) {
        has = hard ? limit.rlim_max : limit.rlim_cur;
        if (has < (rlim_t)limits_needed(c))
            buf_printf(found,
                       "warning: process: %llu descriptors, and with these "
                       "connections_max up to %ld may be needed "
                       "(LimitNOFILE=, ulimit -n)\n",
                       (unsigned long long)has, limits_needed(c));
    }
    if (c->http_connections_per_client > c->http_connections_max / 2)
        buf_printf(found,
                   "warning: [http] connections_per_client: %d of "
                   "connections_max = %d: one client may have more than half "
                   "of all\n",
                   c->http_connections_per_client, c->http_connections_max);
}

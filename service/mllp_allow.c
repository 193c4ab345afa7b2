#include "service/mllp_allow.h"

enum err mllp_allow_read(const char *text, struct mllp_allow *out,
                         const char **bad)
{
    return http_prefixes_read(text, &out->prefixes, bad);
}

bool mllp_allows(const struct mllp_allow *allow, const struct sockaddr *peer)
{
    struct http_address address;

    if (allow->prefixes.count == 0)
        return true;
    http_address_set(&address, peer);
    return http_prefixes_have(&allow->prefixes, &address);
}

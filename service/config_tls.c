/* What the settings of TLS must say together, and whether its files are
 * there. */
#include "service/config_work.h"

#include "adapters/http_address.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static const char *check_http(const struct config *c)
{
    bool tls = c->http_tls_certificate[0] != '\0';
    bool ca = c->http_tls_client_ca[0] != '\0';

    if (tls != (c->http_tls_key[0] != '\0'))
        return "[http] tls_certificate and tls_key: each needs the other";
    if (c->http_tls_client != CLIENT_OFF && !tls)
        return "[http] tls_client: needs tls_certificate and tls_key";
    if ((c->http_tls_client != CLIENT_OFF) != ca)
        return "[http] tls_client_ca, tls_client: a certificate of a client "
               "is asked for with both of them (tls_client = required, or "
               "asked)";
    if (c->http_tls_crl[0] != '\0' && !ca)
        return "[http] tls_crl: needs tls_client and tls_client_ca, or nobody "
               "is asked for a certificate";
    if (c->http_plain && tls)
        return "[http] plain: there is a tls_certificate; it is one or the "
               "other";
    return NULL;
}

static const char *check_record(const struct config *c)
{
    if ((c->record_tls_certificate[0] != '\0') !=
        (c->record_tls_key[0] != '\0'))
        return "[record] tls_certificate and tls_key: each needs the other";
    return NULL;
}

const char *config_check_tls(const struct config *c, char *room, size_t size)
{
    const char *what = check_http(c), *bad = "";
    struct http_prefixes proxies;
    enum err e;

    if (what == NULL)
        what = check_record(c);
    if (what != NULL)
        return what;
    e = http_prefixes_read(c->http_proxy, &proxies, &bad);
    if (e == ERR_OK)
        return NULL;
    snprintf(room, size, "[http] proxy: %.*s %s",
             (int)strcspn(bad, ", \t") % 80, bad,
             e == ERR_LIMIT ? "is one address too many"
                            : "is not an address or prefix in numbers");
    return room;
}

enum err config_check_files(const struct config *c, struct buf *why)
{
    const struct {
        const char *key, *path;
    } files[] = { { "[http] tls_certificate", c->http_tls_certificate },
                  { "[http] tls_key", c->http_tls_key },
                  { "[http] tls_client_ca", c->http_tls_client_ca },
                  { "[http] tls_crl", c->http_tls_crl },
                  { "[mllp] tls_certificate", c->mllp_tls_certificate },
                  { "[mllp] tls_key", c->mllp_tls_key },
                  { "[mllp] tls_client_ca", c->mllp_tls_client_ca },
                  { "[mllp] tls_crl", c->mllp_tls_crl },
                  { "[record] tls_ca", c->record_tls_ca },
                  { "[record] tls_certificate", c->record_tls_certificate },
                  { "[record] tls_key", c->record_tls_key } };
    char what[CONFIG_TEXT_SIZE + 128];

    for (size_t i = 0; i < COUNT(files); i++) {
        if (files[i].path[0] == '\0' || access(files[i].path, R_OK) == 0)
            continue;
        snprintf(what, sizeof(what), "%s: %s cannot be read: %s", files[i].key,
                 files[i].path, strerror(errno));
        config_say(c, what, why);
        return ERR_CONFIG;
    }
    return ERR_OK;
}

/* Which settings may change while the service runs. */
#include "service/config_work.h"

#include <stdio.h>
#include <string.h>

static const char *const live[] = {
    "http.tokens",          "http.jwt_keys",      "http.jwt_issuer",
    "http.jwt_audience",    "http.rate",          "http.rate_burst",
    "http.failures_max",    "http.proxy",         "policy.path",
    "http.tls_client",      "record.tls_ca",      "record.tls_certificate",
    "record.tls_key",       "log.level",          "mllp.tls_client_ca",
    "mllp.tls_crl",         "http.tls_client_ca", "http.tls_crl",
    "http.tls_certificate", "http.tls_key",       "mllp.tls_certificate",
    "mllp.tls_key"
};

/* Between plain and TLS a listener cannot change. */
static const char *const needs_tls[] = { "http.tls_", "mllp.tls_" };

static bool is_live(const char *key)
{
    for (size_t i = 0; i < COUNT(live); i++) {
        if (strcmp(live[i], key) == 0)
            return true;
    }
    return false;
}

/* Does it begin with one of the groups, and did that group come or go? */
static bool is_switched(const char *key, const struct config *now,
                        const struct config *fresh)
{
    bool switched[] = {
        (now->http_tls_certificate[0] == '\0') !=
            (fresh->http_tls_certificate[0] == '\0'),
        (now->mllp_tls_certificate[0] == '\0') !=
            (fresh->mllp_tls_certificate[0] == '\0'),
    };

    for (size_t i = 0; i < COUNT(switched); i++) {
        if (switched[i] &&
            strncmp(key, needs_tls[i], strlen(needs_tls[i])) == 0)
            return true;
    }
    return false;
}

/* Bytes of the value of a row; 0: it is one of maps, compared apart. */
static size_t size_of(const struct config_row *row)
{
    switch (row->type) {
    case T_INT:
    case T_CHOICE:
        return sizeof(int);
    case T_BOOL:
        return sizeof(bool);
    case T_MAP:
    case T_SYSTEM:
        return 0;
    case T_PATH:
    case T_URL:
    case T_TEXT:
    case T_URI:
    case T_ADDRESS:
    case T_ZONE:
    case T_LEVEL:
        break;
    }
    return (size_t)row->most + 1;
}

static bool same_maps(const struct config *a, const struct config *b)
{
    if (a->map_count != b->map_count)
        return false;
    for (int i = 0; i < a->map_count; i++) {
        if (strcmp(a->maps[i], b->maps[i]) != 0)
            return false;
    }
    return true;
}

static bool same_systems(const struct config_sender *a,
                         const struct config_sender *b)
{
    const struct hl7_profile *one = &a->profile, *two = &b->profile;
    bool same = one->system_count == two->system_count;

    for (size_t i = 0; same && i < one->system_count; i++)
        same = strcmp(one->systems[i].name, two->systems[i].name) == 0 &&
               strcmp(one->systems[i].uri, two->systems[i].uri) == 0;
    return same;
}

/* By its row, in two of what the row is about. */
static bool same_value(const struct config_row *row, const void *a,
                       const void *b)
{
    const char *one = (const char *)a + row->where;
    const char *two = (const char *)b + row->where;

    if (row->type == T_MAP)
        return same_maps(a, b);
    if (row->type == T_SYSTEM)
        return same_systems(a, b);
    return row->type == T_INT || row->type == T_CHOICE || row->type == T_BOOL
               ? memcmp(one, two, size_of(row)) == 0
               : strcmp(one, two) == 0;
}

static bool same_senders(const struct config *a, const struct config *b)
{
    size_t count;
    const struct config_row *rows = config_sender_rows(&count);
    bool same = a->sender_count == b->sender_count;

    for (int i = 0; same && i < a->sender_count; i++) {
        same =
            strcmp(a->senders[i].profile.name, b->senders[i].profile.name) == 0;
        for (size_t k = 0; same && k < count; k++)
            same = same_value(&rows[k], &a->senders[i], &b->senders[i]);
    }
    return same;
}

int config_take_live(struct config *now, const struct config *fresh,
                     struct buf *kept)
{
    size_t count;
    const struct config_row *rows = config_rows(&count);
    struct config before = *now; /* is_switched looks at both as they were */
    int stay = 0;

    for (size_t i = 0; i < count; i++) {
        char *to = (char *)now + rows[i].where;
        const char *from = (const char *)fresh + rows[i].where;

        if (same_value(&rows[i], &before, fresh))
            continue;
        if (is_live(rows[i].key) && !is_switched(rows[i].key, &before, fresh)) {
            memcpy(to, from, size_of(&rows[i]));
            continue;
        }
        buf_printf(kept, "%s\n", rows[i].key);
        stay++;
    }
    if (!same_senders(now, fresh)) {
        buf_puts(kept, "sender\n");
        stay++;
    }
    memcpy(now->lines, fresh->lines, sizeof(now->lines));
    return stay;
}

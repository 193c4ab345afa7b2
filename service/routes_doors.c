/* Who may come in, and what for; and our public keys, for all to see. */
#include "adapters/jose.h"
#include "service/app.h"
#include "service/log.h"

#include <stdio.h>
#include <string.h>

/* ---- refusing ----------------------------------------------------------- */

static const struct {
    const char *why, *text;
} texts[] = {
    { "none", "No bearer token" },
    { "unknown", "An unknown bearer token" },
    { "key", "The token is signed with a key that is not known here" },
    { "signature",
      "The token is signed falsely, or in a way that is not taken here: "
      "RS384 and ES384 are" },
    { "issuer", "The token is not of the issuer that is taken here" },
    { "audience", "The token is made for another audience" },
    { "expired", "The token has expired" },
    { "not-yet", "The token is not valid yet" },
    { "client", "The token does not say whose it is (client_id or sub)" },
    { "scope", "The scopes of the token cannot be read" },
    { "too-long", "The token is longer than is taken here" },
    { "form", "The token is neither known here nor a signed token that can be "
              "read" },
};

static const char *text_of(const char *why)
{
    for (size_t i = 0; i < COUNT(texts); i++) {
        if (strcmp(texts[i].why, why) == 0)
            return texts[i].text;
    }
    return "The token cannot be looked at now";
}

/* RFC 6750, 3.1: who brought no token is not told of an error. */
static void refuse_unknown(struct service *s, struct http_request *r, bool none,
                           const char *why)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));

    s->counters.unauthorised++;
    log_event(LOG_DEBUG, "doors.unknown", KEY_TABLE("why", why));
    if (x == NULL)
        return;
    if (!none)
        snprintf(x->challenge, sizeof(x->challenge),
                 "Bearer realm=\"headgate\", error=\"invalid_token\"");
    outcome_add(&x->outcome, SEV_ERROR, "unauthorized", "", "%s", text_of(why));
    exchange_refuse(x);
}

void exchange_forbid(struct exchange *x, int client, const char *scope)
{
    x->service->counters.forbidden++;
    log_event(LOG_WARN, "doors.forbidden", KEY_INT("client", client));
    snprintf(x->challenge, sizeof(x->challenge),
             "Bearer realm=\"headgate\", error=\"insufficient_scope\"%s%s%s",
             scope != NULL ? ", scope=\"" : "", scope != NULL ? scope : "",
             scope != NULL ? "\"" : "");
}

static void refuse_forbidden(struct service *s, struct http_request *r,
                             const char *scope)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));

    if (x == NULL)
        return;
    exchange_forbid(x, s->grant.client, scope);
    outcome_add(&x->outcome, SEV_ERROR, "forbidden", "",
                "The token does not allow this; it lacks %s", scope);
    exchange_refuse(x);
}

/* ---- coming in ---------------------------------------------------------- */

/* Parameters of a search that bring other types along. */
struct parameters {
    const struct door_grant *grant;
    bool refused;
    char scope[64]; /* if refused: what is missing */
};

static void look_at_parameter(void *arg, const char *name, const char *value)
{
    struct parameters *p = arg;
    struct door_need need;

    doors_need_included(name, value, &need);
    if (!p->refused && !doors_let(p->grant, &need, p->scope, sizeof(p->scope)))
        p->refused = true;
}

static bool is_let(struct service *s, struct http_request *r,
                   const char *const *parts, size_t count, struct parameters *p)
{
    struct door_need need;

    if (s->grant.scopes == NULL)
        return true;
    doors_need(http_method(r), parts, count, &need);
    if (!doors_let(&s->grant, &need, p->scope, sizeof(p->scope)))
        return false;
    http_query_each(r, look_at_parameter, p);
    if ((need.right.permits & RIGHT_SEARCH) != 0)
        http_form_each(r, look_at_parameter, p);
    return !p->refused;
}

bool route_admit(struct service *s, struct http_request *r,
                 const char *const *parts, size_t count)
{
    struct parameters p = { .grant = &s->grant };
    const char *why = "";
    enum err e;

    s->grant = (struct door_grant){ .scopes = NULL };
    if (http_is_local(r) || s->config.http_anonymous)
        return true;
    e = doors_who(s->doors, http_header(r, "Authorization"), clock_ms(),
                  &s->grant, &why);
    if (e != ERR_OK) {
        refuse_unknown(s, r, e == ERR_ABSENT, why);
        return false;
    }
    if (is_let(s, r, parts, count, &p))
        return true;
    refuse_forbidden(s, r, p.scope);
    return false;
}

/* ---- our keys ----------------------------------------------------------- */

/* The record's server may keep them so long; a new key is published for
 * longer before it signs. */
static const struct http_header_line keys_kept = { "Cache-Control",
                                                   "public, max-age=300" };

bool route_open(struct service *s, struct http_request *r,
                const char *const *parts, size_t count)
{
    const char *method = http_method(r);
    struct buf keys;
    bool mine = count == 2 && strcmp(parts[0], ".well-known") == 0 &&
                strcmp(parts[1], "jwks.json") == 0 && s->side.smart != NULL &&
                (strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0);

    if (!mine)
        return false;
    buf_init(&keys, JOSE_SET_MAX);
    smart_write_keys(s->side.smart, &keys);
    if (buf_ok(&keys) == ERR_OK)
        http_reply(r, 200, &keys_kept, 1, "application/jwk-set+json", keys.data,
                   keys.len);
    else
        http_reply(r, 503, NULL, 0, NULL, NULL, 0);
    buf_clear(&keys);
    return true;
}

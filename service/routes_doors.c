/* Who may come in, and what for; and our public keys, for all to see. */
#include "adapters/jose.h"
#include "service/app.h"
#include "service/log.h"
#include "service/request_line.h"

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

/* For the audit trail, with where it came from. */
static void note_shut(struct service *s, const struct http_request *r,
                      enum audit_shut shut, const char *actor, const char *why)
{
    struct http_address from = { .known = false };

    if (!http_is_local(r))
        gate_address(s->gate, r, &from);
    audit_doors_from(s->shut, shut, &from, actor, why);
}

/* RFC 6750, 3.1: who brought no token is not told of an error. */
static void refuse_unknown(struct service *s, struct http_request *r, bool none,
                           const char *why)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));

    s->counters.unauthorised++;
    log_event(LOG_DEBUG, "doors.unknown", KEY_TABLE("why", why));
    if (!none) /* who brings none is asked for one, as the standard has it */
        note_shut(s, r, AUDIT_SHUT_FALSE, NULL, why);
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
    note_shut(x->service, x->request, AUDIT_SHUT_RIGHT, x->audit.actor,
              scope != NULL ? scope : "of a Bundle");
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

/* More often than it may; true: it has been answered. */
static bool refuse_hurried(struct service *s, struct http_request *r,
                           int retry_s)
{
    struct exchange *x;

    if (retry_s == 0)
        return false;
    note_shut(s, r, AUDIT_SHUT_OFTEN, s->grant.name, "too-often");
    x = exchange_new(s, r, sizeof(*x));
    if (x == NULL)
        return true;
    x->retry_s = retry_s;
    outcome_add(&x->outcome, SEV_ERROR, "too-often", "",
                "More requests, or more false tokens, than are taken; try "
                "again in %d s",
                retry_s);
    exchange_refuse(x);
    return true;
}

/* Of one of whom nothing is known but the address. */
static bool is_unhurried(struct service *s, struct http_request *r)
{
    struct http_address from;

    gate_address(s->gate, r, &from);
    return !refuse_hurried(
        s, r, gate_unknown(s->gate, &from, (int64_t)uv_now(s->loop)));
}

bool route_is_open(const struct http_request *r, const char *const *parts,
                   size_t count)
{
    static const char *const open[][2] = { { "healthz", NULL },
                                           { "readyz", NULL },
                                           { "fhir", "metadata" },
                                           { ".well-known", "jwks.json" } };
    const char *method = http_method(r);

    if (strcmp(method, "GET") != 0 && strcmp(method, "HEAD") != 0)
        return false;
    for (size_t i = 0; i < COUNT(open); i++) {
        if (count == (open[i][1] != NULL ? 2 : 1) &&
            strcmp(parts[0], open[i][0]) == 0 &&
            (count == 1 || strcmp(parts[1], open[i][1]) == 0))
            return true;
    }
    return false;
}

bool route_unhurried(struct service *s, struct http_request *r,
                     const char *const *parts, size_t count)
{
    return http_is_local(r) || !route_is_open(r, parts, count) ||
           is_unhurried(s, r);
}

/* A token that is known, or none or a false one: who comes too often is told
 * that. */
static bool is_hurried(struct service *s, struct http_request *r, enum err who)
{
    int64_t now_ms = (int64_t)uv_now(s->loop);
    struct http_address from;
    int retry_s;

    if (who == ERR_OK && http_head_was_seen(r))
        return false; /* it was counted then */
    gate_address(s->gate, r, &from);
    if (who == ERR_OK)
        retry_s = gate_known(
            s->gate, s->grant.name != NULL ? s->grant.name : "", now_ms);
    else
        retry_s = who == ERR_ABSENT ? gate_unknown(s->gate, &from, now_ms)
                                    : gate_denied(s->gate, &from, now_ms);
    return refuse_hurried(s, r, retry_s);
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

    doors_need(http_method(r), parts, count, &need);
    doors_need_scope(&need, s->scope_used, sizeof(s->scope_used));
    if (s->grant.scopes == NULL)
        return true;
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
    s->scope_used[0] = '\0';
    if (http_is_local(r))
        return true;
    if (s->config.http_anonymous)
        return http_head_was_seen(r) || is_unhurried(s, r);
    e = doors_who(s->doors, http_header(r, "Authorization"), clock_ms(),
                  &s->grant, &why);
    if (is_hurried(s, r, e))
        return false;
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
        request_reply(r, 200, &keys_kept, 1, "application/jwk-set+json",
                      keys.data, keys.len);
    else
        request_reply(r, 503, NULL, 0, NULL, NULL, 0);
    buf_clear(&keys);
    return true;
}

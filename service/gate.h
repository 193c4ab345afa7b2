/*
 * gate - how often somebody may knock
 *
 * Loop thread.  Requests are counted by client (the name of its token), or by
 * address where there is none; tokens that are false by address.  An address is
 * that of the connection, or, of a proxy of http.proxy, the one that it names
 * last in X-Forwarded-For, all lines of that name taken as one list in their
 * order (RFC 9110, 5.3): a proxy may add its word as a line of its own.  IPv6
 * counts by its first 64 bits: one host has all that follow.
 *
 * An address that has brought too many false tokens is answered 429 for a while
 * if it brings another false one.  A token that is right always passes: behind
 * one address there may be a whole unit, and one of its machines may have a
 * token that was taken away.  What keeps tokens from being guessed is their
 * length; the limit bounds what is answered, written and kept of false ones.
 */
#ifndef HEADGATE_SERVICE_GATE_H
#define HEADGATE_SERVICE_GATE_H

#include "adapters/http_server.h"
#include "service/config.h"

struct gate;

/* Since the opening. */
struct gate_view {
    uint64_t limited; /* requests beyond http.rate */
    uint64_t blocked; /* of addresses beyond http.failures_max */
};

/* ERR_MEMORY, ERR_IO (no random numbers) */
MUST_CHECK enum err gate_open(const struct config *config, struct gate **gate);
void gate_close(struct gate *gate);

/* Go on with other limits; what was counted stays. */
void gate_set(struct gate *gate, const struct config *config);

/* The proxies of http.proxy; as long as the gate. */
const struct http_prefixes *gate_proxies(const struct gate *gate);

/* Does the request come from one of them? */
bool gate_trusts(const struct gate *gate, const struct http_request *r);

/* Whose request it is, see above; if there is no memory to read the list, that
 * of the connection. */
void gate_address(const struct gate *gate, const struct http_request *r,
                  struct http_address *out);

/*
 * Each returns 0, or the seconds after which to try again (Retry-After).
 *
 * gate_unknown   a request without a token, one that needs none included
 * gate_denied    one with a false token
 * gate_known     one with a token of `client`
 */
int gate_unknown(struct gate *gate, const struct http_address *from,
                 int64_t now_ms);
int gate_denied(struct gate *gate, const struct http_address *from,
                int64_t now_ms);
int gate_known(struct gate *gate, const char *client, int64_t now_ms);

void gate_look(const struct gate *gate, struct gate_view *view);

#endif

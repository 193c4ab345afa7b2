#include "service/gate.h"

#include "service/log.h"
#include "service/rate.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SECOND_MS = 1000, MINUTE_MS = 60000, CLIENT_MAX = 128 };

struct gate {
    struct rate_table *requests, *failures;
    struct rate_limit request, failure; /* count 0: any number */
    struct http_prefixes proxies;
    struct gate_view view;
    int64_t said_ms; /* when the log was last told of a block; 0 never */
};

enum err gate_open(const struct config *config, struct gate **out)
{
    struct gate *g = calloc(1, sizeof(*g));
    enum err e = g != NULL ? ERR_OK : ERR_MEMORY;

    if (e == ERR_OK)
        e = rate_open(&g->requests);
    if (e == ERR_OK)
        e = rate_open(&g->failures);
    if (e != ERR_OK) {
        gate_close(g);
        return e;
    }
    gate_set(g, config);
    *out = g;
    return ERR_OK;
}

void gate_close(struct gate *g)
{
    if (g == NULL)
        return;
    rate_close(g->requests);
    rate_close(g->failures);
    free(g);
}

void gate_set(struct gate *g, const struct config *c)
{
    const char *bad;

    g->request =
        (struct rate_limit){ c->http_rate, SECOND_MS, c->http_rate_burst };
    g->failure = (struct rate_limit){ c->http_failures_max, MINUTE_MS,
                                      c->http_failures_max };
    /* looked at when the settings were read */
    if (http_prefixes_read(c->http_proxy, &g->proxies, &bad) != ERR_OK)
        g->proxies.count = 0;
}

const struct http_prefixes *gate_proxies(const struct gate *g)
{
    return &g->proxies;
}

bool gate_trusts(const struct gate *g, const struct http_request *r)
{
    return http_prefixes_have(&g->proxies, http_peer_of(r));
}

/* ---- who ---------------------------------------------------------------- */

/* From the end: each proxy has put behind what it saw, and what stands before
 * the first that is none of ours is anybody's word. */
static void last_foreign(const struct gate *g, const char *list,
                         struct http_address *out)
{
    const char *end = list + strlen(list);

    for (;;) {
        struct http_address found;
        const char *at = end, *from;
        size_t len;

        while (at > list && at[-1] != ',')
            at--;
        from = at + strspn(at, " \t");
        len = from < end ? (size_t)(end - from) : 0;
        while (len > 0 && strchr(" \t", from[len - 1]) != NULL)
            len--;
        if (!http_address_read(from, len, &found))
            return;
        *out = found;
        if (at == list || !http_prefixes_have(&g->proxies, &found))
            return;
        end = at - 1;
    }
}

void gate_address(const struct gate *g, const struct http_request *r,
                  struct http_address *out)
{
    struct buf list;

    *out = *http_peer_of(r);
    if (!gate_trusts(g, r))
        return;
    buf_init(&list, HTTP_LINES_MAX);
    if (http_header_all(r, "X-Forwarded-For", &list) && buf_ok(&list) == ERR_OK)
        last_foreign(g, list.data, out);
    buf_clear(&list);
}

/* ---- how often ---------------------------------------------------------- */

static int seconds(int64_t wait_ms)
{
    return (int)((wait_ms + SECOND_MS - 1) / SECOND_MS);
}

static int count_limited(struct gate *g, int64_t wait_ms)
{
    if (wait_ms > 0)
        g->view.limited++;
    return seconds(wait_ms);
}

/* 0: a false token is told what is wrong with it */
static int64_t block_ms(const struct gate *g, const struct http_address *from,
                        int64_t now_ms)
{
    return g->failure.count == 0
               ? 0
               : rate_wait(g->failures, &g->failure, from->bytes,
                           http_address_host_bytes(from), now_ms);
}

static int count_blocked(struct gate *g, int64_t wait_ms)
{
    g->view.blocked++;
    log_event(LOG_DEBUG, "gate.blocked", KEY_INT("wait_ms", wait_ms));
    return seconds(wait_ms);
}

int gate_unknown(struct gate *g, const struct http_address *from,
                 int64_t now_ms)
{
    char key[24] = "a";

    if (g->request.count == 0)
        return 0;
    /* "a" and a NUL: not to be taken for the name of a client */
    memcpy(key + 2, from->bytes, http_address_host_bytes(from));
    return count_limited(g,
                         rate_take(g->requests, &g->request, key,
                                   2 + http_address_host_bytes(from), now_ms));
}

int gate_denied(struct gate *g, const struct http_address *from, int64_t now_ms)
{
    int64_t wait_ms;

    if (g->failure.count == 0)
        return 0;
    wait_ms = rate_take(g->failures, &g->failure, from->bytes,
                        http_address_host_bytes(from), now_ms);
    if (wait_ms > 0)
        return count_blocked(g, wait_ms);
    if (block_ms(g, from, now_ms) > 0 &&
        (g->said_ms == 0 || now_ms - g->said_ms >= MINUTE_MS)) {
        g->said_ms = now_ms;
        log_event(LOG_WARN, "gate.block",
                  KEY_INT("failures", g->failure.count));
    }
    return 0;
}

int gate_known(struct gate *g, const char *client, int64_t now_ms)
{
    if (g->request.count == 0)
        return 0;
    return count_limited(g, rate_take(g->requests, &g->request, client,
                                      strnlen(client, CLIENT_MAX), now_ms));
}

void gate_look(const struct gate *g, struct gate_view *view)
{
    *view = g->view;
}

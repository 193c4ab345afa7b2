#include "service/record_side.h"

#include "adapters/tls_stream.h"
#include "service/app.h"

#include <string.h>

static const char *or_null(const char *text)
{
    return text[0] != '\0' ? text : NULL;
}

enum err record_side_open(uv_loop_t *loop, const struct config *c,
                          struct record_side *side, struct buf *why)
{
    struct record_options options = { .url = c->record_url,
                                      .token_file =
                                          or_null(c->record_token_file),
                                      .timeout_ms = c->record_timeout_ms,
                                      .retry_first_ms =
                                          c->outbox_retry_first_ms,
                                      .retry_last_ms = c->outbox_retry_last_ms,
                                      .now_ms = clock_ms };
    const struct http_trust trust = { c->record_tls_ca,
                                      c->record_tls_certificate,
                                      c->record_tls_key };
    struct smart_options smart;
    enum err e;

    memset(side, 0, sizeof(*side));
    e = tls_trust_try(trust.ca, trust.certificate, trust.key, why);
    if (e == ERR_OK)
        e = http_client_open(loop, &side->client);
    if (e == ERR_OK)
        e = http_client_trust(side->client, &trust);
    if (e == ERR_OK && c->record_smart_client_id[0] != '\0') {
        smart_set_options(c, clock_ms, &smart);
        e = smart_open(loop, side->client, &smart, &side->smart, why);
        options.smart = side->smart;
    }
    if (e == ERR_OK)
        e = record_open(side->client, &options, &side->record, why);
    return e;
}

static void client_closed(void *arg)
{
    struct record_side *side = arg;

    side->client = NULL;
    side->on_closed(side->closed_arg);
}

static void smart_closed(void *arg)
{
    struct record_side *side = arg;

    side->smart = NULL;
    if (side->client != NULL)
        http_client_close(side->client, client_closed, side);
    else
        side->on_closed(side->closed_arg);
}

void record_side_close(struct record_side *side, void (*on_closed)(void *arg),
                       void *arg)
{
    side->on_closed = on_closed;
    side->closed_arg = arg;
    if (side->record != NULL)
        record_close(side->record);
    side->record = NULL;
    if (side->smart != NULL)
        smart_close(side->smart, smart_closed, side);
    else
        smart_closed(side);
}

struct record_wants record_side_wants(const struct config *c)
{
    return (struct record_wants){ .documents = c->record_documents,
                                  .proposal = c->record_service_request,
                                  .flag = c->record_flag,
                                  .provenance = c->record_provenance,
                                  .poll = c->record_poll_s > 0,
                                  .follow = c->record_follow_s > 0,
                                  .subscribe = c->record_subscribe,
                                  .bulk = c->record_bulk_every_h > 0 };
}

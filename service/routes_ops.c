#include "service/report.h"

#include "adapters/fhir_served.h"
#include "adapters/fhir_time.h"
#include "adapters/fhir_write.h"
#include "service/request_line.h"

#include <stdlib.h>
#include <string.h>

/* ---- without the store -------------------------------------------------- */

static void text_reply(struct service *s, struct http_request *r, int status,
                       const char *text)
{
    (void)s;
    request_reply(r, status, NULL, 0, TEXT_TYPE, text, strlen(text));
}

void route_health(struct service *s, struct http_request *r)
{
    text_reply(s, r, 200, "alive\n");
}

void route_metadata(struct service *s, struct http_request *r)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));
    struct fhir_capability capability = { .base = s->config.fhir_base,
                                          .version = HEADGATE_VERSION,
                                          .date_s = clock_ms() / 1000,
                                          .needs_token =
                                              !s->config.http_anonymous };
    struct buf url;

    if (x == NULL)
        return;
    buf_init(&url, 1024);
    exchange_base(x, &url);
    capability.url = url.data;
    fhir_write_capability(&capability, &x->body);
    buf_clear(&url);
    exchange_answer(x, 200, NULL, 0);
}

void route_search_param(struct service *s, struct http_request *r)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));

    if (x == NULL)
        return;
    fhir_write_search_param(s->config.fhir_base, HEADGATE_VERSION,
                            clock_ms() / 1000, &x->body);
    exchange_answer(x, 200, NULL, 0);
}

/* ---- with it ------------------------------------------------------------ */

/* The second is the first whole one that is not before the end of the pause. */
static void say_until(int64_t until_ms, int64_t now_ms, struct buf *b)
{
    char until[FHIR_TIME_SIZE];

    if (until_ms <= now_ms) {
        buf_puts(b, "It is being tried again.\n");
        return;
    }
    fhir_time_write((until_ms + 999) / 1000, until);
    buf_printf(b,
               "It is left alone until %s, then tried; to try at once: "
               "headgate outbox retry now\n",
               until);
}

/* A record in trouble does not make the service less ready: what is to go
 * there waits in the store. */
static void say_record(const struct report *r, struct buf *b)
{
    const struct record_view *v = &r->record;

    if (v->state == RECORD_PAUSING)
        buf_printf(b,
                   "record: given a pause; its last answer was HTTP status %ld "
                   "(0: none came). ",
                   v->status);
    else if (v->state == RECORD_REFUSING)
        buf_puts(b, "record: it takes no token of ours; see headgate check. ");
    if (v->state != RECORD_ASKING)
        say_until(v->until_ms, clock_ms(), b);
    if (r->token_error != NULL && r->token_error[0] != '\0')
        buf_printf(b, "record: no token was to be had: %s\n", r->token_error);
    if (v->foreign > 0)
        buf_printf(b, "record: %llu links to another host were not followed\n",
                   (unsigned long long)v->foreign);
}

/* Ready is: the store takes a write. */
static enum err run_ready(struct db *db, struct report *r)
{
    enum err e = db_run(db, Q_META_PUT, "si", "ready_ms", clock_ms());

    buf_puts(&r->x.body, r->x.service->review.silent
                             ? "ready, in silent mode: nothing is posted\n"
                             : "ready\n");
    if (e == ERR_OK)
        e = upkeep_say(db, &r->upkeep, clock_ms(), &r->x.body);
    audit_watch_say(&r->x.service->audit_found, &r->x.body);
    if (r->counters.reload_failed)
        buf_puts(&r->x.body, "settings: they could not be read again; those "
                             "before are in force (the log says why)\n");
    if (r->x.service->side.record != NULL)
        say_record(r, &r->x.body);
    if (r->x.service->incoming != NULL)
        poll_side_say(&r->incoming, &r->x.body);
    return e;
}

void report_look_at_record(const struct service *s, struct report *report)
{
    struct smart_view tokens;

    if (s->side.record != NULL)
        record_look(s->side.record, &report->record);
    if (s->side.smart != NULL) {
        smart_look(s->side.smart, &tokens);
        report->token_error = tokens.error;
    }
    if (s->incoming != NULL)
        poll_side_look(s->incoming, &report->incoming);
}

void route_ready(struct service *s, struct http_request *r)
{
    struct report *report = report_new(s, r, TEXT_TYPE, run_ready);

    if (report == NULL)
        return;
    report_look_at_record(s, report);
    upkeep_look(s, &report->upkeep);
    report_submit(report);
}

/*
 * POST /hl7: one message of HL7 v2, for those that have no MLLP, and for files.
 *
 *     ?sender=NAME, or X-Headgate-Sender: NAME    the profile, where MSH does
 *                                                 not tell
 *     ?line=N&start=N                             where it stands in a file
 *     Accept: application/json                    the answer for a program
 *
 * The answer has status 200 whether it is AA, AE or AR; what could not be kept
 * through a fault of ours is 503.
 */
#include "service/app.h"
#include "service/audit_feeds.h"
#include "service/hl7_intake.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define ER7_TYPE "x-application/hl7-v2+er7"

enum { INLINE_MAX = 16 * 1024 };

struct arrival {
    struct exchange x; /* first */
    uv_work_t work;
    struct hl7_intake in;
    enum err read;
    bool json;
};

static void release(struct exchange *x)
{
    hl7_intake_clear(&((struct arrival *)x)->in);
}

/* ---- the answer ----------------------------------------------------------- */

static void on_stored(void *arg, enum err e)
{
    struct arrival *a = arg;
    struct service *s = a->x.service;
    const char *type = a->json ? "application/json" : ER7_TYPE;
    char message[24];
    const struct http_header_line line = { "X-Headgate-Message", message };

    hl7_door_tell(&a->in, e, a->x.began_ns);
    if (e == ERR_LIMIT) { /* no fault of the request */
        exchange_later(&a->x,
                       "The quarantine is full; nothing was stored, send "
                       "it again later");
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&a->x, e);
        return;
    }
    hl7_answer_count(&a->in, &s->hl7_counters);
    if (a->in.news)
        store_wake(s->store);
    if (a->json)
        hl7_answer_json(&a->in, &a->x.body);
    else
        hl7_answer_plain(&a->in, &s->hl7_ids, clock_ms(), &s->hl7_counters,
                         &a->x.body);
    if (buf_ok(&a->x.body) != ERR_OK) {
        exchange_failed(&a->x, ERR_LIMIT);
        return;
    }
    snprintf(message, sizeof(message), "%lld", (long long)a->in.id);
    exchange_reply(&a->x, 200, &line, a->in.id != 0 ? 1 : 0, type,
                   a->x.body.data, a->x.body.len);
    exchange_free(&a->x);
}

static enum err apply(struct db *db, void *arg)
{
    struct arrival *a = arg;
    enum err e = hl7_intake_apply(db, &a->in);

    audit_hl7_request(&a->in, &a->x.audit);
    return e;
}

static void store(struct arrival *a)
{
    if (a->read != ERR_OK) {
        exchange_failed(&a->x, a->read);
        return;
    }
    a->x.job = (struct store_job){ .run = apply, .done = on_stored, .arg = a };
    exchange_submit(&a->x);
}

static void on_work(uv_work_t *work)
{
    struct arrival *a = work->data;

    a->read = hl7_intake_read(&a->in);
}

static void after_work(uv_work_t *work, int status)
{
    struct arrival *a = work->data;

    if (status != 0)
        a->read = ERR_STOPPED;
    store(a);
}

/* ---- the request ---------------------------------------------------------- */

static bool sends_hl7(const struct http_request *r)
{
    static const char *const types[] = { ER7_TYPE, "application/hl7-v2",
                                         "application/hl7-v2+er7",
                                         "text/plain" };

    if (http_header(r, "Content-Type") == NULL)
        return true;
    for (size_t i = 0; i < COUNT(types); i++) {
        if (http_sends(r, types[i]))
            return true;
    }
    return false;
}

/* By its name, which is refused if it is none; else by MSH.  The token, not a
 * certificate, has shown who sends. */
static bool find_sender(struct arrival *a, const char *body, size_t len)
{
    const struct hl7_senders *senders = a->x.service->senders;
    const char *name = http_query(a->x.request, "sender");
    struct hl7_sender_head head;

    if (name == NULL)
        name = http_header(a->x.request, "X-Headgate-Sender");
    if (name != NULL && name[0] != '\0') {
        a->in.profile = hl7_senders_named(senders, name);
        if (a->in.profile != NULL)
            return true;
        outcome_add(&a->x.outcome, SEV_ERROR, "bad-parameter", "sender",
                    "There is no section [sender NAME] of this name");
        return false;
    }
    if (hl7_senders_peek(body, len, &head) == ERR_OK)
        a->in.profile = hl7_senders_find(senders, &head, NULL, NULL);
    return true;
}

/* Where it stands in a file; what is no number is 0. */
static int64_t number_of(const struct http_request *r, const char *name)
{
    const char *text = http_query(r, name);
    char *end;
    long long n;

    if (text == NULL || text[0] < '0' || text[0] > '9')
        return 0;
    n = strtoll(text, &end, 10);
    return *end == '\0' ? (int64_t)n : 0;
}

static bool wants_json(const struct http_request *r)
{
    const char *accept = http_header(r, "Accept");

    return accept != NULL && strncasecmp(accept, "application/json", 16) == 0;
}

void route_hl7(struct service *s, struct http_request *r)
{
    struct arrival *a = (struct arrival *)exchange_new(s, r, sizeof(*a));
    const char *body;
    size_t len;

    if (a == NULL)
        return;
    a->x.release = release;
    a->work.data = a;
    a->json = wants_json(r);
    body = http_body(r, &len);
    a->in = (struct hl7_intake){ .bytes = body != NULL ? body : "",
                                 .len = len,
                                 .receivers = s->config.mllp_receiver,
                                 .reader = s->reader,
                                 .way = QUARANTINE_HTTP,
                                 .line = number_of(r, "line"),
                                 .start = number_of(r, "start"),
                                 .merge_implied = s->config.merge_implied,
                                 .live_from_s = service_live_from_s(s),
                                 .now_ms = clock_ms() };
    if (a->in.line > 0 || a->in.start > 0) {
        a->in.way = QUARANTINE_FILE;
        a->in.receivers = NULL; /* a person has chosen the file */
        a->in.live_from_s = 0;  /* and it is a history */
    }
    if (!sends_hl7(r))
        outcome_add(&a->x.outcome, SEV_ERROR, "media-type", "",
                    "Send " ER7_TYPE " or text/plain");
    else if (len == 0)
        outcome_add(&a->x.outcome, SEV_ERROR, "bad-request", "",
                    "The body is empty; one message of HL7 v2 is taken");
    if (a->x.outcome.status != 0 || !find_sender(a, body, len)) {
        exchange_refuse(&a->x);
        return;
    }
    if (len > INLINE_MAX &&
        uv_queue_work(s->loop, &a->work, on_work, after_work) == 0)
        return;
    a->read = hl7_intake_read(&a->in);
    store(a);
}

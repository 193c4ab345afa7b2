/*
 * Messages of HL7 v2 that come over MLLP: from a frame to its answer.
 *
 *     frame --> whose? --> hl7_intake_read --> store job --> answer
 *                          (pool, if long)     (committed)
 */
#include "service/app.h"
#include "service/audit_feeds.h"
#include "service/hl7_intake.h"
#include "service/log.h"

#include <stdlib.h>
#include <string.h>

enum { INLINE_MAX = 16 * 1024, FRAMES_MAX = 2 * HL7_ACK_MAX + 64 };

/* One message on its way through. */
struct arrival {
    struct service *service;
    struct mllp_call *call;
    uv_work_t work;
    struct store_job job;
    struct hl7_intake in;
    enum err read;
    uint64_t began_ns; /* by log_now_ns(): when it was whole */
};

/* A failed sync: what is on disk is not known, so nothing is said at all. */
static bool is_unknown(enum err e)
{
    return e == ERR_IO;
}

/* No names and no values: the number of the message here, and codes of ours. */
static void note(const struct hl7_intake *in, enum err e)
{
    if (e != ERR_OK)
        log_event(LOG_ERROR, "hl7.failed", KEY_ERR(e));
    else if (in->id == 0)
        log_event(
            LOG_WARN, "hl7.rejected", KEY_INT("errors", in->issues.errors),
            KEY_INT("code",
                    in->issues.count > 0 ? (int)in->issues.list[0].code : 0));
    else if (in->quarantined)
        log_event(LOG_WARN, "hl7.quarantined", KEY_INT("message", in->id),
                  KEY_INT("errors", in->issues.errors));
}

void hl7_door_tell(const struct hl7_intake *in, enum err e, uint64_t began_ns)
{
    log_event(
        LOG_DEBUG, "hl7.message",
        KEY_SETTING("sender", in->profile != NULL ? in->profile->name : "none"),
        KEY_TABLE("answer", e == ERR_OK ? hl7_answer_word(in->answer) : "none"),
        KEY_ERR(e), KEY_INT("message", in->id),
        KEY_INT("quarantined", in->quarantined),
        KEY_INT("repeated", in->repeated), KEY_INT("stored", in->stored),
        KEY_INT("there", in->there), KEY_INT("held", in->held),
        KEY_INT("refused", in->refused), KEY_INT("bytes", in->len),
        KEY_INT("ms", log_ms_since(began_ns)));
}

/* ---- answering ------------------------------------------------------------ */

static void finish(struct arrival *a, enum err e)
{
    struct service *s = a->service;
    struct buf frames;

    buf_init(&frames, FRAMES_MAX);
    note(&a->in, e);
    hl7_door_tell(&a->in, e, a->began_ns);
    hl7_answer_count(&a->in, &s->hl7_counters);
    if (e == ERR_OK && a->in.news)
        store_wake(s->store);
    if (!is_unknown(e))
        hl7_answer_write(&a->in, e, &s->hl7_ids, clock_ms(), &s->hl7_counters,
                         &frames);
    if (is_unknown(e) || buf_ok(&frames) != ERR_OK) {
        s->hl7_counters.unanswered++;
        mllp_answer(a->call, NULL, 0, true);
    } else {
        mllp_answer(a->call, frames.data, frames.len, false);
    }
    buf_clear(&frames);
    hl7_intake_clear(&a->in);
    free(a);
}

static void on_stored(void *arg, enum err e)
{
    finish(arg, e);
}

static enum err apply(struct db *db, void *arg)
{
    struct arrival *a = arg;
    enum err e = audit_whom_begin(db);

    return e == ERR_OK ? hl7_intake_apply(db, &a->in) : e;
}

static enum err keep(struct db *db, void *arg, enum err came_to)
{
    const struct arrival *a = arg;

    return audit_hl7(db, &a->in, came_to);
}

static void store(struct arrival *a)
{
    struct service *s = a->service;

    if (a->read == ERR_OK && s->mllp == NULL)
        a->read = ERR_STOPPED; /* closed while it was read */
    if (a->read != ERR_OK) {
        finish(a, a->read);
        return;
    }
    if (a->in.profile == NULL)
        audit_doors_note(s->shut, NULL, "no such sender of HL7 v2");
    a->job = (struct store_job){
        .run = apply, .done = on_stored, .arg = a, .keep = keep
    };
    store_submit(s->store, &a->job);
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

/* ---- coming in ------------------------------------------------------------ */

/* More than a message may have: nothing is kept, and the sender is told. */
static void refuse_long(struct arrival *a)
{
    static const struct hl7_place whole = { .segment = "" };

    a->in.rejected = true;
    a->in.wants = hl7_wants_of_head(a->in.bytes, a->in.len);
    a->in.answer = HL7_AR;
    hl7_issue_add(&a->in.issues, HL7_ERROR, HL7_TOO_LONG, "too-long", &whole,
                  "The message is longer than is taken here");
    store(a); /* counted, and nothing else */
}

static void on_message(void *arg, struct mllp_call *call, const char *bytes,
                       size_t len, bool too_long)
{
    struct service *s = arg;
    struct arrival *a = calloc(1, sizeof(*a));
    struct hl7_sender_head head;

    if (a == NULL) {
        mllp_answer(call, NULL, 0, true);
        return;
    }
    a->service = s;
    a->began_ns = log_now_ns();
    a->call = call;
    a->work.data = a;
    a->in = (struct hl7_intake){ .bytes = bytes,
                                 .len = len,
                                 .receivers = s->config.mllp_receiver,
                                 .reader = s->reader,
                                 .way = QUARANTINE_HL7,
                                 .merge_implied = s->config.merge_implied,
                                 .live_from_s = service_live_from_s(s),
                                 .now_ms = clock_ms() };
    if (hl7_senders_peek(bytes, len, &head) == ERR_OK)
        a->in.profile = hl7_senders_find(s->senders, &head, mllp_bears, call);
    if (too_long) {
        refuse_long(a);
        return;
    }
    if (len > INLINE_MAX &&
        uv_queue_work(s->loop, &a->work, on_work, after_work) == 0)
        return;
    a->read = hl7_intake_read(&a->in);
    store(a);
}

struct tls_files hl7_door_tls(const struct config *c)
{
    return (struct tls_files){ .certificate = c->mllp_tls_certificate,
                               .key = c->mllp_tls_key,
                               .client_ca = c->mllp_tls_client_ca,
                               .client_crl = c->mllp_tls_crl };
}

enum err hl7_door_open(struct service *s, struct buf *why)
{
    const struct config *c = &s->config;
    const char *bad;
    struct mllp_server_options options = {
        .address = c->mllp_address,
        .port = c->mllp_port,
        .tls = hl7_door_tls(c),
        .frame_max = (size_t)c->mllp_frame_max,
        .connections_max = (unsigned)c->mllp_connections_max,
        .idle_timeout_ms = c->mllp_idle_timeout_ms,
        .message_timeout_ms = c->mllp_message_timeout_ms,
        .settle_ms = c->mllp_settle_ms,
        .keep_alive_s = c->mllp_keep_alive_s
    };
    enum err e = mllp_allow_read(c->mllp_allow, &options.allow, &bad);

    hl7_ids_start(&s->hl7_ids);
    if (e != ERR_OK || !config_listens_hl7(c))
        return e;
    e = config_check_files(c, why);
    if (e != ERR_OK)
        return e;
    return mllp_server_open(s->loop, &options, on_message, s, &s->mllp, why);
}

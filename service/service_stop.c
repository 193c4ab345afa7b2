/* The end of a service: what runs is answered, all is saved, all is closed. */
#include "service/service_work.h"

#include "service/patient_erase.h"
#include "service/planners.h"
#include "service/silence_loop.h"
#include "service/unit_list_loop.h"

#include <stdlib.h>

enum {
    DRAIN_STEP_MS = 20,
    DRAIN_STEPS = 500 /* ten seconds for what is running */
};

void service_free(struct service *s)
{
    codes_free(s->codes);
    zone_free(s->zone);
    doors_close(s->doors);
    gate_close(s->gate);
    tls_context_close(s->http_tls);
    hl7_senders_close(s->senders);
    planners_stop(s->planners);
    planners_close(s->planners);
    planning_close(s->planning);
    free(s);
}

static void part_closed(void *arg)
{
    struct service *s = arg;
    void (*on_stopped)(void *, bool) = s->on_stopped;
    void *stopped_arg = s->stopped_arg;
    bool failed = s->failed;

    if (--s->open_parts > 0)
        return;
    service_free(s);
    on_stopped(stopped_arg, failed);
}

static void timer_closed(uv_handle_t *handle)
{
    part_closed(handle->data);
}

/* The store last: what is still to be saved is saved. */
static void close_store(struct service *s)
{
    s->open_parts += 3;
    if (s->tally != NULL) {
        s->open_parts++;
        tally_loop_close(s->tally, part_closed, s);
        s->tally = NULL;
    }
    if (s->shut != NULL) {
        s->open_parts++;
        audit_doors_close(s->shut, part_closed, s);
        s->shut = NULL;
    }
    audit_stop(&s->audit_start, s->store, clock_ms());
    if (s->silence != NULL) {
        s->open_parts++;
        silence_loop_close(s->silence, part_closed, s);
        s->silence = NULL;
    }
    if (s->audit_watch != NULL) {
        s->open_parts++;
        audit_watch_close(s->audit_watch, part_closed, s);
        s->audit_watch = NULL;
    }
    planners_stop(s->planners); /* it calls the store */
    uv_close((uv_handle_t *)&s->minute, timer_closed);
    uv_close((uv_handle_t *)&s->drain, timer_closed);
    store_close(s->store, part_closed, s);
    if (s->backup != NULL) {
        s->open_parts++;
        store_backup_close(s->backup, part_closed, s);
        s->backup = NULL;
    }
    patient_erasure_close(s->erasure);
}

static void others_closed(void *arg)
{
    struct service *s = arg;

    if (--s->open_parts == 0)
        close_store(s);
}

static void outbox_closed(void *arg)
{
    struct service *s = arg;

    s->outbox = NULL;
    record_side_close(&s->side, others_closed, s);
}

static void incoming_closed(void *arg)
{
    struct service *s = arg;

    s->incoming = NULL;
    if (s->outbox != NULL)
        outbox_close(s->outbox, outbox_closed, s);
    else
        outbox_closed(s);
}

static void close_others(struct service *s)
{
    s->open_parts = 1; /* this one, so that none is the last too early */
    if (s->control_server != NULL) {
        s->open_parts++;
        http_server_close(s->control_server, others_closed, s);
    }
    if (s->public_server != NULL) {
        s->open_parts++;
        http_server_close(s->public_server, others_closed, s);
    }
    if (s->mllp != NULL) {
        s->open_parts++;
        mllp_server_close(s->mllp, others_closed, s);
        s->mllp = NULL;
    }
    if (s->drop != NULL) {
        s->open_parts++;
        drop_close(s->drop, others_closed, s);
        s->drop = NULL;
    }
    if (s->reports != NULL) {
        s->open_parts++;
        report_files_close(s->reports, others_closed, s);
        s->reports = NULL;
    }
    if (s->lists != NULL) {
        s->open_parts++;
        unit_list_loop_close(s->lists, others_closed, s);
        s->lists = NULL;
    }
    record_start_end(&s->record_start);
    if (s->incoming != NULL)
        poll_side_close(s->incoming, incoming_closed, s);
    else
        incoming_closed(s);
}

static bool is_busy(const struct service *s)
{
    return (s->control_server != NULL &&
            http_server_pending(s->control_server) > 0) ||
           (s->public_server != NULL &&
            http_server_pending(s->public_server) > 0) ||
           (s->mllp != NULL && mllp_server_pending(s->mllp) > 0);
}

static void on_drain(uv_timer_t *timer)
{
    struct service *s = timer->data;

    /* Requests that are being answered hold a place in the store's queue, so
     * this ends; the count only guards against a fault of ours. */
    if (is_busy(s) && --s->drain_left > 0)
        return;
    uv_timer_stop(&s->drain);
    close_others(s);
}

void service_stop(struct service *s, void (*on_stopped)(void *arg, bool failed),
                  void *arg)
{
    if (s->stopping)
        return;
    s->stopping = true;
    s->on_stopped = on_stopped;
    s->stopped_arg = arg;
    s->drain_left = DRAIN_STEPS;
    if (s->control_server != NULL)
        http_server_quiesce(s->control_server);
    if (s->public_server != NULL)
        http_server_quiesce(s->public_server);
    if (s->mllp != NULL)
        mllp_server_quiesce(s->mllp);
    uv_timer_start(&s->drain, on_drain, 0, DRAIN_STEP_MS);
}

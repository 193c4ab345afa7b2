#include "service/service_work.h"

#include "adapters/catalogue.h"
#include "adapters/http_listen.h"
#include "adapters/policy_file.h"
#include "service/audit_watch.h"
#include "service/certificates.h"
#include "service/db_fault.h"
#include "service/log.h"
#include "service/maps.h"
#include "service/patient_erase.h"
#include "service/planners.h"
#include "service/quarantine_urgent.h"
#include "service/reload.h"
#include "service/silence_loop.h"
#include "service/store_there.h"
#include "service/unit_list_loop.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MINUTE_MS = 60000 };

void service_socket_path(const char *store_path, char *out, size_t size)
{
    snprintf(out, size, "%s.sock", store_path);
}

static struct companion_options companions_of(const struct config *config)
{
    return (struct companion_options){
        .documents = config->record_documents,
        .worksheets = config->record_worksheet,
        .paper = (enum canvas_paper)config->paper,
        .proposals = config->record_service_request,
        .flags = config->record_flag,
        .provenance = config->record_provenance,
        .inline_max = (size_t)config->record_document_max
    };
}

/* ---- what it works by --------------------------------------------------- */

static enum err load_settings(struct service *s, struct buf *why)
{
    enum err e = policy_file_read(s->config.policy_path, &s->policy, why);

    if (e == ERR_OK) {
        e = zone_load(s->config.zone, &s->zone);
        if (e != ERR_OK)
            buf_printf(why, "[site] zone: %s is not a zone of this system",
                       s->config.zone);
    }
    if (e == ERR_OK)
        e = maps_load(&s->config, &s->codes, why);
    if (e == ERR_OK)
        e = doors_open(&s->config, &s->doors, why);
    if (e == ERR_OK)
        e = gate_open(&s->config, &s->gate);
    if (e == ERR_OK)
        e = hl7_senders_open(&s->config, &s->senders, why);
    s->reader = (struct fhir_reader){ .codes = s->codes,
                                      .base = s->config.fhir_base,
                                      .zone = s->zone,
                                      .entries_max =
                                          (size_t)s->config.fhir_entries_max };
    s->work_policy = s->policy;
    s->review = (struct review){ .policy = &s->work_policy,
                                 .zone = s->zone,
                                 .base = s->config.fhir_base,
                                 .record = s->config.record_url[0] != '\0',
                                 .silent = s->config.silent,
                                 .narratives = s->config.record_narrative,
                                 .companions = companions_of(&s->config),
                                 .now_ms = clock_ms };
    return e;
}

/* ---- opening ------------------------------------------------------------ */

static enum err run_reviews(struct db *db, void *arg, bool *more, bool *told)
{
    struct service *s = arg;
    enum err e = audit_whom_begin(db); /* what it makes is of no request */

    if (e == ERR_OK)
        e = quarantine_urgent_escalate(db, &s->work_policy, clock_ms());

    return e == ERR_OK ? review_run(db, &s->review, more, told) : e;
}

static void on_told(void *arg)
{
    struct service *s = arg;

    if (s->outbox != NULL)
        outbox_kick(s->outbox);
}

static void on_store_fatal(void *arg, enum err e)
{
    struct service *s = arg;

    log_event(LOG_ERROR, "store.fatal", KEY_ERR(e),
              KEY_WORD("do", "The service ends, since what is on the disk is "
                             "not known: look at the kernel's log (dmesg) and "
                             "at the disk, then start it again."));
    s->failed = true;
    if (s->on_fatal != NULL)
        s->on_fatal(s->fatal_arg);
}

/* Codes that people have mapped are known before anybody can send one. */
static enum err prepare(struct db *db, void *arg)
{
    struct service *s = arg;
    enum err e = maps_learn_stored(db, s->codes, s->open_why);

    return e == ERR_OK ? review_resume(db, clock_ms()) : e;
}

static void on_plan_made(void *arg)
{
    const struct service *s = arg;

    store_wake(s->store);
}

static enum err open_store(struct service *s, struct buf *why)
{
    struct store_work work = {
        .run = run_reviews, .on_told = on_told, .arg = s, .prepare = prepare
    };
    enum err e;

    e = store_there_may_make(s->config.store_path, s->config.store_make,
                             &s->store_made, why);
    if (e != ERR_OK)
        return e;
    s->open_why = why;
    e = store_open(s->loop, s->config.store_path, &work, on_store_fatal, s,
                   &s->store);
    s->open_why = NULL;
    if (e == ERR_OK && s->planners != NULL)
        planners_tell(s->planners, on_plan_made, s);
    if (e != ERR_OK && why->len == 0)
        db_open_say(s->config.store_path, e, why);
    return e;
}

static enum err listen_on(struct service *s, const char *socket_path,
                          struct http_server **server)
{
    struct http_server_options options = {
        .address = s->config.http_address,
        .port = s->config.http_port,
        .socket_path = socket_path,
        .body_max = (size_t)s->config.http_body_max,
        .bodies_max = (size_t)s->config.http_bodies_max,
        .on_head = routes_head,
        .connections_max = (unsigned)s->config.http_connections_max,
        .request_timeout_ms = s->config.http_request_timeout_ms,
        .idle_timeout_ms = s->config.http_idle_timeout_ms,
        .tls = socket_path == NULL ? s->http_tls : NULL,
        .per_client_max = (unsigned)s->config.http_connections_per_client,
        .proxies = gate_proxies(s->gate)
    };

    return http_server_open(s->loop, &options, routes_handle, routes_refusal, s,
                            server);
}

static enum err open_listeners(struct service *s, bool public, struct buf *why)
{
    enum err e;

    service_socket_path(s->config.store_path, s->socket_path,
                        sizeof(s->socket_path));
    e = listen_on(s, s->socket_path, &s->control_server);
    if (e != ERR_OK) {
        /* TRANSLATORS: path of a socket, a reason without a full stop */
        buf_printf(why, _("%s: cannot be listened on: %s"), s->socket_path,
                   http_listen_reason(errno));
        return e;
    }
    if (public)
        e = reload_open_tls(&s->config, &s->http_tls, why);
    if (public && e == ERR_OK)
        certificates_log(&s->config, clock_ms() / 1000);
    if (public && e == ERR_OK) {
        e = listen_on(s, NULL, &s->public_server);
        if (e != ERR_OK)
            /* TRANSLATORS: address, port, a reason without a full stop */
            buf_printf(why, _("%s port %d: cannot be listened on: %s"),
                       s->config.http_address, s->config.http_port,
                       http_listen_reason(errno));
    }
    if (e == ERR_OK && public)
        e = hl7_door_open(s, why);
    return e;
}

void service_on_says(void *arg, const struct fhir_record_says *says)
{
    struct service *s = arg;

    if (s->outbox != NULL) /* none in silent mode */
        outbox_learn(s->outbox, says);
    if (s->incoming != NULL)
        poll_side_learn(s->incoming, says);
}

static enum err open_incoming(struct service *s, struct buf *why)
{
    struct poll_side_options options = { .poll = { .loop = s->loop,
                                                   .store = s->store,
                                                   .record = s->side.record,
                                                   .config = &s->config,
                                                   .reader = &s->reader,
                                                   .now_ms = clock_ms },
                                         .follows = s->outbox != NULL,
                                         .on_looks = on_told,
                                         .arg = s };

    return poll_side_open(&options, &s->incoming, why);
}

bool service_deals_with_record(const struct service *s)
{
    return s->side.record != NULL &&
           (s->outbox != NULL || s->config.record_poll_s > 0);
}

/* All that talks to the record. */
static enum err open_record_side(struct service *s, struct buf *why)
{
    struct outbox_options options = {
        .base = s->config.fhir_base,
        .retry_first_ms = s->config.outbox_retry_first_ms,
        .retry_last_ms = s->config.outbox_retry_last_ms,
        .parallel = s->config.outbox_parallel,
        .unclear_tries = s->config.outbox_unclear_tries,
        .now_ms = clock_ms
    };
    enum err e = record_side_open(s->loop, &s->config, &s->side, why);

    /* in silent mode nothing leaves, not even what waits from before */
    if (e == ERR_OK && !s->review.silent)
        e = outbox_open(s->loop, s->store, s->side.record, &options,
                        &s->outbox);
    /* what is read changes nothing there: in silent mode too */
    if (e == ERR_OK)
        e = open_incoming(s, why);
    if (e == ERR_OK && service_deals_with_record(s))
        record_start_begin(&s->record_start, s->side.record, service_on_says,
                           s);
    return e;
}

/* Files that are taken from a folder. */
static enum err open_drop(struct service *s, struct buf *why)
{
    struct drop_options options = { .loop = s->loop,
                                    .store = s->store,
                                    .config = &s->config,
                                    .reader = &s->reader,
                                    .senders = s->senders,
                                    .deliver =
                                        s->review.record && !s->review.silent,
                                    .now_ms = clock_ms,
                                    .on_tasks = on_told,
                                    .arg = s };

    return s->config.drop_folder[0] != '\0' ? drop_open(&options, &s->drop, why)
                                            : ERR_OK;
}

/* The weekly page per unit, if a folder is set. */
static enum err open_reports(struct service *s)
{
    const struct report_files_options options = { .loop = s->loop,
                                                  .store = s->store,
                                                  .zone = s->zone,
                                                  .folder =
                                                      s->config.report_folder,
                                                  .weekday =
                                                      s->config.report_weekday,
                                                  .hour = s->config.report_hour,
                                                  .now_ms = clock_ms };
    enum err e = ERR_OK;

    if (s->config.report_folder[0] != '\0')
        e = report_files_open(&options, &s->reports);
    if (e == ERR_OK)
        report_files_look(s->reports);
    return e;
}

/* The lists of the units. */
static enum err open_lists(struct service *s)
{
    const struct unit_list_options options = {
        .base = s->config.fhir_base,
        .zone = s->zone,
        .record = s->review.record && s->config.record_unit_list,
        .silent = s->review.silent,
        .now_ms = clock_ms
    };

    return unit_list_loop_open(s->loop, s->store, &options,
                               s->config.record_unit_list_pause_s, on_told, s,
                               &s->lists);
}

/* Who only looks at a store has no Tasks to plan for. */
static enum err open_planning(struct service *s, bool public)
{
    enum err e = planning_open(&s->planning);

    s->review.planning = s->planning;
    if (e == ERR_OK && public)
        e = planners_open(&s->planners);
    s->review.planners = s->planners;
    return e;
}

enum err service_open(uv_loop_t *loop, const struct config *config, bool public,
                      struct service **out, struct buf *why)
{
    struct service *s = calloc(1, sizeof(*s));
    enum err e;

    if (s == NULL)
        return ERR_MEMORY;
    s->loop = loop;
    s->config = *config;
    e = load_settings(s, why);
    if (e == ERR_OK)
        e = open_planning(s, public);
    if (e == ERR_OK)
        e = open_store(s, why);
    if (e != ERR_OK) {
        service_free(s);
        return e;
    }
    uv_timer_init(loop, &s->minute);
    uv_timer_init(loop, &s->drain);
    s->minute.data = s->drain.data = s;
    uv_timer_start(&s->minute, service_on_minute, MINUTE_MS, MINUTE_MS);
    service_watch_clock(s);
    /* who only looks at a store must not set off what a service would */
    s->started = !public;
    if (public)
        service_start_work(s);
    if (public && s->review.silent)
        log_event(LOG_WARN, "service.silent", KEY_INT("posts", 0));
    e = tally_loop_open(loop, s->store, clock_ms, &s->tally);
    if (e == ERR_OK)
        e = store_backup_open(loop, s->store, clock_ms, &s->backup);
    if (e == ERR_OK)
        e = patient_erasure_open(s, &s->erasure);
    if (e == ERR_OK)
        e = audit_doors_open(loop, s->store, clock_ms, &s->shut);
    if (e == ERR_OK && public)
        e = silence_loop_open(loop, s->store, s->config.report_silent_d,
                              clock_ms, &s->silence);
    if (e == ERR_OK && public)
        e = audit_watch_open(loop, s->store, clock_ms, &s->audit_found,
                             &s->audit_watch);
    if (e == ERR_OK && public)
        patient_erase_finish(s->erasure);
    if (e == ERR_OK && public)
        e = open_reports(s);
    if (e == ERR_OK && public)
        e = open_lists(s);
    if (e == ERR_OK)
        e = open_listeners(s, public, why);
    if (e == ERR_OK && public && s->review.record)
        e = open_record_side(s, why);
    if (e == ERR_OK && public)
        e = open_drop(s, why);
    *out = s; /* also on an error: handles are open and must be closed */
    return e;
}

int64_t service_live_from_s(const struct service *s)
{
    return clock_ms() / 1000 -
           (int64_t)policy_count(&s->policy, P_HISTORIC_D) * DAY_S;
}

int service_port(const struct service *s)
{
    return s->public_server != NULL ? http_server_port(s->public_server) : 0;
}

int service_mllp_port(const struct service *s)
{
    return s->mllp != NULL ? mllp_server_port(s->mllp) : 0;
}

void service_on_fatal(struct service *s, void (*on_fatal)(void *arg), void *arg)
{
    s->on_fatal = on_fatal;
    s->fatal_arg = arg;
}

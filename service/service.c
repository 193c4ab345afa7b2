#include "service/service.h"

#include "adapters/policy_file.h"
#include "service/again.h"
#include "service/app.h"
#include "service/deceased.h"
#include "service/log.h"
#include "service/maps.h"
#include "service/patient_erase.h"
#include "service/quarantine_urgent.h"
#include "service/reload.h"
#include "service/replaced.h"
#include "service/search_index.h"
#include "service/silence_loop.h"
#include "service/unit_list_loop.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    MINUTE_MS = 60000,
    DRAIN_STEP_MS = 20,
    DRAIN_STEPS = 500 /* ten seconds for what is running */
};

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

    log_event(LOG_ERROR, "store.fatal", KEY_ERR(e));
    s->failed = true;
    if (s->on_fatal != NULL)
        s->on_fatal(s->fatal_arg);
}

/* Codes that people have mapped: known before anybody can send one. */
static enum err read_mappings(struct db *db, void *arg)
{
    struct service *s = arg;

    return maps_learn_stored(db, s->codes, s->open_why);
}

static enum err open_store(struct service *s, struct buf *why)
{
    struct store_work work = { .run = run_reviews,
                               .on_told = on_told,
                               .arg = s,
                               .prepare = read_mappings };
    enum err e;

    s->open_why = why;
    e = store_open(s->loop, s->config.store_path, &work, on_store_fatal, s,
                   &s->store);
    s->open_why = NULL;
    if (e != ERR_OK && why->len > 0)
        return e;
    if (e != ERR_OK)
        buf_printf(why, "%s: %s", s->config.store_path,
                   db_open_reason(s->config.store_path, e));
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
        buf_printf(why, "%s: cannot be listened on", s->socket_path);
        return e;
    }
    if (public)
        e = reload_open_tls(&s->config, &s->http_tls, why);
    if (public && e == ERR_OK) {
        e = listen_on(s, NULL, &s->public_server);
        if (e != ERR_OK)
            buf_printf(why, "%s port %d: cannot be listened on",
                       s->config.http_address, s->config.http_port);
    }
    if (e == ERR_OK && public)
        e = hl7_door_open(s, why);
    return e;
}

static void on_says(void *arg, const struct fhir_record_says *says)
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

/* In silent mode without a poll it is left in peace. */
static bool deals_with_record(const struct service *s)
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
    if (e == ERR_OK && deals_with_record(s))
        record_start_begin(&s->record_start, s->side.record, on_says, s);
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

/* ---- starting ----------------------------------------------------------- */

/* What versions before did not keep is read once, from what they did. */
static enum err read_once(struct db *db, const struct service *s,
                          const char *mark,
                          enum err (*run)(struct db *,
                                          const struct fhir_reader *))
{
    struct fhir_reader reader = s->reader;
    enum err e = db_first(db, Q_META_GET, "s", mark);

    db_done(db, Q_META_GET);
    if (e != ERR_ABSENT)
        return e;
    reader.now_s = clock_ms() / 1000;
    e = run(db, &reader);
    return e == ERR_OK ? db_run(db, Q_META_PUT, "ss", mark, "kept") : e;
}

/* The clock may have been set back while nothing ran. */
static enum err look_back(struct db *db)
{
    int64_t last_ms, now_ms = clock_ms();
    enum err e = clock_back_last(db, &last_ms);

    if (e != ERR_OK || last_ms - now_ms < CLOCK_BACK_LEAST_MS)
        return e;
    log_event(LOG_WARN, "clock.back", KEY_INT("ms", last_ms - now_ms));
    return clock_back_mend(db, last_ms, now_ms);
}

static enum err run_start(struct db *db, void *arg)
{
    const struct service *s = arg;
    enum err e = read_once(db, s, "born", patients_read_born);

    if (e == ERR_OK)
        e = read_once(db, s, "deceased", deceased_read);
    if (e == ERR_OK)
        e = read_once(db, s, "replaced", replaced_read);
    if (e == ERR_OK) /* with the moment by which they were dead */
        e = read_once(db, s, "dead-by", deceased_read);
    if (e == ERR_OK)
        e = read_once(db, s, "units", patients_read_units);
    if (e == ERR_OK)
        e = look_back(db);
    if (e == ERR_OK)
        e = audit_started(db, &s->audit_start.works, clock_ms());
    if (e == ERR_OK)
        e = read_once(db, s, "held", again_unjudged);
    if (e == ERR_OK)
        e = read_once(db, s, "sought", search_index_all);
    return e == ERR_OK ? review_start(db, &s->review) : e;
}

/* A mapping whose earlier readings were not all looked at before a stop. */
static enum err run_sweep(struct db *db, void *arg)
{
    struct service *s = arg;
    struct fhir_reader reader = s->reader;
    struct again_count count = { .looked = 0 };

    reader.now_s = clock_ms() / 1000;
    return again_mapping(db, &reader, 0, &count, &s->sweep_more);
}

static void on_swept(void *arg, enum err e)
{
    struct service *s = arg;

    s->sweeping = e == ERR_OK && s->sweep_more && !s->stopping;
    if (s->sweeping)
        store_submit(s->store, &s->sweep);
    store_wake(s->store);
}

static void sweep(struct service *s)
{
    if (s->sweeping || s->stopping)
        return;
    s->sweeping = true;
    s->sweep =
        (struct store_job){ .run = run_sweep, .done = on_swept, .arg = s };
    store_submit(s->store, &s->sweep);
}

static void on_started(void *arg, enum err e)
{
    struct service *s = arg;

    s->starting = false;
    s->started = e == ERR_OK;
    s->audit_start.is_on = s->started;
    if (e != ERR_OK)
        log_event(LOG_ERROR, "service.start", KEY_ERR(e));
    sweep(s);
    store_wake(s->store);
}

/* What it works by is read here: the settings are the loop's. */
static void start_work(struct service *s)
{
    enum err e = audit_works_of(&s->policy, &s->config, &s->audit_start.works);

    if (e != ERR_OK) { /* no memory: the next minute tries again */
        log_event(LOG_ERROR, "service.start", KEY_ERR(e));
        return;
    }
    s->starting = true;
    s->start =
        (struct store_job){ .run = run_start, .done = on_started, .arg = s };
    store_submit(s->store, &s->start);
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

/* What it can, if it has not said so yet. */
static void ask_record(struct service *s)
{
    if (!deals_with_record(s) || s->stopping || s->record_start.known ||
        s->record_start.call != NULL)
        return;
    record_start_begin(&s->record_start, s->side.record, on_says, s);
}

/* A review that failed is tried again, and time alone makes others due. */
static enum err run_clock(struct db *db, void *arg)
{
    const struct service *s = arg;

    return clock_back_mend(db, s->clock_was_ms, s->watch.wall_ms);
}

static void on_clock(void *arg, enum err e)
{
    struct service *s = arg;

    s->clock_busy = false;
    if (e != ERR_OK)
        log_event(LOG_ERROR, "clock.back", KEY_ERR(e));
    store_wake(s->store);
    if (s->outbox != NULL)
        outbox_kick(s->outbox);
}

/* Also the first time, from which it is watched. */
static void watch_clock(struct service *s)
{
    if (s->clock_busy ||
        !clock_watch_look(&s->watch, clock_ms(),
                          (int64_t)(uv_hrtime() / 1000000), &s->clock_was_ms))
        return;
    log_event(LOG_WARN, "clock.back",
              KEY_INT("ms", s->clock_was_ms - s->watch.wall_ms));
    s->clock_busy = true;
    s->clock =
        (struct store_job){ .run = run_clock, .done = on_clock, .arg = s };
    store_submit(s->store, &s->clock);
}

static void on_minute(uv_timer_t *timer)
{
    struct service *s = timer->data;

    watch_clock(s);
    if (!s->started && !s->starting)
        start_work(s);
    ask_record(s);
    sweep(s);
    report_files_look(s->reports);
    store_wake(s->store);
}

static void free_settings(struct service *s)
{
    codes_free(s->codes);
    zone_free(s->zone);
    doors_close(s->doors);
    gate_close(s->gate);
    tls_context_close(s->http_tls);
    hl7_senders_close(s->senders);
    planning_close(s->planning);
    free(s);
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
        e = planning_open(&s->planning);
    s->review.planning = s->planning;
    if (e == ERR_OK)
        e = open_store(s, why);
    if (e != ERR_OK) {
        free_settings(s);
        return e;
    }
    uv_timer_init(loop, &s->minute);
    uv_timer_init(loop, &s->drain);
    s->minute.data = s->drain.data = s;
    uv_timer_start(&s->minute, on_minute, MINUTE_MS, MINUTE_MS);
    watch_clock(s);
    /* who only looks at a store must not set off what a service would */
    s->started = !public;
    if (public)
        start_work(s);
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

/* ---- stopping ----------------------------------------------------------- */

static void part_closed(void *arg)
{
    struct service *s = arg;
    void (*on_stopped)(void *, bool) = s->on_stopped;
    void *stopped_arg = s->stopped_arg;
    bool failed = s->failed;

    if (--s->open_parts > 0)
        return;
    free_settings(s);
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

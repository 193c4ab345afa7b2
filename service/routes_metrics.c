/* What Prometheus asks for, in its text format 0.0.4. */
#include "service/outbox_wait.h"
#include "service/planners.h"
#include "service/quarantine_list.h"
#include "service/quarantine_urgent.h"
#include "service/report.h"
#include "service/silence.h"

#include <stdlib.h>

static void gauge(struct buf *b, const char *name, const char *help,
                  long long value)
{
    buf_printf(b, "# HELP %s %s\n# TYPE %s gauge\n%s %lld\n", name, help, name,
               name, value);
}

static void counter(struct buf *b, const char *name, const char *help,
                    uint64_t value)
{
    buf_printf(b, "# HELP %s %s\n# TYPE %s counter\n%s %llu\n", name, help,
               name, name, (unsigned long long)value);
}

static enum err count_of(struct db *db, enum query q, long long *n)
{
    /* the time is for those that ask what is due */
    enum err e = db_first(db, q, q == Q_NEWS_COUNT ? "i" : "", clock_ms());

    if (e == ERR_OK)
        *n = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

/* While the record is down only the second of them grows: each try that failed
 * moves what is due ahead. */
static enum err write_waits(struct db *db, struct buf *b)
{
    struct outbox_wait wait;
    enum err e = outbox_wait_look(db, clock_ms(), &wait);

    if (e != ERR_OK)
        return e;
    gauge(b, "headgate_outbox_late_seconds",
          "How long the longest due delivery has been due",
          wait.late_ms / 1000);
    gauge(b, "headgate_outbox_oldest_seconds",
          "How long the delivery that has waited longest has waited, from when "
          "it was first to be sent; 0 if none waits",
          wait.oldest_ms / 1000);
    return ERR_OK;
}

static enum err write_outbox(struct db *db, struct buf *b)
{
    static const char *const states[] = { "waiting", "sent", "aside",
                                          "after-task", "given-up" };
    const enum query q = Q_OUTBOX_COUNTS;
    long long counts[COUNT(states)] = { 0 };
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        int64_t state = db_int(db, q, 0);

        if (state >= 0 && state < (int64_t)COUNT(states))
            counts[state] = db_int(db, q, 1);
    }
    if (e != ERR_ABSENT)
        return e;
    buf_puts(b, "# HELP headgate_outbox_resources Tasks and what goes with "
                "them, for the record, by state\n"
                "# TYPE headgate_outbox_resources gauge\n");
    for (size_t i = 0; i < COUNT(states); i++)
        buf_printf(b, "headgate_outbox_resources{state=\"%s\"} %lld\n",
                   states[i], counts[i]);
    return ERR_OK;
}

/* Of the tokens for the record. */
static void write_tokens(const struct counters *c, struct buf *b)
{
    counter(b, "headgate_record_token_fetches_total",
            "Times that a token for the record was asked for",
            c->token_fetches);
    counter(b, "headgate_record_token_failures_total",
            "Times that none was given", c->token_failures);
    gauge(b, "headgate_record_token", "1 while there is a token that lives",
          c->has_token ? 1 : 0);
    gauge(b, "headgate_record_scope_missing",
          "1 if the record granted less than was asked for",
          c->lacks_scope ? 1 : 0);
}

/* What is asked of on the loop, for the thread that writes. */
static void look_at_tokens(struct service *s)
{
    struct smart_view view;

    if (s->side.smart == NULL)
        return;
    smart_look(s->side.smart, &view);
    s->counters.token_fetches = view.fetches;
    s->counters.token_failures = view.failures;
    s->counters.has_token = view.has_token;
    s->counters.lacks_scope = view.missing[0] != '\0';
}

/* What comes in from the record. */
static enum err write_incoming(struct db *db, const struct report *r,
                               struct buf *b)
{
    long long by_id = 0, not_taken = 0;
    enum err e = count_of(db, Q_FETCH_COUNT, &by_id);

    if (e == ERR_OK)
        e = count_of(db, Q_QUARANTINE_OF_RECORD_COUNT, &not_taken);
    if (e != ERR_OK)
        return e;
    poll_side_metrics(&r->incoming, clock_ms(), b);
    gauge(b, "headgate_poll_by_id_waiting", "Resources to be read by their id",
          by_id);
    gauge(b, "headgate_not_taken",
          "Resources of the record that wait in quarantine", not_taken);
    counter(b, "headgate_hook_calls_total", "Calls of the record",
            r->hooks.calls);
    counter(b, "headgate_hook_gaps_total",
            "Calls that showed that others had been lost", r->hooks.gaps);
    return ERR_OK;
}

/* The record as a target, see record.h. */
static void write_record(const struct record_view *v, struct buf *b)
{
    counter(b, "headgate_record_calls_total", "Requests to the record",
            v->calls);
    counter(b, "headgate_record_failures_total",
            "Requests to the record that were no success", v->failures);
    counter(b, "headgate_record_pauses_total",
            "Pauses that the record was given, or asked for", v->pauses);
    counter(b, "headgate_record_renewed_total",
            "Tokens that were renewed after a 401", v->renewed);
    counter(b, "headgate_record_foreign_total",
            "Links of the record to another host, which were not followed",
            v->foreign);
    gauge(b, "headgate_record_state",
          "0 it is asked, 1 it is given a pause, 2 it takes no token",
          (long long)v->state);
}

/* A feed that stopped looks like a unit in which all is well. */
static enum err write_silent(struct db *db, int limit_d, struct buf *b)
{
    struct silent_feed *feeds = calloc(SILENCE_FEEDS_MAX, sizeof(*feeds));
    size_t count = 0;
    enum err e = feeds != NULL
                     ? silence_read(db, clock_ms(), limit_d, feeds, &count)
                     : ERR_MEMORY;

    gauge(b, "headgate_feeds_silent",
          "Feeds that sent nothing for longer than is their habit",
          (long long)count);
    gauge(b, "headgate_feed_silent_seconds",
          "Time since the last day with data of the one that is silent longest",
          count > 0 ? (long long)feeds[0].silent_d * 86400 : 0);
    free(feeds);
    return e;
}

/* Who comes too often, and how connections begin. */
static void write_doors(const struct report *r, struct buf *b)
{
    counter(b, "headgate_rate_limited_total",
            "HTTP requests of clients beyond http.rate (429)", r->gate.limited);
    counter(b, "headgate_auth_blocked_total",
            "HTTP requests of addresses beyond http.failures_max (429)",
            r->gate.blocked);
    gauge(b, "headgate_http_connections", "Connections of HTTP now",
          (long long)r->http.open);
    counter(b, "headgate_http_crowded_total",
            "Connections beyond http.connections_per_client", r->http.crowded);
    counter(b, "headgate_http_overfull_total",
            "Bodies refused for lack of room, beyond http.bodies_max (503)",
            r->http.overfull);
    counter(b, "headgate_tls_greetings_total",
            "Connections of HTTP by TLS that were agreed upon",
            r->http.tls_greeted);
    counter(b, "headgate_tls_certificates_total",
            "Of these, those with a certificate of the client",
            r->http.tls_certificates);
    counter(b, "headgate_tls_failures_total",
            "Connections of HTTP by TLS that were not agreed upon",
            r->http.tls_failed);
    counter(b, "headgate_reloads_total",
            "Times that the settings were read again", r->counters.reloads);
    gauge(b, "headgate_reload_failed",
          "1 if the last time nothing was changed, since a file was wrong",
          r->counters.reload_failed ? 1 : 0);
}

/* What is in the store, and waits for somebody. */
static enum err write_state(struct db *db, struct report *r, struct buf *b)
{
    long long accesses = 0, held = 0, news = 0, escalated = 0, doubtful = 0;
    int64_t unseen = 0;
    enum err e = count_of(db, Q_ACCESS_COUNT, &accesses);

    if (e == ERR_OK)
        e = count_of(db, Q_HELD_COUNT, &held);
    if (e == ERR_OK)
        e = count_of(db, Q_NEWS_COUNT, &news);
    news += (long long)planners_under_way(r->x.service->planners);
    if (e == ERR_OK)
        e = count_of(db, Q_EPISODE_ESCALATED, &escalated);
    if (e == ERR_OK)
        e = count_of(db, Q_DEATH_DOUBTFUL_COUNT, &doubtful);
    if (e == ERR_OK)
        e = quarantine_urgent_count(db, &r->x.service->work_policy, clock_ms(),
                                    &unseen);
    if (e != ERR_OK)
        return e;
    gauge(b, "headgate_accesses", "Active accesses", accesses);
    gauge(b, "headgate_patients_death_doubtful",
          "Patients recorded as deceased of whom something is dated later, or "
          "of whom a death was said that cannot be: not acted upon",
          doubtful);
    gauge(b, "headgate_held_readings", "Readings held back", held);
    gauge(b, "headgate_tasks_escalated",
          "Suggestions that nobody has taken in time, and signs of emergency "
          "that could not be used and that nobody has seen to in time",
          escalated + unseen);
    gauge(b, "headgate_held_escalated",
          "Of these, signs of emergency that could not be used", unseen);
    gauge(b, "headgate_reviews_waiting", "Accesses to be reviewed now", news);
    return ERR_OK;
}

/* What has happened since the start. */
static void write_counters(const struct report *r, struct buf *b)
{
    const struct counters *c = &r->counters;

    counter(b, "headgate_requests_total", "HTTP requests", c->requests);
    counter(b, "headgate_refused_total", "HTTP answers of 400 and above",
            c->refused);
    counter(b, "headgate_unauthorised_total",
            "HTTP requests without a token, or with a false one",
            c->unauthorised);
    counter(b, "headgate_forbidden_total",
            "HTTP requests that a token did not allow", c->forbidden);
    write_doors(r, b);
    counter(b, "headgate_resources_total", "Resources that came in",
            c->resources);
    counter(b, "headgate_tasks_changed_total", "Tasks changed by people",
            c->tasks_changed);
    gauge(b, "headgate_silent", "1 in silent mode: nothing is posted",
          r->x.service->review.silent ? 1 : 0);
    hl7_door_metrics(&r->hl7, b);
    if (r->x.service->side.record != NULL)
        write_record(&r->record, b);
    if (r->x.service->side.smart != NULL)
        write_tokens(c, b);
    if (r->x.service->drop != NULL)
        drop_metrics(&r->drop, b);
}

static enum err run_metrics(struct db *db, struct report *r)
{
    struct buf *b = &r->x.body;
    enum err e;

    write_counters(r, b);
    e = write_state(db, r, b);
    if (e == ERR_OK)
        e = write_outbox(db, b);
    if (e == ERR_OK && r->x.service->side.record != NULL)
        e = write_waits(db, b);
    if (e == ERR_OK)
        e = quarantine_metrics(db, clock_ms(), b);
    if (e == ERR_OK)
        e = tally_metrics(db, clock_ms(), b);
    if (e == ERR_OK)
        e = upkeep_metrics(db, &r->upkeep, b);
    audit_watch_metrics(&r->x.service->audit_found, b);
    if (e == ERR_OK)
        e = write_silent(db, r->x.service->config.report_silent_d, b);
    return e == ERR_OK && r->x.service->incoming != NULL
               ? write_incoming(db, r, b)
               : e;
}

void route_metrics(struct service *s, struct http_request *r)
{
    struct report *report;

    look_at_tokens(s);
    report = report_new(s, r, "text/plain; version=0.0.4", run_metrics);
    if (report == NULL)
        return;
    report_look_at_record(s, report);
    upkeep_look(s, &report->upkeep);
    report->hooks = s->hooks;
    gate_look(s->gate, &report->gate);
    if (s->public_server != NULL)
        http_server_look(s->public_server, &report->http);
    hl7_door_look(s, &report->hl7);
    if (s->drop != NULL)
        drop_look(s->drop, &report->drop);
    report_submit(report);
}

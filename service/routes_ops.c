#include "service/app.h"

#include "adapters/fhir_write.h"
#include "service/queue.h"

#include <stdlib.h>
#include <string.h>

/* ---- without the store -------------------------------------------------- */

static void text_reply(struct service *s, struct http_request *r, int status,
                       const char *text)
{
    (void)s;
    http_reply(r, status, NULL, 0, "text/plain; charset=utf-8", text,
               strlen(text));
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

/* ---- with it ------------------------------------------------------------ */

struct report {
    struct exchange x; /* first */
    bool table;
    struct queue_options options;
    struct counters counters; /* as they stood when it was asked for */
    const char *content_type;
    enum err (*run)(struct db *db, struct report *r);
};

static enum err run_report(struct db *db, void *arg)
{
    struct report *r = arg;

    return r->run(db, r);
}

static void on_report(void *arg, enum err e)
{
    struct report *r = arg;

    if (e != ERR_OK) {
        exchange_failed(&r->x, e);
        return;
    }
    http_reply(r->x.request, 200, NULL, 0, r->content_type, r->x.body.data,
               r->x.body.len);
    exchange_free(&r->x);
}

static struct report *report_new(struct service *s, struct http_request *r,
                                 const char *content_type,
                                 enum err (*run)(struct db *, struct report *))
{
    struct report *report =
        (struct report *)exchange_new(s, r, sizeof(*report));

    if (report == NULL)
        return NULL;
    report->content_type = content_type;
    report->run = run;
    report->counters = s->counters;
    report->x.job = (struct store_job){ .run = run_report,
                                        .done = on_report,
                                        .arg = report };
    return report;
}

static enum err run_queue(struct db *db, struct report *r)
{
    return queue_read(db, r->table ? &r->options : NULL, clock_ms() / 1000,
                      r->x.service->zone, &r->x.body);
}

void route_queue(struct service *s, struct http_request *r)
{
    const char *columns = http_query(r, "columns");
    bool table = http_query(r, "table") != NULL;
    struct report *report = report_new(
        s, r, table ? "text/plain; charset=utf-8" : "application/x-ndjson",
        run_queue);

    if (report == NULL)
        return;
    report->table = table;
    report->options = (struct queue_options){
        .columns = columns != NULL ? (int)strtol(columns, NULL, 10) : 0,
        .colour = http_query(r, "colour") != NULL,
        .now_s = clock_ms() / 1000,
        .zone = s->zone
    };
    store_submit(s->store, &report->x.job);
}

static enum err run_held(struct db *db, struct report *r)
{
    return held_read(db, r->x.service->zone, &r->x.body);
}

void route_held(struct service *s, struct http_request *r)
{
    struct report *report =
        report_new(s, r, "text/plain; charset=utf-8", run_held);

    if (report != NULL)
        store_submit(s->store, &report->x.job);
}

/* Ready is: the store takes a write. */
static enum err run_ready(struct db *db, struct report *r)
{
    enum err e = db_run(db, Q_META_PUT, "si", "ready_ms", clock_ms());

    buf_puts(&r->x.body, "ready\n");
    return e;
}

void route_ready(struct service *s, struct http_request *r)
{
    struct report *report =
        report_new(s, r, "text/plain; charset=utf-8", run_ready);

    if (report != NULL)
        store_submit(s->store, &report->x.job);
}

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
    enum err e = db_first(db, q, "");

    if (e == ERR_OK)
        *n = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

static enum err write_outbox(struct db *db, struct buf *b)
{
    static const char *const states[] = { "waiting", "sent", "aside" };
    const enum query q = Q_OUTBOX_COUNTS;
    long long counts[3] = { 0, 0, 0 };
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        int64_t state = db_int(db, q, 0);

        if (state >= 0 && state < 3)
            counts[state] = db_int(db, q, 1);
    }
    if (e != ERR_ABSENT)
        return e;
    buf_puts(b, "# HELP headgate_outbox_tasks Tasks for the record by state\n"
                "# TYPE headgate_outbox_tasks gauge\n");
    for (size_t i = 0; i < COUNT(states); i++)
        buf_printf(b, "headgate_outbox_tasks{state=\"%s\"} %lld\n", states[i],
                   counts[i]);
    return ERR_OK;
}

static enum err run_metrics(struct db *db, struct report *r)
{
    const struct counters *c = &r->counters;
    struct buf *b = &r->x.body;
    long long accesses = 0, held = 0, news = 0;
    enum err e = count_of(db, Q_ACCESS_COUNT, &accesses);

    if (e == ERR_OK)
        e = count_of(db, Q_HELD_COUNT, &held);
    if (e == ERR_OK)
        e = count_of(db, Q_NEWS_COUNT, &news);
    if (e != ERR_OK)
        return e;
    counter(b, "headgate_requests_total", "HTTP requests", c->requests);
    counter(b, "headgate_refused_total", "HTTP answers of 400 and above",
            c->refused);
    counter(b, "headgate_resources_total", "Resources that came in",
            c->resources);
    counter(b, "headgate_tasks_changed_total", "Tasks changed by people",
            c->tasks_changed);
    gauge(b, "headgate_accesses", "Active accesses", accesses);
    gauge(b, "headgate_held_readings", "Readings held back", held);
    gauge(b, "headgate_reviews_waiting", "Accesses with news", news);
    return write_outbox(db, b);
}

void route_metrics(struct service *s, struct http_request *r)
{
    struct report *report =
        report_new(s, r, "text/plain; version=0.0.4", run_metrics);

    if (report != NULL)
        store_submit(s->store, &report->x.job);
}

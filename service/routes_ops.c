#include "service/report.h"

#include "adapters/fhir_write.h"

#include <string.h>

/* ---- without the store -------------------------------------------------- */

static void text_reply(struct service *s, struct http_request *r, int status,
                       const char *text)
{
    (void)s;
    http_reply(r, status, NULL, 0, TEXT_TYPE, text, strlen(text));
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

/* Ready is: the store takes a write. */
static enum err run_ready(struct db *db, struct report *r)
{
    enum err e = db_run(db, Q_META_PUT, "si", "ready_ms", clock_ms());

    buf_puts(&r->x.body, r->x.service->review.silent
                             ? "ready, in silent mode: nothing is posted\n"
                             : "ready\n");
    return e;
}

void route_ready(struct service *s, struct http_request *r)
{
    struct report *report = report_new(s, r, TEXT_TYPE, run_ready);

    if (report != NULL)
        report_submit(report);
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
    /* the time is for those that ask what is due */
    enum err e = db_first(db, q, q == Q_NEWS_COUNT ? "i" : "", clock_ms());

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
    gauge(b, "headgate_reviews_waiting", "Accesses to be reviewed now", news);
    gauge(b, "headgate_silent", "1 in silent mode: nothing is posted",
          r->x.service->review.silent ? 1 : 0);
    return write_outbox(db, b);
}

void route_metrics(struct service *s, struct http_request *r)
{
    struct report *report =
        report_new(s, r, "text/plain; version=0.0.4", run_metrics);

    if (report != NULL)
        report_submit(report);
}

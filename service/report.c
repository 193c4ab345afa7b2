#include "service/report.h"

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
    exchange_reply(&r->x, r->status, NULL, 0, r->content_type, r->x.body.data,
                   r->x.body.len);
    exchange_free(&r->x);
}

struct report *report_new(struct service *s, struct http_request *r,
                          const char *content_type,
                          enum err (*run)(struct db *, struct report *))
{
    struct report *report =
        (struct report *)exchange_new(s, r, sizeof(*report));

    if (report == NULL)
        return NULL;
    report->content_type = content_type;
    report->run = run;
    report->status = 200;
    report->counters = s->counters;
    report->x.job = (struct store_job){ .run = run_report,
                                        .done = on_report,
                                        .arg = report };
    return report;
}

void report_submit(struct report *report)
{
    exchange_submit(&report->x);
}

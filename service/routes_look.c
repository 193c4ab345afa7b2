/* What a person of the site looks at: what is held, what was decided, one
 * access.  The queue: routes_queue.c. */
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "service/decisions.h"
#include "service/explain.h"
#include "service/held.h"
#include "service/report.h"
#include "service/timeline.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What is for people, at the width of their terminal. */
static enum err wrap(struct report *r, enum err e)
{
    struct buf page;

    if (e != ERR_OK)
        return e;
    buf_init(&page, ANSWER_SIZE_MAX);
    queue_page_wrap(r->x.body.data != NULL ? r->x.body.data : "", r->x.body.len,
                    r->options.columns, &page);
    e = buf_ok(&page);
    if (e == ERR_OK) {
        buf_clear(&r->x.body);
        r->x.body = page;
        return ERR_OK;
    }
    buf_clear(&page);
    return e;
}

static void take_columns(struct report *report, struct http_request *r)
{
    const char *columns = http_query(r, "columns");

    report->options.columns =
        columns != NULL ? (int)strtol(columns, NULL, 10) : 0;
}

static enum err run_held(struct db *db, struct report *r)
{
    return wrap(r, held_read(db, r->x.service->zone, &r->x.body));
}

void route_held(struct service *s, struct http_request *r)
{
    struct report *report = report_new(s, r, TEXT_TYPE, run_held);

    if (report == NULL)
        return;
    take_columns(report, r);
    report_submit(report);
}

static void refuse_parameter(struct report *report, const char *text)
{
    outcome_add(&report->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", text);
    exchange_refuse(&report->x);
}

static enum err run_decisions(struct db *db, struct report *r)
{
    enum err e = decisions_read(db, r->from_ms, !r->table, r->x.service->zone,
                                &r->x.body);

    return r->table ? wrap(r, e) : e;
}

void route_decisions(struct service *s, struct http_request *r)
{
    const char *since = http_query(r, "since");
    bool table = http_query(r, "json") == NULL;
    struct report *report =
        report_new(s, r, table ? TEXT_TYPE : NDJSON_TYPE, run_decisions);
    struct fhir_time from;

    if (report == NULL)
        return;
    report->table = table;
    report->from_ms = INT64_MIN;
    take_columns(report, r);
    if (since != NULL) {
        if (fhir_time_read(since, strlen(since), s->zone, &from) != ERR_OK) {
            refuse_parameter(report, "since is not a date: YYYY-MM-DD");
            return;
        }
        report->from_ms = from.start_s * 1000;
    }
    report_submit(report);
}

static enum err run_review(struct db *db, struct report *r)
{
    const struct service *s = r->x.service;

    return wrap(
        r, explain_access(db, &s->review, r->subject, &r->status, &r->x.body));
}

/* What says that there is not one such access is text, whatever was asked
 * for. */
static enum err run_timeline(struct db *db, struct report *r)
{
    const struct service *s = r->x.service;
    enum err e = timeline_read(db, &s->review, r->subject, !r->table,
                               &r->status, &r->x.body);

    if (r->status != 200)
        r->content_type = TEXT_TYPE;
    return r->table || r->status != 200 ? wrap(r, e) : e;
}

static struct report *new_review(struct service *s, struct http_request *r)
{
    bool json = http_query(r, "json") != NULL;
    struct report *report;

    if (http_query(r, "timeline") == NULL)
        return report_new(s, r, TEXT_TYPE, run_review);
    report = report_new(s, r, json ? NDJSON_TYPE : TEXT_TYPE, run_timeline);
    if (report != NULL)
        report->table = !json;
    return report;
}

void route_review(struct service *s, struct http_request *r)
{
    const char *access = http_query(r, "access");
    struct report *report = new_review(s, r);
    size_t size = sizeof(report->subject);

    if (report == NULL)
        return;
    if (access == NULL || access[0] == '\0' || strlen(access) >= size) {
        refuse_parameter(report, "access names which one: its identifier, "
                                 "label or id, or that of its patient");
        return;
    }
    snprintf(report->subject, size, "%s", access);
    take_columns(report, r);
    report_submit(report);
}

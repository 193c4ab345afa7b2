/* The queue, a part of it, and what became of it in a week. */
#include "adapters/report_text.h"
#include "service/digest.h"
#include "service/queue.h"
#include "service/report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- the queue ---------------------------------------------------------------- */

struct asked_queue {
    struct exchange x; /* first */
    struct queue_wish wish;
    char known[QUEUE_MARK_SIZE]; /* what the client has; "" nothing */
    char mark[QUEUE_MARK_SIZE];
    bool same; /* the client has it */
};

static enum err run_queue(struct db *db, void *arg)
{
    struct asked_queue *q = arg;
    const struct service *s = q->x.service;
    int64_t historic_s =
        (int64_t)policy_count(&s->work_policy, P_HISTORIC_D) * DAY_S;
    enum err e;

    q->wish.options.now_s = clock_ms() / 1000;
    q->wish.feed_limit_d = s->config.report_silent_d;
    e = queue_mark(db, &q->wish.options, q->mark);
    if (e != ERR_OK)
        return e;
    q->same = strcmp(q->mark, q->known) == 0;
    q->x.audit.skip = q->same; /* nothing is shown */
    return q->same ? ERR_OK
                   : queue_read(db, &q->wish,
                                q->wish.options.now_s - historic_s, &q->x.body);
}

static void on_queue(void *arg, enum err e)
{
    struct asked_queue *q = arg;
    const struct http_header_line etag = { "ETag", q->mark };

    if (e == ERR_ABSENT) {
        /* for people and programs alike: there is no such unit or access */
        exchange_reply(&q->x, 404, NULL, 0, TEXT_TYPE, q->x.body.data,
                       q->x.body.len);
        exchange_free(&q->x);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&q->x, e);
        return;
    }
    if (q->same)
        exchange_reply(&q->x, 304, &etag, 1, NULL, NULL, 0);
    else
        exchange_reply(&q->x, 200, &etag, 1,
                       q->wish.table ? TEXT_TYPE : NDJSON_TYPE, q->x.body.data,
                       q->x.body.len);
    exchange_free(&q->x);
}

static void complain(struct asked_queue *q, const char *text)
{
    outcome_add(&q->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", text);
}

static void take_word(struct asked_queue *q, char *to, const char *value,
                      const char *wrong)
{
    if (value[0] == '\0' || strlen(value) >= QUEUE_WORD_SIZE)
        complain(q, wrong);
    else
        snprintf(to, QUEUE_WORD_SIZE, "%s", value);
}

static void take_rule(struct asked_queue *q, const char *value)
{
    struct queue_filter *f = &q->wish.filter;
    const char *id = queue_rule_read(value);

    if (id == NULL)
        complain(q, "rule is the id of one, such as HF-1; it may be given "
                    "several times");
    else if (f->rule_count < QUEUE_RULES_MAX)
        f->rules[f->rule_count++] = id;
}

static void take_parameter(void *arg, const char *name, const char *value)
{
    struct asked_queue *q = arg;

    if (strcmp(name, "table") == 0)
        q->wish.table = true;
    else if (strcmp(name, "colour") == 0)
        q->wish.options.colour = true;
    else if (strcmp(name, "columns") == 0)
        q->wish.options.columns = (int)strtol(value, NULL, 10);
    else if (strcmp(name, "unit") == 0)
        take_word(q, q->wish.unit, value, "unit is the name of one");
    else if (strcmp(name, "access") == 0)
        take_word(q, q->wish.access, value,
                  "access names which one: its identifier, label or id, or "
                  "that of its patient");
    else if (strcmp(name, "rule") == 0)
        take_rule(q, value);
    else if (strcmp(name, "state") != 0)
        complain(q, "the queue has no such parameter");
    else if (!queue_state_read(value, &q->wish.filter.state))
        complain(q, "state is open, taken, put-off or overdue");
}

void route_queue(struct service *s, struct http_request *r)
{
    struct asked_queue *q =
        (struct asked_queue *)exchange_new(s, r, sizeof(*q));
    const char *known = http_header(r, "If-None-Match");

    if (q == NULL)
        return;
    q->wish.options =
        (struct queue_options){ .silent = s->review.silent, .zone = s->zone };
    http_query_each(r, take_parameter, q);
    if (q->x.outcome.status != 0) {
        exchange_refuse(&q->x);
        return;
    }
    /* one that does not fit is none of ours */
    if (known != NULL && strlen(known) < sizeof(q->known))
        snprintf(q->known, sizeof(q->known), "%s", known);
    q->x.job =
        (struct store_job){ .run = run_queue, .done = on_queue, .arg = q };
    exchange_submit(&q->x);
}

/* ---- the digest ----------------------------------------------------------------- */

static enum err run_digest(struct db *db, struct report *r)
{
    const struct service *s = r->x.service;
    struct digest_wish wish = { .week = r->from_ms,
                                .now_s = clock_ms() / 1000,
                                .zone = s->zone,
                                .unit =
                                    r->subject[0] != '\0' ? r->subject : NULL,
                                .silent = s->review.silent,
                                .json = !r->table,
                                .columns = r->options.columns };
    enum err e = digest_read(db, &wish, &r->x.body);

    if (e != ERR_ABSENT)
        return e;
    r->status = 404;
    r->content_type = TEXT_TYPE;
    return ERR_OK;
}

void route_digest(struct service *s, struct http_request *r)
{
    bool table = http_query(r, "json") == NULL;
    const char *unit = http_query(r, "unit"), *week = http_query(r, "week");
    const char *columns = http_query(r, "columns");
    struct report *report =
        report_new(s, r, table ? TEXT_TYPE : NDJSON_TYPE, run_digest);
    const char *wrong = NULL;

    if (report == NULL)
        return;
    report->table = table;
    report->options.columns =
        columns != NULL ? (int)strtol(columns, NULL, 10) : 0;
    if (week == NULL)
        report->from_ms = digest_week(clock_ms() / 1000, s->zone);
    else if (!report_week_read(week, &report->from_ms))
        wrong = "week is one of ISO 8601: 2026-W47";
    if (unit != NULL && strlen(unit) >= sizeof(report->subject))
        wrong = "unit is too long";
    if (wrong != NULL) {
        outcome_add(&report->x.outcome, SEV_ERROR, "bad-parameter", "", "%s",
                    wrong);
        exchange_refuse(&report->x);
        return;
    }
    snprintf(report->subject, sizeof(report->subject), "%s",
             unit != NULL ? unit : "");
    report_submit(report);
}

#include "adapters/catalogue.h"
#include "service/aside.h"
#include "service/log.h"
#include "service/outbox_wait.h"
#include "service/report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum err run_list(struct db *db, struct report *r)
{
    return aside_read(db, !r->table, r->options.silent,
                      r->whole ? ASIDE_ALL : ASIDE_LIST_MAX, r->x.service->zone,
                      &r->x.body);
}

void route_outbox(struct service *s, struct http_request *r)
{
    bool table = http_query(r, "json") == NULL;
    struct report *report =
        report_new(s, r, table ? TEXT_TYPE : NDJSON_TYPE, run_list);

    if (report == NULL)
        return;
    report->table = table;
    report->options.silent = http_query(r, "given_up") != NULL;
    report->whole = http_query(r, "all") != NULL;
    report_submit(report);
}

/* A person's word on what was put aside. */
struct aside_act {
    struct exchange x; /* first */
    bool again;
    bool at_once; /* all that waits, and whatever pause the record is given */
    int64_t row;
    size_t count;
    char who[ASIDE_WORDS_SIZE], why[ASIDE_WORDS_SIZE];
};

static enum err run_act(struct db *db, void *arg)
{
    struct aside_act *a = arg;

    if (a->at_once)
        return outbox_wait_end(db, clock_ms(), &a->count);
    return a->again ? aside_again(db, a->row, clock_ms(), &a->count)
                    : aside_give_up(db, a->row, a->who, a->why);
}

static void try_now(const struct service *s)
{
    if (s->side.record != NULL) /* the service may be ending by now */
        record_try_now(s->side.record);
    if (s->outbox != NULL)
        outbox_kick(s->outbox);
    if (s->incoming != NULL)
        poll_side_kick(s->incoming);
}

static void say_act(struct aside_act *a)
{
    if (a->at_once)
        /* TRANSLATORS: the clinical record, and how many deliveries wait */
        buf_printf(&a->x.body,
                   _("The record is asked now; /readyz says how it does. "
                     "Waiting for it: %zu.\n"),
                   a->count);
    else if (a->again)
        buf_printf(&a->x.body, "%zu to be tried again now.\n", a->count);
    else
        buf_puts(&a->x.body, "Given up; it stays on record, with your name and "
                             "reason.\n");
}

static void on_act(void *arg, enum err e)
{
    struct aside_act *a = arg;
    struct service *s = a->x.service;

    if (e == ERR_ABSENT) {
        outcome_add(&a->x.outcome, SEV_ERROR, "not-found", "",
                    "Nothing that was put aside has the number %lld",
                    (long long)a->row);
        exchange_refuse(&a->x);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&a->x, e);
        return;
    }
    log_event(LOG_INFO, "outbox.person", KEY_INT("row", a->row),
              KEY_INT("again", a->again), KEY_INT("now", a->at_once),
              KEY_INT("count", a->count));
    if (a->at_once)
        try_now(s);
    else if (a->again && s->outbox != NULL)
        outbox_kick(s->outbox);
    say_act(a);
    exchange_reply(&a->x, 200, NULL, 0, TEXT_TYPE, a->x.body.data,
                   a->x.body.len);
    exchange_free(&a->x);
}

/* NULL: fine; else what is wrong. */
static const char *read_act(struct aside_act *a, struct http_request *r)
{
    const char *act = http_query(r, "act"), *row = http_query(r, "row");
    const char *who = http_query(r, "by"), *why = http_query(r, "why");
    char *end = NULL;

    if (act == NULL ||
        (strcmp(act, "retry") != 0 && strcmp(act, "discard") != 0))
        return "act is retry or discard";
    a->again = strcmp(act, "retry") == 0;
    if (row == NULL)
        return "row names what was put aside";
    a->at_once = a->again && strcmp(row, "now") == 0;
    if (!a->at_once && (!a->again || strcmp(row, "all") != 0)) {
        a->row = strtoll(row, &end, 10);
        if (end == row || *end != '\0' || a->row < 1)
            return a->again ? "row is a number, all, or now"
                            : "row is a number";
    }
    if (a->again)
        return NULL;
    if (who == NULL || who[strspn(who, " \t")] == '\0' ||
        strlen(who) >= sizeof(a->who))
        return "by names who decided";
    if (why == NULL || why[strspn(why, " \t")] == '\0' ||
        strlen(why) >= sizeof(a->why))
        return "why says the reason";
    snprintf(a->who, sizeof(a->who), "%s", who);
    snprintf(a->why, sizeof(a->why), "%s", why);
    return NULL;
}

void route_outbox_act(struct service *s, struct http_request *r)
{
    struct aside_act *a = (struct aside_act *)exchange_new(s, r, sizeof(*a));
    const char *wrong;

    if (a == NULL)
        return;
    if (!http_is_local(r)) {
        snprintf(a->x.allow, sizeof(a->x.allow), "GET, HEAD");
        outcome_add(&a->x.outcome, SEV_ERROR, "method", "",
                    "This is decided on the machine of the service");
        exchange_refuse(&a->x);
        return;
    }
    wrong = read_act(a, r);
    if (wrong == NULL && a->at_once && s->side.record == NULL)
        wrong = "no record is named (record.url)";
    else if (wrong == NULL && a->at_once && s->outbox == NULL)
        wrong = "in silent mode nothing is sent to the record";
    if (wrong != NULL) {
        outcome_add(&a->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", wrong);
        exchange_refuse(&a->x);
        return;
    }
    audit_request_act(&a->x.audit, "outbox", a->again ? "retry" : "discard");
    if (a->at_once)
        snprintf(a->x.audit.key, sizeof(a->x.audit.key), "now");
    else
        snprintf(a->x.audit.key, sizeof(a->x.audit.key), "%lld",
                 (long long)a->row);
    a->x.job = (struct store_job){ .run = run_act, .done = on_act, .arg = a };
    exchange_submit(&a->x);
}

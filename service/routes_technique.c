/*
 * The technique of this site: what finished cases say of it, and a person's
 * switch.
 *
 *     GET  /technique[?json]         what is proposed and what is in use
 *     POST /technique?act=use&by=N   the proposed prior is in use from now on
 *     POST /technique?act=drop&by=N  the default is
 *
 * POST is taken from this machine alone: a token says which program sends, not
 * that a person of the site decided.
 */
#include "service/log.h"
#include "service/report.h"
#include "service/technique_run.h"

#include <stdio.h>
#include <string.h>

enum { EVIDENCE_TEXT_MAX = 64 * 1024 };

enum asked { ASKED_SHOW, ASKED_USE, ASKED_DROP };

struct technique_report {
    struct exchange x; /* first */
    enum asked asked;
    bool json, done;
    int status;
    char who[TECHNIQUE_WHO_SIZE];
    struct technique_run *run;
};

static enum err say_too_few(struct technique_report *r)
{
    const struct technique *t = technique_run_result(r->run);

    r->status = 409;
    if (t->case_count < TECHNIQUE_CASES_LEAST)
        buf_printf(
            &r->x.body,
            "nothing was switched: %zu finished procedures can be learnt "
            "from, and %d are needed\n",
            t->case_count, TECHNIQUE_CASES_LEAST);
    else
        buf_puts(&r->x.body, "nothing was switched: the numbers that are "
                             "learnt do not settle\n");
    return buf_ok(&r->x.body);
}

static enum err adopt(struct db *db, struct technique_report *r)
{
    struct buf evidence;
    enum err e;

    buf_init(&evidence, EVIDENCE_TEXT_MAX);
    e = technique_run_evidence(r->run, &evidence);
    if (e == ERR_OK)
        e = technique_adopt(db, technique_run_result(r->run), r->who,
                            evidence.data, r->x.service->review.now_ms());
    buf_clear(&evidence);
    return e;
}

/* Everything is learnt: switch, if that was asked for, and show. */
static enum err finish(struct db *db, struct technique_report *r)
{
    enum err e = ERR_OK;

    if (r->asked == ASKED_USE && !technique_run_result(r->run)->proposed)
        return say_too_few(r);
    if (r->asked == ASKED_USE)
        e = adopt(db, r);
    return e == ERR_OK ? technique_run_write(r->run, db, r->x.service->zone,
                                             r->json, &r->x.body)
                       : e;
}

static enum err run_technique(struct db *db, void *arg)
{
    struct technique_report *r = arg;
    enum err e;

    if (r->run == NULL) {
        e = technique_run_open(&r->run);
        if (e != ERR_OK)
            return e;
    }
    e = technique_run_step(r->run, db, &r->x.service->review, &r->done);
    r->x.audit.skip = !r->done; /* one row, with its last step */
    return e == ERR_OK && r->done ? finish(db, r) : e;
}

static enum err run_drop(struct db *db, void *arg)
{
    struct technique_report *r = arg;
    enum err e = technique_drop(db, r->who, r->x.service->review.now_ms());

    r->done = true;
    if (e == ERR_ABSENT) {
        r->status = 409;
        buf_puts(&r->x.body, "nothing was switched: the default prior is in "
                             "use already\n");
        return buf_ok(&r->x.body);
    }
    if (e == ERR_OK)
        buf_puts(&r->x.body, "The default prior is in use from now on; what "
                             "was dropped stays on record.\n");
    return e == ERR_OK ? buf_ok(&r->x.body) : e;
}

static void on_technique(void *arg, enum err e)
{
    struct technique_report *r = arg;
    struct service *s = r->x.service;

    if (e == ERR_OK && !r->done && s->stopping)
        e = ERR_STOPPED;
    if (e != ERR_OK) {
        exchange_failed(&r->x, e);
        return;
    }
    if (!r->done) {
        exchange_submit(&r->x);
        return;
    }
    if (r->asked != ASKED_SHOW && r->status == 200) {
        log_event(LOG_INFO, "technique.switched",
                  KEY_INT("site", r->asked == ASKED_USE));
        store_wake(s->store);
    }
    exchange_reply(&r->x, r->status, NULL, 0,
                   r->json && r->status == 200 ? "application/json" : TEXT_TYPE,
                   r->x.body.data, r->x.body.len);
    exchange_free(&r->x);
}

static void release(struct exchange *x)
{
    technique_run_close(((struct technique_report *)x)->run);
}

/* NULL: answered. */
static struct technique_report *report_of(struct service *s,
                                          struct http_request *http)
{
    struct technique_report *r =
        (struct technique_report *)exchange_new(s, http, sizeof(*r));

    if (r == NULL)
        return NULL;
    r->status = 200;
    r->json = http_query(http, "json") != NULL;
    r->x.release = release;
    r->x.job = (struct store_job){ .run = run_technique,
                                   .done = on_technique,
                                   .arg = r };
    return r;
}

void route_technique(struct service *s, struct http_request *http)
{
    struct technique_report *r = report_of(s, http);

    if (r != NULL)
        exchange_submit(&r->x);
}

static void refuse(struct technique_report *r, const char *word,
                   const char *text)
{
    outcome_add(&r->x.outcome, SEV_ERROR, word, "", "%s", text);
    exchange_refuse(&r->x);
}

void route_technique_switch(struct service *s, struct http_request *http)
{
    const char *act = http_query(http, "act"), *who = http_query(http, "by");
    struct technique_report *r = report_of(s, http);

    if (r == NULL)
        return;
    if (!http_is_local(http)) {
        snprintf(r->x.allow, sizeof(r->x.allow), "GET, HEAD");
        refuse(r, "method", "This is switched on the machine of the service");
        return;
    }
    if (act == NULL || (strcmp(act, "use") != 0 && strcmp(act, "drop") != 0)) {
        refuse(r, "bad-parameter", "act is use or drop");
        return;
    }
    if (who == NULL || who[strspn(who, " \t")] == '\0' ||
        strlen(who) >= sizeof(r->who)) {
        refuse(r, "bad-parameter", "by names who decided");
        return;
    }
    snprintf(r->who, sizeof(r->who), "%s", who);
    r->asked = strcmp(act, "use") == 0 ? ASKED_USE : ASKED_DROP;
    audit_request_act(&r->x.audit, "technique", act);
    if (r->asked == ASKED_DROP)
        r->x.job.run = run_drop;
    exchange_submit(&r->x);
}

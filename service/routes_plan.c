/* The band plan of one access, for a person or program of the site. */
#include "service/explain.h"
#include "service/report.h"
#include "service/technique_store.h"

#include <stdio.h>
#include <string.h>

#define JSON_TYPE "application/json"
#define PDF_TYPE  "application/pdf"
#define SVG_TYPE  "image/svg+xml"

/* 422: a value cannot be used; the answer is a line that says which. */
static void say_unfit(struct report *r, const struct planned *planned)
{
    r->status = 422;
    r->content_type = TEXT_TYPE;
    buf_printf(&r->x.body, "%s: %s\n", planned->fault.field,
               planned->fault.why);
}

static enum err write_form(const struct report *r,
                           const struct planning_paper *p, struct buf *out)
{
    struct planning_page page = { .form = r->form,
                                  .paper =
                                      r->x.service->review.companions.paper,
                                  .made_s = p->look->now_ms / 1000 };

    if (r->brief)
        return planning_case(p, out);
    if (r->drawn)
        return planning_sheet(p, &page, out);
    return r->table ? planning_text(p, out) : planning_json(p, out);
}

static enum err write_paper(struct db *db, struct report *r,
                            const struct look *look,
                            const struct planned *planned)
{
    const struct review *review = &r->x.service->review;
    struct planning_names names;
    struct planning_paper paper = { .policy = review->policy,
                                    .zone = review->zone,
                                    .look = look,
                                    .planned = planned,
                                    .names = &names };
    enum err e = planning_names_load(db, look, planned, true, &names);

    if (e != ERR_OK)
        return e;
    e = write_form(r, &paper, &r->x.body);
    planning_names_clear(&names);
    return e;
}

static enum err write_plan(struct db *db, struct report *r,
                           const struct look *look)
{
    const struct service *s = r->x.service;
    struct planned planned;
    enum err e =
        planning_make(s->planning, db, &s->review, look, &r->wish, &planned);

    if (e == ERR_ABSENT && r->wish.prior == &technique_site) {
        r->status = 409;
        r->content_type = TEXT_TYPE;
        buf_puts(&r->x.body, PLANNING_NO_SITE "\n");
        return buf_ok(&r->x.body);
    }
    if (e != ERR_OK)
        return e;
    if (planned.from.offer == PLAN_UNFIT) {
        say_unfit(r, &planned);
        return buf_ok(&r->x.body);
    }
    return write_paper(db, r, look, &planned);
}

static enum err run_plan(struct db *db, struct report *r)
{
    const struct service *s = r->x.service;
    struct look look;
    int64_t access;
    enum err e = explain_find(db, r->subject, &r->status, &access, &r->x.body);

    if (e != ERR_OK || r->status != 200) {
        r->content_type = TEXT_TYPE;
        return e;
    }
    e = look_at(db, &s->review, access, &look);
    if (e != ERR_OK)
        return e;
    e = write_plan(db, r, &look);
    look_clear(&look);
    return e;
}

static void refuse(struct report *report, const char *text)
{
    outcome_add(&report->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", text);
    exchange_refuse(&report->x);
}

void route_plan(struct service *s, struct http_request *r)
{
    const char *access = http_query(r, "access");
    bool pdf = http_query(r, "pdf") != NULL, svg = http_query(r, "svg") != NULL;
    bool table = http_query(r, "json") == NULL;
    struct report *report = report_new(s, r,
                                       pdf     ? PDF_TYPE
                                       : svg   ? SVG_TYPE
                                       : table ? TEXT_TYPE
                                               : JSON_TYPE,
                                       run_plan);
    size_t size = sizeof(report->subject);
    struct buf why;
    enum err e;

    if (report == NULL)
        return;
    report->table = table;
    report->brief = http_query(r, "case") != NULL;
    report->drawn = pdf || svg;
    report->form = pdf ? CANVAS_PDF : CANVAS_SVG;
    if (access == NULL || access[0] == '\0' || strlen(access) >= size) {
        refuse(report, "access names which one: its identifier, label or id, "
                       "or that of its patient");
        return;
    }
    snprintf(report->subject, size, "%s", access);
    buf_init(&why, 512);
    e = planning_wish(http_query(r, "prior"), http_query(r, "target"),
                      http_query(r, "dowels"), http_query(r, "table"),
                      &report->wish, &why);
    if (e == ERR_OK)
        report_submit(report);
    else
        refuse(report, why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
}

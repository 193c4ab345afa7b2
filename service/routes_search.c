/* Searching, by GET or by a posted form; see search_page.h. */
#include "service/app.h"

#include "service/search_page.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINKS_MAX = 24576 };

struct search {
    struct exchange x; /* first */
    struct search_query query;
    struct buf self;  /* our base, as the client calls it */
    struct buf links; /* the query of the links, without the handle */
};

static void search_release(struct exchange *x)
{
    buf_clear(&((struct search *)x)->self);
    buf_clear(&((struct search *)x)->links);
}

/* What is said of a parameter, by what became of it. */
static const char *const said[] = {
    [TAKEN_NOT] = "The value of a search parameter is not understood",
    [TAKEN_TWICE] = "This search parameter may be given once",
    [TAKEN_UNKNOWN] = "This search parameter is not known here",
    [TAKEN_MODIFIED] = "This modifier or chain is not understood here",
    [TAKEN_MANY] = "The search asks for more than is taken, with",
};

static void visit(void *arg, const char *name, const char *value)
{
    struct search *q = arg;
    enum taken taken = search_query_take(&q->query, name, value);
    bool passes = taken == TAKEN_UNKNOWN &&
                  !http_prefers(q->x.request, "handling", "strict");

    if (taken != TAKEN)
        outcome_add(&q->x.outcome, passes ? SEV_WARNING : SEV_ERROR,
                    "bad-parameter", "", "%s: %.40s", said[taken], name);
    else if (!search_query_pages(name))
        http_query_add(&q->links, name, value);
}

static enum err run_search(struct db *db, void *arg)
{
    struct search *q = arg;
    const struct search_page page = { .query = &q->query,
                                      .base = q->x.service->config.fhir_base,
                                      .self = q->self.data,
                                      .links = q->links.data,
                                      .outcome = &q->x.outcome };

    return search_page_write(db, &page, &q->x.body);
}

static void on_search(void *arg, enum err e)
{
    struct search *q = arg;

    if (e == ERR_FORM || e == ERR_LIMIT) {
        outcome_add(&q->x.outcome, SEV_ERROR, "bad-parameter", "", "%s: %s",
                    said[e == ERR_FORM ? TAKEN_NOT : TAKEN_MANY],
                    e == ERR_FORM ? "_after" : "patient");
        exchange_refuse(&q->x);
    } else if (e != ERR_OK) {
        exchange_failed(&q->x, e);
    } else {
        exchange_answer(&q->x, 200, NULL, 0);
    }
}

void route_search(struct service *s, struct http_request *r,
                  enum fhir_type type)
{
    struct search *q = (struct search *)exchange_new(s, r, sizeof(*q));

    if (q == NULL)
        return;
    q->x.release = search_release;
    buf_init(&q->self, 1024);
    buf_init(&q->links, LINKS_MAX);
    exchange_base(&q->x, &q->self);
    search_query_init(&q->query, type, q->self.data, s->zone, clock_ms());
    http_query_each(r, visit, q);
    http_form_each(r, visit, q);
    if (buf_ok(&q->links) != ERR_OK || buf_ok(&q->self) != ERR_OK)
        outcome_add(&q->x.outcome, SEV_ERROR, "bad-parameter", "",
                    "The search is too long");
    if (outcome_refuses(&q->x.outcome)) {
        exchange_refuse(&q->x);
        return;
    }
    q->x.job =
        (struct store_job){ .run = run_search, .done = on_search, .arg = q };
    exchange_submit(&q->x);
}

/* What is held and what could not be taken in: looking, and a person's word. */
#include "adapters/fhir_form.h"
#include "adapters/fhir_out.h"
#include "adapters/queue_text.h"
#include "service/log.h"
#include "service/quarantine_act.h"
#include "service/quarantine_list.h"
#include "service/report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct quarantine_site site_of(const struct service *s)
{
    struct quarantine_site site = { .reader = s->reader,
                                    .codes = s->codes,
                                    .senders = s->senders,
                                    .record = s->side.record != NULL
                                                  ? record_url(s->side.record)
                                                  : "",
                                    .zone = s->zone,
                                    .merge_implied = s->config.merge_implied,
                                    .now_ms = clock_ms() };

    site.reader.now_s = site.now_ms / 1000;
    return site;
}

/* ---- looking -------------------------------------------------------------- */

struct glance {
    struct exchange x; /* first */
    struct quarantine_site site;
    struct quarantine_filter filter;
    char reason[32], unit[160], item[FID_SIZE + 16];
    bool maps; /* what people have mapped */
    int columns;
    enum err found;
};

static enum err run_look(struct db *db, void *arg)
{
    struct glance *l = arg;
    struct quarantine_item item;

    if (l->maps)
        return quarantine_maps(db, l->filter.json, l->site.zone, &l->x.body);
    if (l->item[0] == '\0')
        return quarantine_list(db, &l->filter, l->site.zone, l->site.now_ms,
                               &l->x.body);
    l->found = quarantine_find(db, l->item, &item);
    if (l->found == ERR_ABSENT || l->found == ERR_FORM)
        return ERR_OK;
    return l->found == ERR_OK ? quarantine_show(db, &item, &l->site, &l->x.body)
                              : l->found;
}

/* What was sent keeps its lines; the list has the width of the terminal. */
static void wrap_list(struct glance *l)
{
    struct buf page;

    if (l->filter.json || l->item[0] != '\0')
        return;
    buf_init(&page, ANSWER_SIZE_MAX);
    queue_page_wrap(l->x.body.data, l->x.body.len, l->columns, &page);
    if (buf_ok(&page) != ERR_OK) {
        buf_clear(&page);
        return;
    }
    buf_clear(&l->x.body);
    l->x.body = page;
}

static void on_look(void *arg, enum err e)
{
    struct glance *l = arg;

    if (e == ERR_OK && l->found != ERR_OK) {
        outcome_add(&l->x.outcome, SEV_ERROR, "not-found", "",
                    "Nothing held or in quarantine has the number %s", l->item);
        exchange_refuse(&l->x);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&l->x, e);
        return;
    }
    wrap_list(l);
    exchange_reply(&l->x, 200, NULL, 0,
                   l->filter.json ? NDJSON_TYPE : TEXT_TYPE, l->x.body.data,
                   l->x.body.len);
    exchange_free(&l->x);
}

/* What was sent is shown only to those who may read what is sent. */
static bool may_read(struct glance *l)
{
    struct door_need need = { .right = { .level = RIGHT_SYSTEM,
                                         .permits = RIGHT_READ } };
    const struct door_grant *grant = &l->x.service->grant;
    char scope[64];

    snprintf(need.right.type, sizeof(need.right.type), "Observation");
    if (l->item[0] == '\0' || doors_let(grant, &need, scope, sizeof(scope)))
        return true;
    exchange_forbid(&l->x, grant->client, scope);
    outcome_add(&l->x.outcome, SEV_ERROR, "forbidden", "",
                "The token does not allow this; it lacks %s", scope);
    exchange_refuse(&l->x);
    return false;
}

static void route_look(struct service *s, struct http_request *r,
                       const char *item)
{
    struct glance *l = (struct glance *)exchange_new(s, r, sizeof(*l));
    const char *reason = http_query(r, "reason"), *unit = http_query(r, "unit");
    const char *columns = http_query(r, "columns");

    if (l == NULL)
        return;
    l->site = site_of(s);
    l->columns = columns != NULL ? (int)strtol(columns, NULL, 10) : 0;
    l->filter.json = http_query(r, "json") != NULL;
    if (reason != NULL && reason[0] != '\0') {
        snprintf(l->reason, sizeof(l->reason), "%s", reason);
        l->filter.reason = l->reason;
    }
    if (unit != NULL && unit[0] != '\0') {
        snprintf(l->unit, sizeof(l->unit), "%s", unit);
        l->filter.unit = l->unit;
    }
    l->maps = item != NULL && strcmp(item, "maps") == 0;
    if (!l->maps)
        snprintf(l->item, sizeof(l->item), "%s", item != NULL ? item : "");
    if (!may_read(l))
        return;
    l->x.job = (struct store_job){ .run = run_look, .done = on_look, .arg = l };
    exchange_submit(&l->x);
}

/* ---- a person's word ------------------------------------------------------ */

struct deed_request {
    struct exchange x; /* first */
    struct quarantine_act act;
    bool json;
    const char *wrong; /* of the parameters; NULL: nothing */
};

static void release(struct exchange *x)
{
    buf_clear(&((struct deed_request *)x)->act.text);
}

static enum err run_deed(struct db *db, void *arg)
{
    struct deed_request *d = arg;

    return quarantine_act(db, &d->act);
}

static void answer(struct deed_request *d)
{
    const struct quarantine_act *act = &d->act;
    struct buf *b = &d->x.body;

    if (d->json) {
        fhir_out_open(b, NULL, '{');
        fhir_out_raw(b, "done", act->status == 200 ? "true" : "false",
                     act->status == 200 ? 4 : 5);
        fhir_out_int(b, "looked", act->count.looked);
        fhir_out_int(b, "settled", act->count.settled);
        fhir_out_int(b, "held", act->count.held);
        fhir_out_int(b, "lost", act->count.lost);
        fhir_out_text(b, "text", act->text.data);
        fhir_out_close(b, '}');
        buf_puts(b, "\n");
    } else {
        buf_add(b, act->text.data, act->text.len);
    }
    exchange_reply(&d->x, act->status, NULL, 0,
                   d->json ? "application/json" : TEXT_TYPE, b->data, b->len);
    exchange_free(&d->x);
}

static void on_deed(void *arg, enum err e)
{
    struct deed_request *d = arg;
    struct service *s = d->x.service;
    bool refused = e == ERR_CONFLICT && d->act.status >= 400;

    if (e != ERR_OK)
        quarantine_act_failed(&d->act);
    if (e != ERR_OK && !refused) {
        exchange_failed(&d->x, e);
        return;
    }
    if (e == ERR_OK)
        store_wake(s->store);
    if (e == ERR_OK && d->act.more) {
        d->x.audit.skip = true; /* the deed is on record */
        exchange_submit(&d->x);
        return;
    }
    log_event(LOG_INFO, "quarantine.person", KEY_INT("verb", d->act.verb),
              KEY_INT("status", d->act.status),
              KEY_INT("settled", d->act.count.settled),
              KEY_INT("lost", d->act.count.lost));
    answer(d);
}

static void take(struct deed_request *d, char *to, size_t size,
                 const char *value)
{
    if (strlen(value) >= size)
        d->wrong = "a parameter is too long";
    else
        snprintf(to, size, "%s", value);
}

/* Nothing behind the name says yes, as an option does. */
static void take_yes(struct deed_request *d, const char *value, bool *to)
{
    if (value[0] == '\0' || strcmp(value, "1") == 0 ||
        strcmp(value, "true") == 0)
        *to = true;
    else if (strcmp(value, "0") == 0 || strcmp(value, "false") == 0)
        *to = false;
    else
        d->wrong = "as-sent is true or false";
}

static void take_parameter(void *arg, const char *name, const char *value)
{
    struct deed_request *d = arg;
    struct quarantine_act *a = &d->act;
    const struct {
        const char *name;
        char *to;
        size_t size;
    } places[] = {
        { "by", a->who, sizeof(a->who) },
        { "why", a->why, sizeof(a->why) },
        { "reason", a->reason, sizeof(a->reason) },
        { "code", a->code, sizeof(a->code) },
        { "target", a->target, sizeof(a->target) },
        { "unit", a->unit, sizeof(a->unit) },
        { "arm", a->arm, sizeof(a->arm) },
        { "from", a->from, sizeof(a->from) },
        { "access", a->access, sizeof(a->access) },
        { "side", a->side, sizeof(a->side) },
    };

    for (size_t i = 0; i < COUNT(places); i++) {
        if (strcmp(places[i].name, name) == 0) {
            take(d, places[i].to, places[i].size, value);
            return;
        }
    }
    if (strcmp(name, "as-sent") == 0)
        take_yes(d, value, &a->as_sent);
    else if (strcmp(name, "json") == 0)
        d->json = true;
    else
        d->wrong = "a parameter is not known here";
}

static bool is_blank(const char *text)
{
    for (;;) {
        if ((unsigned char)*text > ' ' && strncmp(text, "\xc2\xa0", 2) != 0)
            return false;
        if (*text == '\0')
            return true;
        text += (unsigned char)*text > ' ' ? 2 : 1;
    }
}

static void read_parameters(struct deed_request *d, struct http_request *r)
{
    size_t len;
    const char *body = http_body(r, &len);

    http_query_each(r, take_parameter, d);
    http_form_each(r, take_parameter, d);
    if (http_sends(r, "application/json")) {
        d->json = true;
        if (fhir_form_each(body, len, take_parameter, d) != ERR_OK)
            d->wrong = "the body is not one JSON object of texts";
    }
    if (d->wrong == NULL && is_blank(d->act.who))
        d->wrong = "by names who decided";
    if (d->wrong == NULL && is_blank(d->act.why))
        d->wrong = "why says the reason";
}

static bool verb_of(const char *word, enum quarantine_verb *verb)
{
    static const char *const words[] = { [QUARANTINE_MAP] = "map",
                                         [QUARANTINE_RELEASE] = "release",
                                         [QUARANTINE_DISCARD] = "discard",
                                         [QUARANTINE_UNMAP] = "unmap" };

    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(words[i], word) != 0)
            continue;
        *verb = (enum quarantine_verb)i;
        return true;
    }
    return false;
}

static void route_deed(struct service *s, struct http_request *r,
                       const char *item, const char *verb)
{
    struct deed_request *d =
        (struct deed_request *)exchange_new(s, r, sizeof(*d));

    if (d == NULL)
        return;
    d->x.release = release;
    buf_init(&d->act.text, (size_t)64 * 1024);
    d->act.site = site_of(s);
    if (!http_is_local(r)) {
        snprintf(d->x.allow, sizeof(d->x.allow), "GET, HEAD");
        outcome_add(&d->x.outcome, SEV_ERROR, "method", "",
                    "This is decided on the machine of the service");
        exchange_refuse(&d->x);
        return;
    }
    if (!verb_of(verb, &d->act.verb)) {
        outcome_add(&d->x.outcome, SEV_ERROR, "not-found", "",
                    "There is nothing under this path");
        exchange_refuse(&d->x);
        return;
    }
    read_parameters(d, r);
    take(d, d->act.item, sizeof(d->act.item), item);
    if (d->wrong != NULL) {
        outcome_add(&d->x.outcome, SEV_ERROR, "bad-parameter", "", "%s",
                    d->wrong);
        exchange_refuse(&d->x);
        return;
    }
    audit_request_act(&d->x.audit, "quarantine", verb);
    snprintf(d->x.audit.who, sizeof(d->x.audit.who), "%s", d->act.who);
    snprintf(d->x.audit.key, sizeof(d->x.audit.key), "%s", item);
    d->x.job = (struct store_job){ .run = run_deed, .done = on_deed, .arg = d };
    exchange_submit(&d->x);
}

/* An Observation may be named by its id as well: /quarantine/Observation/ID */
bool route_quarantine(struct service *s, struct http_request *r,
                      const char *const *parts, size_t count)
{
    const char *method = http_method(r);
    bool reads = strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
    bool by_id = count > 2 && strcmp(parts[1], "Observation") == 0;
    size_t named = by_id ? 3 : 2;
    char item[FID_SIZE + 16] = "";

    if (by_id)
        snprintf(item, sizeof(item), "%s/%s", parts[1], parts[2]);
    else if (count > 1)
        snprintf(item, sizeof(item), "%s", parts[1]);
    if (reads && count == 1)
        route_look(s, r, NULL);
    else if (reads && count == named)
        route_look(s, r, item);
    else if (strcmp(method, "POST") == 0 && count == named + 1)
        route_deed(s, r, item, parts[named]);
    else
        return false;
    return true;
}

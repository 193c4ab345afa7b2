#include "service/app.h"

#include "adapters/fhir_search.h"
#include "adapters/fhir_served.h"
#include "adapters/fhir_write.h"
#include "service/log.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

const char *type_word(enum fhir_type type)
{
    return search_type_word(type);
}

enum fhir_type type_by_word(const char *word)
{
    const struct fhir_served *served;

    for (size_t i = 0; (served = fhir_served(i)) != NULL; i++) {
        if (strcmp(search_type_word(served->type), word) == 0)
            return served->type;
    }
    return FHIR_OTHER;
}

static void refuse(struct service *s, struct http_request *r, const char *word,
                   const char *text)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));

    if (x == NULL)
        return;
    outcome_add(&x->outcome, SEV_ERROR, word, "", "%s", text);
    exchange_refuse(x);
}

/* allow: the methods that are offered, as RFC 9110, 15.5.6 asks for */
static void refuse_method(struct service *s, struct http_request *r,
                          const char *allow)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));

    if (x == NULL)
        return;
    snprintf(x->allow, sizeof(x->allow), "%s", allow);
    outcome_add(&x->outcome, SEV_ERROR, "method", "",
                "What is offered at this address: %s", allow);
    exchange_refuse(x);
}

/* What the HTTP server refuses before anyone here sees it. */
static const struct refusal {
    int status;
    const char *word, *text;
} refusals[] = {
    { 413, "too-long", "The body is larger than is taken here" },
    { 405, "method", "This method is not offered here" },
    { 503, "not-ready",
      "There is no room for more large bodies at the moment; nothing was "
      "stored" },
    { HTTP_CLOSING, "not-ready",
      "The service is stopping; it is not known whether this was stored: send "
      "it again" },
    { -1, "bad-request", "The request cannot be read as HTTP" },
};

static const struct refusal *refusal_of(int status)
{
    size_t i = 0;

    while (refusals[i].status >= 0 && refusals[i].status != status)
        i++;
    return &refusals[i];
}

void routes_refusal(void *arg, int status, struct buf *body,
                    const char **content_type)
{
    struct service *s = arg;
    struct outcome o;

    outcome_init(&o);
    outcome_add(&o, SEV_ERROR, refusal_of(status)->word, "", "%s",
                refusal_of(status)->text);
    fhir_write_outcome(s->config.fhir_base, &o, NULL, body);
    *content_type = "application/fhir+json; charset=utf-8";
    s->counters.refused++;
    log_event(LOG_DEBUG, "http.refused", KEY_INT("status", status),
              KEY_TABLE("why", refusal_of(status)->word));
}

/* A path taken apart: /fhir/Observation/o1/_history/2 */
struct path {
    char text[512];
    const char *parts[6];
    size_t count;
};

static bool split(const char *path, struct path *p)
{
    char *at = p->text;

    p->count = 0;
    if (strlen(path) >= sizeof(p->text))
        return false;
    snprintf(p->text, sizeof(p->text), "%s", path);
    while (*at != '\0') {
        at += strspn(at, "/");
        if (*at == '\0')
            break;
        if (p->count == COUNT(p->parts))
            return false;
        p->parts[p->count++] = at;
        at += strcspn(at, "/");
        if (*at != '\0')
            *at++ = '\0';
    }
    return true;
}

static bool is(const struct path *p, size_t i, const char *word)
{
    return i < p->count && strcmp(p->parts[i], word) == 0;
}

static bool is_read(const char *method)
{
    return strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
}

/* Is the word in the text, in capitals or not? */
static bool mentions(const char *text, const char *word)
{
    size_t len = strlen(word);

    while (*text != '\0' && strncasecmp(text, word, len) != 0)
        text++;
    return *text != '\0';
}

/* Only JSON is spoken here. */
static bool wants_other_format(const struct http_request *r)
{
    const char *accept = http_header(r, "Accept");
    const char *format = http_query(r, "_format");

    if (format != NULL)
        return !mentions(format, "json");
    return accept != NULL && accept[0] != '\0' && !mentions(accept, "json") &&
           !mentions(accept, "*/*") && !mentions(accept, "application/*");
}

static bool has_body(const struct http_request *r)
{
    size_t len;

    http_body(r, &len);
    return len > 0;
}

static bool sends_other_format(const struct http_request *r)
{
    return has_body(r) && http_header(r, "Content-Type") != NULL &&
           !http_sends(r, "application/fhir+json") &&
           !http_sends(r, "application/json");
}

/* One more method in the list of those that are offered. */
static void offer(char *list, size_t size, unsigned serves, unsigned bit,
                  const char *methods)
{
    size_t len = strlen(list);

    if ((serves & bit) == bit)
        snprintf(list + len, size - len, "%s%s", len > 0 ? ", " : "", methods);
}

/* What is offered on a path of one type; "": there is no such path. */
static void list_methods(const struct path *p, enum fhir_type type, char *list,
                         size_t size)
{
    unsigned serves = fhir_serves(type);

    list[0] = '\0';
    if (p->count == 2) {
        offer(list, size, serves, SERVE_SEARCH, "GET, HEAD");
        offer(list, size, serves, SERVE_CREATE, "POST");
        offer(list, size, serves, SERVE_CONDITIONAL, "PUT");
    } else if (p->count == 3 && is(p, 2, "_search")) {
        offer(list, size, serves, SERVE_SEARCH, "POST");
    } else if (p->count == 3 && is(p, 2, "_history")) {
        offer(list, size, serves, SERVE_HISTORY_TYPE, "GET, HEAD");
    } else if (p->count == 3) {
        offer(list, size, serves, SERVE_READ, "GET, HEAD");
        offer(list, size, serves, SERVE_UPDATE, "PUT");
        offer(list, size, serves, SERVE_PATCH, "PATCH");
    } else if (is(p, 3, "_history") && p->count < 6) {
        offer(list, size, serves, SERVE_READ, "GET, HEAD");
    }
}

static void refuse_path(struct service *s, struct http_request *r,
                        const struct path *p, enum fhir_type type)
{
    char list[64];

    list_methods(p, type, list, sizeof(list));
    if (list[0] != '\0')
        refuse_method(s, r, list);
    else
        refuse(s, r, "not-found", "There is nothing under this path");
}

/* /Task, /Task/_search, /Task/_history */
static bool route_type(struct service *s, struct http_request *r,
                       const struct path *p, enum fhir_type type)
{
    const char *method = http_method(r);
    unsigned serves = fhir_serves(type);
    bool searches = (serves & SERVE_SEARCH) != 0;
    bool posted =
        p->count == 3 && is(p, 2, "_search") && strcmp(method, "POST") == 0;

    /* What cannot be read must not pass for "no condition". */
    if (searches && posted && has_body(r) && !http_sends(r, FORM_TYPE))
        refuse(s, r, "media-type", "Send " FORM_TYPE);
    else if (searches && (posted || (p->count == 2 && is_read(method))))
        route_search(s, r, type);
    else if (p->count == 2 && strcmp(method, "POST") == 0 &&
             (serves & SERVE_CREATE) != 0)
        route_create(s, r, type);
    else if (p->count == 2 && strcmp(method, "PUT") == 0 &&
             (serves & SERVE_CONDITIONAL) != 0)
        route_update(s, r, type, NULL);
    else if (p->count == 3 && is(p, 2, "_history") && is_read(method) &&
             (serves & SERVE_HISTORY_TYPE) != 0)
        route_history(s, r, type, NULL);
    else
        return false;
    return true;
}

/* A change of one by PUT or PATCH. */
static bool route_change(struct service *s, struct http_request *r,
                         const struct path *p, enum fhir_type type)
{
    bool patch = strcmp(http_method(r), "PATCH") == 0;

    if (p->count != 3 || is(p, 2, "_search") || is(p, 2, "_history") ||
        (!patch && strcmp(http_method(r), "PUT") != 0) ||
        (fhir_serves(type) & (patch ? SERVE_PATCH : SERVE_UPDATE)) == 0)
        return false;
    if (type == FHIR_TASK)
        route_task_update(s, r, p->parts[2], patch);
    else
        route_update(s, r, type, p->parts[2]);
    return true;
}

static void route_resource(struct service *s, struct http_request *r,
                           const struct path *p, enum fhir_type type)
{
    bool reads = is_read(http_method(r));

    if (route_type(s, r, p, type) || route_change(s, r, p, type))
        return;
    if (p->count == 3 && reads && !is(p, 2, "_search") && !is(p, 2, "_history"))
        route_read(s, r, type, p->parts[2], NULL);
    else if (p->count == 4 && is(p, 3, "_history") && reads)
        route_history(s, r, type, p->parts[2]);
    else if (p->count == 5 && is(p, 3, "_history") && reads)
        route_read(s, r, type, p->parts[2], p->parts[4]);
    else
        refuse_path(s, r, p, type);
}

static void route_fhir(struct service *s, struct http_request *r,
                       const struct path *p)
{
    enum fhir_type type = p->count > 1 ? type_by_word(p->parts[1]) : FHIR_OTHER;
    /* a form, and a patch, are looked at where they are taken */
    bool is_other = is(p, 2, "_search") || strcmp(http_method(r), "PATCH") == 0;

    if (wants_other_format(r))
        refuse(s, r, "not-acceptable", "Only JSON is offered here");
    else if (!is_other && sends_other_format(r))
        refuse(s, r, "media-type", "Send application/fhir+json");
    else if (p->count == 1 && strcmp(http_method(r), "POST") == 0)
        route_bundle(s, r);
    else if (p->count == 2 && is(p, 1, "metadata") && is_read(http_method(r)))
        route_metadata(s, r);
    else if (p->count == 3 && is(p, 1, "SearchParameter") &&
             is(p, 2, FHIR_DUE_ID) && is_read(http_method(r)))
        route_search_param(s, r);
    else if (type != FHIR_OTHER)
        route_resource(s, r, p, type);
    else if (p->count == 1)
        refuse_method(s, r, "POST");
    else if (p->count == 2 && is(p, 1, "metadata"))
        refuse_method(s, r, "GET, HEAD");
    else
        refuse(s, r, "not-found", "This resource type is not kept here");
}

/* What is shown to people and programs of the site, by GET. */
static bool route_report(struct service *s, struct http_request *r,
                         const char *word)
{
    static const struct {
        const char *word;
        void (*route)(struct service *s, struct http_request *r);
    } reports[] = {
        { "metrics", route_metrics },     { "queue", route_queue },
        { "held", route_held },           { "decisions", route_decisions },
        { "review", route_review },       { "plan", route_plan },
        { "technique", route_technique }, { "outbox", route_outbox },
        { "incoming", route_incoming },   { "report", route_feed_report },
        { "digest", route_digest },       { "access", route_accesses },
        { "store", route_store },         { "patient", route_patient },
        { "audit", route_audit },         { "case", route_case }
    };

    for (size_t i = 0; i < COUNT(reports); i++) {
        if (strcmp(reports[i].word, word) == 0) {
            reports[i].route(s, r);
            return true;
        }
    }
    return false;
}

/* The record calls; see hook.h. */
static bool is_hook(const struct http_request *r, const struct path *p)
{
    const char *method = http_method(r);

    return (p->count == 1 && strcmp(method, "POST") == 0) ||
           (p->count == 3 &&
            (strcmp(method, "POST") == 0 || strcmp(method, "PUT") == 0));
}

/* A person's word, by POST. */
static bool route_word(struct service *s, struct http_request *r,
                       const char *word)
{
    static const struct {
        const char *word;
        void (*route)(struct service *s, struct http_request *r);
    } words[] = { { "technique", route_technique_switch },
                  { "hl7", route_hl7 },
                  { "outbox", route_outbox_act },
                  { "task", route_task_deed },
                  { "access", route_access_deed },
                  { "case", route_case },
                  { "store", route_store_act },
                  { "patient", route_patient_act } };

    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(words[i].word, word) == 0) {
            words[i].route(s, r);
            return true;
        }
    }
    return false;
}

void routes_head(void *arg, struct http_request *r)
{
    struct service *s = arg;
    struct path p;

    s->grant = (struct door_grant){ .scopes = NULL };
    if (http_is_local(r))
        return;
    if (!split(http_path(r), &p))
        refuse(s, r, "not-found", "There is nothing under this path");
    else if (route_is_open(r, p.parts, p.count))
        refuse(s, r, "too-long", "No body is taken at this address");
    else if (route_admit(s, r, p.parts, p.count))
        return; /* its body may come */
    s->counters.requests++;
}

void routes_handle(void *arg, struct http_request *r)
{
    struct service *s = arg;
    bool reads = is_read(http_method(r));
    bool is_metadata; /* open, as the standard wants it */
    struct path p;

    s->counters.requests++;
    s->grant = (struct door_grant){ .scopes = NULL }; /* not yet known */
    if (!split(http_path(r), &p)) {
        refuse(s, r, "not-found", "There is nothing under this path");
        return;
    }
    is_metadata =
        reads && p.count == 2 && is(&p, 0, "fhir") && is(&p, 1, "metadata");
    if (!route_unhurried(s, r, p.parts, p.count))
        return;
    if (p.count == 1 && reads && is(&p, 0, "healthz"))
        route_health(s, r);
    else if (p.count == 1 && reads && is(&p, 0, "readyz"))
        route_ready(s, r);
    else if (route_open(s, r, p.parts, p.count) ||
             (!is_metadata && !route_admit(s, r, p.parts, p.count)) ||
             (is(&p, 0, "quarantine") &&
              route_quarantine(s, r, p.parts, p.count)))
        return; /* answered */
    else if (is(&p, 0, "fhir"))
        route_fhir(s, r, &p);
    else if (is(&p, 0, "hook") && is_hook(r, &p))
        route_hook(s, r, p.count == 3 ? p.parts[1] : NULL,
                   p.count == 3 ? p.parts[2] : NULL);
    else if (p.count == 1 && is(&p, 0, "bulk") &&
             (strcmp(http_method(r), "POST") == 0 ||
              strcmp(http_method(r), "DELETE") == 0))
        route_bulk(s, r);
    else if (p.count != 1 || !(reads ? route_report(s, r, p.parts[0])
                                     : strcmp(http_method(r), "POST") == 0 &&
                                           route_word(s, r, p.parts[0])))
        refuse(s, r, "not-found", "There is nothing under this path");
}

#include "service/app.h"

#include "adapters/fhir_write.h"
#include "adapters/http_target.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

static const char fhir_json[] = "application/fhir+json; charset=utf-8";

int64_t clock_ms(void)
{
    struct timespec now;

    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

void http_date_write(int64_t at_s, char *out, size_t size)
{
    static const char *const days[] = { "Sun", "Mon", "Tue", "Wed",
                                        "Thu", "Fri", "Sat" };
    static const char *const months[] = { "Jan", "Feb", "Mar", "Apr",
                                          "May", "Jun", "Jul", "Aug",
                                          "Sep", "Oct", "Nov", "Dec" };
    time_t at = at_s;
    struct tm t;

    gmtime_r(&at, &t);
    snprintf(out, size, "%s, %02d %s %d %02d:%02d:%02d GMT", days[t.tm_wday],
             t.tm_mday, months[t.tm_mon], 1900 + t.tm_year, t.tm_hour, t.tm_min,
             t.tm_sec);
}

struct exchange *exchange_new(struct service *service,
                              struct http_request *request, size_t size)
{
    struct exchange *x = calloc(1, size);

    if (x == NULL) {
        http_reply(request, 503, NULL, 0, NULL, NULL, 0);
        return NULL;
    }
    x->service = service;
    x->request = request;
    outcome_init(&x->outcome);
    buf_init(&x->body, ANSWER_SIZE_MAX);
    return x;
}

void exchange_free(struct exchange *x)
{
    if (x->release != NULL)
        x->release(x);
    buf_clear(&x->body);
    free(x);
}

void exchange_answer(struct exchange *x, int status,
                     const struct http_header_line *lines, size_t count)
{
    if (status >= 400)
        x->service->counters.refused++;
    if (buf_ok(&x->body) != ERR_OK) {
        buf_clear(&x->body);
        buf_init(&x->body, ANSWER_SIZE_MAX);
        outcome_init(&x->outcome);
        outcome_add(&x->outcome, SEV_FATAL, "internal", "",
                    "The answer is larger than can be given");
        fhir_write_outcome(x->service->config.fhir_base, &x->outcome, NULL,
                           &x->body);
        status = 500;
    }
    http_reply(x->request, status, lines, count,
               x->body.len > 0 ? fhir_json : NULL,
               x->body.len > 0 ? x->body.data : NULL, x->body.len);
    exchange_free(x);
}

void exchange_refuse(struct exchange *x)
{
    static const struct http_header_line challenge = {
        "WWW-Authenticate", "Bearer realm=\"headgate\""
    };
    static const struct http_header_line later = { "Retry-After", "5" };
    const struct http_header_line allow = { "Allow", x->allow };
    int status = x->outcome.status != 0 ? x->outcome.status : 500;
    const struct http_header_line *line = status == 401      ? &challenge
                                          : status == 503    ? &later
                                          : x->allow != NULL ? &allow
                                                             : NULL;

    buf_empty(&x->body);
    fhir_write_outcome(x->service->config.fhir_base, &x->outcome, NULL,
                       &x->body);
    exchange_answer(x, status, line, line != NULL ? 1 : 0);
}

void exchange_failed(struct exchange *x, enum err e)
{
    outcome_init(&x->outcome);
    if (e == ERR_FORM || e == ERR_RANGE || e == ERR_LIMIT)
        outcome_add(&x->outcome, SEV_FATAL, "internal", "",
                    "Internal error; nothing was stored");
    else
        outcome_add(&x->outcome, SEV_ERROR, "not-ready", "",
                    "The store cannot take this now; nothing was stored");
    exchange_refuse(x);
}

void exchange_base(const struct exchange *x, struct buf *out)
{
    const char *host = http_header(x->request, "Host");

    if (host == NULL || host[0] == '\0' || strchr(host, '/') != NULL)
        host = "localhost";
    buf_printf(out, "http://%s/fhir", host);
}

bool http_sends(const struct http_request *r, const char *media_type)
{
    const char *type = http_header(r, "Content-Type");
    size_t len = strlen(media_type);

    return type != NULL && strncasecmp(type, media_type, len) == 0 &&
           strchr("; \t", type[len]) != NULL; /* or its end */
}

void http_form_each(const struct http_request *r,
                    void (*visit)(void *arg, const char *name,
                                  const char *value),
                    void *arg)
{
    struct http_target form;
    struct buf target;
    const char *body;
    size_t len;

    if (!http_sends(r, FORM_TYPE))
        return;
    body = http_body(r, &len);
    buf_init(&target, len + 16);
    buf_puts(&target, "/?");
    buf_add(&target, body, len);
    if (buf_ok(&target) != ERR_OK ||
        http_target_read(target.data, &form) != ERR_OK) {
        visit(arg, "_form", ""); /* is refused */
    } else {
        http_target_each(&form, visit, arg);
        http_target_clear(&form);
    }
    buf_clear(&target);
}

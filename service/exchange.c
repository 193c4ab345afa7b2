#include "service/app.h"

#include "adapters/fhir_write.h"
#include "adapters/http_target.h"
#include "adapters/json_pretty.h"
#include "service/log.h"
#include "service/request_line.h"

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

static const char *const months[] = {
    "Jan", "Feb", "Mar", "Apr", "May", "Jun",
    "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"
};

void http_date_write(int64_t at_s, char *out, size_t size)
{
    static const char *const days[] = { "Sun", "Mon", "Tue", "Wed",
                                        "Thu", "Fri", "Sat" };
    time_t at = at_s;
    struct tm t;

    gmtime_r(&at, &t);
    snprintf(out, size, "%s, %02d %s %d %02d:%02d:%02d GMT", days[t.tm_wday],
             t.tm_mday, months[t.tm_mon], 1900 + t.tm_year, t.tm_hour, t.tm_min,
             t.tm_sec);
}

bool http_date_read(const char *text, int64_t *at_s)
{
    static const char form[] = "Aaa, 99 Aaa 9999 99:99:99 GMT";
    char month[4], instant[32];
    struct fhir_time at;
    size_t m = 0;

    if (strlen(text) != sizeof(form) - 1)
        return false;
    for (size_t i = 0; form[i] != '\0'; i++) {
        if (form[i] == '9'
                ? text[i] < '0' || text[i] > '9'
                : form[i] != 'A' && form[i] != 'a' && form[i] != text[i])
            return false;
    }
    snprintf(month, sizeof(month), "%.3s", text + 8);
    while (m < COUNT(months) && strcmp(months[m], month) != 0)
        m++;
    snprintf(instant, sizeof(instant), "%.4s-%02zu-%.2sT%.8sZ", text + 12,
             m + 1, text + 5, text + 17);
    if (m == COUNT(months) ||
        fhir_instant_read(instant, strlen(instant), &at) != ERR_OK)
        return false;
    *at_s = at.start_s;
    return true;
}

struct exchange *exchange_new(struct service *service,
                              struct http_request *request, size_t size)
{
    struct exchange *x = calloc(1, size);

    if (x == NULL) {
        request_reply(request, 503, NULL, 0, NULL, NULL, 0);
        return NULL;
    }
    x->service = service;
    x->request = request;
    x->began_ns = log_now_ns();
    outcome_init(&x->outcome);
    buf_init(&x->body, ANSWER_SIZE_MAX);
    audit_request_open(&x->audit, service, request);
    return x;
}

/* What is shown or stored from here on is of this request. */
static enum err run_seen(struct db *db, void *arg)
{
    struct exchange *x = arg;
    enum err e = audit_whom_begin(db);

    x->audit.sees = true;
    return e == ERR_OK ? x->run(db, arg) : e;
}

void exchange_submit(struct exchange *x)
{
    if (x->job.run != run_seen) { /* not its next step */
        x->run = x->job.run;
        x->job.run = run_seen;
    }
    x->job.keep = audit_request_keep;
    store_submit(x->service->store, &x->job);
}

void exchange_free(struct exchange *x)
{
    if (x->release != NULL)
        x->release(x);
    buf_clear(&x->body);
    free(x);
}

void exchange_reply(struct exchange *x, int status,
                    const struct http_header_line *lines, size_t count,
                    const char *content_type, const char *body, size_t len)
{
    request_line(x->request, status, len, x->began_ns);
    http_reply(x->request, status, lines, count, content_type, body, len);
}

/* For a person who looks at it with a browser, or a debugger; if it would be
 * too long it stays as it is. */
static void make_pretty(struct exchange *x)
{
    const char *asked = http_query(x->request, "_pretty");
    struct buf pretty;

    if (asked == NULL || strcmp(asked, "true") != 0 || x->body.len == 0)
        return;
    buf_init(&pretty, ANSWER_SIZE_MAX);
    json_pretty(x->body.data, x->body.len, &pretty);
    if (buf_ok(&pretty) == ERR_OK) {
        buf_clear(&x->body);
        x->body = pretty;
    } else {
        buf_clear(&pretty);
    }
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
    make_pretty(x);
    exchange_reply(x, status, lines, count, x->body.len > 0 ? fhir_json : NULL,
                   x->body.len > 0 ? x->body.data : NULL, x->body.len);
    exchange_free(x);
}

void exchange_refuse(struct exchange *x)
{
    const struct http_header_line challenge = {
        "WWW-Authenticate",
        x->challenge[0] != '\0' ? x->challenge : "Bearer realm=\"headgate\""
    };
    static const struct http_header_line later = { "Retry-After", "5" };
    const struct http_header_line allow = { "Allow", x->allow };
    char seconds[16];
    const struct http_header_line slower = { "Retry-After", seconds };
    int status = x->outcome.status != 0 ? x->outcome.status : 500;
    const struct http_header_line *line = status == 401 || status == 403
                                              ? &challenge
                                          : status == 503       ? &later
                                          : status == 429       ? &slower
                                          : x->allow[0] != '\0' ? &allow
                                                                : NULL;

    snprintf(seconds, sizeof(seconds), "%d", x->retry_s);
    buf_empty(&x->body);
    fhir_write_outcome(x->service->config.fhir_base, &x->outcome, NULL,
                       &x->body);
    exchange_answer(x, status, line, line != NULL ? 1 : 0);
}

void exchange_later(struct exchange *x, const char *text)
{
    outcome_init(&x->outcome);
    outcome_add(&x->outcome, SEV_ERROR, "not-ready", "", "%s", text);
    exchange_refuse(x);
}

/* What a commit has written before its sync failed may be there after the next
 * start: only who knows that nothing was kept says so. */
void exchange_failed(struct exchange *x, enum err e)
{
    if (e == ERR_IO || e == ERR_STOPPED) {
        exchange_later(x, "The store has failed; it is not known whether this "
                          "was stored: send it again");
    } else if (e == ERR_FULL) {
        exchange_later(x, "The disk of the store is full, or may not be "
                          "written to; nothing was stored");
    } else if (e == ERR_FORM || e == ERR_RANGE || e == ERR_LIMIT) {
        outcome_init(&x->outcome);
        outcome_add(&x->outcome, SEV_FATAL, "internal", "",
                    "Internal error; nothing was stored");
        exchange_refuse(x);
    } else {
        exchange_later(x, "The store cannot take this now; nothing was stored");
    }
}

/* The last of a list with commas, which the nearest proxy has added; "" if it
 * is no name of a host with or without a port. */
static void cut_last(const char *list, char *out, size_t size)
{
    static const char host[] = "abcdefghijklmnopqrstuvwxyz"
                               "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._:[]";
    const char *last = strrchr(list, ',');
    size_t len;

    last = last != NULL ? last + 1 : list;
    last += strspn(last, " \t");
    len = strspn(last, host);
    out[0] = '\0';
    if (len < size && last[len + strspn(last + len, " \t")] == '\0')
        snprintf(out, size, "%.*s", (int)len, last);
}

/* Of all lines of that name, since a proxy may add a line of its own. */
static void last_host(const struct http_request *r, const char *name, char *out,
                      size_t size)
{
    struct buf list;

    out[0] = '\0';
    buf_init(&list, HTTP_LINES_MAX);
    if (http_header_all(r, name, &list) && buf_ok(&list) == ERR_OK)
        cut_last(list.data, out, size);
    buf_clear(&list);
}

void exchange_base(const struct exchange *x, struct buf *out)
{
    const struct http_request *r = x->request;
    const char *host = http_header(r, "Host");
    char proto[16] = "", name[300] = "";

    if (host == NULL || host[0] == '\0' || strchr(host, '/') != NULL)
        host = "localhost";
    if (gate_trusts(x->service->gate, r)) {
        last_host(r, "X-Forwarded-Proto", proto, sizeof(proto));
        last_host(r, "X-Forwarded-Host", name, sizeof(name));
    }
    if (strcasecmp(proto, "https") != 0 && strcasecmp(proto, "http") != 0)
        snprintf(proto, sizeof(proto), "%s", http_is_tls(r) ? "https" : "http");
    buf_printf(out, "%s://%s/fhir",
               strcasecmp(proto, "https") == 0 ? "https" : "http",
               name[0] != '\0' ? name : host);
}

bool http_sends(const struct http_request *r, const char *media_type)
{
    const char *type = http_header(r, "Content-Type");
    size_t len = strlen(media_type);

    return type != NULL && strncasecmp(type, media_type, len) == 0 &&
           strchr("; \t", type[len]) != NULL; /* or its end */
}

void http_query_add(struct buf *query, const char *name, const char *value)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyz"
                                "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~,:/";

    buf_printf(query, "%s%s=", query->len > 0 ? "&" : "", name);
    for (; *value != '\0'; value++) {
        if (strchr(plain, *value) != NULL)
            buf_add(query, value, 1);
        else
            buf_printf(query, "%%%02X", (unsigned)(unsigned char)*value);
    }
}

/* One preference of a list, "return=minimal", perhaps with quotes. */
static bool is_preference(const char *text, size_t len, const char *name,
                          const char *value)
{
    size_t name_len = strlen(name), value_len = strlen(value);

    if (len <= name_len || strncasecmp(text, name, name_len) != 0 ||
        text[name_len] != '=')
        return false;
    text += name_len + 1;
    len -= name_len + 1;
    if (len >= 2 && text[0] == '"' && text[len - 1] == '"') {
        text++;
        len -= 2;
    }
    return len == value_len && strncasecmp(text, value, len) == 0;
}

bool http_prefers(const struct http_request *r, const char *name,
                  const char *value)
{
    const char *at = http_header(r, "Prefer");

    while (at != NULL && *at != '\0') {
        size_t len;

        at += strspn(at, ",; \t");
        len = strcspn(at, ",; \t");
        if (is_preference(at, len, name, value))
            return true;
        at += len;
    }
    return false;
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

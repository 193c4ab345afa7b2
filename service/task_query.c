#include "service/task_query.h"

#include "adapters/fhir_time.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void task_query_init(struct task_query *q, const char *base, const char *self,
                     const struct zone *zone)
{
    *q = (struct task_query){ .from_ms = INT64_MIN,
                              .to_ms = INT64_MAX,
                              .count = TASK_PAGE_DEFAULT,
                              .base = base,
                              .self = self,
                              .zone = zone };
}

/* ---- tokens --------------------------------------------------------------- */

/* Is this the system, given in two parts? */
static bool is_system(const char *text, size_t len, const char *base,
                      const char *rest)
{
    size_t base_len = strlen(base);

    return len == base_len + strlen(rest) &&
           memcmp(text, base, base_len) == 0 &&
           memcmp(text + base_len, rest, len - base_len) == 0;
}

/* One of a list, at the end of it; one of another system matches nothing. */
static bool add_token(char list[TASK_LIST_SIZE], const char *value, size_t n,
                      const char *base, const char *rest)
{
    const char *bar = memchr(value, '|', n);
    const char *code = bar != NULL ? bar + 1 : value;
    size_t code_len = (size_t)(value + n - code);
    size_t len = strlen(list);

    if (bar != NULL && !is_system(value, (size_t)(bar - value), base, rest))
        return n > 1;
    if (code_len == 0 || len + code_len + 2 > TASK_LIST_SIZE)
        return false;
    memcpy(list + len, code, code_len);
    list[len + code_len] = ',';
    list[len + code_len + 1] = '\0';
    return true;
}

/* "c", "s|c", "s|", and lists of these; base and rest: the one system that
 * there is. */
static bool take_tokens(const char *value, char list[TASK_LIST_SIZE],
                        const char *base, const char *rest)
{
    size_t len = strlen(value);

    if (len > 1 && value[len - 1] == '|' && strchr(value, ',') == NULL &&
        is_system(value, len - 1, base, rest))
        return true; /* any code of the system: any at all */
    list[0] = ',';
    list[1] = '\0';
    for (;;) {
        size_t n = strcspn(value, ",");

        if (!add_token(list, value, n, base, rest))
            return false;
        if (value[n] == '\0')
            break;
        value += n + 1;
    }
    if (list[1] == '\0')
        memcpy(list, ",,", 3); /* none */
    return true;
}

/* ---- times ---------------------------------------------------------------- */

/* The fraction of the second: *at_ms, and how long it lasts as written. */
static void read_fraction(const char *text, int64_t *at_ms, int64_t *span_ms)
{
    const char *dot = strchr(text, '.');
    int64_t step = 1000;

    *at_ms = 0;
    *span_ms = step;
    if (dot == NULL)
        return;
    for (const char *c = dot; step > 1; step /= 10) {
        c++;
        if (*c < '0' || *c > '9')
            break;
        *at_ms += (*c - '0') * (step / 10);
    }
    *span_ms = step;
}

static void later(int64_t *bound_ms, int64_t ms)
{
    *bound_ms = ms > *bound_ms ? ms : *bound_ms;
}

static void earlier(int64_t *bound_ms, int64_t ms)
{
    *bound_ms = ms < *bound_ms ? ms : *bound_ms;
}

/* _lastUpdated=ge2026-01-01T00:00:00.000Z and the like; several are all to
 * hold. */
static bool take_updated(struct task_query *q, const char *value)
{
    static const struct {
        char prefix[3];
        char from, to; /* 's': not before, or before, its start; 'e': its end */
    } forms[] = { { "eq", 's', 'e' }, { "ge", 's', 0 }, { "gt", 'e', 0 },
                  { "sa", 'e', 0 },   { "le", 0, 'e' }, { "lt", 0, 's' },
                  { "eb", 0, 's' } };
    size_t i = 0;
    struct fhir_time at;
    int64_t start_ms, end_ms, fraction_ms, span_ms;

    if (value[0] >= 'a' && value[0] <= 'z') {
        while (i < COUNT(forms) && strncmp(value, forms[i].prefix, 2) != 0)
            i++;
        if (i == COUNT(forms))
            return false;
        value += 2;
    }
    if (fhir_time_read(value, strlen(value), q->zone, &at) != ERR_OK)
        return false;
    start_ms = at.start_s * 1000;
    end_ms = at.end_s * 1000;
    if (at.precision == AT_SECOND) {
        read_fraction(value, &fraction_ms, &span_ms);
        start_ms += fraction_ms;
        end_ms = start_ms + span_ms;
    }
    if (forms[i].from != 0)
        later(&q->from_ms, forms[i].from == 's' ? start_ms : end_ms);
    if (forms[i].to != 0)
        earlier(&q->to_ms, forms[i].to == 's' ? start_ms : end_ms);
    return true;
}

/* ---- the others ----------------------------------------------------------- */

static bool take_count(struct task_query *q, const char *value)
{
    char *end;
    long n = strtol(value, &end, 10);

    if (value[0] < '0' || value[0] > '9' || *end != '\0')
        return false;
    q->count = n > TASK_PAGE_MAX ? TASK_PAGE_MAX : (int)n;
    return true;
}

/* "p1", "Patient/p1", the same with our own address, or "system|value". */
static bool take_patient(struct task_query *q, const char *value)
{
    size_t len = strlen(q->self);

    if (value[0] == '\0' || strchr(value, ',') != NULL)
        return false;
    if (strncmp(value, q->self, len) == 0 && value[len] == '/')
        value += len + 1;
    return snprintf(q->patient, sizeof(q->patient), "%s%s",
                    strpbrk(value, "/|") != NULL ? "" : "Patient/",
                    value) < (int)sizeof(q->patient);
}

/* Our own handle of the page before. */
static bool take_after(struct task_query *q, const char *value)
{
    char *end;

    q->after = strtoll(value, &end, 36);
    return end != value && *end == '\0' && q->after >= 0;
}

/* Stands for a posted form that cannot be decoded. */
static bool take_broken(struct task_query *q, const char *value)
{
    (void)q;
    (void)value;
    return false;
}

static bool take_format(struct task_query *q, const char *value)
{
    (void)q;
    (void)value;
    return true; /* looked at by the routes */
}

/* ---- by name -------------------------------------------------------------- */

static bool take_id(struct task_query *q, const char *value)
{
    return strchr(value, '|') == NULL && take_tokens(value, q->id, "", "");
}

static bool take_key(struct task_query *q, const char *value)
{
    return take_tokens(value, q->key, q->base, "/NamingSystem/task-key");
}

static bool take_status(struct task_query *q, const char *value)
{
    return take_tokens(value, q->status, "http://hl7.org/fhir/task-status", "");
}

static bool take_priority(struct task_query *q, const char *value)
{
    return take_tokens(value, q->priority,
                       "http://hl7.org/fhir/request-priority", "");
}

static bool take_code(struct task_query *q, const char *value)
{
    return take_tokens(value, q->code, q->base, "/CodeSystem/av-task");
}

static const struct parameter {
    const char *name;
    bool (*take)(struct task_query *q, const char *value);
    unsigned once; /* the bit of what may come once; 0: any number */
} parameters[] = {
    { "_id", take_id, 1U << 0 },
    { "identifier", take_key, 1U << 1 },
    { "patient", take_patient, 1U << 2 },
    { "subject", take_patient, 1U << 2 },
    { "status", take_status, 1U << 3 },
    { "priority", take_priority, 1U << 4 },
    { "code", take_code, 1U << 5 },
    { "_lastUpdated", take_updated, 0 },
    { "_count", take_count, 1U << 6 },
    { "_after", take_after, 1U << 7 },
    { "_format", take_format, 0 },
    { "_pretty", take_format, 0 },
    { "_form", take_broken, 0 },
};

enum taken task_query_take(struct task_query *q, const char *name,
                           const char *value)
{
    size_t len = strcspn(name, ":.");

    for (size_t i = 0; i < COUNT(parameters); i++) {
        const struct parameter *p = &parameters[i];

        if (strlen(p->name) != len || strncmp(p->name, name, len) != 0)
            continue;
        if (name[len] != '\0')
            return TAKEN_MODIFIED;
        if ((q->given & p->once) != 0)
            return TAKEN_TWICE;
        q->given |= p->once;
        return p->take(q, value) ? TAKEN : TAKEN_NOT;
    }
    return TAKEN_UNKNOWN;
}

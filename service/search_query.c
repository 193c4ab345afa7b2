#include "service/search_query.h"

#include "service/search_values.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void search_query_init(struct search_query *q, enum fhir_type type,
                       const char *self, const struct zone *zone,
                       int64_t now_ms)
{
    q->type = type;
    q->condition_count = q->value_count = q->sort_count = 0;
    q->include_count = q->revinclude_count = 0;
    q->after = NULL;
    q->count = SEARCH_PAGE_DEFAULT;
    q->total = TOTAL_ACCURATE;
    q->now_ms = now_ms;
    q->given = 0;
    q->self = self;
    q->zone = zone;
    q->used = 0;
}

/* ---- how to answer ------------------------------------------------------ */

static enum taken take_count(struct search_query *q, const char *value)
{
    char *end;
    long n = strtol(value, &end, 10);

    if (value[0] < '0' || value[0] > '9' || *end != '\0')
        return TAKEN_NOT;
    /* "_summary=count" asks for no page, whatever its size were */
    if (q->count > 0)
        q->count = n > SEARCH_PAGE_MAX ? SEARCH_PAGE_MAX : (int)n;
    return TAKEN;
}

static enum taken take_one_sort(struct search_query *q, const char *name,
                                size_t len)
{
    struct search_sort *sort = &q->sorts[q->sort_count];

    if (q->sort_count == SEARCH_SORTS_MAX)
        return TAKEN_MANY;
    sort->down = len > 0 && name[0] == '-';
    name += sort->down ? 1 : 0;
    len -= sort->down ? 1 : 0;
    sort->param = search_param_named(q->type, name, len);
    if (sort->param == NULL || !sort->param->sorts)
        return TAKEN_NOT;
    q->sort_count++;
    return TAKEN;
}

static enum taken take_sort(struct search_query *q, const char *value)
{
    enum taken taken = TAKEN;

    for (; taken == TAKEN; value++) {
        size_t n = strcspn(value, ",");

        taken = take_one_sort(q, value, n);
        value += n;
        if (*value == '\0')
            break;
    }
    return taken;
}

static enum taken take_summary(struct search_query *q, const char *value)
{
    if (strcmp(value, "count") == 0)
        q->count = 0;
    return strcmp(value, "count") == 0 || strcmp(value, "false") == 0
               ? TAKEN
               : TAKEN_NOT;
}

static enum taken take_total(struct search_query *q, const char *value)
{
    if (strcmp(value, "none") == 0)
        q->total = TOTAL_NONE;
    /* what is exact is a good estimate */
    return strcmp(value, "none") == 0 || strcmp(value, "accurate") == 0 ||
                   strcmp(value, "estimate") == 0
               ? TAKEN
               : TAKEN_NOT;
}

/* Our own handle of the page before; read when the page is looked for. */
static enum taken take_after(struct search_query *q, const char *value)
{
    size_t len = strlen(value);
    char *start = q->text + q->used;

    if (len == 0 || strspn(value, "0123456789abcdef") != len)
        return TAKEN_NOT;
    if (len + 1 > SEARCH_TEXT_MAX - q->used)
        return TAKEN_MANY;
    memcpy(start, value, len + 1);
    q->used += len + 1;
    q->after = start;
    return TAKEN;
}

/* "Task:patient", "Task:patient:Patient": its parameter. */
static const struct search_param *read_include(const char *value, size_t *rest)
{
    size_t type_len = strcspn(value, ":");
    const char *name = value + type_len + (value[type_len] == ':' ? 1 : 0);
    size_t name_len = strcspn(name, ":");

    *rest = (size_t)(name - value) + name_len;
    for (int t = FHIR_OBSERVATION; t <= FHIR_PROVENANCE; t++) {
        const char *word = search_type_word((enum fhir_type)t);

        if (strlen(word) == type_len && type_len > 0 &&
            memcmp(word, value, type_len) == 0)
            return search_param_named((enum fhir_type)t, name, name_len);
    }
    return NULL;
}

static enum taken add_include(const struct search_param *list[], size_t *count,
                              const struct search_param *p)
{
    for (size_t i = 0; i < *count; i++) {
        if (list[i]->number == p->number)
            return TAKEN; /* two names of one element */
    }
    if (*count == SEARCH_INCLUDES_MAX)
        return TAKEN_MANY;
    list[(*count)++] = p;
    return TAKEN;
}

static enum taken take_include(struct search_query *q, const char *value)
{
    size_t rest;
    const struct search_param *p = read_include(value, &rest);

    if (p == NULL || !p->includes || p->type != q->type)
        return TAKEN_NOT;
    if (value[rest] == ':' &&
        !search_has_target(p, value + rest + 1, strlen(value + rest + 1)))
        return TAKEN_NOT;
    return add_include(q->includes, &q->include_count, p);
}

static enum taken take_revinclude(struct search_query *q, const char *value)
{
    size_t rest;
    const struct search_param *p = read_include(value, &rest);
    const struct search_param *known;

    for (size_t i = 0; p != NULL && value[rest] == '\0'; i++) {
        known = search_revinclude(q->type, i);
        if (known == p)
            return add_include(q->revincludes, &q->revinclude_count, p);
        if (known == NULL)
            break;
    }
    return TAKEN_NOT;
}

/* Stands for a posted form that cannot be decoded. */
static enum taken take_broken(struct search_query *q, const char *value)
{
    (void)q;
    (void)value;
    return TAKEN_NOT;
}

static enum taken take_format(struct search_query *q, const char *value)
{
    (void)q;
    (void)value;
    return TAKEN; /* looked at by the routes */
}

static const struct control {
    const char *name;
    enum taken (*take)(struct search_query *q, const char *value);
    bool once;
} controls[] = {
    { "_count", take_count, true },
    { "_sort", take_sort, true },
    { "_summary", take_summary, true },
    { "_total", take_total, true },
    { "_include", take_include, false },
    { "_revinclude", take_revinclude, false },
    { "_after", take_after, true },
    { "_format", take_format, false },
    { "_pretty", take_format, false },
    { "_form", take_broken, false },
};

bool search_query_pages(const char *name)
{
    return strcmp(name, "_after") == 0;
}

/* ---- what to find ------------------------------------------------------- */

/* What follows the name: a modifier, a type, a chain. */
static enum taken read_modifier(const char *rest, struct search_condition *c,
                                const char **type, size_t *type_len)
{
    const struct search_param *p = c->param;
    bool refers = p->form == SEARCH_REFERENCE;

    *type = NULL;
    *type_len = 0;
    if (strcmp(rest, ":not") == 0 && p->form == SEARCH_TOKEN) {
        c->modifier = SEARCH_NOT;
    } else if (strcmp(rest, ":missing") == 0 && p->number != 0) {
        c->modifier = SEARCH_MISSING;
    } else if (strcmp(rest, ":identifier") == 0 && refers) {
        c->modifier = SEARCH_BY_IDENTIFIER;
    } else if (p->of_patient && (strcmp(rest, ".identifier") == 0 ||
                                 strcmp(rest, ":Patient.identifier") == 0)) {
        c->modifier = SEARCH_BY_NUMBER;
    } else if (refers && rest[0] == ':' &&
               search_has_target(p, rest + 1, strlen(rest + 1))) {
        *type = rest + 1;
        *type_len = strlen(rest + 1);
    } else if (rest[0] != '\0') {
        return TAKEN_MODIFIED;
    }
    return TAKEN;
}

static enum taken take_condition(struct search_query *q,
                                 const struct search_param *p, const char *rest,
                                 const char *value)
{
    struct search_condition c = { .param = p, .modifier = SEARCH_PLAIN };
    const char *type;
    size_t type_len;
    enum taken taken = read_modifier(rest, &c, &type, &type_len);

    if (taken == TAKEN && q->condition_count == SEARCH_CONDITIONS_MAX)
        taken = TAKEN_MANY;
    if (taken == TAKEN)
        taken = search_values_take(q, &c, type, type_len, value);
    if (taken == TAKEN)
        q->conditions[q->condition_count++] = c;
    return taken;
}

enum taken search_query_take(struct search_query *q, const char *name,
                             const char *value)
{
    size_t len = strcspn(name, ":.");
    const struct search_param *p = search_param_named(q->type, name, len);

    if (p != NULL)
        return take_condition(q, p, name + len, value);
    for (size_t i = 0; i < COUNT(controls); i++) {
        if (strlen(controls[i].name) != len ||
            strncmp(controls[i].name, name, len) != 0)
            continue;
        if (name[len] != '\0')
            return TAKEN_MODIFIED;
        if (controls[i].once && (q->given & 1U << i) != 0)
            return TAKEN_TWICE;
        q->given |= 1U << i;
        return controls[i].take(q, value);
    }
    return TAKEN_UNKNOWN;
}

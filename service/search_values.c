#include "service/search_values.h"

#include <stdio.h>
#include <string.h>

/* ---- room --------------------------------------------------------------- */

static struct search_value *new_value(struct search_query *q,
                                      struct search_condition *c)
{
    struct search_value *v;

    if (q->value_count == SEARCH_VALUES_MAX)
        return NULL;
    v = &q->values[q->value_count++];
    *v = (struct search_value){ .prefix = SEARCH_EQ };
    c->count++;
    return v;
}

/* A text without the backslashes that kept its characters apart. */
static const char *keep(struct search_query *q, const char *text, size_t len)
{
    char *start = q->text + q->used;

    if (len + 1 > SEARCH_TEXT_MAX - q->used)
        return NULL;
    for (size_t i = 0; i < len; i++) {
        if (text[i] == '\\' && i + 1 < len && strchr(",|$\\", text[i + 1]))
            i++;
        q->text[q->used++] = text[i];
    }
    q->text[q->used++] = '\0';
    return start;
}

/* How far it is to a character that stands for itself. */
static size_t span_to(const char *text, size_t len, char stop)
{
    size_t i = 0;

    while (i < len && text[i] != stop)
        i += text[i] == '\\' && i + 1 < len ? 2 : 1;
    return i < len ? i : len;
}

/* ---- forms -------------------------------------------------------------- */

/* "c", "s|c", "|c", "s|" */
static enum taken take_token(struct search_query *q, struct search_condition *c,
                             const char *text, size_t len)
{
    size_t bar = span_to(text, len, '|');
    struct search_value *v;

    if (len == 0 || (len == 1 && bar == 0))
        return TAKEN_NOT;
    v = new_value(q, c);
    if (v == NULL)
        return TAKEN_MANY;
    if (bar == len) {
        v->value = keep(q, text, len);
        return v->value != NULL ? TAKEN : TAKEN_MANY;
    }
    v->system = keep(q, text, bar);
    if (bar + 1 < len)
        v->value = keep(q, text + bar + 1, len - bar - 1);
    return v->system != NULL && (bar + 1 == len || v->value != NULL)
               ? TAKEN
               : TAKEN_MANY;
}

static enum taken take_id(struct search_query *q, struct search_condition *c,
                          const char *text, size_t len)
{
    if (span_to(text, len, '|') != len)
        return TAKEN_NOT;
    return take_token(q, c, text, len);
}

/* "Type/id" of each type that it may name, or of the one that is said. */
static enum taken take_bare_id(struct search_query *q,
                               struct search_condition *c, const char *types,
                               size_t types_len, const char *text, size_t len)
{
    enum taken taken = TAKEN;

    while (taken == TAKEN && types_len > 0) {
        size_t n = span_to(types, types_len, ' ');
        struct search_value *v = new_value(q, c);
        char *start = q->text + q->used;
        size_t room = SEARCH_TEXT_MAX - q->used;

        if (v == NULL || n + len + 2 > room)
            return TAKEN_MANY;
        q->used += (size_t)snprintf(start, room, "%.*s/%.*s", (int)n, types,
                                    (int)len, text) +
                   1;
        v->value = start;
        types += n < types_len ? n + 1 : n;
        types_len -= n < types_len ? n + 1 : n;
    }
    return taken;
}

/*
 * "p1", "Patient/p1", the same with our own address, or another address.  A
 * person may also be named by a number, "system|value", which no reference
 * is.
 */
static enum taken take_reference(struct search_query *q,
                                 struct search_condition *c, const char *type,
                                 size_t type_len, const char *text, size_t len)
{
    size_t self_len = strlen(q->self);
    struct search_value *v;

    if (len == 0)
        return TAKEN_NOT;
    if (c->param->of_patient && span_to(text, len, '|') < len)
        return take_token(q, c, text, len);
    if (len > self_len && memcmp(text, q->self, self_len) == 0 &&
        text[self_len] == '/') {
        text += self_len + 1;
        len -= self_len + 1;
    }
    if (memchr(text, '/', len) == NULL && memchr(text, ':', len) == NULL)
        return type != NULL
                   ? take_bare_id(q, c, type, type_len, text, len)
                   : take_bare_id(q, c, c->param->targets,
                                  strlen(c->param->targets), text, len);
    /* "subject:Patient=" with another type names nothing */
    if (type != NULL && (len <= type_len || memcmp(text, type, type_len) != 0 ||
                         text[type_len] != '/'))
        return TAKEN_NOT;
    v = new_value(q, c);
    if (v == NULL)
        return TAKEN_MANY;
    v->value = keep(q, text, len);
    return v->value != NULL ? TAKEN : TAKEN_MANY;
}

static enum taken take_date(struct search_query *q, struct search_condition *c,
                            const char *text, size_t len)
{
    static const char prefixes[][3] = {
        [SEARCH_EQ] = "eq", [SEARCH_NE] = "ne", [SEARCH_GT] = "gt",
        [SEARCH_LT] = "lt", [SEARCH_GE] = "ge", [SEARCH_LE] = "le",
        [SEARCH_SA] = "sa", [SEARCH_EB] = "eb", [SEARCH_AP] = "ap"
    };
    struct search_value *v = new_value(q, c);
    size_t i = 0;
    char date[64];

    if (v == NULL)
        return TAKEN_MANY;
    if (len > 2 && text[0] >= 'a' && text[0] <= 'z') {
        while (i < COUNT(prefixes) && memcmp(text, prefixes[i], 2) != 0)
            i++;
        if (i == COUNT(prefixes))
            return TAKEN_NOT;
        text += 2;
        len -= 2;
    }
    if (len == 0 || len >= sizeof(date))
        return TAKEN_NOT;
    v->prefix = (enum search_prefix)i;
    snprintf(date, sizeof(date), "%.*s", (int)len, text);
    return fhir_search_span(date, q->zone, &v->from_ms, &v->to_ms) == ERR_OK
               ? TAKEN
               : TAKEN_NOT;
}

static enum taken take_missing(struct search_condition *c, const char *text)
{
    c->missing = strcmp(text, "true") == 0;
    return c->missing || strcmp(text, "false") == 0 ? TAKEN : TAKEN_NOT;
}

static enum taken take_one(struct search_query *q, struct search_condition *c,
                           const char *type, size_t type_len, const char *text,
                           size_t len)
{
    if (c->modifier == SEARCH_BY_IDENTIFIER || c->modifier == SEARCH_BY_NUMBER)
        return take_token(q, c, text, len);
    switch (c->param->form) {
    case SEARCH_ID:
        return take_id(q, c, text, len);
    case SEARCH_TOKEN:
        return take_token(q, c, text, len);
    case SEARCH_REFERENCE:
        return take_reference(q, c, type, type_len, text, len);
    case SEARCH_UPDATED:
    case SEARCH_DATE:
        break;
    }
    return take_date(q, c, text, len);
}

enum taken search_values_take(struct search_query *q,
                              struct search_condition *c, const char *type,
                              size_t type_len, const char *text)
{
    size_t len = strlen(text);
    enum taken taken = TAKEN;

    c->first = q->value_count;
    c->count = 0;
    if (c->modifier == SEARCH_MISSING)
        return take_missing(c, text);
    for (;;) {
        size_t n = span_to(text, len, ',');

        taken = take_one(q, c, type, type_len, text, n);
        if (taken != TAKEN || n == len)
            return taken;
        text += n + 1;
        len -= n + 1;
    }
}

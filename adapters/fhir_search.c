#include "adapters/fhir_search.h"

#include "adapters/fhir_json.h"

#include <string.h>

/* ---- times -------------------------------------------------------------- */

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

enum err fhir_search_span(const char *text, const struct zone *zone,
                          int64_t *from_ms, int64_t *to_ms)
{
    struct fhir_time at;
    struct zone *utc = NULL;
    int64_t fraction_ms, span_ms;
    enum err e = zone == NULL ? zone_load("UTC", &utc) : ERR_OK;

    if (e == ERR_OK)
        e = fhir_time_read(text, strlen(text), zone != NULL ? zone : utc, &at);
    zone_free(utc);
    if (e != ERR_OK)
        return e;
    *from_ms = at.start_s * 1000;
    *to_ms = at.end_s * 1000;
    if (at.precision == AT_SECOND) {
        read_fraction(text, &fraction_ms, &span_ms);
        *from_ms += fraction_ms;
        *to_ms = *from_ms + span_ms;
    }
    return ERR_OK;
}

/* ---- values ------------------------------------------------------------- */

struct visit {
    const struct search_param *param;
    const struct search_site *site;
    search_found_fn fn;
    void *arg;
};

static enum err say_token(const struct visit *v, int number, const char *system,
                          const char *value, size_t len)
{
    char copy[SEARCH_VALUE_MAX + 1];
    struct search_found f = { .number = number,
                              .system = system != NULL ? system : "",
                              .value = copy };

    if (len == 0 || len > SEARCH_VALUE_MAX ||
        strlen(f.system) > SEARCH_VALUE_MAX)
        return ERR_OK;
    memcpy(copy, value, len);
    copy[len] = '\0';
    return v->fn(v->arg, &f);
}

static enum err say_identifier(const struct visit *v, int number,
                               json_t *identifier)
{
    const char *value = fhir_string(identifier, "value");

    return value == NULL
               ? ERR_OK
               : say_token(v, number, fhir_string(identifier, "system"), value,
                           strlen(value));
}

static enum err say_concept(const struct visit *v, json_t *concept)
{
    enum err e = ERR_OK;
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(concept, "coding"), i, coding)
    {
        const char *code = fhir_string(coding, "code");

        if (e == ERR_OK && code != NULL)
            e = say_token(v, v->param->number, fhir_string(coding, "system"),
                          code, strlen(code));
    }
    return e;
}

const char *fhir_search_plain(const char *reference, const char *self)
{
    size_t len = self != NULL ? strlen(self) : 0;

    return len > 0 && strncmp(reference, self, len) == 0 &&
                   reference[len] == '/'
               ? reference + len + 1
               : reference;
}

/* What it names, whichever version of it; and the identifier beside. */
static enum err say_reference(const struct visit *v, json_t *reference)
{
    const char *said = fhir_string(reference, "reference");
    const char *literal =
        said != NULL ? fhir_search_plain(said, v->site->self) : NULL;
    const char *history =
        literal != NULL ? strstr(literal, "/_history/") : NULL;
    enum err e = ERR_OK;

    if (literal != NULL && literal[0] != '#')
        e = say_token(v, v->param->number, NULL, literal,
                      history != NULL ? (size_t)(history - literal)
                                      : strlen(literal));
    if (e == ERR_OK)
        e = say_identifier(v, v->param->number + SEARCH_OF_IDENTIFIER,
                           json_object_get(reference, "identifier"));
    return e;
}

/* A date that cannot be read was never taken; nothing is found by it. */
static enum err say_time(const struct visit *v, json_t *node)
{
    struct search_found f = { .number = v->param->number,
                              .is_span = true,
                              .system = "",
                              .value = "",
                              .from_ms = INT64_MIN,
                              .to_ms = INT64_MAX };
    const char *start = json_is_string(node) ? json_string_value(node)
                                             : fhir_string(node, "start");
    const char *end = json_is_string(node) ? start : fhir_string(node, "end");
    int64_t other;

    if (start == NULL && end == NULL)
        return ERR_OK;
    if (start != NULL &&
        fhir_search_span(start, v->site->zone, &f.from_ms, &other) != ERR_OK)
        return ERR_OK;
    if (end != NULL &&
        fhir_search_span(end, v->site->zone, &other, &f.to_ms) != ERR_OK)
        return ERR_OK;
    return v->fn(v->arg, &f);
}

static enum err say(const struct visit *v, json_t *node)
{
    const char *code = json_string_value(node);

    switch (v->param->what) {
    case WHAT_CODE:
        return code == NULL ? ERR_OK
                            : say_token(v, v->param->number, v->param->system,
                                        code, strlen(code));
    case WHAT_CONCEPT:
        return say_concept(v, node);
    case WHAT_IDENTIFIER:
        return say_identifier(v, v->param->number, node);
    case WHAT_REFERENCE:
        return say_reference(v, node);
    case WHAT_TIME:
        return say_time(v, node);
    case WHAT_NOTHING:
        break;
    }
    return ERR_OK;
}

/* ---- places ------------------------------------------------------------- */

/* The items of a list, or the one that there is. */
static enum err say_all(const struct visit *v, json_t *node)
{
    enum err e = ERR_OK;
    json_t *item;
    size_t i;

    if (node == NULL)
        return ERR_OK;
    if (!json_is_array(node))
        return say(v, node);
    json_array_foreach(node, i, item)
    {
        if (e == ERR_OK)
            e = say(v, item);
    }
    return e;
}

/* Down a path of members, none of which is a list but the last. */
static enum err walk(const struct visit *v, json_t *node, const char *path,
                     size_t len)
{
    char key[64];

    while (len > 0) {
        size_t n = 0;

        while (n < len && path[n] != '.')
            n++;
        if (n >= sizeof(key))
            return ERR_OK;
        memcpy(key, path, n);
        key[n] = '\0';
        node = json_object_get(node, key);
        path += n < len ? n + 1 : n;
        len -= n < len ? n + 1 : n;
    }
    return say_all(v, node);
}

static enum err visit_param(const struct visit *v, json_t *root)
{
    const char *path = v->param->path;
    enum err e = ERR_OK;

    while (e == ERR_OK && path != NULL) {
        size_t n = strcspn(path, " ");

        e = walk(v, root, path, n);
        path = path[n] == ' ' ? path + n + 1 : NULL;
    }
    return e;
}

static enum err visit_all(struct visit *v, enum fhir_type type, json_t *root)
{
    enum err e = ERR_OK;
    int last = 0;

    for (size_t i = 0; e == ERR_OK; i++) {
        v->param = search_param(type, i);
        if (v->param == NULL)
            break;
        /* two names of one element stand one after the other */
        if (v->param->number != 0 && v->param->number != last)
            e = visit_param(v, root);
        last = v->param->number;
    }
    return e;
}

enum err fhir_search_visit(enum fhir_type type, const char *json, size_t len,
                           const struct search_site *site, search_found_fn fn,
                           void *arg)
{
    struct outcome outcome; /* what came was judged when it came */
    struct visit v = { .site = site, .fn = fn, .arg = arg };
    json_t *root = NULL;
    enum err e;

    if (search_param(type, 0) == NULL)
        return ERR_OK;
    outcome_init(&outcome);
    e = fhir_load(json, len, &outcome, &root);
    if (e == ERR_OK)
        e = visit_all(&v, type, root);
    json_decref(root);
    return e;
}

enum err fhir_search_visit_item(const struct fhir_item *item,
                                const struct search_site *site,
                                search_found_fn fn, void *arg)
{
    struct visit v = { .site = site, .fn = fn, .arg = arg };

    return visit_all(&v, item->type, item->tree);
}

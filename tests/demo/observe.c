#include "tests/demo/observe.h"

#include "adapters/civil.h"
#include "adapters/fhir_time.h"
#include "adapters/units.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *text_of(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));

    return text != NULL ? text : "";
}

static json_t *first_of(const json_t *object, const char *key)
{
    return json_array_get(json_object_get(object, key), 0);
}

/* "0101" of "Patient/p-0101" or of an identifier, "0101-2" of "A-0101-2". */
static const char *key_of(const json_t *reference, const char *prefix)
{
    const char *literal = text_of(reference, "reference");
    const char *value =
        text_of(json_object_get(reference, "identifier"), "value");
    size_t len = strlen(prefix);

    if (strncmp(literal, prefix, len) == 0)
        return literal + len;
    return strncmp(value, "A-", 2) == 0 ? value + 2 : value;
}

static bool is_later_version(const char *status)
{
    return strcmp(status, "corrected") == 0 ||
           strcmp(status, "entered-in-error") == 0;
}

static enum method method_of(const struct codes *codes, json_t *method,
                             struct observed_feed *feed)
{
    json_t *coding = first_of(method, "coding");
    enum method m;

    if (method == NULL)
        return METHOD_UNSTATED;
    m = coding != NULL
            ? codes_method(codes, text_of(coding, "system"),
                           text_of(coding, "code"), CODES_NEWEST)
            : codes_method_text(codes, text_of(method, "text"), CODES_NEWEST);
    feed->unknown_methods += m == METHOD_UNSTATED;
    return m;
}

/* The value of an Observation or a component; false if its unit does not
 * fit. */
static bool read_value(const struct codes *codes, const json_t *at,
                       struct observed *o)
{
    json_t *quantity = json_object_get(at, "valueQuantity");
    json_t *flag = json_object_get(at, "valueBoolean");
    json_t *coding =
        first_of(json_object_get(at, "valueCodeableConcept"), "coding");
    const char *unit = text_of(quantity, "code");

    o->value = NAN;
    if (coding != NULL) {
        o->sign = codes_sign(codes, o->quantity, text_of(coding, "system"),
                             text_of(coding, "code"), CODES_NEWEST);
        return o->sign != SIGN_NONE;
    }
    if (flag != NULL) {
        o->value = json_is_true(flag) ? 1.0 : 0.0;
        return json_is_boolean(flag);
    }
    if (strcmp(text_of(quantity, "comparator"), ">") == 0)
        o->bound = BOUND_ABOVE;
    if (o->quantity == Q_NONE)
        return quantity != NULL;
    return units_convert(o->quantity, unit, strlen(unit),
                         json_number_value(json_object_get(quantity, "value")),
                         &o->value) == ERR_OK;
}

static enum err add(struct observed_feed *feed, const struct codes *codes,
                    const json_t *at, struct observed o)
{
    json_t *coding = first_of(json_object_get(at, "code"), "coding");
    struct code_entry entry = codes_find(codes, text_of(coding, "system"),
                                         text_of(coding, "code"), CODES_NEWEST);

    if (feed->count == OBSERVED_MAX)
        return ERR_LIMIT;
    if (entry.meaning == CODE_QUANTITY)
        o.quantity = entry.quantity;
    else
        feed->unknown_codes++;
    if (strcmp(o.status, "entered-in-error") != 0 && !read_value(codes, at, &o))
        return ERR_FORM;
    feed->list[feed->count++] = o;
    return ERR_OK;
}

static void replace_earlier(struct observed_feed *feed, const char *name)
{
    for (size_t i = 0; i < feed->count; i++)
        if (strcmp(feed->list[i].name, name) == 0)
            feed->list[i].replaced = true;
}

static enum err read_head(const struct observer *by, const json_t *root,
                          struct observed_feed *feed, struct observed *o)
{
    json_t *identifier = first_of(root, "identifier");
    const char *at = text_of(root, "effectiveDateTime");
    struct fhir_time time;

    *o = (struct observed){ .quantity = Q_NONE, .ago_days = NAN };
    snprintf(o->name, sizeof(o->name), "%s|%s", text_of(identifier, "system"),
             text_of(identifier, "value"));
    snprintf(o->status, sizeof(o->status), "%s", text_of(root, "status"));
    snprintf(o->access, sizeof(o->access), "%s",
             key_of(first_of(root, "focus"), "BodyStructure/acc-"));
    o->patient = (int)strtol(
        key_of(json_object_get(root, "subject"), "Patient/p-"), NULL, 10);
    o->method = method_of(by->codes, json_object_get(root, "method"), feed);
    if (o->patient == 0 || o->status[0] == '\0')
        return ERR_FORM;
    if (strcmp(o->status, "entered-in-error") == 0)
        return ERR_OK;
    if (fhir_time_read(at, strlen(at), by->zone, &time) != ERR_OK)
        return ERR_FORM;
    o->ago_days = (double)(by->end_day * DAY_S - time.start_s) / (double)DAY_S;
    return ERR_OK;
}

static enum err read_observation(const struct observer *by,
                                 struct observed_feed *feed, const json_t *root)
{
    json_t *components = json_object_get(root, "component");
    struct observed o;
    enum err e = read_head(by, root, feed, &o);

    if (e != ERR_OK)
        return e;
    feed->observations++;
    if (is_later_version(o.status))
        replace_earlier(feed, o.name);
    if (components == NULL)
        return add(feed, by->codes, root, o);
    for (size_t i = 0; e == ERR_OK && i < json_array_size(components); i++)
        e = add(feed, by->codes, json_array_get(components, i), o);
    return e;
}

enum err observe_line(const struct observer *by, struct observed_feed *feed,
                      const char *line, size_t len)
{
    json_t *root = json_loadb(line, len, JSON_REJECT_DUPLICATES, NULL);
    const char *type = text_of(root, "resourceType");
    enum err e = ERR_OK;

    if (strcmp(type, "Patient") == 0)
        feed->patients++;
    else if (strcmp(type, "BodyStructure") == 0)
        feed->accesses++;
    else if (strcmp(type, "Observation") == 0)
        e = read_observation(by, feed, root);
    else
        e = ERR_FORM;
    json_decref(root);
    return e;
}

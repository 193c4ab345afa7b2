#include "adapters/fhir_notification.h"

#include "adapters/fhir_json.h"

#include <string.h>

static const char *const types[NOTIFICATION_TYPE_COUNT] = {
    [NOTIFICATION_HANDSHAKE] = "handshake",
    [NOTIFICATION_HEARTBEAT] = "heartbeat",
    [NOTIFICATION_EVENT] = "event-notification",
    [NOTIFICATION_QUERY_STATUS] = "query-status",
    [NOTIFICATION_QUERY_EVENT] = "query-event",
};

static enum err read_type(const char *word, struct fhir_notification *n)
{
    for (size_t i = 0; word != NULL && i < NOTIFICATION_TYPE_COUNT; i++) {
        if (strcmp(types[i], word) == 0) {
            n->type = (enum notification_type)i;
            return ERR_OK;
        }
    }
    return ERR_FORM;
}

/* A counter as a string of digits or as a number; -1: neither. */
static int64_t read_count(json_t *value)
{
    enum { DIGITS_MAX = 18 };
    const char *text = json_string_value(value);
    int64_t count = 0;

    if (json_is_integer(value))
        return json_integer_value(value) >= 0 ? json_integer_value(value) : -1;
    if (text == NULL || text[0] == '\0' || strlen(text) > DIGITS_MAX)
        return -1;
    for (; *text != '\0'; text++) {
        if (*text < '0' || *text > '9')
            return -1;
        count = count * 10 + (*text - '0');
    }
    return count;
}

static const char *reference_of(json_t *reference)
{
    return fhir_string(reference, "reference");
}

static struct notification_event *add_event(struct fhir_notification *n)
{
    if (n->count == NOTIFICATION_EVENTS_MAX)
        return NULL;
    n->list[n->count] = (struct notification_event){ .number = -1 };
    return &n->list[n->count++];
}

/* ---- R4: Parameters ------------------------------------------------------ */

/* Any of the ways in which a parameter may carry a count. */
static int64_t parameter_count(json_t *parameter)
{
    static const char *const keys[] = { "valueString", "valueInteger64",
                                        "valueUnsignedInt", "valueInteger",
                                        "valueDecimal" };

    for (size_t i = 0; i < COUNT(keys); i++) {
        json_t *value = json_object_get(parameter, keys[i]);

        if (value != NULL)
            return read_count(value);
    }
    return -1;
}

static enum err read_event_parameter(json_t *parameter,
                                     struct fhir_notification *n)
{
    struct notification_event *event = add_event(n);
    json_t *part;
    size_t i;

    if (event == NULL)
        return ERR_LIMIT;
    json_array_foreach(json_object_get(parameter, "part"), i, part)
    {
        if (fhir_is(part, "name", "event-number"))
            event->number = parameter_count(part);
        else if (fhir_is(part, "name", "focus"))
            event->focus =
                reference_of(json_object_get(part, "valueReference"));
    }
    return ERR_OK;
}

static enum err read_parameters(json_t *resource, struct fhir_notification *n)
{
    const char *type = NULL;
    json_t *parameter;
    enum err e = ERR_OK;
    size_t i;

    json_array_foreach(json_object_get(resource, "parameter"), i, parameter)
    {
        if (fhir_is(parameter, "name", "type"))
            type = fhir_string(parameter, "valueCode");
        else if (fhir_is(parameter, "name", "status"))
            n->status = fhir_string(parameter, "valueCode");
        else if (fhir_is(parameter, "name", "subscription"))
            n->subscription =
                reference_of(json_object_get(parameter, "valueReference"));
        else if (fhir_is(parameter, "name", "events-since-subscription-start"))
            n->events = parameter_count(parameter);
        else if (fhir_is(parameter, "name", "notification-event"))
            e = read_event_parameter(parameter, n);
        if (e != ERR_OK)
            return e;
    }
    return read_type(type, n);
}

/* ---- R4B, R5: SubscriptionStatus ----------------------------------------- */

static enum err read_status(json_t *resource, struct fhir_notification *n)
{
    json_t *item;
    size_t i;

    n->subscription = reference_of(json_object_get(resource, "subscription"));
    n->status = fhir_string(resource, "status");
    n->events =
        read_count(json_object_get(resource, "eventsSinceSubscriptionStart"));
    json_array_foreach(json_object_get(resource, "notificationEvent"), i, item)
    {
        struct notification_event *event = add_event(n);

        if (event == NULL)
            return ERR_LIMIT;
        event->number = read_count(json_object_get(item, "eventNumber"));
        event->focus = reference_of(json_object_get(item, "focus"));
    }
    return read_type(fhir_string(resource, "type"), n);
}

enum err fhir_notification_read(const struct fhir_page *page,
                                struct fhir_notification *n)
{
    json_t *resource;

    memset(n, 0, sizeof(*n));
    n->events = -1;
    if ((page->kind != PAGE_HISTORY && page->kind != PAGE_NOTICE) ||
        page->count == 0)
        return ERR_ABSENT;
    resource = json_object_get(
        json_array_get(json_object_get(page->tree, "entry"), 0), "resource");
    if (fhir_is(resource, "resourceType", "Parameters"))
        return read_parameters(resource, n);
    if (fhir_is(resource, "resourceType", "SubscriptionStatus"))
        return read_status(resource, n);
    return ERR_ABSENT;
}

int64_t fhir_notification_gap(const struct fhir_notification *n, int64_t known)
{
    int64_t first = -1;

    if (n->events < 0 || known < 0 || n->events <= known)
        return -1;
    for (size_t i = 0; i < n->count; i++) {
        if (n->list[i].number >= 0 && (first < 0 || n->list[i].number < first))
            first = n->list[i].number;
    }
    if (first < 0 && n->type == NOTIFICATION_EVENT)
        first = n->events; /* it tells of one, and does not say which */
    if (first < 0)         /* heartbeat, status: it tells of none */
        return known + 1;
    return first > known + 1 ? known + 1 : -1;
}

/*
 * What counts as the same in two Tasks.  Servers spell things in their own
 * way: zones, decimals, the display of a code.
 */
#include "adapters/fhir_task.h"

#include <string.h>

static bool same_text(json_t *a, json_t *b, const char *key)
{
    const char *x = fhir_string(a, key), *y = fhir_string(b, key);

    return x == y || (x != NULL && y != NULL && strcmp(x, y) == 0);
}

bool fhir_task_alike(json_t *a, json_t *b)
{
    const char *key;
    json_t *value;

    if (json_is_number(a) && json_is_number(b))
        return !(json_number_value(a) < json_number_value(b)) &&
               !(json_number_value(a) > json_number_value(b));
    if (json_is_array(a) && json_is_array(b)) {
        if (json_array_size(a) != json_array_size(b))
            return false;
        for (size_t i = 0; i < json_array_size(a); i++) {
            if (!fhir_task_alike(json_array_get(a, i), json_array_get(b, i)))
                return false;
        }
        return true;
    }
    if (!json_is_object(a) || !json_is_object(b))
        return json_equal(a, b) != 0;
    if (json_object_size(a) != json_object_size(b))
        return false;
    json_object_foreach(a, key, value)
    {
        if (!fhir_task_alike(value, json_object_get(b, key)))
            return false;
    }
    return true;
}

static bool same_reference(json_t *a, json_t *b)
{
    if (json_object_get(a, "reference") != NULL ||
        json_object_get(b, "reference") != NULL)
        return same_text(a, b, "reference");
    if (json_object_get(a, "identifier") == NULL)
        return fhir_task_alike(a, b);
    a = json_object_get(a, "identifier");
    b = json_object_get(b, "identifier");
    return same_text(a, b, "system") && same_text(a, b, "value");
}

/* The kind of an input; its display may be worded anew. */
static bool same_kind(json_t *a, json_t *b)
{
    json_t *x = json_array_get(json_object_get(a, "coding"), 0);
    json_t *y = json_array_get(json_object_get(b, "coding"), 0);

    if (x == NULL || y == NULL)
        return fhir_task_alike(a, b);
    return same_text(x, y, "system") && same_text(x, y, "code");
}

static bool same_quantity(json_t *a, json_t *b)
{
    json_t *x = json_object_get(a, "value"), *y = json_object_get(b, "value");

    return x != NULL && y != NULL && fhir_task_alike(x, y) &&
           same_text(a, b, "code");
}

bool fhir_task_same_input(json_t *a, json_t *b)
{
    const char *key;
    json_t *value;

    if (!same_kind(json_object_get(a, "type"), json_object_get(b, "type")))
        return false;
    json_object_foreach(a, key, value)
    {
        json_t *other = json_object_get(b, key);

        if (strncmp(key, "value", 5) != 0)
            continue;
        if (other == NULL)
            return false;
        if (strcmp(key, "valueReference") == 0)
            return same_reference(value, other);
        if (strcmp(key, "valueQuantity") == 0)
            return same_quantity(value, other);
        return fhir_task_alike(value, other);
    }
    return false;
}

bool fhir_task_instant_ms(const char *text, int64_t *ms)
{
    const char *digit = text != NULL ? strchr(text, '.') : NULL;
    struct fhir_time time;
    int64_t part = 100;

    if (text == NULL || fhir_instant_read(text, strlen(text), &time) != ERR_OK)
        return false;
    *ms = time.start_s * 1000;
    while (digit != NULL && *++digit >= '0' && *digit <= '9') {
        *ms += part * (*digit - '0');
        part /= 10;
    }
    return true;
}

bool fhir_task_same_note(json_t *a, json_t *b)
{
    int64_t x, y;

    if (!same_text(a, b, "text"))
        return false;
    /* a server may spell the zone in another way */
    if (fhir_task_instant_ms(fhir_string(a, "time"), &x) &&
        fhir_task_instant_ms(fhir_string(b, "time"), &y))
        return x == y;
    return same_text(a, b, "time");
}

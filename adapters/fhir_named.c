#include "adapters/fhir_named.h"

#include <jansson.h>
#include <string.h>

static bool means_person(const char *key)
{
    static const char *const keys[] = { "subject", "patient", "individual",
                                        "beneficiary", "for" };

    for (size_t i = 0; i < COUNT(keys); i++) {
        if (strcmp(key, keys[i]) == 0)
            return true;
    }
    return false;
}

static void walk(const struct fhir_named *n, const char *key, json_t *json,
                 bool person);

/* person: what is in here is said of a person, not of a reading */
static void walk_object(const struct fhir_named *n, json_t *object, bool person)
{
    const char *type =
        json_string_value(json_object_get(object, "resourceType"));
    const char *value = json_string_value(json_object_get(object, "value"));
    const char *system = json_string_value(json_object_get(object, "system"));
    const char *id = json_string_value(json_object_get(object, "id"));
    bool is_patient = type != NULL && strcmp(type, "Patient") == 0;
    const char *key;
    json_t *member;

    if (value != NULL)
        n->number(n->arg, system, value, person);
    if (is_patient && id != NULL)
        n->id(n->arg, id);
    json_object_foreach(object, key, member)
    {
        bool is_number = strcmp(key, "identifier") == 0;

        if (*n->over)
            return;
        walk(n, key, member,
             means_person(key) || (is_number && (is_patient || person)));
    }
}

/* No deeper than jansson reads (2048). */
static void walk(const struct fhir_named *n, const char *key, json_t *json,
                 bool person)
{
    size_t count = json_array_size(json);

    if (json_is_string(json))
        n->text(n->arg, key, json_string_value(json));
    else if (json_is_object(json))
        walk_object(n, json, person);
    for (size_t i = 0; i < count && !*n->over; i++)
        walk(n, key, json_array_get(json, i), person);
}

enum err fhir_named_each(const char *json, size_t len,
                         const struct fhir_named *named)
{
    json_t *root =
        json_loadb(json, len, JSON_ALLOW_NUL | JSON_DECODE_ANY, NULL);

    if (root == NULL)
        return ERR_FORM;
    walk(named, NULL, root, false);
    json_decref(root);
    return ERR_OK;
}

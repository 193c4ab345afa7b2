#include "adapters/fhir_record.h"

#include "adapters/fhir_json.h"

#include <stdio.h>
#include <string.h>

static const char *const type_words[RECORD_TYPE_COUNT] = {
    [RECORD_TASK] = "Task",
    [RECORD_PATIENT] = "Patient",
    [RECORD_BODY_STRUCTURE] = "BodyStructure",
    [RECORD_OBSERVATION] = "Observation",
    [RECORD_DOCUMENT_REFERENCE] = "DocumentReference",
    [RECORD_PROVENANCE] = "Provenance",
    [RECORD_SERVICE_REQUEST] = "ServiceRequest",
    [RECORD_FLAG] = "Flag",
    [RECORD_SUBSCRIPTION] = "Subscription"
};

struct word {
    const char *word;
    unsigned bit;
};

static const struct word interactions[] = {
    { "read", RECORD_READ },
    { "vread", RECORD_VREAD },
    { "update", RECORD_UPDATE },
    { "patch", RECORD_PATCH },
    { "create", RECORD_CREATE },
    { "search-type", RECORD_SEARCH },
    { "history-instance", RECORD_HISTORY },
    { "history-type", RECORD_HISTORY_TYPE },
};

static const struct word searches[] = {
    { "identifier", SEARCH_IDENTIFIER },
    { "_lastUpdated", SEARCH_LAST_UPDATED },
    { "code", SEARCH_CODE },
    { "target", SEARCH_TARGET },
    { "patient", SEARCH_PATIENT },
};

const char *record_type_word(enum record_type type)
{
    return type < RECORD_TYPE_COUNT ? type_words[type] : "";
}

/* The bits of the words that stand under key in the items of a list. */
static unsigned bits_of(json_t *list, const char *key, const struct word *words,
                        size_t count)
{
    unsigned bits = 0;

    for (size_t i = 0; i < json_array_size(list); i++) {
        for (size_t k = 0; k < count; k++) {
            if (fhir_is(json_array_get(list, i), key, words[k].word))
                bits |= words[k].bit;
        }
    }
    return bits;
}

static bool has_word(json_t *list, const char *word, bool part)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *text = json_string_value(json_array_get(list, i));

        if (text != NULL &&
            (strcmp(text, word) == 0 || (part && strstr(text, word) != NULL)))
            return true;
    }
    return false;
}

static enum says says_bool(json_t *object, const char *key)
{
    json_t *value = json_object_get(object, key);

    if (!json_is_boolean(value))
        return SAYS_NOTHING;
    return json_is_true(value) ? SAYS_YES : SAYS_NO;
}

static void read_type(json_t *rest, json_t *resource, struct fhir_ability *a)
{
    const char *versioning = fhir_string(resource, "versioning");
    json_t *params = json_object_get(resource, "searchParam");

    a->listed = true;
    a->interactions |= bits_of(json_object_get(resource, "interaction"), "code",
                               interactions, COUNT(interactions));
    a->searches |= bits_of(params, "name", searches, COUNT(searches)) |
                   bits_of(json_object_get(rest, "searchParam"), "name",
                           searches, COUNT(searches));
    a->searches_listed = a->searches_listed || json_array_size(params) > 0;
    a->conditional_create = says_bool(resource, "conditionalCreate");
    a->update_create = says_bool(resource, "updateCreate");
    if (versioning != NULL)
        a->versioned =
            strcmp(versioning, "no-version") == 0 ? SAYS_NO : SAYS_YES;
}

static bool names_export(json_t *operations)
{
    for (size_t i = 0; i < json_array_size(operations); i++) {
        json_t *operation = json_array_get(operations, i);
        const char *definition = fhir_string(operation, "definition");

        if (fhir_is(operation, "name", "export") ||
            fhir_is(operation, "name", "$export") ||
            (definition != NULL && strstr(definition, "export") != NULL))
            return true;
    }
    return false;
}

static bool names_smart(json_t *rest)
{
    json_t *services =
        json_object_get(json_object_get(rest, "security"), "service");

    for (size_t i = 0; i < json_array_size(services); i++) {
        json_t *codings =
            json_object_get(json_array_get(services, i), "coding");

        for (size_t k = 0; k < json_array_size(codings); k++) {
            if (fhir_is(json_array_get(codings, k), "code", "SMART-on-FHIR"))
                return true;
        }
    }
    return false;
}

static void read_rest(json_t *rest, struct fhir_record_says *says)
{
    static const struct word system_words[] = { { "batch", 1 },
                                                { "transaction", 2 } };
    json_t *resources = json_object_get(rest, "resource");
    json_t *system = json_object_get(rest, "interaction");
    unsigned bits = bits_of(system, "code", system_words, COUNT(system_words));
    bool exports = names_export(json_object_get(rest, "operation"));

    for (size_t i = 0; i < json_array_size(resources); i++) {
        json_t *resource = json_array_get(resources, i);

        exports =
            exports || names_export(json_object_get(resource, "operation"));
        for (size_t t = 0; t < RECORD_TYPE_COUNT; t++) {
            if (fhir_is(resource, "type", type_words[t]))
                read_type(rest, resource, &says->types[t]);
        }
    }
    if (json_array_size(system) > 0) {
        says->batch = (bits & 1) != 0 ? SAYS_YES : SAYS_NO;
        says->transaction = (bits & 2) != 0 ? SAYS_YES : SAYS_NO;
    }
    says->bulk_export = exports ? SAYS_YES : SAYS_NOTHING;
    says->smart = names_smart(rest);
}

/* It is shown on a terminal, which a control character would move. */
static void clean(char *text)
{
    for (; *text != '\0'; text++) {
        if ((unsigned char)*text < 0x20 || *text == 0x7f)
            *text = ' ';
    }
}

static void copy_text(char *out, size_t size, const char *text)
{
    snprintf(out, size, "%s", text != NULL ? text : "");
    clean(out);
}

static void read_head(json_t *root, struct fhir_record_says *says)
{
    json_t *software = json_object_get(root, "software");
    json_t *formats = json_object_get(root, "format");
    json_t *patches = json_object_get(root, "patchFormat");
    const char *name = fhir_string(software, "name");
    const char *version = fhir_string(software, "version");

    copy_text(says->fhir_version, sizeof(says->fhir_version),
              fhir_string(root, "fhirVersion"));
    if (name != NULL)
        snprintf(says->software, sizeof(says->software), "%s%s%s", name,
                 version != NULL ? " " : "", version != NULL ? version : "");
    clean(says->software);
    if (json_array_size(formats) > 0)
        says->json = has_word(formats, "json", true) ? SAYS_YES : SAYS_NO;
    if (json_array_size(patches) > 0)
        says->json_patch =
            has_word(patches, "json-patch", true) ? SAYS_YES : SAYS_NO;
}

enum err fhir_record_read(const char *json, size_t len,
                          struct fhir_record_says *says)
{
    json_t *root = json_loadb(json, len, 0, NULL);
    json_t *rests = json_object_get(root, "rest");
    enum err e = ERR_FORM;

    memset(says, 0, sizeof(*says));
    if (fhir_is(root, "resourceType", "CapabilityStatement")) {
        read_head(root, says);
        for (size_t i = 0; i < json_array_size(rests); i++) {
            if (fhir_is(json_array_get(rests, i), "mode", "server")) {
                read_rest(json_array_get(rests, i), says);
                e = ERR_OK;
            }
        }
    }
    json_decref(root);
    return e;
}

static bool lists_any(const struct fhir_record_says *says)
{
    for (size_t t = 0; t < RECORD_TYPE_COUNT; t++) {
        if (says->types[t].listed)
            return true;
    }
    return false;
}

enum says fhir_record_can(const struct fhir_record_says *says,
                          enum record_type type,
                          enum record_interaction interaction)
{
    const struct fhir_ability *a = &says->types[type];

    if (!a->listed)
        return lists_any(says) ? SAYS_NO : SAYS_NOTHING;
    if ((a->interactions & interaction) != 0)
        return SAYS_YES;
    return a->interactions != 0 ? SAYS_NO : SAYS_NOTHING;
}

enum says fhir_record_finds(const struct fhir_record_says *says,
                            enum record_type type, enum record_search by)
{
    enum says can = fhir_record_can(says, type, RECORD_SEARCH);
    const struct fhir_ability *a = &says->types[type];

    if (can == SAYS_NO || (a->searches & by) != 0)
        return can;
    /* of the parameters that every type has, few servers list all */
    if (by == SEARCH_LAST_UPDATED)
        return SAYS_NOTHING;
    return a->searches_listed ? SAYS_NO : SAYS_NOTHING;
}

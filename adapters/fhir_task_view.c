#include "adapters/fhir_task.h"

#include <string.h>

enum err fhir_task_load(const char *json, size_t len, const char *type,
                        struct fhir_task_text *t)
{
    json_error_t error;
    size_t at;

    *t = (struct fhir_task_text){ .json = json, .len = len };
    if (fhir_scan_check(json, len, &at) != ERR_OK)
        return ERR_FORM;
    t->tree = json_loadb(json, len, JSON_REJECT_DUPLICATES, &error);
    if (t->tree == NULL)
        return json_error_code(&error) == json_error_out_of_memory ? ERR_MEMORY
                                                                   : ERR_FORM;
    if (type != NULL ? fhir_is(t->tree, "resourceType", type)
                     : fhir_string(t->tree, "resourceType") != NULL)
        return ERR_OK;
    json_decref(t->tree);
    t->tree = NULL;
    return ERR_FORM;
}

/* As much as fits, never half a character; "" for NULL. */
static void copy(char *out, size_t size, const char *text)
{
    size_t len = text != NULL ? strlen(text) : 0;

    if (len >= size) {
        len = size - 1;
        while (len > 0 && ((unsigned char)text[len] & 0xc0) == 0x80)
            len--;
    }
    if (len > 0)
        memcpy(out, text, len);
    out[len] = '\0';
}

static const char *reason_text(json_t *reason)
{
    const char *text = fhir_string(reason, "text");
    json_t *coding = json_array_get(json_object_get(reason, "coding"), 0);

    if (text == NULL)
        text = fhir_string(coding, "display");
    return text != NULL ? text : fhir_string(coding, "code");
}

enum err fhir_task_view(const char *json, size_t len,
                        struct fhir_task_view *view)
{
    struct fhir_task_text t;
    const char *id, *status;
    enum err e = fhir_task_load(json, len, "Task", &t);

    if (e != ERR_OK)
        return e;
    id = fhir_string(t.tree, "id");
    status = fhir_string(t.tree, "status");
    if (status == NULL || (id != NULL && !fhir_is_id(id))) {
        e = ERR_FORM;
    } else {
        copy(view->id, sizeof(view->id), id);
        copy(view->status, sizeof(view->status), status);
        copy(view->priority, sizeof(view->priority),
             fhir_string(t.tree, "priority"));
        copy(view->reason, sizeof(view->reason),
             reason_text(json_object_get(t.tree, "statusReason")));
    }
    json_decref(t.tree);
    return e;
}

/* ---- the answer to a search ---------------------------------------------- */

static bool has_next_page(json_t *bundle)
{
    json_t *links = json_object_get(bundle, "link");

    for (size_t i = 0; i < json_array_size(links); i++) {
        if (fhir_is(json_array_get(links, i), "relation", "next"))
            return true;
    }
    return false;
}

/* Whether an entry is a match, not something that was sent with it. */
static bool is_match(json_t *entry)
{
    json_t *search = json_object_get(entry, "search");
    json_t *resource = json_object_get(entry, "resource");
    const char *mode = fhir_string(search, "mode");

    return resource != NULL &&
           !fhir_is(resource, "resourceType", "OperationOutcome") &&
           (mode == NULL || strcmp(mode, "match") == 0);
}

static bool is_identifier(json_t *one, const char *system, const char *value)
{
    return fhir_is(one, "value", value) &&
           (system[0] == '\0' ? json_object_get(one, "system") == NULL
                              : fhir_is(one, "system", system));
}

bool fhir_has_identifier(json_t *resource, const char *system,
                         const char *value)
{
    json_t *list = json_object_get(resource, "identifier");

    /* few resources have one, and not a list of them */
    if (json_is_object(list))
        return is_identifier(list, system, value);
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (is_identifier(json_array_get(list, i), system, value))
            return true;
    }
    return false;
}

static enum err sole_match(json_t *bundle, const char *system,
                           const char *value, char id[72])
{
    json_t *entries = json_object_get(bundle, "entry");
    json_t *total = json_object_get(bundle, "total");
    const char *only = NULL;

    for (size_t i = 0; i < json_array_size(entries); i++) {
        json_t *entry = json_array_get(entries, i);
        const char *found =
            fhir_string(json_object_get(entry, "resource"), "id");

        if (!is_match(entry))
            continue;
        if (found == NULL || !fhir_is_id(found))
            return ERR_FORM;
        if (!fhir_has_identifier(json_object_get(entry, "resource"), system,
                                 value))
            return ERR_CONFLICT;
        if (only != NULL && strcmp(only, found) != 0)
            return ERR_AMBIGUOUS;
        only = found;
    }
    if (json_integer_value(total) > 1)
        return ERR_AMBIGUOUS;
    /* another may stand on the next page, unless the server counted them */
    if (json_integer_value(total) != 1 && has_next_page(bundle))
        return ERR_AMBIGUOUS;
    if (only == NULL)
        return ERR_ABSENT;
    copy(id, 72, only);
    return ERR_OK;
}

enum err fhir_sole_match(const char *json, size_t len, const char *system,
                         const char *value, char id[72])
{
    struct fhir_task_text t;
    enum err e = fhir_task_load(json, len, "Bundle", &t);

    if (e != ERR_OK)
        return e;
    e = sole_match(t.tree, system, value, id);
    json_decref(t.tree);
    return e;
}

#include "adapters/fhir_form.h"

#include <jansson.h>

enum err fhir_form_each(const char *json, size_t len,
                        void (*visit)(void *arg, const char *name,
                                      const char *value),
                        void *arg)
{
    json_t *root = json_loadb(json, len, JSON_REJECT_DUPLICATES, NULL);
    enum err e = json_is_object(root) ? ERR_OK : ERR_FORM;
    const char *name;
    json_t *value;

    json_object_foreach(root, name, value)
    {
        if (json_is_string(value))
            visit(arg, name, json_string_value(value));
        else if (json_is_true(value))
            visit(arg, name, "1");
        else if (!json_is_false(value) && !json_is_null(value))
            e = ERR_FORM;
    }
    json_decref(root);
    return e;
}

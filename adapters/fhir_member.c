#include "adapters/fhir_member.h"

#include "adapters/fhir_json.h"
#include "adapters/fhir_out.h"
#include "adapters/fhir_task.h"

#include <string.h>

static json_t *load(const char *json, size_t len)
{
    json_t *tree = json_loadb(json, len, JSON_REJECT_DUPLICATES, NULL);

    if (tree == NULL || json_is_object(tree))
        return tree;
    json_decref(tree);
    return NULL;
}

enum err fhir_member_text(const char *json, size_t len, const char *name,
                          char *out, size_t size)
{
    json_t *tree = load(json, len);
    const char *text;
    enum err e = ERR_OK;

    if (tree == NULL)
        return ERR_FORM;
    text = fhir_string(tree, name);
    if (text == NULL)
        e = ERR_ABSENT;
    else if (strlen(text) >= size)
        e = ERR_LIMIT;
    else
        memcpy(out, text, strlen(text) + 1);
    json_decref(tree);
    return e;
}

bool fhir_is_named(const char *json, size_t len, const char *system,
                   const char *value)
{
    json_t *tree = load(json, len);
    bool named = tree != NULL && fhir_has_identifier(tree, system, value);

    json_decref(tree);
    return named;
}

enum err fhir_member_put(const char *json, size_t len, const char *name,
                         const char *text, struct buf *out)
{
    json_t *tree = load(json, len);
    struct fhir_span key, value;
    size_t at = fhir_scan_blank(json, len, 0);
    bool put = false;

    if (tree == NULL)
        return ERR_FORM;
    json_decref(tree);
    buf_puts(out, "{");
    while (fhir_scan_next(json, len, &at, &key, &value)) {
        if (fhir_scan_is(json, key, name)) {
            fhir_out_text(out, name, text);
            put = true;
            continue;
        }
        if (out->data[out->len - 1] != '{')
            buf_puts(out, ",");
        buf_add(out, json + key.offset, key.len);
        buf_puts(out, ":");
        buf_add(out, json + value.offset, value.len);
    }
    if (!put)
        fhir_out_text(out, name, text);
    buf_puts(out, "}");
    return buf_ok(out);
}

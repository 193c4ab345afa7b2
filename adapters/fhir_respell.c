#include "adapters/fhir_json.h"

#include <string.h>

static bool is_one_of_ours(const char *json, struct fhir_span key)
{
    return fhir_scan_is(json, key, "resourceType") ||
           fhir_scan_is(json, key, "id") || fhir_scan_is(json, key, "meta");
}

static void put_head(struct buf *out, const char *json, struct fhir_span type,
                     const char *id, const char *meta)
{
    buf_puts(out, "{\"resourceType\":");
    buf_add(out, json + type.offset, type.len);
    if (id != NULL) {
        buf_puts(out, ",\"id\":\"");
        buf_puts(out, id);
        buf_puts(out, "\"");
    }
    if (meta != NULL) {
        buf_puts(out, ",\"meta\":");
        buf_puts(out, meta);
    }
}

enum err fhir_respell(const char *json, size_t len, const char *id,
                      const char *meta, struct buf *out)
{
    size_t at = fhir_scan_blank(json, len, 0);
    struct fhir_span key, value;

    if (at >= len || json[at] != '{' || (id != NULL && !fhir_is_id(id)) ||
        !fhir_scan_member(json, len, at, "resourceType", &value))
        return ERR_FORM;
    put_head(out, json, value, id, meta);
    while (fhir_scan_next(json, len, &at, &key, &value)) {
        if (is_one_of_ours(json, key))
            continue;
        buf_puts(out, ",");
        /* From the key to the end of the value, blanks and all. */
        buf_add(out, json + key.offset, value.offset + value.len - key.offset);
    }
    buf_puts(out, "}");
    return buf_ok(out);
}

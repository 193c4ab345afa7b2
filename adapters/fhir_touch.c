#include "adapters/fhir_touch.h"

#include "adapters/fhir_json.h"

#include <string.h>

enum err fhir_put_status(const char *json, size_t len, const char *status,
                         struct buf *out)
{
    size_t at = fhir_scan_blank(json, len, 0);
    struct fhir_span value;
    size_t end;

    if (at >= len || json[at] != '{' ||
        !fhir_scan_member(json, len, at, "status", &value))
        return ERR_FORM;
    end = value.offset + value.len;
    buf_add(out, json, value.offset);
    buf_printf(out, "\"%s\"", status);
    buf_add(out, json + end, len - end);
    return buf_ok(out);
}

bool fhir_source_begins(const char *json, size_t len, const char *prefix)
{
    size_t at = fhir_scan_blank(json, len, 0), prefix_len = strlen(prefix);
    struct fhir_span meta, source;

    return at < len && json[at] == '{' &&
           fhir_scan_member(json, len, at, "meta", &meta) &&
           json[meta.offset] == '{' &&
           fhir_scan_member(json, len, meta.offset, "source", &source) &&
           source.len > prefix_len + 1 && json[source.offset] == '"' &&
           memcmp(json + source.offset + 1, prefix, prefix_len) == 0;
}

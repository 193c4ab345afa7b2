/* OperationOutcome, Bundles and meta; Task is in fhir_task.c. */
#include "adapters/fhir_write.h"

#include "adapters/fhir_json.h"
#include "adapters/fhir_out.h"

#include <string.h>

#define ERROR_SYSTEM "/CodeSystem/av-error"
#define TASK_SYSTEM  "/CodeSystem/av-task"

/* ---- OperationOutcome -------------------------------------------------- */

static const char *severity_code(enum severity s)
{
    static const char *const codes[] = { "information", "warning", "error",
                                         "fatal" };

    return codes[(unsigned)s < COUNT(codes) ? s : SEV_FATAL];
}

/* Where it is: the place, with the leading type replaced by the prefix. */
static void write_place(const char *place, const char *prefix, struct buf *out)
{
    const char *rest = "";

    if (prefix == NULL || strncmp(place, "Bundle", 6) == 0) {
        prefix = place;
    } else if (place[0] != '\0') {
        rest = strpbrk(place, ".[");
        if (rest == NULL)
            rest = "";
    }
    if (prefix[0] == '\0')
        return;
    fhir_out_open(out, "expression", '[');
    fhir_out_join(out, NULL, prefix, rest);
    fhir_out_close(out, ']');
}

static void write_issue(const char *base, const struct issue *issue,
                        const char *prefix, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "severity", severity_code(issue->severity));
    fhir_out_text(out, "code", issue->code);
    fhir_out_concept(out, "details", base, ERROR_SYSTEM, issue->word, NULL,
                     issue->text);
    write_place(issue->place, prefix, out);
    fhir_out_close(out, '}');
}

/* An issue that stands in no list: there is nothing to say, or too much. */
static void write_remark(const char *text, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "severity", "information");
    fhir_out_text(out, "code", "informational");
    fhir_out_open(out, "details", '{');
    fhir_out_text(out, "text", text);
    fhir_out_close(out, '}');
    fhir_out_close(out, '}');
}

/* The resource itself, at the place the buffer has reached. */
static void put_outcome(const char *base, const struct outcome *o,
                        const char *prefix, struct buf *out)
{
    buf_puts(out, "{\"resourceType\":\"OperationOutcome\"");
    fhir_out_open(out, "issue", '[');
    for (size_t i = 0; i < o->count; i++)
        write_issue(base, &o->issues[i], prefix, out);
    if (o->count == 0)
        write_remark("Stored", out);
    if (o->dropped > 0)
        write_remark("There are further issues that are not listed", out);
    buf_puts(out, "]}");
}

void fhir_write_outcome(const char *base, const struct outcome *o,
                        const char *prefix, struct buf *out)
{
    put_outcome(base, o, prefix, out);
}

/* ---- responses to a Bundle --------------------------------------------- */

static void write_response(const char *base, const struct fhir_response *r,
                           struct buf *out)
{
    char text[FHIR_TIME_SIZE];

    fhir_out_open(out, NULL, '{');
    fhir_out_open(out, "response", '{');
    buf_printf(out, "\"status\":\"%d\"", r->status);
    fhir_out_text(out, "location", r->location);
    fhir_out_text(out, "etag", r->etag);
    if (r->modified_ms != 0) {
        fhir_time_write_ms(r->modified_ms, text);
        fhir_out_text(out, "lastModified", text);
    }
    if (r->outcome != NULL && r->outcome->count > 0) {
        buf_puts(out, ",\"outcome\":");
        put_outcome(base, r->outcome, NULL, out);
    }
    buf_puts(out, "}}");
}

void fhir_write_bundle_response(const char *base, bool transaction,
                                const struct fhir_response *responses,
                                size_t count, struct buf *out)
{
    buf_puts(out, "{\"resourceType\":\"Bundle\"");
    fhir_out_text(out, "type",
                  transaction ? "transaction-response" : "batch-response");
    if (count > 0) {
        fhir_out_open(out, "entry", '[');
        for (size_t i = 0; i < count; i++)
            write_response(base, &responses[i], out);
        fhir_out_close(out, ']');
    }
    fhir_out_close(out, '}');
}

/* ---- searchset and history --------------------------------------------- */

static void write_link(const char *relation, const char *url, struct buf *out)
{
    if (url == NULL)
        return;
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "relation", relation);
    fhir_out_text(out, "url", url);
    fhir_out_close(out, '}');
}

void fhir_write_bundle_begin(const char *type, long long total,
                             const struct fhir_link *links, size_t count,
                             struct buf *out)
{
    bool any = false;

    buf_puts(out, "{\"resourceType\":\"Bundle\"");
    fhir_out_text(out, "type", type);
    if (total >= 0)
        fhir_out_int(out, "total", total);
    for (size_t i = 0; i < count; i++)
        any = any || links[i].url != NULL;
    if (!any)
        return;
    fhir_out_open(out, "link", '[');
    for (size_t i = 0; i < count; i++)
        write_link(links[i].relation, links[i].url, out);
    fhir_out_close(out, ']');
}

void fhir_write_searchset_begin(const char *type, long long total,
                                const char *self_url, const char *next_url,
                                struct buf *out)
{
    const struct fhir_link links[] = { { "self", self_url },
                                       { "next", next_url } };

    fhir_write_bundle_begin(type, total, links, COUNT(links), out);
}

/* A member of a resource that is a plain string, with its quotes. */
static struct fhir_span plain(const char *json, size_t len, size_t from,
                              const char *name)
{
    struct fhir_span value = { 0, 0 };

    if (!fhir_scan_member(json, len, from, name, &value) || value.len < 3 ||
        json[value.offset] != '"')
        return (struct fhir_span){ 0, 0 };
    return value;
}

/*
 * What a history must say of each version (bdl-3, bdl-4): the request that
 * made it and the answer.  How the first version came is not kept; a PUT
 * with this id would have made the same.
 */
static void write_version(const char *json, size_t len, struct buf *out)
{
    struct fhir_span type = plain(json, len, 0, "resourceType");
    struct fhir_span id = plain(json, len, 0, "id");
    struct fhir_span meta, version = { 0, 0 }, updated = { 0, 0 };
    bool first;

    if (fhir_scan_member(json, len, 0, "meta", &meta)) {
        version = plain(json, len, meta.offset, "versionId");
        updated = plain(json, len, meta.offset, "lastUpdated");
    }
    first = version.len == 3 && json[version.offset + 1] == '1';
    if (type.len > 0 && id.len > 0) {
        buf_puts(out, ",\"request\":{\"method\":\"PUT\",\"url\":");
        buf_add(out, json + type.offset, type.len - 1);
        buf_puts(out, "/");
        buf_add(out, json + id.offset + 1, id.len - 1);
        buf_puts(out, "}");
    }
    buf_printf(out, ",\"response\":{\"status\":\"%d\"", first ? 201 : 200);
    if (version.len > 0) {
        buf_puts(out, ",\"etag\":\"W/\\\"");
        buf_add(out, json + version.offset + 1, version.len - 2);
        buf_puts(out, "\\\"\"");
    }
    if (updated.len > 0)
        fhir_out_raw(out, "lastModified", json + updated.offset, updated.len);
    fhir_out_close(out, '}');
}

void fhir_write_searchset_entry(const char *full_url, const char *json,
                                size_t len, const char *mode, bool first,
                                struct buf *out)
{
    buf_puts(out, first ? ",\"entry\":[{" : ",{");
    fhir_out_text(out, "fullUrl", full_url);
    fhir_out_raw(out, "resource", json, len);
    if (mode != NULL) {
        fhir_out_open(out, "search", '{');
        fhir_out_text(out, "mode", mode);
        fhir_out_close(out, '}');
    } else {
        write_version(json, len, out);
    }
    fhir_out_close(out, '}');
}

void fhir_write_searchset_end(struct buf *out)
{
    /* Only an entry ends so; an empty list of entries must not be written. */
    bool any = out->len > 0 && out->data[out->len - 1] == '}';

    buf_puts(out, any ? "]}" : "}");
}

/* ---- meta --------------------------------------------------------------- */

void fhir_write_meta(const char *base, int version, int64_t updated_ms,
                     const char *tag, struct buf *out)
{
    char updated[FHIR_TIME_SIZE];

    buf_puts(out, "{");
    if (version > 0) {
        fhir_time_write_ms(updated_ms, updated);
        buf_printf(out, "\"versionId\":\"%d\"", version);
        fhir_out_text(out, "lastUpdated", updated);
    }
    if (tag != NULL) {
        fhir_out_open(out, "tag", '[');
        fhir_out_open(out, NULL, '{');
        fhir_out_join(out, "system", base, TASK_SYSTEM);
        fhir_out_text(out, "code", tag);
        fhir_out_close(out, '}');
        fhir_out_close(out, ']');
    }
    buf_puts(out, "}");
}

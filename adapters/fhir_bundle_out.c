#include "adapters/fhir_bundle_out.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_task.h"

#include <string.h>

/* ---- what is sent --------------------------------------------------------- */

static void put_request(const struct fhir_entry *e, struct buf *out)
{
    fhir_out_open(out, "request", '{');
    fhir_out_text(out, "method", e->method);
    fhir_out_text(out, "url", e->url);
    fhir_out_text(out, "ifNoneExist", e->if_none_exist);
    fhir_out_text(out, "ifMatch", e->if_match);
    fhir_out_close(out, '}');
}

enum err fhir_bundle_write(bool transaction, const struct fhir_entry *entries,
                           size_t count, struct buf *out)
{
    buf_puts(out, "{\"resourceType\":\"Bundle\"");
    fhir_out_text(out, "type", transaction ? "transaction" : "batch");
    if (count > 0)
        fhir_out_open(out, "entry", '[');
    for (size_t i = 0; i < count; i++) {
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "fullUrl", entries[i].full_url);
        if (entries[i].json != NULL)
            fhir_out_raw(out, "resource", entries[i].json, entries[i].len);
        put_request(&entries[i], out);
        fhir_out_close(out, '}');
    }
    if (count > 0)
        fhir_out_close(out, ']');
    fhir_out_close(out, '}');
    return buf_ok(out);
}

/* ---- what came back -------------------------------------------------------- */

/* An id of FHIR that cannot lead to another address. */
static bool is_id(const char *text)
{
    return text != NULL && fhir_is_id(text) && strspn(text, ".") < strlen(text);
}

static void copy_id(char out[FHIR_ID_SIZE], const char *text)
{
    if (is_id(text))
        memcpy(out, text, strlen(text) + 1);
}

/* The part of an address from at to the next slash, or the end. */
static const char *take_part(const char *at, char out[FHIR_ID_SIZE])
{
    size_t len = strcspn(at, "/?#");
    char part[FHIR_ID_SIZE];

    if (len < sizeof(part)) {
        memcpy(part, at, len);
        part[len] = '\0';
        copy_id(out, part);
    }
    return at + len;
}

/*
 * "Task/77/_history/2", "https://record.example/r4/Task/77", "/r4/Task/77/": the
 * last two parts before "/_history/" are type and id.
 */
static void read_location(const char *location, struct fhir_entry_answer *a)
{
    const char *history = strstr(location, "/_history/");
    size_t len = history != NULL ? (size_t)(history - location)
                                 : strcspn(location, "?#");
    size_t from;

    while (len > 0 && location[len - 1] == '/')
        len--;
    for (from = len; from > 0 && location[from - 1] != '/'; from--)
        ;
    if (from == 0)
        return; /* an id without a type says nothing */
    take_part(location + from, a->id);
    if (history != NULL && a->id[0] != '\0')
        take_part(history + strlen("/_history/"), a->version);
}

/* W/"3": the 3 */
static void read_etag(const char *etag, struct fhir_entry_answer *a)
{
    const char *open = strchr(etag, '"'), *close = strrchr(etag, '"');
    char text[FHIR_ID_SIZE];

    if (strlen(etag) < sizeof(a->etag))
        memcpy(a->etag, etag, strlen(etag) + 1);
    if (a->version[0] != '\0' || open == close ||
        (size_t)(close - open) > sizeof(text))
        return;
    memcpy(text, open + 1, (size_t)(close - open - 1));
    text[close - open - 1] = '\0';
    copy_id(a->version, text);
}

/* "201 Created", "201": three digits, and then no other. */
static int read_status(const char *text)
{
    int status = 0;

    if (text == NULL || strspn(text, "0123456789") != 3)
        return 0;
    for (size_t i = 0; i < 3; i++)
        status = status * 10 + (text[i] - '0');
    return status;
}

static void read_resource(json_t *resource, struct fhir_entry_answer *a)
{
    json_t *meta = json_object_get(resource, "meta");

    if (fhir_is(resource, "resourceType", "OperationOutcome"))
        return;
    if (a->id[0] == '\0')
        copy_id(a->id, fhir_string(resource, "id"));
    if (a->version[0] == '\0')
        copy_id(a->version, fhir_string(meta, "versionId"));
}

/* An OperationOutcome, where R4 puts it or as the resource of the entry. */
static void find_outcome(const char *json, size_t len, struct fhir_span entry,
                         json_t *tree, struct fhir_entry_answer *a)
{
    json_t *response = json_object_get(tree, "response");
    struct fhir_span at = { 0, 0 }, found = { 0, 0 };
    bool any = false;

    if (fhir_is(json_object_get(response, "outcome"), "resourceType",
                "OperationOutcome"))
        any = fhir_scan_member(json, len, entry.offset, "response", &at) &&
              fhir_scan_member(json, len, at.offset, "outcome", &found);
    else if (fhir_is(json_object_get(tree, "resource"), "resourceType",
                     "OperationOutcome"))
        any = fhir_scan_member(json, len, entry.offset, "resource", &found);
    if (any) {
        a->outcome = json + found.offset;
        a->outcome_len = found.len;
    }
}

static void read_answer(const char *json, size_t len, struct fhir_span entry,
                        json_t *tree, struct fhir_entry_answer *a)
{
    json_t *response = json_object_get(tree, "response");
    const char *location = fhir_string(response, "location");
    const char *etag = fhir_string(response, "etag");

    *a = (struct fhir_entry_answer){ .status = read_status(
                                         fhir_string(response, "status")) };
    if (location != NULL)
        read_location(location, a);
    read_resource(json_object_get(tree, "resource"), a);
    if (etag != NULL)
        read_etag(etag, a);
    find_outcome(json, len, entry, tree, a);
}

enum err fhir_bundle_answers(const char *json, size_t len,
                             struct fhir_entry_answer *out, size_t most,
                             size_t *count, bool *is_transaction)
{
    struct fhir_task_text t;
    struct fhir_span all, item;
    json_t *list;
    size_t at, i = 0;
    enum err e = fhir_task_load(json, len, "Bundle", &t);

    if (e != ERR_OK)
        return e;
    *is_transaction = fhir_is(t.tree, "type", "transaction-response");
    if (!*is_transaction && !fhir_is(t.tree, "type", "batch-response")) {
        json_decref(t.tree);
        return ERR_FORM;
    }
    list = json_object_get(t.tree, "entry");
    if (json_is_array(list) && fhir_scan_member(json, len, 0, "entry", &all)) {
        at = all.offset;
        for (; fhir_scan_next(json, len, &at, NULL, &item); i++) {
            if (i < most)
                read_answer(json, len, item, json_array_get(list, i), &out[i]);
        }
    }
    *count = i;
    json_decref(t.tree);
    return ERR_OK;
}

/* ---- a search ---------------------------------------------------------------- */

static bool is_match(const char *type, json_t *entry)
{
    json_t *resource = json_object_get(entry, "resource");
    const char *mode = fhir_string(json_object_get(entry, "search"), "mode");

    return fhir_is(resource, "resourceType", type) &&
           is_id(fhir_string(resource, "id")) &&
           (mode == NULL || strcmp(mode, "match") == 0);
}

static void read_found(json_t *resource, struct fhir_found *f)
{
    json_t *meta = json_object_get(resource, "meta");
    const char *status = fhir_string(resource, "status");

    *f = (struct fhir_found){ .updated_ms = 0 };
    copy_id(f->id, fhir_string(resource, "id"));
    copy_id(f->version, fhir_string(meta, "versionId"));
    if (status != NULL && strlen(status) < sizeof(f->status))
        memcpy(f->status, status, strlen(status) + 1);
    if (!fhir_task_instant_ms(fhir_string(meta, "lastUpdated"), &f->updated_ms))
        f->updated_ms = 0;
}

static bool has_next(json_t *bundle)
{
    json_t *links = json_object_get(bundle, "link");

    for (size_t i = 0; i < json_array_size(links); i++) {
        if (fhir_is(json_array_get(links, i), "relation", "next"))
            return true;
    }
    return false;
}

/* ERR_CONFLICT: one that was not asked for. */
static enum err take_found(json_t *bundle, const char *type, const char *system,
                           const char *value, struct fhir_found *out,
                           size_t most, size_t *count)
{
    json_t *list = json_object_get(bundle, "entry");

    *count = 0;
    for (size_t i = 0; i < json_array_size(list); i++) {
        json_t *entry = json_array_get(list, i);
        json_t *resource = json_object_get(entry, "resource");

        if (!is_match(type, entry))
            continue;
        if (value != NULL && !fhir_has_identifier(resource, system, value))
            return ERR_CONFLICT;
        if (*count < most)
            read_found(resource, &out[*count]);
        ++*count;
    }
    return ERR_OK;
}

enum err fhir_search_found(const char *type, const char *system,
                           const char *value, const char *json, size_t len,
                           struct fhir_found *out, size_t most, size_t *count,
                           bool *more)
{
    struct fhir_task_text t;
    enum err e = fhir_task_load(json, len, "Bundle", &t);

    if (e != ERR_OK)
        return e;
    if (!fhir_is(t.tree, "type", "searchset"))
        e = ERR_FORM;
    if (e == ERR_OK)
        e = take_found(t.tree, type, system, value, out, most, count);
    *more = e == ERR_OK && has_next(t.tree);
    json_decref(t.tree);
    return e;
}

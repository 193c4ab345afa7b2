#include "adapters/fhir_page.h"

#include "adapters/fhir_json.h"

#include <stdlib.h>
#include <string.h>

enum fhir_type fhir_type_named(const char *name)
{
    static const struct {
        const char *name;
        enum fhir_type type;
    } types[] = { { "Observation", FHIR_OBSERVATION },
                  { "BodyStructure", FHIR_BODY_STRUCTURE },
                  { "Patient", FHIR_PATIENT },
                  { "Task", FHIR_TASK } };

    for (size_t i = 0; name != NULL && i < COUNT(types); i++) {
        if (strcmp(types[i].name, name) == 0)
            return types[i].type;
    }
    return FHIR_OTHER;
}

int64_t fhir_instant_ms(const char *text)
{
    struct fhir_time time;
    const char *at;
    int64_t ms = 0, unit = 100;

    if (text == NULL || fhir_instant_read(text, strlen(text), &time) != ERR_OK)
        return INT64_MIN;
    at = strchr(text, '.');
    for (at = at != NULL ? at + 1 : ""; *at >= '0' && *at <= '9'; at++) {
        ms += (*at - '0') * unit;
        unit /= 10;
    }
    return time.start_s * 1000 + ms;
}

/* ---- one entry ---------------------------------------------------------- */

static void read_resource(json_t *resource, struct fhir_page_entry *e)
{
    json_t *meta = json_object_get(resource, "meta");

    e->type_name = fhir_string(resource, "resourceType");
    e->type = fhir_type_named(e->type_name);
    e->id = fhir_string(resource, "id");
    if (e->id != NULL && !fhir_is_id(e->id))
        e->id = NULL;
    e->version = fhir_string(meta, "versionId");
    e->updated_ms = fhir_instant_ms(fhir_string(meta, "lastUpdated"));
    e->outcome = e->outcome || (e->type_name != NULL &&
                                strcmp(e->type_name, "OperationOutcome") == 0);
}

/* Cut "Observation/7/_history/2" into its parts, in place; false: it is not
 * of this form. */
static bool cut_address(char *url, struct fhir_page_entry *e)
{
    static const char history[] = "/_history/";
    char *version = strstr(url, history);
    char *slash;

    if (version != NULL) {
        *version = '\0';
        e->version = version + sizeof(history) - 1;
    }
    slash = strrchr(url, '/');
    if (slash == NULL || !fhir_is_id(slash + 1))
        return false;
    *slash = '\0';
    e->id = slash + 1;
    slash = strrchr(url, '/'); /* of a whole address */
    e->type_name = slash != NULL ? slash + 1 : url;
    e->type = fhir_type_named(e->type_name);
    return true;
}

/* A deletion has no resource: "DELETE", "Observation/7", or with the version
 * that it made behind. */
static void read_deletion(json_t *entry, struct fhir_page_entry *e, char *url)
{
    json_t *request = json_object_get(entry, "request");
    json_t *response = json_object_get(entry, "response");

    if (!fhir_is(request, "method", "DELETE") || !cut_address(url, e))
        return;
    e->deleted = true;
    e->updated_ms = fhir_instant_ms(fhir_string(response, "lastModified"));
}

/* A copy of the address that is deleted, to be cut; kept with the page. */
static char *keep_address(struct fhir_page *page, json_t *entry)
{
    const char *url = fhir_string(json_object_get(entry, "request"), "url");
    size_t len = url != NULL ? strlen(url) + 1 : 0;
    char *kept = page->text + page->text_len;

    if (len == 0 || len > page->text_size - page->text_len)
        return NULL;
    memcpy(kept, url, len);
    page->text_len += len;
    return kept;
}

static void read_entry(struct fhir_page *page, json_t *entry,
                       struct fhir_page_entry *e)
{
    char *url;
    json_t *resource = json_object_get(entry, "resource");
    json_t *search = json_object_get(entry, "search");

    e->updated_ms = INT64_MIN;
    e->matched = !fhir_is(search, "mode", "include");
    e->outcome = fhir_is(search, "mode", "outcome");
    if (json_is_object(resource))
        read_resource(resource, e);
    else if ((url = keep_address(page, entry)) != NULL)
        read_deletion(entry, e, url);
}

/* ---- the page ----------------------------------------------------------- */

static enum fhir_page_kind kind_of(json_t *root)
{
    if (!fhir_is(root, "resourceType", "Bundle"))
        return PAGE_RESOURCE;
    if (fhir_is(root, "type", "searchset"))
        return PAGE_SEARCH;
    if (fhir_is(root, "type", "history"))
        return PAGE_HISTORY;
    return fhir_is(root, "type", "subscription-notification") ? PAGE_NOTICE
                                                              : PAGE_OTHER;
}

static const char *find_next(json_t *root)
{
    json_t *link;
    size_t i;

    json_array_foreach(json_object_get(root, "link"), i, link)
    {
        if (fhir_is(link, "relation", "next"))
            return fhir_string(link, "url");
    }
    return NULL;
}

/* Where each entry's resource stands in the body. */
static void find_spans(struct fhir_page *page, const char *body, size_t len)
{
    struct fhir_span entries, entry, resource;
    size_t at = fhir_scan_blank(body, len, 0);

    if (!fhir_scan_member(body, len, at, "entry", &entries))
        return;
    at = entries.offset;
    for (size_t i = 0; i < page->count; i++) {
        if (!fhir_scan_next(body, len, &at, NULL, &entry))
            return;
        if (body[entry.offset] != '{' ||
            !fhir_scan_member(body, len, entry.offset, "resource", &resource))
            continue;
        page->entries[i].offset = resource.offset;
        page->entries[i].len = resource.len;
    }
}

static enum err read_entries(json_t *root, const char *body, size_t len,
                             struct fhir_page *page)
{
    json_t *list = json_object_get(root, "entry");
    json_t *entry;
    size_t i;

    if (list != NULL && !json_is_array(list))
        return ERR_FORM;
    if (json_array_size(list) > FHIR_PAGE_ENTRIES_MAX)
        return ERR_LIMIT;
    page->entries = calloc(json_array_size(list) + 1, sizeof(*page->entries));
    if (page->entries == NULL)
        return ERR_MEMORY;
    page->text = malloc(len + 1); /* no address is longer than the body */
    if (page->text == NULL)
        return ERR_MEMORY;
    page->text_size = len + 1;
    page->count = json_array_size(list);
    json_array_foreach(list, i, entry)
    {
        read_entry(page, entry, &page->entries[i]);
    }
    find_spans(page, body, len);
    return ERR_OK;
}

static enum err read_single(json_t *root, const char *body, size_t len,
                            struct fhir_page *page)
{
    page->entries = calloc(1, sizeof(*page->entries));
    if (page->entries == NULL)
        return ERR_MEMORY;
    page->count = 1;
    page->entries[0].matched = true;
    read_resource(root, &page->entries[0]);
    page->entries[0].offset = fhir_scan_blank(body, len, 0);
    page->entries[0].len = len - page->entries[0].offset;
    return page->entries[0].type_name != NULL ? ERR_OK : ERR_FORM;
}

enum err fhir_page_read(const char *body, size_t len, struct fhir_page *page)
{
    struct outcome outcome;
    json_t *root;
    enum err e;

    memset(page, 0, sizeof(*page));
    outcome_init(&outcome);
    e = fhir_load(body, len, &outcome, &root);
    if (e != ERR_OK)
        return e;
    page->tree = root;
    if (!json_is_object(root)) {
        e = ERR_FORM;
    } else {
        page->kind = kind_of(root);
        page->next = find_next(root);
        e = page->kind == PAGE_RESOURCE ? read_single(root, body, len, page)
                                        : read_entries(root, body, len, page);
    }
    if (e != ERR_OK)
        fhir_page_clear(page);
    return e;
}

void fhir_page_clear(struct fhir_page *page)
{
    free(page->entries);
    free(page->text);
    json_decref(page->tree);
    memset(page, 0, sizeof(*page));
}

const char *fhir_page_identifier(const struct fhir_page *page, size_t i,
                                 const char *system)
{
    json_t *resource = page->tree, *identifier;
    size_t k;

    if (page->kind != PAGE_RESOURCE)
        resource = json_object_get(
            json_array_get(json_object_get(page->tree, "entry"), i),
            "resource");
    json_array_foreach(json_object_get(resource, "identifier"), k, identifier)
    {
        if (fhir_is(identifier, "system", system))
            return fhir_string(identifier, "value");
    }
    return NULL;
}

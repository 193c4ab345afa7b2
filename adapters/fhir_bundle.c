#include "adapters/fhir_json.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- entries of a Bundle ---------------------------------------------- */

/* "Observation" for a POST, "Observation/o1" for a PUT. */
static void check_url(struct fhir_ctx *c, const char *url, bool put)
{
    struct fhir_item *item = c->item;
    const char *type = item->type_name;
    size_t len = type != NULL ? strlen(type) : 0;

    if (len == 0)
        return; /* the resource is refused for that */
    if (strncmp(url, type, len) != 0 ||
        (url[len] != '\0' && url[len] != '/' && url[len] != '?')) {
        fhir_say(c, SEV_ERROR, "bad-value",
                 "The URL does not name the type of the resource");
        return;
    }
    if (put && url[len] == '?') {
        item->condition = url + len + 1;
        return;
    }
    if (put ? url[len] != '/' || !fhir_is_id(url + len + 1)
            : url[len] != '\0') {
        fhir_say(c, SEV_ERROR, "bad-value",
                 put ? "A PUT goes to Type/id or Type?identifier="
                     : "A POST goes to Type");
        return;
    }
    if (!put)
        return;
    item->url_id = url + len + 1;
    if (item->id != NULL && strcmp(item->id, item->url_id) != 0)
        fhir_say(c, SEV_ERROR, "bad-value",
                 "The URL and the resource have different ids");
}

static void read_method(struct fhir_ctx *c, json_t *request)
{
    static const char *const others[] = { "GET", "HEAD", "DELETE", "PATCH" };
    struct fhir_item *item = c->item;
    const char *url = fhir_string(request, "url");
    size_t back;

    item->method = fhir_string(request, "method");
    if (item->method == NULL) {
        fhir_say_at(c, "method", SEV_ERROR, "missing-element",
                    "A request needs a method");
        return;
    }
    if (url == NULL) {
        fhir_say_at(c, "url", SEV_ERROR, "missing-element",
                    "A request needs a url");
        return;
    }
    for (size_t i = 0; i < COUNT(others); i++) {
        if (strcmp(others[i], item->method) != 0)
            continue;
        fhir_say_at(c, "method", SEV_ERROR, "not-supported",
                    "Only POST, PUT and PATCH are taken");
        return;
    }
    if (strcmp(item->method, "POST") != 0 && strcmp(item->method, "PUT") != 0) {
        fhir_say_at(c, "method", SEV_ERROR, "bad-value",
                    "Not a method of HTTP that FHIR knows");
        return;
    }
    back = fhir_place_push(&c->place, "url");
    check_url(c, url, strcmp(item->method, "PUT") == 0);
    fhir_place_pop(&c->place, back);
}

/* bdl-3: an entry of a batch or transaction needs a request. */
static void read_request(struct fhir_ctx *c, json_t *entry)
{
    json_t *request = json_object_get(entry, "request");
    struct fhir_item *item = c->item;
    size_t back = fhir_place_push(&c->place, "request");

    if (request == NULL) {
        fhir_say(c, SEV_ERROR, "missing-element",
                 "An entry of a batch or transaction needs a request");
    } else {
        item->if_none_exist = fhir_string(request, "ifNoneExist");
        item->if_match = fhir_string(request, "ifMatch");
        item->if_none_match = fhir_string(request, "ifNoneMatch");
        read_method(c, request);
    }
    fhir_place_pop(&c->place, back);
}

static void start_entry_place(struct fhir_ctx *c, size_t index)
{
    fhir_place_start(&c->place, "Bundle.entry");
    fhir_place_index(&c->place, index);
}

/* An entry of a search that says how the search went. */
static bool is_of_search(const struct fhir_ctx *c, json_t *entry)
{
    return fhir_is(c->doc->root, "type", "searchset") &&
           fhir_is(json_object_get(entry, "search"), "mode", "outcome");
}

static void read_entry(struct fhir_ctx *c, json_t *entry, size_t index)
{
    json_t *resource;

    start_entry_place(c, index);
    if (!json_is_object(entry)) {
        fhir_say(c, SEV_ERROR, "bad-element", "A JSON object is needed here");
        return;
    }
    fhir_shape_check(c, entry, SHAPE_ENTRY);
    if (c->hard > 0)
        return;
    c->item->of_search = is_of_search(c, entry);
    if (c->item->of_search)
        return;
    c->item->full_url = fhir_string(entry, "fullUrl");
    resource = json_object_get(entry, "resource");
    if (c->doc->bundle != BUNDLE_COLLECTION && json_is_object(resource) &&
        fhir_is(json_object_get(entry, "request"), "method", "PATCH")) {
        fhir_read_patch(c, resource, json_object_get(entry, "request"));
        return;
    }
    if (json_is_object(resource)) {
        c->resource = resource;
        fhir_read_resource(c);
        start_entry_place(c, index);
    } else if (resource != NULL) {
        fhir_say_at(c, "resource", SEV_ERROR, "bad-element",
                    "A JSON object is needed here");
        return;
    }
    if (c->doc->bundle != BUNDLE_COLLECTION)
        read_request(c, entry);
    if (resource == NULL)
        fhir_say_at(c, "resource", SEV_ERROR, "missing-element",
                    "An entry without a resource cannot be taken");
}

/* ---- Bundle ----------------------------------------------------------- */

static enum err read_bundle_type(json_t *root, struct outcome *outcome,
                                 enum bundle_type *type)
{
    static const struct {
        const char *word;
        enum bundle_type type;
    } types[] = {
        { "batch", BUNDLE_BATCH },
        { "transaction", BUNDLE_TRANSACTION },
        { "collection", BUNDLE_COLLECTION },
        { "document", BUNDLE_NONE },
        { "message", BUNDLE_NONE },
        { "transaction-response", BUNDLE_NONE },
        { "batch-response", BUNDLE_NONE },
        { "history", BUNDLE_NONE },
        { "searchset", BUNDLE_NONE },
    };
    const char *word = fhir_string(root, "type");

    if (word == NULL)
        return fhir_refuse(outcome, ERR_FORM, "missing-element", "Bundle.type",
                           "Bundle.type is required");
    for (size_t i = 0; i < COUNT(types); i++) {
        if (strcmp(types[i].word, word) != 0)
            continue;
        *type = types[i].type;
        if (*type != BUNDLE_NONE)
            return ERR_OK;
        return fhir_refuse(outcome, ERR_FORM, "not-supported", "Bundle.type",
                           "A batch, transaction or collection is needed");
    }
    return fhir_refuse(outcome, ERR_FORM, "bad-value", "Bundle.type",
                       "Not a type of a Bundle");
}

/* The first page of several would pass for the whole. */
static enum err read_search(json_t *root, struct outcome *outcome,
                            enum bundle_type *type)
{
    json_t *link;
    size_t i;

    json_array_foreach(json_object_get(root, "link"), i, link)
    {
        if (fhir_is(link, "relation", "next"))
            return fhir_refuse(outcome, ERR_FORM, "incomplete", "Bundle.link",
                               "One page of a search that has more: take all "
                               "of it, in one Bundle");
    }
    *type = BUNDLE_COLLECTION;
    return ERR_OK;
}

/* The Bundle around its entries; what is wrong there refuses it whole. */
static enum err check_bundle(const struct fhir_reader *reader,
                             struct fhir_doc *doc, struct outcome *outcome)
{
    struct fhir_item *scratch = calloc(1, sizeof(*scratch));
    json_t *entries = json_object_get(doc->root, "entry");
    struct fhir_ctx c;
    enum err e = ERR_OK;

    if (scratch == NULL)
        return ERR_MEMORY;
    fhir_start(&c, reader, doc, scratch, doc->root);
    fhir_place_start(&c.place, "Bundle");
    fhir_shape_check(&c, doc->root, SHAPE_BUNDLE);
    if (entries != NULL && json_array_size(entries) == 0)
        fhir_say_at(&c, "entry", SEV_ERROR, "bad-element",
                    "A list with at least one entry is needed here");
    if (c.hard > 0) {
        *outcome = scratch->outcome;
        e = ERR_FORM;
    }
    free(scratch);
    if (e == ERR_OK && reader->searches &&
        fhir_is(doc->root, "type", "searchset"))
        return read_search(doc->root, outcome, &doc->bundle);
    return e == ERR_OK ? read_bundle_type(doc->root, outcome, &doc->bundle) : e;
}

/* Where each entry's resource stands in the body. */
static void find_spans(struct fhir_doc *doc, const char *body, size_t len)
{
    struct fhir_span entries, entry, resource;
    size_t at = fhir_scan_blank(body, len, 0);

    if (!fhir_scan_member(body, len, at, "entry", &entries))
        return;
    at = entries.offset;
    for (size_t i = 0; i < doc->count; i++) {
        if (!fhir_scan_next(body, len, &at, NULL, &entry))
            return;
        if (body[entry.offset] != '{' ||
            !fhir_scan_member(body, len, entry.offset, "resource", &resource))
            continue;
        doc->items[i].offset = resource.offset;
        doc->items[i].len = resource.len;
    }
}

static int by_target(const void *a, const void *b)
{
    const struct fhir_item *x = *(struct fhir_item *const *)a;
    const struct fhir_item *y = *(struct fhir_item *const *)b;
    int order = strcmp(x->url_id, y->url_id);

    if (order == 0)
        order = (int)x->type - (int)y->type;
    return order != 0 ? order : (x > y) - (x < y);
}

/*
 * A transaction that replaces one resource twice fails (R4, http.html,
 * 3.1.0.11.2): which of the two is to stay is not said.
 */
static enum err check_overlap(struct fhir_doc *doc)
{
    struct fhir_item **puts =
        calloc(doc->count + 1, sizeof(struct fhir_item *));
    size_t count = 0;
    char place[64];

    if (puts == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < doc->count; i++) {
        if (doc->items[i].url_id != NULL)
            puts[count++] = &doc->items[i];
    }
    qsort(puts, count, sizeof(struct fhir_item *), by_target);
    for (size_t i = 1; i < count; i++) {
        if (puts[i - 1]->type != puts[i]->type ||
            strcmp(puts[i - 1]->url_id, puts[i]->url_id) != 0)
            continue;
        snprintf(place, sizeof(place), "Bundle.entry[%zu].request.url",
                 (size_t)(puts[i] - doc->items));
        outcome_add(&puts[i]->outcome, SEV_ERROR, "invariant", place,
                    "An entry before this one replaces the same resource");
    }
    free(puts);
    return ERR_OK;
}

enum err fhir_read_bundle(const struct fhir_reader *reader,
                          struct fhir_doc *doc, const char *body, size_t len,
                          struct outcome *outcome)
{
    json_t *entries = json_object_get(doc->root, "entry");
    enum err e = check_bundle(reader, doc, outcome);
    json_t *entry;
    size_t i;

    if (e != ERR_OK)
        return e;
    if (json_array_size(entries) > reader->entries_max) {
        outcome_add(outcome, SEV_ERROR, "too-many", "Bundle.entry",
                    "At most %zu entries are taken", reader->entries_max);
        return ERR_LIMIT;
    }
    doc->items = calloc(json_array_size(entries) + 1, sizeof(*doc->items));
    if (doc->items == NULL)
        return ERR_MEMORY;
    doc->count = json_array_size(entries);
    json_array_foreach(entries, i, entry)
    {
        struct fhir_ctx c;

        fhir_start(&c, reader, doc, &doc->items[i], NULL);
        read_entry(&c, entry, i);
        fhir_finish(&c);
        if (c.err != ERR_OK)
            return c.err;
    }
    find_spans(doc, body, len);
    return doc->bundle == BUNDLE_TRANSACTION ? check_overlap(doc) : ERR_OK;
}

#include "adapters/fhir_task.h"

#include "adapters/fhir_out.h"

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
    if (fhir_is(t->tree, "resourceType", type))
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

/* ---- references that only we know --------------------------------------- */

struct localiser {
    const char *json;
    size_t len;
    fhir_map_ref_fn map;
    void *arg;
    struct buf *out;
    enum err err;
};

static void localise_value(struct localiser *l, const char *key,
                           struct fhir_span value);

/* A string of JSON as the parser reads it; NULL if it is none. */
static json_t *string_at(struct localiser *l, struct fhir_span at)
{
    json_t *text;

    if (at.len == 0 || l->json[at.offset] != '"')
        return NULL;
    text = json_loadb(l->json + at.offset, at.len, JSON_DECODE_ANY, NULL);
    if (text == NULL)
        l->err = ERR_MEMORY;
    return text;
}

/* Is it a Reference, and one to be replaced?  Then *ref says by what. */
static bool mapped(struct localiser *l, struct fhir_span object,
                   struct fhir_out_ref *ref)
{
    struct fhir_span value;
    json_t *literal;
    bool yes;

    if (!fhir_scan_member(l->json, l->len, object.offset, "reference", &value))
        return false;
    literal = string_at(l, value);
    if (literal == NULL)
        return false;
    *ref = (struct fhir_out_ref){ .literal = NULL };
    yes = l->map(l->arg, json_string_value(literal), ref);
    json_decref(literal);
    return yes && (ref->literal != NULL || ref->value != NULL);
}

static void put_new_reference(struct localiser *l,
                              const struct fhir_out_ref *ref)
{
    if (ref->literal != NULL)
        fhir_out_text(l->out, "reference", ref->literal);
    else
        fhir_out_identifier(l->out, "identifier", "", ref->system, ref->value);
}

static void localise_object(struct localiser *l, struct fhir_span object)
{
    struct fhir_out_ref ref;
    bool is_mapped = mapped(l, object, &ref), typed = false, shown = false;
    struct fhir_span key, value;
    size_t at = object.offset;

    while (fhir_scan_next(l->json, l->len, &at, &key, &value)) {
        json_t *name = string_at(l, key);

        if (name == NULL)
            return;
        if (is_mapped && fhir_scan_is(l->json, key, "reference"))
            put_new_reference(l, &ref);
        else if (!is_mapped || ref.literal != NULL ||
                 !fhir_scan_is(l->json, key, "identifier"))
            localise_value(l, json_string_value(name), value);
        typed = typed || fhir_scan_is(l->json, key, "type");
        shown = shown || fhir_scan_is(l->json, key, "display");
        json_decref(name);
    }
    if (is_mapped && !typed)
        fhir_out_text(l->out, "type", ref.type);
    if (is_mapped && !shown)
        fhir_out_text(l->out, "display", ref.display);
}

/* Recursion ends: the depth was checked when the text was loaded. */
static void localise_value(struct localiser *l, const char *key,
                           struct fhir_span value)
{
    char bracket = l->json[value.offset];
    size_t at = value.offset;
    struct fhir_span item;

    if (bracket == '{') {
        fhir_out_open(l->out, key, '{');
        localise_object(l, value);
        fhir_out_close(l->out, '}');
    } else if (bracket == '[') {
        fhir_out_open(l->out, key, '[');
        while (fhir_scan_next(l->json, l->len, &at, NULL, &item))
            localise_value(l, NULL, item);
        fhir_out_close(l->out, ']');
    } else {
        fhir_out_raw(l->out, key, l->json + value.offset, value.len);
    }
}

enum err fhir_task_localise(const char *json, size_t len, fhir_map_ref_fn map,
                            void *arg, struct buf *out)
{
    struct localiser l = {
        .json = json, .len = len, .map = map, .arg = arg, .out = out
    };
    struct fhir_task_text t;
    enum err e = fhir_task_load(json, len, "Task", &t);

    if (e != ERR_OK)
        return e;
    buf_puts(out, "{");
    localise_object(&l, (struct fhir_span){ 0, len });
    buf_puts(out, "}");
    json_decref(t.tree);
    return l.err != ERR_OK ? l.err : buf_ok(out);
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

static enum err sole_match(json_t *bundle, char id[72])
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

enum err fhir_sole_match(const char *json, size_t len, char id[72])
{
    struct fhir_task_text t;
    enum err e = fhir_task_load(json, len, "Bundle", &t);

    if (e != ERR_OK)
        return e;
    e = sole_match(t.tree, id);
    json_decref(t.tree);
    return e;
}

/* A resource in the words of a record: references that only we know. */
#include "adapters/fhir_task.h"

#include "adapters/fhir_out.h"

#include <stdio.h>
#include <string.h>

/* A literal that is longer names nothing that is kept here; a name that is
 * longer is read as any string. */
enum { LITERAL_SIZE = 256, NAME_SIZE = 64 };

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

/* The name of a member: most are short and have no escapes. */
struct member_name {
    const char *text; /* NULL: no memory */
    char plain[NAME_SIZE];
    json_t *parsed; /* NULL: it is plain */
};

static void read_name(struct localiser *l, struct fhir_span key,
                      struct member_name *n)
{
    const char *at = l->json + key.offset + 1;
    size_t len = key.len - 2; /* between the quotes */

    n->parsed = NULL;
    if (key.len > 2 && len < NAME_SIZE && memchr(at, '\\', len) == NULL) {
        memcpy(n->plain, at, len);
        n->plain[len] = '\0';
        n->text = n->plain;
        return;
    }
    n->parsed = string_at(l, key);
    n->text = n->parsed != NULL ? json_string_value(n->parsed) : NULL;
}

/* What is asked of map() is what the reference names, of whatever version; that
 * map() gives a version means something only where one was named. */
static bool ask(struct localiser *l, const char *literal,
                struct fhir_out_ref *ref)
{
    const char *version = strstr(literal, "/_history/");
    char plain[LITERAL_SIZE];
    bool yes;

    *ref = (struct fhir_out_ref){ .literal = NULL };
    if (version == NULL) {
        yes = l->map(l->arg, literal, ref);
        ref->version = NULL;
    } else {
        if ((size_t)(version - literal) >= sizeof(plain))
            return false;
        snprintf(plain, sizeof(plain), "%.*s", (int)(version - literal),
                 literal);
        yes = l->map(l->arg, plain, ref);
    }
    return yes && (ref->literal != NULL || ref->value != NULL);
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
    yes = ask(l, json_string_value(literal), ref);
    json_decref(literal);
    return yes;
}

static void put_new_reference(struct localiser *l,
                              const struct fhir_out_ref *ref)
{
    if (ref->literal != NULL)
        fhir_out_literal(l->out, "reference", ref);
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
        struct member_name name;

        read_name(l, key, &name);
        if (name.text == NULL)
            return;
        if (is_mapped && fhir_scan_is(l->json, key, "reference"))
            put_new_reference(l, &ref);
        else if (!is_mapped || ref.literal != NULL ||
                 !fhir_scan_is(l->json, key, "identifier"))
            localise_value(l, name.text, value);
        typed = typed || fhir_scan_is(l->json, key, "type");
        shown = shown || fhir_scan_is(l->json, key, "display");
        json_decref(name.parsed);
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

enum err fhir_localise(const char *json, size_t len, fhir_map_ref_fn map,
                       void *arg, struct buf *out)
{
    struct localiser l = {
        .json = json, .len = len, .map = map, .arg = arg, .out = out
    };
    struct fhir_task_text t;
    enum err e = fhir_task_load(json, len, NULL, &t);

    if (e != ERR_OK)
        return e;
    buf_puts(out, "{");
    localise_object(&l, (struct fhir_span){ 0, len });
    buf_puts(out, "}");
    json_decref(t.tree);
    return l.err != ERR_OK ? l.err : buf_ok(out);
}

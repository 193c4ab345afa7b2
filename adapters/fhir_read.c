#include "adapters/fhir_json.h"

#include <stdlib.h>
#include <string.h>

/* ---- words of the header ---------------------------------------------- */

const char *hold_word(enum hold h)
{
    static const char *const words[HOLD_COUNT] = {
        [HOLD_NONE] = "none",           [HOLD_UNIT] = "unit",
        [HOLD_CODE] = "code",           [HOLD_IMPLAUSIBLE] = "implausible",
        [HOLD_SIDE] = "side",           [HOLD_ACCESS] = "access",
        [HOLD_TIME] = "time",           [HOLD_VALUE] = "value",
        [HOLD_OTHERWISE] = "otherwise",
    };

    return (unsigned)h < HOLD_COUNT ? words[h] : "unknown";
}

bool fhir_reading_is_urgent(const struct fhir_reading *r)
{
    const struct reading *of = &r->reading;

    return reading_is_emergency(of) ||
           (r->unread && reading_may_be_emergency(of->quantity, of->sign));
}

const char *access_how_word(enum access_how h)
{
    static const char *const words[] = {
        [ACCESS_BY_FOCUS_REF] = "focus-ref",
        [ACCESS_BY_FOCUS_ID] = "focus-id",
        [ACCESS_BY_BODYSITE_EXT] = "bodysite-ext",
        [ACCESS_BY_R5_EXT] = "r5-ext",
        [ACCESS_BY_CONTAINED] = "contained",
        [ACCESS_BY_SITE] = "bodysite-match",
        [ACCESS_BY_SOLE] = "sole-access",
        [ACCESS_BY_IMPLIED] = "implied",
        [ACCESS_BY_PERSON] = "person",
    };

    return (unsigned)h < COUNT(words) ? words[h] : "unknown";
}

enum bundle_type fhir_doc_bundle(const struct fhir_doc *doc)
{
    return doc->bundle;
}

size_t fhir_doc_count(const struct fhir_doc *doc)
{
    return doc->count;
}

struct fhir_item *fhir_doc_item(struct fhir_doc *doc, size_t i)
{
    return i < doc->count ? &doc->items[i] : NULL;
}

/* ---- one resource ----------------------------------------------------- */

static const struct reader {
    const char *name;
    enum fhir_type type;
    enum fhir_shape shape;
    void (*read)(struct fhir_ctx *c);
} readers[] = {
    { "Observation", FHIR_OBSERVATION, SHAPE_OBSERVATION,
      fhir_read_observation },
    { "BodyStructure", FHIR_BODY_STRUCTURE, SHAPE_BODY_STRUCTURE,
      fhir_read_body_structure },
    { "Patient", FHIR_PATIENT, SHAPE_PATIENT, fhir_read_patient },
    { "Task", FHIR_TASK, SHAPE_TASK, fhir_check_task },
};

static const struct reader *find_reader(const char *name)
{
    for (size_t i = 0; i < COUNT(readers); i++) {
        if (strcmp(readers[i].name, name) == 0)
            return &readers[i];
    }
    return NULL;
}

void fhir_start(struct fhir_ctx *c, const struct fhir_reader *reader,
                struct fhir_doc *doc, struct fhir_item *item, json_t *resource)
{
    *c = (struct fhir_ctx){
        .reader = reader, .doc = doc, .item = item, .resource = resource
    };
    outcome_init(&item->outcome);
}

void fhir_read_resource(struct fhir_ctx *c)
{
    struct fhir_item *item = c->item;
    const char *name = fhir_string(c->resource, "resourceType");
    const struct reader *reader;
    char root[64];

    if (name == NULL || !fhir_shape_path(name, root, sizeof(root))) {
        fhir_place_start(&c->place, "Resource");
        fhir_say_at(c, "resourceType", SEV_ERROR, "not-a-resource",
                    "A JSON object with a resourceType is needed");
        return;
    }
    item->type_name = name;
    item->tree = c->resource;
    fhir_place_start(&c->place, root);
    reader = find_reader(name);
    if (reader == NULL) {
        item->type = strcmp(name, "Bundle") == 0 ? FHIR_BUNDLE : FHIR_OTHER;
        fhir_say(c, SEV_ERROR, "not-supported",
                 "Resources of type %s are not taken", fhir_echo(root));
        return;
    }
    item->type = reader->type;
    fhir_shape_check(c, c->resource, reader->shape);
    if (c->hard > 0)
        return;
    item->id = fhir_string(c->resource, "id");
    fhir_read_identifiers(c);
    reader->read(c);
    if (c->err == ERR_OK)
        c->err = fhir_digest(c->resource, item->digest);
}

void fhir_finish(struct fhir_ctx *c)
{
    c->item->only_held = c->held > 0 && c->hard == 0;
}

enum err fhir_refuse(struct outcome *outcome, enum err e, const char *word,
                     const char *place, const char *text)
{
    outcome_add(outcome, SEV_ERROR, word, place, "%s", text);
    return e;
}

/* ---- the way in ------------------------------------------------------- */

static enum err read_single(const struct fhir_reader *reader,
                            struct fhir_doc *doc, const char *body, size_t len)
{
    struct fhir_ctx c;
    struct fhir_item *item = calloc(1, sizeof(*item));

    if (item == NULL)
        return ERR_MEMORY;
    doc->items = item;
    doc->count = 1;
    fhir_start(&c, reader, doc, item, doc->root);
    fhir_read_resource(&c);
    fhir_finish(&c);
    item->offset = fhir_scan_blank(body, len, 0);
    while (len > item->offset && strchr(" \t\r\n", body[len - 1]) != NULL)
        len--;
    item->len = len - item->offset;
    return c.err;
}

enum err fhir_read(const struct fhir_reader *reader, const char *body,
                   size_t len, struct outcome *outcome, struct fhir_doc **doc)
{
    struct fhir_doc *d = calloc(1, sizeof(*d));
    const char *name;
    char path[64];
    enum err e;

    if (d == NULL)
        return ERR_MEMORY;
    e = fhir_load(body, len, outcome, &d->root);
    if (e != ERR_OK)
        goto undo;
    name = fhir_string(d->root, "resourceType");
    if (name == NULL || !fhir_shape_path(name, path, sizeof(path))) {
        e = fhir_refuse(outcome, ERR_FORM, "not-a-resource", "",
                        "A JSON object with a resourceType is needed");
        goto undo;
    }
    if (fhir_is(d->root, "resourceType", "Bundle"))
        e = fhir_read_bundle(reader, d, body, len, outcome);
    else
        e = read_single(reader, d, body, len);
    if (e != ERR_OK)
        goto undo;
    *doc = d;
    return ERR_OK;
undo:
    fhir_doc_free(d);
    return e;
}

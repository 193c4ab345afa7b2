#include "adapters/fhir_json.h"

#include <string.h>

/*
 * How an Observation names its access, first the best way: focus by
 * reference, focus by identifier, the R4 extension, the one of R5.  Which of
 * them is known is for the caller to find out.
 */
enum { FOCUS_READ_MAX = 8 };

static const char url_body_site[] =
    "http://hl7.org/fhir/StructureDefinition/bodySite";
static const char url_r5_body_structure[] =
    "http://hl7.org/fhir/5.0/StructureDefinition/"
    "extension-Observation.bodyStructure";

static void add_name(struct fhir_observation *o, enum access_how how,
                     const struct fhir_ref *ref)
{
    if (o->name_count < FHIR_FOCUS_MAX)
        o->names[o->name_count++] =
            (struct fhir_access_name){ .how = how, .ref = *ref };
}

/* A focus may be anything; an access is one of these, or its type is not
 * said.  A site may map a device or procedure to an access. */
static bool may_be_access(const struct fhir_ref *ref)
{
    static const char *const types[] = { "BodyStructure", "Device",
                                         "Procedure" };
    const char *type = ref->type;
    size_t len = type != NULL ? strlen(type) : 0;

    if (ref->literal != NULL) {
        size_t n;
        const char *of_literal = fhir_ref_type(ref->literal, &n);

        if (n > 0) {
            type = of_literal;
            len = n;
        }
    }
    for (size_t i = 0; i < COUNT(types); i++) {
        if (strlen(types[i]) == len && memcmp(types[i], type, len) == 0)
            return true;
    }
    return len == 0;
}

static void read_focus(struct fhir_ctx *c, struct fhir_observation *o)
{
    struct fhir_ref refs[FOCUS_READ_MAX];
    bool contained[FOCUS_READ_MAX] = { false };
    json_t *value;
    size_t i, count = 0, back = fhir_place_push(&c->place, "focus");

    json_array_foreach(json_object_get(c->resource, "focus"), i, value)
    {
        size_t at = fhir_place_index(&c->place, i);

        if (count < COUNT(refs)) {
            fhir_ref_read(c, value, &refs[count], &contained[count]);
            if (may_be_access(&refs[count]))
                count++;
        }
        fhir_place_pop(&c->place, at);
    }
    fhir_place_pop(&c->place, back);
    for (i = 0; i < count; i++) {
        if (contained[i] && refs[i].value != NULL)
            add_name(o, ACCESS_BY_CONTAINED, &refs[i]);
        else if (refs[i].literal != NULL)
            add_name(o, ACCESS_BY_FOCUS_REF, &refs[i]);
    }
    for (i = 0; i < count; i++) {
        if (!contained[i] && refs[i].value != NULL)
            add_name(o, ACCESS_BY_FOCUS_ID, &refs[i]);
    }
}

/* Extensions of this URL that refer to a BodyStructure. */
static void read_extensions(struct fhir_ctx *c, json_t *holder, const char *url,
                            enum access_how how)
{
    struct fhir_observation *o = &c->item->u.observation;
    json_t *extension;
    size_t i, back = fhir_place_push(&c->place, "extension");

    json_array_foreach(json_object_get(holder, "extension"), i, extension)
    {
        json_t *value = json_object_get(extension, "valueReference");
        size_t at = fhir_place_index(&c->place, i);
        size_t in = fhir_place_push(&c->place, "valueReference");
        struct fhir_ref ref;
        bool contained;

        if (value != NULL && fhir_is(extension, "url", url)) {
            fhir_ref_read(c, value, &ref, &contained);
            if (may_be_access(&ref) &&
                (ref.literal != NULL || ref.value != NULL))
                add_name(o, contained ? ACCESS_BY_CONTAINED : how, &ref);
        }
        fhir_place_pop(&c->place, in);
        fhir_place_pop(&c->place, at);
    }
    fhir_place_pop(&c->place, back);
}

void fhir_read_names(struct fhir_ctx *c)
{
    struct fhir_observation *o = &c->item->u.observation;
    json_t *site = json_object_get(c->resource, "bodySite");
    size_t back;

    read_focus(c, o);
    read_extensions(c, c->resource, url_body_site, ACCESS_BY_BODYSITE_EXT);
    back = fhir_place_push(&c->place, "bodySite");
    read_extensions(c, site, url_body_site, ACCESS_BY_BODYSITE_EXT);
    fhir_place_pop(&c->place, back);
    read_extensions(c, c->resource, url_r5_body_structure, ACCESS_BY_R5_EXT);
}

#include "service/intake_refs.h"

#include <string.h>

bool ref_is_local(const char *literal)
{
    return literal != NULL && (strncmp(literal, "urn:uuid:", 9) == 0 ||
                               strncmp(literal, "urn:oid:", 8) == 0);
}

/* What became of the entry with this fullUrl. */
enum found {
    FOUND,     /* applied: its reference is known */
    NOT_YET,   /* still to be applied */
    OTHER,     /* of another type than the one looked for */
    NOT_THERE, /* no such entry, or one that was refused */
};

static enum found find(struct intake *in, const char *urn, enum fhir_type type,
                       const char **literal)
{
    for (size_t i = 0; i < fhir_doc_count(in->doc); i++) {
        const struct fhir_item *item = fhir_doc_item(in->doc, i);
        const struct intake_result *result = &in->results[i];

        if (item->full_url == NULL || strcmp(item->full_url, urn) != 0)
            continue;
        if (item->type != type)
            return OTHER;
        if (result->status == 0)
            return NOT_YET;
        *literal = result->reference;
        return result->status < 400 ? FOUND : NOT_THERE;
    }
    return NOT_THERE;
}

static void refuse(struct intake *in, size_t i, const char *place,
                   const char *urn)
{
    in->results[i].status = 400;
    outcome_add(&fhir_doc_item(in->doc, i)->outcome, SEV_ERROR, "bad-reference",
                place,
                "No entry of this Bundle that was taken has the fullUrl "
                "%.60s",
                urn);
}

/* Whom it is about: there is no doing without. */
static void follow_person(struct intake *in, size_t at, struct fhir_ref *ref,
                          const char *place)
{
    if (ref_is_local(ref->literal) &&
        find(in, ref->literal, FHIR_PATIENT, &ref->literal) != FOUND)
        refuse(in, at, place, ref->literal);
}

/* A focus may be another thing than an access, and is then not used. */
static void follow_names(struct intake *in, size_t at)
{
    struct fhir_observation *o = &fhir_doc_item(in->doc, at)->u.observation;
    size_t kept = 0;

    for (size_t i = 0; i < o->name_count; i++) {
        struct fhir_access_name name = o->names[i];
        enum found f = FOUND;

        if (ref_is_local(name.ref.literal))
            f = find(in, name.ref.literal, FHIR_BODY_STRUCTURE,
                     &name.ref.literal);
        if (f == FOUND)
            o->names[kept++] = name;
        else if (f != OTHER)
            refuse(in, at, "Observation.focus", name.ref.literal);
    }
    o->name_count = kept;
}

static bool must_wait(struct intake *in, const struct fhir_observation *o)
{
    const char *literal;

    for (size_t i = 0; i < o->derived_count; i++) {
        if (ref_is_local(o->derived_from[i]) &&
            find(in, o->derived_from[i], FHIR_OBSERVATION, &literal) == NOT_YET)
            return true;
    }
    return false;
}

static void follow_sources(struct intake *in, size_t at)
{
    struct fhir_observation *o = &fhir_doc_item(in->doc, at)->u.observation;
    size_t kept = 0;

    for (size_t i = 0; i < o->derived_count; i++) {
        const char *literal = o->derived_from[i];
        enum found f = FOUND;

        if (ref_is_local(literal))
            f = find(in, literal, FHIR_OBSERVATION, &literal);
        if (f == FOUND)
            o->derived_from[kept++] = literal;
        else if (f != OTHER) /* a picture, say, is no source of numbers */
            refuse(in, at, "Observation.derivedFrom", literal);
    }
    o->derived_count = kept;
}

bool intake_refs(struct intake *in, size_t i, bool last)
{
    struct fhir_item *item = fhir_doc_item(in->doc, i);

    if (item->type == FHIR_BODY_STRUCTURE)
        follow_person(in, i, &item->u.access.patient, "BodyStructure.patient");
    if (item->type != FHIR_OBSERVATION)
        return true;
    if (!last && must_wait(in, &item->u.observation))
        return false;
    follow_person(in, i, &item->u.observation.subject, "Observation.subject");
    follow_names(in, i);
    follow_sources(in, i);
    return true;
}

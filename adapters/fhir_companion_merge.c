/*
 * What goes beside a Task, and what the record has of it, become one.  The
 * base is the record's and the other is ours, see fhir_merge.h.
 */
#include "adapters/fhir_companion.h"

#include "adapters/fhir_merge.h"

#include <string.h>

static const struct kind {
    enum fhir_type type;
    const char *name;
    const char *live; /* the status in which it is ours to change */
} kinds[] = {
    { FHIR_DOCUMENT_REFERENCE, "DocumentReference", "current" },
    { FHIR_SERVICE_REQUEST, "ServiceRequest", "draft" },
    { FHIR_FLAG, "Flag", "active" },
    { FHIR_PROVENANCE, "Provenance", "" }, /* has none: written once */
    { FHIR_LIST, "List", "current" },
};

static const struct kind *kind_of(enum fhir_type type)
{
    for (size_t i = 0; i < COUNT(kinds); i++) {
        if (kinds[i].type == type)
            return &kinds[i];
    }
    return NULL;
}

/* Someone vouches for what it says. */
static bool is_signed(json_t *theirs)
{
    return json_object_get(theirs, "docStatus") != NULL &&
           !fhir_is(theirs, "docStatus", "preliminary");
}

static enum fhir_take take_of(const struct fhir_merge *m, const char *name)
{
    if (strcmp(name, "id") == 0 || strcmp(name, "resourceType") == 0)
        return TAKE_BASE;
    if (strcmp(name, "meta") == 0)
        return TAKE_NONE;
    if (is_signed(m->base->tree))
        return strcmp(name, "status") == 0 ? TAKE_PREFER : TAKE_BASE;
    if (strcmp(name, "text") == 0)
        return TAKE_NONE;
    /* who is no longer on our list must not stay on theirs */
    if (fhir_is(m->base->tree, "resourceType", "List") &&
        (strcmp(name, "entry") == 0 || strcmp(name, "emptyReason") == 0))
        return TAKE_OTHER;
    return strcmp(name, "note") == 0 ? TAKE_UNITE : TAKE_PREFER;
}

static enum err merge_kind(const struct kind *k,
                           const struct fhir_task_text *mine,
                           const struct fhir_task_text *base, bool *same,
                           struct buf *out)
{
    struct fhir_merge m = { .base = base, .other = mine, .take = take_of };
    struct buf merged;
    enum err e;

    if (!fhir_is(base->tree, "status", k->live)) {
        /* taken up, put aside or ended: a person's word stands */
        *same = true;
        buf_add(out, base->json, base->len);
        return buf_ok(out);
    }
    buf_init(&merged, out->ceiling);
    e = fhir_merge_write(&m, &merged);
    if (e == ERR_OK)
        e = fhir_merge_same(base, &merged, same);
    if (e == ERR_OK) {
        buf_add(out, *same ? base->json : merged.data,
                *same ? base->len : merged.len);
        e = buf_ok(out);
    }
    buf_clear(&merged);
    return e;
}

enum err fhir_companion_merge(enum fhir_type type, const char *ours,
                              size_t ours_len, const char *theirs,
                              size_t theirs_len, bool *same, struct buf *out)
{
    const struct kind *k = kind_of(type);
    struct fhir_task_text mine, base;
    enum err e;

    if (k == NULL)
        return ERR_FORM;
    e = fhir_task_load(ours, ours_len, k->name, &mine);
    if (e != ERR_OK)
        return e;
    e = fhir_task_load(theirs, theirs_len, k->name, &base);
    if (e == ERR_OK) {
        e = merge_kind(k, &mine, &base, same, out);
        json_decref(base.tree);
    }
    json_decref(mine.tree);
    return e;
}

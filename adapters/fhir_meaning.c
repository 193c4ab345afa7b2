#include "adapters/fhir_json.h"

#include <string.h>

/*
 * Quantities of which one says more than the other.  A sender who gives both
 * means the narrow one; it is no contradiction.
 */
static const struct {
    enum quantity wide, narrow;
} refinements[] = {
    { Q_BODY_WEIGHT, Q_PRE_WEIGHT }, { Q_BODY_WEIGHT, Q_POST_WEIGHT },
    { Q_KTV_UNSPECIFIED, Q_SPKTV },  { Q_KTV_UNSPECIFIED, Q_EKTV },
    { Q_KTV_UNSPECIFIED, Q_STDKTV },
};

/* How much a meaning tells: a mapped code wins over one that is only known. */
static int strength(enum code_meaning meaning)
{
    switch (meaning) {
    case CODE_UNKNOWN:
        return 0;
    case CODE_IGNORE:
        return 1;
    case CODE_STORE:
        return 2;
    case CODE_QUANTITY:
    case CODE_QUESTION:
    case CODE_STAGE:
        break;
    }
    return 3;
}

static bool refines(enum quantity narrow, enum quantity wide)
{
    for (size_t i = 0; i < COUNT(refinements); i++) {
        if (refinements[i].narrow == narrow && refinements[i].wide == wide)
            return true;
    }
    return false;
}

/* Does it ask for what may be an emergency? */
static bool is_urgent(const struct code_entry *entry)
{
    return reading_may_be_emergency(
        entry->quantity,
        entry->meaning == CODE_QUESTION ? entry->sign : SIGN_NONE);
}

/* Two mapped codings of one code. */
static void merge(struct fhir_meaning *m, const struct code_entry *more)
{
    struct code_entry *entry = &m->entry;

    if (entry->meaning == CODE_QUANTITY && more->meaning == CODE_QUANTITY) {
        if (refines(entry->quantity, more->quantity))
            return;
        if (refines(more->quantity, entry->quantity)) {
            *entry = *more;
            return;
        }
    }
    if (entry->meaning != more->meaning || entry->quantity != more->quantity ||
        entry->sign != more->sign ||
        (entry->side != SIDE_UNKNOWN && more->side != SIDE_UNKNOWN &&
         entry->side != more->side)) {
        m->conflict = true;
        /* nobody knows which is meant: people are told the worse */
        if (is_urgent(more) && !is_urgent(entry))
            *entry = *more;
        return;
    }
    if (entry->side == SIDE_UNKNOWN)
        entry->side = more->side;
    entry->needs_hand = entry->needs_hand && more->needs_hand;
    entry->access_arm = entry->access_arm || more->access_arm;
    /* where two maps say different units, neither is assumed */
    if (entry->unit == NULL)
        entry->unit = more->unit;
    else if (more->unit != NULL && strcmp(entry->unit, more->unit) != 0)
        entry->unit = NULL;
}

struct fhir_meaning fhir_read_meaning(struct fhir_ctx *c, json_t *concept)
{
    struct fhir_meaning m = { .entry = { .meaning = CODE_UNKNOWN } };
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(concept, "coding"), i, coding)
    {
        const char *code = fhir_string(coding, "code");
        struct code_entry entry =
            codes_find(c->reader->codes, fhir_string(coding, "system"), code,
                       fhir_lookup_s(c));

        if (m.code == NULL) {
            m.code = code;
            m.system = fhir_string(coding, "system");
        }
        if (strength(entry.meaning) == 3 && strength(m.entry.meaning) == 3)
            merge(&m, &entry);
        else if (strength(entry.meaning) > strength(m.entry.meaning))
            m.entry = entry;
    }
    return m;
}

const char *fhir_unit_of_text(struct fhir_ctx *c, json_t *concept,
                              const char *text)
{
    const struct codes *codes = c->reader->codes;
    const char *any = codes_unit_text(codes, text, fhir_lookup_s(c));
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(concept, "coding"), i, coding)
    {
        const char *unit =
            codes_unit_of(codes, fhir_string(coding, "system"),
                          fhir_string(coding, "code"), text, fhir_lookup_s(c));

        if (unit != NULL && unit != any) /* it is said of this code */
            return unit;
    }
    return any;
}

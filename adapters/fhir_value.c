#include "adapters/fhir_value.h"

#include <math.h>
#include <string.h>

static bool withdrawn(const struct value *v)
{
    return v->at->status == READING_WITHDRAWN;
}

void fhir_value_hold(struct fhir_reading *r, enum hold why)
{
    if (r->hold == HOLD_NONE && r->reading.status != READING_WITHDRAWN)
        r->hold = why;
}

/* What is withdrawn cannot mislead. */
void fhir_value_say_held(struct value *v, const char *key, const char *word,
                         const char *text)
{
    fhir_say_at(v->c, key, withdrawn(v) ? SEV_INFORMATION : SEV_ERROR, word,
                "%s", text);
    if (!withdrawn(v))
        fhir_say_held(v->c);
}

static void not_computed(struct value *v, const char *why)
{
    if (v->key != NULL)
        fhir_say_at(v->c, v->key, SEV_INFORMATION, "not-computed", "%s", why);
    else
        fhir_say(v->c, SEV_INFORMATION, "not-computed", "%s", why);
}

static const char not_of_use[] =
    "Kept, not used: not the kind of value that this code needs";

/* ---- the reading ------------------------------------------------------ */

/* Side: of the code, else of the body site; where they differ, neither. */
static void set_side(struct value *v, struct fhir_reading *r)
{
    enum side code = v->meaning.entry.side, site = v->at->site.side;
    enum scope scope = quantity_info(r->reading.quantity)->scope;

    r->region = v->at->site.region;
    /* a term of finger pressure that names a side; or a rule of a site */
    if (code != SIDE_UNKNOWN && r->region[0] == '\0' && scope == SCOPE_ARM)
        r->region = "finger";
    r->access_arm = v->meaning.entry.access_arm;
    r->reading.side = code != SIDE_UNKNOWN ? code : site;
    if (code != SIDE_UNKNOWN && site != SIDE_UNKNOWN && code != site) {
        r->reading.side = SIDE_UNKNOWN;
        fhir_value_hold(r, HOLD_SIDE);
        fhir_say_at(v->c, "code", SEV_WARNING, "access-side",
                    "The code names the other side than the body site");
    }
    if (v->at->side_clash && scope != SCOPE_PATIENT)
        fhir_value_hold(r, HOLD_SIDE);
    /* a number of a hand whose side was said, in words that nobody has
     * explained, may be that of the other hand; a sign is shown rather */
    if (v->at->site_unmapped && scope == SCOPE_ARM && !r->access_arm &&
        r->reading.side == SIDE_UNKNOWN &&
        quantity_info(r->reading.quantity)->kind == VALUE_NUMBER)
        fhir_value_hold(r, HOLD_SIDE);
}

struct fhir_reading *fhir_value_add(struct value *v)
{
    struct fhir_observation *o = &v->c->item->u.observation;
    struct fhir_reading *r = &o->readings[o->reading_count++];

    *r = (struct fhir_reading){ .hold = HOLD_NONE };
    r->reading.slot = v->slot;
    r->system = v->meaning.system;
    r->code = v->meaning.code;
    r->reading.quantity = v->meaning.entry.quantity;
    r->reading.status = v->at->status;
    r->reading.start_s = v->at->time.start_s;
    r->reading.end_s = v->at->time.end_s;
    r->reading.precision = v->at->time.precision;
    r->reading.value = NAN;
    r->reading.method = v->at->method;
    if (v->meaning.conflict)
        fhir_value_hold(r, HOLD_CODE);
    set_side(v, r);
    if (v->at->future)
        fhir_value_hold(r, HOLD_TIME);
    v->reading = r;
    return r;
}

void fhir_value_note_unmapped(struct value *v, const char *system,
                              const char *code, bool of_value)
{
    struct fhir_observation *o = &v->c->item->u.observation;

    if (code == NULL || o->unmapped_count == COUNT(o->unmapped) ||
        codes_listed(v->c->reader->codes, system, code, fhir_lookup_s(v->c)))
        return;
    o->unmapped[o->unmapped_count++] = (struct fhir_unmapped){
        .system = system, .code = code, .slot = v->slot, .of_value = of_value
    };
}

/* ---- which of them ---------------------------------------------------- */

static bool is_key(const struct value *v, const char *key)
{
    return strcmp(v->key, key) == 0;
}

static bool is_flag(const struct value *v)
{
    return v->meaning.entry.meaning == CODE_QUESTION ||
           quantity_info(v->meaning.entry.quantity)->kind == VALUE_FLAG;
}

static void decode(struct value *v)
{
    const struct code_entry *entry = &v->meaning.entry;
    enum value_kind kind = quantity_info(entry->quantity)->kind;

    if (entry->quantity == Q_PANEL)
        not_computed(v, "A panel has no value of its own; kept, not used");
    else if (is_flag(v))
        fhir_value_flag(v);
    else if (kind == VALUE_CODE)
        fhir_value_sign(v);
    else if (kind == VALUE_NUMBER && is_key(v, "valueQuantity"))
        fhir_value_quantity(v);
    else if (kind == VALUE_NUMBER && is_key(v, "valueInteger"))
        fhir_value_integer(v);
    else
        not_computed(v, not_of_use);
}

/* Whether the code lets the value be used; says why not. */
static bool is_usable(struct value *v)
{
    const struct code_entry *entry = &v->meaning.entry;
    const char *region = v->at->site.region;

    if (entry->meaning == CODE_UNKNOWN) {
        fhir_value_note_unmapped(v, v->meaning.system, v->meaning.code, false);
        if (v->meaning.code == NULL) /* no map can ever know it */
            fhir_say_at(v->c, "code", SEV_WARNING, "code-unknown",
                        "What was measured is said as a text alone, without a "
                        "code; kept, not used");
        else
            fhir_say_at(v->c, "code", SEV_INFORMATION, "code-unknown",
                        "Code '%s' is not mapped; kept, not used",
                        fhir_echo(v->meaning.code));
        return false;
    }
    if (entry->meaning == CODE_IGNORE || entry->meaning == CODE_STORE) {
        fhir_say_at(v->c, "code", SEV_INFORMATION, "not-computed",
                    "Code '%s' is known and not used here; kept",
                    fhir_echo(v->meaning.code));
        return false;
    }
    if (entry->needs_hand && strcmp(region, "hand") != 0 &&
        strcmp(region, "finger") != 0) {
        fhir_say_at(v->c, "code", SEV_INFORMATION, "not-computed",
                    "Used only where the body site is a hand or finger; kept");
        return false;
    }
    return true;
}

static void find_value(struct value *v)
{
    const char *key;
    json_t *json;

    json_object_foreach(v->holder, key, json)
    {
        if (strncmp(key, "value", 5) == 0) {
            v->key = key;
            v->json = json;
        }
    }
}

/* The codings contradict: held, with a reading to release in any case. */
static void code_conflict(struct value *v)
{
    if (v->reading == NULL && v->key != NULL)
        fhir_value_add(v);
    fhir_value_say_held(v, "code", "code-conflict",
                        "Codings of the code mean different things");
}

void fhir_read_value(struct fhir_ctx *c, json_t *holder, int slot,
                     const struct fhir_circumstances *at)
{
    struct value v = { .c = c, .holder = holder, .at = at, .slot = slot };
    bool absent = json_object_get(holder, "dataAbsentReason") != NULL;

    if (json_object_get(holder, "code") == NULL)
        return; /* said already, or entered in error */
    find_value(&v);
    v.meaning = fhir_read_meaning(c, json_object_get(holder, "code"));
    if (v.key != NULL && absent) {
        fhir_say_at(c, "dataAbsentReason", SEV_ERROR, "invariant",
                    "obs-6: either a value or a reason for its absence");
        return;
    }
    if (!is_usable(&v))
        return;
    if (v.key != NULL)
        decode(&v);
    else
        fhir_value_absent(&v, json_object_get(holder, "dataAbsentReason"));
    if (v.meaning.conflict)
        code_conflict(&v);
}

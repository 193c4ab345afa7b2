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
}

struct fhir_reading *fhir_value_add(struct value *v)
{
    struct fhir_observation *o = &v->c->item->u.observation;
    struct fhir_reading *r = &o->readings[o->reading_count++];

    *r = (struct fhir_reading){ .hold = HOLD_NONE };
    r->reading.slot = v->slot;
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

/* For whoever is to add it to a map. */
static void note_unmapped(struct value *v, const char *system, const char *code,
                          bool of_value)
{
    struct fhir_observation *o = &v->c->item->u.observation;

    if (code == NULL || o->unmapped_count == COUNT(o->unmapped) ||
        codes_listed(v->c->reader->codes, system, code, fhir_lookup_s(v->c)))
        return;
    o->unmapped[o->unmapped_count++] = (struct fhir_unmapped){
        .system = system, .code = code, .slot = v->slot, .of_value = of_value
    };
}

/* ---- coded values ----------------------------------------------------- */

static void read_concept(struct value *v)
{
    enum quantity q = v->meaning.entry.quantity;
    enum sign sign = SIGN_NONE;
    struct fhir_reading *r;
    bool conflict = false;
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(v->json, "coding"), i, coding)
    {
        enum sign s =
            codes_sign(v->c->reader->codes, q, fhir_string(coding, "system"),
                       fhir_string(coding, "code"), fhir_lookup_s(v->c));

        conflict =
            conflict || (sign != SIGN_NONE && s != SIGN_NONE && s != sign);
        sign = sign == SIGN_NONE ? s : sign;
    }
    if (sign == SIGN_NONE) {
        coding = json_array_get(json_object_get(v->json, "coding"), 0);
        note_unmapped(v, fhir_string(coding, "system"),
                      fhir_string(coding, "code"), true);
        fhir_say_at(v->c, v->key, SEV_INFORMATION, "code-unknown",
                    "No coding of the value is known; kept, not used");
        return;
    }
    r = fhir_value_add(v);
    r->reading.sign = sign;
    r->reading.present = true;
    if (conflict) {
        fhir_value_hold(r, HOLD_CODE);
        fhir_value_say_held(v, v->key, "code-conflict",
                            "Codings of the value mean different things");
    }
}

static void read_stage(struct value *v)
{
    long long stage = json_integer_value(v->json);
    struct fhir_reading *r;
    enum sign sign;

    if (sign_of_stage(stage, &sign) != ERR_OK) {
        fhir_say_at(v->c, v->key, SEV_ERROR, "bad-value",
                    "A steal stage is 0 to 4");
        return;
    }
    r = fhir_value_add(v);
    r->reading.sign = sign;
    r->reading.present = true;
    fhir_say_at(v->c, v->key, SEV_WARNING, "stage-assumed",
                "Steal stage %lld is read as hand ischaemia grade %s", stage,
                grade_word(sign_info(sign)->grade));
}

/* Yes and no as codes, where there is no boolean: HL7 v2 table 0136, as its
 * publisher prints it; LOINC answers, from memory. */
static const struct {
    const char *system, *code;
    bool yes;
} answers[] = {
    { CODES_YES_NO, "Y", true },
    { CODES_YES_NO, "N", false },
    { CODES_LOINC, "LA33-6", true },
    { CODES_LOINC, "LA32-8", false },
};

/* 1 yes, 0 no, -1 neither. */
static int answer_of(json_t *coding)
{
    const char *system = fhir_string(coding, "system");
    const char *code = fhir_string(coding, "code");

    for (size_t i = 0; system != NULL && code != NULL && i < COUNT(answers);
         i++) {
        if (strcmp(answers[i].system, system) == 0 &&
            strcmp(answers[i].code, code) == 0)
            return answers[i].yes ? 1 : 0;
    }
    return -1;
}

static void note_flag(struct value *v, bool yes)
{
    struct fhir_reading *r = fhir_value_add(v);

    if (v->meaning.entry.meaning == CODE_QUESTION) {
        r->reading.sign = v->meaning.entry.sign;
        r->reading.present = yes;
    } else {
        r->reading.value = yes ? 1 : 0;
    }
}

/* The first coding that answers it; two that contradict answer nothing. */
static void read_answer(struct value *v)
{
    int answer = -1;
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(v->json, "coding"), i, coding)
    {
        int one = answer_of(coding);

        if (one >= 0 && answer >= 0 && one != answer) {
            not_computed(v, not_of_use);
            return;
        }
        answer = one >= 0 ? one : answer;
    }
    if (answer >= 0)
        note_flag(v, answer == 1);
    else
        not_computed(v, not_of_use);
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
    else if (is_flag(v) && is_key(v, "valueBoolean"))
        note_flag(v, json_is_true(v->json));
    else if (is_flag(v) && is_key(v, "valueCodeableConcept"))
        read_answer(v);
    else if (kind == VALUE_NUMBER && is_key(v, "valueQuantity"))
        fhir_value_quantity(v);
    else if (kind == VALUE_NUMBER && is_key(v, "valueInteger"))
        fhir_value_integer(v);
    else if (kind == VALUE_CODE && !is_flag(v) &&
             is_key(v, "valueCodeableConcept"))
        read_concept(v);
    else if (entry->quantity == Q_HAND_ISCHAEMIA_GRADE &&
             is_key(v, "valueInteger"))
        read_stage(v);
    else
        not_computed(v, not_of_use);
}

/* Whether the code lets the value be used; says why not. */
static bool is_usable(struct value *v)
{
    const struct code_entry *entry = &v->meaning.entry;
    const char *region = v->at->site.region;

    if (entry->meaning == CODE_UNKNOWN) {
        note_unmapped(v, v->meaning.system, v->meaning.code, false);
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
    else if (absent || (v.meaning.entry.quantity != Q_PANEL &&
                        json_object_get(holder, "component") == NULL))
        fhir_say(c, SEV_INFORMATION, "value-absent", "There is no value");
    if (v.meaning.conflict)
        code_conflict(&v);
}

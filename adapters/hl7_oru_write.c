#include "adapters/fhir_out.h"
#include "adapters/hl7_oru_work.h"

#include <stdio.h>
#include <string.h>

enum {
    PERFORMERS_MAX = 5,
    FLAGS_MAX = 10,
    IDENTIFIER_SIZE = ORU_KEY_SIZE + 16
};

static const char absent_system[] =
    "http://terminology.hl7.org/CodeSystem/data-absent-reason";

/* ---- whose, where, when ------------------------------------------------ */

/* The component of OBR-15 that says where: the body site, else what is free
 * text (HL7 v2.3 to 2.5). */
static int source_site(const struct oru *o)
{
    return oru_says(oru_text(o, o->obr, 15, 1, 4)) ? 4 : 3;
}

/*
 * A containment path of ISO/IEEE 11073 (medical device, virtual device, channel,
 * metric: "1.0.0.1", as IHE PCD-01 has it in OBX-4): where in a machine it was
 * measured, and not in whom.  No access, or all that a machine measures would
 * be of accesses that there are not.
 */
static bool is_containment(const char *text)
{
    size_t len = strlen(text);

    return len >= 3 && strspn(text, "0123456789.") == len &&
           strchr(text, '.') != NULL && text[0] != '.' &&
           text[len - 1] != '.' && strstr(text, "..") == NULL;
}

/* OBX-4 where it may name an access or a body site; says once of a message that
 * it does not. */
static const char *sub_id(struct oru *o, size_t segment)
{
    const char *text = oru_field(o, segment, 4);
    struct hl7_place place = oru_place(o, segment, 4, 0, 0);

    if (!is_containment(text))
        return text;
    if (!o->said_containment)
        oru_warn(o, &place, HL7_UNKNOWN_KEY, "access-ambiguous",
                 "OBX-4 is a path within a machine (1.0.0.1), not an access: "
                 "none is named. Said once of a message");
    o->said_containment = true;
    return "";
}

/* The access's number, where the settings say that a field has one; "". */
static const char *access_number(struct oru *o, size_t segment)
{
    if (o->profile->access_system[0] == '\0')
        return "";
    switch (o->profile->access_field) {
    case HL7_ACCESS_NONE:
        break;
    case HL7_ACCESS_OBX_4:
        return sub_id(o, segment);
    case HL7_ACCESS_OBX_20:
        return oru_field(o, segment, 20);
    case HL7_ACCESS_OBR_15:
        return oru_text(o, o->obr, 15, 1, source_site(o));
    }
    return "";
}

static void put_focus(struct oru *o, size_t segment)
{
    struct buf *b = &o->out->bundle;
    const char *number = access_number(o, segment);

    if (!oru_says(number) || strlen(number) > ORU_NUMBER_MAX)
        return;
    fhir_out_open(b, "focus", '[');
    oru_put_logical(b, NULL, "BodyStructure", o->profile->access_system,
                    number);
    fhir_out_close(b, ']');
}

/* The body site: OBX-20, unless that is the number of an access; or the field
 * that the settings name. */
static void put_site(struct oru *o, size_t segment)
{
    bool numbered = o->profile->access_system[0] != '\0';
    enum hl7_access_field field =
        numbered ? HL7_ACCESS_NONE : o->profile->access_field;
    struct buf *b = &o->out->bundle;
    struct oru_mark mark;

    if (field == HL7_ACCESS_OBR_15) {
        oru_put_concept_in(o, "bodySite", o->obr, 15, source_site(o));
    } else if (field == HL7_ACCESS_OBX_4) {
        mark = oru_open(b, "bodySite", '{');
        oru_put_display(b, "text", sub_id(o, segment));
        oru_close(b, mark, '}');
    } else if (!numbered || o->profile->access_field != HL7_ACCESS_OBX_20) {
        oru_put_concept(o, "bodySite", segment, 20, 1);
    }
}

static const char *last_of(const struct hl7_time *time)
{
    return time->precision == HL7_HOUR ? time->last : time->text;
}

static void put_effective(struct oru *o, const struct oru_result *r)
{
    struct buf *b = &o->out->bundle;

    if (!r->has_time)
        return;
    if (!r->has_end && r->time.precision != HL7_HOUR) {
        fhir_out_text(b, "effectiveDateTime", r->time.text);
        return;
    }
    fhir_out_open(b, "effectivePeriod", '{');
    fhir_out_text(b, "start", r->time.text);
    fhir_out_text(b, "end", last_of(r->has_end ? &r->end : &r->time));
    fhir_out_close(b, '}');
}

static void put_performers(struct oru *o, size_t segment)
{
    int count = (int)hl7_repetitions(o->message, segment, 16);
    struct buf *b = &o->out->bundle;
    struct oru_mark list = oru_open(b, "performer", '[');

    for (int i = 1; i <= count && i <= PERFORMERS_MAX; i++) {
        const char *family = oru_text(o, segment, 16, i, 2);
        const char *given = oru_text(o, segment, 16, i, 3);
        struct oru_mark one = oru_open(b, NULL, '{');

        buf_empty(&o->text);
        buf_puts(&o->text, given);
        if (given[0] != '\0' && family[0] != '\0')
            buf_puts(&o->text, " ");
        buf_puts(&o->text, family);
        if (!oru_says(o->text.data))
            buf_puts(&o->text, oru_text(o, segment, 16, i, 1));
        oru_put_display(b, "display", o->text.data);
        oru_close(b, one, '}');
    }
    oru_close(b, list, ']');
}

static void put_device(struct oru *o, size_t segment)
{
    struct buf *b = &o->out->bundle;
    struct oru_mark mark = oru_open(b, "device", '{');
    const char *space = oru_text(o, segment, 18, 1, 2);

    buf_empty(&o->text);
    buf_puts(&o->text, oru_field(o, segment, 18));
    if (o->text.len > 0 && space[0] != '\0')
        buf_puts(&o->text, " ");
    buf_puts(&o->text, space);
    oru_put_display(b, "display", o->text.data);
    oru_close(b, mark, '}');
}

/* ---- what -------------------------------------------------------------- */

static void put_absent(struct oru *o, const char *why)
{
    struct buf *b = &o->out->bundle;

    fhir_out_open(b, "dataAbsentReason", '{');
    fhir_out_open(b, "coding", '[');
    fhir_out_open(b, NULL, '{');
    fhir_out_text(b, "system", absent_system);
    fhir_out_text(b, "code", "unknown");
    fhir_out_text(b, "display", "Unknown");
    fhir_out_close(b, '}');
    fhir_out_close(b, ']');
    fhir_out_text(b, "text", why);
    fhir_out_close(b, '}');
}

static void put_pair(struct oru *o, const struct oru_result *r, const char *key,
                     const char *low, const char *high)
{
    struct buf *b = &o->out->bundle;

    fhir_out_open(b, key, '{');
    oru_put_quantity(o, low, r->segment, NULL, r->value.low, NULL);
    oru_put_quantity(o, high, r->segment, NULL, r->value.high, NULL);
    fhir_out_close(b, '}');
}

static void put_value(struct oru *o, const struct oru_result *r, int repetition)
{
    const struct oru_value *v = &r->value;
    struct buf *b = &o->out->bundle;

    switch (v->kind) {
    case ORU_NONE:
        break;
    case ORU_ABSENT:
        put_absent(o, v->why);
        break;
    case ORU_QUANTITY:
        oru_put_quantity(o, "valueQuantity", r->segment, v->comparator, v->low,
                         v->unit);
        break;
    case ORU_RANGE:
        put_pair(o, r, "valueRange", "low", "high");
        break;
    case ORU_RATIO:
        put_pair(o, r, "valueRatio", "numerator", "denominator");
        break;
    case ORU_CONCEPT:
        oru_put_concept(o, "valueCodeableConcept", r->segment, 5, repetition);
        break;
    case ORU_CODE:
        /* "^text": no code, and what is said is not lost */
        if (!oru_says(oru_text(o, r->segment, 5, repetition, 1)))
            oru_put_concept(o, "valueCodeableConcept", r->segment, 5,
                            repetition);
        else
            oru_put_code(o, "valueCodeableConcept",
                         oru_text(o, r->segment, 5, repetition, 1));
        break;
    case ORU_STRING:
        fhir_out_text(b, "valueString", o->value.data);
        break;
    case ORU_DATE_TIME:
        fhir_out_text(b, "valueDateTime", v->time.text);
        break;
    case ORU_PERIOD:
        fhir_out_open(b, "valuePeriod", '{');
        fhir_out_text(b, "start", v->time.text);
        fhir_out_text(b, "end", v->time.last);
        fhir_out_close(b, '}');
        break;
    case ORU_CLOCK:
        fhir_out_text(b, "valueTime", v->clock);
        break;
    }
}

/* Thresholds and flags are the sender's: for people, and no rule reads them. */
static void put_flags(struct oru *o, size_t segment)
{
    int count = (int)hl7_repetitions(o->message, segment, 8);
    struct buf *b = &o->out->bundle;
    struct oru_mark list = oru_open(b, "interpretation", '[');

    for (int i = 1; i <= count && i <= FLAGS_MAX; i++) {
        const char *text = oru_text(o, segment, 8, i, 2);
        struct oru_mark one = oru_open(b, NULL, '{');

        oru_put_display(b, "text",
                        oru_says(text) ? text : oru_text(o, segment, 8, i, 1));
        oru_close(b, one, '}');
    }
    oru_close(b, list, ']');
}

static void put_range(struct oru *o, size_t segment)
{
    struct buf *b = &o->out->bundle;
    struct oru_mark list = oru_open(b, "referenceRange", '[');
    struct oru_mark one = oru_open(b, NULL, '{');

    oru_put_display(b, "text", oru_field(o, segment, 7));
    oru_close(b, one, '}');
    oru_close(b, list, ']');
}

/* ---- Observation ------------------------------------------------------- */

static void put_key(struct oru *o, const char *key, int repetition)
{
    char value[IDENTIFIER_SIZE];
    struct buf *b = &o->out->bundle;

    if (repetition > 1)
        snprintf(value, sizeof(value), "%s#%d", key, repetition);
    else
        snprintf(value, sizeof(value), "%s", key);
    fhir_out_open(b, NULL, '{');
    fhir_out_join(b, "system", o->base, "/NamingSystem/hl7-result");
    fhir_out_text(b, "value", value);
    fhir_out_close(b, '}');
}

static void put_identifier(struct oru *o, const struct oru_result *r,
                           int repetition)
{
    struct buf *b = &o->out->bundle;

    fhir_out_open(b, "identifier", '[');
    put_key(o, r->key.text, repetition);
    if (r->has_instance)
        put_key(o, r->instance.text, repetition);
    fhir_out_close(b, ']');
}

/* One repetition of a result; bare: nothing but whose, what and when. */
static void put_observation(struct oru *o, const struct oru_result *r,
                            int repetition, const char *status, bool bare)
{
    struct buf *b = &o->out->bundle;

    oru_put_begin(o, "Observation");
    put_identifier(o, r, repetition);
    fhir_out_text(b, "status", status);
    oru_put_concept(o, "code", r->segment, 3, 1);
    oru_put_logical(b, "subject", "Patient", o->system.data, o->number.data);
    put_focus(o, r->segment);
    put_effective(o, r);
    fhir_out_text(b, "issued", r->issued);
    if (!bare) {
        put_performers(o, r->segment);
        put_value(o, r, repetition);
        put_flags(o, r->segment);
        oru_put_notes(o, r);
    }
    put_site(o, r->segment);
    if (!bare) {
        oru_put_concept(o, "method", r->segment, 17, 1);
        put_device(o, r->segment);
        put_range(o, r->segment);
    }
    oru_put_end(o, "Observation", NULL, NULL);
}

/* Is there a value in this repetition, or is it the one that says that there
 * is none? */
static bool has_value(const struct oru *o, const struct oru_result *r,
                      int repetition)
{
    if (r->value.kind != ORU_CONCEPT && r->value.kind != ORU_CODE)
        return repetition == 1;
    return (size_t)repetition <= r->value.repetitions &&
           oru_names_something(o, r, repetition);
}

/*
 * A repetition that is not there, of a result that is corrected, withdrawn or
 * promoted: if it was there once, it must not stay as it was.
 */
static void put_other(struct oru *o, const struct oru_result *r, int repetition)
{
    struct hl7_entry *entry = oru_entry(o, r->place);

    if (entry == NULL)
        return;
    entry->if_known = true;
    entry->promote = r->promote;
    put_observation(o, r, repetition,
                    r->promote ? r->status : "entered-in-error", true);
}

void oru_put_result(struct oru *o, const struct oru_result *r)
{
    bool others = (r->corrected || r->promote) && oru_may_repeat(o, r);
    int last = others ? HL7_REPETITIONS_MAX : (int)r->value.repetitions;

    oru_check_notes(o, r->segment);
    for (int i = 1; i <= last && o->err == ERR_OK; i++) {
        struct hl7_entry *entry;

        if (!has_value(o, r, i)) {
            if (others)
                put_other(o, r, i);
            continue;
        }
        entry = oru_entry(o, r->place);
        if (entry == NULL)
            return;
        entry->promote = r->promote;
        put_observation(o, r, i, r->status, r->promote);
    }
}

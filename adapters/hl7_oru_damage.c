/*
 * Bytes that are not of the message's character set: what of a result they
 * leave in doubt.
 *
 * What says whose a result is, when it was measured and which one it is, is used
 * as it was sent or not at all.  What is only shown is shown with U+FFFD.
 */
#include "adapters/hl7_oru_work.h"

#include <string.h>

enum use {
    SHOWN, /* to people: a warning */
    VALUE, /* what was measured */
    KEY    /* which result it is: without it there is none */
};

/* A name beside a code that can be read. */
static bool is_name(const struct oru *o, size_t segment,
                    const struct hl7_place *at)
{
    int code = at->component == 5 ? 4 : 1;

    if (at->component == 7 || at->component == 8)
        return true; /* versions of the coding systems */
    if (at->component != 2 && at->component != 5 && at->component != 9)
        return false;
    return oru_says(oru_text(o, segment, at->field, at->repetition, code));
}

static bool is_coded(const char *type)
{
    static const char *const coded[] = { "CWE", "CE", "CNE", "CF", "IS", "ID" };

    for (size_t i = 0; i < COUNT(coded); i++) {
        if (strcmp(coded[i], type) == 0)
            return true;
    }
    return false;
}

static enum use use_in_result(const struct oru *o, size_t segment,
                              const struct hl7_place *at)
{
    switch (at->field) {
    case 2:
    case 6:
        return VALUE;
    case 3:
        return is_name(o, segment, at) ? SHOWN : KEY;
    case 5:
        return is_coded(oru_field(o, segment, 2)) && is_name(o, segment, at)
                   ? SHOWN
                   : VALUE;
    case 4:
    case 11:
    case 14:
    case 20: /* the access, or the side that tells which it is */
    case 21:
        return KEY;
    default:
        return SHOWN;
    }
}

static enum use use_in_order(const struct oru *o, const struct hl7_place *at)
{
    switch (at->field) {
    case 3:
    case 7:
    case 8:
    case 15:
    case 25:
        return at->field == 15 && o->profile->access_field != HL7_ACCESS_OBR_15
                   ? SHOWN
                   : KEY;
    default:
        return SHOWN;
    }
}

static enum use use_of(const struct oru *o, size_t segment,
                       const struct hl7_place *at)
{
    bool result = strcmp(at->segment, "OBX") == 0;
    bool order = strcmp(at->segment, "OBR") == 0;
    bool patient = strcmp(at->segment, "PID") == 0;

    /* delimiters may be lost: no field is surely the one that it seems */
    if (at->field == 0)
        return result || order || patient ? KEY : SHOWN;
    if (result)
        return use_in_result(o, segment, at);
    if (order)
        return use_in_order(o, at);
    return patient && at->field == 3 ? KEY : SHOWN;
}

/* The first place of a segment that is used in this way. */
static bool find(const struct oru *o, size_t segment, enum use use,
                 struct hl7_place *at)
{
    size_t count = hl7_damages(o->message, segment);

    for (size_t i = 0; i < count; i++) {
        *at = hl7_damage(o->message, segment, i);
        if (use_of(o, segment, at) == use)
            return true;
    }
    return false;
}

static bool refuse(struct oru *o, size_t segment, enum use use,
                   const char *text)
{
    struct hl7_place at;

    if (!find(o, segment, use, &at))
        return false;
    oru_error(o, &at, HL7_DATA_TYPE, "bad-value", text);
    return true;
}

bool oru_is_patient_damaged(struct oru *o, size_t segment)
{
    return refuse(o, segment, KEY,
                  "A byte that is not of the character set: whose results "
                  "these are is not sure, and none of them is taken");
}

bool oru_is_order_damaged(struct oru *o, size_t segment)
{
    return refuse(o, segment, KEY,
                  "A byte that is not of the character set: none of the "
                  "results of this order is taken");
}

bool oru_is_result_damaged(struct oru *o, size_t segment)
{
    return refuse(o, segment, KEY,
                  "A byte that is not of the character set: this result is "
                  "left out");
}

bool oru_is_value_damaged(struct oru *o, size_t segment)
{
    return refuse(o, segment, VALUE,
                  "A byte that is not of the character set: this value is "
                  "not used");
}

bool oru_is_person_damaged(const struct oru *o)
{
    struct hl7_place at;

    return find(o, o->pid, SHOWN, &at);
}

void oru_warn_damage(struct oru *o)
{
    size_t count = hl7_segments(o->message);
    struct hl7_place at;

    for (size_t i = 1; i < count; i++) {
        if (find(o, i, SHOWN, &at))
            oru_warn(o, &at, HL7_DATA_TYPE, "bad-value",
                     "A byte that is not of the character set is shown as "
                     "U+FFFD; nothing else is changed by it");
    }
}

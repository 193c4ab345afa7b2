/*
 * Values of signs: what was seen (yes and no: fhir_flag.c).
 *
 * A sign that nobody can read may be an emergency.  It becomes a reading all
 * the same, without a value and held, so that people see that it came, whose
 * it is and what was asked.
 */
#include "adapters/fhir_value.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Value set data-absent-reason. */
#define ABSENT "http://terminology.hl7.org/CodeSystem/data-absent-reason"

/* ---- what cannot be read -------------------------------------------------- */

bool fhir_value_is_sign(const struct value *v)
{
    return v->meaning.entry.meaning == CODE_QUESTION ||
           (v->meaning.entry.quantity != Q_PANEL &&
            quantity_info(v->meaning.entry.quantity)->kind != VALUE_NUMBER);
}

void fhir_value_unread(struct value *v, const char *why)
{
    struct fhir_reading *r;

    if (v->at->status == READING_WITHDRAWN)
        return;
    r = fhir_value_add(v);
    r->unread = true;
    r->hold = HOLD_VALUE; /* before any other: no other word settles it */
    if (v->meaning.entry.meaning == CODE_QUESTION)
        r->reading.sign = v->meaning.entry.sign;
    if (v->key != NULL)
        fhir_say_at(v->c, v->key, SEV_WARNING, "value-unread",
                    "A sign whose value cannot be read: %s. Held for a person",
                    why);
    else
        fhir_say(v->c, SEV_WARNING, "value-unread",
                 "A sign whose value cannot be read: %s. Held for a person",
                 why);
}

/* Reasons that say that nobody looked, or that nobody could tell; of value set
 * data-absent-reason. */
static bool was_not_looked_for(json_t *reason)
{
    static const char *const codes[] = { "not-asked",     "asked-declined",
                                         "asked-unknown", "not-performed",
                                         "not-permitted", "not-applicable" };
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(reason, "coding"), i, coding)
    {
        for (size_t k = 0; k < COUNT(codes); k++) {
            if (fhir_is(coding, "system", ABSENT) &&
                fhir_is(coding, "code", codes[k]))
                return true;
        }
    }
    return false;
}

void fhir_value_absent(struct value *v, json_t *reason)
{
    bool grouped = json_object_get(v->holder, "component") != NULL ||
                   json_object_get(v->holder, "hasMember") != NULL;

    if (reason == NULL && (v->meaning.entry.quantity == Q_PANEL || grouped))
        return; /* what was seen stands in its parts */
    fhir_say(v->c, SEV_INFORMATION, "value-absent", "There is no value");
    if (fhir_value_is_sign(v) && !grouped && !v->at->registered &&
        !was_not_looked_for(reason))
        fhir_value_unread(v, "there is none, and it is not said that nobody "
                             "looked");
}

void fhir_value_unmapped(struct value *v)
{
    json_t *coding = json_array_get(json_object_get(v->json, "coding"), 0);

    fhir_value_note_unmapped(v, fhir_string(coding, "system"),
                             fhir_string(coding, "code"), true);
}

double fhir_value_plain(json_t *quantity)
{
    json_t *number = json_object_get(quantity, "value");
    const char *unit = fhir_string(quantity, "code");

    unit = unit != NULL ? unit : fhir_string(quantity, "unit");
    if (number == NULL || fhir_string(quantity, "comparator") != NULL ||
        (unit != NULL && strcmp(unit, "1") != 0 && unit[0] != '{'))
        return (double)NAN;
    return json_number_value(number);
}

/* ---- what was seen -------------------------------------------------------- */

static bool is_worse(enum quantity q, enum sign sign, enum sign than)
{
    struct reading a = { .quantity = q, .sign = sign, .present = true };
    struct reading b = { .quantity = q, .sign = than, .present = true };

    return than == SIGN_NONE ||
           (sign != SIGN_NONE && reading_is_emergency(&a) &&
            !reading_is_emergency(&b));
}

static void note_sign(struct value *v, enum sign sign, bool conflict)
{
    struct fhir_reading *r = fhir_value_add(v);

    r->reading.sign = sign;
    r->reading.present = true;
    if (!conflict)
        return;
    fhir_value_hold(r, HOLD_CODE);
    fhir_value_say_held(v, v->key, "code-conflict",
                        "Codings of the value mean different things");
}

static void read_concept(struct value *v)
{
    enum quantity q = v->meaning.entry.quantity;
    enum sign sign = SIGN_NONE;
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
        sign = is_worse(q, s, sign) ? s : sign;
    }
    if (sign != SIGN_NONE) {
        note_sign(v, sign, conflict);
        return;
    }
    fhir_value_unmapped(v);
    fhir_say_at(v->c, v->key, SEV_INFORMATION, "code-unknown",
                "No coding of the value is known; kept, not used");
    fhir_value_unread(v, "no code of it is known here");
}

static void note_stage(struct value *v, long long stage)
{
    enum sign sign;

    if (sign_of_stage(stage, &sign) != ERR_OK) {
        fhir_value_unread(v, "a steal stage is 0 to 4");
        return;
    }
    note_sign(v, sign, false);
    fhir_say_at(v->c, v->key, SEV_WARNING, "stage-assumed",
                "Steal stage %lld is read as hand ischaemia grade %s", stage,
                grade_word(sign_info(sign)->grade));
}

/* "3", or a grade with its letter: "2a". */
static void read_stage_text(struct value *v, const char *text)
{
    char word[4];
    size_t len;
    enum sign sign;

    text += strspn(text, " \t\r\n");
    len = strcspn(text, " \t\r\n");
    if (len == 0 || len >= sizeof(word) ||
        text[len + strspn(text + len, " \t\r\n")] != '\0') {
        fhir_value_unread(v, "the text is no stage and no grade");
        return;
    }
    snprintf(word, sizeof(word), "%.*s", (int)len, text);
    if (word[len - 1] == 'A' || word[len - 1] == 'B')
        word[len - 1] = word[len - 1] == 'A' ? 'a' : 'b';
    if (len == 1 && word[0] >= '0' && word[0] <= '9')
        note_stage(v, word[0] - '0');
    else if (sign_by_code(Q_HAND_ISCHAEMIA_GRADE, word, len, &sign) == ERR_OK)
        note_sign(v, sign, false);
    else
        fhir_value_unread(v, "the text is no stage and no grade");
}

static void read_stage_number(struct value *v, double number)
{
    if (!(number > -1 && number < 100) || number < floor(number) ||
        number > floor(number))
        fhir_value_unread(v, "a steal stage is 0 to 4, without a unit");
    else
        note_stage(v, (long long)number);
}

void fhir_value_sign(struct value *v)
{
    bool graded = v->meaning.entry.quantity == Q_HAND_ISCHAEMIA_GRADE;

    if (strcmp(v->key, "valueCodeableConcept") == 0)
        read_concept(v);
    else if (graded && strcmp(v->key, "valueInteger") == 0)
        note_stage(v, json_integer_value(v->json));
    else if (graded && strcmp(v->key, "valueQuantity") == 0)
        read_stage_number(v, fhir_value_plain(v->json));
    else if (graded && strcmp(v->key, "valueString") == 0)
        read_stage_text(v, json_string_value(v->json));
    else
        fhir_value_unread(v, "its type is none that this code can have");
}

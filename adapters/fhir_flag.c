/* Yes and no, as a boolean and in the many forms of those who have none. */
#include "adapters/fhir_value.h"

#include <string.h>
#include <strings.h>

/* HL7 Terminology: table 0532 of HL7 v2 (expanded yes/no), and nulls of V3. */
#define YES_NO_MORE "http://terminology.hl7.org/CodeSystem/v2-0532"
#define NULL_FLAVOR "http://terminology.hl7.org/CodeSystem/v3-NullFlavor"
/* What a sender of HL7 v2 calls its coding system, without further mapping. */
#define SENDERS_OWN "urn:headgate:hl7:"

/* ---- yes and no ----------------------------------------------------------- */

enum answer { ANSWER_NONE, ANSWER_NO, ANSWER_YES, ANSWER_NOT_KNOWN };

/* Yes and no as codes, where there is no boolean: HL7 v2 tables 0136 and 0532,
 * and V3 NullFlavor, as their publisher prints them; LOINC answers, from
 * memory. */
static const struct {
    const char *system, *code;
    enum answer answer;
} answers[] = {
    { CODES_YES_NO, "Y", ANSWER_YES },
    { CODES_YES_NO, "N", ANSWER_NO },
    { YES_NO_MORE, "Y", ANSWER_YES },
    { YES_NO_MORE, "N", ANSWER_NO },
    { YES_NO_MORE, "UNK", ANSWER_NOT_KNOWN },
    { YES_NO_MORE, "NI", ANSWER_NOT_KNOWN },
    { YES_NO_MORE, "NA", ANSWER_NOT_KNOWN },
    { YES_NO_MORE, "NASK", ANSWER_NOT_KNOWN },
    { YES_NO_MORE, "ASKU", ANSWER_NOT_KNOWN },
    { NULL_FLAVOR, "UNK", ANSWER_NOT_KNOWN },
    { NULL_FLAVOR, "NI", ANSWER_NOT_KNOWN },
    { NULL_FLAVOR, "NA", ANSWER_NOT_KNOWN },
    { NULL_FLAVOR, "NASK", ANSWER_NOT_KNOWN },
    { NULL_FLAVOR, "ASKU", ANSWER_NOT_KNOWN },
    { CODES_LOINC, "LA33-6", ANSWER_YES },
    { CODES_LOINC, "LA32-8", ANSWER_NO },
};

/* Without the blanks around it, whatever the case. */
static bool is_word(const char *text, const char *word)
{
    size_t len;

    text += strspn(text, " \t\r\n");
    len = strlen(text);
    while (len > 0 && strchr(" \t\r\n", text[len - 1]) != NULL)
        len--;
    return len == strlen(word) && strncasecmp(text, word, len) == 0;
}

static enum answer answer_of_text(const char *text)
{
    static const char *const yes[] = { "y", "yes", "true", "1", "present" };
    static const char *const no[] = { "n", "no", "false", "0", "absent" };

    for (size_t i = 0; text != NULL && i < COUNT(yes); i++) {
        if (is_word(text, yes[i]))
            return ANSWER_YES;
        if (is_word(text, no[i]))
            return ANSWER_NO;
    }
    return ANSWER_NONE;
}

/*
 * A word of the sender's own: yes is believed; an "N" only where nothing
 * speaks against it, since it may as well mean "new".
 */
static enum answer answer_of_own(json_t *coding)
{
    const char *display = fhir_string(coding, "display");
    enum answer answer = answer_of_text(fhir_string(coding, "code"));

    if (answer == ANSWER_NO && display != NULL &&
        answer_of_text(display) != ANSWER_NO)
        return ANSWER_NONE;
    return answer;
}

/* Our own "present" and "absent", and what a site maps to them. */
static enum answer answer_by_map(struct value *v, json_t *coding)
{
    enum sign sign =
        codes_sign(v->c->reader->codes, Q_THRILL, fhir_string(coding, "system"),
                   fhir_string(coding, "code"), fhir_lookup_s(v->c));

    return sign == SIGN_THRILL_PRESENT  ? ANSWER_YES
           : sign == SIGN_THRILL_ABSENT ? ANSWER_NO
                                        : ANSWER_NONE;
}

/* No system, the sender's, or ours under which the sender's words come. */
static bool is_own(const struct value *v, const char *system)
{
    size_t len = strlen(v->c->reader->base);

    return system == NULL ||
           strncmp(system, SENDERS_OWN, strlen(SENDERS_OWN)) == 0 ||
           (strncmp(system, v->c->reader->base, len) == 0 &&
            strcmp(system + len, "/CodeSystem/av-observation") == 0);
}

static enum answer answer_of(struct value *v, json_t *coding)
{
    const char *system = fhir_string(coding, "system");
    const char *code = fhir_string(coding, "code");
    enum answer mapped = answer_by_map(v, coding);

    for (size_t i = 0; system != NULL && code != NULL && i < COUNT(answers);
         i++) {
        if (strcmp(answers[i].system, system) == 0 &&
            is_word(code, answers[i].code))
            return answers[i].answer;
    }
    if (mapped != ANSWER_NONE)
        return mapped;
    return is_own(v, system) ? answer_of_own(coding) : ANSWER_NONE;
}

/* Exact words that the site has explained go before what is known anywhere. */
static enum answer answer_of_words(struct value *v, const char *text)
{
    enum sign sign =
        codes_answer_text(v->c->reader->codes, text, fhir_lookup_s(v->c));

    return sign == SIGN_THRILL_PRESENT  ? ANSWER_YES
           : sign == SIGN_THRILL_ABSENT ? ANSWER_NO
                                        : answer_of_text(text);
}

static struct fhir_reading *note_flag(struct value *v, bool yes)
{
    struct fhir_reading *r = fhir_value_add(v);

    if (v->meaning.entry.meaning == CODE_QUESTION) {
        r->reading.sign = v->meaning.entry.sign;
        r->reading.present = yes;
    } else {
        r->reading.value = yes ? 1 : 0;
    }
    return r;
}

static void note_answer(struct value *v, enum answer answer)
{
    switch (answer) {
    case ANSWER_NONE:
        fhir_value_unread(v, "it is no yes and no no that is known here");
        break;
    case ANSWER_NO:
    case ANSWER_YES:
        note_flag(v, answer == ANSWER_YES);
        break;
    case ANSWER_NOT_KNOWN:
        fhir_say_at(v->c, v->key, SEV_INFORMATION, "value-absent",
                    "The answer is that it is not known");
        break;
    }
}

/* All codings that answer have to say the same; else the worse is shown, and
 * nothing is used. */
static void read_answer(struct value *v)
{
    enum answer answer = ANSWER_NONE;
    bool conflict = false;
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(v->json, "coding"), i, coding)
    {
        enum answer one = answer_of(v, coding);

        conflict = conflict || (one != ANSWER_NONE && answer != ANSWER_NONE &&
                                one != answer);
        answer = one == ANSWER_YES || answer == ANSWER_NONE         ? one
                 : answer == ANSWER_NOT_KNOWN && one != ANSWER_NONE ? one
                                                                    : answer;
    }
    if (json_array_size(json_object_get(v->json, "coding")) == 0)
        answer = answer_of_words(v, fhir_string(v->json, "text"));
    if (conflict) {
        /* whichever it is, it may be yes */
        fhir_value_hold(note_flag(v, true), HOLD_CODE);
        fhir_value_say_held(v, v->key, "code-conflict",
                            "Codings of the value mean different things");
        return;
    }
    if (answer == ANSWER_NONE)
        fhir_value_unmapped(v);
    note_answer(v, answer);
}

static enum answer answer_of_number(double number)
{
    if (number > 0.999 && number < 1.001)
        return ANSWER_YES;
    return number > -0.001 && number < 0.001 ? ANSWER_NO : ANSWER_NONE;
}

void fhir_value_flag(struct value *v)
{
    if (strcmp(v->key, "valueBoolean") == 0)
        note_flag(v, json_is_true(v->json));
    else if (strcmp(v->key, "valueCodeableConcept") == 0)
        read_answer(v);
    else if (strcmp(v->key, "valueString") == 0)
        note_answer(v, answer_of_words(v, json_string_value(v->json)));
    else if (strcmp(v->key, "valueInteger") == 0)
        note_answer(v, answer_of_number((double)json_integer_value(v->json)));
    else if (strcmp(v->key, "valueQuantity") == 0)
        note_answer(v, answer_of_number(fhir_value_plain(v->json)));
    else
        fhir_value_unread(v, "its type is none that a yes or no can have");
}

/* What was answered to a message of HL7 v2, in JSON. */
#include "adapters/error_lines.h"

#include "adapters/error_lines_work.h"

#include <stdio.h>
#include <string.h>

static void copy(char *to, size_t size, const char *text)
{
    snprintf(to, size, "%s", text != NULL ? text : "");
}

static uint64_t number(json_t *root, const char *key)
{
    json_int_t n = json_integer_value(json_object_get(root, key));

    return n > 0 ? (uint64_t)n : 0;
}

enum err error_answer_hl7(const struct error_answer *answer,
                          struct error_hl7 *out)
{
    json_t *root = answer->root, *issues = json_object_get(root, "issues");
    const char *word = fhir_string(root, "answer");
    size_t i;
    json_t *issue;

    if (word == NULL || strlen(word) != 2 || !json_is_array(issues))
        return ERR_FORM;
    *out = (struct error_hl7){
        .repeated = json_is_true(json_object_get(root, "repeated")),
        .quarantined = json_is_true(json_object_get(root, "quarantined")),
        .stored = number(root, "stored"),
        .there = number(root, "there"),
        .held = number(root, "held"),
        .refused = number(root, "refused")
    };
    copy(out->answer, sizeof(out->answer), word);
    json_array_foreach(issues, i, issue)
    {
        /* where the sender is told AA, an error stands as a warning */
        if (out->word[0] != '\0' && !fhir_is(issue, "severity", "error"))
            continue;
        copy(out->word, sizeof(out->word), fhir_string(issue, "word"));
        copy(out->text, sizeof(out->text), fhir_string(issue, "text"));
        copy(out->place, sizeof(out->place), fhir_string(issue, "place"));
        if (fhir_is(issue, "severity", "error"))
            break;
    }
    return ERR_OK;
}

/* The word as one of our own table, with the code that FHIR has for it. */
static const char *known_word(const char *word)
{
    const struct outcome_word *row;

    for (size_t i = 0; word != NULL && (row = outcome_word(i)) != NULL; i++) {
        if (strcmp(row->word, word) == 0)
            return row->word;
    }
    return "bad-request";
}

static enum severity severity_of(json_t *issue)
{
    if (fhir_is(issue, "severity", "error"))
        return SEV_ERROR;
    return fhir_is(issue, "severity", "warning") ? SEV_WARNING
                                                 : SEV_INFORMATION;
}

void error_answer_hl7_write(const struct error_answer *answer, const char *base,
                            const struct error_place *place, struct buf *out)
{
    struct outcome outcome;
    size_t i;
    json_t *issue;

    outcome_init(&outcome);
    json_array_foreach(json_object_get(answer->root, "issues"), i, issue)
    {
        const char *text = fhir_string(issue, "text");
        const char *where = fhir_string(issue, "place");

        outcome_add(&outcome, severity_of(issue),
                    known_word(fhir_string(issue, "word")),
                    where != NULL ? where : "", "%s", text != NULL ? text : "");
    }
    error_line_write(base, &outcome, true, place, out);
}

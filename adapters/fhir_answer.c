#include "adapters/fhir_answer.h"

#include "adapters/fhir_json.h"

#include <stdint.h>
#include <string.h>

static const char *const words[ANSWER_WORD_COUNT] = {
    [ANSWER_DUPLICATE] = "duplicate",
    [ANSWER_OUT_OF_ORDER] = "out-of-order",
    [ANSWER_HELD] = "held",
    [ANSWER_IMPLAUSIBLE] = "implausible",
    [ANSWER_ACCESS_AMBIGUOUS] = "access-ambiguous",
    [ANSWER_ACCESS_SIDE] = "access-side",
    [ANSWER_UNIT] = "unit",
    [ANSWER_CODE_UNCLEAR] = "code-unclear",
    [ANSWER_CODE_CONFLICT] = "code-conflict",
    [ANSWER_FUTURE_TIME] = "future-time",
    [ANSWER_VALUE_UNREAD] = "value-unread",
};

const char *answer_word(enum answer_word w)
{
    return (unsigned)w < ANSWER_WORD_COUNT ? words[w] : "?";
}

/* What the issues of one outcome say together. */
struct said {
    bool there, held, error;
};

/* Copy what fits, cut between characters. */
static void copy(char *to, size_t size, const char *text)
{
    size_t len = text != NULL ? strlen(text) : 0;

    if (len >= size) {
        len = size - 1;
        while (len > 0 && ((unsigned char)text[len] & 0xc0) == 0x80)
            len--;
    }
    if (len > 0)
        memcpy(to, text, len);
    to[len] = '\0';
}

/* ---- issues --------------------------------------------------------------- */

/* The first item of an array that is a string. */
static const char *first_string(json_t *object, const char *key)
{
    return json_string_value(json_array_get(json_object_get(object, key), 0));
}

/* Ours among the codings, else the first; else FHIR's own code. */
static const char *word_of(json_t *issue)
{
    static const char ours[] = "/CodeSystem/av-error";
    json_t *codings =
        json_object_get(json_object_get(issue, "details"), "coding");
    const char *word = fhir_string(json_array_get(codings, 0), "code");
    size_t i;
    json_t *coding;

    json_array_foreach(codings, i, coding)
    {
        const char *system = fhir_string(coding, "system");
        size_t len = system != NULL ? strlen(system) : 0;

        if (len >= sizeof(ours) - 1 &&
            strcmp(system + len - (sizeof(ours) - 1), ours) == 0 &&
            fhir_string(coding, "code") != NULL)
            return fhir_string(coding, "code");
    }
    return word != NULL ? word : fhir_string(issue, "code");
}

static const char *place_of(json_t *issue)
{
    const char *place = first_string(issue, "expression");

    return place != NULL ? place : first_string(issue, "location");
}

/* Which of our words; ANSWER_WORD_COUNT if it is another. */
static enum answer_word find_word(const char *word)
{
    unsigned w = 0;

    while (w < ANSWER_WORD_COUNT &&
           (word == NULL || strcmp(words[w], word) != 0))
        w++;
    return (enum answer_word)w;
}

static void note_error(struct fhir_answer *a, json_t *issue, const char *word)
{
    json_t *details = json_object_get(issue, "details");
    const char *text = fhir_string(details, "text");

    copy(a->word, sizeof(a->word), word);
    copy(a->text, sizeof(a->text),
         text != NULL ? text : fhir_string(issue, "diagnostics"));
    copy(a->place, sizeof(a->place), place_of(issue));
}

static void read_issue(struct fhir_answer *a, struct said *said, json_t *issue)
{
    const char *word = word_of(issue);
    enum answer_word w = find_word(word);
    bool error = fhir_is(issue, "severity", "error") ||
                 fhir_is(issue, "severity", "fatal");

    if (error && !said->error) {
        said->error = true;
        note_error(a, issue, word);
    }
    if (w == ANSWER_WORD_COUNT)
        return;
    a->words |= 1U << w;
    /* With a place it is one value within the entry that is there twice. */
    if (w == ANSWER_DUPLICATE || w == ANSWER_OUT_OF_ORDER)
        said->there = said->there || place_of(issue) == NULL;
    else if (error || fhir_is(issue, "severity", "warning"))
        said->held = true;
}

static void read_outcome(struct fhir_answer *a, int status, json_t *outcome)
{
    struct said said = { false, false, false };
    size_t i;
    json_t *issue;

    *a = (struct fhir_answer){ .status = status };
    json_array_foreach(json_object_get(outcome, "issue"), i, issue)
    {
        read_issue(a, &said, issue);
    }
    if (status < 200 || status > 299)
        a->fate = FATE_REFUSED;
    else if (said.there)
        a->fate = FATE_THERE;
    else
        a->fate = said.held ? FATE_HELD : FATE_STORED;
}

/* ---- the body ------------------------------------------------------------- */

/* "201" or "201 Created" */
static int read_status(const char *text)
{
    int status = 0;

    if (text == NULL || strspn(text, "0123456789") != 3)
        return 0;
    for (size_t i = 0; i < 3; i++)
        status = status * 10 + (text[i] - '0');
    return text[3] == '\0' || text[3] == ' ' ? status : 0;
}

static enum err read_bundle(json_t *bundle, struct fhir_answer *answers,
                            size_t most, size_t *count)
{
    json_t *entries = json_object_get(bundle, "entry");
    size_t i;
    json_t *entry;

    if (!fhir_is(bundle, "type", "batch-response") &&
        !fhir_is(bundle, "type", "transaction-response"))
        return ERR_FORM;
    if (entries != NULL && !json_is_array(entries))
        return ERR_FORM;
    if (json_array_size(entries) > most)
        return ERR_LIMIT;
    json_array_foreach(entries, i, entry)
    {
        json_t *response = json_object_get(entry, "response");

        read_outcome(&answers[i], read_status(fhir_string(response, "status")),
                     json_object_get(response, "outcome"));
    }
    *count = json_array_size(entries);
    return ERR_OK;
}

enum err fhir_answer_read(const char *json, size_t len, int http_status,
                          struct fhir_answer *answers, size_t most,
                          size_t *count, bool *lone)
{
    struct outcome outcome; /* says what is wrong, to nobody here */
    json_t *root = NULL;
    enum err e;

    outcome_init(&outcome);
    e = fhir_load(json, len, &outcome, &root);
    if (e != ERR_OK)
        return e;
    if (fhir_is(root, "resourceType", "OperationOutcome")) {
        read_outcome(&answers[0], http_status, root);
        *count = 1;
        *lone = true;
    } else if (fhir_is(root, "resourceType", "Bundle")) {
        e = read_bundle(root, answers, most, count);
        if (e == ERR_OK)
            *lone = false;
    } else {
        e = ERR_FORM;
    }
    json_decref(root);
    return e;
}

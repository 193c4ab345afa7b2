#include "adapters/outcome.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* One word, one row.  The last stands in for a word that has none. */
static const struct outcome_word rows[] = {
    { "json-syntax", "structure", 400, "Not JSON" },
    { "not-a-resource", "structure", 400, "Not a FHIR resource" },
    { "missing-element", "required", 400, "A required element is missing" },
    { "bad-element", "structure", 400,
      "Element unknown, empty or of the wrong JSON type" },
    { "bad-value", "value", 400, "A value that is not allowed here" },
    { "bad-datetime", "value", 400, "Not a date or time as FHIR writes it" },
    { "invariant", "invariant", 400,
      "A rule of FHIR R4 between elements is broken" },
    { "bad-reference", "value", 400, "A reference that cannot be followed" },
    { "unit", "code-invalid", 422,
      "Unit unknown, or not one of this quantity" },
    { "code-conflict", "code-invalid", 422,
      "Codings that contradict each other" },
    { "code-unclear", "code-invalid", 422, "The code does not say enough" },
    { "no-subject", "business-rule", 422, "No patient is named" },
    { "no-time", "business-rule", 422, "No time of measurement is given" },
    { "timing", "business-rule", 422, "A plan of times instead of a time" },
    { "modifier", "extension", 422, "A modifier that is not understood" },
    { "too-many", "too-costly", 422,
      "More components or entries than are taken" },
    { "value-conflict", "business-rule", 422,
      "Values or states that contradict each other" },
    { "not-supported", "not-supported", 422, "Not supported here" },
    { "access-ambiguous", "business-rule", 422,
      "It is not clear which access is meant" },
    { "identity", "business-rule", 409,
      "It would change what something is, or whose" },
    { "version", "conflict", 409, "Not the version that is stored" },
    { "patch-conflict", "conflict", 409,
      "A patch that does not fit what is stored" },
    { "condition-needed", "business-rule", 428,
      "The version that was changed has to be named" },
    { "precondition", "conflict", 412,
      "A condition of the request is not met" },
    { "not-found", "not-found", 404, "There is no such thing here" },
    /* of the service around the resource */
    { "unauthorized", "login", 401, "No bearer token, or an unknown one" },
    { "forbidden", "forbidden", 403, "The token does not allow this" },
    { "too-often", "throttled", 429, "More requests than are taken at a time" },
    { "method", "not-supported", 405, "Not allowed at this address" },
    { "not-acceptable", "not-supported", 406, "Only JSON is answered" },
    { "media-type", "not-supported", 415, "Only FHIR as JSON is taken" },
    { "too-long", "too-long", 413, "Longer than is taken" },
    { "bad-request", "invalid", 400, "Not a request that can be read" },
    { "bad-parameter", "value", 400,
      "A search parameter that is not understood" },
    { "internal", "exception", 500, "A fault of this service" },
    { "not-ready", "transient", 503, "Not possible at the moment" },
    /* of information or warning */
    { "code-unknown", "informational", 0, "Code not mapped; kept, not used" },
    { "value-absent", "informational", 0, "There is no value; kept" },
    { "not-computed", "informational", 0, "Kept, and not used by the rules" },
    { "month-only", "informational", 0, "Only the month or the year is known" },
    { "preliminary", "informational", 0, "Preliminary; it confirms nothing" },
    { "duplicate", "duplicate", 0, "The same was there already" },
    { "out-of-order", "informational", 0,
      "Came after its own correction or withdrawal" },
    { "unit-assumed", "incomplete", 0,
      "The unit was understood from its text" },
    { "access-assumed", "incomplete", 0,
      "The access was taken from what is known" },
    { "access-provisional", "incomplete", 0,
      "The access named is not described yet" },
    { "access-side", "incomplete", 0,
      "The side does not fit, or is needed and not said" },
    { "type-unknown", "incomplete", 0, "The type of the access is not known" },
    { "stage-assumed", "incomplete", 0,
      "A stage was read as one of two grades" },
    { "unusual-value", "value", 0, "Used, but unusual for this quantity" },
    { "implausible", "value", 0, "Not plausible; held for a person" },
    { "future-time", "value", 0, "In the future; held for a person" },
    { "held", "incomplete", 0, "Held for a person" },
    { "death-doubtful", "value", 0,
      "A death that cannot be as it is said; not acted upon" },
    { "value-unread", "incomplete", 0,
      "The value of a sign cannot be read; held for a person" },
    { "error", "exception", 500, "An error without a word of its own" },
};

static const struct outcome_word *row_of(const char *word)
{
    size_t i = 0;

    while (i + 1 < COUNT(rows) && strcmp(rows[i].word, word) != 0)
        i++;
    return &rows[i];
}

const struct outcome_word *outcome_word(size_t i)
{
    return i < COUNT(rows) ? &rows[i] : NULL;
}

void outcome_init(struct outcome *o)
{
    /* The issues stay untouched: there is one outcome for each entry of a
     * Bundle, and most never hold an issue. */
    o->status = 0;
    o->count = 0;
    o->dropped = 0;
}

/*
 * Where the next issue goes; NULL if it is dropped.  When the list is full an
 * error takes the place of the last issue that is none: who is refused must
 * be told why.
 */
static struct issue *room_for(struct outcome *o, enum severity severity)
{
    if (o->count < OUTCOME_ISSUES_MAX)
        return &o->issues[o->count++];
    o->dropped++;
    if (severity < SEV_ERROR)
        return NULL;
    for (size_t i = OUTCOME_ISSUES_MAX; i > 0; i--) {
        if (o->issues[i - 1].severity < SEV_ERROR)
            return &o->issues[i - 1];
    }
    return NULL;
}

void outcome_add(struct outcome *o, enum severity severity, const char *word,
                 const char *place, const char *format, ...)
{
    const struct outcome_word *row = row_of(word);
    struct issue *issue;
    va_list ap;

    if (severity >= SEV_ERROR) {
        int status = row->status != 0 ? row->status : 422;

        o->status = status > o->status ? status : o->status;
    }
    issue = room_for(o, severity);
    if (issue == NULL)
        return;
    issue->severity = severity;
    issue->code = row->code;
    issue->word = row->word;
    snprintf(issue->place, sizeof(issue->place), "%s",
             place != NULL ? place : "");
    va_start(ap, format);
    vsnprintf(issue->text, sizeof(issue->text), format, ap);
    va_end(ap);
}

bool outcome_refuses(const struct outcome *o)
{
    return o->status != 0;
}

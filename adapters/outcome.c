#include "adapters/outcome.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct row {
    const char *word, *code;
    int status; /* asked for when the word is used as an error */
};

/* One word, one row.  The last stands in for a word that has none. */
static const struct row rows[] = {
    { "json-syntax", "structure", 400 },
    { "not-a-resource", "structure", 400 },
    { "missing-element", "required", 400 },
    { "bad-element", "structure", 400 },
    { "bad-value", "value", 400 },
    { "bad-datetime", "value", 400 },
    { "invariant", "invariant", 400 },
    { "bad-reference", "value", 400 },
    { "unit", "code-invalid", 422 },
    { "code-conflict", "code-invalid", 422 },
    { "code-unclear", "code-invalid", 422 },
    { "no-subject", "business-rule", 422 },
    { "no-time", "business-rule", 422 },
    { "timing", "business-rule", 422 },
    { "modifier", "extension", 422 },
    { "too-many", "too-costly", 422 },
    { "value-conflict", "business-rule", 422 },
    { "not-supported", "not-supported", 422 },
    { "access-ambiguous", "business-rule", 422 },
    { "identity", "business-rule", 409 },
    { "version", "conflict", 409 },
    { "precondition", "conflict", 412 },
    { "not-found", "not-found", 404 },
    /* of the service around the resource */
    { "unauthorized", "login", 401 },
    { "method", "not-supported", 405 },
    { "not-acceptable", "not-supported", 406 },
    { "media-type", "not-supported", 415 },
    { "too-long", "too-long", 413 },
    { "bad-request", "invalid", 400 },
    { "bad-parameter", "value", 400 },
    { "internal", "exception", 500 },
    { "not-ready", "transient", 503 },
    /* of information or warning */
    { "code-unknown", "informational", 0 },
    { "value-absent", "informational", 0 },
    { "not-computed", "informational", 0 },
    { "month-only", "informational", 0 },
    { "preliminary", "informational", 0 },
    { "duplicate", "duplicate", 0 },
    { "out-of-order", "informational", 0 },
    { "unit-assumed", "incomplete", 0 },
    { "access-assumed", "incomplete", 0 },
    { "access-provisional", "incomplete", 0 },
    { "access-side", "incomplete", 0 },
    { "stage-assumed", "incomplete", 0 },
    { "unusual-value", "value", 0 },
    { "implausible", "value", 0 },
    { "future-time", "value", 0 },
    { "held", "incomplete", 0 },
    { "error", "exception", 500 },
};

static const struct row *row_of(const char *word)
{
    size_t i = 0;

    while (i + 1 < COUNT(rows) && strcmp(rows[i].word, word) != 0)
        i++;
    return &rows[i];
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
    const struct row *row = row_of(word);
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

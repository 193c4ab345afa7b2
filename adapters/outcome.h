/*
 * outcome - what is said about an input: a list of issues
 *
 * Each issue has a severity, an issue code of FHIR, a stable word of our own
 * (CodeSystem av-error), a text for a person and the place as a FHIRPath.
 * A text never repeats a value from a record beyond a code or a unit.
 */
#ifndef HEADGATE_ADAPTERS_OUTCOME_H
#define HEADGATE_ADAPTERS_OUTCOME_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>

enum severity { SEV_INFORMATION, SEV_WARNING, SEV_ERROR, SEV_FATAL };

enum { OUTCOME_ISSUES_MAX = 20, OUTCOME_TEXT_SIZE = 240 };

struct issue {
    enum severity severity;
    const char *code; /* of value set issue-type; static */
    const char *word; /* stable, of CodeSystem av-error; static */
    char text[OUTCOME_TEXT_SIZE];
    char place[160]; /* FHIRPath; "" if there is none */
};

struct outcome {
    int status; /* highest HTTP status any error asks for; 0 while none */
    size_t count;
    size_t dropped; /* issues beyond the ceiling */
    struct issue issues[OUTCOME_ISSUES_MAX];
};

/*
 * The words and what goes with each: one row in outcome.c
 *   word            FHIR code        status
 *   json-syntax     structure        400
 *   not-a-resource  structure        400
 *   missing-element required         400
 *   bad-element     structure        400   (wrong JSON type, null, empty)
 *   bad-value       value            400   (not in a required value set...)
 *   bad-datetime    value            400
 *   invariant       invariant        400
 *   bad-reference   value            400
 *   unit            code-invalid     422
 *   code-conflict   code-invalid     422   (codings that contradict)
 *   code-unclear    code-invalid     422
 *   no-subject      business-rule    422
 *   no-time         business-rule    422
 *   timing          business-rule    422
 *   modifier        extension        422
 *   too-many        too-costly       422   (components or entries)
 *   value-conflict  business-rule    422   (value and component disagree)
 *   not-supported   not-supported    per call
 *   access-ambiguous business-rule   422
 *   identity        business-rule    409
 *   version         conflict         409
 *   precondition    conflict         412
 *   patch-conflict  conflict         409
 *   condition-needed business-rule   428
 *   not-found       not-found        404
 *   unauthorized    login            401
 *   forbidden       forbidden        403
 *   method          not-supported    405
 *   not-acceptable  not-supported    406
 *   media-type      not-supported    415
 *   too-long        too-long         413
 *   bad-request     invalid          400
 *   bad-parameter   value            400
 *   internal        exception        500
 *   not-ready       transient        503
 *   ... and words of information or warning, with status 0:
 *   code-unknown, unit-assumed, access-assumed, access-provisional,
 *   access-side, stage-assumed, unusual-value, implausible, held,
 *   value-absent, not-computed, month-only, duplicate, out-of-order,
 *   preliminary, future-time, type-unknown, value-unread
 */
void outcome_init(struct outcome *o);

/* Add an issue by its word; status and FHIR code come from the word's row.
 * severity: SEV_ERROR and above raise o->status. */
void outcome_add(struct outcome *o, enum severity severity, const char *word,
                 const char *place, const char *format, ...)
    __attribute__((format(printf, 5, 6)));

/* All there is to know of a word. */
struct outcome_word {
    const char *word, *code;
    int status; /* asked for when the word is used as an error; 0: none */
    const char *display; /* for people */
};
/* The i-th word of CodeSystem av-error; NULL beyond the last. */
const struct outcome_word *outcome_word(size_t i);

bool outcome_refuses(const struct outcome *o); /* status is not 0 */

#endif

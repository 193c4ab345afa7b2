/*
 * fhir_answer - what a FHIR server says to a Bundle, or to one resource
 *
 * Reads a batch-response (see fhir_write_bundle_response) or an
 * OperationOutcome by itself, and says of each entry what became of it, so
 * that a loader can count and show the first fault of each.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_ANSWER_H
#define HEADGATE_ADAPTERS_FHIR_ANSWER_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>

/* Words of outcome.h that change what becomes of an entry, or explain it. */
enum answer_word {
    ANSWER_DUPLICATE,
    ANSWER_OUT_OF_ORDER,
    /* a reading is kept, and held until a person has looked */
    ANSWER_HELD,
    ANSWER_IMPLAUSIBLE,
    ANSWER_ACCESS_AMBIGUOUS,
    ANSWER_ACCESS_SIDE,
    ANSWER_UNIT,
    ANSWER_CODE_UNCLEAR,
    ANSWER_CODE_CONFLICT,
    ANSWER_FUTURE_TIME,
    ANSWER_VALUE_UNREAD,
    ANSWER_WORD_COUNT
};
/* As it stands in an issue: "access-ambiguous". */
const char *answer_word(enum answer_word w);

enum answer_fate {
    FATE_STORED,
    FATE_THERE, /* nothing in it was new */
    FATE_HELD,  /* stored, and something in it is held for a person */
    FATE_REFUSED
};

struct fhir_answer {
    int status;     /* HTTP; 0: not said, or not a number */
    unsigned words; /* bit 1u << enum answer_word: an issue has this word */
    enum answer_fate fate;
    /* Of the first issue that is an error or fatal: "" if there is none.  A
     * text that is too long is cut. */
    char word[40]; /* of CodeSystem av-error, else the FHIR issue code */
    char text[240];
    char place[160]; /* FHIRPath */
};

/*
 * fhir_answer_read - read the body of an answer
 *
 * http_status  of the answer: the status of a lone OperationOutcome
 * answers      written: one for each entry in their order; or one for all
 * most         room in answers, 1 or more
 * lone         true: an OperationOutcome; answers[0] is about all that was
 *              sent
 *
 * Fate.  Not 2xx: refused.  Else, where an issue about the entry as a whole
 * says duplicate or out-of-order: there.  Else held, where a warning or an
 * error has one of the words for it: these two stand in answers to a
 * collection only.  Else stored.
 *
 * ERR_FORM    not JSON, or neither of the two
 * ERR_LIMIT   more entries than there is room
 * ERR_MEMORY
 */
MUST_CHECK enum err fhir_answer_read(const char *json, size_t len,
                                     int http_status,
                                     struct fhir_answer *answers, size_t most,
                                     size_t *count, bool *lone);

#endif

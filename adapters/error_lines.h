/*
 * error_lines - what was refused of a file, one OperationOutcome a line
 *
 * NDJSON: each line is a resource of R4 that says why a line of a file (or a
 * message of HL7 v2 in it) was refused, with the issues as the service gave
 * them and, in each of them, where in the file it stands:
 *
 *     location     "feed.ndjson:12", and for HL7 v2 "OBX[3]-5" after it
 *     diagnostics  "feed.ndjson, line 12, byte 3456", and ", entry 2" of a
 *                  Bundle that stands there
 *     expression   FHIRPath within the resource of that line
 *
 * Nothing of the line itself stands there beyond what an issue says, which is
 * at most a code or a unit.
 *
 * Source: HL7 FHIR R4, OperationOutcome.
 */
#ifndef HEADGATE_ADAPTERS_ERROR_LINES_H
#define HEADGATE_ADAPTERS_ERROR_LINES_H

#include "adapters/buf.h"
#include "adapters/outcome.h"

#include <stdbool.h>
#include <stdint.h>

struct error_place {
    const char *file; /* its name; bytes that are not UTF-8 are left out */
    uint64_t line, offset;
    uint64_t entry; /* of the Bundle in that line, from 1; 0: it is none */
};

/*
 * error_line_write - from an outcome; one line with its end
 *
 * base  canonical base of our CodeSystems
 * v2    places are those of HL7 v2: they stand in location
 *
 * An outcome without issues is written as one that says "refused": something
 * must stand there.
 */
void error_line_write(const char *base, const struct outcome *o, bool v2,
                      const struct error_place *place, struct buf *out);

/*
 * error_answer - from the answer of a service: an OperationOutcome, or the
 * response Bundle with one in each entry
 *
 * ERR_FORM, ERR_MEMORY
 */
struct error_answer;
MUST_CHECK enum err error_answer_open(const char *json, size_t len,
                                      struct error_answer **answer);
void error_answer_close(struct error_answer *answer);

/* Entry i, or the lone outcome with i = 0; one line with its end.  Where
 * nothing was said it is "refused". */
void error_answer_write(const struct error_answer *answer, size_t i,
                        const struct error_place *place, struct buf *out);

/*
 * error_answer_hl7 - what was answered to a message of HL7 v2, in JSON (see
 * service/hl7_answer.h)
 *
 * ERR_FORM  it is none
 */
struct error_hl7 {
    char answer[4]; /* "AA", "AE", "AR" */
    bool repeated, quarantined;
    uint64_t stored, there, held, refused; /* results of the message */
    /* of the first error; "" if there is none */
    char word[40], text[240], place[64];
};
MUST_CHECK enum err error_answer_hl7(const struct error_answer *answer,
                                     struct error_hl7 *out);
/* Its issues as one line with its end. */
void error_answer_hl7_write(const struct error_answer *answer, const char *base,
                            const struct error_place *place, struct buf *out);

#endif

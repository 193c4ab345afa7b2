/*
 * fhir_plan - the band plan that a Task carries
 *
 * One Task.input whose type is the code "plan" of CodeSystem av-task-io, with
 * a valueAttachment: the document of plan_write.h as application/json, its size
 * in bytes, its hash (base64 of SHA-1, as R4 says), a title, and when it was
 * made.  A Task holds at most one, and only headgate writes it.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_PLAN_H
#define HEADGATE_ADAPTERS_FHIR_PLAN_H

#include "adapters/buf.h"

#include <stdbool.h>
#include <stdint.h>

struct fhir_plan {
    const char *json; /* the document */
    size_t len;
    const char *title;
    int64_t created_ms;
};

/*
 * fhir_plan_of_task - append the document that a Task carries to out
 *
 * ERR_ABSENT  it carries none, or none that can be read
 * ERR_FORM    json is no Task
 */
MUST_CHECK enum err fhir_plan_of_task(const char *json, size_t len,
                                      struct buf *out);

/* Does a document tell of a case: was something done to the band? */
bool fhir_plan_has_stages(const char *json, size_t len);

/*
 * fhir_plan_change - what differs between two documents, for a person
 *
 * "the mean pressure, the index of the finger": what it is made from, not what
 * follows from it.  Nothing is written if there is no such difference.
 */
void fhir_plan_change(const char *before, size_t before_len, const char *now,
                      size_t now_len, struct buf *out);

#endif

/*
 * fhir_task - what the writers of Tasks share; private to them
 *
 *     fhir_task.c          a Task as text, from a struct
 *     fhir_task_merge.c    two Tasks into one, member by member
 *     fhir_task_yield.c    what a person changed before taking it in hand
 *     fhir_task_carry.c    what people did here, brought to a record
 *     fhir_deed.c          what a person does with one
 *     fhir_task_same.c     what counts as the same in two Tasks
 *     fhir_task_person.c   what a person may change
 *     fhir_task_view.c     looking into a Task, and into a search
 *     fhir_task_plan.c     the band plan that a Task carries
 *     fhir_task_text.c     its narrative
 */
#ifndef HEADGATE_ADAPTERS_FHIR_TASK_H
#define HEADGATE_ADAPTERS_FHIR_TASK_H

#include "adapters/fhir_json.h"
#include "adapters/fhir_write.h"
#include "adapters/task_codes.h"

#define TASK_SYSTEM    "/CodeSystem/av-task"
#define TASK_IO_SYSTEM "/CodeSystem/av-task-io"
#define TASK_REQUESTED "requested"

/* JSON text that is known to be valid, with its tree. */
struct fhir_task_text {
    const char *json; /* borrowed */
    size_t len;
    json_t *tree; /* owned: json_decref */
};

/* ERR_FORM if it is not one JSON object of this type; NULL: of any. */
MUST_CHECK enum err fhir_task_load(const char *json, size_t len,
                                   const char *type, struct fhir_task_text *t);

/* Equal, where 2000 and 2000.0 are. */
bool fhir_task_alike(json_t *a, json_t *b);
/* The same kind, and the same reference or value. */
bool fhir_task_same_input(json_t *a, json_t *b);
/* An input that is the plan, or the document of it: ours, whoever has the
 * Task. */
bool fhir_task_is_ours(json_t *input);
/* The input with a plan, as one item of a list. */
void fhir_task_out_plan(const char *base, const struct fhir_plan *plan,
                        struct buf *out);
/* Is this one of the resource's identifiers?  system "": one without. */
bool fhir_has_identifier(json_t *resource, const char *system,
                         const char *value);
/* Is the business status of this Task one that we give, or is there none? */
bool fhir_task_is_our_status(json_t *task);
/* The same text at the same time. */
bool fhir_task_same_note(json_t *a, json_t *b);

/* What a narrative is made of, each as the Task has it; NULL for none. */
struct fhir_task_said {
    const char *title;       /* Task.code.text */
    const char *patient;     /* Task.for.display */
    const char *description; /* without it there is no narrative */
};

/*
 * The member "text": status "generated", and a div (R4, Narrative) of
 * paragraphs, in the language of the site.  A text that is not XML is escaped.
 */
void fhir_task_out_text(const struct fhir_task_said *said, struct buf *out);
/* Has this Task a narrative that we made? */
bool fhir_task_is_our_text(json_t *task);

/* Milliseconds since 1970 of an instant; false if the text is none. */
bool fhir_task_instant_ms(const char *text, int64_t *ms);

#endif

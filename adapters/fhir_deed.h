/*
 * fhir_deed - what a person does with a Task of ours, and how it gets to a
 * record that may have changed the Task meanwhile
 */
#ifndef HEADGATE_ADAPTERS_FHIR_DEED_H
#define HEADGATE_ADAPTERS_FHIR_DEED_H

#include "adapters/buf.h"

#include <stdint.h>

/* What becomes of businessStatus.  What a person has put there themselves, by
 * a PUT or at a record, is never ours to take away. */
enum fhir_deed_business {
    BUSINESS_STAYS,
    BUSINESS_PUT_OFF, /* code put-off of CodeSystem av-task */
    BUSINESS_AWAITING,
    BUSINESS_NONE /* somebody has answered */
};

/* All text is borrowed, and UTF-8. */
struct fhir_deed {
    const char *base;
    const char *status; /* of value set task-status; NULL: it stays */
    const char *reason; /* statusReason.text; only with status; NULL: none */
    const char *owner;  /* owner.display; NULL: it stays */
    enum fhir_deed_business business;
    const char *author; /* note.authorString: who did it */
    const char *note;   /* note.text; NULL: none is added */
    int64_t now_ms;     /* note.time, lastModified (never before authoredOn) */
};

/*
 * fhir_deed_write - the Task with the deed done, appended to out.  What the
 * deed does not name stays as it is, byte for byte; whether R4 allows the
 * change of status is fhir_task_person_update's to say.
 *
 * ERR_FORM  json is not a Task
 */
MUST_CHECK enum err fhir_deed_write(const char *json, size_t len,
                                    const struct fhir_deed *deed,
                                    struct buf *out);

/* Who is to see to it: owner's display, else its reference or identifier; ""
 * if nobody, or json is no Task.  As much as fits, never half a character. */
enum { FHIR_OWNER_SIZE = 200 };
void fhir_task_owner(const char *json, size_t len, char owner[FHIR_OWNER_SIZE]);

/* One version of a Task, appended to a list: of it, what fhir_task_carry
 * compares.  The list begins empty, is no JSON, and is bounded by its buffer.
 * ERR_FORM  json is not a Task */
MUST_CHECK enum err fhir_task_outline(const char *json, size_t len,
                                      struct buf *list);

/*
 * fhir_task_carry - people's deeds of here, into what fhir_task_merge made
 *
 * before  a list of outlines: our versions that the record may have, from the
 *         one that was confirmed last, or from the first; without the newest
 * merged  in; out is the same with status (and statusReason), owner and
 *         businessStatus of ours, each of them where theirs is still as it was
 *         in one of `before`: then nobody has changed it there, and what ours
 *         says is newer.  What was changed there stands.
 * same    out: theirs says all of it already
 *
 * ERR_FORM  one of them is no Task
 */
struct fhir_carry {
    const char *ours;
    size_t ours_len;
    const char *theirs;
    size_t theirs_len;
    const char *merged;
    size_t merged_len;
    const struct buf *before; /* not changed */
};
MUST_CHECK enum err fhir_task_carry(const struct fhir_carry *c, bool *same,
                                    struct buf *out);

#endif

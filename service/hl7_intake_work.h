/*
 * hl7_intake_work - what the parts of hl7_intake share; not for others
 *
 *     hl7_intake.c        taking a message apart (any thread)
 *     hl7_intake_apply.c  the message as a whole, in the store
 *     hl7_intake_items.c  its results, one by one
 *     hl7_intake_say.c    what is told of it: issues, quarantine, tally
 */
#ifndef HEADGATE_SERVICE_HL7_INTAKE_WORK_H
#define HEADGATE_SERVICE_HL7_INTAKE_WORK_H

#include "service/hl7_intake.h"
#include "service/tally.h"

/* An issue of our own about the message or a field of its head. */
void hl7_say(struct hl7_intake *in, enum hl7_severity severity,
             enum hl7_error code, const char *word, const char *segment,
             int field, const char *text);

/* ---- hl7_intake_items.c --------------------------------------------------- */

/* Before the results are applied: what is left out, and why. */
MUST_CHECK enum err hl7_items_prepare(struct db *db, struct hl7_intake *in);
/* Preliminary results that the message makes final. */
MUST_CHECK enum err hl7_items_promote(struct db *db, struct hl7_intake *in);
/* What became of each: counts and issues. */
void hl7_items_judge(struct hl7_intake *in);

/* ---- hl7_intake_say.c ----------------------------------------------------- */

/* What an issue of a result is in HL7: place from the entry and the word. */
void hl7_say_issue(struct hl7_intake *in, const struct hl7_entry *entry,
                   const struct issue *issue, enum hl7_severity severity);

/* The first error; NULL: there is none. */
const struct hl7_issue *hl7_first_error(const struct hl7_issues *issues);

/* A row in quarantine, for the whole message. */
MUST_CHECK enum err hl7_quarantine(struct db *db, struct hl7_intake *in);

/* Its errors into the weekly report. */
MUST_CHECK enum err hl7_count_errors(struct db *db, const struct hl7_intake *in,
                                     enum tally_class class);

#endif

/*
 * hl7_intake_work - what the parts of hl7_intake share; not for others
 *
 *     hl7_intake.c        taking a message apart (any thread)
 *     hl7_intake_apply.c  the message as a whole, in the store
 *     hl7_intake_items.c  its results, one by one
 *     hl7_intake_match.c  which stored result each is a report of
 *     hl7_intake_compare.c  one final report over another
 *     hl7_intake_final.c  stored results that get another status
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

/* A sign or a state, by a code that is known: not a number. */
bool hl7_is_sign(const struct hl7_intake *in, const struct fhir_observation *o);

/* ---- hl7_intake_match.c --------------------------------------------------- */

/* The stored result that has the first identifier of this one. ERR_ABSENT,
 * ERR_AMBIGUOUS. */
MUST_CHECK enum err hl7_find_result(struct db *db, const struct fhir_item *item,
                                    struct resource *row);
/* Before it is applied: its first identifier becomes that of the stored result
 * which it is a report of; matches[i] says what is to be told. */
MUST_CHECK enum err hl7_items_match(struct db *db, struct hl7_intake *in,
                                    size_t i);
/* Issues and the weekly report of what did not fit. */
MUST_CHECK enum err hl7_items_say_match(struct db *db, struct hl7_intake *in);
/* The item is of this stored resource: its first identifier becomes the one
 * under which that is stored, kept in match. */
MUST_CHECK enum err hl7_adopt(struct db *db, struct hl7_match *match,
                              struct fhir_item *item, int64_t resource);

struct hl7_restated;

/* The answers beside a result that was taken back are withdrawn with it. */
MUST_CHECK enum err hl7_items_withdraw(struct db *db,
                                       const struct hl7_intake *in, size_t i,
                                       struct hl7_restated *out);

/* The item is known by this value (borrowed) first; that by which it was known
 * is kept behind it, to be found by. */
void hl7_put_key(struct fhir_item *item, const char *value);

/* ---- hl7_intake_compare.c ------------------------------------------------- */

/* The stored one is final, and so is this: matches[i] says what comes of it. */
MUST_CHECK enum err hl7_compare(struct db *db, struct hl7_intake *in, size_t i,
                                const struct resource *row);

/* ---- hl7_intake_final.c --------------------------------------------------- */

/* Stored results with another status: a batch that is being written, and which
 * resource each of its entries is. */
struct hl7_restated {
    struct buf body;
    int64_t *resources;
    size_t count, size;
};

/* Add the stored bytes with another status. */
MUST_CHECK enum err hl7_put_status(struct db *db, const struct resource *row,
                                   const char *status,
                                   struct hl7_restated *out);

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
/* What was warned of and is counted by nobody else, likewise. */
MUST_CHECK enum err hl7_count_warnings(struct db *db,
                                       const struct hl7_intake *in);

#endif

/*
 * patient_whole - all that is kept of one patient
 *
 * Store thread only.  Collected as numbers in temporary tables of the
 * connection (whole_access, whole_resource, whole_journal, whole_message,
 * whole_item), from which it is given out (patient_export.h) or removed
 * (patient_erase.h).  What is found there by its number stays found until the
 * next collection.
 *
 * whole_doubt is what may be the patient's, and is neither given out nor
 * removed: a number whose system is not sure, or a message in which somebody
 * else is, too.
 */
#ifndef HEADGATE_SERVICE_PATIENT_WHOLE_H
#define HEADGATE_SERVICE_PATIENT_WHOLE_H

#include "service/db.h"

/*
 * patient_whole_find - by number, "system|value", id, or reference
 *
 * ERR_ABSENT; ERR_AMBIGUOUS: more than one is called so
 */
MUST_CHECK enum err patient_whole_find(struct db *db, const char *name,
                                       int64_t *patient);

/*
 * Fill the tables.
 *
 * mark  whose collection it is: one that is there with this mark is added to,
 *       any other is forgotten; 0: forgotten always
 */
MUST_CHECK enum err patient_whole_collect(struct db *db, int64_t patient,
                                          int64_t mark);

/* Is the collection that is there one with this mark?  Else ERR_CONFLICT. */
MUST_CHECK enum err patient_whole_marked(struct db *db, int64_t mark);

/*
 * What was found by reading what came (patient_sift.c), before it is used: what
 * is not for sure the patient's alone leaves the tables, and what belongs to
 * the rest comes in.
 */
MUST_CHECK enum err patient_whole_settle(struct db *db);

#endif

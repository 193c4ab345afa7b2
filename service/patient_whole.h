/*
 * patient_whole - all that is kept of one patient
 *
 * Store thread only.  Collected as numbers in temporary tables of the
 * connection (whole_access, whole_resource, whole_journal, whole_message,
 * whole_item), from which it is given out (patient_export.h) or removed
 * (patient_erase.h).  What is found there by its number stays found until the
 * next collection.
 */
#ifndef HEADGATE_SERVICE_PATIENT_WHOLE_H
#define HEADGATE_SERVICE_PATIENT_WHOLE_H

#include "adapters/buf.h"
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
 * The names that senders use, for looking for them in what they sent.  In JSON
 * a name is looked for as the whole of a text ("1001"), or as its last part
 * behind a slash ("Patient/p-1"); in a message of HL7 v2, as a whole component
 * of a PID segment.  So a number of a patient is not taken for a value.
 */
enum { WHOLE_NAMES_MAX = 64, WHOLE_NAME_SIZE = 600 };
struct patient_names {
    size_t count;
    char names[WHOLE_NAMES_MAX][WHOLE_NAME_SIZE];
};
/* ERR_LIMIT: more than WHOLE_NAMES_MAX. */
MUST_CHECK enum err patient_names_read(struct db *db, int64_t patient,
                                       struct patient_names *names);
bool patient_names_in(const struct patient_names *names, const char *text,
                      size_t len);

#endif

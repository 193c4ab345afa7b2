/*
 * deceased - whether a patient is known to be dead
 *
 * Store thread only.  One fact of each patient, which the review reads: of
 * whoever is dead nothing new is put to people, and what stands open and nobody
 * has in hand is withdrawn.  What is measured is stored as before, so that a
 * correction brings back what holds.
 *
 * Who said it can take it back by saying it no more: a record by a Patient
 * without deceased[x].  HL7 v2, where an empty field says nothing, does so by
 * N in PID-30 or by "" (HL7 v2.5.1, 2.5.3).  The record goes first: it takes
 * back what HL7 v2 said by saying false, and never the other way round, since
 * senders that fill PID-30 with N without knowing are common (common practice,
 * no source).
 */
#ifndef HEADGATE_SERVICE_DECEASED_H
#define HEADGATE_SERVICE_DECEASED_H

#include "planner/rules.h"
#include "service/patients.h"

/* patient.deceased_by of the store. */
enum deceased_by { DECEASED_BY_NOBODY, DECEASED_BY_RECORD, DECEASED_BY_V2 };

/* Take over what is said of a death.  Where the patient is known to be dead
 * now, or no longer, all accesses are to be reviewed. */
MUST_CHECK enum err deceased_take(struct db *db, int64_t patient,
                                  const struct fhir_patient *said);

/* The same of all Patient resources that came before it was kept. */
MUST_CHECK enum err deceased_read(struct db *db,
                                  const struct fhir_reader *reader);

/*
 * deceased_judge - is there anything that only one who lives can have?
 *
 * A sign of emergency, used or held, of after the death, or any other reading
 * that counts of more than a day after it, makes the death doubtful: it then
 * ends nothing.  Asked whenever readings come or go, or an access is reviewed;
 * *changed: it is so now, or no longer, and all accesses are to be reviewed.
 */
MUST_CHECK enum err deceased_judge(struct db *db, int64_t patient,
                                   bool *changed);

/* Was this episode ended because the patient was thought to be dead? */
MUST_CHECK enum err deceased_ended(struct db *db, int64_t access,
                                   enum group group, int number, bool *ended);

enum { DECEASED_TEXT_SIZE = 512 };

/* "Recorded as deceased since 2026-11-20", or what is in doubt of it, in the
 * language of the site; "" nothing. */
void deceased_say(const struct patient *patient, char text[DECEASED_TEXT_SIZE]);

#endif

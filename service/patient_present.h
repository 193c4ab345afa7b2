/*
 * patient_present - whom an erasure would remove, said before it does
 *
 * A mistyped number is a number of somebody.  So who is meant is shown first,
 * with what is open, and the one who decides types the name (patient_erase.h).
 */
#ifndef HEADGATE_SERVICE_PATIENT_PRESENT_H
#define HEADGATE_SERVICE_PATIENT_PRESENT_H

#include "adapters/buf.h"
#include "service/patients.h"

struct patient_present {
    struct patient patient;
    char number[ALIAS_SIZE]; /* as senders call the patient */
    int64_t readings, first_s, last_s;
    int64_t suggestions, reminders; /* that are open */
    int64_t emergencies; /* of the suggestions: to phone now; and signs of
                            emergency that are held back */
    int64_t tied;        /* steps of a band, from since_s on: somebody is on the
                            table, or was a moment ago */
};

/* ERR_ABSENT: no such patient.  since_s: when a case that goes on began at the
 * earliest (plan.case_h before now). */
MUST_CHECK enum err patient_present(struct db *db, int64_t patient,
                                    int64_t since_s, struct patient_present *p);

/* Is there something that must not vanish unseen? */
bool patient_present_is_urgent(const struct patient_present *p);

/* Is this the name of the patient, as it is shown: "Family, Given" or the family
 * name, capitals or not (of a to z); of one without a name the number? */
bool patient_present_is_called(const struct patient_present *p,
                               const char *name);

/* For people, to look at before they decide.  all: lists are written whole;
 * else what is left out of them is counted. */
MUST_CHECK enum err patient_present_write(struct db *db,
                                          const struct patient_present *p,
                                          bool all, struct buf *out);

/* What is urgent, and the way to go on all the same. */
void patient_present_write_urgent(const struct patient_present *p,
                                  struct buf *out);

#endif

/*
 * patient_names - what the senders call one patient
 *
 * The aliases of patients.h: literal references ("r:Patient/p-1") and business
 * identifiers with their system ("i:system|value").  A number alone is nobody:
 * the same one is another person's in another system.
 */
#ifndef HEADGATE_SERVICE_PATIENT_NAMES_H
#define HEADGATE_SERVICE_PATIENT_NAMES_H

#include "service/db.h"

enum { PATIENT_NAMES_MAX = 100000 };

struct patient_name {
    char *alias;
    const char *value; /* in it: behind the system, or behind the last slash */
};

/* Zeroed is empty; sorted by value. */
struct patient_names {
    struct patient_name *list;
    size_t count, room;
};

/* In place of what is there; store thread.  ERR_LIMIT: more than
 * PATIENT_NAMES_MAX. */
MUST_CHECK enum err patient_names_read(struct db *db, int64_t patient,
                                       struct patient_names *names);
MUST_CHECK enum err patient_names_add(struct patient_names *names,
                                      const char *alias);
/* After the last patient_names_add. */
void patient_names_sort(struct patient_names *names);
void patient_names_free(struct patient_names *names);

/* Is it one of them, with its system? */
bool patient_names_have(const struct patient_names *names, const char *alias);
/* Is there an identifier with this value, of whatever system? */
bool patient_names_number(const struct patient_names *names, const char *value);

#endif

/*
 * audit_whom - of whom a row of the audit trail is: the patients of what was
 * returned or stored, not of what was asked for
 *
 * Store thread.  Whoever gives something away, or keeps it, says so with
 * audit_saw; the row takes the patients of all that.
 *
 *     audit_whom_begin --> audit_saw ... --> audit_whom_take --> audit_note
 *
 * What is seen is kept in a temporary table of the connection, and so undone
 * with what a savepoint undoes.  Without a begin it holds what somebody else
 * saw, and must not be taken.
 */
#ifndef HEADGATE_SERVICE_AUDIT_WHOM_H
#define HEADGATE_SERVICE_AUDIT_WHOM_H

#include "service/db.h"

enum {
    AUDIT_PATIENTS_MAX = 1000 /* that a row names */
};

enum audit_seen { AUDIT_SAW_RESOURCE = 0, AUDIT_SAW_PATIENT, AUDIT_SAW_ACCESS };

/* Patients by their numbers here, ascending, each once. */
struct audit_whom {
    int64_t patients[AUDIT_PATIENTS_MAX];
    size_t count;
    bool more; /* there are more than AUDIT_PATIENTS_MAX; count is 0 then */
};

/* Nothing has been seen yet. */
MUST_CHECK enum err audit_whom_begin(struct db *db);

/* id: of the resource, patient or access in this store; 0 is nothing. */
MUST_CHECK enum err audit_saw(struct db *db, enum audit_seen kind, int64_t id);

/* A List of ours, in the form that fhir_list_write gives it: those on it. */
MUST_CHECK enum err audit_saw_list(struct db *db, const char *json, size_t len);

/* The patients of what has been seen, which is forgotten. */
MUST_CHECK enum err audit_whom_take(struct db *db, struct audit_whom *whom);

/* What a row says of several: "" of one or none, which its own field says;
 * else "COUNT HEX", the SHA-256 over their numbers in decimal, each with a
 * line feed behind it; ">1000" of more. */
enum { AUDIT_WHOM_SIZE = 96 };
MUST_CHECK enum err audit_whom_text(const struct audit_whom *whom,
                                    char text[AUDIT_WHOM_SIZE]);

/* Those of a row, as the store has them. */
MUST_CHECK enum err audit_whom_read(struct db *db, int64_t seq,
                                    struct audit_whom *whom);

#endif

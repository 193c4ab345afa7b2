/*
 * accesses - which access is meant
 *
 * Store thread only.  An access is known by aliases: the reference to its
 * BodyStructure and its business identifiers.  Where a sender names an
 * access that has not come yet, it is made known under that name, type
 * unknown, and its BodyStructure fills in the rest; where a sender names
 * none, the only active access of the patient is meant, or, for a patient
 * without any, an implied one.  What stays unclear is never guessed.
 */
#ifndef HEADGATE_SERVICE_ACCESSES_H
#define HEADGATE_SERVICE_ACCESSES_H

#include "adapters/fhir_read.h"
#include "service/patients.h"

struct access {
    int64_t id, patient;
    char anchor[ALIAS_SIZE]; /* as of a patient */
    bool anchor_is_literal;
    enum sign type;
    enum side side;
    char region[16];
    char label[160]; /* for people: "Left upper arm, brachiocephalic" */
    bool active, implied;
    int64_t resource; /* BodyStructure; 0 if none has come */
    int64_t merged;   /* 0, or the access it was merged into */
};
MUST_CHECK enum err access_get(struct db *db, int64_t id, struct access *a);

/*
 * Take over a BodyStructure (fid its id here).
 *
 * merge_implied  the first real access of a patient takes over an implied one
 * ERR_CONFLICT   it is known as an access of another patient
 * ERR_FORM       its patient reference is not usable
 */
MUST_CHECK enum err access_take(struct db *db, const struct fhir_item *item,
                                const char *fid, int64_t resource,
                                bool merge_implied, int64_t *access);

/* What is known of a reading when its access is looked for. */
struct access_question {
    int64_t patient;
    const struct fhir_observation *observation;
    enum scope scope; /* SCOPE_ACCESS or SCOPE_ARM */
    enum side side;   /* of code or body site */
    const char *region;
    bool is_sign;    /* a symptom or grade, not a number */
    bool access_arm; /* the site says that it is the hand of the access */
};

struct access_answer {
    int64_t access; /* 0: not for any access, see hold */
    enum access_how how;
    bool assumed;     /* nobody named it */
    bool provisional; /* made known under the sender's name just now */
    bool beside;      /* provisional, and the patient has another one */
    bool similar;     /* that one has the same name, written otherwise */
    bool other_arm;   /* a finger of the arm without access: of no access */
    enum hold hold;   /* HOLD_ACCESS or HOLD_SIDE: unclear */
};

/* Errors are those of the store; what is unclear is in the answer. */
MUST_CHECK enum err access_resolve(struct db *db,
                                   const struct access_question *question,
                                   struct access_answer *answer);

/* Two patients have become one: what one of them had under a name that went
 * to an access of the other is merged into that. */
MUST_CHECK enum err access_unite_rivals(struct db *db, int64_t patient);

/* Two patients have become one: if each had an implied access and nothing
 * contradicts, they are one access too. */
MUST_CHECK enum err access_unite_implied(struct db *db, int64_t patient);

/* Is there another active access of this patient, no catheter, that has been
 * known for longer?  What concerns the patient as a whole is said there. */
MUST_CHECK enum err access_other_leads(struct db *db, const struct access *a,
                                       bool *leads);

/* On the thigh or the chest wall. */
bool access_is_central(const struct access *a);
/* In the forearm; false where the region is not known. */
bool access_is_forearm(const struct access *a);

/* All active accesses of a patient; at most max. */
MUST_CHECK enum err access_list(struct db *db, int64_t patient,
                                int64_t *accesses, size_t max, size_t *count);

#endif

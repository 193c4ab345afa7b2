/*
 * verdicts - a person's word on a reading that was held
 *
 * Store thread only.  A word that the value is right as it was sent, or that
 * the reading is never to be used, is said of what stands there: it counts for
 * that version of the Observation, and a corrected one is judged anew.  Which
 * access or side a reading is of stays true whatever its value, and counts for
 * all later versions too that do not say otherwise; never for another patient.
 * It is said of what a component measures, not of its place: it follows the code
 * of the component, and is of no use where a version has two of that code.
 * Every other doubt is kept: who says which side it is has not said that the
 * value can be believed.
 */
#ifndef HEADGATE_SERVICE_VERDICTS_H
#define HEADGATE_SERVICE_VERDICTS_H

#include "adapters/fhir_read.h"
#include "service/db.h"

/* Stored: bits. */
enum verdict_act {
    VERDICT_AS_SENT = 1,
    VERDICT_DISCARD = 2,
    VERDICT_PLACED = 4
};

enum { VERDICT_WORDS_SIZE = 400 }; /* of who and why */

struct person_verdict {
    int slot;     /* below 0: of nothing in the version that stands there */
    int64_t code; /* verdict_code() of what was measured; 0: not known */
    int version;  /* for which AS_SENT and DISCARD were said */
    unsigned acts;
    int64_t patient; /* whose it was then; 0: not known */
    int64_t access;  /* 0: not said */
    enum side side;  /* SIDE_UNKNOWN: not said */
};

struct verdicts {
    struct person_verdict list[FHIR_READINGS_MAX];
    size_t count;
};

/* A number for a code, which no other code of an Observation is likely to have
 * (FNV-1a, 64 bits); system may be NULL.  0: code is NULL or "". */
int64_t verdict_code(const char *system, const char *code);

MUST_CHECK enum err verdicts_of(struct db *db, int64_t resource,
                                struct verdicts *out);

/*
 * verdicts_follow - a word of an older version goes with its component, wherever
 * that stands in this one
 *
 * all  in and out: of verdicts_of; what is there is what is stored after it
 */
MUST_CHECK enum err verdicts_follow(struct db *db, int64_t resource,
                                    int version,
                                    const struct fhir_observation *o,
                                    struct verdicts *all);

/* What was said of this reading; NULL: nothing. */
const struct person_verdict *verdict_on(const struct verdicts *all,
                                        const struct fhir_reading *reading);

/* Is it never to be used, in this version?  verdict may be NULL. */
bool verdict_discards(const struct person_verdict *verdict, int version);

/*
 * verdict_apply - lift the hold that a person has settled, and keep any other
 *
 * verdict  may be NULL
 * future   its time is said to lie in the future
 */
void verdict_apply(const struct person_verdict *verdict, int version,
                   bool future, struct fhir_reading *reading);

/* A person's word, kept. */
struct verdict_said {
    int64_t resource;
    struct person_verdict
        verdict;        /* acts: what is said now; what was said before of
                               the same version stays, but for a discard */
    const char *reason; /* of the hold */
    const char *who, *why;
    int64_t now_ms;
};
MUST_CHECK enum err verdict_put(struct db *db, const struct verdict_said *said);

/* Take a discard back, for all readings of it.  ERR_ABSENT: none was. */
MUST_CHECK enum err verdict_lift(struct db *db, int64_t resource);

/* The Observation of this patient without an identifier that has this content,
 * and on which somebody has said his word; 0: none.  Local references are not
 * resolved in a digest, so equal content alone does not say whose it is. */
MUST_CHECK enum err verdict_equal(struct db *db, const unsigned char digest[32],
                                  int64_t patient, int64_t *resource);

#endif

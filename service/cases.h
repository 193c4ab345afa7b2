/*
 * cases - what is typed during a procedure, without FHIR
 *
 * Store thread only.  A line becomes Observations (case_write.h), which go the
 * way of all readings; taken back, they are marked as entered in error.  The
 * plan of the access, made anew from its history, is the answer of headgate
 * plan.
 */
#ifndef HEADGATE_SERVICE_CASES_H
#define HEADGATE_SERVICE_CASES_H

#include "adapters/case_line.h"
#include "service/intake.h"
#include "service/review.h"

enum case_verb {
    CASE_STATE, /* a line */
    CASE_UNDO,  /* the newest line, or the one of a number */
    CASE_LIST
};

enum { CASE_WHY_MAX = 255 }; /* bytes */

struct case_call {
    /* in; borrowed */
    const struct review *review;
    const struct fhir_reader *reader;
    enum case_verb verb;
    const char *access; /* by name, see explain_find() */
    const char *by;     /* who types */
    const char *number; /* of a line to be taken back; NULL: the newest */
    const char *why;    /* of taking back what another typed; NULL */
    enum method method; /* METHOD_UNSTATED: that of the baseline, or of
                           the newest flow */
    struct case_line line;
    bool merge_implied; /* as of an intake */
    int64_t now_ms;
    /* out */
    int status;      /* 200; 404, 409, 422: text says why */
    bool news;       /* wake the review */
    struct buf text; /* for the person; the caller inits and clears it */
};

/*
 * case_call - do it
 *
 * ERR_CONFLICT  refused after something was written: the caller undoes the
 *               job, status and text are set
 * else those of the store
 */
MUST_CHECK enum err case_call(struct db *db, struct case_call *call);

#endif

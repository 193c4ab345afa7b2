/* cases_work - what the parts of a typed case share; private to cases.c and
 * case_*.c */
#ifndef HEADGATE_SERVICE_CASES_WORK_H
#define HEADGATE_SERVICE_CASES_WORK_H

#include "service/cases.h"

enum {
    CASE_BUNDLE_MAX = 262144,
    CASE_SYSTEM_SIZE = 512,
    CASE_NUMBER_SIZE = 48 /* of a line: a UUID */
};

/* The answer is this text; ERR_CONFLICT. */
enum err case_refuse(struct case_call *call, int status, const char *text);

/* Of whoever is dead no case is opened, and nothing more is typed; what was
 * typed can be listed and taken back.  ERR_CONFLICT: so it is. */
MUST_CHECK enum err case_refuse_dead(struct case_call *call,
                                     const struct look *look);

/* A transaction Bundle goes the way of all readings; ERR_CONFLICT: refused,
 * and the call says why. */
MUST_CHECK enum err case_take(struct db *db, struct case_call *call,
                              const struct buf *body);

/* ---- case_place.c ----------------------------------------------------------- */

/* The first second of a line: now, or in the minute that was typed, after all
 * that is known of then, so that the order of typing is that of the case. */
MUST_CHECK enum err case_place(struct case_call *call, const struct look *look,
                               int64_t *at_s);

/* The method of a flow, if none was said; or is the one that was said of no
 * use in this case? */
MUST_CHECK enum err case_method(struct case_call *call,
                                const struct look *look);

/* Was it done to the band?  Is it what a band changes: a flow, an index? */
bool case_is_step(enum quantity q);
bool case_is_measured(enum quantity q);

/* How much was measured between a step and the next one, whoever sent it;
 * until_s: when that was, INT64_MAX if there is none. */
size_t case_measured(const struct history *h, int64_t step_s, int64_t *until_s);

/* ---- case_typed.c ----------------------------------------------------------- */

/* CASE_LIST, CASE_UNDO */
MUST_CHECK enum err case_typed(struct db *db, struct case_call *call,
                               const struct look *look);

#endif

/*
 * quarantine_urgent - may a sign of emergency be in what could not be taken in,
 * and has somebody seen to it?
 */
#ifndef HEADGATE_SERVICE_QUARANTINE_URGENT_H
#define HEADGATE_SERVICE_QUARANTINE_URGENT_H

#include "adapters/codes.h"
#include "planner/policy.h"
#include "service/db.h"

/*
 * quarantine_is_urgent - has this Observation, or a component of it, a code of
 * a sign that may be an emergency?
 *
 * body, len  a FHIR resource in JSON, of any type, or anything else; NULL
 */
bool quarantine_is_urgent(const struct codes *codes, const char *body,
                          size_t len);

/* Does this code ask for a sign that may be an emergency? */
bool quarantine_asks_urgent(const struct codes *codes, const char *system,
                            const char *code);

/*
 * quarantine_urgent_escalate - such a sign that nobody has seen to within
 * general.escalate_immediate_h of when it was held, or came, is marked in the
 * queue and logged, once, by the number of its row and without patient data
 *
 * Store thread; looked for at every turn of the reviews, a minute apart at
 * most.
 */
MUST_CHECK enum err quarantine_urgent_escalate(struct db *db,
                                               const struct policy *policy,
                                               int64_t now_ms);

/* How many are marked and still not seen to. */
MUST_CHECK enum err quarantine_urgent_count(struct db *db,
                                            const struct policy *policy,
                                            int64_t now_ms, int64_t *count);

#endif

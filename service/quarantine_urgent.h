/*
 * quarantine_urgent - may a sign of emergency be in what could not be taken in?
 */
#ifndef HEADGATE_SERVICE_QUARANTINE_URGENT_H
#define HEADGATE_SERVICE_QUARANTINE_URGENT_H

#include "adapters/codes.h"

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

#endif

/*
 * tally_intake - an Observation that came in, counted for the weekly report
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_TALLY_INTAKE_H
#define HEADGATE_SERVICE_TALLY_INTAKE_H

#include "service/intake.h"
#include "service/readings.h"

/*
 * Readings that are used, those that are held, and codes that no map has.
 *
 * patient  whose they are, 0 if nobody is known
 * fid      id of the Observation, for a sample where the sender has no better
 */
MUST_CHECK enum err tally_intake(struct db *db, const struct intake *in,
                                 const struct fhir_item *item,
                                 const struct readings_fate *fate,
                                 int64_t patient, const char *fid);

#endif

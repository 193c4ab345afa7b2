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
 * Readings that are held, codes that no map has, what was
 * measured and is said as a text alone, and what was taken in spite of how it
 * was said.
 *
 * patient  whose they are, 0 if nobody is known
 * fid      id of the Observation, for a sample where the sender has no better
 */
MUST_CHECK enum err tally_intake(struct db *db, const struct intake *in,
                                 const struct fhir_item *item,
                                 const struct readings_fate *fate,
                                 int64_t patient, const char *fid);

/* The readings of a whole message that are used, as its results say: counted
 * once for all that are of one unit. */
MUST_CHECK enum err tally_intake_used(struct db *db, const struct intake *in);

/* An Observation that came behind its own correction, or behind a newer report,
 * and is not used.  Of HL7 v2 the message counts it. */
MUST_CHECK enum err tally_intake_late(struct db *db, const struct intake *in,
                                      int64_t patient, const char *fid);

#endif

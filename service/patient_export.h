/*
 * patient_export - all that is kept of one patient, given out on request
 *
 * Store thread only.  NDJSON of FHIR R4 resources, a line each:
 *
 *     Patient, BodyStructure, Observation and what we made (Task and what goes
 *                    with it): every version, the oldest first, with its meta
 *     Provenance     each decision of ours, each deed of a person
 *     Binary         messages of HL7 v2 and inputs in quarantine, as they came
 *     AuditEvent     who looked at it or changed it
 *
 * A message in which somebody else is, too, is not given out, and neither is
 * what may be the patient's or another's.  The lists of the units, which name other patients too, are not in it.
 */
#ifndef HEADGATE_SERVICE_PATIENT_EXPORT_H
#define HEADGATE_SERVICE_PATIENT_EXPORT_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "service/db.h"
#include "service/hl7_senders.h"

struct patient_export {
    const char *base; /* of our URLs */
    const struct zone *zone;
    const struct hl7_senders *senders; /* whose numbers a message has; NULL */
    int64_t patient;                   /* out: its number here */
    size_t lines;                      /* out */
};

/*
 * name  see patient_whole_find
 *
 * ERR_ABSENT, ERR_AMBIGUOUS (nothing was written); ERR_LIMIT: more than out
 * holds
 */
MUST_CHECK enum err patient_export(struct db *db, const char *name,
                                   struct patient_export *export,
                                   struct buf *out);

#endif

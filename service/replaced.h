/*
 * replaced - a patient's record that another one has replaced
 *
 * Store thread only.  Two records of a person that a clinical record has merged
 * stay two people here (Patient.link is not followed); but whoever works at the
 * old one is told where to look (config/RECORD.md).
 *
 * Source: HL7 FHIR R4 (4.0.1), Patient.link, type replaced-by.
 */
#ifndef HEADGATE_SERVICE_REPLACED_H
#define HEADGATE_SERVICE_REPLACED_H

#include "service/patients.h"

/* Keep what a Patient says of it; a Patient without such a link takes it back.
 * HL7 v2 says nothing of it. */
MUST_CHECK enum err replaced_take(struct db *db, int64_t patient,
                                  const struct fhir_patient *said);

/* The same of all Patient resources that came before it was kept. */
MUST_CHECK enum err replaced_read(struct db *db,
                                  const struct fhir_reader *reader);

/* The number of the record to use, as far as it is known, else its id;
 * "" it is not replaced. */
MUST_CHECK enum err replaced_by(struct db *db, int64_t patient,
                                char number[ALIAS_SIZE]);

#endif

/*
 * fhir_audit - a row of the audit trail as a FHIR R4 AuditEvent
 *
 * Each patient is an entity of the event.
 *
 * type and subtype are codes of the lists that R4 names for them
 * (audit-event-type, restful-interaction, DICOM's part 16 as DCM); what those
 * do not have is a word of ours, in the NamingSystem audit-action.  Each event
 * names its number and hash in the chain, so that a line that was taken out
 * can be found in the store again.
 *
 * Source: https://hl7.org/fhir/R4/auditevent.html
 */
#ifndef HEADGATE_ADAPTERS_FHIR_AUDIT_H
#define HEADGATE_ADAPTERS_FHIR_AUDIT_H

#include "adapters/buf.h"

#include <stdint.h>

enum { FHIR_AUDIT_ID_SIZE = 72 };

/* One whose data was returned or stored. */
struct fhir_audit_patient {
    int64_t number;              /* here */
    char id[FHIR_AUDIT_ID_SIZE]; /* of its Patient resource; "" it has none */
};

/* Texts: "" what is not known; see struct audit_entry. */
struct fhir_audit {
    int64_t seq, at_ms;
    const char *kind, *actor, *scope, *who, *action, *type, *key, *detail;
    int outcome; /* 0, 4, 8 */
    const struct fhir_audit_patient *patients;
    size_t patient_count;
    const char *of;   /* "12", "more than 1000": of how many patients it is;
                       "" all of them are here */
    const char *hash; /* hexadecimal */
};

/* The resource without a line feed at its end. */
void fhir_audit_write(const char *base, const struct fhir_audit *event,
                      struct buf *out);

#endif

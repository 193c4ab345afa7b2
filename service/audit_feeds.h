/*
 * audit_feeds - rows of the audit trail for what comes in by other ways than
 * the FHIR endpoint: messages of HL7 v2, files, the clinical record
 *
 * Store thread, in the transaction of what came; audit_whom_begin is called
 * before any of it is stored.
 */
#ifndef HEADGATE_SERVICE_AUDIT_FEEDS_H
#define HEADGATE_SERVICE_AUDIT_FEEDS_H

#include "service/audit_request.h"
#include "service/hl7_intake.h"
#include "service/poll_take.h"

/* One message over MLLP; came_to: what hl7_intake_apply said.  One of a sender
 * that is not known has none, see audit_doors.h. */
MUST_CHECK enum err audit_hl7(struct db *db, const struct hl7_intake *in,
                              enum err came_to);

/* The same of a message that came by HTTP: what its request's row says. */
void audit_hl7_request(const struct hl7_intake *in, struct audit_request *a);

/* A page of the record, an export, one read by its id.  Where all of it was
 * known already there is no row, and none for a call of the record, whose
 * request has one. */
MUST_CHECK enum err audit_taken(struct db *db, const struct poll_take *take);

/* A step of a file of the drop folder. */
struct audit_file {
    const char *folder; /* the sender that it is of */
    int64_t number;     /* of the file, in this store */
    int64_t stored, there, held, refused;
    int64_t now_ms;
};
MUST_CHECK enum err audit_file(struct db *db, const struct audit_file *file);

#endif

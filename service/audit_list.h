/*
 * audit_list - rows of the audit trail as they are read
 *
 * Store thread only, a bounded number of rows at a time.
 */
#ifndef HEADGATE_SERVICE_AUDIT_LIST_H
#define HEADGATE_SERVICE_AUDIT_LIST_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "service/audit.h"

enum audit_form {
    AUDIT_TABLE, /* a line each, for people, in the time of the site */
    AUDIT_JSON,  /* an object a line */
    AUDIT_FHIR   /* an AuditEvent a line */
};

struct audit_wish {
    enum audit_form form;
    int64_t after;          /* rows behind this one */
    int64_t from_ms, to_ms; /* from <= time < to */
    int64_t patient;        /* of this one only, and nobody else is named;
                               0: of all.  Of a row that is of more than
                               AUDIT_PATIENTS_MAX nobody is known, and it is
                               given for each. */
    const char *base;       /* of our URLs */
    const struct zone *zone;
    /* out */
    int64_t next; /* go on behind this row; 0: there was no more */
    size_t count; /* rows written */
};

/* The next AUDIT_STEP_ROWS rows, or some MB, those that are wished for appended
 * to out. */
MUST_CHECK enum err audit_list(struct db *db, struct audit_wish *wish,
                               struct buf *out);

#endif

/*
 * fhir_manifest - what an export has come to: the files that it made
 *
 * Source: HL7 FHIR Bulk Data Access 2.0.0, export, "Response - Complete
 * Status".
 */
#ifndef HEADGATE_ADAPTERS_FHIR_MANIFEST_H
#define HEADGATE_ADAPTERS_FHIR_MANIFEST_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>

enum { FHIR_MANIFEST_FILES_MAX = 10000 };

struct fhir_manifest_file {
    const char *type; /* "Observation"; of deletions "Bundle" */
    const char *url;
    bool deletions; /* each line is a Bundle of what was deleted */
};

struct fhir_manifest {
    const char *time; /* transactionTime, as it stands there */
    bool needs_token; /* requiresAccessToken; true unless it says false */
    size_t errors;    /* files in which it says what it could not export */
    struct fhir_manifest_file *files; /* output, then deleted */
    size_t count;
    void *tree; /* owns the strings */
};

/*
 * ERR_FORM    not JSON, no transactionTime that is an instant, or a file
 *             without an address
 * ERR_LIMIT   more than FHIR_MANIFEST_FILES_MAX files
 * ERR_MEMORY
 */
MUST_CHECK enum err fhir_manifest_read(const char *json, size_t len,
                                       struct fhir_manifest *manifest);
void fhir_manifest_clear(struct fhir_manifest *manifest);

#endif

/*
 * fhir_record - what a FHIR server says of itself: its CapabilityStatement
 *
 * A statement may leave out what the server can do, so that most things are
 * known as yes, no or not said.
 *
 * Source: HL7 FHIR R4 (4.0.1), capabilitystatement.html and http.html.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_RECORD_H
#define HEADGATE_ADAPTERS_FHIR_RECORD_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>

enum says { SAYS_NOTHING, SAYS_YES, SAYS_NO };

/* Types that headgate may have to do with, as bits nowhere: indexes. */
enum record_type {
    RECORD_TASK,
    RECORD_PATIENT,
    RECORD_BODY_STRUCTURE,
    RECORD_OBSERVATION,
    RECORD_DOCUMENT_REFERENCE,
    RECORD_PROVENANCE,
    RECORD_SERVICE_REQUEST,
    RECORD_FLAG,
    RECORD_SUBSCRIPTION,
    RECORD_TYPE_COUNT
};
const char *record_type_word(enum record_type type);

enum record_interaction {
    RECORD_READ = 1,
    RECORD_VREAD = 2,
    RECORD_UPDATE = 4,
    RECORD_PATCH = 8,
    RECORD_CREATE = 16,
    RECORD_SEARCH = 32,
    RECORD_HISTORY = 64, /* of an instance */
    RECORD_HISTORY_TYPE = 128
};

enum record_search {
    SEARCH_IDENTIFIER = 1,
    SEARCH_LAST_UPDATED = 2,
    SEARCH_CODE = 4,
    SEARCH_TARGET = 8,
    SEARCH_PATIENT = 16
};

struct fhir_ability {
    bool listed;           /* the statement has this type */
    unsigned interactions; /* bits of enum record_interaction */
    unsigned searches;     /* bits of enum record_search */
    bool searches_listed;  /* some search parameter is */
    enum says conditional_create, update_create, versioned;
};

struct fhir_record_says {
    char fhir_version[16]; /* "4.0.1" */
    char software[80];     /* name and version, "" not said */
    enum says json, json_patch, batch, transaction, bulk_export;
    bool smart; /* it names SMART-on-FHIR among its security services */
    struct fhir_ability types[RECORD_TYPE_COUNT];
};

/*
 * fhir_record_read - a CapabilityStatement
 *
 * What is said of interactions by a statement that lists none at all is
 * nothing; by one that lists some, the others are "no".
 *
 * ERR_FORM    not JSON, or no CapabilityStatement of a server
 * ERR_MEMORY
 */
MUST_CHECK enum err fhir_record_read(const char *json, size_t len,
                                     struct fhir_record_says *says);

/* Does it say that it can do this with resources of this type? */
enum says fhir_record_can(const struct fhir_record_says *says,
                          enum record_type type,
                          enum record_interaction interaction);
enum says fhir_record_finds(const struct fhir_record_says *says,
                            enum record_type type, enum record_search by);

#endif

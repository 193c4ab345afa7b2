/*
 * fhir_served - which interactions there are on each type, as one table
 *
 * The routes and the CapabilityStatement both go by it, so that what is named
 * there is offered, and nothing else is.
 *
 * Source of the words: HL7 FHIR R4 (4.0.1), http.html and value set
 * type-restful-interaction.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_SERVED_H
#define HEADGATE_ADAPTERS_FHIR_SERVED_H

#include "adapters/buf.h"
#include "adapters/fhir_read.h"

enum {
    SERVE_READ = 1 << 0,
    SERVE_VREAD = 1 << 1,
    SERVE_UPDATE = 1 << 2,
    SERVE_PATCH = 1 << 3,
    SERVE_HISTORY_INSTANCE = 1 << 4,
    SERVE_HISTORY_TYPE = 1 << 5,
    SERVE_CREATE = 1 << 6,
    SERVE_SEARCH = 1 << 7,
    /* not interactions of their own: forms of those above */
    SERVE_CONDITIONAL = 1 << 8 /* If-None-Exist, PUT Type?identifier=, and an
                                  update that creates */
};

#define FHIR_JSON_PATCH "application/json-patch+json"

struct fhir_served {
    enum fhir_type type;
    unsigned interactions; /* SERVE_ bits */
    const char *documentation;
};

/* The i-th type; NULL beyond the last. */
const struct fhir_served *fhir_served(size_t i);

/* The bits of a type; 0: it is not served. */
unsigned fhir_serves(enum fhir_type type);

/* The word of the i-th interaction in a CapabilityStatement ("read") and its
 * bit; NULL beyond the last. */
const char *fhir_interaction(size_t i, unsigned *bit);

/* Of our own search parameter: Task?due=, by when a Task is due. */
#define FHIR_DUE_ID "task-due"
void fhir_write_search_param(const char *base, const char *version,
                             int64_t date_s, struct buf *out);

#endif

/*
 * fhir_bundle_out - Bundles for a record, and what it answers
 *
 * Source: HL7 FHIR R4 (4.0.1), Bundle; http.html, batch and transaction.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_BUNDLE_OUT_H
#define HEADGATE_ADAPTERS_FHIR_BUNDLE_OUT_H

#include "adapters/buf.h"

#include <stdbool.h>
#include <stdint.h>

enum {
    FHIR_ID_SIZE = 72,
    FHIR_ETAG_SIZE = 80,
    FHIR_STATUS_SIZE = 24 /* of the longest status word, and more */
};

/* One request; strings are borrowed for the call, NULL: not said. */
struct fhir_entry {
    const char *full_url;      /* "urn:uuid:..." that others in it refer to */
    const char *method;        /* "POST", "PUT" */
    const char *url;           /* "Task", "Task/77": relative to the record */
    const char *if_none_exist; /* "identifier=system%7Cvalue" */
    const char *if_match;      /* W/"3" */
    const char *json;          /* the resource, known to be valid JSON */
    size_t len;
};

/* A Bundle of type transaction or batch.  ERR_LIMIT, ERR_MEMORY. */
MUST_CHECK enum err fhir_bundle_write(bool transaction,
                                      const struct fhir_entry *entries,
                                      size_t count, struct buf *out);

/* What became of one request. */
struct fhir_entry_answer {
    int status;                 /* 201; 0: none that can be read */
    char id[FHIR_ID_SIZE];      /* of the location, relative or absolute, or of
                                 the resource sent back; "" neither */
    char version[FHIR_ID_SIZE]; /* of the location, the resource or the etag;
                                   "" none */
    char etag[FHIR_ETAG_SIZE];  /* as sent; "" none, or too long */
    const char *outcome;        /* OperationOutcome within json; NULL none */
    size_t outcome_len;
};

/*
 * fhir_bundle_answers - the response to fhir_bundle_write
 *
 * most            the room in out
 * count           out: entries that there are, which may be more than most, or
 *                 fewer than were sent: the caller compares
 * is_transaction  out: a transaction-response; false: a batch-response
 *
 * Entries are in the order of the requests, as R4 says.  What an entry does not
 * say, or says in no readable form, is empty.
 *
 * ERR_FORM  no Bundle of type transaction-response or batch-response
 */
MUST_CHECK enum err fhir_bundle_answers(const char *json, size_t len,
                                        struct fhir_entry_answer *out,
                                        size_t most, size_t *count,
                                        bool *is_transaction);

/* One of the resources that a search has found. */
struct fhir_found {
    char id[FHIR_ID_SIZE];
    char version[FHIR_ID_SIZE];    /* meta.versionId; "" not said */
    char status[FHIR_STATUS_SIZE]; /* "" not said */
    int64_t updated_ms;            /* meta.lastUpdated; 0 not said */
};

/*
 * fhir_search_found - what a searchset holds of a type, to find those that
 * stand for one of ours after an answer 412
 *
 * Only matches count: not what was included, not an OperationOutcome.  An entry
 * of another type, or without an id, is passed over.
 *
 * system, value  the identifier that was searched by; value NULL: by something
 *                else
 * count  out: how many there are; more than most: the first of them are in out
 * more   out: another page follows
 *
 * ERR_FORM      no searchset
 * ERR_CONFLICT  a match does not have the identifier: the server passes over
 *               what it is asked, and none of it is ours
 */
MUST_CHECK enum err fhir_search_found(const char *type, const char *system,
                                      const char *value, const char *json,
                                      size_t len, struct fhir_found *out,
                                      size_t most, size_t *count, bool *more);

#endif

/*
 * fhir_page - one page of what a FHIR server found: where the next one is,
 * and which resources are on it
 *
 * Nothing is judged here but the form of the page: each entry says type, id,
 * version, time and where its bytes lie.  A single resource is taken as a page
 * with one entry.
 *
 * Source: HL7 FHIR R4 (4.0.1), http.html (paging, history), search.html
 * (search.mode), resource.html#Meta.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_PAGE_H
#define HEADGATE_ADAPTERS_FHIR_PAGE_H

#include "adapters/fhir_read.h"

enum { FHIR_PAGE_ENTRIES_MAX = 100000 };

struct fhir_page_entry {
    enum fhir_type type;   /* FHIR_OTHER: none that we know, or none */
    const char *type_name; /* "Observation"; NULL: not said */
    const char *id;        /* NULL: none, or one that FHIR does not allow */
    const char *version;   /* meta.versionId; NULL: not said */
    int64_t updated_ms;    /* meta.lastUpdated, UTC; of a deletion when it was
                               done; INT64_MIN: not said, or not to be read */
    bool deleted;          /* of a history: the resource is gone */
    bool matched;          /* false: only goes with what was found */
    bool outcome;          /* says how the search went; nothing was found */
    size_t offset, len;    /* the resource's bytes in the body; len 0: none */
};

enum fhir_page_kind {
    PAGE_RESOURCE, /* no Bundle: one entry */
    PAGE_SEARCH,   /* searchset */
    PAGE_HISTORY,  /* history */
    PAGE_NOTICE,   /* subscription-notification (R5) */
    PAGE_OTHER     /* another kind of Bundle */
};

struct fhir_page {
    enum fhir_page_kind kind;
    const char *next; /* link "next" as it stands there; NULL: the last page */
    struct fhir_page_entry *entries;
    size_t count;
    void *tree; /* owns the strings, with text */
    char *text;
    size_t text_len, text_size;
};

/*
 * fhir_page_read - take a page apart
 *
 * Strings live as long as the page, spans as long as the body.
 *
 * ERR_FORM    not JSON, or neither a Bundle nor a resource
 * ERR_LIMIT   more than FHIR_PAGE_ENTRIES_MAX entries, or nested too deep
 * ERR_MEMORY
 */
MUST_CHECK enum err fhir_page_read(const char *body, size_t len,
                                   struct fhir_page *page);
void fhir_page_clear(struct fhir_page *page);

/* The value of the identifier of this system of an entry's resource; NULL: it
 * has none.  Borrowed from the page. */
const char *fhir_page_identifier(const struct fhir_page *page, size_t i,
                                 const char *system);

/* An instant with its fraction: "2026-11-26T08:00:00.125Z"; INT64_MIN if it is
 * none.  What is finer than a millisecond is dropped. */
int64_t fhir_instant_ms(const char *text);

/* The type of this name; FHIR_OTHER. */
enum fhir_type fhir_type_named(const char *name);

#endif

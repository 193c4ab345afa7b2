/*
 * fhir_search - what resources can be searched by, as one table
 *
 * The table says of each type which search parameters there are, where in a
 * resource their values stand, and of which form they are.  The index of the
 * store, the reading of a query and the CapabilityStatement are all driven by
 * it, so that what is announced is what is served.
 *
 *     a resource --fhir_search_visit()--> tokens, references, spans of time
 *                                         --> the index of the store
 *
 * Source: HL7 FHIR R4 (4.0.1), searchparameter-registry.html and search.html.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_SEARCH_H
#define HEADGATE_ADAPTERS_FHIR_SEARCH_H

#include "adapters/fhir_read.h"

enum search_form {
    SEARCH_ID,      /* _id: the id of the resource */
    SEARCH_UPDATED, /* _lastUpdated */
    SEARCH_TOKEN,
    SEARCH_REFERENCE,
    SEARCH_DATE
};

/* What stands at the place of a parameter. */
enum search_what {
    WHAT_NOTHING, /* it is known without looking into the resource */
    WHAT_CODE,    /* one code; its system is implied by the element */
    WHAT_CONCEPT,
    WHAT_IDENTIFIER,
    WHAT_REFERENCE,
    WHAT_TIME /* dateTime, instant or Period */
};

enum {
    /* Added to the number of a reference: the identifier within it. */
    SEARCH_OF_IDENTIFIER = 256,
    SEARCH_VALUE_MAX = 1000 /* bytes; longer values are not indexed */
};

struct search_param {
    enum fhir_type type;
    int number; /* in the store: kept for ever, never given to another; two
                   names of one element share it; 0: nothing is indexed */
    const char *name;
    enum search_form form;
    enum search_what what;
    const char *path;    /* "restriction.period.end"; several with a blank */
    const char *system;  /* WHAT_CODE: its system, else NULL */
    const char *targets; /* SEARCH_REFERENCE: types, with blanks between */
    bool of_patient;     /* the reference names a person */
    bool narrows;        /* few resources share a value */
    bool sorts, includes;
};

/* The i-th parameter of a type; NULL beyond the last. */
const struct search_param *search_param(enum fhir_type type, size_t i);
/* By name; NULL. */
const struct search_param *search_param_named(enum fhir_type type,
                                              const char *name, size_t len);

/* References that are followed backwards: _revinclude=Provenance:target. */
const struct search_param *search_revinclude(enum fhir_type type, size_t i);

/* The i-th parameter that says how to answer, of every type ("_count"), with
 * its type in a CapabilityStatement; NULL beyond the last. */
const char *search_control(size_t i, const char **type);

/* A type that is in the list of a parameter's targets. */
bool search_has_target(const struct search_param *p, const char *type,
                       size_t len);

/* The word of a type that is kept here ("Task"); "" of another. */
const char *search_type_word(enum fhir_type type);

/* One value found in a resource. */
struct search_found {
    int number;
    bool is_span;
    const char *system, *value; /* token or reference; system may be "" */
    int64_t from_ms, to_ms;     /* span: half-open; INT64_MIN, INT64_MAX open */
};
typedef enum err (*search_found_fn)(void *arg, const struct search_found *f);

/* Where we are. */
struct search_site {
    const struct zone *zone; /* for dates without a time; NULL: UTC */
    const char *self;        /* "http://host/fhir": a reference that begins so
                                is a relative one; NULL: not known */
};

/*
 * fhir_search_visit - all values of a resource that its type is searched by
 *
 * ERR_FORM  the bytes are no resource; and any error of fn
 */
MUST_CHECK enum err fhir_search_visit(enum fhir_type type, const char *json,
                                      size_t len,
                                      const struct search_site *site,
                                      search_found_fn fn, void *arg);

/* The same of one that has been read already, and whose type is of those with
 * parameters. */
MUST_CHECK enum err fhir_search_visit_item(const struct fhir_item *item,
                                           const struct search_site *site,
                                           search_found_fn fn, void *arg);

/* What follows our own base in a reference; else the whole of it. */
const char *fhir_search_plain(const char *reference, const char *self);

/* A dateTime as the span of milliseconds that it may mean: ERR_FORM,
 * ERR_RANGE. */
MUST_CHECK enum err fhir_search_span(const char *text, const struct zone *zone,
                                     int64_t *from_ms, int64_t *to_ms);

#endif

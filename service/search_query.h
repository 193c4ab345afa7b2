/*
 * search_query - what a search asks for
 *
 * A parameter that is known and not understood is refused, never passed over:
 * to leave out a condition would show resources that were not asked for, or
 * hide some.  Which parameters there are stands in adapters/fhir_search.h.
 *
 *     name=value pairs --search_query_take()--> struct search_query
 *                                               --> search_find()
 *
 * Source: HL7 FHIR R4 (4.0.1), search.html.
 */
#ifndef HEADGATE_SERVICE_SEARCH_QUERY_H
#define HEADGATE_SERVICE_SEARCH_QUERY_H

#include "adapters/fhir_search.h"

#include <stdbool.h>
#include <stdint.h>

enum {
    SEARCH_PAGE_DEFAULT = 50,
    SEARCH_PAGE_MAX = 500,
    SEARCH_CONDITIONS_MAX = 32,
    SEARCH_VALUES_MAX = 512, /* of all conditions together */
    SEARCH_TEXT_MAX = 16384, /* bytes of all values together */
    SEARCH_SORTS_MAX = 3,
    SEARCH_INCLUDES_MAX = 8
};

enum search_modifier {
    SEARCH_PLAIN,
    SEARCH_NOT,           /* status:not=completed */
    SEARCH_MISSING,       /* owner:missing=true */
    SEARCH_BY_IDENTIFIER, /* patient:identifier=s|v, of the reference */
    SEARCH_BY_NUMBER      /* patient.identifier=s|v, of the person */
};

/* search.html, 3.1.1.4.6 */
enum search_prefix {
    SEARCH_EQ,
    SEARCH_NE,
    SEARCH_GT,
    SEARCH_LT,
    SEARCH_GE,
    SEARCH_LE,
    SEARCH_SA,
    SEARCH_EB,
    SEARCH_AP
};

/* One of the values between commas. */
struct search_value {
    const char *system;        /* NULL: any; "": none */
    const char *value;         /* NULL: any; a reference: "Patient/p1" */
    enum search_prefix prefix; /* of a date */
    int64_t from_ms, to_ms;    /* of a date: half-open */
};

/* One parameter: any of its values, where it is not modified. */
struct search_condition {
    const struct search_param *param;
    enum search_modifier modifier;
    bool missing;
    size_t first, count; /* in values */
};

struct search_sort {
    const struct search_param *param;
    bool down;
};

enum search_total_kind { TOTAL_ACCURATE, TOTAL_NONE };

struct search_query {
    enum fhir_type type;
    struct search_condition conditions[SEARCH_CONDITIONS_MAX];
    size_t condition_count;
    struct search_value values[SEARCH_VALUES_MAX];
    size_t value_count;
    struct search_sort sorts[SEARCH_SORTS_MAX];
    size_t sort_count; /* 0: in the order in which they came to be */
    const struct search_param *includes[SEARCH_INCLUDES_MAX];
    size_t include_count;
    const struct search_param *revincludes[SEARCH_INCLUDES_MAX];
    size_t revinclude_count;
    const char *after; /* our handle of the page before; NULL: the first */
    int count;         /* on a page; 0: only how many there are */
    enum search_total_kind total;
    int64_t now_ms;          /* for "about" */
    unsigned given;          /* which of those that come once have come */
    const char *self;        /* "http://host/fhir"; borrowed */
    const struct zone *zone; /* of the site, for dates; borrowed */
    size_t used;
    char text[SEARCH_TEXT_MAX]; /* what the values point into */
};

/* The query points into itself: it must not be moved once it is filled. */
void search_query_init(struct search_query *q, enum fhir_type type,
                       const char *self, const struct zone *zone,
                       int64_t now_ms);

enum taken {
    TAKEN,
    TAKEN_NOT,      /* known, and the value is not understood */
    TAKEN_TWICE,    /* known, and may come once only */
    TAKEN_MODIFIED, /* known, with a modifier or chain that is not */
    TAKEN_MANY,     /* more conditions or values than are taken */
    TAKEN_UNKNOWN   /* not known */
};

/* One parameter, decoded. */
enum taken search_query_take(struct search_query *q, const char *name,
                             const char *value);

/* Is it a parameter of the page (_count, _after), and not of what is found? */
bool search_query_pages(const char *name);

#endif

/*
 * task_query - what a search of Tasks asks for
 *
 * A parameter that is known and not understood is refused, never passed over:
 * to leave out a condition would show Tasks that were not asked for, or hide
 * some.  Source: HL7 FHIR R4 (4.0.1), search.html.
 */
#ifndef HEADGATE_SERVICE_TASK_QUERY_H
#define HEADGATE_SERVICE_TASK_QUERY_H

#include "adapters/zone.h"
#include "service/patients.h"

#include <stdbool.h>
#include <stdint.h>

enum { TASK_PAGE_DEFAULT = 50, TASK_PAGE_MAX = 500, TASK_LIST_SIZE = 2048 };

struct task_query {
    /* Lists: ",requested,accepted,", any of these; "" any at all; ",," none. */
    char id[TASK_LIST_SIZE], key[TASK_LIST_SIZE], status[TASK_LIST_SIZE],
        priority[TASK_LIST_SIZE], code[TASK_LIST_SIZE];
    char patient[ALIAS_SIZE]; /* "Patient/p1" or "system|value"; "" any */
    int64_t from_ms, to_ms;   /* of _lastUpdated, half-open */
    int64_t after;            /* keyset: the last Task of the page before */
    int count;                /* 0: only how many there are */
    unsigned given;           /* which parameters have come */
    const char *base;         /* canonical; borrowed */
    const char *self;         /* "http://host/fhir"; borrowed */
    const struct zone *zone;  /* of the site, for dates; borrowed */
};

void task_query_init(struct task_query *q, const char *base, const char *self,
                     const struct zone *zone);

enum taken {
    TAKEN,
    TAKEN_NOT,     /* known, and the value is not understood */
    TAKEN_TWICE,   /* known, and may come once only */
    TAKEN_UNKNOWN, /* not known */
    TAKEN_MODIFIED /* with a modifier or a chain: a known one, not as it is
                      meant here */
};

/* One parameter, decoded. */
enum taken task_query_take(struct task_query *q, const char *name,
                           const char *value);

#endif

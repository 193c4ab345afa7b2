/*
 * fhir_list - the list of a dialysis unit: for whom something is open
 *
 * A List, mode working: it is kept as things come and go, which is also what
 * lets each entry say since when it is there (lst-3).  An entry is one open
 * suggestion or reminder, the most urgent first; a patient with two is there
 * twice, once for each reason.  Nobody is the subject: it is of many.
 *
 * Source of shape and rules: HL7 FHIR R4 (4.0.1), List (lst-1 to lst-3);
 * orderedBy is of CodeSystem list-order.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_LIST_H
#define HEADGATE_ADAPTERS_FHIR_LIST_H

#include "adapters/fhir_write.h"

/* Behind base/NamingSystem/: the identifier, whose value names the unit. */
#define FHIR_UNIT_LIST "unit-list"

enum { FHIR_LIST_ENTRIES_MAX = 1000 };

/* Strings are borrowed for the call. */
struct fhir_list_entry {
    struct fhir_out_ref patient;
    const char *code, *display; /* of CodeSystem av-task: the reason */
    const char *text;           /* the same in words, for people */
    int64_t since_s;            /* 0: not known, not said */
};

struct fhir_list {
    const char *base, *id;
    const char *unit;
    bool retired;  /* no longer kept: nobody may go by it */
    int64_t at_ms; /* when it was put together; 0: not said */
    struct fhir_out_ref source;
    const struct fhir_list_entry *entries;
    size_t count;
    size_t left_out; /* more than FHIR_LIST_ENTRIES_MAX: said in the note */
};

/* Append the List; errors are those of the buffer. */
MUST_CHECK enum err fhir_list_write(const struct fhir_list *list,
                                    struct buf *out);

#endif

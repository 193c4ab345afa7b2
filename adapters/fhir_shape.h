/*
 * fhir_shape - the table of elements behind fhir_shape_check(); private
 */
#ifndef HEADGATE_ADAPTERS_FHIR_SHAPE_H
#define HEADGATE_ADAPTERS_FHIR_SHAPE_H

#include "adapters/fhir_json.h"

enum fhir_kind {
    STRING,
    CODE, /* no blank at either end, none doubled */
    URI,  /* no blank at all */
    ID,
    BOOLEAN,
    INTEGER,
    DECIMAL,
    DATETIME,
    INSTANT,
    OBJECT,    /* of the row's shape */
    LIST,      /* of objects of the row's shape */
    STRINGS,   /* a list of strings */
    CHOICE,    /* value[x]: name is the stem, types says which */
    RESOURCES, /* contained */
    MODIFIER,  /* refused */
    SKIP       /* looked at elsewhere */
};

struct fhir_element {
    const char *name;
    enum fhir_kind kind;
    enum fhir_shape shape;
    const char *types; /* of a CHOICE; NULL: any */
};

/*
 * The row for a key of a shape; for a choice, the row of its type.
 * stem_len  out: of a choice, how many bytes of the key are the stem; else 0
 */
const struct fhir_element *fhir_shape_find(enum fhir_shape shape,
                                           const char *key, size_t *stem_len);

/* Whether a shape may have elements beyond those of the table. */
bool fhir_shape_is_open(enum fhir_shape shape);

#endif

/*
 * fhir_pointer - JSON Pointer, for fhir_patch; private to it
 *
 * Source: RFC 6901; the index "-" as RFC 6902, 4.1 uses it.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_POINTER_H
#define HEADGATE_ADAPTERS_FHIR_POINTER_H

#include "adapters/fhir_json.h"

enum { POINTER_PARTS_MAX = 64, POINTER_TEXT_MAX = 1024 };

struct json_pointer {
    char text[POINTER_TEXT_MAX]; /* the parts, unescaped, with a NUL each */
    const char *parts[POINTER_PARTS_MAX];
    size_t count; /* 0: the whole document */
};

/* ERR_FORM: it begins without "/", has a "~" without 0 or 1, or is longer
 * than is taken. */
MUST_CHECK enum err json_pointer_read(const char *text, struct json_pointer *p);

/* The value there; NULL. */
json_t *json_pointer_get(json_t *root, const struct json_pointer *p);

/* Put a value there; it is taken over.  count must not be 0.
 * ERR_ABSENT  there is nothing that it could be put into */
MUST_CHECK enum err json_pointer_add(json_t *root, const struct json_pointer *p,
                                     json_t *value);
/* The same in the place of what is there. */
MUST_CHECK enum err json_pointer_replace(json_t *root,
                                         const struct json_pointer *p,
                                         json_t *value);
/* ERR_ABSENT */
MUST_CHECK enum err json_pointer_remove(json_t *root,
                                        const struct json_pointer *p);

/* Is a below b?  Is it the same? */
bool json_pointer_within(const struct json_pointer *a,
                         const struct json_pointer *b);
bool json_pointer_same(const struct json_pointer *a,
                       const struct json_pointer *b);

#endif

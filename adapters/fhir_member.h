/*
 * fhir_member - one member of a resource, looked at or replaced as text
 */
#ifndef HEADGATE_ADAPTERS_FHIR_MEMBER_H
#define HEADGATE_ADAPTERS_FHIR_MEMBER_H

#include "adapters/buf.h"

/*
 * The text of a top-level string member: status, id, recorded.
 *
 * ERR_FORM    json is no object
 * ERR_ABSENT  there is none, or it is no string
 * ERR_LIMIT   it is longer than size - 1
 */
MUST_CHECK enum err fhir_member_text(const char *json, size_t len,
                                     const char *name, char *out, size_t size);

/* Is this one of the resource's identifiers?  false also if it is no object. */
bool fhir_is_named(const char *json, size_t len, const char *system,
                   const char *value);

/* The same resource with a top-level string member replaced, or added; all
 * else byte for byte.  ERR_FORM, ERR_MEMORY, ERR_LIMIT. */
MUST_CHECK enum err fhir_member_put(const char *json, size_t len,
                                    const char *name, const char *text,
                                    struct buf *out);

#endif

/*
 * fhir_touch - one member of stored bytes looked at, or written anew
 *
 * The bytes are known to be valid JSON of a resource.  Everything else stays
 * byte for byte, so that decimals keep their digits.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_TOUCH_H
#define HEADGATE_ADAPTERS_FHIR_TOUCH_H

#include "adapters/buf.h"

/* The same resource with another status, appended to out.  ERR_FORM: it has
 * none; status is a word of a value set. */
MUST_CHECK enum err fhir_put_status(const char *json, size_t len,
                                    const char *status, struct buf *out);

/* Does meta.source begin like this?  Compared as it is written. */
bool fhir_source_begins(const char *json, size_t len, const char *prefix);

#endif

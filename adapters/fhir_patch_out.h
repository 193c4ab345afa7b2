/*
 * fhir_patch_out - the difference of two resources as a JSON Patch
 *
 * RFC 6902 (JSON Patch), RFC 6901 (JSON Pointer); FHIR R4 (4.0.1),
 * http.html, patch.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_PATCH_OUT_H
#define HEADGATE_ADAPTERS_FHIR_PATCH_OUT_H

#include "adapters/buf.h"

/*
 * fhir_patch_write - what makes merged of theirs
 *
 * The first operation tests that status is still the one of theirs (if it has
 * one).  Members at the top that differ are replaced, added or removed; to note
 * and input, where theirs is the beginning of merged, the rest is added.
 * resourceType, id and meta are the server's and are never touched, whatever
 * merged says of them.  Values are those of merged, byte for byte.
 *
 * Without any difference nothing is written.
 *
 * ERR_FORM  one of the two is no JSON object; ERR_LIMIT, ERR_MEMORY
 */
MUST_CHECK enum err fhir_patch_write(const char *theirs, size_t theirs_len,
                                     const char *merged, size_t merged_len,
                                     struct buf *out);

#endif

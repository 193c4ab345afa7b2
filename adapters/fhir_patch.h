/*
 * fhir_patch - JSON Patch on a resource
 *
 * Numbers keep their digits: what a patch does not touch comes out as it was
 * written.
 *
 * Source: RFC 6902 (JSON Patch), RFC 6901 (JSON Pointer), RFC 5789, section
 * 2.2 (which answer a failure gets).
 */
#ifndef HEADGATE_ADAPTERS_FHIR_PATCH_H
#define HEADGATE_ADAPTERS_FHIR_PATCH_H

#include "adapters/buf.h"
#include "adapters/outcome.h"

enum {
    PATCH_OPERATIONS_MAX = 200,
    PATCH_VALUES_MAX = 100000 /* that all copies together may add */
};

/*
 * fhir_patch_apply - json (known to be valid) after the patch, to out
 *
 * All of the operations, or none of them.
 *
 * ERR_FORM      the patch is none: outcome (400)
 * ERR_CONFLICT  it does not fit: a place that it names is not there, or a
 *               test failed: outcome (409)
 * ERR_LIMIT     more operations or copies than are taken: outcome (422)
 * ERR_MEMORY
 */
MUST_CHECK enum err fhir_patch_apply(const char *json, size_t len,
                                     const char *patch, size_t patch_len,
                                     struct outcome *outcome, struct buf *out);

#endif

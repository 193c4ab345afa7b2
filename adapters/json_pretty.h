/*
 * json_pretty - JSON as a person reads it: a line for each member
 *
 * For answers to "_pretty=true" (HL7 FHIR R4, http.html, general
 * parameters); no digit
 * and no string is changed.
 */
#ifndef HEADGATE_ADAPTERS_JSON_PRETTY_H
#define HEADGATE_ADAPTERS_JSON_PRETTY_H

#include "adapters/buf.h"

/* json, known to be valid, to out; ask out whether it had room. */
void json_pretty(const char *json, size_t len, struct buf *out);

#endif

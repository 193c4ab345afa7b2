/*
 * names - what people call the patients and accesses that are kept
 *
 * From rows of the store.  Borrowed text stays that of the caller.
 */
#ifndef HEADGATE_SERVICE_NAMES_H
#define HEADGATE_SERVICE_NAMES_H

#include "adapters/buf.h"

/* "n:1001" and "i:urn:oid:2.999.1.1|1001" as "1001", "r:Patient/p-1" as
 * "p-1"; NULL as "". */
const char *short_anchor(const char *anchor);

/* The label of an access, or what else it is known by; each may be NULL. */
const char *access_words(const char *label, const char *anchor);

/* The ids of a set of rules (bits), in the order in which people read them:
 * "HF-1 HF-2". */
void rules_words(unsigned rules, struct buf *out);

#endif

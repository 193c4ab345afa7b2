/*
 * intake_refs - references between the entries of one Bundle
 *
 * A "urn:uuid:" or "urn:oid:" that is the fullUrl of an entry names that
 * entry within its Bundle and nothing outside it: senders use the same ones
 * again.  It is replaced by what the entry has become, and is never stored
 * as a name of anybody.
 */
#ifndef HEADGATE_SERVICE_INTAKE_REFS_H
#define HEADGATE_SERVICE_INTAKE_REFS_H

#include "service/intake.h"

/* Does this literal mean an entry of the Bundle that it stands in? */
bool ref_is_local(const char *literal);

/*
 * intake_refs - replace the local references of the ith entry
 *
 * last   no entry is still to come that it could wait for
 *
 * Returns false if it must wait for an entry that is not applied yet.  What
 * cannot be followed is noted in the item's outcome, and the entry's result
 * refused.
 */
bool intake_refs(struct intake *in, size_t i, bool last);

#endif

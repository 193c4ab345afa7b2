/*
 * again_local - names that only the Bundle they came in can explain
 *
 * Store thread only.  An entry may be referred to by its fullUrl
 * ("urn:uuid:...").  Whoever reads an Observation again finds the Bundle in
 * the journal, and with it what those names mean here.
 */
#ifndef HEADGATE_SERVICE_AGAIN_LOCAL_H
#define HEADGATE_SERVICE_AGAIN_LOCAL_H

#include "service/resources.h"

enum { AGAIN_NAMES_MAX = FHIR_FOCUS_MAX + 9 };

/* What the names became; the item borrows them. */
struct again_names {
    char texts[AGAIN_NAMES_MAX][FID_SIZE + 24];
    size_t count;
};

/*
 * again_resolve - put "Type/id" in the place of each such name of an
 * Observation
 *
 * row  of the Observation that item was read from (its newest version)
 * ok   out: all of them are known
 */
MUST_CHECK enum err again_resolve(struct db *db,
                                  const struct fhir_reader *reader,
                                  const struct resource *row,
                                  struct fhir_item *item,
                                  struct again_names *names, bool *ok);

#endif

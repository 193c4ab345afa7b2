/*
 * search_index - what resources are found by, kept beside them
 *
 * Store thread only.  resource_put() calls this with each new version, in the
 * same transaction, so that a search never sees the one without the other.
 */
#ifndef HEADGATE_SERVICE_SEARCH_INDEX_H
#define HEADGATE_SERVICE_SEARCH_INDEX_H

#include "adapters/fhir_search.h"
#include "service/resources.h"

/* The values of the newest version take the place of those before. */
MUST_CHECK enum err search_index_put(struct db *db, const struct resource *r,
                                     const char *json, size_t len,
                                     const struct search_site *site);

/* The same of a resource that has been read: it is not read again. */
MUST_CHECK enum err search_index_item(struct db *db, const struct resource *r,
                                      const struct fhir_item *item,
                                      const struct search_site *site);

/* Everything that an older version of the program stored without it. */
MUST_CHECK enum err search_index_all(struct db *db,
                                     const struct fhir_reader *reader);

#endif

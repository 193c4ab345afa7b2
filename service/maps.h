/*
 * maps - the code maps that the configuration names, and what people added
 *
 *     shipped rows --> files of [codes] map, in order --> table `mapping`
 */
#ifndef HEADGATE_SERVICE_MAPS_H
#define HEADGATE_SERVICE_MAPS_H

#include "adapters/codes.h"
#include "service/config.h"
#include "service/db.h"

/*
 * The shipped codes and those of every map, in order.  A map is a FHIR
 * ConceptMap (.json) or CSV (.csv); of another name it is what its first
 * character says.  The caller frees *codes, also after an error if it is not
 * NULL.
 *
 * why  out: which file is wrong, and where
 */
MUST_CHECK enum err maps_load(const struct config *config, struct codes **codes,
                              struct buf *why);

/*
 * maps_learn_stored - the rows that people added while the service ran, and
 * have not taken back; what is known already changes nothing
 *
 * Store thread, or before it runs: others may already be looking codes up.
 *
 * ERR_CONFLICT  a row and a file say different things; why names both, and
 *               what can be done.  Nobody may then be served: which of the
 *               two is right is for a person
 * and the errors of the store
 */
MUST_CHECK enum err maps_learn_stored(struct db *db, struct codes *codes,
                                      struct buf *why);

/*
 * maps_store - keep a row that a person added
 *
 * Store thread.  Not checked here: ask codes_may_learn first, and codes_learn
 * in the same job, so that nobody reads by a row that is not kept.
 *
 * line       its id is not looked at
 * who, note  the person, and why
 * id         out: its number, for codes_learn to know it by
 */
MUST_CHECK enum err maps_store(struct db *db, const struct codes_line *line,
                               const char *who, const char *note,
                               int64_t now_ms, int64_t *id);

#endif

/* maps - the code maps that the configuration names */
#ifndef HEADGATE_SERVICE_MAPS_H
#define HEADGATE_SERVICE_MAPS_H

#include "adapters/codes.h"
#include "service/config.h"

/*
 * The shipped codes and those of every map, in order.  The caller frees
 * *codes, also after an error if it is not NULL.
 *
 * why  out: which file is wrong, and where
 */
MUST_CHECK enum err maps_load(const struct config *config, struct codes **codes,
                              struct buf *why);

#endif

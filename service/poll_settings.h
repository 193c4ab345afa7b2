/*
 * poll_settings - the settings of what comes in from the record, taken apart
 */
#ifndef HEADGATE_SERVICE_POLL_SETTINGS_H
#define HEADGATE_SERVICE_POLL_SETTINGS_H

#include "adapters/fhir_read.h"
#include "service/config.h"

enum { POLL_TYPES_MAX = 3 };

struct poll_settings {
    enum fhir_type types[POLL_TYPES_MAX]; /* in the order of asking */
    size_t type_count;
    int64_t from_ms; /* of the first poll; INT64_MIN: from now on */
};

/*
 * poll_settings_read - ERR_CONFIG: see why, which names the key
 *
 * Also checks what belongs together: a subscription needs an address.
 */
MUST_CHECK enum err poll_settings_read(const struct config *config,
                                       struct poll_settings *settings,
                                       struct buf *why);

#endif

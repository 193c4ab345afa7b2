/*
 * digest - what became of the suggestions of a week, for each unit
 *
 * Store thread only.  Read from the decisions (what headgate did) and from the
 * Tasks as people left them; nothing is counted beside them.
 */
#ifndef HEADGATE_SERVICE_DIGEST_H
#define HEADGATE_SERVICE_DIGEST_H

#include "adapters/queue_digest.h"
#include "adapters/zone.h"
#include "service/db.h"

struct digest_wish {
    int64_t week; /* day (since 1970-01-01) of its Monday, at the site */
    int64_t now_s;
    const struct zone *zone;
    const char *unit; /* NULL: all; see queue_asks_no_unit */
    bool silent;      /* silent mode: said */
    bool json;
    int columns; /* of a page: see queue_columns */
};

/* The Monday of the week that is under way at the site. */
int64_t digest_week(int64_t now_s, const struct zone *zone);

/*
 * digest_read - a page, or one JSON object a line, of the units that have
 * something to be counted; of one unit in any case
 *
 * ERR_ABSENT  there is no such unit: out says so, for people
 */
MUST_CHECK enum err digest_read(struct db *db, const struct digest_wish *wish,
                                struct buf *out);

#endif

/*
 * feed_report - the weekly report, per unit, from the tally
 *
 * Store thread only.  A unit is whoever sends: a profile, a client, a folder.
 * Where one sender sends for several units (the record, an engine between),
 * it is the unit of the patient, as far as that is known.
 */
#ifndef HEADGATE_SERVICE_FEED_REPORT_H
#define HEADGATE_SERVICE_FEED_REPORT_H

#include "adapters/report_text.h"
#include "service/db.h"

struct feed_report {
    struct report_row *rows; /* by unit, class, then the most frequent first */
    size_t count;
    int64_t week;
    char **texts; /* that rows borrow */
    size_t text_count;
    bool cut; /* there were more rows than are kept here */
};

/* ERR_MEMORY, and errors of the store.  Clear it in any case. */
MUST_CHECK enum err feed_report_read(struct db *db, int64_t week,
                                     struct feed_report *report);
void feed_report_clear(struct feed_report *report);

/* How many rows from this one on are of the same unit. */
size_t feed_report_unit(const struct feed_report *report, size_t from);

/* All pages, or that of one unit (NULL: all), as text or as JSON lines. */
MUST_CHECK enum err feed_report_write(const struct feed_report *report,
                                      const char *unit, bool json,
                                      struct buf *out);

#endif

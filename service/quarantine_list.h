/*
 * quarantine_list - what is held and what could not be taken in, for people
 * and programs
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_QUARANTINE_LIST_H
#define HEADGATE_SERVICE_QUARANTINE_LIST_H

#include "adapters/quarantine_text.h"
#include "service/quarantine_item.h"

struct quarantine_filter {
    const char *reason; /* NULL: any */
    const char *unit;   /* of the patient, or name of the sender; NULL: any */
    bool json;          /* one object a line */
};

/* The oldest first; for people a summary by reason at the end, with codes that
 * no map has. */
MUST_CHECK enum err quarantine_list(struct db *db,
                                    const struct quarantine_filter *filter,
                                    const struct zone *zone, int64_t now_ms,
                                    struct buf *out);

/* Everything of one thing: as it was sent, what is wrong with it, what people
 * did, what would mend it. */
MUST_CHECK enum err quarantine_show(struct db *db,
                                    const struct quarantine_item *item,
                                    const struct quarantine_site *site,
                                    struct buf *out);

/* What people have mapped, the oldest first, and what they have taken back. */
MUST_CHECK enum err quarantine_maps(struct db *db, bool json,
                                    const struct zone *zone, struct buf *out);

/* What the word of a hold or of outcome.h means to a person. */
const char *quarantine_reason_words(const char *reason);

/* Open ones by reason, for the metrics: gauges of both lists. */
MUST_CHECK enum err quarantine_metrics(struct db *db, int64_t now_ms,
                                       struct buf *out);

#endif

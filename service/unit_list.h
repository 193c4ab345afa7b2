/*
 * unit_list - the list of each dialysis unit, kept as the queue changes
 *
 * Store thread only.  A List is a resource of ours like a Task; a row of
 * unit_list says of which unit, and what it said last, so that a version is
 * made only where the content is another.  On it is whoever the queue shows for
 * the unit with a Task that is served (headgate queue --unit NAME), and not who
 * has no Task: signs that are held back.
 *
 *     queue_rows_read() --> by unit --> fhir_list_write() --> resource, outbox
 *
 * In silent mode there is none; what there was before is marked as retired,
 * here alone, for nothing leaves then.
 */
#ifndef HEADGATE_SERVICE_UNIT_LIST_H
#define HEADGATE_SERVICE_UNIT_LIST_H

#include "adapters/zone.h"
#include "service/db.h"

struct unit_list_options {
    const char *base;
    const struct zone
        *zone;   /* of the site: a due date is one of its calendar */
    bool record; /* they go to the record, too */
    bool silent;
    int64_t (*now_ms)(void);
};

/*
 * unit_list_keep - bring the lists up to date
 *
 * anew  look though the queue has not changed since the last time: after a
 *       start, when base, language or settings may be others
 * told  out: something goes to the record
 */
MUST_CHECK enum err unit_list_keep(struct db *db,
                                   const struct unit_list_options *options,
                                   bool anew, bool *told);

#endif

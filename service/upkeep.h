/*
 * upkeep - what people have to keep up around the service, as metrics: room on
 * the disk, backups, certificates
 *
 * Nothing of it changes what the service does; all of it ends the service if
 * nobody sees to it.
 */
#ifndef HEADGATE_SERVICE_UPKEEP_H
#define HEADGATE_SERVICE_UPKEEP_H

#include "adapters/buf.h"
#include "service/db.h"

struct service;

struct upkeep {
    int64_t store_bytes; /* the file of the store and its log; -1: not known */
    int64_t free_bytes;  /* for its account, on its disk; -1: not known */
    bool room_held;      /* see store_room.h */
    bool backup_failed;  /* the last one since the start */
    /* The first end of each certificate that is in use, seconds since 1970;
     * INT64_MAX: there is none. */
    int64_t http_end_s, mllp_end_s, record_end_s;
    int64_t http_lists_s, mllp_lists_s; /* the same of revocation lists */
};

/* Loop thread.  Looks at the disk and, of the certificate for the record, at
 * its file, which is read anew for each connection there. */
void upkeep_look(const struct service *s, struct upkeep *u);

/* Store thread: those, and when the last backup was made. */
MUST_CHECK enum err upkeep_metrics(struct db *db, const struct upkeep *u,
                                   struct buf *out);

/* Store thread: there was no store, and this one was made; 0: take that back. */
MUST_CHECK enum err upkeep_made(struct db *db, int64_t at_ms);

/* Store thread: what of it must be seen by whoever looks whether the service is
 * ready: lines for people, none if all is well. */
MUST_CHECK enum err upkeep_say(struct db *db, const struct upkeep *u,
                               int64_t now_ms, struct buf *out);

/* Store thread: a backup was made, and verified. */
MUST_CHECK enum err upkeep_backed_up(struct db *db, int64_t at_ms);

#endif

/*
 * store_restore - put a backup in the place of the store
 *
 *     verify the backup -> hold the old store (nobody else has it open) -> copy
 *     the backup beside it -> a row "restored" in the audit trail of the copy ->
 *     give the old store a second name -> sync the copy, which takes its place
 *     -> sync the folder
 *
 * The row names the SHA-256 of the backup and the last row and hash of the trail
 * that goes away with the old store: whoever puts back a store of before a deed
 * cannot make it undone unseen.
 *
 * What the old store knows of erasures (erased, erased_key) goes into the copy
 * before it takes its place: it is the only one to know who was removed since
 * the backup.  That it cannot be read stops no restore, but is told.
 *
 * At each moment there is a whole store at its place: the old one, then the
 * new one.  The old one stays, as STORE.before-TIME; a log beside it that
 * cannot be read into it goes with it.  No service may run.
 */
#ifndef HEADGATE_SERVICE_STORE_RESTORE_H
#define HEADGATE_SERVICE_STORE_RESTORE_H

#include "service/store_check.h"
#include "service/store_files.h"

struct store_restored {
    struct store_check check;
    char before[STORE_PATH_SIZE]; /* where the old one is; "" there was none */
    /* the old one could not be opened, and was put away as it is */
    bool damaged;
    /* names of patients whom the old store knows to have been removed, and who
     * are in the new one: a line each; to be cleared */
    struct buf again;
    int64_t carried; /* erasures the backup did not know of, now in it */
    /* what the old store knows of erasures was not to be had (ERR_CONFLICT:
     * hashes of another key; ERR_ABSENT: there is no old store); ERR_OK: all of
     * it was taken */
    enum err ledger;
};

/*
 * ERR_DENIED (a service has the store), errors of store_check, ERR_FULL, ERR_IO
 */
MUST_CHECK enum err store_restore(const char *backup,
                                  const struct config *config, int64_t now_s,
                                  struct store_restored *restored,
                                  struct buf *why);

#endif

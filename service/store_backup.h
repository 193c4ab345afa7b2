/*
 * store_backup - a backup of the store while the service goes on
 *
 *     begin -> copy, some milliseconds at a time between the commits (store
 *     thread) -> sync, check, count, sum (a thread of the pool) -> the file and
 *     its manifest take their names -> done
 *
 * One at a time.  What is told of one stays until the next begins.  Until it
 * is done there is only FILE.part; after a failure there is nothing.
 */
#ifndef HEADGATE_SERVICE_STORE_BACKUP_H
#define HEADGATE_SERVICE_STORE_BACKUP_H

#include "service/store.h"
#include "service/store_files.h"

enum backup_state {
    BACKUP_COPYING,
    BACKUP_CHECKING,
    BACKUP_DONE,
    BACKUP_FAILED
};

struct store_backup;

struct store_backup_view {
    int64_t number; /* of the backup, of this process; 0: none yet */
    enum backup_state state;
    int64_t pages, left; /* of the store, and those still to be copied */
    const char *text;    /* done: its manifest; failed: why.  Borrowed until the
                            next turn of the loop; never NULL */
};

MUST_CHECK enum err store_backup_open(uv_loop_t *loop, struct store *store,
                                      int64_t (*now_ms)(void),
                                      struct store_backup **backup);

/*
 * store_backup_begin - path: absolute, not there yet, nor its manifest
 *
 * why  out: what is wrong, for a person
 *
 * ERR_DENIED (one is under way), ERR_FORM (not an absolute path), ERR_CONFLICT
 * (there is such a file), ERR_IO, ERR_FULL, ERR_LIMIT
 */
MUST_CHECK enum err store_backup_begin(struct store_backup *backup,
                                       const char *path, struct buf *why);

void store_backup_look(struct store_backup *backup,
                       struct store_backup_view *view);

/* After store_close: what is being checked is waited for, which may take a
 * while.  on_closed is called from the loop, or from within. */
void store_backup_close(struct store_backup *backup,
                        void (*on_closed)(void *arg), void *arg);

#endif

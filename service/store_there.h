/*
 * store_there - is the file that is open still the store?
 *
 * A file that was removed or replaced while it is open goes on to be written,
 * and is gone with the process: what was acknowledged would be lost, and nothing
 * shows it.  So before a commit it is looked whether the path still names it.
 */
#ifndef HEADGATE_SERVICE_STORE_THERE_H
#define HEADGATE_SERVICE_STORE_THERE_H

#include "adapters/buf.h"
#include "service/store_files.h"

#include <sys/types.h>

struct store_there {
    char path[STORE_PATH_SIZE], log_path[STORE_PATH_SIZE + 8];
    dev_t device;
    ino_t file;
};

/* After it was opened. */
void store_there_note(struct store_there *there, const char *path);

/* logged: there is something in its write-ahead log. */
bool store_there_is(const struct store_there *there, bool logged);

/*
 * Before it is opened: may a store be made at this path?  Not where something
 * of one lies that is gone, and not unless `make`.
 *
 * made  out: there is none, and one may be made
 * why   out: for a person
 *
 * ERR_ABSENT: one has been there, or none may be made
 */
MUST_CHECK enum err store_there_may_make(const char *path, bool make,
                                         bool *made, struct buf *why);

#endif

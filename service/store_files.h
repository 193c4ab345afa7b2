/*
 * store_files - files that are made whole or not at all, beside their place
 *
 * What is made gets the name of its place with ".part" behind it, mode 0600,
 * and takes the place when it is whole and synced.  Each says what is wrong in
 * why, for a person, with the path.
 */
#ifndef HEADGATE_SERVICE_STORE_FILES_H
#define HEADGATE_SERVICE_STORE_FILES_H

#include "adapters/buf.h"

#include <stdint.h>

enum { STORE_PATH_SIZE = 4096 };

/* Left free on a disk when a copy of a store is made: what else is written
 * there must not stand still for it. */
enum { STORE_ROOM_LEFT = 16 * 1024 * 1024 };

/* "FILE.part".  ERR_LIMIT: too long. */
MUST_CHECK enum err store_part_path(const char *path, char *out, size_t size,
                                    struct buf *why);

/*
 * store_part_make - an empty part
 *
 * replace  true: for a file that may be there; else ERR_CONFLICT if it is
 *
 * ERR_CONFLICT, ERR_IO, ERR_FULL, ERR_LIMIT.  A part that an earlier try has
 * left is taken away.
 */
MUST_CHECK enum err store_part_make(const char *path, bool replace,
                                    struct buf *why);

/*
 * store_part_own - as root: give the part the owner and group of the file whose
 * place it will take, or of the folder if there is none
 *
 * A file of root's, mode 0600, would be one that the service cannot open.  Any
 * other account has no such choice, and nothing is done.  ERR_IO, ERR_LIMIT.
 */
MUST_CHECK enum err store_part_own(const char *path, struct buf *why);

/*
 * store_own_new - the same for a store that was just made, with its log and its
 * room: they go to whose folder it is
 *
 * given  out: they were given away; false: the folder is root's, or we are not
 */
MUST_CHECK enum err store_own_new(const char *path, bool *given,
                                  struct buf *why);

/* Is there room for so many bytes in its folder?  ERR_FULL, ERR_IO. */
MUST_CHECK enum err store_room(const char *path, int64_t bytes,
                               struct buf *why);

/*
 * store_part_settle - sync the part, give it its name, sync the folder
 *
 * replace  true: what is there gives way, else ERR_CONFLICT
 *
 * On an error the part is gone and the place as it was.  ERR_CONFLICT, ERR_IO.
 */
MUST_CHECK enum err store_part_settle(const char *path, bool replace,
                                      struct buf *why);

/* Take the part away, if there is one. */
void store_part_drop(const char *path);

/* Whole small file, made this way.  Errors as above. */
MUST_CHECK enum err store_file_new(const char *path, const char *bytes,
                                   size_t len, struct buf *why);

/* The bytes of a file into the part of another.  ERR_IO, ERR_FULL. */
MUST_CHECK enum err store_part_fill(const char *from, const char *path,
                                    struct buf *why);

/* Sync the folder of a path, so that names are as safe as bytes. */
MUST_CHECK enum err store_sync_folder(const char *path, struct buf *why);

/* The folder of a path, "." if it names none; cut if it does not fit. */
void store_folder_of(const char *path, char *out, size_t size);

#endif

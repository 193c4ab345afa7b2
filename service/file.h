/* file - a whole file into memory, and out of it */
#ifndef HEADGATE_SERVICE_FILE_H
#define HEADGATE_SERVICE_FILE_H

#include "adapters/buf.h"

/*
 * Append the bytes of a file to out, up to its ceiling.
 *
 * why  out: what is wrong, with the path
 *
 * ERR_IO, ERR_LIMIT (larger than out may hold), ERR_MEMORY
 */
MUST_CHECK enum err file_read(const char *path, struct buf *out,
                              struct buf *why);

/*
 * file_write - the whole file or, on an error, what was there before
 *
 * What is new is written beside it and then takes its name.  Only the owner
 * may read it: it may hold patient data.
 *
 * path  "-": standard output
 * why   out: what is wrong, with the path
 *
 * ERR_IO, ERR_LIMIT (the path is too long)
 */
MUST_CHECK enum err file_write(const char *path, const char *bytes, size_t len,
                               struct buf *why);

#endif

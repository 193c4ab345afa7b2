/* file - a whole file into memory */
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

#endif

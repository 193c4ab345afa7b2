/*
 * pack - bodies kept small: zstd with a dictionary of what such bodies say
 *
 * The dictionary is part of the format of the store and never changes; a new
 * one would get a new number, which is the first byte of a packed body.
 */
#ifndef HEADGATE_SERVICE_PACK_H
#define HEADGATE_SERVICE_PACK_H

#include "adapters/buf.h"

/* Append the packed form of data to out. */
MUST_CHECK enum err pack(const char *data, size_t len, struct buf *out);

/* Append what was packed; bytes is its length, at most the ceiling of out.
 * ERR_FORM: damaged. */
MUST_CHECK enum err unpack(const void *packed, size_t len, size_t bytes,
                           struct buf *out);

#endif

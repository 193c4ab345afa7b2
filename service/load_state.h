/*
 * load_state - where a load has come in a file, so that it can go on there
 *
 * A small text file, written anew after each answer of the service:
 *
 *     headgate-load 1
 *     size 28411920
 *     modified 1764129600123456789      nanoseconds since 1970
 *     head 9f86d0...                    SHA-256 of the first 64 KiB
 *     tail 2c26b4...                    of the last KiB before offset
 *     offset 1843200
 *     lines 4096                        that end before offset
 *     counts 4000 0 90 6                stored, there, held, refused
 *     errors 3311                       bytes of the error file
 *
 * It has no value of a record.  A file that is no longer what it was is not
 * gone on with: then the offset means nothing.
 */
#ifndef HEADGATE_SERVICE_LOAD_STATE_H
#define HEADGATE_SERVICE_LOAD_STATE_H

#include "adapters/buf.h"

#include <stdint.h>
#include <stdio.h>

enum {
    LOAD_HEAD_SIZE = 64 * 1024,
    LOAD_TAIL_SIZE = 1024,
    LOAD_DIGEST_SIZE = 32
};

struct load_counts {
    uint64_t stored, there, held, refused;
};

struct load_state {
    uint64_t size; /* bytes of the file */
    int64_t modified_ns;
    unsigned char head[LOAD_DIGEST_SIZE], tail[LOAD_DIGEST_SIZE];
    uint64_t offset, lines;
    struct load_counts counts;
    uint64_t errors_bytes;
};

/*
 * load_state_take - how the file is now, as far as offset
 *
 * Sets size, modified_ns, head, tail and offset.  The position of the file is
 * not changed.  ERR_IO.
 */
MUST_CHECK enum err load_state_take(FILE *file, uint64_t offset,
                                    struct load_state *state);

/*
 * load_state_fits - is the file the one of which the state was taken?
 *
 * ERR_CONFLICT  it has changed; why says in what
 * ERR_IO
 */
MUST_CHECK enum err load_state_fits(FILE *file, const struct load_state *state,
                                    struct buf *why);

/* Written beside and renamed over, so that it is whole at any instant.
 * ERR_IO, with errno. */
MUST_CHECK enum err load_state_write(const char *path,
                                     const struct load_state *state);

/*
 * ERR_ABSENT  there is none
 * ERR_FORM    it is damaged, or of another version
 * ERR_IO
 */
MUST_CHECK enum err load_state_read(const char *path, struct load_state *state);

/*
 * load_state_path - where the state of a file is kept
 *
 * folder  of --state; then the name has a digest of the whole path in it, so
 *         that files of one name do not meet.  NULL: beside the error file.
 * errors  the error file
 *
 * ERR_LIMIT, ERR_MEMORY
 */
MUST_CHECK enum err load_state_path(const char *file, const char *folder,
                                    const char *errors, struct buf *out);

#endif

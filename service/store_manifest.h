/*
 * store_manifest - what a backup of the store holds, in one line beside it
 *
 * A flat JSON object of texts (numbers as text, since 64 bits are more than
 * many readers of JSON keep):
 *
 *     {"format":"1","program":"1.4.0","made":"2026-11-26T11:30:00Z",
 *      "schema":"9","newest":"40961","bytes":"8388608","sha256":"9f86...",
 *      "journal":"812","resource":"4100", ...}
 *
 * Needs no store thread: the file stands still.
 */
#ifndef HEADGATE_SERVICE_STORE_MANIFEST_H
#define HEADGATE_SERVICE_STORE_MANIFEST_H

#include "adapters/buf.h"

#include <stdint.h>

enum {
    MANIFEST_TABLES = 14,
    MANIFEST_HASH_SIZE = 65,
    MANIFEST_SIZE_MAX = 4096
};

struct store_manifest {
    char program[32];
    char made[32];  /* instant, UTC */
    int64_t schema; /* version of the tables */
    int64_t newest; /* number of the message that was taken in last; 0 none */
    int64_t bytes;
    char sha256[MANIFEST_HASH_SIZE]; /* of the file, hexadecimal */
    int64_t rows[MANIFEST_TABLES];
};

/* The ith table that is counted, in the order of rows. */
const char *store_manifest_table(int i);

/*
 * store_manifest_of - look at a whole copy: PRAGMA integrity_check, its version,
 * its rows, its sum
 *
 * m     program and made are left alone
 * why   out: what is wrong, for a person, with the path
 *
 * ERR_STORE (damaged), ERR_UNKNOWN (no store of ours), ERR_CONFLICT (of a newer
 * program), ERR_IO, ERR_LIMIT, ERR_MEMORY
 */
MUST_CHECK enum err store_manifest_of(const char *path,
                                      struct store_manifest *m,
                                      struct buf *why);

/* Append the line, with its line end. */
void store_manifest_write(const struct store_manifest *m, struct buf *out);

/* ERR_FORM: none of ours, or of a format that is not known here. */
MUST_CHECK enum err store_manifest_read(const char *json, size_t len,
                                        struct store_manifest *m);

/* FILE.json; false: too long. */
bool store_manifest_path(const char *path, char *out, size_t size);

#endif

/*
 * store_check - is a backup whole, and can a service be started on it?
 *
 * Looks at a file that stands still, read-only: its manifest, its sum, PRAGMA
 * integrity_check, the version of its tables, its rows, and then what a start
 * does: the codes that people mapped, and for each access its history, from
 * which the rules are evaluated; then its tables, indices and triggers, and the
 * chain of the audit trail.  Nothing is changed.
 */
#ifndef HEADGATE_SERVICE_STORE_CHECK_H
#define HEADGATE_SERVICE_STORE_CHECK_H

#include "service/config.h"
#include "service/store_manifest.h"

enum { STORE_FAULTS_SIZE = 4096 };

struct store_check {
    struct store_manifest manifest; /* as it is beside the file */
    int64_t accesses; /* of which what holds was worked out anew */
    /* What is wrong with it although it is whole, a sentence a line: the audit
     * trail, and what keeps it from being changed, see store_faults.h; ""
     * nothing.  A service can work with it. */
    char faults[STORE_FAULTS_SIZE];
    bool older; /* of an older program: brought up to date at the first
                         start, and not worked out before */
};

/*
 * config  policy and zone by which the accesses are looked at
 * why     out: what is wrong, for a person
 *
 * ERR_ABSENT (no manifest), ERR_FORM (it cannot be read), ERR_CONFLICT (file
 * and manifest differ, or the file is of a newer program), ERR_STORE (damaged,
 * or it cannot be worked with), ERR_CONFIG, ERR_IO, ERR_MEMORY
 */
MUST_CHECK enum err store_check(const char *path, const struct config *config,
                                struct store_check *check, struct buf *why);

#endif

/*
 * plan_file - a plan from a file alone, without a store
 *
 *     file --> reader --> intake into a store in memory --> look
 *
 * Where the reader takes searches, a search of a record that was saved is as
 * good as a collection: what was found and what it includes are read, what it
 * says of itself is not.
 *
 * Every reading must be usable: what the service would refuse or hold ends it,
 * since a plan without that reading might be another one; so does a value that
 * is not understood though its code is.  Codes that nobody has mapped, and
 * other types of resources, are passed over and counted.
 *
 * The plan is made as of the newest reading of the file, so that the same file
 * gives the same plan on any day.
 *
 * One at a time, since the clock of a review has no argument.
 */
#ifndef HEADGATE_SERVICE_PLAN_FILE_H
#define HEADGATE_SERVICE_PLAN_FILE_H

#include "service/review.h"

struct plan_file_options {
    const struct policy *policy;
    const struct fhir_reader *reader; /* codes, base, zone, entries_max, now_s
                                         as the clock says */
    bool merge_implied;               /* as configured */
    const char *access; /* by name; NULL: the only one in the file */
};

struct plan_file {
    struct db *db; /* in memory */
    struct review review;
    struct look look;
    size_t passed_over; /* resources that are neither readings nor whose */
    size_t unmapped;    /* values of codes that mean nothing here */
};

/*
 * plan_file_open
 *
 * path  "-": standard input
 * why   out: what is wrong, a line each, with its place
 *
 * ERR_IO      the file cannot be read
 * ERR_FORM    it cannot be used: why
 * ERR_ABSENT, ERR_AMBIGUOUS  the access: why
 */
MUST_CHECK enum err plan_file_open(const char *path,
                                   const struct plan_file_options *options,
                                   struct plan_file *file, struct buf *why);
void plan_file_close(struct plan_file *file);

#endif

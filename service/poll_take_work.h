/*
 * poll_take_work - what the files of poll_take share; private to them
 *
 *     poll_take.c        what was known of it, what is new of it
 *     poll_take_batch.c  some of them as one collection, read and applied
 */
#ifndef HEADGATE_SERVICE_POLL_TAKE_WORK_H
#define HEADGATE_SERVICE_POLL_TAKE_WORK_H

#include "service/poll_take.h"

enum {
    TAKE_BATCH_ENTRIES = 200,
    TAKE_BATCH_BYTES = 1024 * 1024 /* one resource alone may be larger */
};

/* What the record said of this id before. */
struct take_origin {
    char version[FID_SIZE];
    int64_t updated_ms, resource;
};

/* Some entries on their way in together. */
struct take_batch {
    struct poll_take *take;
    struct buf body;
    size_t at[TAKE_BATCH_ENTRIES]; /* which entries of the page */
    struct take_origin origins[TAKE_BATCH_ENTRIES];
    char fids[TAKE_BATCH_ENTRIES][FID_SIZE]; /* that the known ones have here */
    size_t count;
};

/* updated_ms INT64_MIN, version "", resource 0: nothing. */
MUST_CHECK enum err take_find_origin(struct db *db, enum fhir_type kind,
                                     const char *remote,
                                     struct take_origin *row);
/* A server without versions still says when; "" it says neither. */
void take_version_of(const struct fhir_page_entry *e, char out[FID_SIZE]);
/* The first issue that refuses is noted. */
MUST_CHECK enum err take_note_refusal(struct db *db, struct poll_take *t,
                                      size_t entry, int status,
                                      const struct outcome *o);
/* Whom it speaks of and who is not known is to be read by the id. */
MUST_CHECK enum err take_want_all(struct db *db, struct poll_take *t,
                                  const struct fhir_item *item);

void take_open_batch(struct take_batch *b);
void take_add(struct take_batch *b, size_t i, const struct take_origin *origin);
/* Read and apply what is in it. */
MUST_CHECK enum err take_close_batch(struct db *db, struct take_batch *b);

#endif

/*
 * bulk_work - what the files of the export share; private to them
 *
 *     bulk.c        asking, waiting, ending
 *     bulk_file.c   a file: downloaded, its lines taken
 *     bulk_open.c   opening, closing, starting, how it goes
 *     bulk_take.c   the lines of a file, on the store thread
 *     bulk_store.c  where it stands, in the store
 */
#ifndef HEADGATE_SERVICE_BULK_WORK_H
#define HEADGATE_SERVICE_BULK_WORK_H

#include "adapters/fhir_manifest.h"
#include "service/bulk.h"

#include <stdio.h>

enum {
    BULK_TEXT_SIZE = 512,
    BULK_TARGET_SIZE = 2048,
    BULK_MANIFEST_MAX = 4 * 1024 * 1024,
    BULK_BATCH_ENTRIES = 200,
    BULK_BATCH_BYTES = 2 * 1024 * 1024 /* a line of a MiB fits */
};

enum bulk_step {
    B_IDLE,
    B_JOB,  /* a job of the store runs */
    B_CALL, /* a request is under way */
    B_WAIT  /* the timer runs */
};

struct bulk {
    struct bulk_options options;
    struct fhir_reader reader;
    uv_timer_t timer;
    struct store_job job;
    struct record_call *call; /* B_CALL */
    enum bulk_step step;
    void (*then)(struct bulk *b); /* after B_JOB or B_WAIT */
    bool loaded, closing, cancelling;
    int tries, unclear; /* in a row */
    enum err job_err;   /* of the job, where its owner wants it */

    /* what stands in the store */
    int64_t row;
    enum bulk_state state;
    char target[BULK_TARGET_SIZE], since[40];
    bool system_wide; /* patients cannot be exported there: all is */
    struct buf status_url, manifest_text;
    size_t file;
    const char *why; /* static */

    struct fhir_manifest manifest;
    char path[BULK_TEXT_SIZE + 16]; /* of the temporary file */
    FILE *download;                 /* while it is written or read */
    bool disk_failed, too_large;
    uint64_t bytes;
    /* B_JOB of a file */
    struct feed *feed;
    struct feed_batch batch;
    bool batch_open, file_done, news, fetches;
    struct poll_take totals;
    uint64_t lines; /* of the last batch */
    struct bulk_view view;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/* Jobs of the store; arg is the struct bulk. */
enum err bulk_run_load(struct db *db, void *arg);
enum err bulk_run_begin(struct db *db, void *arg);
enum err bulk_run_save(struct db *db, void *arg);
/* Some lines of the file. */
enum err bulk_run_take(struct db *db, void *arg);

/* ---- between the files of the export --------------------------------------- */

/* After so long, go on with then. */
void bulk_wait(struct bulk *b, int64_t ms, void (*then)(struct bulk *));
/* After a job of the store, go on with then; b->job_err says how it went. */
void bulk_job(struct bulk *b, enum err (*run)(struct db *, void *),
              void (*then)(struct bulk *));
/* Store how things stand, and go on. */
void bulk_save(struct bulk *b, enum bulk_state state,
               void (*then)(struct bulk *));
void bulk_save_file(struct bulk *b);
void bulk_call(struct bulk *b, const struct record_request *request,
               http_done_fn on_done);
/* The same once more, later; false: it has been tried often enough. */
bool bulk_try_later(struct bulk *b, const struct http_answer *a,
                    void (*then)(struct bulk *));
/* why: static, for a person. */
void bulk_fail(struct bulk *b, const char *why, long status);

void bulk_after_begin(struct bulk *b);
void bulk_ask(struct bulk *b);
void bulk_poll_status(struct bulk *b);
void bulk_read_manifest(struct bulk *b);
/* The next file of the manifest; after the last the export is deleted. */
void bulk_next_file(struct bulk *b);
void bulk_delete_there(struct bulk *b);
/* The temporary file goes. */
void bulk_drop_file(struct bulk *b);
void bulk_cancel_now(struct bulk *b);
/* When the next one is due by itself. */
void bulk_schedule(struct bulk *b);
/* Once no job runs. */
void bulk_close_if_done(struct bulk *b);

#endif

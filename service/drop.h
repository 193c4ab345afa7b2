/*
 * drop - files that are put into a folder, and taken from there
 *
 *     FOLDER/file             sender "drop"
 *     FOLDER/NAME/file        sender NAME
 *     FOLDER/NAME/taken/      being read
 *     FOLDER/NAME/done/       all of it was taken; FILE.summary.json beside it
 *     FOLDER/NAME/failed/     something was refused: FILE.errors.ndjson says
 *                             what; or nothing could be read: the summary why
 *
 * One file at a time per folder, the oldest first, so that order is kept; the
 * folders take turns.  A file is taken in small batches; how far it is taken is
 * stored in the transaction of each, so that nothing is taken twice or lost,
 * whenever the process ends.  What is refused is also in quarantine.
 *
 * What cannot be done now (the store, the quarantine or the disk is full, a
 * share is gone) is tried again later, and no file fails for it.
 *
 * A name of a file may hold that of a patient: it reaches no log and no
 * metric.  A file has a number there, which is in its summary.
 */
#ifndef HEADGATE_SERVICE_DROP_H
#define HEADGATE_SERVICE_DROP_H

#include "service/config.h"
#include "service/hl7_senders.h"
#include "service/intake.h"
#include "service/store.h"

struct drop;

struct drop_options {
    uv_loop_t *loop;
    struct store *store;
    const struct config *config;
    const struct fhir_reader *reader; /* now_s is set for each batch */
    const struct hl7_senders *senders;
    bool deliver;                /* see struct intake */
    int64_t (*now_ms)(void);     /* wall clock */
    void (*on_tasks)(void *arg); /* loop: Tasks were changed by a file */
    void *arg;
};

/*
 * drop_open - look into the folder from now on
 *
 * ERR_CONFIG  no folder there can be used; why says the reason of each
 * ERR_MEMORY
 */
MUST_CHECK enum err drop_open(const struct drop_options *options,
                              struct drop **drop, struct buf *why);
/* What is under way is finished; on_closed from the loop. */
void drop_close(struct drop *drop, void (*on_closed)(void *arg), void *arg);

/*
 * drop_check - can files be taken there, and moved to taken, done, failed?
 *
 * Makes these folders where they are missing, and tries with a file of its
 * own.
 *
 * out  a line for each folder: its path and "in order", or what is wrong
 * bad  how many cannot be used
 *
 * ERR_CONFIG  none of them can be used
 */
MUST_CHECK enum err drop_check(const char *folder, struct buf *out,
                               unsigned *bad);

enum drop_outcome { DROP_DONE, DROP_FAILED, DROP_UNREADABLE, DROP_OUTCOMES };

struct drop_view {
    uint64_t files[DROP_OUTCOMES];
    uint64_t stored, there, held, refused; /* resources of all files */
    uint64_t waiting;                      /* files, by the last look */
    int64_t oldest_s;                      /* age of the one waiting longest */
    unsigned folders, unusable;
    bool pausing; /* something is full or gone: it is tried again */
};
void drop_look(const struct drop *drop, struct drop_view *view);
/* Prometheus text. */
void drop_metrics(const struct drop_view *view, struct buf *out);

#endif

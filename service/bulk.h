/*
 * bulk - all that changed, exported from the record and taken in (Bulk Data)
 *
 * Loop thread, with jobs of the store.  One export at a time:
 *
 *     ASKING ----> WAITING ----> DOWNLOADING --> TAKING --+
 *     $export      its status    a file          its lines|
 *                                    ^--------------------+  the next file
 *                                ENDING: DELETE there  --> DONE
 *     any --> FAILED, CANCELLED
 *
 * Where it stands is in the store: after a restart an export that is awaited
 * is awaited further, and a file that was not whole is read from its start;
 * what was taken of it is known by its content.  Files go through a temporary
 * file beside the store, so that memory stays small.
 *
 * A file is read from another host only if the record says that it needs no
 * token, and none is sent; by https, or from this machine.
 *
 * Source: HL7 FHIR Bulk Data Access 2.0.0; HL7 FHIR R4, async.html.
 */
#ifndef HEADGATE_SERVICE_BULK_H
#define HEADGATE_SERVICE_BULK_H

#include "service/poll_work.h"

struct bulk;

enum bulk_state {
    BULK_NONE,
    BULK_ASKING,
    BULK_WAITING,
    BULK_READING, /* DOWNLOADING, TAKING, ENDING */
    BULK_DONE,
    BULK_FAILED,
    BULK_CANCELLED
};
const char *bulk_word(enum bulk_state state);

struct bulk_options {
    uv_loop_t *loop;
    struct store *store;
    struct record *record;
    const struct config *config;      /* borrowed */
    const struct fhir_reader *reader; /* borrowed */
    int64_t (*now_ms)(void);
    void (*on_taken)(void *arg); /* something came that refers to others */
    void *arg;
};

MUST_CHECK enum err bulk_open(const struct bulk_options *options,
                              struct bulk **bulk);
void bulk_close(struct bulk *bulk, void (*on_closed)(void *arg), void *arg);

/*
 * bulk_start - begin an export
 *
 * group  id of a Group; NULL or "": that of the settings, else all patients
 * since  an instant; NULL or "": what the last whole export reached, or all
 * types  with commas between; NULL or "": those of the settings
 *
 * ERR_STOPPED   it is not known yet whether one was under way: ask again
 * ERR_CONFLICT  one is under way
 * ERR_FORM      one of them is not of its form
 */
MUST_CHECK enum err bulk_start(struct bulk *bulk, const char *group,
                               const char *since, const char *types);
/* ERR_ABSENT: none is under way. */
MUST_CHECK enum err bulk_cancel(struct bulk *bulk);

struct bulk_view {
    enum bulk_state state; /* of the last one */
    size_t file, files;    /* done, and all of them */
    uint64_t lines, stored, refused;
    uint64_t bytes; /* of the file that is read */
    size_t errors;  /* files of errors that the record reports */
    int64_t began_ms, ended_ms;
    const char *why;       /* of a failure; "" */
    uint64_t done, failed; /* since the service began */
};
void bulk_look(const struct bulk *bulk, struct bulk_view *view);
/* For a person. */
void bulk_say(const struct bulk_view *view, struct buf *out);

#endif

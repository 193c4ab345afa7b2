/*
 * drop_work - what the files of drop share; private to them
 *
 *     drop.c        whose turn it is, waiting, opening, closing
 *     drop_watch.c  hints of the file system
 *     drop_file.c   one file, from its folder to done or failed
 *     drop_scan.c   what is in the folders
 *     drop_check.c  can a folder be used?
 *     drop_disk.c   names, and opening
 *     drop_read.c   the next step of a file, taken apart
 *     drop_apply.c  ... into the store
 *     drop_hl7.c    the same of messages of HL7 v2
 *     drop_store.c  where it stands, in the store
 *     drop_end.c    its summary, its error file, and where it goes
 *     drop_metrics.c  for drop_look
 *
 * All that touches the disk runs on the pool, all that touches the store on
 * its thread, one thing at a time: whoever has it owns struct drop.
 */
#ifndef HEADGATE_SERVICE_DROP_WORK_H
#define HEADGATE_SERVICE_DROP_WORK_H

#include "adapters/error_lines.h"
#include "adapters/feed.h"
#include "adapters/hl7_batch.h"
#include "service/drop.h"
#include "service/hl7_intake.h"

#include <stdio.h>
#include <sys/stat.h>
#include <sys/types.h>

enum {
    DROP_FOLDERS_MAX = 64,
    DROP_NAME_SIZE = 256, /* of a file, POSIX's NAME_MAX and NUL */
    DROP_FOLDER_SIZE = 64,
    DROP_PATH_SIZE = 1280,
    DROP_QUEUE_MAX = 64,             /* files of a folder that one look finds */
    DROP_ENTRIES = 100,              /* lines or messages of a batch */
    DROP_BYTES = 1024 * 1024 + 4096, /* a line of a MiB fits */
    DROP_DOCUMENT_MAX = BODY_MAX,
    DROP_LISTED_MAX = 10000, /* lines of an error file */
    DROP_TURN_MS = 2000,     /* of a folder, while others wait */
    DROP_PAUSE_FIRST_MS = 1000,
    DROP_PAUSE_LAST_MS = 60000
};

/* A file that waits. */
struct drop_found {
    char name[DROP_NAME_SIZE];
    int64_t changed_ns; /* when its content did */
    int64_t touched_ns; /* when anything of it did, a rename too */
    int64_t bytes;
    bool taken;   /* it is in taken/ already */
    bool settled; /* long enough unchanged */
};

struct drop_folder {
    char name[DROP_FOLDER_SIZE]; /* "" FOLDER itself */
    bool usable, there;          /* there: the last look has seen it */
    int trouble;                 /* errno of what is wrong; 0 */
    struct drop_found queue[DROP_QUEUE_MAX]; /* oldest first */
    size_t queue_count;
    uint64_t waiting;
    int64_t oldest_ns;
    /* the oldest, as this process has watched it, whatever clock wrote it */
    struct drop_found watched;
    int64_t watched_ms; /* monotonic, since when it is like that */
    /* the file of this number, as it was opened first by this process */
    int64_t reading; /* 0 none */
    dev_t device;
    ino_t inode;
    /* something of it could not be done: no turn before that */
    int pause_ms;         /* the last one; 0: all is well */
    int64_t paused_to_ms; /* monotonic */
};

/* What stands in the store of a file that is being taken. */
struct drop_row {
    int64_t number;
    int64_t bytes, changed_ms, start, line;
    int64_t stored, there, held, refused, began_ms;
    char target[DROP_NAME_SIZE + 16]; /* "done/file"; "" not moved yet */
};

enum drop_form { DROP_LINES, DROP_DOCUMENT, DROP_MESSAGES };

/* One body that is applied: a Bundle of lines, or one line, or a document. */
struct drop_part {
    struct fhir_doc *doc; /* NULL: the outcome says why */
    struct outcome outcome;
    struct buf own;   /* the body, if it is not that of the parcel */
    const char *body; /* of either */
    size_t len;
    size_t first; /* entry of the parcel's Bundle */
    bool bundle;  /* it stands at that one line as a Bundle */
    struct intake_result *results;
};

/* A message of HL7 v2. */
struct drop_message {
    struct hl7_batch_message at; /* its bytes are in text, from start on */
    size_t start;
    enum err err; /* ERR_OK, or why it cannot be read */
    struct hl7_intake in;
    bool read;
};

/* A folder whose changes the system tells of. */
struct drop_watch {
    uv_fs_event_t event;
    struct drop *drop;
    enum { WATCH_FREE, WATCH_ON, WATCH_CLOSING } state;
    char name[DROP_FOLDER_SIZE];
};

struct drop {
    struct drop_options options;
    struct fhir_reader reader;
    uv_timer_t timer;
    uv_work_t work;
    struct store_job job;
    enum { DROP_IDLE, DROP_WAITING, DROP_POOL, DROP_JOB } step;
    void (*pool)(struct drop *d);                /* while DROP_POOL */
    enum err (*run)(struct db *, struct drop *); /* while DROP_JOB */
    void (*then)(struct drop *d);
    enum err err; /* of what has just ended */
    bool closing;
    unsigned closing_handles; /* not closed yet; 0 before that */
    void (*on_closed)(void *arg);
    void *closed_arg;
    struct drop_watch watches[DROP_FOLDERS_MAX];
    int pause_ms; /* no look was possible: the last pause; 0: all is well */
    bool failing; /* a folder pauses */
    bool hinted;  /* something has changed since the last look */

    struct drop_folder *folders; /* DROP_FOLDERS_MAX */
    size_t folder_count;
    bool too_many;                  /* more folders than that */
    char last_name[DROP_PATH_SIZE]; /* while old rows are looked through */
    struct {
        char name[DROP_PATH_SIZE];
        int64_t number;
        bool gone;
    } old[100];
    size_t old_count;

    /* the round: each folder has its turn */
    size_t turn;      /* folder */
    size_t next_file; /* of its queue */
    int64_t turn_end_ms;
    bool worked; /* something was done in this round */

    /* the file */
    char source[DROP_NAME_SIZE]; /* its name where it was put */
    char taken[DROP_NAME_SIZE];  /* its name in taken/ */
    char key[DROP_PATH_SIZE];    /* "NAME/taken/file" */
    struct drop_row row;
    bool fresh; /* not in taken/ yet */
    FILE *file;
    int64_t bytes, changed_ms;
    enum drop_form form;
    const char *reason; /* static: it cannot be read, or not on; NULL */
    struct feed *feed;
    struct feed_parcel parcel;
    bool parcel_open;
    struct hl7_batch *batch;
    uint64_t base_line; /* lines before the batch began to read */
    bool ended;         /* nothing more in it */

    /* the step */
    struct drop_part parts[DROP_ENTRIES];
    size_t part_count;
    struct drop_message messages[DROP_ENTRIES];
    size_t message_count;
    struct buf text; /* a document, or the bytes of messages */
    uint64_t end, end_line;
    int64_t step_stored, step_there, step_held, step_refused;
    size_t refused_here; /* lines of the step, to give each a number */
    bool news, tasks;
    struct buf line; /* of the error file */

    /* the end */
    enum drop_outcome outcome;
    int64_t listed_start, listed_entry;
    uint64_t listed; /* lines of the error file */
    struct buf page;
    bool page_last;

    struct drop_view view;
};

/* ---- drop.c --------------------------------------------------------------- */

/* One thing on the pool, or a job of the store; then goes on from the loop.
 * d->err says how it went. */
void drop_pool(struct drop *d, void (*run)(struct drop *),
               void (*then)(struct drop *));
void drop_job(struct drop *d, enum err (*run)(struct db *, struct drop *),
              void (*then)(struct drop *));
/* Something is full or gone: give up this turn, and give this folder another
 * later.  Others have theirs. */
void drop_pause(struct drop *d);
/* The file has ended, or its turn has. */
void drop_next_file(struct drop *d);
void drop_next_folder(struct drop *d);
bool drop_turn_over(const struct drop *d);
/* Look again after so long. */
void drop_wait(struct drop *d, uint64_t ms);
void drop_handle_closed(struct drop *d);

/* ---- drop_watch.c --------------------------------------------------------- */

/* After a look: the folders there are now. */
void drop_watch_all(struct drop *d);
/* When it is worth looking, after a hint. */
uint64_t drop_soon_ms(const struct drop *d);
/* Returns how many handles drop_handle_closed will be called for. */
unsigned drop_watch_end(struct drop *d);

/* ---- drop.c, for all of them ---------------------------------------------- */

int64_t drop_mono_ms(void);

/* ---- drop_file.c ---------------------------------------------------------- */

/* Begin with, or go on with, a file of the queue of this turn's folder. */
void drop_begin(struct drop *d, const struct drop_found *found);
/* Everything that is open of it. */
void drop_close_file(struct drop *d);

/* ---- on the pool ---------------------------------------------------------- */

void drop_scan(struct drop *d);
/* Tries a folder: 0, or errno. */
int drop_try_folder(const char *root, const char *name);
/* False: it does not fit. */
bool drop_path(char out[DROP_PATH_SIZE], const char *root, const char *folder,
               const char *below, const char *name);
/* Is it left alone: hidden, or being written? */
bool drop_is_passed_over(const char *name);
/* A name that is free in FOLDER/NAME/below, with the two files beside it;
 * longer ones are cut. */
MUST_CHECK enum err drop_free_name(const struct drop *d, const char *below,
                                   const char *name, char out[DROP_NAME_SIZE]);
/* Path of a file of this turn's folder; below may be "". */
bool drop_here(const struct drop *d, const char *below, const char *name,
               char out[DROP_PATH_SIZE]);
/* Chooses taken, and sets key. */
void drop_name(struct drop *d);
/*
 * Moves a fresh one to taken/, opens it at row.start and finds its form; or
 * sets reason.  ERR_ABSENT: it is gone, or is still being written;
 * ERR_DENIED: it cannot be moved, see the folder's trouble.
 */
void drop_open_file(struct drop *d);
/* Is this another file than the one that was begun? */
bool drop_is_other(const struct drop *d, const struct stat *info);
/* Which of the rows in old are of files that are no longer there. */
void drop_find_gone(struct drop *d);
/* The next step, taken apart. */
void drop_read(struct drop *d);
void drop_read_messages(struct drop *d);
/* Chooses row.target. */
void drop_choose_target(struct drop *d);
/* A page of the error file. */
void drop_write_page(struct drop *d);
/* The summary, and the file itself. */
void drop_move(struct drop *d);

/* ---- jobs of the store ---------------------------------------------------- */

enum err drop_run_old(struct db *db, struct drop *d);
enum err drop_run_forget(struct db *db, struct drop *d);
enum err drop_run_row(struct db *db, struct drop *d);
enum err drop_run_apply(struct db *db, struct drop *d);
enum err drop_run_target(struct db *db, struct drop *d);
enum err drop_run_page(struct db *db, struct drop *d);
enum err drop_run_end(struct db *db, struct drop *d);

MUST_CHECK enum err drop_apply_messages(struct db *db, struct drop *d);
/* One that was refused: counted, listed, and with body into quarantine. */
struct drop_refusal {
    struct error_place place;
    const struct outcome *outcome;
    bool v2, kept; /* kept: it is in quarantine already */
    enum fhir_type kind;
    int status;
    const char *body; /* NULL: it is not at hand */
    size_t len;
};
MUST_CHECK enum err drop_refuse(struct db *db, struct drop *d,
                                const struct drop_refusal *refusal);

void drop_free_step(struct drop *d);
/* Name of the sender: that of the folder. */
const char *drop_sender(const struct drop *d);

#endif

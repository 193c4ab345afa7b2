/*
 * poll_work - what the files of the poll share; private to them
 *
 *     poll.c         rounds: what is asked for, and when
 *     poll_feed.c    one window: what is asked, and what its end means
 *     poll_open.c    opening, closing, how it goes
 *     poll_window.c  a page of a window: what is taken, and how far it got
 *     poll_say.c     how it goes, for people
 */
#ifndef HEADGATE_SERVICE_POLL_WORK_H
#define HEADGATE_SERVICE_POLL_WORK_H

#include "service/poll.h"
#include "service/poll_take.h"

/* A window of time that is being read.  The store thread's while a page is
 * taken, the loop's otherwise. */
struct poll_window {
    const char *name; /* of the feed in the store */
    enum fhir_type type;
    bool durable;            /* there is a cursor in the store */
    int64_t cursor_ms;       /* as it stood when the window began */
    int64_t since_ms;        /* what is asked for */
    int64_t max_ms;          /* newest row so far; INT64_MIN: none */
    int64_t last_ms;         /* last row; INT64_MIN: none */
    int64_t first_server_ms; /* the record's clock at the first page */
    bool unsorted;
    bool clock_back; /* the record's clock is behind the cursor */
    bool again;      /* since_ms is set already: begins where that clock is */
    uint64_t undated;
};

/* What a page came to; written by the store thread, read after the commit. */
struct poll_taken {
    int64_t cursor_ms, server_ms;
    unsigned rows, undated, stored, refused, withdrawn;
    bool news, fetches, unsorted;
    bool looks; /* Tasks are to be read at the record */
    bool blind; /* the search does not find what is there */
};

struct poll_source {
    /* What is done with the rows of a search; NULL: they are taken in. */
    enum err (*rows)(struct db *db, const struct poll_source *source,
                     const struct walk_page *page, const struct fhir_page *read,
                     struct poll_taken *taken);
    void *arg;                        /* of whoever set rows */
    const struct fhir_reader *reader; /* self: the base of the record */
    bool merge_implied;
    int overlap_s;
    int64_t (*now_ms)(void);
};

/* Part of a query, percent-encoded; blanks are left out. */
void poll_percent(const char *text, struct buf *out);

void poll_window_start(struct poll_window *w, const struct poll_source *source,
                       int64_t from_ms);

/* Store thread: a page of a search, of a history, of one resource. */
MUST_CHECK enum err poll_window_take(struct db *db, struct poll_window *w,
                                     const struct poll_source *source,
                                     struct walk_page *page,
                                     struct poll_taken *taken);
MUST_CHECK enum err poll_deletes_take(struct db *db, struct poll_window *w,
                                      const struct poll_source *source,
                                      struct walk_page *page,
                                      struct poll_taken *taken);
MUST_CHECK enum err poll_single_take(struct db *db,
                                     const struct poll_source *source,
                                     enum fhir_type kind, const char *remote,
                                     struct walk_page *page,
                                     struct poll_taken *taken);

/* See poll.h; POLL_NOTING: what is not there by its id. */
enum poll_stage {
    POLL_IDLE,
    POLL_LOADING,
    POLL_WINDOW,
    POLL_DELETES,
    POLL_CHOOSING,
    POLL_BY_ID,
    POLL_NOTING
};

/* How much is asked of the record; each falls back to the next. */
enum poll_plea { PLEA_STRICT, PLEA_LENIENT, PLEA_NO_SORT };

struct poll_feed {
    struct poll_window window;
    char name[40];
    enum poll_plea plea;
    int count; /* rows of a page */
    int restarts;
    bool is_history;
    struct poll_feed_view view;
};

struct poll {
    struct poll_options options;
    struct fhir_reader reader; /* with the record's base */
    struct poll_source source;
    struct poll_settings settings;
    uv_timer_t timer;
    struct walk *walk;
    struct store_job job; /* POLL_LOADING, POLL_CHOOSING, POLL_NOTING */
    bool job_running;
    enum poll_stage stage;
    struct poll_feed feeds[POLL_FEEDS_MAX];
    size_t feed_count, at;
    struct poll_taken taken; /* of the page that was last committed */
    bool kicked;             /* a round is wanted after this one */
    bool later;              /* this round has met no answer */
    int failures;            /* rounds in a row */
    int64_t deletes_due_ms;
    /* POLL_BY_ID */
    enum fhir_type kind;
    char remote[FID_SIZE];
    bool found, absent;
    unsigned by_id;
    uint64_t total_by_id, total_absent;
    uint64_t ends[WALK_END_COUNT];
    uint64_t round_stored, round_refused; /* for the log */
    uint64_t round_ns;                    /* by log_now_ns(): when it began */
    bool closing;
    void (*on_closed)(void *arg);
    void *closed_arg;
    int open_parts;
};

/* ---- between the files of the poll ---------------------------------------- */

void poll_go(struct poll *p, enum poll_stage next);
void poll_end_round(struct poll *p);
void poll_start_window(struct poll *p);
void poll_on_window_end(struct poll *p, enum walk_end end, long status);
const char *poll_type_name(enum fhir_type type);
/* What the walk calls. */
enum err poll_take_page(struct db *db, void *arg, struct walk_page *page);
void poll_on_page(void *arg);
void poll_on_walk_end(void *arg, enum walk_end end, long status);
/* Begin a round, if the record may be asked. */
void poll_on_timer(uv_timer_t *timer);
/* Once no job runs. */
void poll_close_if_done(struct poll *p);

#endif

/*
 * poll - what is new at the clinical record is fetched from there
 *
 * Loop thread, with jobs of the store.  One round at a time:
 *
 *     IDLE --(the wait is over, or a kick)--> for each type, in order:
 *         LOADING --> WINDOW: Type?_lastUpdated=ge...&_sort=_lastUpdated
 *     --> DELETES: Observation/_history?_since=...       from time to time
 *     --> BY_ID:   Type/id, of what others have referred to
 *     --> IDLE
 *
 * How far a type has been read (its cursor) is the record's own clock: the
 * newest meta.lastUpdated of what is in the store, never beyond the Date of
 * the record's answer, and stored with what it stands for.  Each window
 * reaches back by the overlap, since what a record finishes late carries an
 * earlier time.  The cursor moves with each page, one page behind, as long as
 * the rows come in order of time; where they do not, at the end of the window.
 *
 * What is wrong with the record's answers stops the type that it concerns,
 * until they are right again; nothing is lost, since the cursor stays.
 *
 * Sources: HL7 FHIR R4 (4.0.1), http.html (search, history, paging); the
 * default overlap: 120 s, the transaction time limit of an open-source server,
 * 2 s for clocks, and a margin (its issue tracker; no standard).
 */
#ifndef HEADGATE_SERVICE_POLL_H
#define HEADGATE_SERVICE_POLL_H

#include "adapters/fhir_record.h"
#include "service/poll_settings.h"
#include "service/poll_walk.h"

struct poll;

struct poll_options {
    uv_loop_t *loop;
    struct store *store;
    struct record *record;
    const struct config *config;      /* borrowed */
    const struct fhir_reader *reader; /* borrowed; self and now_s are set here
                                       */
    int64_t (*now_ms)(void);
};

/* ERR_MEMORY, ERR_CONFIG */
MUST_CHECK enum err poll_open(const struct poll_options *options,
                              struct poll **poll, struct buf *why);
/* on_closed from the loop. */
void poll_close(struct poll *poll, void (*on_closed)(void *arg), void *arg);

/* Begin a round soon, or another after the one that is under way. */
void poll_kick(struct poll *poll);

/* What the record says that it can. */
void poll_learn(struct poll *poll, const struct fhir_record_says *says);

/* How it goes. */
struct poll_feed_view {
    const char *name;             /* "Observation", "Observation/_history" */
    int64_t cursor_ms, server_ms; /* the record's clock; INT64_MIN: none yet */
    int64_t ended_ms;      /* ours: the last whole window; INT64_MIN: none */
    enum walk_end trouble; /* of the last window; WALK_DONE: none */
    uint64_t pages, rows, stored, refused, withdrawn, undated, failures;
    bool unsorted; /* rows did not come in order of time */
    bool off;      /* the record does not offer it */
};
enum { POLL_FEEDS_MAX = POLL_TYPES_MAX + 1 };
struct poll_view {
    int interval_s;
    bool running;
    struct poll_feed_view feeds[POLL_FEEDS_MAX];
    size_t feed_count;
    uint64_t by_id, by_id_absent;
    uint64_t ends[WALK_END_COUNT]; /* windows by how they ended */
};
void poll_look(const struct poll *poll, struct poll_view *view);

/* A line for each thing that is wrong or not possible, for a person. */
void poll_say(const struct poll_view *view, struct buf *out);

#endif

/*
 * follow - what people do with our Tasks at the record is looked for
 *
 * Loop thread, with jobs of the store.  In rounds:
 *
 *     IDLE --> LOADING --> WINDOW: Task?identifier=SYSTEM|&_lastUpdated=ge...
 *          --> RECHECK: open Tasks that nobody has looked at for long
 *          --> IDLE
 *
 * What has changed there is only marked, to be read by its delivery: that one
 * sees what a person did, and respects it (outbox.h).  Where the record does
 * not search that way, or does not find what is there, every open Task is
 * marked in each round instead.  A search does not show what was deleted:
 * therefore the recheck.
 */
#ifndef HEADGATE_SERVICE_FOLLOW_H
#define HEADGATE_SERVICE_FOLLOW_H

#include "service/config.h"
#include "service/poll_walk.h"

struct follow;

struct follow_options {
    uv_loop_t *loop;
    struct store *store;
    struct record *record;
    const struct config *config; /* borrowed */
    int64_t (*now_ms)(void);
    void (*on_looks)(void *arg); /* Tasks are to be read: kick the outbox */
    void *arg;
};

MUST_CHECK enum err follow_open(const struct follow_options *options,
                                struct follow **follow);
void follow_close(struct follow *follow, void (*on_closed)(void *arg),
                  void *arg);
void follow_kick(struct follow *follow);

struct follow_view {
    int interval_s;
    bool one_by_one; /* every open Task is read in each round */
    enum walk_end trouble;
    int64_t cursor_ms, server_ms, ended_ms; /* as in poll_feed_view */
    uint64_t pages, rows, looks;
};
void follow_look(const struct follow *follow, struct follow_view *view);
void follow_say(const struct follow_view *view, struct buf *out);

/*
 * follow_seen - the record's Task of this id has this version: mark it, if it
 * is one of ours and that is not known
 *
 * key     value of its identifier of our system; NULL: by its id alone
 * marked  out
 */
MUST_CHECK enum err follow_seen(struct db *db, const char *key,
                                const char *remote, const char *version,
                                int64_t updated_ms, int64_t now_ms,
                                bool *marked);

/* Is there a Task of ours at the record that a search from since_ms on should
 * have found by now? */
MUST_CHECK enum err follow_should_find(struct db *db, int64_t since_ms,
                                       int64_t now_ms, bool *should);

#endif

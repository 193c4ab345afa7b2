/*
 * silence - feeds that have sent nothing for longer than is their habit
 *
 * Store thread only.  A feed is a sender (a profile, a client, a folder, the
 * record) and, of one that sends for several units, each unit of it.  A feed
 * that stops looks like a unit in which all is well: it has to be said.
 *
 * The habit is learned from the days (UTC) on which something came and was
 * kept, of the last SILENCE_LOOK_D days: a feed is silent when more days have
 * gone by since the last one than a quarter more than its longest usual pause.
 * One pause in twenty may be longer: an outage is no habit.  With fewer than
 * SILENCE_LEARN days, or within SILENCE_SPAN_D days, nothing is said: they may
 * have been files that were loaded once.  After SILENCE_FORGET_D days of silence a feed is forgotten, as one
 * that was closed.  All of these figures are our own proposal, no source.
 */
#ifndef HEADGATE_SERVICE_SILENCE_H
#define HEADGATE_SERVICE_SILENCE_H

#include "adapters/buf.h"
#include "service/db.h"

enum {
    SILENCE_LOOK_D = 400,
    SILENCE_FORGET_D = 120,
    SILENCE_LEARN = 4,
    SILENCE_SPAN_D = 14,
    SILENCE_TEXT_SIZE = 201, /* as in the tally */
    SILENCE_FEEDS_MAX = 500
};

struct silent_feed {
    char source[SILENCE_TEXT_SIZE];
    char unit[SILENCE_TEXT_SIZE]; /* "" not known; site text */
    int64_t last_day;             /* since 1970-01-01 */
    int silent_d;                 /* days since then, 1 or more */
    int usual_d;                  /* its longest usual pause; 0: not learned */
};

/* Something of a feed came in at that time and was kept. */
MUST_CHECK enum err silence_arrived(struct db *db, const char *source,
                                    const char *unit, int64_t at_ms);

/*
 * silence_read - feeds that are silent, the longest silent first
 *
 * fixed_d  a site's own limit in days, the same for each feed; 0: the habit
 * feeds    room for SILENCE_FEEDS_MAX; *count: how many there are; more than
 *          that are left out
 */
MUST_CHECK enum err silence_read(struct db *db, int64_t now_ms, int fixed_d,
                                 struct silent_feed *feeds, size_t *count);

/*
 * silence_say - a line for each silent feed, for people; nothing if there is
 * none
 *
 * unit  NULL: of all
 *
 * ERR_MEMORY, and errors of the store.
 */
MUST_CHECK enum err silence_say(struct db *db, int64_t now_ms, int fixed_d,
                                const char *unit, struct buf *out);

#endif

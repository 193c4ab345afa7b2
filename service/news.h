/*
 * news - which accesses are to be reviewed, and when
 *
 * Store thread only.  A mark whose time lies in the future waits for it.
 */
#ifndef HEADGATE_SERVICE_NEWS_H
#define HEADGATE_SERVICE_NEWS_H

#include "service/db.h"

/* An access is to be reviewed at due_ms, or earlier if it is marked so
 * already. */
MUST_CHECK enum err news_mark(struct db *db, int64_t access, int64_t due_ms);

/* A reading of this owner (an access or a patient) has come or gone; that of
 * a patient is news for each of his accesses. */
MUST_CHECK enum err news_mark_owner(struct db *db, int64_t owner,
                                    int64_t patient, int64_t now_ms);

#endif

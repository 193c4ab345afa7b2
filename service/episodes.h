/*
 * episodes - what was put to people, as triage needs it
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_EPISODES_H
#define HEADGATE_SERVICE_EPISODES_H

#include "planner/triage.h"
#include "service/db.h"

/* The newest episode of an access and group, with its evidence, and the
 * resource number of its Task; number 0 and EPISODE_NONE if there is none. */
MUST_CHECK enum err episode_load(struct db *db, int64_t access,
                                 enum group group, struct episode *episode,
                                 int64_t *task);

struct episode_words {
    int64_t opened_s, due_s;
    const char *headline, *suggestion;
};
MUST_CHECK enum err episode_store(struct db *db, int64_t access,
                                  enum group group,
                                  const struct episode *episode, int64_t task,
                                  const struct episode_words *words);

/*
 * episode_own - who is to see to it, in words; "": nobody
 *
 * moved  the status was changed with it.  If not, and somebody else had it in
 *        hand: it was handed over, and waits until it is taken (episode_take),
 *        or until its status is changed (episode_follow).  It is reviewed then,
 *        for its time may have passed already.
 */
MUST_CHECK enum err episode_own(struct db *db, int64_t task, const char *owner,
                                bool moved, int64_t now_s);
/* It is handed over by a person who says so; see episode_own. */
MUST_CHECK enum err episode_hand(struct db *db, int64_t task, int64_t now_s);
/* Who it was handed to, or somebody else, has it in hand from now on. */
MUST_CHECK enum err episode_take(struct db *db, int64_t task);
/* A person puts it off until then; only one that nobody has in hand. */
MUST_CHECK enum err episode_put_off(struct db *db, int64_t task,
                                    int64_t until_s, const char *who);
/* The day it was put off to has come: it is as if put to people now. */
MUST_CHECK enum err episode_back(struct db *db, int64_t task, int64_t now_s);

/* When it opened and is due, of a Task. */
MUST_CHECK enum err episode_times(struct db *db, int64_t task,
                                  int64_t *opened_s, int64_t *due_s);

MUST_CHECK enum err repeat_load(struct db *db, int64_t access, enum group group,
                                struct repeat_state *repeat, int64_t *task);
/* headline  of a new one; later ones keep it, and the day it is due */
MUST_CHECK enum err repeat_store(struct db *db, int64_t access,
                                 enum group group,
                                 const struct repeat_state *repeat,
                                 int64_t task, const char *headline);

/* Was this Task made while nothing was posted?  0: there is no Task. */
MUST_CHECK enum err task_is_silent(struct db *db, int64_t task, bool *silent);

/* A person, or the record, has changed the status of a Task (of an episode
 * or a reminder); the same status again changes nothing. */
MUST_CHECK enum err episode_follow(struct db *db, int64_t task,
                                   const char *status, int64_t now_s);

#endif

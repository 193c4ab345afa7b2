/*
 * quarantine_act - what a person does with what is held or in quarantine
 *
 *     map      a code, a unit, or to which access or side a reading belongs
 *     release  look at it again by what is known today
 *     discard  never use it
 *     unmap    take a mapping back: what was read by it is read again
 *
 * Store thread only.  What may take long is done in steps, each a job of its
 * own: as long as `more` is set the caller comes again with the same struct.
 * Every deed is kept with who and why.
 */
#ifndef HEADGATE_SERVICE_QUARANTINE_ACT_H
#define HEADGATE_SERVICE_QUARANTINE_ACT_H

#include "service/again.h"
#include "service/quarantine_item.h"

enum quarantine_verb {
    QUARANTINE_MAP,
    QUARANTINE_RELEASE,
    QUARANTINE_DISCARD,
    QUARANTINE_UNMAP
};

struct quarantine_act {
    /* in; "" what is not said */
    struct quarantine_site site;
    enum quarantine_verb verb;
    char item[FID_SIZE + 16]; /* its name, or "all" (release); the number of
                                 a mapping (unmap) */
    char reason[32];          /* of all: only what waits for this reason */
    bool as_sent;             /* release: the value is right */
    char code[256]; /* map: which code of several, "SYSTEM|CODE" or "CODE" */
    char target[128], unit[64], arm[16], from[40]; /* map: of a code */
    char access[256], side[16];                    /* map: of a reading */
    char who[VERDICT_WORDS_SIZE], why[VERDICT_WORDS_SIZE];
    /* between steps; private */
    int64_t mapping, deed, after;
    size_t reason_at;
    bool begun, swept;
    bool kept; /* its first step is on disk */
    /* out */
    bool more;
    int status; /* 200 done; 400, 404, 409: it could not be, and text says
                   why, in one sentence or more */
    struct again_count count;
    struct buf text; /* for the person; the caller inits and clears it */
};

/*
 * quarantine_act - the next step
 *
 * Errors are those of the store, and ERR_CONFLICT after status was set to a
 * refusal: the caller then undoes the step.
 */
MUST_CHECK enum err quarantine_act(struct db *db, struct quarantine_act *act);

/* To be called when what a step did was undone or not kept: a mapping that is
 * not in the store is not read by.  Any thread. */
void quarantine_act_failed(struct quarantine_act *act);

/* ---- between the files of quarantine_act ---------------------------------- */

/* Set status and text (a sentence without its full stop), ERR_CONFLICT. */
enum err quarantine_refuse(struct quarantine_act *act, int status,
                           const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* What was done to a number; act->deed: the number of the deed. */
MUST_CHECK enum err quarantine_keep(struct db *db, struct quarantine_act *act,
                                    int64_t number, enum deed_act deed,
                                    const char *detail);

/* A mapping is taken back: the first step, and each after it. */
MUST_CHECK enum err quarantine_unmap(struct db *db, struct quarantine_act *act);
MUST_CHECK enum err quarantine_unmap_more(struct db *db,
                                          struct quarantine_act *act);

/* To which access or side a reading belongs. */
MUST_CHECK enum err quarantine_place(struct db *db, struct quarantine_act *act,
                                     const struct quarantine_item *item);
MUST_CHECK enum err quarantine_map(struct db *db, struct quarantine_act *act,
                                   const struct quarantine_item *item);
/* What a mapping settles, some at a time. */
MUST_CHECK enum err quarantine_sweep(struct db *db, struct quarantine_act *act);

MUST_CHECK enum err quarantine_release(struct db *db,
                                       struct quarantine_act *act,
                                       const struct quarantine_item *item);
/* Rows that wait for act->reason, after act->after: a bounded number; more:
 * there may be others. */
MUST_CHECK enum err quarantine_retry_rows(struct db *db,
                                          struct quarantine_act *act);
MUST_CHECK enum err quarantine_release_all(struct db *db,
                                           struct quarantine_act *act);

/* The same word for all readings of an Observation that are held for one of
 * these reasons.  If none is, for those that a person has put into use for one:
 * a word said before is replaced by it.  Reason NULL: for all of both; "": for
 * all that is held.  *count: how many. */
MUST_CHECK enum err quarantine_say(struct db *db,
                                   const struct quarantine_act *act,
                                   const struct quarantine_item *item,
                                   const char *reason, const char *or_reason,
                                   const struct person_verdict *verdict,
                                   unsigned *count);

/* What of it is still held, and what would mend that, as text. */
MUST_CHECK enum err quarantine_say_left(struct db *db,
                                        const struct quarantine_item *item,
                                        struct buf *out);

/* The FHIR that it is, or that is made of the message: appended to out.
 * ERR_ABSENT  its bytes were not kept, or nothing can be made of them */
MUST_CHECK enum err quarantine_bundle(struct db *db,
                                      const struct quarantine_site *site,
                                      const struct quarantine_item *item,
                                      struct buf *out);

/*
 * quarantine_again - take in what waits in quarantine, as it came
 *
 * taken  out: all of it is in use, or nothing of it is needed any more
 * why    out: appended, what is still wrong with it, without values
 */
MUST_CHECK enum err quarantine_again(struct db *db,
                                     const struct quarantine_site *site,
                                     const struct quarantine_item *item,
                                     bool *taken, struct buf *why);

#endif

/*
 * review - look at each access that has news, and say what is to be said
 *
 * Store thread only; the background work of the store.  For each access:
 * its history, the rules, triage per problem group; then Task, episode,
 * decision and delivery in the same transaction that clears the mark "has
 * news", and sets the next one, for the moment at which time alone may change
 * something (see agenda.h).  A crash before that commit repeats the review.
 *
 * Silent mode: all is computed and kept, and nothing is posted.  When it has
 * ended, the first review of an access closes what was open silently, and
 * opens anew, as posted, what still holds, even if its readings have become
 * historic: it was found in time.
 */
#ifndef HEADGATE_SERVICE_REVIEW_H
#define HEADGATE_SERVICE_REVIEW_H

#include "adapters/zone.h"
#include "planner/readiness.h"
#include "service/accesses.h"
#include "service/companions.h"

struct planners;
struct planning;

struct review {
    const struct policy *policy; /* borrowed, as all here */
    const struct zone *zone;
    const char *base; /* canonical base of our CodeSystems */
    bool record;      /* Tasks also go out to a record */
    bool silent;      /* Tasks are kept and shown to nobody */
    bool narratives;  /* Tasks have a text (R4, Narrative) */
    struct companion_options companions; /* what is made beside them */
    /* For what is predicted of the hand, and the plans of Tasks; NULL:
     * neither is. */
    struct planning *planning;
    bool no_plans; /* predict, and attach no plan to a Task */
    /* Where the plans of Tasks are made beside this thread; NULL: here. */
    struct planners *planners;
    int64_t (*now_ms)(void);
};

/* store_work run function; arg is a struct review. */
enum err review_run(struct db *db, void *arg, bool *more, bool *told);

/* One access now, plan and all, whether it has news or not.  *told: something
 * goes out. */
MUST_CHECK enum err review_access(struct db *db, const struct review *review,
                                  int64_t access, bool *told);

/* Before the first run: what waited for its plan when a service ended is to be
 * looked at now. */
MUST_CHECK enum err review_resume(struct db *db, int64_t now_ms);

/*
 * review_start - once, before a service goes to work: what has changed while
 * it did not run
 *
 * With another policy than before every access is reviewed again; when silent
 * mode has ended, those that have something open that was never posted, and
 * Tasks that were changed during it go to the record.
 */
MUST_CHECK enum err review_start(struct db *db, const struct review *review);

/* What a review looks at; to be cleared. */
struct look {
    struct access access;
    struct patient patient;
    struct reading *readings; /* owned, as history has them */
    struct history history;
    struct findings findings;
    int64_t now_ms;
};

/* Load an access and evaluate the rules; of one that is not in use only the
 * hand, haemorrhage and infection are looked at; one that was merged into
 * another, and one of a patient who is dead, has no findings.  On an error
 * nothing is to be cleared. */
MUST_CHECK enum err look_at(struct db *db, const struct review *review,
                            int64_t access, struct look *look);
void look_clear(struct look *look);
/* The same look once more, if what was merged or taken back speaks for or
 * against a death now (deceased_judge). */
MUST_CHECK enum err look_at_anew(struct db *db, const struct review *review,
                                 int64_t access, struct look *look);

#endif

/*
 * review - look at each access that has news, and say what is to be said
 *
 * Store thread only; the background work of the store.  For each access:
 * its history, the rules, triage per problem group; then Task, episode,
 * decision and delivery in the same transaction that clears the mark "has
 * news".  A crash before that commit repeats the review.
 */
#ifndef HEADGATE_SERVICE_REVIEW_H
#define HEADGATE_SERVICE_REVIEW_H

#include "adapters/zone.h"
#include "planner/policy.h"
#include "service/db.h"

struct review {
    const struct policy *policy; /* borrowed, as all here */
    const struct zone *zone;
    const char *base; /* canonical base of our CodeSystems */
    bool record;      /* Tasks also go out to a record */
    int64_t (*now_ms)(void);
};

/* store_work run function; arg is a struct review. */
enum err review_run(struct db *db, void *arg, bool *more, bool *told);

/* One access now, whether it has news or not.  *told: something goes out. */
MUST_CHECK enum err review_access(struct db *db, const struct review *review,
                                  int64_t access, bool *told);

#endif

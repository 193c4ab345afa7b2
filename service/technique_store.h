/*
 * technique_store - the prior of this site: what a person switched on or off,
 * and when
 *
 * Store thread only.  Each switch is a row that stays; the newest one counts.
 * The numbers are kept as they were adopted, all of them: finished cases that
 * come later, and a program with another default, change nothing in them.
 */
#ifndef HEADGATE_SERVICE_TECHNIQUE_STORE_H
#define HEADGATE_SERVICE_TECHNIQUE_STORE_H

#include "planner/technique.h"
#include "service/db.h"

enum { TECHNIQUE_WHO_SIZE = 128, TECHNIQUE_MODEL_SIZE = 16 };

/* The newest switch; all but on is of it, empty if there never was one. */
struct technique_switch {
    bool on;       /* the site's prior is in use */
    int64_t at_ms; /* 0: nobody ever switched */
    char who[TECHNIQUE_WHO_SIZE];
    char model[TECHNIQUE_MODEL_SIZE]; /* PLAN_MODEL_VERSION of then */
    int64_t cases, ties, stretches;   /* that were learnt from */
    struct prior prior;               /* if on */
};

/* ERR_STORE: what is kept cannot be read. */
MUST_CHECK enum err technique_switch_get(struct db *db,
                                         struct technique_switch *out);

/*
 * technique_prior - the prior of this site, for a plan
 *
 * on   out: it is in use; else *out is not written
 * Learnt from fistulas: a graft is planned with the default.
 */
MUST_CHECK enum err technique_prior(struct db *db, struct prior *out, bool *on);

/* Stands for "site" where a plan's prior is asked for by name. */
extern const struct prior technique_site;

/*
 * technique_plan_prior - the prior that a plan uses
 *
 * asked  by a person; NULL: nobody asked, then the site's where it is in use
 *        and the access is no graft, else the default
 * site   room for the site's prior, to live as long as *out is used
 *
 * ERR_ABSENT  the site's was asked for, and none is in use
 */
MUST_CHECK enum err technique_plan_prior(struct db *db,
                                         const struct prior *asked, bool graft,
                                         struct prior *site,
                                         const struct prior **out);

/*
 * technique_adopt - a person switches the proposed prior on
 *
 * who       a name, for the record; not empty
 * evidence  what it was learnt from: "ACCESS/SECOND ..." of each case
 *
 * ERR_CONFLICT  t is not proposed
 * ERR_FORM      who is empty, or too long
 */
MUST_CHECK enum err technique_adopt(struct db *db, const struct technique *t,
                                    const char *who, const char *evidence,
                                    int64_t now_ms);

/* Back to the default.  Both mark every access for review: plans that stand in
 * Tasks follow.  ERR_ABSENT: the site's prior is not in use. */
MUST_CHECK enum err technique_drop(struct db *db, const char *who,
                                   int64_t now_ms);

#endif

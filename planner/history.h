/*
 * history - what the rules look at: one access, its readings, the date
 *
 * Also the two steps that every rule on a measured number shares: readings
 * of one dialysis session are one point, and points in a row make a run.
 */
#ifndef HEADGATE_PLANNER_HISTORY_H
#define HEADGATE_PLANNER_HISTORY_H

#include "planner/policy.h"
#include "planner/reading.h"

enum {
    HISTORY_READINGS_MAX = 16384,
    POINT_READINGS_MAX = 8, /* replicates, or raw values, kept by a point */
    POINTS_MAX = 512,
    RUN_POINTS_MAX = 16 /* newest points that a run keeps as evidence */
};

struct history {
    enum sign access_type; /* SIGN_TYPE_* */
    enum side side;
    bool inactive;    /* recorded as no longer in use */
    bool other_leads; /* what concerns the patient as a whole (dose) is said
                            at another access of his */
    bool is_central;  /* thigh or chest wall: no band is planned there */
    bool forearm;     /* known to lie in the forearm: fed at the wrist */
    int64_t born_s;   /* INT64_MIN: not known */
    int64_t now_s;
    int64_t loaded_from_s; /* readings before this may not have been loaded; 0:
                              all of the look-back were */
    const struct reading *readings; /* by start_s, then id, then slot */
    size_t count;                   /* at most HISTORY_READINGS_MAX */
};

/* One session's value. */
struct point {
    int64_t at_s;       /* start of its first reading */
    double value;       /* mean of the replicates */
    double least, most; /* of what was measured or computed; infinite where a
                           bound leaves it open.  Another value is put in
                           its place with point_put() */
    enum bound bound;
    enum method method;
    bool disagree; /* replicates differ by more than the policy allows:
                           least and most are judged in place of the value,
                           see run_astride() */
    bool restart;  /* an intervention lies between it and the point
                           before: a run does not cross it */
    bool again;    /* of the session of the point before it of its method
                           (bounds are not averaged, a point is full): it
                           cannot confirm that one */
    bool computed; /* from raw values of its session, not sent as a result */
    bool low_pressure; /* measured while the mean arterial pressure was known
                          to be well below the usual: does not confirm that
                          a flow is low */
    size_t reading_count;
    size_t readings[POINT_READINGS_MAX]; /* indices into history.readings */
};

/*
 * Do two readings belong to one session?  Within general.session_h of each
 * other; where only the day of one is known, on that day.
 */
bool readings_share_session(const struct policy *policy,
                            const struct reading *a, const struct reading *b);

/*
 * points_collect - valid points of one quantity, oldest first
 *
 * Valid: final or corrected, time known to the day or better, not within
 * the blanking period after an intervention (blank = true).  Replicates of
 * one method within one session (general.session_h, or the same day where
 * only the day is known) are averaged, but never across an intervention;
 * a bound (<, >) is never averaged and stands alone.  An intervention of the
 * same time as a reading comes before it, in whichever order they arrived.
 *
 * points  out: room for max
 * returns the number of points; the newest max are kept
 */
size_t points_collect(const struct history *h, const struct policy *policy,
                      enum quantity quantity, bool blank, struct point *points,
                      size_t max);

/*
 * points_mark - set restart and again of points that were put together from
 * several rows; oldest first
 */
void points_mark(const struct history *h, const struct policy *policy,
                 struct point *points, size_t count);

/* Put another value, on another scale, in the place of a point's: least and
 * most change in proportion. */
void point_put(struct point *p, double value);

/* A rule on a row of points: two in a row beyond a limit, say. */
struct run_rule {
    double limit;
    bool above;     /* true: at least the limit; false: below it */
    bool strict;    /* above: more than the limit, not at least */
    int readings;   /* points needed */
    int of_last;    /* of so many last ones, at most 8; 0: in a row */
    int window_d;   /* most days between two of them, whole days counted */
    int span_d;     /* and from the first to the last of those needed; 0: any */
    double apart_d; /* least days between the first and the last of a row */
    double hysteresis_pct;
    bool skip_low_pressure; /* pass over points of low pressure */
    bool alone;             /* what another method says does not end it */
};

struct run {
    bool on;
    size_t count; /* points beyond the limit, newest RUN_POINTS_MAX kept */
    size_t points[RUN_POINTS_MAX];
    int64_t off_s; /* when it last went off; 0 if never */
};

/*
 * run_walk - does the rule hold at the end of the points of one method?
 *
 * Goes on when rule->readings of the last rule->of_last points lie beyond the
 * limit, none of them more than window_d after the one before, and the first
 * of an unbroken row at least apart_d before the last.  Goes off when two
 * consecutive points lie hysteresis_pct inside the limit, or an intervention
 * restarts the series.  Points whose replicates lie on both sides of the limit
 * are passed over, and where the rule says so, those of low pressure.
 */
void run_walk(const struct run_rule *rule, const struct point *points,
              size_t count, enum method method, struct run *run);

/*
 * run_best - the run that holds now, over all methods
 *
 * Methods are never mixed within a run.  A run of one method does not hold
 * if a later-measured other method has since shown two consecutive points
 * inside the limit, unless the rule stands alone.  Returns false if none holds.
 */
bool run_best(const struct run_rule *rule, const struct point *points,
              size_t count, struct run *run);

/* Do two of its points lie within the rule's window of each other, with no
 * other value in between? */
bool run_confirmed(const struct run_rule *rule, const struct point *points,
                   const struct run *run);

/* Has its method since shown a value that is not beyond the limit? */
bool run_denied(const struct run_rule *rule, const struct point *points,
                size_t count, const struct run *run);

/* Does this point lie beyond the limit of the rule?  One whose replicates
 * disagree does if all of them do. */
bool run_beyond(const struct run_rule *rule, const struct point *p);

/* Do its replicates disagree, and lie on both sides of the limit?  Such a
 * point says nothing. */
bool run_astride(const struct run_rule *rule, const struct point *p);

/* Does it lie clearly on the good side, hysteresis_pct away from the limit; all
 * of its replicates, where they disagree? */
bool run_inside(const struct run_rule *rule, const struct point *p);

/* Has a method other than this one shown two points in a row inside the limit,
 * both after after_s? */
bool run_contradicted(const struct run_rule *rule, const struct point *points,
                      size_t count, enum method method, int64_t after_s);

/* Is this reading an intervention that starts a new stage of the access? */
bool reading_is_intervention(const struct reading *r);

#endif

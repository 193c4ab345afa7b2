/*
 * series_raw - raw values of a session, and the results computed from them;
 * private to the planner
 *
 * A raw value is used if it counts, its time is known to the day or better
 * and it is a number, not a bound.  Values go together within one session
 * and on one side of every intervention.  Urea before and after, and what
 * goes with it, stand at the two ends of a treatment, which may lie further
 * apart than general.session_h: they go together within general.apart_h,
 * the least time between values that count as of different sessions.
 */
#ifndef HEADGATE_PLANNER_SERIES_RAW_H
#define HEADGATE_PLANNER_SERIES_RAW_H

#include "planner/history.h"

enum {
    COMPUTED_MAX = 1024,
    RAW_REACH_S = 2 * DAY_S /* nothing further from a reading is of its
                               session */
};

/* One computed value. */
struct computed {
    double value;
    enum bound bound;
    enum method method;
    size_t reading_count;
    size_t readings[POINT_READINGS_MAX]; /* its time is that of the first */
};

/* The newest of them, by the time of the first reading of each. */
struct computed_list {
    size_t count;
    struct computed list[COMPUTED_MAX];
};

/* Is this a valid value of a quantity that may be computed with? */
bool raw_usable(const struct reading *r, enum quantity quantity);

/* All values of a quantity that can be computed by a formula of one session;
 * none for a quantity that has no such formula. */
void raw_compute(const struct history *h, const struct policy *policy,
                 enum quantity quantity, struct computed_list *out);

/* Standard Kt/V, from the points of the single-pool one (series_collect), the
 * treatment time, sessions a week and residual clearance. */
void series_standard(const struct history *h, const struct policy *policy,
                     struct computed_list *out);

/* Add one, in order of time; the oldest falls out when the list is full. */
void raw_keep(const struct history *h, struct computed_list *out,
              const struct computed *value);

/* Where readings are looked for. */
struct raw_source {
    const struct history *h;
    const struct policy *policy;
};

/* What a reading that goes with another must be. */
struct raw_wanted {
    enum quantity quantity;
    bool of_treatment; /* not only of the session */
    bool same_method, same_side;
    enum side not_side; /* of a known side that is not this one */
    bool not_later;     /* than the other */
    bool before_first;  /* one before is preferred to a nearer one after */
    /* if not NULL: it must be so */
    bool (*complete)(const struct raw_source *s, size_t index);
};

/*
 * raw_partner - the reading that goes with another: of the same resource, or
 * else the nearest in time; false if there is none
 */
bool raw_partner(const struct raw_source *s, size_t key,
                 const struct raw_wanted *w, size_t *index);

/* The reading of a quantity of the treatment of another, nearest to it;
 * false if there is none. */
bool raw_of_treatment(const struct history *h, const struct policy *policy,
                      size_t reading, enum quantity quantity, size_t *index);

/*
 * The mean pressure of the session of a reading, the nearest to it in time,
 * sent or from a cuff; its value and readings.  False if there is none, or if
 * the nearest is contradicted by the cuff of the same time.
 */
bool raw_pressure(const struct history *h, const struct policy *policy,
                  size_t reading, struct computed *out);

/* Was something done between two readings? */
bool raw_intervened(const struct history *h, size_t a, size_t b);

/* Of a urea sample after a treatment: is it not below the one before, whose
 * place is *pre?  Such a pair gives nothing. */
bool raw_is_impossible(const struct history *h, const struct policy *policy,
                       size_t post, size_t *pre);

#endif

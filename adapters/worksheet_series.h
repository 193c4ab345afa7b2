/*
 * worksheet_series - what the charts of the worksheet show, from the history
 *
 * Values of one quantity as marks, with what they may be used for; the lines
 * that may join them; what was done to the access; the limits that apply to
 * its type.  Nothing is drawn here, and nothing is said in words.
 *
 * Times are UTC seconds, values in the unit of the quantity.
 */
#ifndef HEADGATE_ADAPTERS_WORKSHEET_SERIES_H
#define HEADGATE_ADAPTERS_WORKSHEET_SERIES_H

#include "planner/rules.h"

enum {
    SHEET_EVENTS_MAX = 128, /* the newest are kept */
    SHEET_LIMITS_MAX = 4,
    SHEET_NO_POINT = -1
};

/* What a value is good for. */
enum sheet_use {
    SHEET_USED,    /* the rules look at it */
    SHEET_BLANKED, /* so soon after an intervention that they do not */
    SHEET_EARLY,   /* preliminary */
    SHEET_APART    /* values of its session contradict each other */
};

struct sheet_point {
    int64_t at_s;
    double value;
    double least, most; /* of what was measured in its session, finite */
    enum bound bound;
    enum method method;
    enum sheet_use use;
    size_t readings; /* that it is the mean of; 0: computed from others */
    size_t stage;    /* how many interventions lie before it */
    int before;      /* the point that a line leads from: of the same method and
                     stage, both used and no bounds; SHEET_NO_POINT */
};

struct sheet_series {
    enum quantity quantity;
    struct sheet_point *points; /* owned; by time */
    size_t count;
    size_t found;   /* how many there were before thinning */
    size_t undated; /* values of which only the month or year is known: they
                       have no place on a chart */
};

/*
 * sheet_series_make - all values of a quantity, see series_collect()
 *
 * out  to be cleared, also if it is empty
 *
 * ERR_MEMORY
 */
MUST_CHECK enum err sheet_series_make(const struct history *h,
                                      const struct policy *policy,
                                      enum quantity quantity,
                                      struct sheet_series *out);
void sheet_series_clear(struct sheet_series *s);

/*
 * sheet_series_thin - leave out what nobody could tell apart
 *
 * The time from from_s to to_s falls into columns of equal width.  Of the
 * values that share a column, a method, a use, a bound and a stage the first,
 * the last, the least and the greatest stay, so that no extreme is hidden.
 * Lines are drawn anew.
 */
void sheet_series_thin(struct sheet_series *s, int64_t from_s, int64_t to_s,
                       size_t columns);

enum sheet_deed {
    SHEET_CREATED,
    SHEET_OUTFLOW, /* opened, or treated */
    SHEET_INFLOW,
    SHEET_BANDED,
    SHEET_STRETCHED,
    SHEET_RELEASED,
    SHEET_CLOSED
};

/* What was done to the access; the steps of one kind within a day are one. */
struct sheet_event {
    int64_t at_s, last_s; /* of its first and its last step */
    enum precision precision;
    enum sheet_deed deed;
    double size_mm; /* dowel of the newest tie, or balloon; NAN */
    int steps;      /* ties or stretches that it puts together, at least 1 */
};

/* By time; the newest max.  before (if not NULL): how many older ones there
 * were no room for. */
size_t sheet_events(const struct history *h, struct sheet_event *list,
                    size_t max, size_t *before);

struct sheet_limit {
    enum rule rule;
    enum param row; /* of the policy */
    double value;   /* in the unit of the quantity */
    bool above;     /* the rule is about values above it, else below */
};

/* The limits on a quantity that apply to this type of access; of a type that is
 * not known, those that apply to both.  At most SHEET_LIMITS_MAX. */
size_t sheet_limits(const struct history *h, const struct policy *policy,
                    enum quantity quantity,
                    struct sheet_limit list[SHEET_LIMITS_MAX]);

#endif

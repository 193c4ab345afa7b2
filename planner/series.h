/*
 * series - the points of a quantity, whether it was sent or can be computed
 *
 * A unit sends results (a flow, a Kt/V, an index) or the raw values that they
 * are computed from (recirculation with reversed lines and pump flow; urea
 * before and after, time, volume removed and weight; finger and arm
 * pressures).  Here both become one row of points:
 *
 *     access flow             sent; or from recirculation with reversed lines
 *                             and pump flow (and ultrafiltration rate, if it
 *                             was sent); or from ionic dialysance
 *     mean pressure           sent; or from systolic and diastolic pressure
 *     static pressure ratio   sent; or static access pressure over mean
 *                             pressure; or from the venous pressure with the
 *                             pump off and the height of the chamber
 *     recirculation           sent
 *     Kt/V, single pool       sent; or from urea (or urea nitrogen) before
 *                             and after, time, volume removed, weight after
 *     Kt/V, standard          sent; or from the single-pool one, time,
 *                             sessions a week, and residual clearance
 *     urea reduction          sent; or from urea before and after
 *     index of the finger     sent; or finger pressure of the access arm over
 *                             the systolic pressure of the other arm
 *
 * Raw values go together within one session, those of urea within one
 * treatment (general.apart_h: the samples stand at its two ends), and never
 * across an intervention.  Where a session has both the result and the raw
 * values, the one sent stands if they agree within
 * general.computed_difference_pct, and the point says "disagree" if not:
 * contradictory values are kept and not used, but where both lie on the same
 * side of a limit (see run_astride()).
 *
 * Nothing is assumed: without the side of a systolic pressure there is no
 * index, and without the volume removed no Kt/V.  Where no ultrafiltration
 * rate was sent, a flow comes from the formula that leaves it out.  The
 * generation of urea is that of three sessions a week.  The volume of
 * distribution of urea is never known, so a standard Kt/V is that of a fixed
 * volume; where a residual clearance is known it is more than that, and the
 * point says "at least".
 */
#ifndef HEADGATE_PLANNER_SERIES_H
#define HEADGATE_PLANNER_SERIES_H

#include "planner/history.h"

/* So long a number of sessions a week, a residual clearance or a prescription
 * is taken to stand, days.  Proposed default without a direct source. */
#define SERIES_STANDING_D 180.0

/*
 * series_collect - the points of a quantity, as points_collect() gives them
 *
 * blank  leave out readings within the blanking period after an intervention
 * returns the number of points, oldest first; the newest max are kept
 */
size_t series_collect(const struct history *h, const struct policy *policy,
                      enum quantity quantity, bool blank, struct point *points,
                      size_t max);

/* A session whose values of one quantity contradict each other. */
struct contradiction {
    enum quantity quantity;
    struct point sent; /* what was sent; its value is the mean */
    bool impossible;   /* urea after a treatment that is not below the one
                          before: quantity is that after, raw the two */
    double computed;   /* from raw values, unit of the quantity; NAN: what was
                          sent several times differs among itself */
    size_t raw_count;
    size_t raw[POINT_READINGS_MAX]; /* indices into history.readings */
};

/*
 * series_contradictions - what is kept and not used, because a result and its
 * raw values, or replicates, disagree; of every quantity that can be computed
 *
 * since_s  of this time or later
 * returns how many, by quantity and then time; no more than max
 */
size_t series_contradictions(const struct history *h,
                             const struct policy *policy, int64_t since_s,
                             struct contradiction *list, size_t max);

/*
 * series_mark_low_pressure - set low_pressure of flow points
 *
 * The usual pressure is the median of the points of mean pressure before a
 * flow, of other sessions (the newest 12, and at least
 * general.pressure_usual_readings of them).  A flow is of low pressure if the
 * mean pressure of its session is known (the one nearest in time to it) and
 * more than general.pressure_fall_pct below that.
 */
void series_mark_low_pressure(const struct history *h,
                              const struct policy *policy, struct point *flow,
                              size_t count);

/* The mean pressure of the session of a reading, and the usual one before
 * it, mmHg; NAN where not known. */
void series_pressure_at(const struct history *h, const struct policy *policy,
                        size_t reading, double *mean_pressure_mmhg,
                        double *usual_pressure_mmhg);

/* The newest valid value of a quantity at or before at_s, and not more than
 * days before it; index is the reading's place (if not NULL).  NAN if none. */
double series_newest(const struct history *h, enum quantity quantity,
                     int64_t at_s, double days, size_t *index);

#endif

/* band - the band that is in place, and what was measured since; shared by
 * the rules after a band and private to the planner */
#ifndef HEADGATE_PLANNER_BAND_H
#define HEADGATE_PLANNER_BAND_H

#include "planner/rules_work.h"

/* Does this reading say that a band was placed? */
bool band_is_placing(const struct reading *r);

/* Did this reading come of one procedure, or session, with that one? */
bool band_is_one_procedure(const struct policy *policy, const struct reading *a,
                           const struct reading *b);

/*
 * band_find - the band in place, all but for_hand
 *
 * The newest placing counts, until it is released or the access is closed.
 * Readings of one procedure are one band: its time is the first of them that
 * is known to better than the day; where only the month is known, it is the
 * end of that, since what came before may have come before the band.
 */
void band_find(const struct history *h, const struct policy *policy,
               struct band *band);

/* When what holds now began: the band, its last change, or whatever else was
 * done to the access since. */
int64_t band_stage_s(const struct work *w);

/* Points of a quantity since from_s, blanked ones among them: the rules after
 * a band see the first days.  points: room for POINTS_MAX. */
size_t band_points(const struct work *w, enum quantity quantity, int64_t from_s,
                   struct point *points);

/* May this point be the first after a band, that later ones are compared
 * with?  Not one of the procedure itself: it tells of the anaesthesia. */
bool band_is_base(const struct history *h, const struct policy *policy,
                  const struct point *p);

/* The flows of a method from the first since from_s that may be compared
 * with; how many.  out: room for count. */
size_t band_flows(const struct work *w, int method, int64_t from_s,
                  const struct point *flow, size_t count, struct point *out);

/* Is the patient certainly younger?  Years are taken as the mean year of the
 * calendar, which is a day out at most. */
bool band_is_younger(const struct history *h, double age_y);

/* PB-2, PB-3, PB-4: rules_band_tight.c, rules_band_effect.c,
 * rules_band_rise.c. */
void band_too_tight(struct work *w);
void band_not_enough(struct work *w);
void band_flow_rising(struct work *w);

#endif

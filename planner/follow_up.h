/*
 * follow_up - the visits that are due after a band, and when
 *
 * The rows of [PB-1] in the policy say on which day after the band each visit
 * is due; what it asks for is here:
 *
 *     visit           row              asks for
 *     first session   first_session_d  thrill; pump flow, or pressure before
 *                                      the pump; hand
 *     early           early_d          flow, dose, hand, and the finger where
 *                                      the band was for the hand
 *     month           month_d          flow, dose, and the finger likewise
 *     quarter         quarter_d        flow, dose, hand
 *     half-year       half_year_d      flow
 *     later           interval_d       flow, every so many days, or every
 *                                      interval_close_d where the first flow
 *                                      after the band was above
 *                                      close_flow_ml_min, or the patient is
 *                                      known to be younger than close_age_y
 *
 * A visit has a window: window_pct per cent of its day (of the interval, for
 * the later ones) before and after the day on which it is due.  Where two
 * windows would overlap, the later one begins where the earlier one ends.
 *
 * What a visit asked for and nobody has recorded since the band is asked for
 * once more with the next one.
 *
 * What is recorded counts for one visit only: from the end of the window of the
 * visit before, the first one from the band, until the next window begins.  So
 * what comes before its window is early for it; but what the visit before still
 * lacked when its window ended completes that one, late, until the window of
 * this one begins.
 */
#ifndef HEADGATE_PLANNER_FOLLOW_UP_H
#define HEADGATE_PLANNER_FOLLOW_UP_H

#include "planner/history.h"

/* The next beginning or end of a window after h->now_s, UTC seconds;
 * INT64_MAX if no band is in place. */
int64_t follow_up_next(const struct history *h, const struct policy *policy);

#endif

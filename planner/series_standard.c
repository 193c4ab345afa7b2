/* Standard Kt/V, from what a single session gave and how many there are. */
#include "planner/adequacy.h"
#include "planner/series.h"
#include "planner/series_raw.h"

#include <math.h>

/* A treatment time of the session of a single-pool Kt/V. */
static bool treatment_time(const struct history *h, const struct policy *policy,
                           const struct point *p, size_t *index)
{
    for (size_t i = 0; i < p->reading_count; i++) {
        *index = p->readings[i];
        if (h->readings[*index].quantity == Q_TREATMENT_TIME)
            return true;
    }
    return raw_of_treatment(h, policy, p->readings[0], Q_TREATMENT_TIME, index);
}

/* Standard Kt/V of a week of such sessions, without residual clearance. */
static bool standard_of(const struct history *h, const struct policy *policy,
                        double spktv, double time_min, double sessions,
                        double *stdktv)
{
    enum ektv_form form = (enum ektv_form)policy_count(policy, P_AD1_EKTV);
    enum ektv_blood blood =
        h->access_type == SIGN_TYPE_CVC ? EKTV_VENOUS : EKTV_ARTERIOVENOUS;
    double ektv;

    /* three and a half a week is no number of sessions for the formula */
    if (!(sessions >= 1.0 && sessions <= 14.0 && floor(sessions) == sessions))
        return false;
    return adequacy_ektv(form, blood, spktv, time_min, &ektv) == ERR_OK &&
           adequacy_stdktv_fixed(ektv, time_min, (int)sessions, stdktv) ==
               ERR_OK;
}

/* The sessions a week and the residual clearance stand for longer than their
 * own day: they come last, so that the time of the value is its session's. */
static bool add_standing(const struct history *h, const struct policy *policy,
                         const struct point *p, struct computed *c)
{
    size_t last = p->readings[p->reading_count - 1], time, schedule, residual;
    int64_t at_s = h->readings[last].start_s;
    double sessions = series_newest(h, Q_SESSIONS_PER_WEEK, at_s,
                                    SERIES_STANDING_D, &schedule);
    double kru_ml_min = series_newest(h, Q_RESIDUAL_UREA_CLEARANCE, at_s,
                                      SERIES_STANDING_D, &residual);

    if (isnan(sessions) || !treatment_time(h, policy, p, &time) ||
        !standard_of(h, policy, p->value, h->readings[time].value, sessions,
                     &c->value))
        return false;
    c->readings[c->reading_count++] = time;
    c->readings[c->reading_count++] = schedule;
    if (kru_ml_min > 0.0) {
        c->readings[c->reading_count++] = residual;
        c->bound = BOUND_AT_LEAST;
    }
    return true;
}

void series_standard(const struct history *h, const struct policy *policy,
                     struct computed_list *out)
{
    struct point single[POINTS_MAX];
    size_t n = series_collect(h, policy, Q_SPKTV, false, single, POINTS_MAX);

    out->count = 0;
    for (size_t i = 0; i < n; i++) {
        const struct point *p = &single[i];
        struct computed c = { .method = p->method };

        if (p->disagree || p->bound != BOUND_NONE)
            continue;
        while (c.reading_count < p->reading_count &&
               c.reading_count < POINT_READINGS_MAX - 3) {
            c.readings[c.reading_count] = p->readings[c.reading_count];
            c.reading_count++;
        }
        if (add_standing(h, policy, p, &c))
            raw_keep(h, out, &c);
    }
}

/* What mean pressure is usual for the patient, and what it was at a flow. */
#include "planner/series.h"
#include "planner/series_raw.h"

#include <math.h>

enum { USUAL_SESSIONS = 12 /* newest ones that say what is usual */ };

/* Sent and computed pressures of a session contradict each other. */
static bool is_contradicted(const struct history *h, const struct point *p)
{
    for (size_t i = 0; i < p->reading_count; i++) {
        if (p->disagree && !p->computed &&
            h->readings[p->readings[i]].quantity != Q_MEAN_PRESSURE)
            return true;
    }
    return false;
}

/* Before this reading, and not of its session. */
static bool is_of_before(const struct history *h, const struct policy *policy,
                         const struct point *p, const struct reading *r)
{
    return (double)(r->start_s - p->at_s) >=
               policy_get(policy, P_APART_H) * HOUR_S &&
           !readings_share_session(policy, &h->readings[p->readings[0]], r);
}

/* The middle one of sorted values, or the mean of the middle two. */
static double median(const double *sorted, size_t count)
{
    return (sorted[(count - 1) / 2] + sorted[count / 2]) / 2.0;
}

/* Pressures swing within a session: that they do makes none of them wrong. */
static double usual_pressure(const struct history *h,
                             const struct policy *policy,
                             const struct point *mean, size_t count,
                             const struct reading *r)
{
    int least = policy_count(policy, P_PRESSURE_USUAL_READINGS);
    double sorted[USUAL_SESSIONS];
    size_t n = 0;

    for (size_t i = count; i-- > 0 && n < USUAL_SESSIONS;) {
        size_t at = n;

        if (mean[i].again || mean[i].bound != BOUND_NONE ||
            is_contradicted(h, &mean[i]) ||
            !is_of_before(h, policy, &mean[i], r))
            continue;
        for (; at > 0 && sorted[at - 1] > mean[i].value; at--)
            sorted[at] = sorted[at - 1];
        sorted[at] = mean[i].value;
        n++;
    }
    return n == 0 || n < (size_t)least ? NAN : median(sorted, n);
}

void series_mark_low_pressure(const struct history *h,
                              const struct policy *policy, struct point *flow,
                              size_t count)
{
    double share = 1.0 - policy_get(policy, P_PRESSURE_FALL_PCT) / 100.0;
    struct point mean[POINTS_MAX];
    size_t n;

    if (count == 0)
        return;
    n = series_collect(h, policy, Q_MEAN_PRESSURE, false, mean, POINTS_MAX);
    if (n == 0)
        return;
    for (size_t i = 0; i < count; i++) {
        const struct reading *r = &h->readings[flow[i].readings[0]];
        struct computed now;

        if (raw_pressure(h, policy, flow[i].readings[0], &now))
            flow[i].low_pressure =
                now.value < share * usual_pressure(h, policy, mean, n, r);
    }
}

void series_pressure_at(const struct history *h, const struct policy *policy,
                        size_t reading, double *mean_pressure_mmhg,
                        double *usual_pressure_mmhg)
{
    struct point mean[POINTS_MAX];
    size_t n =
        series_collect(h, policy, Q_MEAN_PRESSURE, false, mean, POINTS_MAX);
    struct computed now;

    *mean_pressure_mmhg =
        raw_pressure(h, policy, reading, &now) ? now.value : NAN;
    *usual_pressure_mmhg =
        usual_pressure(h, policy, mean, n, &h->readings[reading]);
}

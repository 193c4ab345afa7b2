/* readiness_work - what the files of readiness share; private to them */
#ifndef HEADGATE_PLANNER_READINESS_WORK_H
#define HEADGATE_PLANNER_READINESS_WORK_H

#include "planner/readiness.h"

/* One look at an access; what is asked again and again is kept. */
struct readiness_work {
    const struct history *h;
    const struct policy *policy;
    const struct findings *findings;
    int64_t intervention_s; /* newest; INT64_MIN if none */
};

static inline double readiness_get(const struct readiness_work *k, enum param p)
{
    return policy_get(k->policy, p);
}

static inline int64_t readiness_days_ago(const struct readiness_work *k,
                                         enum param days)
{
    return k->h->now_s - (int64_t)policy_count(k->policy, days) * DAY_S;
}

/* Sets compression and the pressures of the finger; returns whether it was
 * tested with and without. */
bool readiness_finger(const struct readiness_work *k, struct readiness *out);

#endif

/* plan_from_work - what the parts of plan_from share; private to
 * plan_from*.c */
#ifndef HEADGATE_PLANNER_PLAN_FROM_WORK_H
#define HEADGATE_PLANNER_PLAN_FROM_WORK_H

#include "planner/plan_from.h"

struct from_work {
    const struct history *h;
    const struct policy *policy;
    struct plan_from *out;
    int64_t since_s;     /* the access is as it is now since then; INT64_MIN */
    int64_t until_s;     /* first step of the case; INT64_MAX: none goes on */
    bool on_table;       /* a person says so of the newest session */
    int64_t case_from_s; /* what is older is not of the case; INT64_MAX */
    size_t step_count;
    size_t steps[PLAN_STAGES_MAX]; /* indices into history, oldest first */
    size_t flow_count;
    struct point flow[POINTS_MAX]; /* of all times, blanked ones among them */
};

/* Only the day of it is known, or less. */
static inline bool from_is_vague(const struct reading *r)
{
    return r->precision != AT_SECOND && r->precision != AT_PERIOD;
}

static inline double from_get(const struct from_work *w, enum param p)
{
    return policy_get(w->policy, p);
}

/* A number comes from this reading; full: it is not remembered. */
void from_rest_on(struct from_work *w, enum plan_use use, int stage,
                  size_t reading);

/* May this point be planned with: no bound, and not contradicted by the raw
 * values of its session? */
bool from_is_fit(const struct from_work *w, const struct point *p);

/* Do not go on from a refusal to a later one. */
void from_refuse(struct from_work *w, enum plan_offer offer);

/*
 * from_find_case - since_s, until_s, steps; refuses if their order, or a
 * size, is not known
 */
void from_find_case(struct from_work *w);

/* Is this reading one of its steps, or does it say once more that there was
 * one? */
bool from_is_of_case(const struct from_work *w, size_t index);

/* The band that was in place before the case, out->band; the case is known. */
void from_band(struct from_work *w);

/* The flows of a method in [from_s, to_s) into values, room for
 * PLAN_READS_MAX; how many. */
size_t from_flows(struct from_work *w, enum method method, int64_t from_s,
                  int64_t to_s, enum plan_use use, int stage, double *values);

/* The flows before the case, their method, how long they hold; refuses.
 * Returns the place of the first of them; h->count if there is none. */
size_t from_baseline(struct from_work *w);

/*
 * from_finger - the newest pressure of the finger in [from_s, to_s), of the
 * arm of the access, open; 0: none
 *
 * "Less than 20" is taken as 20, since it may warn; what was too low to be
 * measured (0) as 1 mmHg.
 */
double from_finger(struct from_work *w, int64_t from_s, int64_t to_s,
                   enum plan_use use, int stage);

/* If this point is not of the method of the baseline, its flows are not
 * used: count them. */
void from_count_other(struct from_work *w, const struct point *p);

/* The stages of the case; the method of the baseline is known. */
void from_stages(struct from_work *w);

/* All but flows: of the baseline whose first reading this is. */
void from_values(struct from_work *w, size_t baseline);

#endif

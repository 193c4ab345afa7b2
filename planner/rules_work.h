/* rules_work - what the evaluators of the rules share; private to rules*.c */
#ifndef HEADGATE_PLANNER_RULES_WORK_H
#define HEADGATE_PLANNER_RULES_WORK_H

#include "planner/rules.h"

/* One evaluation; the points are collected once. */
struct work {
    const struct history *h;
    const struct policy *policy;
    struct findings *out;
    size_t flow_count, hand_count;
    int64_t intervention_s; /* newest; INT64_MIN if none */
    struct point flow[POINTS_MAX];
    struct hand_point hand[HAND_POINTS_MAX];
};

static inline double work_get(const struct work *w, enum param p)
{
    return policy_get(w->policy, p);
}
static inline int work_count(const struct work *w, enum param p)
{
    return policy_count(w->policy, p);
}
static inline enum urgency work_urgency(const struct work *w, enum param p)
{
    return policy_urgency(w->policy, p);
}

/* A new, confirmed finding of this rule. */
struct finding *work_add(struct work *w, enum rule rule);

/* The finding of this rule, or NULL. */
const struct finding *work_find(const struct work *w, enum rule rule);

/* Too long ago to raise anything now (general.historic_d). */
bool work_is_old(const struct work *w, int64_t at_s);

/* Let a finding rest on a reading; its time is that of its newest one. */
void work_rest_on(const struct work *w, struct finding *f, size_t index);
void work_rest_on_point(const struct work *w, struct finding *f,
                        const struct point *p);
void work_rest_on_hand(const struct work *w, struct finding *f,
                       const struct hand_point *p);

/* The evaluators: each adds what it finds. */
void rules_high_flow(struct work *w);     /* HF-1, HF-2 */
void rules_cardiac_share(struct work *w); /* HF-3 */
void rules_low_flow(struct work *w);      /* LF-1, LF-2 */
void rules_hand(struct work *w);          /* IS-2 to IS-5 */
void rules_hand_and_flow(struct work *w); /* IS-6, IS-7; after the others */

#endif

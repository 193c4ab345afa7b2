/* rules_predicted_work - what the files of rules_predicted share; private to
 * them */
#ifndef HEADGATE_PLANNER_RULES_PREDICTED_WORK_H
#define HEADGATE_PLANNER_RULES_PREDICTED_WORK_H

#include "planner/plan_from.h"
#include "planner/rules_predicted.h"
#include "planner/rules_work.h"

struct predicting {
    const struct history *h;
    const struct policy *policy;
    struct findings *findings;
    const struct prior *prior; /* NULL: the default */
    struct plan_work *work;
    bool said;
};

static inline double predicted_get(const struct predicting *p, enum param row)
{
    return policy_get(p->policy, row);
}

enum { RISEN_MAX = 3 };

struct rising {
    struct point index;    /* as it was measured */
    struct plan_from from; /* as of then */
    size_t count;
    struct point now[RISEN_MAX]; /* the newest flows, newest first */
};

/* Nothing is known yet; PREDICTION_MISSING. */
struct prediction predicted_nothing(void);

/* What a plan's input says of flow, index and what refuses a band. */
void predicted_fill(const struct predicting *p, const struct plan_from *from,
                    struct prediction *out);

/* What the hand's part of the answer misses; the bits of a plan. */
unsigned predicted_missing(const struct plan_input *in);

/* The chances against the limits: at risk, or small. */
void predicted_judge(const struct predicting *p, struct prediction *x);

/* The input of a plan as of then. */
void predicted_as_of(const struct predicting *p, int64_t until_s,
                     struct plan_from *from);

/* One finding for both grounds: the more urgent one gives how soon.  rising:
 * NULL for an opening. */
void predicted_add(struct predicting *p, enum prediction_of of,
                   const struct plan_from *from, const struct rising *rising);

void predicted_rise(struct predicting *p);

#endif

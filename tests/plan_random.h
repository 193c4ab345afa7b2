/*
 * plan_random - questions of every kind, for tests that try many plans
 */
#ifndef HEADGATE_TESTS_PLAN_RANDOM_H
#define HEADGATE_TESTS_PLAN_RANDOM_H

#include "tests/plan_test.h"
#include "tests/random_kit.h"

/* A number that is known in so many of ten cases. */
static inline double plan_random_known(struct random *r, double chance,
                                       double least, double most)
{
    double x = random_within(r, least, most);

    return random_chance(r, chance) ? x : NAN;
}

static inline void plan_random_hand(struct random *r, struct plan_input *in)
{
    if (!random_chance(r, 0.35))
        return;
    in->ischaemia = true;
    in->index_open = plan_random_known(r, 0.8, 0.25, 0.65);
    /* what the hand gains by pressing the access shut */
    in->index_compressed = in->index_open + plan_random_known(r, 0.5, 0.2, 0.5);
    if (random_chance(r, 0.6))
        in->lead = PLAN_BY_HAND;
}

/* Own sizes, quarter millimetres in any order. */
static inline void plan_random_ladder(struct random *r, struct plan_input *in)
{
    if (!random_chance(r, 0.3))
        return;
    for (int quarter = 10; quarter <= 20; quarter++) {
        if (in->dowel_count < PLAN_DOWELS_MAX - 1 && random_chance(r, 0.6))
            in->dowels_mm[in->dowel_count++] = 0.25 * quarter;
    }
    for (size_t i = in->dowel_count; i > 1; i--) {
        size_t k = random_below(r, i);
        double kept = in->dowels_mm[i - 1];

        in->dowels_mm[i - 1] = in->dowels_mm[k];
        in->dowels_mm[k] = kept;
    }
}

/* Up to three stages, each with a plausible flow; a band in place at the end
 * or not. */
static inline void plan_random_stages(struct random *r, struct plan_input *in)
{
    double dowel_mm = 0.5 * (double)(7 + random_below(r, 4));
    size_t count = random_below(r, 4);

    for (size_t i = 0; i < count; i++) {
        double left = fmin(1.0, dowel_mm * random_within(r, 0.11, 0.18));
        double flow = fmax(left * in->flow_ml_min[0], 300.0);
        /* One call after the other: compilers order arguments as they like. */
        double first = flow * random_within(r, 0.95, 1.05);
        double second = random_chance(r, 0.7) ? flow : 0.0;
        struct plan_stage *s =
            plan_test_stage(in, PLAN_TIED, dowel_mm, first, second);

        if (i > 0 && random_chance(r, 0.15))
            s->step = PLAN_STRETCHED;
        if (i > 0 && random_chance(r, 0.1))
            s->step = PLAN_RELEASED;
        if (i > 0 && in->stages[i - 1].step == PLAN_RELEASED)
            s->step = PLAN_TIED;
        s->map_mmhg = plan_random_known(r, 0.6, 75.0, 110.0);
        dowel_mm -= 0.5;
    }
}

static inline struct plan_input plan_random_input(struct random *r)
{
    struct plan_input in = plan_test_input(random_log(r, 500.0, 5000.0));

    in.flow_ml_min[1] *= random_within(r, 0.9, 1.1);
    in.flow_count = 1 + random_below(r, 2);
    in.method =
        random_chance(r, 0.6) ? METHOD_ULTRASOUND_DILUTION : METHOD_DUPLEX;
    in.prior = random_chance(r, 0.5) ? &prior_default : &prior_reference;
    in.region = random_chance(r, 0.25) ? PLAN_WRIST : PLAN_ELBOW;
    in.graft = random_chance(r, 0.2);
    in.limits.floor_ml_min = in.graft ? 700.0 : 500.0;
    in.lead = random_chance(r, 0.6)   ? PLAN_BY_SHARE
              : random_chance(r, 0.5) ? PLAN_BY_WINDOW
                                      : PLAN_BY_REDUCTION;
    in.map_mmhg = plan_random_known(r, 0.8, 65.0, 120.0);
    in.map_lowest_mmhg = in.map_mmhg - plan_random_known(r, 0.4, 5.0, 20.0);
    in.cvp_mmhg = plan_random_known(r, 0.3, 2.0, 16.0);
    in.haematocrit_frac = plan_random_known(r, 0.4, 0.22, 0.45);
    in.conduit_mm = plan_random_known(r, 0.5, 5.5, 14.0);
    in.artery_mm = plan_random_known(r, 0.15, 4.5, 7.0);
    if (random_chance(r, 0.2)) {
        in.stenosis_frac = random_within(r, 0.4, 0.9);
        in.static_mmhg = plan_random_known(r, 0.7, 15.0, 45.0);
    }
    plan_random_hand(r, &in);
    plan_random_ladder(r, &in);
    if (random_chance(r, 0.5))
        plan_random_stages(r, &in);
    return in;
}

#endif

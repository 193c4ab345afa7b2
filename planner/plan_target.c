/* What a plan steers to, and how far a flow is from it. */
#include "planner/plan_work.h"

#include <math.h>

/* On the scale on which a tie costs 0.1 (A): the zone is what counts, how far
 * it was missed by and the floor come on top. */
#define LOSS_MISSED   3.0
#define LOSS_PER_FRAC 2.0 /* 0.2 for each tenth of the baseline */
#define LOSS_FLOOR    5.0

static double floor_of(const struct plan_input *in)
{
    double pump = in->prescribed_pump_ml_min + in->limits.pump_margin_ml_min;

    return pump > in->limits.floor_ml_min ? pump : in->limits.floor_ml_min;
}

static void by_share(const struct plan_limits *l, double baseline_ml_min,
                     struct plan_target *t)
{
    t->low_ml_min = l->share_low * baseline_ml_min;
    t->high_ml_min = l->share_high * baseline_ml_min;
    if (t->high_ml_min > l->cap_ml_min) {
        t->high_ml_min = l->cap_ml_min;
        t->low_ml_min = l->cap_low_ml_min;
        t->relative = false;
    }
}

bool plan_target_set(const struct plan_input *in, double baseline_ml_min,
                     struct plan_target *t)
{
    const struct plan_limits *l = &in->limits;

    *t = (struct plan_target){ .lead = in->lead,
                               .relative = true,
                               .floor_ml_min = floor_of(in),
                               .index_least = l->index_least,
                               .pressure_least_mmhg = l->pressure_least_mmhg };
    if (t->lead == PLAN_BY_HAND && !isfinite(in->index_open))
        t->lead = PLAN_BY_SHARE;
    switch (t->lead) {
    case PLAN_BY_SHARE:
        by_share(l, baseline_ml_min, t);
        break;
    case PLAN_BY_WINDOW:
        t->low_ml_min = l->window_low_ml_min;
        t->high_ml_min = l->window_high_ml_min;
        t->relative = false;
        break;
    case PLAN_BY_REDUCTION:
        t->low_ml_min = (1.0 - in->reduction_high_frac) * baseline_ml_min;
        t->high_ml_min = (1.0 - in->reduction_low_frac) * baseline_ml_min;
        break;
    case PLAN_BY_HAND:
        t->low_ml_min = t->floor_ml_min;
        t->high_ml_min = baseline_ml_min;
        t->relative = false;
        break;
    }
    if (t->low_ml_min < t->floor_ml_min) {
        t->low_ml_min = t->floor_ml_min;
        t->relative = false;
    }
    t->low_frac = 1.0 - t->high_ml_min / baseline_ml_min;
    t->high_frac = 1.0 - t->low_ml_min / baseline_ml_min;
    return t->low_ml_min < t->high_ml_min && t->low_ml_min < baseline_ml_min;
}

static double above_zero(double x)
{
    return x > 0.0 ? x : 0.0;
}

struct plan_verdict plan_judge(const struct plan_target *t,
                               double baseline_ml_min, double q0_ml_min,
                               double bias, double flow_ml_min, double index)
{
    double read = flow_ml_min * bias;
    double r = t->relative ? 1.0 - flow_ml_min / q0_ml_min
                           : 1.0 - read / baseline_ml_min;
    struct plan_verdict v = {
        .below_floor = read<t->floor_ml_min, .too_tight = r> t->high_frac,
        .short_frac = above_zero(t->low_frac - r),
        .over_frac = above_zero(r - t->high_frac)
    };

    v.in_zone = r >= t->low_frac && !v.too_tight;
    if (t->lead == PLAN_BY_HAND) {
        v.short_frac = above_zero(t->index_least - index);
        v.in_zone = index >= t->index_least && !v.too_tight;
    }
    return v;
}

double plan_loss(const struct plan_verdict *v)
{
    return (v->in_zone ? 0.0 : LOSS_MISSED) +
           LOSS_PER_FRAC * (v->short_frac + v->over_frac) +
           (v->below_floor ? LOSS_FLOOR : 0.0);
}

/* What opening an outflow lesion would do, to the flow and to the hand. */
#include "planner/plan_work.h"

#include <math.h>

#define RELIEF      0.9 /* bounds: part of the lesion's loss that goes (A) */
#define SHARE_MOST  0.7 /* of the whole pressure that a lesion takes (C) */
#define AFTER_USUAL 0.2 /* stenosis that is left (common practice) */

/* How the losses of a lesion change with its diameter: the linear part with the
 * fourth power, the quadratic one as behind a sudden widening as well. */
static void factors(const struct plan_input *in, double *r, double *k)
{
    double after = isfinite(in->stenosis_after_frac)
                       ? in->stenosis_after_frac
                       : fmin(AFTER_USUAL, in->stenosis_frac);
    double b0 = 1.0 - in->stenosis_frac, b1 = 1.0 - after;
    double ratio = b0 / b1, wide = (1.0 - b1 * b1) / (1.0 - b0 * b0);

    *r = ratio * ratio * ratio * ratio;
    *k = *r * wide * wide;
}

static double mean_share(const struct plan_work *w)
{
    const struct particles *p = &w->p;
    double sum = 0.0;

    for (size_t i = 0; i < p->n; i++)
        sum += p->w[i] * p->lesion[i] / (p->map[i] - p->cvp[i]);
    return sum;
}

static void bounds(struct plan_outflow *o)
{
    double share = isfinite(o->lesion_frac) ? o->lesion_frac : SHARE_MOST;
    double left = 1.0 - RELIEF * share;

    o->surge_least = isfinite(o->lesion_frac) ? 1.0 / sqrt(left) : 1.0;
    o->surge_most = 1.0 / left;
}

static struct plan_range read_range(struct plan_work *w)
{
    for (size_t i = 0; i < w->p.n; i++)
        w->value[i] = w->at.flow[i] * w->p.bias[i];
    return particles_range(w->value, w->p.w, w->p.n);
}

/* Chance that the index falls below the limit, and that it falls by more. */
static void index_risk(struct plan_work *w, double *low, double *falls)
{
    const struct particles *p = &w->p;
    const struct plan_limits *l = &w->in->limits;

    for (size_t i = 0; i < p->n; i++)
        w->value[i] = particles_index(p, &w->at, i);
    *low = plan_chance(p, w->value, l->risk_index);
    for (size_t i = 0; i < p->n; i++)
        w->value[i] -= particles_index(p, &w->open, i);
    *falls = plan_chance(p, w->value, -l->risk_fall);
}

static void opened(struct plan_work *w, struct plan_outflow *o)
{
    const struct plan_limits *l = &w->in->limits;

    o->flow_ml_min = read_range(w);
    o->hand_pressure_mmhg = particles_range(w->at.hand, w->p.w, w->p.n);
    o->index = plan_index_range(w, &w->at);
    for (size_t i = 0; i < w->p.n; i++)
        w->value[i] = w->at.flow[i] / w->open.flow[i];
    o->surge = particles_range(w->value, w->p.w, w->p.n);
    index_risk(w, &o->p_index_low, &o->p_index_falls);
    o->flagged = o->p_index_low > l->risk_index_most ||
                 o->p_index_falls > l->risk_fall_most;
}

/* Sizes for after the opening: one that holds the flow where it was, and the
 * first one for the zone of the flow that is then expected. */
static void size_after(struct plan_work *w, const struct setting *setting,
                       struct plan_outflow *o)
{
    const struct plan_limits *l = &w->in->limits;
    struct plan_target target;
    double nearest = INFINITY, after = o->flow_ml_min.p50;
    bool zone = plan_target_set(w->in, after, &target);

    for (size_t d = 0; d < w->dowel_count; d++) {
        struct plan_range flow;
        double off, tight = 0.0;

        particles_tie(&w->p, w->in->prior, w->dowel_mm[d], w->ties, w->lumen);
        particles_solve(&w->p, w->lumen, setting, &w->at);
        flow = read_range(w);
        off = fabs(log(flow.p50 / w->plan->baseline_ml_min));
        if (off < nearest) {
            nearest = off;
            o->holding_dowel_mm = w->dowel_mm[d];
            o->holding_flow_ml_min = flow;
            o->holding_index = plan_index_range(w, &w->at);
            index_risk(w, &o->holding_p_index_low, &o->holding_p_index_falls);
            read_range(w);
        }
        for (size_t i = 0; i < w->p.n; i++)
            w->value[i] = w->at.flow[i] * w->p.bias[i];
        tight = plan_chance(&w->p, w->value, target.low_ml_min);
        if (zone && tight <= l->tight_most &&
            plan_chance(&w->p, w->value, target.floor_ml_min) <=
                l->floor_first_most)
            o->zone_dowel_mm = w->dowel_mm[d];
    }
}

void plan_opening(struct plan_work *w)
{
    const struct plan_input *in = w->in;
    const struct plan_range none = { NAN, NAN, NAN };
    const struct plan_outflow unknown = {
        .lesion_frac = NAN,
        .surge_least = NAN,
        .surge_most = NAN,
        .flow_ml_min = none,
        .surge = none,
        .hand_pressure_mmhg = none,
        .index = none,
        .index_before = none,
        .p_index_low = NAN,
        .p_index_falls = NAN,
        .holding_dowel_mm = NAN,
        .zone_dowel_mm = NAN,
        .holding_flow_ml_min = none,
        .holding_index = none,
        .holding_p_index_low = NAN,
        .holding_p_index_falls = NAN,
    };
    struct plan_outflow *o = &w->plan->outflow;
    struct setting setting = { .lesion_changed = true };

    *o = unknown;
    o->known = in->stenosis_frac > 0.0;
    if (!o->known)
        return;
    o->by_pressure = isfinite(in->static_mmhg);
    if (o->by_pressure)
        o->lesion_frac = mean_share(w);
    bounds(o);
    o->index_before = plan_index_range(w, &w->open);
    if (!o->by_pressure)
        return;
    factors(in, &setting.r_factor, &setting.k_factor);
    particles_solve(&w->p, NULL, &setting, &w->at);
    opened(w, o);
    if (o->flagged)
        w->plan->warnings |= PLAN_HAND_AT_RISK;
    size_after(w, &setting, o);
}

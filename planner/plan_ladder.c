/* The ladder: what each size would do if it were tied next. */
#include "planner/plan_work.h"

#include <math.h>

double plan_chance(const struct particles *p, const double *value, double below)
{
    double lane[LANES] = { 0 };

    for (size_t i = 0; i < p->n; i += LANES) {
        for (size_t k = 0; k < LANES; k++)
            lane[k] += value[i + k] < below ? p->w[i + k] : 0.0;
    }
    return ((lane[0] + lane[4]) + (lane[1] + lane[5])) +
           ((lane[2] + lane[6]) + (lane[3] + lane[7]));
}

struct plan_range plan_index_range(struct plan_work *w, const struct outlook *o)
{
    const struct particles *p = &w->p;

    for (size_t i = 0; i < p->n; i++)
        w->value[i] = particles_index(p, o, i);
    return particles_range(w->value, p->w, p->n);
}

static struct plan_range percent(struct plan_range r)
{
    return (struct plan_range){ 100.0 * r.p05, 100.0 * r.p50, 100.0 * r.p95 };
}

static void chances(struct plan_work *w, struct plan_rung *r)
{
    const struct particles *p = &w->p;
    double loss = 0.0;

    for (size_t i = 0; i < p->n; i++) {
        double index = particles_index(p, &w->at, i);
        struct plan_verdict v =
            plan_judge(&w->plan->target, w->plan->baseline_ml_min, p->q0[i],
                       p->bias[i], w->at.flow[i], index);

        r->p_in_zone += v.in_zone ? p->w[i] : 0.0;
        r->p_too_tight += v.too_tight ? p->w[i] : 0.0;
        r->p_below_floor += v.below_floor ? p->w[i] : 0.0;
        r->p_index_low += index < w->plan->target.index_least ? p->w[i] : 0.0;
        loss += p->w[i] * plan_loss(&v);
    }
    r->loss = loss;
}

/* The textbook figure: flow with the fourth power of the diameter, dowel over
 * conduit, as if the access were nothing but a narrow tube. */
static double fourth_power(const struct plan_work *w, double dowel_mm)
{
    double conduit_mm = 0.0, ratio;

    for (size_t i = 0; i < w->p.n; i++)
        conduit_mm += w->p.w[i] * w->p.conduit[i];
    ratio = dowel_mm / conduit_mm;
    ratio = ratio < 1.0 ? ratio : 1.0;
    return w->plan->baseline_ml_min * ratio * ratio * ratio * ratio;
}

static void at_lowest_pressure(struct plan_work *w, struct plan_rung *r)
{
    const struct plan_input *in = w->in;
    struct setting low = { .map_shift_mmhg =
                               in->map_lowest_mmhg - in->map_mmhg };

    r->hand_lowest_mmhg = (struct plan_range){ NAN, NAN, NAN };
    if (!isfinite(low.map_shift_mmhg))
        return;
    particles_solve(&w->p, w->lumen, &low, &w->at);
    r->hand_lowest_mmhg = particles_range(w->at.hand, w->p.w, w->p.n);
}

static void rung(struct plan_work *w, size_t d, struct plan_rung *r)
{
    const struct particles *p = &w->p;
    double dowel_mm = w->dowel_mm[d];
    const struct setting plain = { 0 };

    *r = (struct plan_rung){ .dowel_mm = dowel_mm };
    particles_tie(p, w->in->prior, dowel_mm, w->ties, w->lumen);
    particles_solve(p, w->lumen, &plain, &w->at);
    for (size_t i = 0; i < p->n; i++)
        w->value[i] = w->at.flow[i] * p->bias[i];
    r->flow_ml_min = particles_range(w->value, p->w, p->n);
    for (size_t i = 0; i < p->n; i++)
        w->value[i] = 1.0 - w->at.flow[i] / p->q0[i];
    r->reduction_pct = percent(particles_range(w->value, p->w, p->n));
    r->hand_pressure_mmhg = particles_range(w->at.hand, p->w, p->n);
    r->index = plan_index_range(w, &w->at);
    chances(w, r);
    plan_keep(w, w->log_flow[1 + d], w->index[d]);
    r->fourth_power_ml_min = fourth_power(w, dowel_mm);
    at_lowest_pressure(w, r);
}

void plan_ladder(struct plan_work *w)
{
    w->plan->rung_count = w->dowel_count;
    for (size_t d = 0; d < w->dowel_count; d++)
        rung(w, d, &w->plan->rungs[d]);
}

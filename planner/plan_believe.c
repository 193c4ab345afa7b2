/* The moments of the particles: what is believed, for looking ahead. */
#include "planner/plan_work.h"

#include <math.h>

static bool hand_leads(const struct plan_work *w)
{
    return w->plan->target.lead == PLAN_BY_HAND;
}

void plan_keep(struct plan_work *w, double *log_flow, double *index)
{
    for (size_t i = 0; i < w->p.n; i++)
        log_flow[i] = log(w->at.flow[i] * w->p.bias[i]);
    for (size_t i = 0; hand_leads(w) && i < w->p.n; i++)
        index[i] = particles_index(&w->p, &w->at, i);
}

static double *values_of(struct plan_work *w, int variable)
{
    return variable < LOOK_INDEX    ? w->log_flow[variable - LOOK_BASE]
           : variable < LOOK_STAND  ? w->index[variable - LOOK_INDEX]
           : variable == LOOK_STAND ? w->stand_log_flow
                                    : w->stand_index;
}

/* Sum of weight * x * y in fixed lanes. */
static double moment(const struct particles *p, const double *x,
                     const double *y)
{
    double s[LANES] = { 0 };

    for (size_t i = 0; i < p->n; i += LANES) {
        for (size_t k = 0; k < LANES; k++)
            s[k] += p->w[i + k] * x[i + k] * y[i + k];
    }
    return ((s[0] + s[4]) + (s[1] + s[5])) + ((s[2] + s[6]) + (s[3] + s[7]));
}

/* Take the mean out of the values of a variable, and keep it. */
static void centre(struct plan_work *w, int variable)
{
    double *x = values_of(w, variable), s[LANES] = { 0 }, mean;

    for (size_t i = 0; i < w->p.n; i += LANES) {
        for (size_t k = 0; k < LANES; k++)
            s[k] += w->p.w[i + k] * x[i + k];
    }
    mean = ((s[0] + s[4]) + (s[1] + s[5])) + ((s[2] + s[6]) + (s[3] + s[7]));
    w->belief.mean[variable] = mean;
    for (size_t i = 0; i < w->p.n; i++)
        x[i] -= mean;
}

static void moments(struct plan_work *w)
{
    int place[LOOK_VARIABLES];
    size_t n = look_variables(&w->look, place);

    for (size_t i = 0; i < n; i++)
        centre(w, place[i]);
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k <= i; k++) {
            double c =
                moment(&w->p, values_of(w, place[i]), values_of(w, place[k]));

            w->belief.cov[place[i]][place[k]] = c;
            w->belief.cov[place[k]][place[i]] = c;
        }
    }
}

/* What one knot to the next does to a dowel: the same particles with it, as the
 * ladder left them, and without. */
static void dowel(struct plan_work *w, size_t d)
{
    const struct setting plain = { 0 };
    const struct particles *p = &w->p;
    double *log_flow = w->log_flow[1 + d], *index = w->index[d];
    double flow = 0.0, finger = 0.0, both = 0.0;

    particles_tie(p, w->in->prior, w->dowel_mm[d], NO_KNOT, w->lumen);
    particles_solve(p, w->lumen, &plain, &w->at);
    for (size_t i = 0; i < p->n; i++) {
        double x = log(w->at.flow[i] * p->bias[i]), df = log_flow[i] - x;

        log_flow[i] = x;
        flow += p->w[i] * df * df;
        if (hand_leads(w)) {
            double at = particles_index(p, &w->at, i), di = index[i] - at;

            index[i] = at;
            finger += p->w[i] * di * di;
            both += p->w[i] * df * di;
        }
    }
    w->look.knot_flow[d] = flow;
    w->look.knot_index[d] = finger;
    w->look.knot_both[d] = both;
}

/* The gain of stretching what stands, in log flow. */
static void stretch(struct plan_work *w)
{
    const struct setting plain = { 0 };
    struct particles *p = &w->p;
    double mean = 0.0, square = 0.0;

    w->look.may_stretch = w->banded && w->stretches < PLAN_STRETCHES_MAX;
    if (!w->look.may_stretch)
        return;
    particles_stretch(p, w->in->prior, w->stretches, w->lumen);
    particles_solve(p, w->lumen, &plain, &w->at);
    for (size_t i = 0; i < p->n; i++) {
        double gain = log(w->at.flow[i] * p->bias[i]) - w->stand_log_flow[i];

        mean += p->w[i] * gain;
        square += p->w[i] * gain * gain;
    }
    w->look.stretch_mean = mean;
    w->look.stretch_var = square - mean * mean;
}

void plan_believe(struct plan_work *w)
{
    const struct setting plain = { 0 };
    struct particles *p = &w->p;

    w->look.target = &w->plan->target;
    w->look.log_baseline = log(w->plan->baseline_ml_min);
    w->look.log_floor = log(w->plan->target.floor_ml_min);
    w->look.log_least = log(1.0 - w->plan->target.high_frac);
    w->look.log_most = log(1.0 - w->plan->target.low_frac);
    w->look.dowel_count = w->dowel_count;
    w->look.floor_most = w->in->limits.floor_most;
    w->look.sigma = w->cv / sqrt(2.0);
    w->look.costs = w->costs;
    for (size_t i = 0; i < p->n; i++)
        w->log_flow[0][i] = log(p->q0[i] * p->bias[i]);
    for (size_t d = 0; d < w->dowel_count; d++)
        dowel(w, d);
    particles_solve(p, w->banded ? p->stand : NULL, &plain, &w->at);
    plan_keep(w, w->stand_log_flow, w->stand_index);
    stretch(w);
    moments(w);
}

/* The moments of the particles: what is believed, for looking ahead. */
#include "planner/plan_work.h"

#include <math.h>

/* The last state solved, as log flow and index of each particle. */
static void keep(struct plan_work *w, double *log_flow, double *index)
{
    for (size_t i = 0; i < w->p.n; i++) {
        log_flow[i] = log(w->at.flow[i] * w->p.bias[i]);
        if (index != NULL)
            index[i] = particles_index(&w->p, &w->at, i);
    }
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

/* What one knot to the next does to a dowel: the same particles with and
 * without it. */
static void knots(struct plan_work *w, size_t d)
{
    const struct particles *p = &w->p;
    double flow = 0.0, index = 0.0, both = 0.0;

    for (size_t i = 0; i < p->n; i++) {
        double df = log(w->at.flow[i] * p->bias[i]) - w->log_flow[1 + d][i];
        double di = particles_index(p, &w->at, i) - w->index[d][i];

        flow += p->w[i] * df * df;
        index += p->w[i] * di * di;
        both += p->w[i] * df * di;
    }
    w->look.knot_flow[d] = flow;
    w->look.knot_index[d] = index;
    w->look.knot_both[d] = both;
}

static void dowel(struct plan_work *w, size_t d)
{
    const struct setting plain = { 0 };

    particles_tie(&w->p, w->in->prior, w->dowel_mm[d], NO_KNOT, w->lumen);
    particles_solve(&w->p, w->lumen, &plain, &w->at);
    keep(w, w->log_flow[1 + d], w->index[d]);
    particles_tie(&w->p, w->in->prior, w->dowel_mm[d], w->ties, w->lumen);
    particles_solve(&w->p, w->lumen, &plain, &w->at);
    knots(w, d);
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
    keep(w, w->stand_log_flow, w->stand_index);
    stretch(w);
    moments(w);
}

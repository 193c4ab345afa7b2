/* The moments of the particles: what is believed, for looking ahead. */
#include "planner/plan_work.h"

#include <math.h>
#include <string.h>

#define NEAR_LEAST 15.0 /* particles that a belief needs at least (A) */

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

static double lane_sum(const double s[LANES])
{
    return ((s[0] + s[4]) + (s[1] + s[5])) + ((s[2] + s[6]) + (s[3] + s[7]));
}

/* Sum of weight * x * y, and of weight * x, in fixed lanes. */
static double product(const double *restrict weight, const double *restrict x,
                      const double *restrict y, size_t n)
{
    double s[LANES] = { 0 };

    for (size_t i = 0; i < n; i += LANES) {
        for (size_t k = 0; k < LANES; k++)
            s[k] += weight[i + k] * x[i + k] * y[i + k];
    }
    return lane_sum(s);
}

static double mean_of(const double *restrict weight, const double *restrict x,
                      size_t n)
{
    double s[LANES] = { 0 };

    for (size_t i = 0; i < n; i += LANES) {
        for (size_t k = 0; k < LANES; k++)
            s[k] += weight[i + k] * x[i + k];
    }
    return lane_sum(s);
}

/* Take the mean out of the values of a variable, and keep it. */
static void centre(struct plan_work *w, int variable)
{
    double *x = values_of(w, variable);
    double mean = mean_of(w->p.w, x, w->p.n);

    w->centre[variable] = mean;
    for (size_t i = 0; i < w->p.n; i++)
        x[i] -= mean;
}

/* Means and covariances by these weights, whose sum is 1, of values that are
 * centred. */
static void moments(struct plan_work *w, const double *weight, struct belief *b)
{
    int place[LOOK_VARIABLES];
    size_t n = look_variables(&w->look, place);
    double off[LOOK_VARIABLES];

    for (size_t i = 0; i < n; i++) {
        off[i] = mean_of(weight, values_of(w, place[i]), w->p.n);
        b->mean[place[i]] = w->centre[place[i]] + off[i];
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k <= i; k++) {
            double c = product(weight, values_of(w, place[i]),
                               values_of(w, place[k]), w->p.n) -
                       off[i] * off[k];

            b->cov[place[i]][place[k]] = b->cov[place[k]][place[i]] = c;
        }
    }
}

static void centre_all(struct plan_work *w)
{
    int place[LOOK_VARIABLES];
    size_t n = look_variables(&w->look, place);

    for (size_t i = 0; i < n; i++)
        centre(w, place[i]);
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
    memset(w->look.barred, 0, sizeof(w->look.barred));
    w->look.sigma = w->cv / sqrt(2.0);
    w->look.costs = w->costs;
    for (size_t i = 0; i < p->n; i++)
        w->log_flow[0][i] = log(p->q0[i] * p->bias[i]);
    for (size_t d = 0; d < w->dowel_count; d++)
        dowel(w, d);
    particles_solve(p, w->banded ? p->stand : NULL, &plain, &w->at);
    plan_keep(w, w->stand_log_flow, w->stand_index);
    stretch(w);
    centre_all(w);
    moments(w, p->w, &w->belief);
}

void plan_believe_tie(struct plan_work *w, int dowel)
{
    const struct setting plain = { 0 };
    int place[LOOK_VARIABLES];
    size_t n = look_variables(&w->look, place);

    particles_tie(&w->p, w->in->prior, w->dowel_mm[dowel], w->ties, w->lumen);
    particles_solve(&w->p, w->lumen, &plain, &w->at);
    plan_keep(w, w->stand_log_flow, w->stand_index);
    for (size_t i = 0; i < n; i++) {
        if (place[i] >= LOOK_STAND)
            centre(w, place[i]);
    }
    moments(w, w->p.w, &w->belief);
}

bool plan_believe_read(struct plan_work *w, double flow_ml_min, double sigma,
                       struct belief *b)
{
    const struct particles *p = &w->p;
    double y = log(flow_ml_min) - w->centre[LOOK_STAND], square, whole;

    for (size_t i = 0; i < p->n; i++) {
        double t = (y - w->stand_log_flow[i]) / sigma;
        double x = 1.0 + t * t / PARTICLES_STUDENT_DF;

        w->value[i] = p->w[i] / (x * x * x); /* (df + 1) / 2 is 3 */
    }
    whole = mean_of(w->value, w->one, p->n);
    square = product(w->one, w->value, w->value, p->n);
    if (!(whole * whole > NEAR_LEAST * square))
        return false;
    for (size_t i = 0; i < p->n; i++)
        w->value[i] /= whole;
    moments(w, w->value, b);
    return true;
}

/* What was measured weighs the particles. */
#include "planner/flow.h"
#include "planner/particles.h"

#include <math.h>

#define IMPOSSIBLE_MOST 0.5 /* of the weight (A) */
/* Duplex, within a session: Huisman 2005 (F); dilution the same source.  Where
 * the method is not stated it may be either. */
#define CV_UNSTATED 0.116

double particles_cv(enum method method)
{
    const struct flow_precision *row;

    if (flow_precision_of(method, &row) == ERR_OK && row->within_cv_pct > 0.0)
        return row->within_cv_pct / 100.0;
    return CV_UNSTATED;
}

double particles_log_mean(const double *read_ml_min, size_t count)
{
    double sum = 0.0;

    for (size_t i = 0; i < count; i++)
        sum += log(read_ml_min[i]);
    return sum / (double)count;
}

/* A sum in fixed lanes, so that every build adds in the same order. */
static double lane_sum(const double lane[LANES])
{
    return ((lane[0] + lane[4]) + (lane[1] + lane[5])) +
           ((lane[2] + lane[6]) + (lane[3] + lane[7]));
}

double particles_weigh(struct particles *p)
{
    double most = p->logw[0], sum[LANES] = { 0 }, square[LANES] = { 0 };
    double total, beyond = 0.0;

    for (size_t i = 1; i < p->n; i++)
        most = p->logw[i] > most ? p->logw[i] : most;
    for (size_t i = 0; i < p->n; i += LANES) {
        for (size_t k = 0; k < LANES; k++) {
            double x =
                p->logw[i + k] == most ? 1.0 : exp(p->logw[i + k] - most);

            p->w[i + k] = x;
            sum[k] += x;
            square[k] += x * x;
        }
    }
    total = lane_sum(sum);
    for (size_t i = 0; i < p->n; i++) {
        p->w[i] /= total;
        beyond += p->impossible[i] ? p->w[i] : 0.0;
    }
    return beyond > IMPOSSIBLE_MOST ? 0.0 : total * total / lane_sum(square);
}

void particles_observe(struct particles *p, const struct outlook *o,
                       const double *read_ml_min, size_t count, double cv,
                       double *tail)
{
    double y = particles_log_mean(read_ml_min, count), low = 0.0, temper;
    double scale = cv / sqrt((double)count);

    for (size_t i = 0; i < p->n; i++)
        low += log(o->flow[i] * p->bias[i]) <= y ? p->w[i] : 0.0;
    *tail = low;
    /* Far outside what was predicted: believe it by half. */
    temper = low >= 0.01 && low <= 0.99 ? 1.0 : 0.5;
    for (size_t i = 0; i < p->n; i++) {
        double t = (y - log(o->flow[i] * p->bias[i])) / scale;

        p->logw[i] -= temper * 0.5 * (PARTICLES_STUDENT_DF + 1.0) *
                      log(1.0 + t * t / PARTICLES_STUDENT_DF);
    }
}

void particles_observe_index(struct particles *p, const struct outlook *o,
                             double index)
{
    for (size_t i = 0; i < p->n; i++) {
        double t = (index - particles_index(p, o, i)) / PARTICLES_INDEX_SD;

        p->logw[i] -= 0.5 * t * t;
    }
}

/* The hand at a flow that has risen since its index was measured. */
#include "planner/plan_rise.h"

#include "planner/plan_work.h"

#include <math.h>
#include <string.h>

#define EFFECTIVE_LEAST 150.0 /* as of a plan: below it chance rules (A) */
#define DRIVE_LEAST     0.01 /* of the pressure, left to drive the access (A) */
#define IMPOSSIBLE      1000.0 /* log weight: such a guess counts for nothing */
#define POSSIBLE_LEAST  0.05   /* of the guesses, by weight (A) */
/* The error of the flows of now: a dimension that only a band would use. */
#define DIM_READ_NOW 16

/* What is asked of each guess. */
struct rise {
    double log_mean, read_sd; /* of the flows of now */
    double shift_mmhg;        /* of the arterial pressure since then */
};

/* The state of one guess at the flow of now, into w->at; false: an access
 * without any resistance would not let so much through. */
static bool settle(struct plan_work *w, const struct rise *r, size_t i)
{
    struct particles *p = &w->p;
    double z = lattice_z(p->lattice, DIM_READ_NOW, i);
    double q = exp(r->log_mean + r->read_sd * z) / p->bias[i];
    double map = p->map[i] + r->shift_mmhg, drop = map - p->cvp[i];
    double share = p->rh[i] / (p->rc[i] + p->rh[i]);
    double source = p->cvp[i] + drop * share, rp = p->rc[i] * share;
    double rth = p->rd[i] + rp, rs = p->rf[i] + rth;
    double push = map - source + rth * q;
    double qf = 2.0 * push / (rs + sqrt(rs * rs + 4.0 * p->kf[i] * push));
    double distal = qf - q;

    w->at.flow[i] = q;
    w->at.map[i] = map;
    w->at.pa[i] = source + rth * distal;
    w->at.hand[i] = source + rp * distal;
    return w->at.pa[i] - p->cvp[i] > DRIVE_LEAST * drop;
}

/* Returns whether enough guesses are left; *share: effective part of them. */
static bool put_together(struct plan_work *w, const struct lattice *lattice,
                         const struct rise *r, double *share)
{
    const struct setting plain = { 0 };
    struct particles *p = &w->p;
    double effective, possible = 0.0;

    particles_build(p, lattice, w->in);
    effective = particles_weigh(p);
    particles_solve(p, NULL, &plain, &w->open);
    for (size_t i = 0; i < p->n; i++) {
        if (settle(w, r, i))
            possible += p->w[i];
        else
            p->logw[i] -= IMPOSSIBLE;
    }
    if (possible >= POSSIBLE_LEAST)
        effective = particles_weigh(p);
    *share = effective / (double)p->n;
    return possible >= POSSIBLE_LEAST && effective >= EFFECTIVE_LEAST;
}

static void judge(struct plan_work *w, struct plan_rise *out)
{
    const struct plan_limits *l = &w->in->limits;
    const struct particles *p = &w->p;

    out->index_before = plan_index_range(w, &w->open);
    out->hand_before_mmhg = particles_range(w->open.hand, p->w, p->n);
    out->hand_mmhg = particles_range(w->at.hand, p->w, p->n);
    out->index = plan_index_range(w, &w->at);
    for (size_t i = 0; i < p->n; i++)
        w->value[i] = particles_index(p, &w->at, i);
    out->p_index_low = plan_chance(p, w->value, l->risk_index);
    for (size_t i = 0; i < p->n; i++)
        w->value[i] -= particles_index(p, &w->open, i);
    out->p_index_falls = plan_chance(p, w->value, -l->risk_fall);
    out->flagged = out->p_index_low > l->risk_index_most ||
                   out->p_index_falls > l->risk_fall_most;
}

static bool is_usable(const struct plan_input *in, const double *flow_ml_min,
                      size_t count, double map_mmhg)
{
    struct plan_input now = *in;
    struct plan_fault fault;

    if (count == 0 || count > PLAN_READS_MAX || in->stage_count > 0 ||
        !isfinite(in->index_open) || plan_check(in, &fault) != ERR_OK)
        return false;
    memcpy(now.flow_ml_min, flow_ml_min, count * sizeof(*flow_ml_min));
    now.flow_count = count;
    if (isfinite(map_mmhg)) {
        now.map_mmhg = map_mmhg;
        now.map_lowest_mmhg = NAN;
    }
    return plan_check(&now, &fault) == ERR_OK;
}

enum err plan_rise(const struct plan_input *in, const double *flow_ml_min,
                   size_t count, double map_mmhg, struct plan_work *work,
                   struct plan_rise *out)
{
    struct plan_rise none = { .index = { NAN, NAN, NAN } };
    struct rise r = { .shift_mmhg = 0.0 };

    if (!is_usable(in, flow_ml_min, count, map_mmhg))
        return ERR_RANGE;
    r.log_mean = particles_log_mean(flow_ml_min, count);
    r.read_sd = particles_cv(in->method) / sqrt((double)count);
    if (isfinite(map_mmhg) && isfinite(in->map_mmhg))
        r.shift_mmhg = map_mmhg - in->map_mmhg;
    none.index_before = none.hand_before_mmhg = none.hand_mmhg = none.index;
    *out = none;
    work->in = in;
    out->conflict = !put_together(work, &work->usual, &r, &out->sample_share) &&
                    !put_together(work, &work->large, &r, &out->sample_share);
    if (!out->conflict)
        judge(work, out);
    return ERR_OK;
}

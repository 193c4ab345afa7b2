/* A finished case gone through again, on guesses of the arm. */
#include "planner/technique_work.h"

#include <math.h>

#define EFFECTIVE_LEAST 150.0 /* as of a plan (A) */

/* How far the replay has come. */
struct replay {
    struct technique_work *w;
    const struct plan_input *in;
    size_t ties, stretches;
    bool banded;
    double cv;
};

static void do_step(struct replay *r, const struct plan_stage *stage)
{
    struct particles *p = &r->w->p;

    switch (stage->step) {
    case PLAN_TIED:
        particles_tie(p, &r->w->wide, stage->dowel_mm, r->ties++, p->stand);
        r->banded = true;
        break;
    case PLAN_STRETCHED:
        particles_stretch(p, &r->w->wide, r->stretches++, p->stand);
        break;
    case PLAN_RELEASED:
        for (size_t i = 0; i < p->n; i++)
            p->stand[i] = p->conduit[i];
        r->banded = false;
        break;
    }
}

/* As the stages of a plan are replayed; returns the effective number. */
static double replay_stage(struct replay *r, const struct plan_stage *stage)
{
    struct technique_work *w = r->w;
    struct setting setting = { 0 };
    double tail;

    if (isfinite(stage->map_mmhg) && isfinite(r->in->map_mmhg)) {
        setting.map_shift_mmhg = stage->map_mmhg - r->in->map_mmhg;
        setting.map_fixed = true;
    }
    do_step(r, stage);
    particles_solve(&w->p, r->banded ? w->p.stand : NULL, &setting, &w->at);
    if (stage->flow_count > 0)
        particles_observe(&w->p, &w->at, stage->flow_ml_min, stage->flow_count,
                          r->cv, &tail);
    if (isfinite(stage->index))
        particles_observe_index(&w->p, &w->at, stage->index);
    return particles_weigh(&w->p);
}

static double replay(struct technique_work *w, const struct plan_input *in,
                     const struct lattice *lattice)
{
    struct replay r = { .w = w, .in = in, .cv = particles_cv(in->method) };
    double effective;

    particles_build(&w->p, lattice, in);
    effective = particles_weigh(&w->p);
    for (size_t i = 0; i < in->stage_count; i++)
        effective = replay_stage(&r, &in->stages[i]);
    return effective;
}

/* ---- what a guess says ------------------------------------------------------ */

/* Was a flow measured while this tie or stretch was in place? */
static bool is_measured(const struct plan_input *in, size_t stage)
{
    for (size_t i = stage; i < in->stage_count; i++) {
        if (i > stage && in->stages[i].step != PLAN_STRETCHED)
            return false;
        if (in->stages[i].flow_count > 0)
            return true;
    }
    return false;
}

/* The dimensions of the sample are those of particles.h. */
static double knot_of(const struct technique_work *w, size_t tie, size_t i)
{
    unsigned dimension = (unsigned)(tie < 4 ? 16 + tie : 17 + tie);

    return w->wide.knot_sd_mm * lattice_z(w->p.lattice, dimension, i);
}

static double stretch_of(const struct technique_work *w, const struct cut *gain,
                         size_t stretch, size_t i)
{
    unsigned dimension = (unsigned)(stretch == 0 ? 20 : 24 + stretch);

    return cut_at(gain, lattice_u(w->p.lattice, dimension, i));
}

static double square(double x)
{
    return x * x;
}

static struct guess guess_of(const struct technique_work *w,
                             const struct plan_input *in,
                             const struct cut *gain, size_t i, double logw)
{
    double offset = w->p.offset[i], knots = 0.0, sum = 0.0, both = 0.0;
    const struct prior_normal *wide = &w->wide.offset_mm;
    size_t ties = 0, stretches = 0;

    logw += 0.5 * square((offset - wide->mean) / wide->sd);
    for (size_t s = 0; s < in->stage_count; s++) {
        const struct plan_stage *stage = &in->stages[s];
        bool measured = is_measured(in, s);

        if (stage->step == PLAN_TIED) {
            double knot = knot_of(w, ties++, i);

            knots += measured ? knot * knot : 0.0;
        } else if (stage->step == PLAN_STRETCHED) {
            double x = stretch_of(w, gain, stretches++, i);

            sum += measured ? x : 0.0;
            both += measured ? x * x : 0.0;
            logw += measured ? 0.5 * square((x - gain->mean) / gain->sd) : 0.0;
        }
    }
    logw += 0.5 * knots / square(w->wide.knot_sd_mm);
    return (struct guess){ (float)offset, (float)knots, (float)sum, (float)both,
                           (float)logw };
}

static void keep_all(const struct technique_work *w,
                     const struct plan_input *in, const struct cut *gain,
                     struct guess *out)
{
    double most = w->p.logw[0];

    for (size_t i = 1; i < w->p.n; i++)
        most = w->p.logw[i] > most ? w->p.logw[i] : most;
    for (size_t i = 0; i < w->p.n; i++)
        out[i] = guess_of(w, in, gain, i, w->p.logw[i] - most);
}

/* Of a larger sample: as many as there is room for, at even steps of the sum of
 * the weights, each then of equal weight. */
static void keep_some(const struct technique_work *w,
                      const struct plan_input *in, const struct cut *gain,
                      struct guess *out)
{
    double sum = w->p.w[0];
    size_t i = 0;

    for (size_t k = 0; k < GUESSES; k++) {
        double at = ((double)k + 0.5) / GUESSES;

        while (sum < at && i + 1 < w->p.n)
            sum += w->p.w[++i];
        out[k] = guess_of(w, in, gain, i, 0.0);
    }
}

static void count_measured(const struct plan_input *in,
                           struct technique_evidence *e)
{
    e->ties = e->stretches = 0;
    for (size_t s = 0; s < in->stage_count; s++) {
        if (!is_measured(in, s))
            continue;
        e->ties += in->stages[s].step == PLAN_TIED;
        e->stretches += in->stages[s].step == PLAN_STRETCHED;
    }
}

static const struct technique_evidence technique_nothing = { .baseline_ml_min =
                                                                 NAN,
                                                             .flow_ml_min = NAN,
                                                             .dowel_mm = NAN,
                                                             .offset_mm = NAN,
                                                             .offset_sd_mm =
                                                                 NAN,
                                                             .part = NAN,
                                                             .effective = NAN };

struct technique_evidence technique_unused(enum technique_use use)
{
    struct technique_evidence e = technique_nothing;

    e.use = use;
    return e;
}

void technique_describe(const struct plan_input *in,
                        struct technique_evidence *e)
{
    *e = technique_nothing;
    e->baseline_ml_min =
        exp(particles_log_mean(in->flow_ml_min, in->flow_count));
    for (size_t s = 0; s < in->stage_count; s++) {
        const struct plan_stage *stage = &in->stages[s];

        if (stage->step == PLAN_TIED)
            e->dowel_mm = stage->dowel_mm;
        if (stage->flow_count > 0)
            e->flow_ml_min =
                exp(particles_log_mean(stage->flow_ml_min, stage->flow_count));
    }
    count_measured(in, e);
}

bool technique_replay(struct technique_work *w, const struct plan_input *in,
                      struct guess *out)
{
    struct cut gain = cut_of(&w->wide.stretch_mm);

    if (replay(w, in, &w->usual) >= EFFECTIVE_LEAST) {
        keep_all(w, in, &gain, out);
        return true;
    }
    if (!(replay(w, in, &w->large) >= EFFECTIVE_LEAST))
        return false;
    keep_some(w, in, &gain, out);
    return true;
}

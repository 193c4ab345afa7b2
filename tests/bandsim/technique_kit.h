/*
 * technique_kit - finished cases of a site whose technique is known
 *
 * Virtual patients of truth.h, banded by the fixed protocol: a dowel, then
 * half a millimetre less until the flow measured is at most half of what it
 * was.  No planner has a part in it, as at a site that begins with one.
 */
#ifndef HEADGATE_TESTS_BANDSIM_TECHNIQUE_KIT_H
#define HEADGATE_TESTS_BANDSIM_TECHNIQUE_KIT_H

#include "planner/particles.h"
#include "tests/bandsim/truth.h"

#include <math.h>

#define KIT_CV 0.077 /* of a reading by dilution, within a session */

/* The technique of a site: as the default but for its offset. */
static inline struct prior kit_site(double offset_mm, double sd_mm)
{
    struct prior site = prior_default;

    site.offset_mm.mean = offset_mm;
    site.offset_mm.sd = sd_mm;
    return site;
}

static inline double kit_read(const struct truth *t, double flow_ml_min,
                              int stage, int k)
{
    return flow_ml_min * t->bias * exp(t->noise[stage][k]);
}

static inline struct plan_stage *kit_step(struct plan_input *in,
                                          enum plan_step step, double dowel_mm)
{
    struct plan_stage *stage = &in->stages[in->stage_count++];

    *stage = (struct plan_stage){
        .step = step, .dowel_mm = dowel_mm, .map_mmhg = NAN, .index = NAN
    };
    return stage;
}

/* The lumen is that of the stage; reads flows of it. */
static inline double kit_measure(const struct truth *t, double lumen_mm,
                                 int stage, int reads, struct plan_stage *out)
{
    double flow = truth_flow(t, lumen_mm);

    for (int k = 0; k < reads; k++)
        out->flow_ml_min[out->flow_count++] = kit_read(t, flow, stage, k);
    return exp(particles_log_mean(out->flow_ml_min, out->flow_count));
}

/* What is known before the first tie: two flows of the table, and a MAP. */
static inline void kit_baseline(const struct truth *t, int reads,
                                struct plan_input *in)
{
    plan_input_init(in);
    in->method = METHOD_ULTRASOUND_DILUTION;
    in->map_mmhg = 95.0;
    in->on_table = true;
    for (int k = 0; k < reads; k++)
        in->flow_ml_min[in->flow_count++] =
            kit_read(t, t->q0_ml_min, TRUTH_STAGES, k);
}

/*
 * kit_case - the n-th finished case of a site, from a seed of its own
 *
 * overdone: where the reduction went beyond 60 per cent the band is stretched,
 * and measured again, so that something is learnt of that as well
 */
static inline void kit_case(const struct prior *site, uint64_t seed, uint64_t n,
                            bool overdone, struct plan_input *in)
{
    static const double flows[] = { 1500, 2500, 3500 };
    struct truth_world world = { .baseline_ml_min = flows[n % 3],
                                 .offset_mm = NAN,
                                 .contraction = NAN,
                                 .quadratic = NAN,
                                 .read_cv = KIT_CV,
                                 .technique = site };
    double dowel = n % 3 == 0 ? 3.5 : 4.0, base, left = 0.0, lumen = 0.0;
    struct truth t;

    truth_draw(&world, seed, n, &t);
    kit_baseline(&t, 2, in);
    base = exp(particles_log_mean(in->flow_ml_min, in->flow_count));
    for (; dowel > 2.75; dowel -= 0.5) {
        int stage = (int)in->stage_count;

        lumen = truth_lumen(&t, dowel, stage);
        left =
            kit_measure(&t, lumen, stage, 2, kit_step(in, PLAN_TIED, dowel)) /
            base;
        if (left <= 0.5)
            break;
    }
    if (overdone && left < 0.4) {
        int stage = (int)in->stage_count;

        lumen = fmin(lumen + t.stretch_mm[stage], 0.98 * t.conduit_mm);
        (void)kit_measure(&t, lumen, stage, 2,
                          kit_step(in, PLAN_STRETCHED, NAN));
    }
}

/* One tie, and two flows after it. */
static inline struct plan_input kit_simple(double before, double dowel,
                                           double after)
{
    struct plan_input in;
    struct plan_stage *stage;

    plan_input_init(&in);
    in.method = METHOD_ULTRASOUND_DILUTION;
    in.map_mmhg = 95.0;
    in.on_table = true;
    in.flow_ml_min[0] = before * 1.02;
    in.flow_ml_min[1] = before / 1.02;
    in.flow_count = 2;
    stage = kit_step(&in, PLAN_TIED, dowel);
    stage->flow_ml_min[0] = after * 1.02;
    stage->flow_ml_min[1] = after / 1.02;
    stage->flow_count = 2;
    return in;
}

#endif

#include "planner/plan.h"

#include "planner/plan_work.h"

#include <math.h>
#include <string.h>

#define TAIL_LEAST      0.01
#define EFFECTIVE_LEAST 150.0 /* below it quantiles are a matter of luck (A) */
#define STAGES_SEEN     4     /* knots beyond this have not been seen (A) */

static const double ladder_usual_mm[] = { 5.0, 4.5, 4.0, 3.5, 3.0 };
static const double ladder_hand_mm = 2.5; /* added for ischaemia */

size_t plan_work_size(void)
{
    return sizeof(struct plan_work);
}

void plan_work_init(struct plan_work *work)
{
    lattice_init(&work->usual, PARTICLES_USUAL);
    lattice_init(&work->large, PARTICLES_MAX);
    for (size_t i = 0; i < PARTICLES_ROOM; i++)
        work->one[i] = 1.0;
    work->ties_ahead = LOOK_TIES;
    work->may_again = true;
    /* Proposed (A): a tie is what the operator spends least willingly, a
     * reading takes a minute or two. */
    work->costs = (struct look_costs){
        .tie = 0.25, .loosen = 0.35, .stretch = 0.8, .read = 0.015
    };
}

/* ---- what goes in --------------------------------------------------------- */

static void take_ladder(struct plan_work *w)
{
    const struct plan_input *in = w->in;
    const double *from = in->dowel_count > 0 ? in->dowels_mm : ladder_usual_mm;
    size_t count =
        in->dowel_count > 0 ? in->dowel_count : COUNT(ladder_usual_mm);

    w->dowel_count = 0;
    for (size_t i = 0; i < count; i++)
        w->dowel_mm[w->dowel_count++] = from[i];
    if (in->dowel_count == 0 && in->ischaemia)
        w->dowel_mm[w->dowel_count++] = ladder_hand_mm;
    for (size_t i = 1; i < w->dowel_count; i++) {
        double x = w->dowel_mm[i];
        size_t k = i;

        for (; k > 0 && w->dowel_mm[k - 1] < x; k--)
            w->dowel_mm[k] = w->dowel_mm[k - 1];
        w->dowel_mm[k] = x;
    }
}

static unsigned missing_of(const struct plan_input *in)
{
    const struct {
        bool missing;
        unsigned bit;
    } rows[] = {
        { !isfinite(in->map_mmhg), PLAN_NO_MAP },
        { !isfinite(in->cvp_mmhg), PLAN_NO_CVP },
        { !isfinite(in->haematocrit_frac), PLAN_NO_HAEMATOCRIT },
        { !isfinite(in->conduit_mm), PLAN_NO_CONDUIT },
        { !isfinite(in->artery_mm), PLAN_NO_ARTERY },
        { !isfinite(in->index_open), PLAN_NO_INDEX },
        { !isfinite(in->index_compressed), PLAN_NO_INDEX_COMPRESSED },
        { in->stenosis_frac > 0.0 && !isfinite(in->static_mmhg),
          PLAN_NO_STATIC },
        { in->flow_count < 2, PLAN_NO_REPEAT },
        { !in->on_table, PLAN_NO_TABLE },
        { !isfinite(in->map_lowest_mmhg), PLAN_NO_LOWEST_MAP },
        { in->method == METHOD_UNSTATED, PLAN_NO_METHOD },
    };
    unsigned set = 0;

    for (size_t i = 0; i < COUNT(rows); i++)
        set |= rows[i].missing ? rows[i].bit : 0;
    for (size_t i = 0; i < in->stage_count; i++)
        set |= isfinite(in->stages[i].map_mmhg) ? 0 : PLAN_NO_STAGE_MAP;
    return set;
}

/* The range of so many readings, in standard deviations of one, that chance
 * exceeds in 5 of 100: the studentised range of infinitely many degrees of
 * freedom; of two 1.96 * sqrt(2) (C). */
static const double apart_sds[PLAN_READS_MAX + 1] = { 0,    0,    2.77,
                                                      3.31, 3.63, 3.86,
                                                      4.03, 4.17, 4.29 };

static bool are_apart(const double *read, size_t count, double cv)
{
    double low = INFINITY, high = 0.0;

    for (size_t i = 0; i < count; i++) {
        low = read[i] < low ? read[i] : low;
        high = read[i] > high ? read[i] : high;
    }
    return count > 1 && count <= PLAN_READS_MAX &&
           log(high / low) > apart_sds[count] * cv;
}

static unsigned warnings_of(const struct plan_work *w)
{
    const struct plan_input *in = w->in;
    unsigned set = 0;

    if (are_apart(in->flow_ml_min, in->flow_count, w->cv))
        set |= in->flow_count == 2 ? PLAN_READS_APART : PLAN_BASELINE_APART;
    if (isfinite(in->index_compressed) &&
        in->index_compressed < in->limits.index_least)
        set |= PLAN_DISTAL;
    if (in->stenosis_frac > 0.0)
        set |= PLAN_OUTFLOW_FIRST;
    if (!in->on_table)
        set |= PLAN_PROVISIONAL;
    if (in->graft)
        set |= PLAN_GRAFT_PRIOR;
    if (in->other_method)
        set |= PLAN_OTHER_METHOD;
    if (in->lead == PLAN_BY_HAND && !isfinite(in->index_open))
        set |= PLAN_HAND_BY_FLOW;
    set |= w->alarm.hand_worse ? PLAN_HAND_WORSE : 0;
    set |= w->alarm.hand_low ? PLAN_HAND_LOW : 0;
    set |= w->alarm.pressure_off ? PLAN_PRESSURE_OFF : 0;
    return set;
}

/* ---- what was done and measured ------------------------------------------- */

bool plan_is_outside(double tail)
{
    return !(tail >= TAIL_LEAST && tail <= 1.0 - TAIL_LEAST);
}

static void see(struct plan_work *w, const struct plan_stage *stage,
                struct plan_seen *seen)
{
    struct particles *p = &w->p;

    for (size_t i = 0; i < p->n; i++)
        w->value[i] = w->at.flow[i] * p->bias[i];
    *seen = (struct plan_seen){ .measured_ml_min = NAN,
                                .reduction_pct = NAN,
                                .predicted_ml_min =
                                    particles_range(w->value, p->w, p->n),
                                .tail = NAN };
    if (stage->flow_count == 0)
        return;
    seen->measured_ml_min =
        exp(particles_log_mean(stage->flow_ml_min, stage->flow_count));
    seen->reduction_pct =
        100.0 * (1.0 - seen->measured_ml_min / w->plan->baseline_ml_min);
    if (seen->measured_ml_min < w->plan->target.floor_ml_min)
        w->must_loosen = true;
    particles_observe(p, &w->at, stage->flow_ml_min, stage->flow_count, w->cv,
                      &seen->tail);
    if (plan_is_outside(seen->tail))
        w->plan->warnings |= PLAN_OUTSIDE;
    if (stage->flow_count == 2 &&
        are_apart(stage->flow_ml_min, stage->flow_count, w->cv))
        w->plan->warnings |= PLAN_READS_APART;
}

static void do_step(struct plan_work *w, const struct plan_stage *stage)
{
    struct particles *p = &w->p;

    switch (stage->step) {
    case PLAN_TIED:
        particles_tie(p, w->in->prior, stage->dowel_mm, w->ties++, p->stand);
        w->banded = true;
        w->standing_mm = stage->dowel_mm;
        w->stretched = 0;
        break;
    case PLAN_STRETCHED:
        particles_stretch(p, w->in->prior, w->stretches++, p->stand);
        w->stretched++;
        break;
    case PLAN_RELEASED:
        for (size_t i = 0; i < p->n; i++)
            p->stand[i] = p->conduit[i];
        w->banded = false;
        w->standing_mm = NAN;
        w->stretched = 0;
        break;
    }
    w->last_reads = stage->flow_count;
    w->must_loosen = stage->weak_thrill;
}

/* One step, and what was measured after it. */
static void replay_stage(struct plan_work *w, const struct plan_stage *stage,
                         struct plan_seen *seen)
{
    struct setting setting = { 0 };

    if (isfinite(stage->map_mmhg) && isfinite(w->in->map_mmhg)) {
        setting.map_shift_mmhg = stage->map_mmhg - w->in->map_mmhg;
        setting.map_fixed = true;
    }
    do_step(w, stage);
    particles_solve(&w->p, w->banded ? w->p.stand : NULL, &setting, &w->at);
    see(w, stage, seen);
    if (isfinite(stage->index))
        particles_observe_index(&w->p, &w->at, stage->index);
}

/* Returns the effective number of particles. */
static double replay(struct plan_work *w, const struct lattice *lattice)
{
    struct plan *plan = w->plan;
    double effective;

    w->ties = w->stretches = w->stretched = w->last_reads = 0;
    w->banded = w->must_loosen = false;
    w->standing_mm = NAN;
    particles_build(&w->p, lattice, w->in);
    effective = particles_weigh(&w->p);
    plan->seen_count = w->in->stage_count;
    for (size_t i = 0; i < w->in->stage_count; i++) {
        replay_stage(w, &w->in->stages[i], &plan->seen[i]);
        effective = particles_weigh(&w->p);
    }
    plan->sample_count = lattice->n;
    plan->sample_share = effective / (double)lattice->n;
    return effective;
}

/* ---- the plan ------------------------------------------------------------- */

static void start(const struct plan_input *in, struct plan_work *w,
                  struct plan *plan)
{
    memset(plan, 0, sizeof(*plan));
    w->in = in;
    w->plan = plan;
    w->cv = particles_cv(in->method);
    w->alarm = plan_alarm_of(in);
    take_ladder(w);
    plan->baseline_ml_min =
        exp(particles_log_mean(in->flow_ml_min, in->flow_count));
    plan->missing = missing_of(in);
    plan->warnings = warnings_of(w);
    plan->first_dowel_mm = plan->card_dowel_mm = plan->next_dowel_mm = NAN;
    plan->next = PLAN_REMEASURE;
    if (!plan_target_set(in, plan->baseline_ml_min, &plan->target))
        plan->warnings |= PLAN_ZONE_EMPTY;
}

/* Does the model give the index that was measured? */
static bool index_fits(const struct plan_work *w)
{
    const struct plan_range *r = &w->plan->index_now;
    double index = w->in->index_open;

    return !isfinite(index) || (index >= r->p05 - PARTICLES_INDEX_SD &&
                                index <= r->p95 + PARTICLES_INDEX_SD);
}

static void hand_now(struct plan_work *w)
{
    const struct setting plain = { 0 };

    particles_solve(&w->p, NULL, &plain, &w->open);
    w->plan->hand_now_mmhg = particles_range(w->open.hand, w->p.w, w->p.n);
    w->plan->index_now = plan_index_range(w, &w->open);
    if (w->in->stage_count == 0 && !index_fits(w))
        w->plan->warnings |= PLAN_STRAINED;
}

static bool has_advice(const struct plan *plan)
{
    return (plan->warnings & (PLAN_CONFLICT | PLAN_ZONE_EMPTY | PLAN_DISTAL)) ==
           0;
}

static void advise(const struct plan_input *in, struct plan_work *w,
                   struct plan *plan)
{
    start(in, w, plan);
    if (replay(w, &w->usual) < EFFECTIVE_LEAST) {
        unsigned warnings = plan->warnings;

        if (replay(w, &w->large) < EFFECTIVE_LEAST)
            plan->warnings = warnings | PLAN_CONFLICT;
    }
    if (w->ties > STAGES_SEEN)
        plan->warnings |= PLAN_MANY_STAGES;
    plan_ladder(w);
    if (has_advice(plan)) {
        plan_believe(w);
        plan_decide(w);
        return;
    }
    if (w->banded && w->must_loosen)
        plan_loosen(w);
    plan_heed(w);
}

void plan_advise(const struct plan_input *in, struct plan_work *w,
                 struct plan *plan)
{
    w->doubts = false;
    advise(in, w, plan);
}

enum err plan_make(const struct plan_input *in, struct plan_work *work,
                   struct plan *plan)
{
    struct plan_fault fault;
    enum err e = plan_check(in, &fault);

    if (e != ERR_OK)
        return e;
    work->doubts = true;
    advise(in, work, plan);
    if (has_advice(plan))
        plan_card(work);
    hand_now(work);
    plan_opening(work);
    return ERR_OK;
}

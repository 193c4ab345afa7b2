/* The first dowel, the next step, and how many readings are worth taking. */
#include "planner/plan_work.h"

#include <math.h>

#define FLOOR_SDS 1.645 /* 5 % below the floor, as at every later stage */

double plan_size_mm(const struct plan_work *w)
{
    return w->standing_mm +
           (double)w->stretched * w->in->prior->stretch_mm.mean;
}

int plan_looser(const struct plan_work *w, double size_mm)
{
    int found = -1;

    for (size_t d = 0; d < w->dowel_count; d++)
        found = w->dowel_mm[d] > size_mm ? (int)d : found;
    return found;
}

struct standing plan_standing(const struct plan_work *w)
{
    struct standing s = { 0, -1 };
    double size_mm;

    if (!w->banded)
        return s;
    size_mm = plan_size_mm(w);
    for (size_t d = 0; d < w->dowel_count; d++) {
        if (w->dowel_mm[d] >= size_mm)
            s.tighter = (int)d + 1;
        if (w->dowel_mm[d] == size_mm && w->stretched == 0)
            s.same = (int)d;
    }
    return s;
}

int plan_dowel_index(const struct plan_work *w, double dowel_mm)
{
    for (size_t d = 0; d < w->dowel_count; d++) {
        if (w->dowel_mm[d] == dowel_mm)
            return (int)d;
    }
    return -1;
}

/* By the limits of chance. */
static void allow(struct plan_work *w)
{
    const struct plan_limits *limits = &w->in->limits;

    for (size_t d = 0; d < w->dowel_count; d++) {
        struct plan_rung *r = &w->plan->rungs[d];

        r->allowed = w->banded ? r->p_below_floor <= limits->floor_most
                               : r->p_below_floor <= limits->floor_first_most &&
                                     r->p_too_tight <= limits->tight_most;
        w->look.barred[d] = !r->allowed;
    }
}

/* ---- the first dowel ------------------------------------------------------ */

static int first_dowel(struct plan_work *w, size_t depth)
{
    int best = -1;

    for (size_t d = 0; d < w->dowel_count; d++) {
        struct plan_rung *r = &w->plan->rungs[d];

        if (!r->allowed)
            continue;
        r->loss = look_tie_value(&w->look, &w->belief, (int)d, depth,
                                 w->look.costs.tie);
        if (isfinite(r->loss) &&
            (best < 0 || r->loss < w->plan->rungs[best].loss))
            best = (int)d;
    }
    return best;
}

/* With ischaemia the hand leads: the loosest size whose median index meets the
 * limit. */
static int first_for_hand(const struct plan_work *w)
{
    for (size_t d = 0; d < w->dowel_count; d++) {
        const struct plan_rung *r = &w->plan->rungs[d];

        if (r->allowed && r->index.p50 >= w->plan->target.index_least)
            return (int)d;
    }
    return -1;
}

/* The loosest size that keeps to the limits but ends short of the hand's. */
static int tightest_allowed(const struct plan_work *w)
{
    int found = -1;

    for (size_t d = 0; d < w->dowel_count; d++)
        found = w->plan->rungs[d].allowed ? (int)d : found;
    return found;
}

static void decide_first(struct plan_work *w)
{
    struct plan *plan = w->plan;
    int d = first_dowel(w, w->ties_ahead);

    if (d >= 0 && plan->target.lead == PLAN_BY_HAND) {
        d = first_for_hand(w);
        if (d < 0) {
            plan->warnings |= PLAN_HAND_SHORT;
            d = tightest_allowed(w);
        }
    }
    if (d < 0) {
        plan->warnings |= PLAN_NO_DOWEL;
        return;
    }
    plan->first_dowel_mm = plan->card_dowel_mm = w->dowel_mm[d];
    plan->next = PLAN_TIGHTEN;
    plan->next_dowel_mm = w->dowel_mm[d];
}

/* ---- readings ------------------------------------------------------------- */

/* How many readings of each measurement after a tie: what a better decision is
 * worth, less what they cost. */
static int readings_of(struct plan_work *w, int dowel)
{
    double best = INFINITY;
    int reads = 2;

    for (int k = 2; k <= PLAN_READINGS_MOST; k++) {
        double value;

        w->look.sigma = w->cv / sqrt((double)k);
        value =
            look_tie_value(&w->look, &w->belief, dowel, 2, w->look.costs.tie) +
            (double)k * w->look.costs.read;
        if (value < best) {
            best = value;
            reads = k;
        }
    }
    return reads;
}

static int readings_of_baseline(struct plan_work *w)
{
    const struct standing none = { 0, -1 };
    int have = (int)w->in->flow_count, best = have;
    bool allowed[PLAN_DOWELS_MAX];
    double least = INFINITY;

    for (size_t d = 0; d < w->dowel_count; d++) {
        const struct plan_rung *r = &w->plan->rungs[d];

        allowed[d] = r->allowed;
        if (r->allowed) {
            double value = look_tie_value(&w->look, &w->belief, (int)d, 2,
                                          w->look.costs.tie);

            least = value < least ? value : least;
        }
    }
    for (int n = have + 1; n <= PLAN_READINGS_MOST; n++) {
        double value = look_again_value(&w->look, &w->belief, &none, 2,
                                        LOOK_BASE, n - have, w->cv, allowed);

        if (value < least) {
            least = value;
            best = n;
        }
    }
    return best < 2 ? 2 : best;
}

/* ---- what now ------------------------------------------------------------- */

bool plan_hand_is_met(const struct plan_work *w, const struct belief *b)
{
    const struct plan_target *t = &w->plan->target;
    double sd = sqrt(b->cov[LOOK_STAND][LOOK_STAND]);

    return t->lead == PLAN_BY_HAND &&
           b->mean[LOOK_STAND_INDEX] >= t->index_least &&
           b->mean[LOOK_STAND] - FLOOR_SDS * sd >= log(t->floor_ml_min);
}

void plan_loosen(struct plan_work *w)
{
    int looser = plan_looser(w, plan_size_mm(w));

    w->plan->next = PLAN_LOOSEN;
    w->plan->next_reason = w->in->stages[w->in->stage_count - 1].weak_thrill
                               ? PLAN_REASON_THRILL
                               : PLAN_REASON_FLOOR;
    w->plan->next_dowel_mm = looser >= 0 ? w->dowel_mm[looser] : NAN;
}

bool plan_has_smaller(const struct plan_work *w, const struct belief *b,
                      const struct standing *standing)
{
    for (int d = standing->tighter; d < (int)w->dowel_count; d++) {
        if (!w->look.barred[d] &&
            look_below_floor(&w->look, b, d) <= w->look.floor_most)
            return true;
    }
    return false;
}

static void decide_next(struct plan_work *w)
{
    struct plan *plan = w->plan;
    struct standing standing = plan_standing(w);
    int more = PLAN_READINGS_MOST - (int)w->last_reads;
    struct look_choice c;

    if (w->must_loosen) {
        plan_loosen(w);
        return;
    }
    if (w->last_reads == 0) {
        plan->next_reason = PLAN_REASON_UNMEASURED;
        plan->next = PLAN_REMEASURE;
        plan->next_dowel_mm = NAN;
        return;
    }
    if (plan_hand_is_met(w, &w->belief)) {
        plan->next = PLAN_ACCEPT;
        plan->next_dowel_mm = NAN;
        return;
    }
    look_choose(&w->look, &w->belief, &standing, w->ties_ahead,
                w->may_again && more > 0 ? 1 : 0, w->cv, &c);
    plan->next = c.action;
    plan->next_dowel_mm = c.dowel >= 0 ? w->dowel_mm[c.dowel] : NAN;
    if (c.action == PLAN_ACCEPT && look_is_loose(&w->look, &w->belief) &&
        !plan_has_smaller(w, &w->belief, &standing))
        plan->next_reason = PLAN_REASON_LADDER_ENDS;
}

void plan_decide(struct plan_work *w)
{
    struct plan *plan = w->plan;
    int dowel;

    plan->readings_advised = plan->readings_advised_baseline = 2;
    allow(w);
    if (!w->banded)
        decide_first(w);
    else
        decide_next(w);
    plan_heed(w);
    if (w->alarm.hand_worse || w->alarm.hand_low)
        return;
    if (w->banded)
        plan->card_dowel_mm =
            plan->next == PLAN_TIGHTEN || plan->next == PLAN_LOOSEN
                ? plan->next_dowel_mm
                : w->standing_mm;
    dowel = plan_dowel_index(w, plan->card_dowel_mm);
    if (dowel < 0)
        return;
    if (!w->banded)
        plan->readings_advised_baseline = readings_of_baseline(w);
    plan->readings_advised = readings_of(w, dowel);
    w->look.sigma = w->cv / sqrt((double)plan->readings_advised);
}

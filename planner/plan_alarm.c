/* A hand that is worse, a pressure that is another: what stands above every
 * flow that was measured after a tie. */
#include "planner/plan_work.h"

#include <math.h>

#define HARDLY 1e-9 /* of a share: rounding is no change */

/* ---- the hand -------------------------------------------------------------- */

/* One of the two that tell of the hand. */
struct sign_of_hand {
    double before, after; /* 0, NAN: not known */
    double least;         /* its limit */
    double fall, rise;    /* more than from one measurement to the next */
};

static bool is_known(double value)
{
    return value > 0.0; /* false of a NAN */
}

static bool is_worse(const struct sign_of_hand *s)
{
    return is_known(s->before) && s->after < s->before - s->fall - HARDLY;
}

/* A hand that gets better is steered on, though it is not at its limit yet. */
static bool is_low(const struct sign_of_hand *s)
{
    return s->after < s->least - HARDLY &&
           !(is_known(s->before) && s->after > s->before + s->rise);
}

/* Both may speak; the worse of what they say stands. */
static void judge_hand(const struct plan_input *in, size_t stage, bool banded,
                       struct plan_alarm *out)
{
    const struct plan_stage *at = &in->stages[stage];
    const struct sign_of_hand index = { in->index_open, at->index,
                                        in->limits.index_least, PLAN_INDEX_FALL,
                                        PLAN_INDEX_RISE };
    const struct sign_of_hand finger = { in->finger_mmhg, at->finger_mmhg,
                                         in->limits.pressure_least_mmhg,
                                         PLAN_FINGER_FALL, PLAN_FINGER_RISE };
    /* an index of 0 was measured, and is known */
    bool has_index = at->index >= 0.0, has_finger = is_known(at->finger_mmhg);
    bool index_worse = has_index && is_worse(&index);
    bool index_low = banded && has_index && is_low(&index);

    if (!has_index && !has_finger)
        return;
    out->hand_stage = stage;
    out->hand_worse = index_worse || (has_finger && is_worse(&finger));
    out->hand_low = !out->hand_worse &&
                    (index_low || (banded && has_finger && is_low(&finger)));
    out->by_finger = out->hand_worse ? !index_worse : !index_low;
}

/* ---- all ------------------------------------------------------------------- */

static bool is_off(const struct plan_input *in, const struct plan_stage *last)
{
    return isfinite(last->map_mmhg) && isfinite(in->map_mmhg) &&
           fabs(last->map_mmhg / in->map_mmhg - 1.0) >
               PLAN_SAME_PRESSURE + HARDLY;
}

struct plan_alarm plan_alarm_of(const struct plan_input *in)
{
    struct plan_alarm out = { .pressure_off = false };
    double standing_mm = NAN;

    for (size_t i = 0; i < in->stage_count; i++) {
        const struct plan_stage *s = &in->stages[i];

        /* no longer the band that it was measured with, but a looser one */
        if (s->step != PLAN_TIED || s->dowel_mm > standing_mm)
            out.hand_worse = out.hand_low = false;
        standing_mm = s->step == PLAN_TIED       ? s->dowel_mm
                      : s->step == PLAN_RELEASED ? NAN
                                                 : standing_mm;
        judge_hand(in, i, isfinite(standing_mm), &out);
    }
    out.pressure_off =
        in->stage_count > 0 && is_off(in, &in->stages[in->stage_count - 1]);
    return out;
}

/* ---- the next step ---------------------------------------------------------- */

/* Neither a smaller dowel nor a card that might name one. */
static void heed_hand(struct plan_work *w)
{
    struct plan *plan = w->plan;
    double standing_mm = plan_size_mm(w);
    size_t looser = 0;

    if (w->banded)
        plan_loosen(w);
    else
        plan->next = PLAN_REMEASURE; /* nothing is in place to be loosened */
    plan->next_reason =
        w->alarm.hand_worse ? PLAN_REASON_HAND_WORSE : PLAN_REASON_HAND_LOW;
    plan->first_dowel_mm = plan->card_dowel_mm = NAN;
    if (!w->banded)
        plan->next_dowel_mm = NAN;
    while (w->banded && looser < w->dowel_count &&
           w->dowel_mm[looser] > standing_mm)
        looser++;
    plan->rung_count = looser;
}

/* The flow after the last step lies outside what was predicted for it, and was
 * not read so often yet that it must be believed. */
static bool is_doubtful(const struct plan_work *w)
{
    const struct plan *plan = w->plan;

    return w->doubts && w->banded && w->last_reads > 0 &&
           w->last_reads < PLAN_READINGS_MOST && plan->seen_count > 0 &&
           plan_is_outside(plan->seen[plan->seen_count - 1].tail);
}

void plan_heed(struct plan_work *w)
{
    struct plan *plan = w->plan;

    if (w->alarm.hand_worse || w->alarm.hand_low) {
        heed_hand(w);
        return;
    }
    if (w->banded && w->must_loosen)
        return;
    if (w->alarm.pressure_off)
        plan->next_reason = PLAN_REASON_PRESSURE;
    else if (is_doubtful(w))
        plan->next_reason = PLAN_REASON_OUTSIDE;
    else
        return;
    plan->next = PLAN_REMEASURE;
    plan->next_dowel_mm = NAN;
}

const char *plan_reason_word(enum plan_reason r)
{
    static const char *const words[] = { "flow",       "floor",
                                         "thrill",     "hand-worse",
                                         "hand-low",   "pressure",
                                         "unmeasured", "outside-prediction",
                                         "ladder-ends" };

    _Static_assert(COUNT(words) == PLAN_REASON_COUNT, "one each");
    return r < PLAN_REASON_COUNT ? words[r] : "";
}

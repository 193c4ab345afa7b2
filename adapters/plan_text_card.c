/* What to tie, what was tied, and what to do at each flow that is measured. */
#include "adapters/plan_text.h"

#include <math.h>

/* The pressure is the same if it is this near to that of the baseline, per
 * cent (common practice, no source). */
#define SAME_PRESSURE_PCT 10.0

/* ---- readings ------------------------------------------------------------------ */

static void say_readings(const struct plan_document *d, struct buf *out)
{
    const struct plan *plan = d->plan;

    if (plan->readings_advised < 1)
        return;
    buf_printf(out,
               "Take %d readings of the flow after each tie, and use their "
               "mean; with each, the mean pressure of the moment.\n",
               plan->readings_advised);
    if (d->from->in.stage_count == 0 &&
        plan->readings_advised_baseline > (int)d->from->in.flow_count)
        buf_printf(out,
                   "Take %d readings of the baseline (%zu so far): the "
                   "decision gains more than they cost.\n",
                   plan->readings_advised_baseline, d->from->in.flow_count);
}

void text_first(const struct plan_document *d, struct buf *out)
{
    text_title(out, "First tie");
    if (!isfinite(d->plan->first_dowel_mm)) {
        buf_puts(out, "No size is named: see the warnings.\n");
    } else {
        text_tie(out, "Tie", d->plan->first_dowel_mm);
        buf_puts(out, ", then measure.\n");
    }
    say_readings(d, out);
}

/* ---- one action ------------------------------------------------------------------ */

static void say_accept(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;
    double near = SAME_PRESSURE_PCT / 100.0;

    buf_printf(out,
               "accept, but only if thrill is present, the hand is not worse, "
               "the finger pressure is at least %.0f mmHg, and the mean "
               "pressure is within %.0f %% of that at the baseline",
               in->limits.pressure_least_mmhg, SAME_PRESSURE_PCT);
    if (isnan(in->map_mmhg))
        buf_puts(out, " (not recorded: measure it first)");
    else
        buf_printf(out, " (%.0f mmHg: %.0f to %.0f)", in->map_mmhg,
                   ceil((1.0 - near) * in->map_mmhg),
                   floor((1.0 + near) * in->map_mmhg));
}

static void say_loosen(double dowel_mm, struct buf *out)
{
    if (isnan(dowel_mm))
        buf_puts(out, "cut the band; no looser size is on the ladder");
    else
        text_tie(out, "cut the band and tie", dowel_mm);
}

static void say_stretch(double dowel_mm, struct buf *out)
{
    buf_puts(out, "stretch the band with a balloon 1 mm larger than the "
                  "dowel");
    if (isfinite(dowel_mm)) {
        buf_puts(out, " (");
        text_mm(out, dowel_mm + 1.0);
        buf_puts(out, " mm)");
    }
    buf_puts(out, ", then measure; a fresh suture stretches least "
                  "predictably");
}

/* standing_mm: of the band that is in place; NAN */
static void say_action(const struct plan_document *d, enum plan_action action,
                       double dowel_mm, double standing_mm, struct buf *out)
{
    switch (action) {
    case PLAN_ACCEPT:
        say_accept(d, out);
        return;
    case PLAN_TIGHTEN:
        text_tie(out, "tie anew", dowel_mm);
        buf_puts(out, ", then measure");
        return;
    case PLAN_LOOSEN:
        say_loosen(dowel_mm, out);
        buf_puts(out, ", then measure");
        return;
    case PLAN_STRETCH:
        say_stretch(standing_mm, out);
        return;
    case PLAN_REMEASURE:
    case PLAN_ACTION_COUNT:
        break;
    }
    buf_puts(out, "measure again before anything else");
}

/* ---- what was done ----------------------------------------------------------------- */

static void say_step(const struct plan_document *d, size_t i, struct buf *out)
{
    const struct plan_stage *s = &d->from->in.stages[i];

    buf_printf(out, "%zu. ", i + 1);
    if (s->step == PLAN_TIED) {
        text_tie(out, "tied", s->dowel_mm);
    } else if (s->step == PLAN_STRETCHED) {
        buf_puts(out, "stretched with a ");
        text_mm(out, d->from->balloon_mm[i]);
        buf_puts(out, " mm balloon");
    } else {
        buf_puts(out, "cut: no band");
    }
}

static void say_found(const struct plan_document *d, size_t i, struct buf *out)
{
    const struct plan_stage *s = &d->from->in.stages[i];
    const struct plan_seen *seen = &d->plan->seen[i];

    if (s->flow_count == 0) {
        buf_puts(out, ": not measured");
    } else {
        buf_puts(out, ": measured ");
        for (size_t k = 0; k < s->flow_count; k++) {
            buf_puts(out, k > 0 ? ", " : "");
            text_flow(out, s->flow_ml_min[k]);
        }
        buf_printf(out, ": mean %.0f mL/min, %.0f %% less than before",
                   seen->measured_ml_min, seen->reduction_pct);
    }
    buf_puts(out, "; predicted ");
    text_range(out, &seen->predicted_ml_min, 0, " mL/min");
    if (isfinite(s->map_mmhg))
        buf_printf(out, "; mean pressure %.0f mmHg", s->map_mmhg);
    if (isfinite(s->index))
        buf_printf(out, "; index %.2f", s->index);
    buf_puts(out, s->weak_thrill ? "; WEAK OR NO THRILL.\n" : ".\n");
}

/* The dowel of the newest tie. */
static double standing_mm(const struct plan_input *in)
{
    double mm = NAN;

    for (size_t i = 0; i < in->stage_count; i++) {
        if (in->stages[i].step == PLAN_TIED)
            mm = in->stages[i].dowel_mm;
        else if (in->stages[i].step == PLAN_RELEASED)
            mm = NAN;
    }
    return mm;
}

void text_stages(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;
    bool advice = (d->plan->warnings &
                   (PLAN_CONFLICT | PLAN_ZONE_EMPTY | PLAN_DISTAL)) == 0;

    text_title(out, "What was done, and what was measured");
    for (size_t i = 0; i < in->stage_count; i++) {
        say_step(d, i, out);
        say_found(d, i, out);
    }
    text_title(out, "What now");
    if (in->stages[in->stage_count - 1].weak_thrill) {
        buf_puts(out, "Weak or no thrill: loosen now, then measure.\n");
        return;
    }
    if (!advice) {
        buf_puts(out, "No advice: see the warnings.\n");
        return;
    }
    buf_puts(out, "By what was measured: ");
    say_action(d, d->plan->next, d->plan->next_dowel_mm, standing_mm(in), out);
    buf_puts(out, ".\n");
    say_readings(d, out);
}

/* ---- the card ------------------------------------------------------------------------ */

static void say_bounds(const struct plan_row *r, struct buf *out)
{
    if (r->emergency)
        buf_printf(out,
                   "flow below %.0f mL/min, or weak or no thrill at any "
                   "flow",
                   r->to_ml_min);
    else if (isfinite(r->to_ml_min))
        buf_printf(out, "%.0f to below %.0f mL/min", r->from_ml_min,
                   r->to_ml_min);
    else
        buf_printf(out, "%.0f mL/min or more", r->from_ml_min);
}

static void say_row(const struct plan_document *d, const struct plan_row *r,
                    struct buf *out)
{
    buf_puts(out, "  ");
    say_bounds(r, out);
    buf_puts(out, ": ");
    if (r->emergency) {
        buf_puts(out, "loosen now, then measure (");
        say_loosen(r->dowel_mm, out);
        buf_puts(out, ")");
    } else {
        say_action(d, r->action, r->dowel_mm, d->plan->card_dowel_mm, out);
    }
    if (r->ladder_ends)
        buf_puts(out, "; above the target, and no smaller dowel is on the "
                      "ladder");
    buf_puts(out, ".\n");
}

void text_card(const struct plan_document *d, struct buf *out)
{
    const struct plan *plan = d->plan;

    if (plan->row_count == 0)
        return;
    buf_puts(out, "\nAfter tying over the ");
    text_mm(out, plan->card_dowel_mm);
    buf_printf(out, " mm dowel: if the mean of %d readings is\n",
               plan->readings_advised > 1 ? plan->readings_advised : 1);
    for (size_t i = 0; i < plan->row_count; i++)
        say_row(d, &plan->rows[i], out);
    buf_puts(out, "A range holds its lower end and not its upper. Between two "
                  "rows nothing is certain: near a border, measure once "
                  "more.\n");
}

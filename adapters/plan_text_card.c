/* What to tie, what was tied, and what to do at each flow that is measured. */
#include "adapters/plan_text.h"

#include <math.h>
#include <stdio.h>

enum { CARD_ROW_MAX = 4096 };

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
    text_title(out, d->plan->outflow.known
                        ? "First tie, for the access as it is"
                        : "First tie");
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

void text_stages(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;
    struct plan_what_now now = plan_what_now(d);

    text_title(out, "What was done, and what was measured");
    for (size_t i = 0; i < in->stage_count; i++) {
        say_step(d, i, out);
        say_found(d, i, out);
    }
    text_title(out, "What now");
    if (in->stages[in->stage_count - 1].weak_thrill) {
        buf_puts(out, "Weak or no thrill: loosen now, then measure (");
        say_loosen(now.dowel_mm, out);
        buf_puts(out, ").\n");
        return;
    }
    if (!now.known) {
        buf_puts(out, "No advice: see the warnings.\n");
        return;
    }
    buf_puts(out, "By what was measured: ");
    say_action(d, now.action, now.dowel_mm, plan_standing_mm(in), out);
    buf_puts(out, ".\n");
    say_readings(d, out);
}

/* ---- the card ------------------------------------------------------------------------ */

static void say_bounds(const struct plan_row *r, char *text, size_t size)
{
    if (r->emergency)
        snprintf(text, size, "  below %.0f", r->to_ml_min);
    else if (isfinite(r->to_ml_min))
        snprintf(text, size, "  %.0f to below %.0f", r->from_ml_min,
                 r->to_ml_min);
    else
        snprintf(text, size, "  %.0f or more", r->from_ml_min);
}

/* The lowest row stands for a thrill that is weak as well. */
static void say_emergency(const struct plan_row *r, struct buf *out)
{
    buf_puts(out, "or weak thrill, or none, at any flow: loosen now, then "
                  "measure (");
    say_loosen(r->dowel_mm, out);
    buf_puts(out, ")");
}

static void say_row(const struct plan_document *d, const struct plan_row *r,
                    bool again, struct buf *out)
{
    if (r->emergency)
        say_emergency(r, out);
    else if (r->action == PLAN_ACCEPT && again)
        buf_puts(out, "accept, but only under the conditions above");
    else
        say_action(d, r->action, r->dowel_mm, d->plan->card_dowel_mm, out);
    if (r->ladder_ends)
        buf_puts(out, "; above the target, and no smaller dowel is on the "
                      "ladder");
    buf_puts(out, ".");
}

void text_card(const struct plan_document *d, struct buf *out)
{
    const struct plan *plan = d->plan;
    bool accepted = false;
    struct buf text;
    char bounds[48];

    if (plan->row_count == 0)
        return;
    buf_puts(out, "\nAfter tying over the ");
    text_mm(out, plan->card_dowel_mm);
    buf_printf(out, " mm dowel: what to do, by the mean of %d readings\n",
               plan->readings_advised > 1 ? plan->readings_advised : 1);
    buf_printf(out, "%-*s%s", TEXT_LEFT_COLUMNS, "  flow, mL/min",
               "what to do\n");
    buf_init(&text, CARD_ROW_MAX);
    for (size_t i = 0; i < plan->row_count; i++) {
        const struct plan_row *r = &plan->rows[i];

        say_bounds(r, bounds, sizeof(bounds));
        say_row(d, r, accepted, &text);
        text_row(bounds, &text, out);
        accepted = accepted || (!r->emergency && r->action == PLAN_ACCEPT);
    }
    buf_clear(&text);
    buf_puts(out, "A range holds its lower end and not its upper. No border is "
                  "sharp: near one, measure once more.\n");
}

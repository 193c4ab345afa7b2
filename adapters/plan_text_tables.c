/* The tables of a plan: what each size is expected to do. */
#include "adapters/plan_text.h"

#include <math.h>
#include <stdio.h>

static void size_of(char out[16], double mm)
{
    struct buf text;

    buf_init(&text, 16);
    text_mm(&text, mm);
    snprintf(out, 16, "%s mm", text.data);
    buf_clear(&text);
}

/* ---- ladder ------------------------------------------------------------------ */

/* The size that the plan names; NAN. */
static double named_mm(const struct plan_document *d)
{
    return d->from->in.stage_count > 0 ? plan_what_now(d).dowel_mm
                                       : d->plan->first_dowel_mm;
}

static bool is_same_size(double a, double b)
{
    return fabs(a - b) < 0.005;
}

static void say_rung(const struct plan_document *d, const struct plan_rung *r,
                     struct buf *out)
{
    char size[16], zone[8], tight[8], low[8];
    char mark = is_same_size(r->dowel_mm, named_mm(d)) ? '*' : ' ';

    if (mark == ' ' && !plan_rung_keeps(d, r))
        mark = '-';
    size_of(size, r->dowel_mm);
    text_chance(zone, r->p_in_zone);
    text_chance(tight, r->p_too_tight);
    text_chance(low, r->p_below_floor);
    buf_printf(out,
               "%c %-8s %5.0f %5.0f %5.0f   %3.0f %4.0f %4.0f   %4s %6s %6s "
               "%9.0f\n",
               mark, size, r->flow_ml_min.p05, r->flow_ml_min.p50,
               r->flow_ml_min.p95, r->reduction_pct.p05, r->reduction_pct.p50,
               r->reduction_pct.p95, zone, tight, low, r->fourth_power_ml_min);
}

static bool any_not_allowed(const struct plan_document *d)
{
    for (size_t i = 0; i < d->plan->rung_count; i++) {
        if (!plan_rung_keeps(d, &d->plan->rungs[i]))
            return true;
    }
    return false;
}

static void say_not_allowed(const struct plan_document *d, struct buf *out)
{
    const struct plan_limits *l = &d->from->in.limits;

    if (!any_not_allowed(d))
        return;
    if (d->from->in.stage_count > 0)
        buf_printf(out,
                   "-  more chance than this site allows of a flow below the "
                   "floor (%.3g %%)\n",
                   100.0 * l->floor_most);
    else
        buf_printf(out,
                   "-  more chance than this site allows, at a first tie, of "
                   "too tight a band (%.3g %%) or of a flow below the floor "
                   "(%.3g %%)\n",
                   100.0 * l->tight_most, 100.0 * l->floor_first_most);
}

static void say_ladder_notes(const struct plan_document *d, struct buf *out)
{
    bool hand = d->plan->target.lead == PLAN_BY_HAND;

    if (isfinite(named_mm(d)))
        buf_puts(out, "*  the size that this plan names\n");
    say_not_allowed(d, out);
    buf_printf(out,
               "Of a hundred such accesses five are expected below the first "
               "figure, half below the middle one, five above the last; flows "
               "as the same method would read them. Zone: %s. Too tight: a "
               "greater reduction than the target. Below floor: less than "
               "%.0f mL/min.\n",
               hand ? "the index comes to its limit and the flow stays above "
                      "the floor"
                    : "within the target",
               d->plan->target.floor_ml_min);
    buf_puts(out,
             "(1) For comparison only: flow by the fourth power of the "
             "diameter, dowel over access, as if the access were nothing but a "
             "narrow tube. A real access is a row of resistances: going from "
             "4 to 3 mm does far less than (4/3)^4 = 3.2 times.\n");
}

void text_ladder(const struct plan_document *d, struct buf *out)
{
    text_title(out, d->from->in.stage_count > 0
                        ? "Each size, if it were tied next"
                        : "Each size, if it were tied first");
    buf_puts(out,
             "  dowel        flow, mL/min      reduction, %     chance in % "
             "of      fourth\n"
             "  (outer                                       zone    too  "
             "below     power\n"
             "  diam.)      5%   mid   95%    5%  mid  95%         tight  "
             "floor       (1)\n");
    for (size_t i = 0; i < d->plan->rung_count; i++)
        say_rung(d, &d->plan->rungs[i], out);
    say_ladder_notes(d, out);
}

/* ---- hand -------------------------------------------------------------------- */

static void say_three(struct buf *out, const struct plan_range *r, int decimals)
{
    if (r == NULL)
        buf_printf(out, "%18s", "");
    else if (isfinite(r->p05) && isfinite(r->p50) && isfinite(r->p95))
        buf_printf(out, "%6.*f%6.*f%6.*f", decimals, r->p05, decimals, r->p50,
                   decimals, r->p95);
    else
        buf_printf(out, "%18s", "not known");
}

static void say_hand_row(const char *name, const struct plan_range *usual,
                         const struct plan_range *lowest,
                         const struct plan_range *index, struct buf *out)
{
    buf_printf(out, "  %-9s", name);
    say_three(out, usual, 0);
    buf_puts(out, "    ");
    say_three(out, lowest, 0);
    buf_puts(out, "    ");
    say_three(out, index, 2);
    buf_puts(out, "\n");
}

void text_hand(const struct plan_document *d, struct buf *out)
{
    const struct plan *plan = d->plan;
    char size[16];

    text_title(out, "The hand, as predicted: no arm is called safe");
    buf_puts(out,
             "             mean pressure of the    the same at the        "
             "index, finger over\n"
             "             hand, mmHg              lowest usual           "
             "the other arm\n"
             "  dowel          5%   mid   95%        5%   mid   95%        5%"
             "   mid   95%\n");
    say_hand_row("no band", &plan->hand_now_mmhg, NULL, &plan->index_now, out);
    for (size_t i = 0; i < plan->rung_count; i++) {
        const struct plan_rung *r = &plan->rungs[i];

        size_of(size, r->dowel_mm);
        say_hand_row(size, &r->hand_pressure_mmhg, &r->hand_lowest_mmhg,
                     &r->index, out);
    }
    if ((plan->missing & PLAN_NO_INDEX) != 0)
        buf_puts(out, "The index of this hand was never measured: these are "
                      "figures of hands in general, and wide.\n");
    buf_puts(out, "Lowest usual: at the lowest mean pressure that is usual "
                  "during dialysis. What the hand shows outweighs these "
                  "figures.\n");
}

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
    return d->from->in.stage_count > 0 ? d->plan->next_dowel_mm
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

    if (mark == ' ' && !r->allowed)
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

static bool any_not_allowed(const struct plan *plan)
{
    for (size_t i = 0; i < plan->rung_count; i++) {
        if (!plan->rungs[i].allowed)
            return true;
    }
    return false;
}

static void say_ladder_notes(const struct plan_document *d, struct buf *out)
{
    const struct plan_limits *l = &d->from->in.limits;
    bool hand = d->plan->target.lead == PLAN_BY_HAND;

    if (isfinite(named_mm(d)))
        buf_puts(out, "*  the size that this plan names\n");
    if (any_not_allowed(d->plan))
        buf_printf(out,
                   "-  more chance than this site allows of too tight a band "
                   "(%.0f %%) or of a flow below the floor (%.3g %% at the "
                   "first tie, %.3g %% later)\n",
                   100.0 * l->tight_most, 100.0 * l->floor_first_most,
                   100.0 * l->floor_most);
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
             "(1) For comparison only: the textbook fourth power, as if the "
             "access were nothing but a narrow tube. A real access is a row of "
             "resistances, and one step of the dowel does less.\n");
}

void text_ladder(const struct plan_document *d, struct buf *out)
{
    text_title(out, d->from->in.stage_count > 0
                        ? "Each size, if it were tied next"
                        : "Each size, if it were tied first");
    buf_puts(out,
             "  dowel        flow, mL/min      reduction, %   chance, % of   "
             "        textbook\n"
             "  (outer)     5%   mid   95%    5%  mid  95%   zone   too  "
             "below    fourth\n"
             "                                                   tight  "
             "floor power (1)\n");
    for (size_t i = 0; i < d->plan->rung_count; i++)
        say_rung(d, &d->plan->rungs[i], out);
    say_ladder_notes(d, out);
}

/* ---- hand -------------------------------------------------------------------- */

static void say_three(struct buf *out, const struct plan_range *r, int decimals)
{
    if (isfinite(r->p05) && isfinite(r->p50) && isfinite(r->p95))
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
    static const struct plan_range unknown = { NAN, NAN, NAN };
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
    say_hand_row("no band", &plan->hand_now_mmhg, &unknown, &plan->index_now,
                 out);
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

/* What to tie, what was tied, and what to do at each flow that is measured. */
#include "adapters/plan_text.h"

#include "adapters/plan_alarm.h"
#include "adapters/plan_band.h"

#include <math.h>

#define SAME_MM 0.005

#define SAME_PRESSURE_PCT (100.0 * PLAN_SAME_PRESSURE)

/* ---- first tie ------------------------------------------------------------------ */

static void say_readings(struct text *t)
{
    text_line(t, plan_say_readings(&t->words, t->d));
    text_line(t, plan_say_readings_before(&t->words, t->d));
}

void text_first(struct text *t)
{
    const struct plan *plan = t->d->plan;

    text_title(t, plan->outflow.known ? _("First tie, for the access as it is")
                                      : _("First tie"));
    if (!isfinite(plan->first_dowel_mm))
        text_line(t, _("No size is named: see the warnings."));
    else
        text_line(t, words_say(&t->words,
                               _("Tie over a %s dowel (measured outer "
                                 "diameter), then measure."),
                               words_mm(&t->words, plan->first_dowel_mm)));
    say_readings(t);
}

/* ---- one action ------------------------------------------------------------------ */

static const char *say_accept(struct text *t)
{
    const struct plan_input *in = &t->d->from->in;
    double near = PLAN_SAME_PRESSURE;
    struct words *w = &t->words;

    if (isnan(in->map_mmhg))
        return words_say(
            w,
            _("accept, but only if thrill is present, the hand is not worse, "
              "the finger pressure is at least %1$s mmHg, and the mean "
              "pressure is within %2$s %% of that at the baseline (not "
              "recorded: measure it first)"),
            words_number(w, in->limits.pressure_least_mmhg, 0),
            words_number(w, SAME_PRESSURE_PCT, 0));
    return words_say(
        w,
        _("accept, but only if thrill is present, the hand is not worse, the "
          "finger pressure is at least %1$s mmHg, and the mean pressure is "
          "within %2$s %% of that at the baseline (%3$s mmHg: %4$s to %5$s)"),
        words_number(w, in->limits.pressure_least_mmhg, 0),
        words_number(w, SAME_PRESSURE_PCT, 0), words_number(w, in->map_mmhg, 0),
        words_number(w, ceil((1.0 - near) * in->map_mmhg), 0),
        words_number(w, floor((1.0 + near) * in->map_mmhg), 0));
}

static const char *say_loosen(struct text *t, double dowel_mm)
{
    if (isnan(dowel_mm))
        return _("cut the band (no looser size is on the ladder), then "
                 "measure");
    return words_say(&t->words,
                     _("cut the band and tie over a %s dowel (measured outer "
                       "diameter), then measure"),
                     words_mm(&t->words, dowel_mm));
}

static const char *say_stretch(struct text *t, double dowel_mm)
{
    if (isnan(dowel_mm))
        return _("stretch the band with a balloon 1 mm larger than the dowel, "
                 "then measure; a fresh suture stretches least predictably");
    return words_say(
        &t->words,
        _("stretch the band with a balloon 1 mm larger than the dowel (%s), "
          "then measure; a fresh suture stretches least predictably"),
        words_mm(&t->words, dowel_mm + 1.0));
}

/* standing_mm: of the band that is in place; NAN */
static const char *say_action(struct text *t, enum plan_action action,
                              double dowel_mm, double standing_mm)
{
    switch (action) {
    case PLAN_ACCEPT:
        return say_accept(t);
    case PLAN_TIGHTEN:
        if (fabs(dowel_mm - standing_mm) < SAME_MM)
            return words_say(&t->words,
                             _("tie again over the same %s dowel with a "
                               "tighter knot, then measure"),
                             words_mm(&t->words, dowel_mm));
        return words_say(&t->words,
                         _("tie anew over a %s dowel (measured outer "
                           "diameter), then measure"),
                         words_mm(&t->words, dowel_mm));
    case PLAN_LOOSEN:
        return say_loosen(t, dowel_mm);
    case PLAN_STRETCH:
        return say_stretch(t, standing_mm);
    case PLAN_REMEASURE:
    case PLAN_ACTION_COUNT:
        break;
    }
    return _("measure again before anything else");
}

static const char *ends(struct text *t, const char *what)
{
    /* TRANSLATORS: what to do: "accept, but only if ..." */
    return words_say(&t->words,
                     _("%s; above the target, and no smaller dowel that keeps "
                       "to the floor is on the ladder"),
                     what);
}

/* Not by the flow alone. */
static const char *say_now(struct text *t, const struct plan_what_now *now)
{
    const struct plan_input *in = &t->d->from->in;
    const char *what =
        say_action(t, now->action, now->dowel_mm, plan_standing_mm(in));

    switch (now->reason) {
    case PLAN_REASON_UNMEASURED:
        return _("measure now");
    case PLAN_REASON_OUTSIDE:
        return _("measure again and look at the knot: the flow is not one that "
                 "was predicted");
    case PLAN_REASON_LADDER_ENDS:
        return ends(t, what);
    case PLAN_REASON_HAND_WORSE:
    case PLAN_REASON_HAND_LOW:
        return now->action == PLAN_LOOSEN
                   ? what
                   : _("no band is in place; tie none before the inflow has "
                       "been looked at");
    case PLAN_REASON_FLOW:
    case PLAN_REASON_FLOOR:
    case PLAN_REASON_THRILL:
    case PLAN_REASON_PRESSURE:
    case PLAN_REASON_COUNT:
        break;
    }
    return what;
}

/* ---- what was done ----------------------------------------------------------------- */

static const char *say_step(struct text *t, size_t i)
{
    const struct plan_stage *s = &t->d->from->in.stages[i];
    struct words *w = &t->words;

    if (s->step == PLAN_TIED)
        return words_say(w,
                         _("%1$zu. tied over a %2$s dowel (measured outer "
                           "diameter)"),
                         i + 1, words_mm(w, s->dowel_mm));
    if (s->step == PLAN_STRETCHED)
        return words_say(w, _("%1$zu. stretched with a %2$s balloon"), i + 1,
                         words_mm(w, t->d->from->balloon_mm[i]));
    return words_say(w, _("%zu. cut: no band"), i + 1);
}

static const char *say_measured(struct text *t, size_t i)
{
    const struct plan_stage *s = &t->d->from->in.stages[i];
    const struct plan_seen *seen = &t->d->plan->seen[i];
    struct words *w = &t->words;

    if (s->flow_count == 0)
        return _("not measured");
    return words_say(w,
                     _("measured %1$s: mean %2$s mL/min, %3$s %% less than "
                       "before"),
                     words_flows(w, s->flow_ml_min, s->flow_count),
                     words_number(w, seen->measured_ml_min, 0),
                     words_number(w, seen->reduction_pct, 0));
}

/* One more of what is told of a step. */
static const char *and_this(struct text *t, const char *said, const char *more)
{
    /* TRANSLATORS: one more in a list of measured values */
    return words_say(&t->words, _("%1$s; %2$s"), said, more);
}

static void say_stage(struct text *t, size_t i)
{
    const struct plan_stage *s = &t->d->from->in.stages[i];
    struct words *w = &t->words;
    const char *said = and_this(
        t, say_measured(t, i),
        words_say(w, _("predicted %s mL/min"),
                  words_flow_range(w, &t->d->plan->seen[i].predicted_ml_min)));

    if (isfinite(s->map_mmhg))
        said = and_this(t, said,
                        words_say(w, _("mean pressure %s mmHg"),
                                  words_number(w, s->map_mmhg, 0)));
    if (s->finger_mmhg > 0.0)
        said = and_this(t, said,
                        words_say(w, _("finger pressure %s mmHg"),
                                  words_number(w, s->finger_mmhg, 0)));
    if (isfinite(s->index))
        said = and_this(
            t, said, words_say(w, _("index %s"), words_number(w, s->index, 2)));
    if (s->weak_thrill)
        said = and_this(t, said, _("WEAK OR NO THRILL"));
    /* TRANSLATORS: what was done, and what was found after it */
    text_line(t, words_say(w, _("%1$s: %2$s."), say_step(t, i), said));
}

void text_stages(struct text *t)
{
    const struct plan_input *in = &t->d->from->in;
    struct plan_what_now now = plan_what_now(t->d);
    struct words *w = &t->words;

    text_title(t, _("What was done, and what was measured"));
    for (size_t i = 0; i < in->stage_count; i++)
        say_stage(t, i);
    text_title(t, _("What now"));
    if (in->stages[in->stage_count - 1].weak_thrill) {
        /* TRANSLATORS: %s: "cut the band and tie over a 4.5 mm dowel" */
        text_line(t, words_say(w, _("Weak or no thrill, loosen now: %s."),
                               say_loosen(t, now.dowel_mm)));
    }
    text_said(t, plan_alarm_say);
    if (in->stages[in->stage_count - 1].weak_thrill ||
        (now.known && now.reason == PLAN_REASON_PRESSURE))
        return;
    if (!now.known) {
        text_line(t, _("No advice: see the warnings."));
        return;
    }
    /* TRANSLATORS: %s is what to do: "measure again before anything else" */
    text_line(t,
              words_say(w, _("By what was measured: %s."), say_now(t, &now)));
    text_said(t, plan_again_say);
    say_readings(t);
}

/* ---- the card ------------------------------------------------------------------------ */

static const char *say_bounds(struct text *t, const struct plan_row *r)
{
    struct words *w = &t->words;

    if (r->emergency)
        return words_say(w, _("below %s"), words_number(w, r->to_ml_min, 0));
    if (isfinite(r->to_ml_min))
        return words_say(w, _("%1$s to below %2$s"),
                         words_number(w, r->from_ml_min, 0),
                         words_number(w, r->to_ml_min, 0));
    return words_say(w, _("%s or more"), words_number(w, r->from_ml_min, 0));
}

/* again: the conditions stand in a row above. */
static const char *say_what(struct text *t, const struct plan_row *r,
                            bool again)
{
    struct words *w = &t->words;
    const char *what;

    /* The lowest row stands for a thrill that is weak as well. */
    if (r->emergency)
        return words_say(w,
                         _("or weak thrill, or none, at any flow, loosen now: "
                           "%s."),
                         say_loosen(t, r->dowel_mm));
    what =
        r->action == PLAN_ACCEPT && again
            ? _("accept, but only under the conditions above")
            : say_action(t, r->action, r->dowel_mm, t->d->plan->card_dowel_mm);
    if (r->ladder_ends)
        what = ends(t, what);
    else if (r->above_target)
        /* TRANSLATORS: what to do: "accept, but only if ..." */
        what = words_say(w,
                         _("%s; above the target, but by too little for "
                           "another tie"),
                         what);
    return words_say(w, "%s.", what);
}

static void say_row(struct text *t, const struct plan_row *r, bool again)
{
    const char *left = words_say(&t->words, "  %s", say_bounds(t, r));

    text_row(t, left, say_what(t, r, again));
}

void text_card(struct text *t)
{
    const struct plan *plan = t->d->plan;
    struct words *w = &t->words;
    bool accepted = false;

    if (plan->row_count == 0)
        return;
    text_title(t, plan->readings_advised > 1
                      ? words_say(w,
                                  _("After tying over %1$s: by the mean of "
                                    "%2$d readings"),
                                  words_mm(w, plan->card_dowel_mm),
                                  plan->readings_advised)
                      : words_say(w,
                                  _("After tying over %s: by the measured "
                                    "flow"),
                                  words_mm(w, plan->card_dowel_mm)));
    text_left(t, words_say(w, "  %s", _("flow, mL/min")), TEXT_LEFT_COLUMNS);
    text_line(t, _("what to do (mm: dowel, outer diameter)"));
    for (size_t i = 0; i < plan->row_count; i++) {
        const struct plan_row *r = &plan->rows[i];

        say_row(t, r, accepted);
        accepted = accepted || (!r->emergency && r->action == PLAN_ACCEPT);
    }
    text_line(t,
              _("A range holds its lower end and not its upper. No border is "
                "sharp: near one, measure once more."));
}

/* What a plan aims at, and why; how often to measure; what is said of all
 * sizes at once. */
#include "adapters/plan_say.h"

#include <math.h>

/* ---- target ------------------------------------------------------------------- */

const char *plan_say_target(struct words *w, const struct plan_document *d)
{
    const struct plan_target *t = &d->plan->target;

    if ((d->plan->warnings & PLAN_ZONE_EMPTY) != 0)
        return _("None: there is no flow to steer to.");
    if (t->lead == PLAN_BY_HAND)
        return words_say(w, _("Index %1$s or more, at %2$s mL/min or more"),
                         words_number(w, t->index_least, 2),
                         words_number(w, t->low_ml_min, 0));
    return words_say(w, _("Leave %1$s to %2$s mL/min"),
                     words_flow(w, t->low_ml_min),
                     words_flow(w, t->high_ml_min));
}

const char *plan_say_share(struct words *w, const struct plan_document *d)
{
    const struct plan_target *t = &d->plan->target;

    if ((d->plan->warnings & PLAN_ZONE_EMPTY) != 0 || t->lead == PLAN_BY_HAND)
        return "";
    return words_say(w,
                     _("%1$s to %2$s %% less than the baseline of %3$s "
                       "mL/min"),
                     words_number(w, 100.0 * t->low_frac, 0),
                     words_number(w, 100.0 * t->high_frac, 0),
                     words_number(w, d->plan->baseline_ml_min, 0));
}

const char *plan_say_why(struct words *w, const struct plan_document *d)
{
    const struct plan_limits *l = &d->from->in.limits;

    switch (d->plan->target.lead) {
    case PLAN_BY_SHARE:
        return words_say(
            w,
            _("Why: this site leaves %1$s to %2$s %% of the flow before a "
              "band, but no more than %3$s mL/min (then %4$s to %3$s), and "
              "nothing below the floor."),
            words_number(w, 100.0 * l->share_low, 0),
            words_number(w, 100.0 * l->share_high, 0),
            words_number(w, l->cap_ml_min, 0),
            words_number(w, l->cap_low_ml_min, 0));
    case PLAN_BY_WINDOW:
        return words_say(w,
                         _("Why: the window of flow was asked for, %1$s to "
                           "%2$s mL/min."),
                         words_number(w, l->window_low_ml_min, 0),
                         words_number(w, l->window_high_ml_min, 0));
    case PLAN_BY_REDUCTION:
        return _("Why: this reduction was asked for.");
    case PLAN_BY_HAND:
        break;
    }
    return words_say(w,
                     _("Why: the hand is the ground. The loosest band that "
                       "brings its index to %1$s is wanted (finger pressure at "
                       "least %2$s mmHg), with the flow above the floor."),
                     words_number(w, l->index_least, 2),
                     words_number(w, l->pressure_least_mmhg, 0));
}

const char *plan_say_floor(struct words *w, const struct plan_document *d)
{
    return words_say(w, _("Floor: leave no less than %s mL/min"),
                     words_number(w, d->plan->target.floor_ml_min, 0));
}

const char *plan_say_floor_why(struct words *w, const struct plan_document *d)
{
    const struct plan_input *in = &d->from->in;

    if (isnan(in->prescribed_pump_ml_min))
        return _("The prescribed pump flow is not known: the floor may have to "
                 "be higher.");
    return words_say(w,
                     _("The floor is %1$s for this type of access, and at "
                       "least %2$s above the prescribed pump flow of %3$s."),
                     words_number(w, in->limits.floor_ml_min, 0),
                     words_number(w, in->limits.pump_margin_ml_min, 0),
                     words_number(w, in->prescribed_pump_ml_min, 0));
}

/* ---- readings ------------------------------------------------------------------- */

const char *plan_say_readings(struct words *w, const struct plan_document *d)
{
    int count = d->plan->readings_advised;

    if (count < 1)
        return "";
    return words_say(w,
                     ngettext("Take %d reading of the flow after each tie; "
                              "with it, the mean pressure of the moment.",
                              "Take %d readings of the flow after each tie "
                              "and use their mean; with each, the mean "
                              "pressure of the moment.",
                              (unsigned long)count),
                     count);
}

const char *plan_say_readings_before(struct words *w,
                                     const struct plan_document *d)
{
    int before = d->plan->readings_advised_baseline;
    int so_far = (int)d->from->in.flow_count;

    if (d->plan->readings_advised < 1 || d->from->in.stage_count > 0 ||
        before <= so_far)
        return "";
    return words_say(w,
                     ngettext("Baseline: take %1$d reading (%2$d so "
                              "far).",
                              "Baseline: take %1$d readings (%2$d so "
                              "far): the decision gains more than they "
                              "cost.",
                              (unsigned long)before),
                     before, so_far);
}

/* ---- all sizes -------------------------------------------------------------------- */

/* "5.0 mm 210, 4.5 mm 140": a number of each size. */
static const char *each_size(struct words *w, const struct plan *plan,
                             const char *(*number)(struct words *w,
                                                   const struct plan_rung *r))
{
    const char *list = "";

    for (size_t i = 0; i < plan->rung_count; i++) {
        const struct plan_rung *r = &plan->rungs[i];
        /* TRANSLATORS: a size and the number that goes with it: "4.0 mm 90" */
        const char *one = words_say(w, _("%1$s\u00a0%2$s"),
                                    words_mm(w, r->dowel_mm), number(w, r));

        list = i == 0 ? one : words_say(w, _("%1$s, %2$s"), list, one);
    }
    return list;
}

static const char *fourth_power(struct words *w, const struct plan_rung *r)
{
    return words_flow(w, r->fourth_power_ml_min);
}

static const char *index_low(struct words *w, const struct plan_rung *r)
{
    return words_chance(w, r->p_index_low);
}

const char *plan_say_fourth_power(struct words *w,
                                  const struct plan_document *d)
{
    /* TRANSLATORS: %s: "4.5 mm 140, 4.0 mm 90" */
    return words_say(w,
                     _("For comparison only, and no prediction: flow by the "
                       "fourth power of the diameter alone, mL/min: %s."),
                     each_size(w, d->plan, fourth_power));
}

const char *plan_say_index_low(struct words *w, const struct plan_document *d)
{
    const struct plan *plan = d->plan;

    if (plan->rung_count == 0 || !isfinite(plan->rungs[0].p_index_low))
        return "";
    /* TRANSLATORS: %2$s: "4.5 mm 3, 4.0 mm 2" */
    return words_say(w, _("Chance of an index below %1$s, per cent: %2$s."),
                     words_number(w, d->from->in.limits.risk_index, 2),
                     each_size(w, plan, index_low));
}

/* What to aim at, and why. */
#include "adapters/worksheet_parts.h"

#include <math.h>

static const char *target_words(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_target *t = &d->plan->target;
    struct words *w = &p->words;

    if ((d->plan->warnings & PLAN_ZONE_EMPTY) != 0)
        return _("None: there is no flow to steer to.");
    if (t->lead == PLAN_BY_HAND)
        return words_say(w, _("Index %1$s or more, at %2$s mL/min or more"),
                         words_number(w, t->index_least, 2),
                         words_number(w, t->low_ml_min, 0));
    return words_say(w, _("Leave %1$s to %2$s mL/min"),
                     words_number(w, t->low_ml_min, 0),
                     words_number(w, t->high_ml_min, 0));
}

/* "" where there is no flow to steer to, or the hand leads. */
static const char *share_words(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_target *t = &d->plan->target;
    struct words *w = &p->words;

    if ((d->plan->warnings & PLAN_ZONE_EMPTY) != 0 || t->lead == PLAN_BY_HAND)
        return "";
    return words_say(w,
                     _("%1$s to %2$s %% less than the baseline of %3$s "
                       "mL/min"),
                     words_number(w, 100.0 * t->low_frac, 0),
                     words_number(w, 100.0 * t->high_frac, 0),
                     words_number(w, d->plan->baseline_ml_min, 0));
}

static const char *why_words(struct part *p)
{
    const struct plan_limits *l = &p->sheet->plan->from->in.limits;
    struct words *w = &p->words;

    switch (p->sheet->plan->plan->target.lead) {
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

static const char *floor_words(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;

    return words_say(&p->words, _("Floor: leave no less than %s mL/min"),
                     words_number(&p->words, d->plan->target.floor_ml_min, 0));
}

static const char *floor_why_words(struct part *p)
{
    const struct plan_input *in = &p->sheet->plan->from->in;
    struct words *w = &p->words;

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

void sheet_target(struct part *p)
{
    struct canvas_type big = part_large(12, true),
                       line = part_large(8.5, false);
    struct canvas_type floor = part_large(8.5, true), small = part_small(p);

    p->words.used = 0;
    part_title(p, _("Target"));
    part_text(p, &big, target_words(p));
    part_text(p, &line, share_words(p));
    part_text(p, &floor, floor_words(p));
    part_text(p, &small, floor_why_words(p));
    part_text(p, &small, why_words(p));
    part_gap(p, 0.8);
}

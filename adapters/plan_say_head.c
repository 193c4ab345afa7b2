/* Which access a plan is for, what it was made from, and how long it holds. */
#include "adapters/plan_say.h"

#include <math.h>

const char *plan_say_type(enum sign type)
{
    return type == SIGN_TYPE_AVF   ? _("fistula")
           : type == SIGN_TYPE_AVG ? _("graft")
           : type == SIGN_TYPE_CVC ? _("catheter")
                                   : _("type not known");
}

const char *plan_say_side(enum side side)
{
    return side == SIDE_LEFT    ? _("left")
           : side == SIDE_RIGHT ? _("right")
                                : _("side not coded");
}

const char *plan_say_fed(bool forearm)
{
    return forearm ? _("forearm: fed at the wrist")
                   : _("planned as fed at the elbow");
}

/* ---- what it was made from -------------------------------------------------- */

const char *plan_say_baseline(struct words *w, const struct plan_document *d)
{
    const struct plan_input *in = &d->from->in;

    if (in->flow_count == 0)
        return _("no usable flow");
    if (in->on_table)
        return words_say(w,
                         _("%1$s mL/min on %2$s, on the table just before the "
                           "band"),
                         words_flows(w, in->flow_ml_min, in->flow_count),
                         words_date(w, d->zone, d->from->baseline_s));
    return words_say(w,
                     _("%1$s mL/min on %2$s, not known to be from the table"),
                     words_flows(w, in->flow_ml_min, in->flow_count),
                     words_date(w, d->zone, d->from->baseline_s));
}

const char *plan_say_method(struct words *w, const struct plan_document *d)
{
    const struct plan_input *in = &d->from->in;

    return words_say(w, _("%s; measure by no other, before and after"),
                     in->method == METHOD_UNSTATED
                         ? _("not stated")
                         : _(method_display(in->method)));
}

static const char *mmhg(struct words *w, double value)
{
    if (isnan(value))
        return _("not known");
    return words_say(w, _("%s mmHg"), words_number(w, value, 0));
}

const char *plan_say_pressure(struct words *w, const struct plan_document *d)
{
    const struct plan_input *in = &d->from->in;

    /* TRANSLATORS: each place is "93 mmHg" or "not known" */
    return words_say(w,
                     _("mean at the baseline %1$s; lowest usual on dialysis "
                       "%2$s"),
                     mmhg(w, in->map_mmhg), mmhg(w, in->map_lowest_mmhg));
}

/* A list that grows: what was said, and one more. */
static const char *and_this(struct words *w, const char *list, const char *more)
{
    if (list[0] == '\0')
        return more;
    /* TRANSLATORS: one more in a list of measured values */
    return words_say(w, _("%1$s; %2$s"), list, more);
}

const char *plan_say_with(struct words *w, const struct plan_document *d)
{
    const struct plan_input *in = &d->from->in;
    const struct {
        const char *name, *unit;
        double value;
        int decimals;
    } rows[] = {
        { _("pump flow"), "mL/min", in->prescribed_pump_ml_min, 0 },
        { _("access at the band"), "mm", in->conduit_mm, 2 },
        { _("feeding artery"), "mm", in->artery_mm, 2 },
        { _("index of the hand"), "", in->index_open, 2 },
        { _("index, pressed shut"), "", in->index_compressed, 2 },
        { _("static pressure"), "mmHg", in->static_mmhg, 0 },
        { _("venous pressure"), "mmHg", in->cvp_mmhg, 0 },
        { _("haematocrit"), "", in->haematocrit_frac, 2 },
        { _("outflow stenosis"), "%", 100.0 * in->stenosis_frac, 0 },
    };
    const char *list = "";

    for (size_t i = 0; i < COUNT(rows); i++) {
        const char *value = words_number(w, rows[i].value, rows[i].decimals);

        if (!isfinite(rows[i].value))
            continue;
        if (rows[i].unit[0] != '\0')
            value = words_say(w, _("%1$s\u00a0%2$s"), value, rows[i].unit);
        /* TRANSLATORS: what was measured, and its value */
        list = and_this(w, list,
                        words_say(w, _("%1$s %2$s"), rows[i].name, value));
    }
    return list;
}

const char *plan_say_valid(struct words *w, const struct plan_document *d)
{
    if (d->from->in.on_table)
        return words_say(w, _("until %s, for this procedure"),
                         words_date(w, d->zone, d->from->expires_s));
    return words_say(w, _("until %s; a pair measured on the table replaces it"),
                     words_date(w, d->zone, d->from->expires_s));
}

/* ---- why there is none -------------------------------------------------------- */

static const char *because(struct words *w, const char *why)
{
    /* TRANSLATORS: %s is a clause: "the access is no longer in use" */
    return words_say(w, _("Because %s."), why);
}

const char *plan_say_refusal(struct words *w, const struct plan_document *d,
                             size_t *i)
{
    const struct plan_phrases *e = plan_phrases(PLAN_PHRASES_EXCLUSION);

    if (*i == 0) {
        ++*i;
        if (d->from->offer == PLAN_UNFIT && d->fault != NULL)
            return words_say(w, _("A value cannot be used (%1$s): %2$s."),
                             d->fault->field, _(d->fault->why));
        if (d->from->offer != PLAN_EXCLUDED)
            return because(w, _(plan_offer_phrase(d->from->offer)->text));
    }
    while (*i <= e->count) {
        const struct plan_phrase *row = &e->rows[(*i)++ - 1];

        if ((d->from->readiness.exclusions & row->key) != 0)
            return because(w, _(row->text));
    }
    return NULL;
}

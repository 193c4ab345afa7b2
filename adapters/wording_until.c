/* What would end a finding. */
#include "adapters/wording_work.h"

#include <math.h>

static double hysteresis_pct(const struct wording *w)
{
    return policy_get(w->policy, P_HYSTERESIS_PCT);
}

/* A sentence that is a line of its own. */
static void say_line(struct fill *s, const char *text, struct buf *out)
{
    fill_say(s, text, out);
    buf_puts(out, "\n");
}

static void fill_inside(struct fill *s, const struct wording *w)
{
    say_per_cent_plain(fill_at(s, "inside"), hysteresis_pct(w), 3);
}

/* The value that two readings in a row must reach, hysteresis and all. */
static void say_inside(const struct wording *w, enum param p, bool high,
                       struct buf *out)
{
    double share = hysteresis_pct(w) / 100.0;
    double limit =
        policy_get(w->policy, p) * (high ? 1.0 - share : 1.0 + share);
    enum quantity q = say_limit_quantity(p);
    struct fill s = { 0 };
    struct buf *value = fill_at(&s, "value");

    if (q == Q_NONE)
        say_per_cent_plain(value, limit * 100.0, 3);
    else if (q == Q_RECIRCULATION)
        say_per_cent_plain(value, limit, 3);
    else if (quantity_info(q)->unit[0] == '1')
        say_plain(value, limit, 3);
    else
        say_value(value, q, limit, BOUND_NONE, NAN);
    fill_say(&s, high ? _("below {value}") : _("at least {value}"), out);
}

static void until_number(const struct wording *w, const struct finding *f,
                         bool high, struct buf *out)
{
    struct fill s = { 0 };

    say_inside(w, f->limit, high, fill_at(&s, "value"));
    fill_inside(&s, w);
    say_line(&s,
             _("Holds until two readings in a row by one method are {value} "
               "({inside} inside the limit), or until an intervention."),
             out);
}

static void until_high(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    until_number(w, f, true, out);
}

static void until_low(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    until_number(w, f, false, out);
}

static void until_finger(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total;
    bool pressure = seen_points(w, f, Q_DIGITAL_PRESSURE, points, &total) > 0;
    bool index =
        seen_points(w, f, Q_DIGITAL_BRACHIAL_INDEX, points, &total) > 0;
    struct fill s = { 0 };

    say_inside(w, pressure || !index ? P_IS5_PRESSURE : P_IS5_INDEX, false,
               fill_at(&s, "value"));
    say_inside(w, P_IS5_INDEX, false, fill_at(&s, "index"));
    fill_inside(&s, w);
    say_line(&s,
             pressure && index
                 ? _("Holds until two readings in a row by one method are "
                     "{value}, and of the index {index} ({inside} inside the "
                     "limit), or until an intervention.")
                 : _("Holds until two readings in a row by one method are "
                     "{value} ({inside} inside the limit), or until an "
                     "intervention."),
             out);
}

static void until_treated(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    struct fill s = { 0 };

    (void)f;
    fill_count(&s, "count", policy_count(w->policy, P_HF5_TREATMENTS));
    fill_count(&s, "days", policy_count(w->policy, P_HF5_PERIOD_D));
    say_inside(w, P_HF5_FLOW, true, fill_at(&s, "value"));
    fill_inside(&s, w);
    say_line(
        &s,
        _("Holds until fewer than {count} treatments lie within {days} "
          "days, or two flows in a row by one method are {value} ({inside} "
          "inside the limit), or until an intervention."),
        out);
}

static void until_heart(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    struct fill s = { 0 };

    (void)f;
    fill_count(&s, "flow_days", policy_count(w->policy, P_HF4_WINDOW_D));
    fill_count(&s, "days", policy_count(w->policy, P_HF4_SIGN_WINDOW_D));
    say_line(
        &s,
        _("Holds while such a flow of the last {flow_days} days and a sign "
          "of the heart of the last {days} days stand, or until an "
          "intervention."),
        out);
}

/* A fall counts as over when it is clearly smaller. */
static double over(const struct wording *w, enum param fall)
{
    return policy_get(w->policy, fall) * (1.0 - hysteresis_pct(w) / 100.0);
}

static void until_fall(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct fill s = { 0 };

    (void)f;
    say_per_cent_plain(fill_at(&s, "fall"), over(w, P_LF3_FALL_PCT), 3);
    fill_inside(&s, w);
    say_line(&s,
             _("Holds until two readings in a row by one method are less than "
               "{fall} below the mean of those before ({inside} inside the "
               "limit), or until an intervention."),
             out);
}

static void until_dose_fall(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    struct fill s = { 0 };

    (void)f;
    say_plain(fill_at(&s, "fall"), over(w, P_AD2_FALL), 3);
    say_line(&s,
             _("Holds until two samples in a row are less than {fall} below "
               "the mean of those before, or the prescription is another, or "
               "until an intervention."),
             out);
}

/* Signs are looked for; pump flow, pressure and bleeding take sessions. */
static void until_signs(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    struct fill s = { 0 };
    bool measured = false;

    for (size_t i = 0; i < f->evidence_count; i++) {
        enum quantity q = w->history->readings[f->evidence[i]].quantity;

        measured = measured || quantity_info(q)->kind != VALUE_CODE;
    }
    fill_inside(&s, w);
    say_line(&s,
             measured ? _("Holds until the sign is looked for and not found in "
                          "a later session, or two sessions in a row are "
                          "{inside} inside the limit, or until an "
                          "intervention.")
                      : _("Holds until the sign is looked for and not found in "
                          "a later session, or until an intervention."),
             out);
}

static void until_band(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct fill s = { 0 };

    (void)f;
    fill_inside(&s, w);
    say_line(&s,
             _("Holds until later readings deny it (two in a row, {inside} "
               "inside the limit; of the hand, two later examinations), or the "
               "band is changed or released."),
             out);
}

static void until_predicted(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    struct fill s = { 0 };

    (void)f;
    fill_inside(&s, w);
    say_line(&s,
             seen_is_predicted(w, PREDICT_OPENING)
                 ? _("Holds until the index is measured anew and the "
                     "prediction from it is {inside} inside both limits, or "
                     "the stenosis was treated or is no longer found.")
                 : _("Holds until the index is measured anew and the "
                     "prediction from it is {inside} inside both limits, or "
                     "the flow is back within what chance explains."),
             out);
}

/* ---- the others depend on no value --------------------------------------- */

static const char *plain_text(enum rule rule)
{
    switch ((int)rule) {
    case RULE_HF_6:
        return _("Holds while HF-1 holds.");
    case RULE_IS_1:
        return _("Holds until two later examinations grade the hand below 2a, "
                 "or find no complaint.");
    case RULE_IS_2:
    case RULE_IS_3:
    case RULE_IS_4:
        return _("Holds until two later examinations grade the hand below "
                 "this, or find no complaint.");
    case RULE_PB_1:
        return _("Holds until what is missing has been recorded, the next "
                 "visit is due, or the band is released.");
    case RULE_BL_1:
    case RULE_IN_1:
        return _("Holds until it is looked for and not found in two later "
                 "sessions.");
    default: /* IS-6 and IS-7 go with the ischaemia */
        return NULL;
    }
}

void say_until(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    static void (*const says[RULE_COUNT])(
        const struct wording *, const struct finding *, struct buf *) = {
        [RULE_HF_1] = until_high,    [RULE_HF_2] = until_high,
        [RULE_HF_3] = until_high,    [RULE_HF_4] = until_heart,
        [RULE_HF_5] = until_treated, [RULE_IS_5] = until_finger,
        [RULE_LF_1] = until_low,     [RULE_LF_2] = until_low,
        [RULE_LF_3] = until_fall,    [RULE_LF_4] = until_high,
        [RULE_LF_5] = until_high,    [RULE_LF_6] = until_signs,
        [RULE_AD_1] = until_low,     [RULE_AD_2] = until_dose_fall,
        [RULE_PB_2] = until_band,    [RULE_PB_3] = until_band,
        [RULE_PB_4] = until_band,    [RULE_IS_8] = until_predicted,
    };
    const char *plain = plain_text(f->rule);

    if (f->disagree || f->low_pressure)
        plain = _("Holds until it has been measured again.");
    else if (says[f->rule] != NULL)
        says[f->rule](w, f, out);
    if (plain != NULL)
        buf_printf(out, "%s\n", plain);
}

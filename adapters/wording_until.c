/* What would end a finding. */
#include "adapters/wording_work.h"

#include <math.h>

#define UNTIL_HAND                                                             \
    "Holds until two later examinations grade the hand below this, or find "   \
    "no complaint.\n"
#define UNTIL_GONE                                                             \
    "Holds until it is looked for and not found in two later sessions.\n"

static double hysteresis_pct(const struct wording *w)
{
    return policy_get(w->policy, P_HYSTERESIS_PCT);
}

/* The value that two readings in a row must reach, hysteresis and all. */
static void say_inside(const struct wording *w, enum param p, bool high,
                       struct buf *out)
{
    double share = hysteresis_pct(w) / 100.0;
    double limit =
        policy_get(w->policy, p) * (high ? 1.0 - share : 1.0 + share);
    enum quantity q = say_limit_quantity(p);

    buf_puts(out, high ? "below " : "at least ");
    if (q == Q_NONE)
        buf_printf(out, "%.3g %%", limit * 100.0);
    else if (q == Q_RECIRCULATION)
        buf_printf(out, "%.3g %%", limit);
    else if (quantity_info(q)->unit[0] == '1')
        buf_printf(out, "%.3g", limit);
    else
        say_value(out, q, limit, BOUND_NONE, NAN);
}

static void say_tail(const struct wording *w, struct buf *out)
{
    buf_printf(out, " (%.3g %% inside the limit), or until an intervention.\n",
               hysteresis_pct(w));
}

static void until_number(const struct wording *w, const struct finding *f,
                         bool high, struct buf *out)
{
    buf_puts(out, "Holds until two readings in a row by one method are ");
    say_inside(w, f->limit, high, out);
    say_tail(w, out);
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

    buf_puts(out, "Holds until two readings in a row by one method are ");
    if (pressure)
        say_inside(w, P_IS5_PRESSURE, false, out);
    if (seen_points(w, f, Q_DIGITAL_BRACHIAL_INDEX, points, &total) > 0) {
        buf_puts(out, pressure ? ", and of the index " : "");
        say_inside(w, P_IS5_INDEX, false, out);
    }
    say_tail(w, out);
}

static void until_treated(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    (void)f;
    buf_printf(out,
               "Holds until fewer than %d treatments lie within %d days, or "
               "two flows in a row by one method are ",
               policy_count(w->policy, P_HF5_TREATMENTS),
               policy_count(w->policy, P_HF5_PERIOD_D));
    say_inside(w, P_HF5_FLOW, true, out);
    say_tail(w, out);
}

static void until_heart(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    (void)f;
    buf_printf(out,
               "Holds while such a flow of the last %d days and a sign of the "
               "heart of the last %d days stand, or until an intervention.\n",
               policy_count(w->policy, P_HF4_WINDOW_D),
               policy_count(w->policy, P_HF4_SIGN_WINDOW_D));
}

/* A fall counts as over when it is clearly smaller. */
static double over(const struct wording *w, enum param fall)
{
    return policy_get(w->policy, fall) * (1.0 - hysteresis_pct(w) / 100.0);
}

static void until_fall(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    (void)f;
    buf_printf(out,
               "Holds until two readings in a row by one method are less than "
               "%.3g %% below the mean of those before",
               over(w, P_LF3_FALL_PCT));
    say_tail(w, out);
}

static void until_dose_fall(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    (void)f;
    buf_printf(out,
               "Holds until two samples in a row are less than %.3g below the "
               "mean of those before, or the prescription is another, or until "
               "an intervention.\n",
               over(w, P_AD2_FALL));
}

/* ---- the others are sentences ---------------------------------------------------- */

static void until_body(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    (void)w;
    (void)f;
    buf_puts(out, "Holds while HF-1 holds.\n");
}

static void until_nerves(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    (void)w;
    (void)f;
    buf_puts(out, "Holds until two later examinations grade the hand below "
                  "2a, or find no complaint.\n");
}

static void until_hand(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    (void)w;
    (void)f;
    buf_puts(out, UNTIL_HAND);
}

static void until_gone(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    (void)w;
    (void)f;
    buf_puts(out, UNTIL_GONE);
}

/* Signs are looked for; pump flow, pressure and bleeding take sessions. */
static void until_signs(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    bool measured = false;

    for (size_t i = 0; i < f->evidence_count; i++) {
        enum quantity q = w->history->readings[f->evidence[i]].quantity;

        measured = measured || quantity_info(q)->kind != VALUE_CODE;
    }
    buf_puts(out, "Holds until the sign is looked for and not found in a later "
                  "session");
    if (measured)
        buf_printf(out,
                   ", or two sessions in a row are %.3g %% inside the limit",
                   hysteresis_pct(w));
    buf_puts(out, ", or until an intervention.\n");
}

static void until_visit(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    (void)w;
    (void)f;
    buf_puts(out, "Holds until what is missing has been recorded, the next "
                  "visit is due, or the band is released.\n");
}

static void until_band(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    (void)f;
    buf_printf(out,
               "Holds until later readings deny it (two in a row, %.3g %% "
               "inside the limit; of the hand, two later examinations), or the "
               "band is changed or released.\n",
               hysteresis_pct(w));
}

static void until_predicted(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    (void)f;
    buf_printf(out,
               "Holds until the index is measured anew and the prediction from "
               "it is %.3g %% inside both limits, ",
               hysteresis_pct(w));
    if (seen_is_predicted(w, PREDICT_OPENING))
        buf_puts(out, "or the stenosis was treated or is no longer found.\n");
    else
        buf_puts(out, "or the flow is back within what chance explains.\n");
}

void say_until(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    /* IS-6 and IS-7 go with the ischaemia */
    static void (*const says[RULE_COUNT])(
        const struct wording *, const struct finding *, struct buf *) = {
        [RULE_HF_1] = until_high,      [RULE_HF_2] = until_high,
        [RULE_HF_3] = until_high,      [RULE_HF_4] = until_heart,
        [RULE_HF_5] = until_treated,   [RULE_HF_6] = until_body,
        [RULE_IS_1] = until_nerves,    [RULE_IS_2] = until_hand,
        [RULE_IS_3] = until_hand,      [RULE_IS_4] = until_hand,
        [RULE_IS_5] = until_finger,    [RULE_LF_1] = until_low,
        [RULE_LF_2] = until_low,       [RULE_LF_3] = until_fall,
        [RULE_LF_4] = until_high,      [RULE_LF_5] = until_high,
        [RULE_LF_6] = until_signs,     [RULE_AD_1] = until_low,
        [RULE_AD_2] = until_dose_fall, [RULE_PB_1] = until_visit,
        [RULE_PB_2] = until_band,      [RULE_PB_3] = until_band,
        [RULE_PB_4] = until_band,      [RULE_BL_1] = until_gone,
        [RULE_IN_1] = until_gone,      [RULE_IS_8] = until_predicted,
    };

    if (f->disagree || f->low_pressure)
        buf_puts(out, "Holds until it has been measured again.\n");
    else if (says[f->rule] != NULL)
        says[f->rule](w, f, out);
}

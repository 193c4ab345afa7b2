/* What was seen of the flow: too high, too low, too large a share, falling. */
#include "adapters/wording_work.h"

#include <math.h>

/* A flow falls with the pressure: that explains, and never triggers. */
static void say_pressure(const struct finding *f, struct buf *out)
{
    if (isnan(f->mean_pressure_mmhg))
        return;
    buf_printf(out, " Measured at a mean pressure of %.0f mmHg",
               f->mean_pressure_mmhg);
    if (isnan(f->usual_pressure_mmhg))
        buf_puts(out, "; the usual one is not known.");
    else if (f->mean_pressure_mmhg < f->usual_pressure_mmhg)
        buf_printf(out, ", usually %.0f: a flow falls with the pressure.",
                   f->usual_pressure_mmhg);
    else
        buf_printf(out, ", usually %.0f.", f->usual_pressure_mmhg);
}

/* ", 2 readings in a row", where one is not enough. */
static void say_needed(const struct wording *w, enum param readings,
                       struct buf *out)
{
    if (policy_count(w->policy, readings) == 1)
        return;
    buf_puts(out, ", ");
    say_limit(w, readings, out);
}

static enum param readings_row(enum rule rule)
{
    static const enum param rows[RULE_COUNT] = {
        [RULE_HF_1] = P_HF1_READINGS,
        [RULE_HF_2] = P_HF2_READINGS,
        [RULE_LF_1] = P_LF1_READINGS,
        [RULE_LF_2] = P_LF2_READINGS,
    };

    return rows[rule];
}

/* Measurements of one session that contradict each other: all are shown. */
static void say_contradiction(const struct wording *w, const struct finding *f,
                              bool high, struct buf *out)
{
    buf_puts(out, "Measurements of the access flow in one session contradict "
                  "each other: ");
    for (size_t i = 0; i < f->evidence_count; i++) {
        buf_puts(out, i > 0 ? "; " : "");
        wording_reading(&w->history->readings[f->evidence[i]], w->zone, out);
    }
    buf_puts(out, ".");
    seen_site_limit(w, f->limit, high, out);
    seen_rule(f, out);
    buf_puts(out, " They confirm nothing: a third one is needed.");
}

void seen_flow(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    bool high = rule_info(f->rule)->group == GROUP_FLOW;

    if (f->disagree) {
        say_contradiction(w, f, high, out);
        return;
    }
    buf_puts(out, "Access flow ");
    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, f->limit), true, out);
    buf_puts(out, ".");
    seen_site_limit(w, f->limit, high, out);
    say_needed(w, readings_row(f->rule), out);
    seen_rule(f, out);
    if (!high)
        say_pressure(f, out);
    if (f->with_sign)
        seen_signs_sentence(w, f, " Signs: ", out);
}

/* "1400 and 2000 mL/min": those that were sent. */
static void brief_contradiction(const struct wording *w,
                                const struct finding *f, struct buf *out)
{
    size_t said = 0;

    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];

        if (r->quantity != Q_ACCESS_FLOW)
            continue;
        buf_puts(out, said++ > 0 ? " and " : "");
        say_value(out, r->quantity, r->value, r->bound, NAN);
    }
    buf_puts(out, said > 1 ? " in one session" : ", other as computed");
}

void seen_flow_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    buf_puts(out, "flow ");
    if (f->disagree) {
        brief_contradiction(w, f, out);
        seen_brief_limit(w, f, out);
        return;
    }
    seen_brief_points(w, f, Q_ACCESS_FLOW, seen_limit(w, f->limit), out);
    if (f->rule == RULE_IS_6)
        buf_puts(out, ", high");
    else if (f->rule == RULE_IS_7)
        buf_puts(out, ", normal or low");
    seen_brief_limit(w, f, out);
    if (f->with_sign)
        seen_signs(w, f, false, "; ", out);
}

void seen_beside(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    bool high = f->rule == RULE_IS_6;

    buf_puts(out, "Access flow ");
    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, f->limit), true, out);
    buf_puts(out, high ? ", which counts as high here."
                       : ", which counts as normal or low here.");
    seen_site_limit(w, f->limit, high, out);
    seen_rule(f, out);
}

/* ---- the heart ------------------------------------------------------------------ */

/* "The access takes 33 % of the cardiac output: flow ..., cardiac output ..." */
static void say_share(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    buf_printf(out, "The access takes %.0f %% of the cardiac output: flow ",
               f->measured * 100.0);
    seen_say_points(w, f, Q_ACCESS_FLOW, NAN, true, out);
    buf_puts(out, ", cardiac output ");
    seen_say_points(w, f, Q_CARDIAC_OUTPUT, NAN, false, out);
    buf_puts(out, ".");
}

static void say_least_flow(const struct wording *w, const struct finding *f,
                           struct buf *out)
{
    bool severe = f->limit == P_HF3_RATIO_SEVERE;

    buf_puts(out, " at a flow of at least ");
    say_limit(w, severe ? P_HF3_FLOW_SEVERE : P_HF3_FLOW, out);
}

void seen_share(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    say_share(w, f, out);
    seen_site_limit(w, f->limit, true, out);
    say_least_flow(w, f, out);
    seen_rule(f, out);
}

void seen_share_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    buf_printf(out, "%.0f %% of the cardiac output at a flow of ",
               f->measured * 100.0);
    seen_brief_row(w, f, Q_ACCESS_FLOW, NAN, 1, out);
    seen_brief_limit(w, f, out);
}

void seen_heart(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    bool share = say_limit_is_share(f->limit);

    if (share) {
        say_share(w, f, out);
    } else {
        buf_puts(out, "Access flow ");
        seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, f->limit), true,
                        out);
        buf_puts(out, ".");
    }
    seen_signs_sentence(w, f, " Signs of the heart: ", out);
    seen_site_limit(w, f->limit, true, out);
    if (share)
        say_least_flow(w, f, out);
    buf_printf(out, ", with a sign of the heart of the last %d days",
               policy_count(w->policy, P_HF4_SIGN_WINDOW_D));
    seen_rule(f, out);
}

void seen_heart_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    if (say_limit_is_share(f->limit))
        seen_share_brief(w, f, out);
    else
        seen_flow_brief(w, f, out);
    if (!f->with_sign || say_limit_is_share(f->limit))
        seen_signs(w, f, false, "; ", out);
}

/* ---- treatment of the outflow, size of the body ------------------------------------ */

static size_t treatments(const struct wording *w, const struct finding *f)
{
    size_t count = 0;

    for (size_t i = 0; i < f->evidence_count; i++) {
        if (w->history->readings[f->evidence[i]].sign ==
            SIGN_ANGIOPLASTY_OUTFLOW)
            count++;
    }
    return count;
}

void seen_treated(const struct wording *w, const struct finding *f,
                  struct buf *out)
{
    buf_printf(out,
               "Outflow treated %zu times within %d days: ", treatments(w, f),
               policy_count(w->policy, P_HF5_PERIOD_D));
    seen_signs(w, f, true, "", out);
    buf_puts(out, "; access flow ");
    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, P_HF5_FLOW), true, out);
    buf_puts(out, ". Limits at this site: ");
    say_limit(w, P_HF5_TREATMENTS, out);
    buf_puts(out, " treatments or more, and a flow after the last of them of "
                  "more than ");
    say_limit(w, P_HF5_FLOW, out);
    seen_rule(f, out);
}

void seen_treated_brief(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    buf_printf(out, "outflow treated %zu times, flow ", treatments(w, f));
    seen_brief_points(w, f, Q_ACCESS_FLOW, seen_limit(w, P_HF5_FLOW), out);
    buf_printf(out, " (limits %d and %.6g, %s)",
               policy_count(w->policy, P_HF5_TREATMENTS),
               seen_limit(w, P_HF5_FLOW), rule_info(f->rule)->id);
}

void seen_height(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    struct point height[SEEN_MAX];
    size_t total, count = seen_points(w, f, Q_HEIGHT, height, &total);

    buf_puts(out, "Access flow ");
    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, P_HF6_FLOW), true, out);
    if (count > 0) {
        buf_puts(out, " at a height of ");
        say_value(out, Q_HEIGHT, height[count - 1].value, BOUND_NONE, NAN);
    }
    buf_printf(out, ": %.0f mL/min for a height of 1 m to the power 2.7.",
               f->measured);
    seen_site_limit(w, P_HF6_INDEX, true, out);
    buf_puts(out, ", at a flow of at least ");
    say_limit(w, P_HF6_FLOW, out);
    seen_rule(f, out);
}

void seen_height_brief(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    buf_printf(out, "flow high for the size of the body: %.0f (limit %.6g, %s)",
               f->measured, seen_limit(w, P_HF6_INDEX), rule_info(f->rule)->id);
}

/* ---- falling ------------------------------------------------------------------------ */

/* Of the values that a fall rests on, the newest are the fallen ones; those
 * before gave what they are compared with. */
static size_t count_fallen(const struct wording *w, const struct finding *f,
                           const struct point *points, size_t count)
{
    double least = f->baseline * (1.0 - seen_limit(w, P_LF3_FALL_PCT) / 100.0);
    size_t fallen = 0;

    while (fallen < count && points[count - 1 - fallen].value < least)
        fallen++;
    return fallen > 0 ? fallen : count;
}

static double fall_pct(const struct finding *f, const struct point *p)
{
    return (f->baseline - p->value) / f->baseline * 100.0;
}

static void say_falls(const struct finding *f, const struct point *points,
                      size_t count, struct buf *out)
{
    size_t from = count > SEEN_MAX ? count - SEEN_MAX : 0;

    for (size_t i = from; i < count; i++)
        buf_printf(out, "%s%.1f %%",
                   i == from        ? ""
                   : i + 1 == count ? " and "
                                    : ", ",
                   fall_pct(f, &points[i]));
}

void seen_fall(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_ACCESS_FLOW, points);
    size_t fallen = count_fallen(w, f, points, count);
    size_t before = count - fallen;

    buf_puts(out, "Access flow ");
    seen_say_list(w, Q_ACCESS_FLOW, points + before, fallen,
                  seen_limit(w, P_LF3_FLOW), true, out);
    buf_puts(out, ": ");
    say_falls(f, points + before, fallen, out);
    buf_printf(out, " below %.0f mL/min, the mean of ", f->baseline);
    if (before > 0)
        buf_printf(out, "%zu before.", before);
    else
        buf_puts(out, "those before.");
    buf_puts(out, " Limit at this site: a fall of more than ");
    say_limit(w, P_LF3_FALL_PCT, out);
    buf_puts(out, " to below ");
    say_limit(w, P_LF3_FLOW, out);
    say_needed(w, P_LF3_READINGS, out);
    seen_rule(f, out);
    say_pressure(f, out);
    if (f->with_sign)
        seen_signs_sentence(w, f, " Signs: ", out);
}

void seen_fall_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total, count = seen_points(w, f, Q_ACCESS_FLOW, points, &total);

    buf_puts(out, "flow ");
    if (count > 0) {
        say_value(out, Q_ACCESS_FLOW, points[count - 1].value,
                  points[count - 1].bound, NAN);
        buf_printf(out, ", %.1f %% below %.0f", fall_pct(f, &points[count - 1]),
                   f->baseline);
    }
    buf_puts(out, " (limit ");
    say_limit(w, P_LF3_FALL_PCT, out);
    buf_printf(out, ", %s)", rule_info(f->rule)->id);
    if (f->with_sign)
        seen_signs(w, f, false, "; ", out);
}

/* What was seen of the effect of a band: not enough, and not lasting. */
#include "adapters/wording_work.h"

#include <math.h>

/* ---- not enough -------------------------------------------------------------------- */

/* Those measured after it; the flow before it is the baseline. */
static size_t after_band(const struct wording *w, const struct finding *f,
                         struct point points[EVIDENCE_MAX], size_t *before)
{
    const struct reading *band = seen_band(w);
    size_t count = seen_all(w, f, Q_ACCESS_FLOW, points);

    *before = 0;
    while (band != NULL && *before < count &&
           points[*before].at_s < band->start_s)
        ++*before;
    return count - *before;
}

static void loose_flow(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t before, count = after_band(w, f, points, &before);

    buf_puts(out, "Access flow ");
    seen_say_list(w, Q_ACCESS_FLOW, points + before, count, NAN, true, out);
    seen_after(w, out);
    if (count > 0 && !isnan(f->baseline)) {
        double value = points[before + count - 1].value;
        double fall_pct = (f->baseline - value) / f->baseline * 100.0;

        if (fall_pct > 0)
            buf_printf(out, ": %.1f %% below %.0f mL/min before it", fall_pct,
                       f->baseline);
        else
            buf_printf(out, ": not below %.0f mL/min before it", f->baseline);
    }
    buf_puts(out, ". Limit at this site: a fall of less than ");
    say_limit(w, P_PB3_FALL_PCT, out);
}

/* An index that has not come up, if the finding rests on one. */
static void loose_index(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_DIGITAL_BRACHIAL_INDEX, points);

    if (count == 0)
        return;
    buf_puts(out, "; digital-brachial index ");
    seen_say_list(w, Q_DIGITAL_BRACHIAL_INDEX, points, count,
                  seen_limit(w, P_IS5_INDEX), false, out);
    if (f->quantity == Q_DIGITAL_BRACHIAL_INDEX && !isnan(f->baseline)) {
        buf_puts(out, ", before the band ");
        say_number(out, Q_DIGITAL_BRACHIAL_INDEX, f->baseline, NAN);
    }
    buf_puts(out, " (limit at this site: below ");
    say_limit(w, P_IS5_INDEX, out);
    buf_puts(out, ")");
}

static void loose_hand(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    buf_puts(out, "The band was for the hand, and the hand is not better");
    seen_after(w, out);
    buf_puts(out, ": ");
    if (seen_signs(w, f, true, "", out) == 0)
        buf_puts(out, "no symptom of it is recorded");
    else if (f->grade > GRADE_NONE) {
        buf_puts(out, ", ");
        say_grade(out, f->grade);
    }
    loose_index(w, f, out);
    buf_printf(out, ". Limit at this site: %.3g days or more after the band",
               seen_limit(w, P_PB3_AFTER_D));
}

void seen_loose(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    bool flow = f->limit == P_PB3_FALL_PCT;

    if (flow)
        loose_flow(w, f, out);
    if (!flow || f->grade > GRADE_NONE ||
        seen_all(w, f, Q_DIGITAL_BRACHIAL_INDEX, points) > 0) {
        buf_puts(out, flow ? ". " : "");
        loose_hand(w, f, out);
    }
    seen_rule(f, out);
}

void seen_loose_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    if (f->limit == P_PB3_FALL_PCT) {
        struct point points[EVIDENCE_MAX];
        size_t before, count = after_band(w, f, points, &before);

        buf_puts(out, "flow ");
        if (count > 0)
            say_value(out, Q_ACCESS_FLOW, points[before + count - 1].value,
                      points[before + count - 1].bound, NAN);
        buf_printf(out, ", down %.0f %%", f->measured);
    } else if (f->quantity == Q_DIGITAL_BRACHIAL_INDEX) {
        buf_puts(out, "digital-brachial index ");
        seen_brief_points(w, f, Q_DIGITAL_BRACHIAL_INDEX,
                          seen_limit(w, P_IS5_INDEX), out);
    } else if (seen_signs(w, f, false, "", out) == 0) {
        buf_printf(out, "hand grade %s", grade_word(f->grade));
    }
    buf_puts(out, " after a band");
    seen_brief_rule(f, out);
}

/* ---- rising ------------------------------------------------------------------------- */

/* Those that the rise is said of: after the first flow since the band. */
static size_t risen(const struct wording *w, const struct finding *f,
                    struct point points[EVIDENCE_MAX], size_t *before)
{
    size_t count = after_band(w, f, points, before);
    size_t needed = (size_t)policy_count(w->policy, P_PB4_READINGS);

    if (count > needed) {
        ++*before; /* the first is what they are compared with */
        count--;
    }
    return count;
}

static double rise_pct(const struct finding *f, const struct point *p)
{
    return (p->value - f->baseline) / f->baseline * 100.0;
}

static void say_rises(const struct finding *f, const struct point *points,
                      size_t count, struct buf *out)
{
    size_t from = count > SEEN_MAX ? count - SEEN_MAX : 0;

    for (size_t i = from; i < count; i++)
        buf_printf(out, "%s%.1f %%",
                   i == from        ? ""
                   : i + 1 == count ? " and "
                                    : ", ",
                   rise_pct(f, &points[i]));
}

static void rise_limits(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    buf_puts(out, " Limits at this site: ");
    if (f->still_high) {
        say_limit(w, P_PB4_FLOW, out);
        buf_puts(out, " or more");
    } else {
        buf_puts(out, "a rise of more than ");
        say_limit(w, P_PB4_RISE_PCT, out);
        buf_puts(out, " to more than ");
        say_limit(w, P_PB4_RISE_FLOW, out);
        buf_puts(out, ", or of at least ");
        say_limit(w, P_PB4_RISE_LEAST_PCT, out);
        buf_puts(out, " to ");
        say_limit(w, P_PB4_FLOW, out);
        buf_puts(out, " or more");
    }
    seen_times(policy_count(w->policy, P_PB4_READINGS), "readings", out);
}

void seen_rise(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t before, count = risen(w, f, points, &before);

    buf_puts(out, "Access flow ");
    seen_say_list(w, Q_ACCESS_FLOW, points + before, count, NAN, true, out);
    seen_after(w, out);
    if (f->still_high && !isnan(f->baseline)) {
        buf_printf(out,
                   ": still high; it has not risen from %.0f mL/min, the first "
                   "flow after the band.",
                   f->baseline);
    } else if (f->still_high) {
        buf_puts(out, ": still high.");
    } else {
        buf_puts(out, ": ");
        say_rises(f, points + before, count, out);
        buf_printf(out, " above %.0f mL/min, the first flow after the band.",
                   f->baseline);
    }
    rise_limits(w, f, out);
    seen_rule(f, out);
    if (f->with_sign)
        seen_signs_sentence(w, f, " Signs: ", out);
}

void seen_rise_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t before, count = risen(w, f, points, &before);

    buf_puts(out, "flow ");
    seen_brief_points(w, f, Q_ACCESS_FLOW, NAN, out);
    if (f->still_high)
        buf_puts(out, ", still high after a band");
    else if (count > 0)
        buf_printf(out, ", %.0f %% up since the band",
                   rise_pct(f, &points[before + count - 1]));
    seen_brief_rule(f, out);
    if (f->with_sign)
        seen_signs(w, f, false, "; ", out);
}

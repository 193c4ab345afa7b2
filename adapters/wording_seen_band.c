/* What was seen after a band: its follow-up, and that it is too tight. */
#include "adapters/wording_work.h"

#include <math.h>

void seen_after(const struct wording *w, struct buf *out)
{
    const struct reading *band = seen_band(w);

    if (band == NULL) {
        buf_puts(out, " after the band");
        return;
    }
    buf_puts(out, " after the band of ");
    say_date(w, band->start_s, out);
}

/* ---- follow-up ------------------------------------------------------------------ */

void say_window(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    buf_puts(out, f->repeat_from_s != 0 ? "from " : "by ");
    if (f->repeat_from_s != 0) {
        say_date(w, f->repeat_from_s, out);
        buf_puts(out, " to ");
    }
    say_date(w, f->repeat_by_s, out);
}

/* The end of the window, which tells visits apart. */
static int64_t due_s(const struct finding *f)
{
    return f->repeat_by_s != 0 ? f->repeat_by_s : f->occasion;
}

void seen_follow_up(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    buf_puts(out, "Follow-up");
    seen_after(w, out);
    if (f->confirmed) {
        buf_puts(out, " is overdue: it was due by ");
        say_date(w, due_s(f), out);
    } else {
        buf_puts(out, " is due ");
        say_window(w, f, out);
    }
    buf_puts(out, ". Asks for: ");
    say_visit(out, f->visit_items);
    seen_rule(f, out);
}

void seen_follow_up_brief(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    buf_puts(out, "follow-up after a band ");
    buf_puts(out, f->confirmed ? "overdue since " : "due by ");
    say_date(w, due_s(f), out);
    buf_puts(out, ": ");
    say_visit_brief(out, f->visit_items);
    buf_printf(out, " (%s)", rule_info(f->rule)->id);
}

/* ---- too tight -------------------------------------------------------------------- */

/* Which of the limits of the flow was crossed, or may have been. */
static enum param flow_limit(const struct wording *w, const struct finding *f)
{
    if (f->quantity == Q_ACCESS_FLOW)
        return f->limit;
    return w->history->access_type == SIGN_TYPE_AVG ? P_PB2_FLOW_GRAFT
                                                    : P_PB2_FLOW_FISTULA;
}

static void tight_flow(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    enum param limit = flow_limit(w, f);

    buf_puts(out, "Access flow ");
    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, limit), true, out);
    seen_after(w, out);
    buf_puts(out, ".");
    if (limit != P_PB2_MARGIN) {
        seen_site_limit(w, limit, false, out);
        return;
    }
    buf_puts(out, " Limit at this site: below the prescribed pump flow");
    if (!isnan(f->baseline))
        buf_printf(out, " of %.0f mL/min", f->baseline);
    buf_puts(out, " and ");
    say_limit(w, P_PB2_MARGIN, out);
    buf_puts(out, " more");
}

static void tight_pressure(const struct wording *w, const struct finding *f,
                           struct buf *out)
{
    buf_puts(out, "Pressure before the pump ");
    seen_say_points(w, f, Q_ARTERIAL_LINE_PRESSURE,
                    seen_limit(w, P_PB2_PRESSURE), false, out);
    seen_after(w, out);
    buf_puts(out, ".");
    seen_site_limit(w, P_PB2_PRESSURE, false, out);
}

/* ", and pump flow 250 mL/min on 2026-11-20, prescribed 300 mL/min" */
static void pump_short(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_PUMP_FLOW, points);
    double prescribed_ml_min;

    if (count == 0)
        return;
    prescribed_ml_min = seen_prescribed(w, points[count - 1].at_s);
    buf_puts(out, "; pump flow ");
    seen_say_point(w, Q_PUMP_FLOW, &points[count - 1], NAN, out);
    if (!isnan(prescribed_ml_min))
        buf_printf(out, ", prescribed %.0f mL/min", prescribed_ml_min);
}

static void tight_dose(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_SPKTV, points);

    buf_printf(out, "%s ", quantity_info(Q_SPKTV)->display);
    seen_say_list(w, Q_SPKTV, points, count, NAN, false, out);
    seen_after(w, out);
    if (f->quantity == Q_SPKTV && !isnan(f->baseline))
        buf_printf(out, ", %.2f below %.2f, the mean before it",
                   f->baseline - points[count - 1].value, f->baseline);
    pump_short(w, f, out);
    buf_puts(out, ". Limit at this site: a fall of more than ");
    say_limit(w, P_PB2_DOSE_FALL, out);
    buf_puts(out, " while the prescribed pump flow is not reached");
}

/* The grounds of a band that is too tight, each a sentence. */
static const struct {
    enum quantity q;
    void (*say)(const struct wording *w, const struct finding *f,
                struct buf *out);
} grounds[] = { { Q_ACCESS_FLOW, tight_flow },
                { Q_SPKTV, tight_dose },
                { Q_ARTERIAL_LINE_PRESSURE, tight_pressure } };

void seen_tight(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    bool any = false;

    if (seen_signs(w, f, true, "Seen: ", out) > 0) {
        seen_after(w, out);
        any = true;
    }
    for (size_t i = 0; i < COUNT(grounds); i++) {
        if (seen_all(w, f, grounds[i].q, points) == 0)
            continue;
        buf_puts(out, any ? ". " : "");
        grounds[i].say(w, f, out);
        any = true;
    }
    if (f->quantity != Q_THRILL)
        buf_printf(out,
                   ", once in the first %d days and %d times in a row later",
                   policy_count(w->policy, P_PB2_EARLY_D),
                   policy_count(w->policy, P_PB2_READINGS_LATER));
    seen_rule(f, out);
}

void seen_tight_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    if (seen_thrill_lost(w, f)) {
        seen_signs(w, f, false, "", out);
    } else if (f->quantity == Q_ARTERIAL_LINE_PRESSURE) {
        buf_puts(out, "pressure before the pump ");
        seen_brief_points(w, f, Q_ARTERIAL_LINE_PRESSURE,
                          seen_limit(w, P_PB2_PRESSURE), out);
    } else if (f->quantity == Q_SPKTV) {
        buf_puts(out, "Kt/V ");
        seen_brief_points(w, f, Q_SPKTV, NAN, out);
    } else {
        buf_puts(out, "flow ");
        seen_brief_points(w, f, Q_ACCESS_FLOW, seen_limit(w, flow_limit(w, f)),
                          out);
    }
    buf_puts(out, " after a band");
    seen_brief_rule(f, out);
}

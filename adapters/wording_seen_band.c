/* What was seen after a band: its follow-up, and that it is too tight. */
#include "adapters/wording_work.h"

#include <math.h>

void seen_after(const struct wording *w, struct buf *out)
{
    const struct reading *band = seen_band(w);
    struct fill s = { 0 };

    if (band != NULL)
        say_date(w, band->start_s, fill_at(&s, "date"));
    fill_say(&s,
             band != NULL ? _("after the band of {date}") : _("after the band"),
             out);
}

/* ---- follow-up ----------------------------------------------------------- */

void say_window(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct fill s = { 0 };

    say_date(w, f->repeat_from_s, fill_at(&s, "from"));
    say_date(w, f->repeat_by_s, fill_at(&s, "to"));
    fill_say(&s,
             f->repeat_from_s != 0 ? _("from {from} to {to}") : _("by {to}"),
             out);
}

/* The end of the window, which tells visits apart. */
static int64_t due_s(const struct finding *f)
{
    return f->repeat_by_s != 0 ? f->repeat_by_s : f->occasion;
}

void seen_follow_up(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    struct fill s = { 0 };

    seen_after(w, fill_at(&s, "after"));
    say_date(w, due_s(f), fill_at(&s, "date"));
    say_window(w, f, fill_at(&s, "window"));
    say_visit(fill_at(&s, "items"), f->visit_items);
    fill_rule(&s, f);
    /* TRANSLATORS: after: "after the band of 2026-08-01" */
    fill_say(&s,
             f->confirmed
                 ? _("Follow-up {after} is overdue: it was due by {date}. Asks "
                     "for: {items} ({rule}).")
                 : _("Follow-up {after} is due {window}. Asks for: {items} "
                     "({rule})."),
             out);
}

void seen_follow_up_brief(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    struct fill s = { 0 };

    say_date(w, due_s(f), fill_at(&s, "date"));
    say_visit_brief(fill_at(&s, "items"), f->visit_items);
    fill_rule(&s, f);
    fill_say(&s,
             f->confirmed ? _("follow-up after a band overdue since {date}: "
                              "{items} ({rule})")
                          : _("follow-up after a band due by {date}: {items} "
                              "({rule})"),
             out);
}

/* ---- too tight ----------------------------------------------------------- */

/* Which of the limits of the flow was crossed, or may have been. */
static enum param flow_limit(const struct wording *w, const struct finding *f)
{
    if (f->quantity == Q_ACCESS_FLOW)
        return f->limit;
    return w->history->access_type == SIGN_TYPE_AVG ? P_PB2_FLOW_GRAFT
                                                    : P_PB2_FLOW_FISTULA;
}

/* "below the prescribed pump flow of 300 mL/min and 100 mL/min more" */
static void margin_limit(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "margin", w, P_PB2_MARGIN);
    fill_number(&s, "pump", f->baseline, 0);
    fill_say(&s,
             isnan(f->baseline)
                 ? _("below the prescribed pump flow and {margin} more")
                 : _("below the prescribed pump flow of {pump} mL/min and "
                     "{margin} more"),
             out);
}

static void tight_flow(const struct wording *w, const struct finding *f,
                       struct buf *limit, struct buf *out)
{
    enum param p = flow_limit(w, f);
    struct fill s = { 0 };

    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, p), true,
                    fill_at(&s, "list"));
    seen_after(w, fill_at(&s, "after"));
    fill_say(&s, _("Access flow {list} {after}."), out);
    if (p == P_PB2_MARGIN)
        margin_limit(w, f, limit);
    else
        say_beyond(w, p, BELOW, limit);
}

static void tight_pressure(const struct wording *w, const struct finding *f,
                           struct buf *limit, struct buf *out)
{
    struct fill s = { 0 };

    seen_say_points(w, f, Q_ARTERIAL_LINE_PRESSURE,
                    seen_limit(w, P_PB2_PRESSURE), false, fill_at(&s, "list"));
    seen_after(w, fill_at(&s, "after"));
    fill_say(&s, _("Pressure before the pump {list} {after}."), out);
    say_beyond(w, P_PB2_PRESSURE, BELOW, limit);
}

/* "Pump flow 250 mL/min on 2026-11-20, prescribed 300 mL/min" beside a dose */
static const char *pump_short(const struct wording *w, const struct finding *f,
                              struct fill *s)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_PUMP_FLOW, points);
    double prescribed_ml_min;

    if (count == 0)
        return "";
    prescribed_ml_min = seen_prescribed(w, points[count - 1].at_s);
    seen_say_point(w, Q_PUMP_FLOW, &points[count - 1], NAN, fill_at(s, "what"));
    fill_number(s, "prescribed", prescribed_ml_min, 0);
    return isnan(prescribed_ml_min)
               ? _("; pump flow {what}")
               : _("; pump flow {what}, prescribed {prescribed} mL/min");
}

static void tight_dose(const struct wording *w, const struct finding *f,
                       struct buf *limit, struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_SPKTV, points);
    bool falls = f->quantity == Q_SPKTV && !isnan(f->baseline);
    struct fill pump = { 0 }, s = { 0 };

    fill_text(&s, "name", wording_name(quantity_info(Q_SPKTV)->display));
    seen_say_list(w, Q_SPKTV, points, count, NAN, false, fill_at(&s, "list"));
    seen_after(w, fill_at(&s, "after"));
    fill_number(&s, "fall", f->baseline - points[count - 1].value, 2);
    fill_number(&s, "mean", f->baseline, 2);
    /* a list item that may be empty, and its own text in the catalogue */
    fill_say(&pump, pump_short(w, f, &pump), fill_at(&s, "pump"));
    /* TRANSLATORS: pump is "; pump flow ...", or nothing */
    fill_say(&s,
             falls ? _("{name} {list} {after}, {fall} below {mean}, the mean "
                       "before it{pump}.")
                   : _("{name} {list} {after}{pump}."),
             out);
    fill_limit(&s, "fall", w, P_PB2_DOSE_FALL);
    fill_say(&s,
             _("a fall of more than {fall} while the prescribed pump flow is "
               "not reached"),
             limit);
}

/* The grounds of a band that is too tight, each a sentence, and its limit. */
static const struct {
    enum quantity q;
    void (*say)(const struct wording *w, const struct finding *f,
                struct buf *limit, struct buf *out);
} grounds[] = { { Q_ACCESS_FLOW, tight_flow },
                { Q_SPKTV, tight_dose },
                { Q_ARTERIAL_LINE_PRESSURE, tight_pressure } };

/* "once in the first 30 days and 2 times in a row later" */
static void tight_times(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    fill_count(&s, "days", policy_count(w->policy, P_PB2_EARLY_D));
    fill_count(&s, "count", policy_count(w->policy, P_PB2_READINGS_LATER));
    fill_say(&s,
             _("once in the first {days} days and {count} times in a row "
               "later"),
             out);
}

/* The lost thrill; is it the last that is said? */
static bool tight_signs(const struct wording *w, const struct finding *f,
                        bool last, struct buf *out)
{
    struct fill s = { 0 };
    bool any = seen_signs(w, f, true, fill_at(&s, "signs")) > 0;

    seen_after(w, fill_at(&s, "after"));
    fill_rule(&s, f);
    fill_say(&s,
             !any   ? ""
             : last ? _("Seen: {signs} {after} ({rule}).")
                    : _("Seen: {signs} {after}."),
             out);
    return any;
}

void seen_tight(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t last = COUNT(grounds);

    for (size_t i = 0; i < COUNT(grounds); i++) {
        if (seen_all(w, f, grounds[i].q, points) > 0)
            last = i;
    }
    tight_signs(w, f, last == COUNT(grounds), out);
    for (size_t i = 0; i < COUNT(grounds); i++) {
        struct buf limit, times;

        if (seen_all(w, f, grounds[i].q, points) == 0)
            continue;
        buf_init(&limit, WORDING_SIZE_MAX);
        buf_init(&times, WORDING_SIZE_MAX);
        say_blank(out);
        grounds[i].say(w, f, &limit, out);
        if (i == last && f->quantity != Q_THRILL)
            tight_times(w, &times);
        seen_limit_is(i == last ? f : NULL, &limit, &times, out);
    }
}

void seen_tight_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");
    const char *text;

    if (seen_thrill_lost(w, f)) {
        seen_signs(w, f, false, list);
        text = _("{list} after a band");
    } else if (f->quantity == Q_ARTERIAL_LINE_PRESSURE) {
        seen_brief_points(w, f, Q_ARTERIAL_LINE_PRESSURE,
                          seen_limit(w, P_PB2_PRESSURE), list);
        text = _("pressure before the pump {list} after a band");
    } else if (f->quantity == Q_SPKTV) {
        seen_brief_points(w, f, Q_SPKTV, NAN, list);
        text = _("Kt/V {list} after a band");
    } else {
        seen_brief_points(w, f, Q_ACCESS_FLOW, seen_limit(w, flow_limit(w, f)),
                          list);
        text = _("flow {list} after a band");
    }
    fill_say(&s, text, out);
    seen_brief_rule(f, out);
}

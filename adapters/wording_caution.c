/* What was not known when a rule was asked, and cautions. */
#include "adapters/wording_work.h"

#include "planner/flow.h"
#include "planner/series.h"

#include <math.h>

/* What all readings of the group have in common. */
struct traits {
    bool flow, methodless, day_only, sideless, preliminary, no_flow, finger;
    bool low, pressureless, needles, single_pool, band, predicted;
    int64_t flow_s; /* the newest flow, and its method */
    enum method method;
};

static void look_at(const struct reading *r, struct traits *t)
{
    bool arm = quantity_info(r->quantity)->scope == SCOPE_ARM;

    t->flow = t->flow || r->quantity == Q_ACCESS_FLOW ||
              r->quantity == Q_RECIRCULATION_REVERSED ||
              r->quantity == Q_DIALYSANCE;
    t->methodless = t->methodless || (r->quantity == Q_ACCESS_FLOW &&
                                      r->method == METHOD_UNSTATED);
    t->day_only = t->day_only || r->precision == AT_DAY;
    t->sideless = t->sideless || (arm && r->side == SIDE_UNKNOWN);
    t->preliminary = t->preliminary || r->status == READING_PRELIMINARY;
    t->needles = t->needles || r->quantity == Q_RECIRCULATION;
    if (r->quantity == Q_ACCESS_FLOW && r->start_s >= t->flow_s) {
        t->flow_s = r->start_s;
        t->method = r->method;
    }
}

static void look_at_finding(const struct wording *w, const struct finding *f,
                            struct traits *t)
{
    enum group group = rule_info(f->rule)->group;
    bool low =
        f->rule == RULE_LF_1 || f->rule == RULE_LF_2 || f->rule == RULE_LF_3;

    t->no_flow = t->no_flow || f->flow_unknown;
    t->finger = t->finger || f->rule == RULE_IS_5;
    t->predicted = t->predicted || f->rule == RULE_IS_8;
    t->low = t->low || low;
    t->pressureless = t->pressureless || (low && isnan(f->usual_pressure_mmhg));
    t->single_pool = t->single_pool ||
                     (f->rule == RULE_AD_1 && seen_dose_quantity(f) == Q_SPKTV);
    t->band = t->band || group == GROUP_AFTER_BAND || group == GROUP_FOLLOW_UP;
    for (size_t k = 0; k < f->evidence_count; k++)
        look_at(&w->history->readings[f->evidence[k]], t);
}

static struct traits traits_of(const struct wording *w)
{
    struct traits t = { 0 };

    for (size_t i = 0; i < w->findings->count; i++) {
        if (seen_is_ours(w, &w->findings->list[i]))
            look_at_finding(w, &w->findings->list[i], &t);
    }
    return t;
}

/* A line. */
static void say_if(bool yes, const char *text, struct buf *out)
{
    if (yes)
        buf_printf(out, "%s\n", text);
}

static bool is_known(const struct wording *w, enum quantity q)
{
    return !isnan(series_newest(w->history, q, w->history->now_s,
                                policy_count(w->policy, P_LOOKBACK_D), NULL));
}

/* What a dose depends on, where nobody said it. */
static void say_dose_unknowns(const struct wording *w, const struct traits *t,
                              struct buf *out)
{
    bool dose = t->single_pool;

    say_if(dose && !is_known(w, Q_SESSIONS_PER_WEEK),
           _("How many sessions a week are given was not stated: three were "
             "taken."),
           out);
    say_if(
        dose && !is_known(w, Q_RESIDUAL_UREA_CLEARANCE),
        _("The residual clearance is not known: it was taken to be less than "
          "what the limit presumes."),
        out);
}

/* The lines of what was not known. */
static void say_lines(const struct wording *w, const struct traits *t,
                      struct buf *out)
{
    bool typeless = w->history->access_type == SIGN_TYPE_UNKNOWN;

    say_if(t->flow,
           _("The minute of the session at which the flow was measured was not "
             "taken into account."),
           out);
    say_if(t->pressureless,
           _("The usual blood pressure is not known; a flow falls with the "
             "pressure."),
           out);
    say_if(t->methodless,
           _("The method of a flow was not stated; such readings are compared "
             "with each other only."),
           out);
    say_if(t->needles,
           _("Whether direction and place of the needles were checked is not "
             "known."),
           out);
    say_dose_unknowns(w, t, out);
    say_if(t->day_only, _("Of some readings only the day is known."), out);
    say_if(t->sideless, _("The side of a reading of the hand was not stated."),
           out);
    say_if(t->preliminary,
           _("A reading is preliminary; signs of emergency are believed at "
             "once."),
           out);
    say_if(t->no_flow, _("The access flow near in time is not known."), out);
    say_if(typeless,
           _("The type of the access is not known: the limits that depend on "
             "it were applied only where both types share them."),
           out);
}

void say_unknowns(const struct wording *w, struct buf *out)
{
    struct traits t = traits_of(w);
    struct buf lines;

    buf_init(&lines, WORDING_SIZE_MAX);
    say_lines(w, &t, &lines);
    if (lines.len > 0) {
        buf_printf(out, "\n%s\n", _("Not known, or not taken into account:"));
        buf_add(out, lines.data, lines.len);
    }
    buf_clear(&lines);
}

/* What chance alone does to two flows of this method. */
static void say_noise(enum method method, struct buf *out)
{
    const struct flow_precision *row;
    struct fill s = { 0 };
    bool between;
    double mdc_pct;

    if (flow_precision_of(method, &row) != ERR_OK)
        row = NULL;
    between = row != NULL && isfinite(row->between_cv_pct);
    if (row == NULL ||
        flow_mdc(between ? row->between_cv_pct : row->within_cv_pct,
                 &mdc_pct) != ERR_OK) {
        say_if(true,
               _("Two readings by the same method can differ by a third or "
                 "more by chance between sessions. A change smaller than that "
                 "may not be real."),
               out);
        return;
    }
    say_lower(fill_at(&s, "method"), method_display(method));
    say_per_cent(fill_at(&s, "change"), mdc_pct, 0);
    fill_text(&s, "source", row->source);
    fill_say(&s,
             between
                 ? _("Two single flows by {method} in different sessions "
                     "differ by up to {change} by chance alone (95 of 100 "
                     "pairs; computed from the variation found in {source}). A "
                     "change smaller than that may not be real.")
                 : _("Two single flows by {method} within one session differ "
                     "by up to {change} by chance alone (95 of 100 pairs; "
                     "computed from the variation found in {source}), between "
                     "sessions more. A change smaller than that may not be "
                     "real."),
             out);
    buf_puts(out, "\n");
}

static void say_disputed(const struct wording *w, const struct finding *first,
                         struct buf *out)
{
    struct fill s = { 0 };

    if (first == NULL || (first->rule != RULE_HF_1 && first->rule != RULE_HF_2))
        return;
    fill_limit(&s, "limit", w, first->limit);
    fill_say(&s,
             _("Guidelines disagree on the flow at which an access without "
               "symptoms should be reduced. This site has chosen {limit}."),
             out);
    buf_puts(out, "\n");
}

void say_cautions(const struct wording *w, struct buf *out)
{
    struct traits t = traits_of(w);

    buf_printf(out, "\n%s\n", _("Cautions:"));
    if (t.flow)
        say_noise(t.method, out);
    say_disputed(w, seen_leading(w), out);
    say_if(t.finger,
           _("Low digital pressure without symptoms is common after access "
             "creation and is not by itself a reason to treat."),
           out);
    say_if(w->group == GROUP_LOW_FLOW,
           _("A surveillance finding without clinical signs is not by itself a "
             "reason for angioplasty."),
           out);
    say_if(w->group == GROUP_DOSE,
           _("A sample after dialysis that is drawn without slowing the pump "
             "makes the dose seem higher than it was."),
           out);
    say_if(t.predicted,
           _("A prediction comes from a simple model of the arm that has not "
             "been validated on patients: it is no measurement, and a hand "
             "that is not flagged is not safe. Where the feeding artery has "
             "widened since, the hand loses less than predicted."),
           out);
    say_if(t.band,
           _("No published comparison of follow-up after a band was found: its "
             "schedule, and some of these limits, are proposals."),
           out);
    buf_printf(out, "%s %s\n%s\n", words_absence(), words_hand(),
               _("This message may be delayed by the systems that carry it. It "
                 "must not replace direct calling for emergencies."));
}

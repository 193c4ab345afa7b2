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

static void say_if(bool yes, const char *text, struct buf *out)
{
    if (yes)
        buf_puts(out, text);
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
           "How many sessions a week are given was not stated: three were "
           "taken.\n",
           out);
    say_if(dose && !is_known(w, Q_RESIDUAL_UREA_CLEARANCE),
           "The residual clearance is not known: it was taken to be less than "
           "what the limit presumes.\n",
           out);
}

/* The lines of what was not known. */
static void say_lines(const struct wording *w, const struct traits *t,
                      struct buf *out)
{
    bool typeless = w->history->access_type == SIGN_TYPE_UNKNOWN;

    say_if(t->flow,
           "The minute of the session at which the flow was measured was not "
           "taken into account.\n",
           out);
    say_if(t->pressureless,
           "The usual blood pressure is not known; a flow falls with the "
           "pressure.\n",
           out);
    say_if(t->methodless,
           "The method of a flow was not stated; such readings are compared "
           "with each other only.\n",
           out);
    say_if(t->needles,
           "Whether direction and place of the needles were checked is not "
           "known.\n",
           out);
    say_dose_unknowns(w, t, out);
    say_if(t->day_only, "Of some readings only the day is known.\n", out);
    say_if(t->sideless, "The side of a reading of the hand was not stated.\n",
           out);
    say_if(t->preliminary,
           "A reading is preliminary; signs of emergency are believed at "
           "once.\n",
           out);
    say_if(t->no_flow, "The access flow near in time is not known.\n", out);
    say_if(typeless,
           "The type of the access is not known: the limits that depend on "
           "it were applied only where both types share them.\n",
           out);
}

void say_unknowns(const struct wording *w, struct buf *out)
{
    struct traits t = traits_of(w);
    struct buf lines;

    buf_init(&lines, WORDING_SIZE_MAX);
    say_lines(w, &t, &lines);
    if (lines.len > 0) {
        buf_puts(out, "\nNot known, or not taken into account:\n");
        buf_add(out, lines.data, lines.len);
    }
    buf_clear(&lines);
}

/* What chance alone does to two flows of this method. */
static void say_noise(enum method method, struct buf *out)
{
    const struct flow_precision *row;
    bool between;
    double mdc_pct;

    if (flow_precision_of(method, &row) != ERR_OK)
        row = NULL;
    between = row != NULL && isfinite(row->between_cv_pct);
    if (row == NULL ||
        flow_mdc(between ? row->between_cv_pct : row->within_cv_pct,
                 &mdc_pct) != ERR_OK) {
        buf_puts(out, "Two readings by the same method can differ by a third "
                      "or more by chance between sessions. A change smaller "
                      "than that may not be real.\n");
        return;
    }
    buf_puts(out, "Two single flows by ");
    say_lower(out, method_display(method));
    buf_printf(out,
               " %s differ by up to %.0f %% by chance alone (95 of 100 pairs; "
               "computed from the variation found in %s)%s. A change smaller "
               "than that may not be real.\n",
               between ? "in different sessions" : "within one session",
               mdc_pct, row->source, between ? "" : ", between sessions more");
}

void say_cautions(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);
    struct traits t = traits_of(w);

    buf_puts(out, "\nCautions:\n");
    if (t.flow)
        say_noise(t.method, out);
    if (first != NULL &&
        (first->rule == RULE_HF_1 || first->rule == RULE_HF_2)) {
        buf_puts(out, "Guidelines disagree on the flow at which an access "
                      "without symptoms should be reduced. This site has "
                      "chosen ");
        say_limit(w, first->limit, out);
        buf_puts(out, ".\n");
    }
    say_if(t.finger,
           "Low digital pressure without symptoms is common after access "
           "creation and is not by itself a reason to treat.\n",
           out);
    say_if(w->group == GROUP_LOW_FLOW,
           "A surveillance finding without clinical signs is not by itself a "
           "reason for angioplasty.\n",
           out);
    say_if(w->group == GROUP_DOSE,
           "A sample after dialysis that is drawn without slowing the pump "
           "makes the dose seem higher than it was.\n",
           out);
    say_if(
        t.predicted,
        "A prediction comes from a simple model of the arm that has not been "
        "validated on patients: it is no measurement, and a hand that is "
        "not flagged is not safe. Where the feeding artery has widened "
        "since, the hand loses less than predicted.\n",
        out);
    say_if(t.band,
           "No published comparison of follow-up after a band was found: its "
           "schedule, and some of these limits, are proposals.\n",
           out);
    buf_puts(out,
             "Absence of a flag does not mean the access or the hand is "
             "safe. " WORDING_HAND "\n"
             "This message may be delayed by the systems that carry it. It "
             "must not replace direct calling for emergencies.\n");
}

/* What is foreseen of the hand, and from what. */
#include "adapters/plan_words.h"
#include "adapters/wording_work.h"

#include <math.h>

static const struct prediction *prediction(const struct wording *w,
                                           enum prediction_of of)
{
    return &w->findings->predictions[of];
}

bool seen_is_predicted(const struct wording *w, enum prediction_of of)
{
    return prediction(w, of)->state == PREDICTION_AT_RISK;
}

/* "0.47 (0.29 to 0.65)": the middle, and what nine of ten guesses lie in. */
static void say_index(const struct plan_range *r, struct buf *out)
{
    buf_printf(out, "%.2f (%.2f to %.2f)", r->p50, r->p05, r->p95);
}

static void say_flow(double ml_min, struct buf *out)
{
    buf_printf(out, "%.0f mL/min", ml_min);
}

static void say_on(const struct wording *w, int64_t at_s, struct buf *out)
{
    if (at_s == INT64_MIN)
        return;
    buf_puts(out, " on ");
    say_date(w, at_s, out);
}

/* "chance of an index below 0.4: 34 %; of a fall by more than 0.1: 88 %" */
static void say_chances(const struct wording *w, const struct prediction *x,
                        struct buf *out)
{
    buf_puts(out, "chance of an index below ");
    say_limit(w, P_PLAN_RISK_INDEX, out);
    buf_printf(out, ": %.0f %%; of a fall by more than ",
               100.0 * x->p_index_low);
    say_limit(w, P_PLAN_RISK_FALL, out);
    buf_printf(out, ": %.0f %%", 100.0 * x->p_index_falls);
}

/* the: how the sentence begins */
static void say_measured(const struct wording *w, const struct prediction *x,
                         const char *the, struct buf *out)
{
    if (x->index_known) {
        buf_printf(out, " %s digital-brachial index was %.2f", the, x->index);
        say_on(w, x->index_s, out);
        return;
    }
    buf_printf(out,
               " %s digital-brachial index was never measured, and what is "
               "usual stands in its place",
               the);
}

/* Sizes are for after the opening, and never where a band is spoken against. */
static void say_size(const struct prediction *x, struct buf *out)
{
    if (x->distal) {
        buf_puts(out, " The index is low with the access pressed shut: this "
                      "suggests arterial disease further down, which a band "
                      "cannot mend, and no size is named.");
        return;
    }
    if (x->excluded) {
        buf_puts(out, " No band is to be planned on other grounds, and no size "
                      "is named.");
        return;
    }
    if (isfinite(x->zone_dowel_mm))
        buf_printf(out,
                   " Provisional, for after the opening: a %.4g mm dowel "
                   "(measured outer diameter) for the zone of the flow that is "
                   "then expected",
                   x->zone_dowel_mm);
    else
        buf_puts(out, " For after the opening no size keeps to the limits of "
                      "chance");
    if (isfinite(x->holding_dowel_mm) &&
        !(fabs(x->holding_dowel_mm - x->zone_dowel_mm) < 0.01))
        buf_printf(out, "; %.4g mm would hold the flow near to what it is",
                   x->holding_dowel_mm);
    buf_puts(out, ": image, open, measure a pair, then size.");
}

static void say_opening(const struct wording *w, const struct prediction *x,
                        struct buf *out)
{
    buf_printf(out,
               "By prediction, not by measurement: a known outflow stenosis "
               "(%.0f %%, static pressure %.0f mmHg) holds the flow at ",
               x->stenosis_pct, x->static_mmhg);
    say_flow(x->flow_ml_min, out);
    say_on(w, x->flow_s, out);
    buf_puts(out, "; opening it would let the flow surge to ");
    say_flow(x->flow_after_ml_min.p50, out);
    buf_printf(out, " (%.0f to %.0f).", x->flow_after_ml_min.p05,
               x->flow_after_ml_min.p95);
    say_measured(w, x, "The", out);
    buf_puts(out, "; after the opening ");
    say_index(&x->index_after, out);
    buf_puts(out, " is to be expected: ");
    say_chances(w, x, out);
    buf_puts(out, ".");
    say_size(x, out);
}

static void say_rise(const struct wording *w, const struct prediction *x,
                     struct buf *out)
{
    buf_puts(out, "By prediction, not by measurement:");
    say_measured(w, x, "the", out);
    buf_puts(out, " at a flow of ");
    say_flow(x->flow_ml_min, out);
    say_on(w, x->flow_s, out);
    buf_puts(out, "; the flow has risen to ");
    say_flow(x->flow_after_ml_min.p50, out);
    if (policy_count(w->policy, P_IS8_READINGS) > 1)
        buf_printf(out, " (mean of the last %d)",
                   policy_count(w->policy, P_IS8_READINGS));
    say_on(w, x->flow_after_s, out);
    buf_printf(out,
               " (%s; chance alone explains up to %.0f %%). If it is the "
               "access that has widened, an index of ",
               method_display(x->method), x->least_change_pct);
    say_index(&x->index_after, out);
    buf_puts(out, " is to be expected now: ");
    say_chances(w, x, out);
    buf_puts(out, ".");
}

/* Of the missing ones that any of the predictions lacks. */
static void say_missing(const struct wording *w, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_MISSING);
    unsigned set = 0;
    bool any = false;

    for (int i = 0; i < PREDICTIONS; i++) {
        if (seen_is_predicted(w, (enum prediction_of)i))
            set |= prediction(w, (enum prediction_of)i)->missing;
    }
    for (size_t i = 0; i < p->count; i++) {
        if ((p->rows[i].key & set) == 0)
            continue;
        buf_puts(out, any ? "; " : " Not known, which makes it less certain: ");
        buf_puts(out, p->rows[i].text);
        any = true;
    }
    buf_puts(out, any ? "." : "");
}

void seen_predicted(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    bool opening = seen_is_predicted(w, PREDICT_OPENING);

    if (opening)
        say_opening(w, prediction(w, PREDICT_OPENING), out);
    if (seen_is_predicted(w, PREDICT_RISE)) {
        buf_puts(out, opening ? " " : "");
        say_rise(w, prediction(w, PREDICT_RISE), out);
    }
    say_missing(w, out);
    buf_puts(out,
             " Limits at this site: a chance of a low index of more than ");
    say_limit(w, P_PLAN_RISK_INDEX_MOST_PCT, out);
    buf_puts(out, ", or of such a fall of more than ");
    say_limit(w, P_PLAN_RISK_FALL_MOST_PCT, out);
    seen_rule(f, out);
}

static void brief(const struct wording *w, const struct prediction *x,
                  const char *when, struct buf *out)
{
    buf_printf(out, "hand at risk %s: index ", when);
    if (x->index_known)
        buf_printf(out, "%.2f to ", x->index);
    buf_printf(out, "about %.2f by prediction, ", x->index_after.p50);
    buf_printf(out, "chance below %.6g: %.0f %%",
               seen_limit(w, P_PLAN_RISK_INDEX), 100.0 * x->p_index_low);
}

void seen_predicted_brief(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    bool opening = seen_is_predicted(w, PREDICT_OPENING);

    if (opening)
        brief(w, prediction(w, PREDICT_OPENING), "if the outflow is opened",
              out);
    if (seen_is_predicted(w, PREDICT_RISE)) {
        buf_puts(out, opening ? "; " : "");
        brief(w, prediction(w, PREDICT_RISE), "as the flow has risen", out);
    }
    seen_brief_rule(f, out);
}

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
static void say_range(const struct plan_range *r, int decimals,
                      const char *unit, struct buf *out)
{
    struct fill s = { 0 };

    fill_number(&s, "middle", r->p50, decimals);
    fill_text(&s, "unit", unit);
    fill_number(&s, "low", r->p05, decimals);
    fill_number(&s, "high", r->p95, decimals);
    /* TRANSLATORS: a value with what nine of ten guesses lie in */
    fill_say(&s, _("{middle}{unit} ({low} to {high})"), out);
}

/* "1240 mL/min on 2026-11-01": the day only where it is known */
static void say_flow(const struct wording *w, double ml_min, int64_t at_s,
                     struct buf *out)
{
    struct fill s = { 0 };

    fill_number(&s, "flow", ml_min, 0);
    if (at_s != INT64_MIN)
        say_date(w, at_s, fill_at(&s, "date"));
    fill_say(&s,
             at_s != INT64_MIN ? _("{flow} mL/min on {date}")
                               : _("{flow} mL/min"),
             out);
}

/* "chance of an index below 0.4: 34 %; of a fall by more than 0.1: 88 %" */
static void say_chances(const struct wording *w, const struct prediction *x,
                        struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "index", w, P_PLAN_RISK_INDEX);
    say_per_cent(fill_at(&s, "low"), 100.0 * x->p_index_low, 0);
    fill_limit(&s, "fall", w, P_PLAN_RISK_FALL);
    say_per_cent(fill_at(&s, "falls"), 100.0 * x->p_index_falls, 0);
    fill_say(&s,
             _("chance of an index below {index}: {low}; of a fall by more "
               "than {fall}: {falls}"),
             out);
}

/* What was measured of the index, and when. */
static void fill_index(const struct wording *w, const struct prediction *x,
                       struct fill *s)
{
    if (!x->index_known)
        return;
    fill_number(s, "index", x->index, 2);
    if (x->index_s != INT64_MIN)
        say_date(w, x->index_s, fill_at(s, "date"));
}

/* ---- what opening the outflow does --------------------------------------- */

/* Sizes are for after the opening, and never where a band is spoken against. */
static void say_size(const struct prediction *x, struct buf *out)
{
    bool holds = isfinite(x->holding_dowel_mm) &&
                 !(fabs(x->holding_dowel_mm - x->zone_dowel_mm) < 0.01);
    struct fill s = { 0 };

    say_blank(out);
    if (x->distal) {
        buf_puts(out, _("The index is low with the access pressed shut: this "
                        "suggests arterial disease further down, which a band "
                        "cannot mend, and no size is named."));
        return;
    }
    if (x->excluded) {
        buf_puts(out, _("No band is to be planned on other grounds, and no "
                        "size is named."));
        return;
    }
    say_plain(fill_at(&s, "dowel"), x->zone_dowel_mm, 4);
    say_plain(fill_at(&s, "holding"), x->holding_dowel_mm, 4);
    if (isfinite(x->zone_dowel_mm))
        fill_say(&s,
                 holds ? _("Provisional, for after the opening: a {dowel} mm "
                           "dowel (measured outer diameter) for the zone of "
                           "the flow that is then expected; {holding} mm would "
                           "hold the flow near to what it is: image, open, "
                           "measure a pair, then size.")
                       : _("Provisional, for after the opening: a {dowel} mm "
                           "dowel (measured outer diameter) for the zone of "
                           "the flow that is then expected: image, open, "
                           "measure a pair, then size."),
                 out);
    else
        fill_say(&s,
                 holds ? _("For after the opening no size keeps to the limits "
                           "of chance; {holding} mm would hold the flow near "
                           "to what it is: image, open, measure a pair, then "
                           "size.")
                       : _("For after the opening no size keeps to the limits "
                           "of chance: image, open, measure a pair, then "
                           "size."),
                 out);
}

static const char *opening_index(const struct prediction *x)
{
    if (!x->index_known)
        return _("The digital-brachial index was never measured, and what is "
                 "usual stands in its place; after the opening {after} is to "
                 "be expected: {chances}.");
    if (x->index_s == INT64_MIN)
        return _("The digital-brachial index was {index}; after the opening "
                 "{after} is to be expected: {chances}.");
    return _("The digital-brachial index was {index} on {date}; after the "
             "opening {after} is to be expected: {chances}.");
}

static void say_opening(const struct wording *w, const struct prediction *x,
                        struct buf *out)
{
    struct fill s = { 0 };

    say_per_cent(fill_at(&s, "stenosis"), x->stenosis_pct, 0);
    fill_number(&s, "pressure", x->static_mmhg, 0);
    say_flow(w, x->flow_ml_min, x->flow_s, fill_at(&s, "flow"));
    say_range(&x->flow_after_ml_min, 0, " mL/min", fill_at(&s, "after"));
    fill_say(&s,
             _("By prediction, not by measurement: a known outflow stenosis "
               "({stenosis}, static pressure {pressure} mmHg) holds the flow "
               "at {flow}; opening it would let the flow surge to {after}."),
             out);
    say_blank(out);
    fill_index(w, x, &s);
    say_range(&x->index_after, 2, "", fill_at(&s, "after"));
    say_chances(w, x, fill_at(&s, "chances"));
    fill_say(&s, opening_index(x), out);
    say_size(x, out);
}

/* ---- what a flow that has risen does ------------------------------------- */

static const char *rise_text(const struct prediction *x)
{
    if (!x->index_known)
        return _("By prediction, not by measurement: the digital-brachial "
                 "index was never measured, and what is usual stands in its "
                 "place at a flow of {flow}; the flow has risen to {risen} "
                 "({method}; chance alone explains up to {chance}).");
    if (x->index_s == INT64_MIN)
        return _("By prediction, not by measurement: the digital-brachial "
                 "index was {index} at a flow of {flow}; the flow has risen to "
                 "{risen} ({method}; chance alone explains up to {chance}).");
    return _("By prediction, not by measurement: the digital-brachial index "
             "was {index} on {date} at a flow of {flow}; the flow has risen to "
             "{risen} ({method}; chance alone explains up to {chance}).");
}

/* "1450 mL/min (mean of the last 2) on 2026-11-20" */
static void say_risen(const struct wording *w, const struct prediction *x,
                      struct buf *out)
{
    int readings = policy_count(w->policy, P_IS8_READINGS);
    struct fill s = { 0 };

    if (readings <= 1) {
        say_flow(w, x->flow_after_ml_min.p50, x->flow_after_s, out);
        return;
    }
    fill_number(&s, "flow", x->flow_after_ml_min.p50, 0);
    fill_count(&s, "count", readings);
    if (x->flow_after_s != INT64_MIN)
        say_date(w, x->flow_after_s, fill_at(&s, "date"));
    fill_say(&s,
             x->flow_after_s != INT64_MIN
                 ? _("{flow} mL/min (mean of the last {count}) on {date}")
                 : _("{flow} mL/min (mean of the last {count})"),
             out);
}

static void say_rise(const struct wording *w, const struct prediction *x,
                     struct buf *out)
{
    struct fill s = { 0 };

    fill_index(w, x, &s);
    say_flow(w, x->flow_ml_min, x->flow_s, fill_at(&s, "flow"));
    say_risen(w, x, fill_at(&s, "risen"));
    fill_text(&s, "method", wording_name(method_display(x->method)));
    say_per_cent(fill_at(&s, "chance"), x->least_change_pct, 0);
    fill_say(&s, rise_text(x), out);
    say_blank(out);
    say_range(&x->index_after, 2, "", fill_at(&s, "after"));
    say_chances(w, x, fill_at(&s, "chances"));
    fill_say(&s,
             _("If it is the access that has widened, an index of {after} is "
               "to be expected now: {chances}."),
             out);
}

/* ---- the whole ----------------------------------------------------------- */

/* Of the missing ones that any of the predictions lacks. */
static void say_missing(const struct wording *w, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_MISSING);
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");
    unsigned set = 0;

    for (int i = 0; i < PREDICTIONS; i++) {
        if (seen_is_predicted(w, (enum prediction_of)i))
            set |= prediction(w, (enum prediction_of)i)->missing;
    }
    for (size_t i = 0; i < p->count; i++) {
        if ((p->rows[i].key & set) == 0)
            continue;
        buf_puts(list, list->len > 0 ? list_semicolon() : "");
        buf_puts(list, wording_name(p->rows[i].text));
    }
    if (list->len > 0)
        say_blank(out);
    fill_say(&s,
             list->len > 0
                 ? _("Not known, which makes it less certain: {list}.")
                 : "",
             out);
}

void seen_predicted(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    struct fill s = { 0 };

    if (seen_is_predicted(w, PREDICT_OPENING))
        say_opening(w, prediction(w, PREDICT_OPENING), out);
    if (seen_is_predicted(w, PREDICT_RISE)) {
        say_blank(out);
        say_rise(w, prediction(w, PREDICT_RISE), out);
    }
    say_missing(w, out);
    say_blank(out);
    fill_limit(&s, "low", w, P_PLAN_RISK_INDEX_MOST_PCT);
    fill_limit(&s, "fall", w, P_PLAN_RISK_FALL_MOST_PCT);
    fill_rule(&s, f);
    fill_say(&s,
             _("Limits at this site: a chance of a low index of more than "
               "{low}, or of such a fall of more than {fall} ({rule})."),
             out);
}

/* when: PREDICT_OPENING or PREDICT_RISE */
static void brief(const struct wording *w, enum prediction_of when,
                  struct buf *out)
{
    const struct prediction *x = prediction(w, when);
    struct fill s = { 0 };

    fill_number(&s, "index", x->index, 2);
    fill_number(&s, "after", x->index_after.p50, 2);
    say_plain(fill_at(&s, "low"), seen_limit(w, P_PLAN_RISK_INDEX), 6);
    say_per_cent(fill_at(&s, "chance"), 100.0 * x->p_index_low, 0);
    if (when == PREDICT_OPENING)
        fill_say(&s,
                 x->index_known
                     ? _("hand at risk if the outflow is opened: index {index} "
                         "to about {after} by prediction, chance below {low}: "
                         "{chance}")
                     : _("hand at risk if the outflow is opened: index about "
                         "{after} by prediction, chance below {low}: "
                         "{chance}"),
                 out);
    else
        fill_say(&s,
                 x->index_known
                     ? _("hand at risk as the flow has risen: index {index} to "
                         "about {after} by prediction, chance below {low}: "
                         "{chance}")
                     : _("hand at risk as the flow has risen: index about "
                         "{after} by prediction, chance below {low}: "
                         "{chance}"),
                 out);
}

void seen_predicted_brief(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    bool opening = seen_is_predicted(w, PREDICT_OPENING);

    if (opening)
        brief(w, PREDICT_OPENING, out);
    if (seen_is_predicted(w, PREDICT_RISE)) {
        buf_puts(out, opening ? list_semicolon() : "");
        brief(w, PREDICT_RISE, out);
    }
    seen_brief_rule(f, out);
}

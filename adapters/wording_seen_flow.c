/* What was seen of the flow: too high, too low, too large a share, falling. */
#include "adapters/wording_work.h"

#include <math.h>

/* A flow falls with the pressure: that explains, and never triggers. */
static void say_pressure(const struct finding *f, struct buf *out)
{
    struct fill s = { 0 };

    if (isnan(f->mean_pressure_mmhg))
        return;
    say_blank(out);
    fill_number(&s, "pressure", f->mean_pressure_mmhg, 0);
    if (isnan(f->usual_pressure_mmhg)) {
        fill_say(&s,
                 _("Measured at a mean pressure of {pressure} mmHg; the usual "
                   "one is not known."),
                 out);
        return;
    }
    fill_number(&s, "usual", f->usual_pressure_mmhg, 0);
    fill_say(&s,
             f->mean_pressure_mmhg < f->usual_pressure_mmhg
                 ? _("Measured at a mean pressure of {pressure} mmHg, usually "
                     "{usual}: a flow falls with the pressure.")
                 : _("Measured at a mean pressure of {pressure} mmHg, usually "
                     "{usual}."),
             out);
}

/* "2 readings in a row"; nothing, where one is enough. */
static void say_needed(const struct wording *w, enum param readings,
                       struct buf *out)
{
    if (policy_count(w->policy, readings) != 1)
        say_limit(w, readings, out);
}

/* "Access flow 2240 mL/min on 2026-10-25 (ultrasound dilution)." */
static void say_flows(const struct wording *w, const struct finding *f,
                      double limit, struct buf *out)
{
    struct fill s = { 0 };

    seen_say_points(w, f, Q_ACCESS_FLOW, limit, true, fill_at(&s, "list"));
    fill_say(&s, _("Access flow {list}."), out);
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
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = 0; i < f->evidence_count; i++) {
        buf_puts(list, i > 0 ? list_semicolon() : "");
        wording_reading(&w->history->readings[f->evidence[i]], w->zone, list);
    }
    fill_say(&s,
             _("Measurements of the access flow in one session contradict each "
               "other: {list}."),
             out);
    seen_site_limit(w, f, f->limit, high ? OR_MORE : BELOW, out);
    say_next(out, _("They confirm nothing: a third one is needed."));
}

void seen_flow(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    bool high = rule_info(f->rule)->group == GROUP_FLOW;
    struct buf limit, confirmed;

    if (f->disagree) {
        say_contradiction(w, f, high, out);
        return;
    }
    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&confirmed, WORDING_SIZE_MAX);
    say_flows(w, f, seen_limit(w, f->limit), out);
    say_beyond(w, f->limit, high ? OR_MORE : BELOW, &limit);
    say_needed(w, readings_row(f->rule), &confirmed);
    seen_limit_is(f, &limit, &confirmed, out);
    if (!high)
        say_pressure(f, out);
    if (f->with_sign)
        seen_signs_sentence(w, f, _("Signs: {signs}."), out);
}

/* "flow 1400 and 2000 mL/min in one session": those that were sent. */
static void brief_contradiction(const struct wording *w,
                                const struct finding *f, struct buf *out)
{
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");
    size_t said = 0;

    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];

        if (r->quantity != Q_ACCESS_FLOW)
            continue;
        buf_puts(list, said++ > 0 ? list_and() : "");
        say_value(list, r->quantity, r->value, r->bound, NAN);
    }
    fill_say(&s,
             said > 1 ? _("flow {list} in one session")
                      : _("flow {list}, other as computed"),
             out);
}

void seen_flow_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    struct fill s = { 0 };

    if (f->disagree) {
        brief_contradiction(w, f, out);
        seen_brief_limit(w, f, out);
        return;
    }
    seen_brief_points(w, f, Q_ACCESS_FLOW, seen_limit(w, f->limit),
                      fill_at(&s, "list"));
    if (f->rule == RULE_IS_6)
        fill_say(&s, _("flow {list}, high"), out);
    else if (f->rule == RULE_IS_7)
        fill_say(&s, _("flow {list}, normal or low"), out);
    else
        fill_say(&s, _("flow {list}"), out);
    seen_brief_limit(w, f, out);
    if (f->with_sign)
        seen_signs_too(w, f, out);
}

void seen_beside(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    bool high = f->rule == RULE_IS_6;
    struct fill s = { 0 };

    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, f->limit), true,
                    fill_at(&s, "list"));
    fill_say(&s,
             high ? _("Access flow {list}, which counts as high here.")
                  : _("Access flow {list}, which counts as normal or low "
                      "here."),
             out);
    seen_site_limit(w, f, f->limit, high ? OR_MORE : BELOW, out);
}

/* ---- the heart ----------------------------------------------------------- */

static void say_share(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct fill s = { 0 };

    say_per_cent(fill_at(&s, "share"), f->measured * 100.0, 0);
    seen_say_points(w, f, Q_ACCESS_FLOW, NAN, true, fill_at(&s, "flow"));
    seen_say_points(w, f, Q_CARDIAC_OUTPUT, NAN, false, fill_at(&s, "output"));
    fill_say(&s,
             _("The access takes {share} of the cardiac output: flow {flow}, "
               "cardiac output {output}."),
             out);
}

/* The least flow at which a share counts. */
static enum param least_flow(const struct finding *f)
{
    return f->limit == P_HF3_RATIO_SEVERE ? P_HF3_FLOW_SEVERE : P_HF3_FLOW;
}

void seen_share(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct fill s = { 0 };

    say_share(w, f, out);
    say_blank(out);
    fill_limit(&s, "limit", w, f->limit);
    fill_limit(&s, "flow", w, least_flow(f));
    fill_rule(&s, f);
    fill_say(&s,
             _("Limit at this site: {limit} or more at a flow of at least "
               "{flow} ({rule})."),
             out);
}

void seen_share_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct fill s = { 0 };

    say_per_cent(fill_at(&s, "share"), f->measured * 100.0, 0);
    seen_brief_row(w, f, Q_ACCESS_FLOW, NAN, 1, fill_at(&s, "flow"));
    fill_say(&s, _("{share} of the cardiac output at a flow of {flow}"), out);
    seen_brief_limit(w, f, out);
}

void seen_heart(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    bool share = say_limit_is_share(f->limit);
    struct fill s = { 0 };

    if (share)
        say_share(w, f, out);
    else
        say_flows(w, f, seen_limit(w, f->limit), out);
    seen_signs_sentence(w, f, _("Signs of the heart: {signs}."), out);
    say_blank(out);
    fill_limit(&s, "limit", w, f->limit);
    fill_limit(&s, "flow", w, least_flow(f));
    fill_count(&s, "days", policy_count(w->policy, P_HF4_SIGN_WINDOW_D));
    fill_rule(&s, f);
    fill_say(&s,
             share ? _("Limit at this site: {limit} or more at a flow of at "
                       "least {flow}, with a sign of the heart of the last "
                       "{days} days ({rule}).")
                   : _("Limit at this site: {limit} or more, with a sign of "
                       "the heart of the last {days} days ({rule})."),
             out);
}

void seen_heart_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    if (say_limit_is_share(f->limit))
        seen_share_brief(w, f, out);
    else
        seen_flow_brief(w, f, out);
    if (!f->with_sign || say_limit_is_share(f->limit))
        seen_signs_too(w, f, out);
}

/* ---- falling ------------------------------------------------------------- */

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

/* "a fall of more than 25 % to below 1000 mL/min" */
static void fall_limit(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "fall", w, P_LF3_FALL_PCT);
    fill_limit(&s, "flow", w, P_LF3_FLOW);
    fill_say(&s, _("a fall of more than {fall} to below {flow}"), out);
}

void seen_fall(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_ACCESS_FLOW, points);
    size_t fallen = count_fallen(w, f, points, count);
    size_t before = count - fallen;
    struct fill s = { 0 };
    struct buf limit, confirmed;

    seen_say_list(w, Q_ACCESS_FLOW, points + before, fallen,
                  seen_limit(w, P_LF3_FLOW), true, fill_at(&s, "list"));
    seen_say_changes(f, points + before, fallen, false, fill_at(&s, "falls"));
    fill_number(&s, "mean", f->baseline, 0);
    fill_count(&s, "count", (long long)before);
    fill_say(&s,
             before > 0 ? _("Access flow {list}: {falls} below {mean} mL/min, "
                            "the mean of {count} before.")
                        : _("Access flow {list}: {falls} below {mean} mL/min, "
                            "the mean of those before."),
             out);
    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&confirmed, WORDING_SIZE_MAX);
    fall_limit(w, &limit);
    say_needed(w, P_LF3_READINGS, &confirmed);
    seen_limit_is(f, &limit, &confirmed, out);
    say_pressure(f, out);
    if (f->with_sign)
        seen_signs_sentence(w, f, _("Signs: {signs}."), out);
}

void seen_fall_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total, count = seen_points(w, f, Q_ACCESS_FLOW, points, &total);
    struct fill s = { 0 };

    if (count > 0) {
        const struct point *newest = &points[count - 1];

        say_value(fill_at(&s, "flow"), Q_ACCESS_FLOW, newest->value,
                  newest->bound, NAN);
        say_per_cent(fill_at(&s, "fall"), fall_pct(f, newest), 1);
    }
    fill_number(&s, "mean", f->baseline, 0);
    fill_limit(&s, "limit", w, P_LF3_FALL_PCT);
    fill_rule(&s, f);
    fill_say(&s, _("flow {flow}, {fall} below {mean} (limit {limit}, {rule})"),
             out);
    if (f->with_sign)
        seen_signs_too(w, f, out);
}

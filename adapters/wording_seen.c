/* What was seen: measurements of a row, and the limit they crossed. */
#include "adapters/wording_work.h"

#include <math.h>
#include <string.h>

bool seen_is_ours(const struct wording *w, const struct finding *f)
{
    /* one old reading that nobody repeated is no longer worth a word */
    return rule_info(f->rule)->group == w->group &&
           (f->confirmed || !f->historic);
}

const struct finding *seen_leading(const struct wording *w)
{
    const struct finding *best = NULL;

    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_ours(w, f))
            continue;
        if (best == NULL || (f->confirmed && !best->confirmed) ||
            (f->confirmed == best->confirmed && f->urgency > best->urgency))
            best = f;
    }
    return best;
}

bool seen_flow_quoted(const struct wording *w)
{
    for (size_t i = 0; i < w->findings->count; i++) {
        enum rule rule = w->findings->list[i].rule;

        if ((rule == RULE_IS_6 || rule == RULE_IS_7) &&
            seen_is_ours(w, &w->findings->list[i]))
            return true;
    }
    return false;
}

bool seen_thrill_lost(const struct wording *w, const struct finding *f)
{
    if (f->rule != RULE_LF_1 && f->rule != RULE_LF_2)
        return false;
    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];

        if (r->sign == SIGN_THRILL_ABSENT && r->present)
            return true;
    }
    return false;
}

/* ---- measurements ------------------------------------------------------------ */

static bool rests_on(const struct finding *f, const struct point *p)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (f->evidence[i] == p->readings[0])
            return true;
    }
    return false;
}

size_t seen_points(const struct wording *w, const struct finding *f,
                   enum quantity q, struct point points[SEEN_MAX],
                   size_t *total)
{
    struct point all[POINTS_MAX];
    size_t count = points_collect(w->history, w->policy, q, q == Q_ACCESS_FLOW,
                                  all, POINTS_MAX);
    size_t kept = 0;

    *total = 0;
    for (size_t i = 0; i < count; i++) {
        if (!rests_on(f, &all[i]))
            continue;
        if (kept == SEEN_MAX) {
            memmove(points, points + 1, (SEEN_MAX - 1) * sizeof(*points));
            kept--;
        }
        points[kept++] = all[i];
        ++*total;
    }
    return kept;
}

static void say_point(const struct wording *w, enum quantity q,
                      const struct point *p, double limit, struct buf *out)
{
    say_value(out, q, p->value, p->bound, limit);
    buf_puts(out, " ");
    say_when(&w->history->readings[p->readings[0]], w->zone, out);
    if (p->reading_count > 1)
        buf_printf(out, " (mean of %zu)", p->reading_count);
}

/* "2240 mL/min on 2026-10-25, then 2180 mL/min on 2026-11-20" */
static void say_points(const struct wording *w, const struct finding *f,
                       enum quantity q, double limit, bool with_method,
                       struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total, count = seen_points(w, f, q, points, &total);

    for (size_t i = 0; i < count; i++) {
        if (i > 0)
            buf_puts(out, ", then ");
        say_point(w, q, &points[i], limit, out);
    }
    if (with_method && count > 0)
        buf_printf(out, " (%s)", method_display(points[count - 1].method));
    if (total > count)
        buf_printf(out, ", after %zu earlier", total - count);
}

/* ---- a sentence for each rule --------------------------------------------------- */

static double limit_of(const struct wording *w, enum param p)
{
    return policy_get(w->policy, p);
}

/* "Limit at this site: 2000 mL/min or more" */
static void say_site_limit(const struct wording *w, enum param p, bool above,
                           struct buf *out)
{
    buf_puts(out, " Limit at this site: ");
    if (!above)
        buf_puts(out, "below ");
    say_limit(w, p, out);
    if (above)
        buf_puts(out,
                 param_info(p)->kind == PARAM_GRADE ? " or worse" : " or more");
}

static void say_rule(const struct finding *f, struct buf *out)
{
    buf_printf(out, " (%s).", rule_info(f->rule)->id);
}

static void flow_sentence(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    static const enum param readings[RULE_COUNT] = {
        [RULE_HF_1] = P_HF1_READINGS,
        [RULE_HF_2] = P_HF2_READINGS,
        [RULE_LF_1] = P_LF1_READINGS,
        [RULE_LF_2] = P_LF2_READINGS,
    };
    int needed = policy_count(w->policy, readings[f->rule]);
    bool high = rule_info(f->rule)->group == GROUP_FLOW;

    buf_puts(out, "Access flow ");
    say_points(w, f, Q_ACCESS_FLOW, limit_of(w, f->limit), true, out);
    buf_puts(out, ".");
    say_site_limit(w, f->limit, high, out);
    if (needed > 1)
        buf_printf(out, ", %d readings in a row", needed);
    say_rule(f, out);
    if (f->with_sign && seen_signs(w, f, true, " Signs: ", out) > 0)
        buf_puts(out, ".");
}

static void say_percent(struct buf *out, double share)
{
    buf_printf(out, "%.0f %%", share * 100.0);
}

static void share_sentence(const struct wording *w, const struct finding *f,
                           struct buf *out)
{
    bool severe = f->limit == P_HF3_RATIO_SEVERE;

    buf_puts(out, "The access takes ");
    say_percent(out, f->measured);
    buf_puts(out, " of the cardiac output: flow ");
    say_points(w, f, Q_ACCESS_FLOW, NAN, true, out);
    buf_puts(out, ", cardiac output ");
    say_points(w, f, Q_CARDIAC_OUTPUT, NAN, false, out);
    buf_puts(out, ".");
    say_site_limit(w, f->limit, true, out);
    buf_puts(out, " at a flow of at least ");
    say_limit(w, severe ? P_HF3_FLOW_SEVERE : P_HF3_FLOW, out);
    say_rule(f, out);
}

static void grade_sentence(const struct wording *w, const struct finding *f,
                           struct buf *out)
{
    buf_puts(out, "Hand: ");
    seen_signs(w, f, true, "", out);
    buf_puts(out, "; ");
    say_grade(out, f->grade);
    buf_puts(out, ".");
    say_site_limit(w, f->limit, true, out);
    if (f->rule == RULE_IS_2)
        buf_puts(out, ", or a pale, cold, pulseless hand");
    if (f->rule == RULE_IS_4 && !f->severe)
        buf_printf(out, ", %d times within %d days",
                   policy_count(w->policy, P_IS4_READINGS_MILD),
                   policy_count(w->policy, P_IS4_WINDOW_D));
    say_rule(f, out);
}

/* One of the two finger measurements, if the finding rests on it. */
static void finger_part(const struct wording *w, const struct finding *f,
                        enum quantity q, enum param limit, struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total;

    if (seen_points(w, f, q, points, &total) == 0)
        return;
    buf_printf(out, "%s ", quantity_info(q)->display);
    say_points(w, f, q, limit_of(w, limit), false, out);
    buf_puts(out, ".");
    say_site_limit(w, limit, false, out);
    buf_puts(out, ". ");
}

static void finger_sentence(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    finger_part(w, f, Q_DIGITAL_PRESSURE, P_IS5_PRESSURE, out);
    finger_part(w, f, Q_DIGITAL_BRACHIAL_INDEX,
                f->severe ? P_IS5_INDEX_SEVERE : P_IS5_INDEX, out);
    if (seen_signs(w, f, true, "With symptoms: ", out) == 0)
        buf_puts(out, "No symptom of the hand is recorded near in time");
    say_rule(f, out);
}

static void beside_sentence(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    bool high = f->rule == RULE_IS_6;

    buf_puts(out, "Access flow ");
    say_points(w, f, Q_ACCESS_FLOW, limit_of(w, f->limit), true, out);
    buf_puts(out, high ? ", which counts as high here."
                       : ", which counts as normal or low here.");
    say_site_limit(w, f->limit, high, out);
    say_rule(f, out);
}

void seen_sentence(const struct wording *w, const struct finding *f,
                   struct buf *out)
{
    switch (f->rule) {
    case RULE_HF_1:
    case RULE_HF_2:
    case RULE_LF_1:
    case RULE_LF_2:
        flow_sentence(w, f, out);
        break;
    case RULE_HF_3:
        share_sentence(w, f, out);
        break;
    case RULE_IS_2:
    case RULE_IS_3:
    case RULE_IS_4:
        grade_sentence(w, f, out);
        break;
    case RULE_IS_5:
        finger_sentence(w, f, out);
        break;
    case RULE_IS_6:
    case RULE_IS_7:
        beside_sentence(w, f, out);
        break;
    case RULE_COUNT:
        break;
    }
    if (!f->confirmed)
        buf_puts(out, " One measurement so far.");
    if (f->flow_unknown)
        buf_printf(out,
                   " No usable access flow of the last %d days, or since the "
                   "last intervention.",
                   policy_count(w->policy, P_IS6_WINDOW_D));
}

/* ---- a few words for each rule --------------------------------------------------- */

/* "2240 then 2180 mL/min" */
static void brief_points(const struct wording *w, const struct finding *f,
                         enum quantity q, double limit, struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total, count = seen_points(w, f, q, points, &total);

    if (count > 1 && points[count - 2].bound == BOUND_NONE) {
        say_number(out, q, points[count - 2].value, limit);
        buf_puts(out, " then ");
    }
    if (count > 0)
        say_value(out, q, points[count - 1].value, points[count - 1].bound,
                  limit);
}

static void brief_limit(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    double limit = limit_of(w, f->limit);

    buf_puts(out, " (limit ");
    if (f->rule == RULE_HF_3)
        say_limit(w, f->limit, out);
    else
        buf_printf(out, "%.6g", limit);
    buf_printf(out, ", %s%s)", rule_info(f->rule)->id,
               f->confirmed ? "" : ", one measurement");
}

static void brief_finger(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    enum quantity q = say_limit_quantity(f->limit);

    buf_puts(out, q == Q_DIGITAL_PRESSURE ? "finger pressure "
                                          : "digital-brachial index ");
    brief_points(w, f, q, limit_of(w, f->limit), out);
    brief_limit(w, f, out);
    seen_signs(w, f, false, "; ", out);
}

static void brief_flow(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    buf_puts(out, "flow ");
    brief_points(w, f, Q_ACCESS_FLOW, limit_of(w, f->limit), out);
    if (f->rule == RULE_IS_6)
        buf_puts(out, ", high");
    else if (f->rule == RULE_IS_7)
        buf_puts(out, ", normal or low");
    brief_limit(w, f, out);
    if (f->with_sign)
        seen_signs(w, f, false, "; ", out);
}

void seen_brief(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    switch (f->rule) {
    case RULE_HF_1:
    case RULE_HF_2:
    case RULE_LF_1:
    case RULE_LF_2:
    case RULE_IS_6:
    case RULE_IS_7:
        brief_flow(w, f, out);
        break;
    case RULE_HF_3:
        say_percent(out, f->measured);
        buf_puts(out, " of the cardiac output");
        brief_limit(w, f, out);
        break;
    case RULE_IS_2:
    case RULE_IS_3:
    case RULE_IS_4:
        buf_puts(out, seen_signs(w, f, false, "", out) > 0 ? ", " : "hand ");
        buf_printf(out, "grade %s (%s)", grade_word(f->grade),
                   rule_info(f->rule)->id);
        break;
    case RULE_IS_5:
        brief_finger(w, f, out);
        break;
    case RULE_COUNT:
        break;
    }
    if (f->flow_unknown)
        buf_puts(out, "; flow not known");
}

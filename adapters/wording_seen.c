/* What was seen: which findings are spoken of, and the measurements of each. */
#include "adapters/wording_work.h"

#include "planner/series.h"

#include <math.h>
#include <string.h>

bool seen_is_ours(const struct wording *w, const struct finding *f)
{
    /* one old reading that nobody repeated is no longer worth a word */
    return finding_group(f) == w->group && (f->confirmed || !f->historic);
}

const struct finding *seen_leading(const struct wording *w)
{
    const struct finding *best = NULL;

    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_ours(w, f))
            continue;
        if (best == NULL || (f->confirmed && !best->confirmed) ||
            (f->confirmed == best->confirmed && rules_leads(f, best)))
            best = f;
    }
    return best;
}

/* A finding that another group's Task tells of, and is this one that? */
bool seen_is_told_here(const struct wording *w, const struct finding *f)
{
    enum group group = finding_group(f);

    if (!f->elsewhere || !f->confirmed)
        return false;
    if (w->group == GROUP_AFTER_BAND)
        return group == GROUP_FLOW || group == GROUP_LOW_FLOW;
    return w->group == GROUP_LOW_FLOW && group == GROUP_DOSE;
}

/* Is all that it rests on among what the other rests on? */
static bool is_within(const struct finding *f, const struct finding *other)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        size_t k = 0;

        while (k < other->evidence_count &&
               other->evidence[k] != f->evidence[i])
            k++;
        if (k == other->evidence_count)
            return false;
    }
    return true;
}

bool seen_is_told(const struct wording *w, const struct finding *f)
{
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *o = &w->findings->list[i];

        if (f->rule == RULE_IS_3 && o->at_s == f->at_s &&
            (o->rule == RULE_IS_1 || o->rule == RULE_IS_2))
            return true;
        if (f->rule == RULE_LF_6 && is_within(f, o) && !o->elsewhere &&
            (o->rule == RULE_LF_1 || o->rule == RULE_LF_2 ||
             o->rule == RULE_LF_3 || (o->rule == RULE_PB_2 && f->elsewhere)))
            return true;
    }
    return false;
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

bool seen_has_sign(const struct wording *w, const struct finding *f,
                   enum sign sign)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];

        if (r->sign == sign && r->present)
            return true;
    }
    return false;
}

bool seen_has_flag(const struct wording *w, const struct finding *f,
                   enum quantity q)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];

        if (r->quantity == q && r->value > 0.5)
            return true;
    }
    return false;
}

bool seen_thrill_lost(const struct wording *w, const struct finding *f)
{
    enum group group = rule_info(f->rule)->group;

    return (group == GROUP_LOW_FLOW || group == GROUP_AFTER_BAND) &&
           seen_has_sign(w, f, SIGN_THRILL_ABSENT);
}

const struct reading *seen_band(const struct wording *w)
{
    for (size_t i = w->history->count; i-- > 0;) {
        const struct reading *r = &w->history->readings[i];

        if (reading_counts(r) && (r->quantity == Q_DOWEL_DIAMETER ||
                                  (r->sign == SIGN_BANDED && r->present)))
            return r;
    }
    return NULL;
}

/* ---- measurements -------------------------------------------------------- */

static bool rests_on(const struct finding *f, const struct point *p)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        for (size_t k = 0; k < p->reading_count; k++) {
            if (f->evidence[i] == p->readings[k])
                return true;
        }
    }
    return false;
}

static size_t seen_of(const struct wording *w, const struct finding *f,
                      enum quantity q, bool blank,
                      struct point points[EVIDENCE_MAX])
{
    struct point all[POINTS_MAX];
    size_t count =
        series_collect(w->history, w->policy, q, blank, all, POINTS_MAX);
    size_t kept = 0;

    for (size_t i = 0; i < count; i++) {
        if (!rests_on(f, &all[i]))
            continue;
        if (kept == EVIDENCE_MAX) {
            memmove(points, points + 1, (EVIDENCE_MAX - 1) * sizeof(*points));
            kept--;
        }
        points[kept++] = all[i];
    }
    return kept;
}

size_t seen_all(const struct wording *w, const struct finding *f,
                enum quantity q, struct point points[EVIDENCE_MAX])
{
    bool blank =
        q == Q_ACCESS_FLOW && rule_info(f->rule)->group != GROUP_AFTER_BAND;
    size_t kept = seen_of(w, f, q, blank, points);

    /* what a rule rests on that reads flows soon after an intervention too */
    return kept == 0 && blank ? seen_of(w, f, q, false, points) : kept;
}

size_t seen_points(const struct wording *w, const struct finding *f,
                   enum quantity q, struct point points[SEEN_MAX],
                   size_t *total)
{
    struct point all[EVIDENCE_MAX];
    size_t count = seen_all(w, f, q, all);
    size_t kept = count < SEEN_MAX ? count : SEEN_MAX;

    memcpy(points, all + (count - kept), kept * sizeof(*points));
    *total = count;
    return kept;
}

/* " (computed from urea before dialysis 25.0 mmol/L, ...)" */
static void say_computed(const struct wording *w, enum quantity q,
                         const struct point *p, struct buf *out)
{
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = 0; i < p->reading_count; i++) {
        const struct reading *r = &w->history->readings[p->readings[i]];

        buf_puts(list, i > 0 ? list_comma() : "");
        say_lower(list, quantity_info(r->quantity)->display);
        buf_puts(list, " ");
        say_value(list, r->quantity, r->value, r->bound, NAN);
    }
    fill_limit(&s, "equation", w, P_AD1_EKTV);
    fill_say(&s,
             q == Q_STDKTV ? _(" (computed from {list}; equilibrated: "
                               "{equation})")
                           : _(" (computed from {list})"),
             out);
}

/* How many readings its value is the mean of: raw values beside a result that
 * was sent bear it out, and are no part of it. */
static size_t sent_count(const struct wording *w, enum quantity q,
                         const struct point *p)
{
    size_t count = 0;

    for (size_t i = 0; i < p->reading_count; i++)
        count += w->history->readings[p->readings[i]].quantity == q ? 1 : 0;
    return count;
}

void seen_say_point(const struct wording *w, enum quantity q,
                    const struct point *p, double limit, struct buf *out)
{
    size_t sent = sent_count(w, q, p);
    struct fill s = { 0 };

    say_value(fill_at(&s, "what"), q, p->value, p->bound, limit);
    say_when(&w->history->readings[p->readings[0]], w->zone,
             fill_at(&s, "when"));
    fill_count(&s, "count", (long long)sent);
    fill_say(&s,
             sent > 1 && !p->computed ? _("{what} {when} (mean of {count})")
                                      : _("{what} {when}"),
             out);
}

void seen_say_list(const struct wording *w, enum quantity q,
                   const struct point *points, size_t count, double limit,
                   bool with_method, struct buf *out)
{
    size_t from = count > SEEN_MAX ? count - SEEN_MAX : 0;
    struct fill s = { 0 };

    if (count == 0)
        return;
    for (size_t i = from; i < count; i++) {
        buf_puts(out, i > from ? list_then() : "");
        seen_say_point(w, q, &points[i], limit, out);
    }
    if (with_method)
        buf_printf(out, " (%s)",
                   wording_name(method_display(points[count - 1].method)));
    fill_count(&s, "count", (long long)from);
    /* TRANSLATORS: behind a list of measurements; the earlier ones are left
     * out */
    fill_say(&s, from > 0 ? _(", after {count} earlier") : "", out);
    if (points[count - 1].computed)
        say_computed(w, q, &points[count - 1], out);
}

size_t seen_say_points(const struct wording *w, const struct finding *f,
                       enum quantity q, double limit, bool with_method,
                       struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, q, points);

    seen_say_list(w, q, points, count, limit, with_method, out);
    return count;
}

/* ---- the sentence of each rule ------------------------------------------- */

typedef void (*seen_fn)(const struct wording *w, const struct finding *f,
                        struct buf *out);

static const struct {
    seen_fn sentence, brief;
} rows[RULE_COUNT] = {
    [RULE_HF_1] = { seen_flow, seen_flow_brief },
    [RULE_HF_2] = { seen_flow, seen_flow_brief },
    [RULE_HF_3] = { seen_share, seen_share_brief },
    [RULE_HF_4] = { seen_heart, seen_heart_brief },
    [RULE_HF_5] = { seen_treated, seen_treated_brief },
    [RULE_HF_6] = { seen_height, seen_height_brief },
    [RULE_IS_1] = { seen_nerves, seen_nerves_brief },
    [RULE_IS_2] = { seen_grade, seen_grade_brief },
    [RULE_IS_3] = { seen_grade, seen_grade_brief },
    [RULE_IS_4] = { seen_grade, seen_grade_brief },
    [RULE_IS_5] = { seen_finger, seen_finger_brief },
    [RULE_IS_6] = { seen_beside, seen_flow_brief },
    [RULE_IS_7] = { seen_beside, seen_flow_brief },
    [RULE_IS_8] = { seen_predicted, seen_predicted_brief },
    [RULE_LF_1] = { seen_flow, seen_flow_brief },
    [RULE_LF_2] = { seen_flow, seen_flow_brief },
    [RULE_LF_3] = { seen_fall, seen_fall_brief },
    [RULE_LF_4] = { seen_ratio, seen_ratio_brief },
    [RULE_LF_5] = { seen_recirculation, seen_recirculation_brief },
    [RULE_LF_6] = { seen_dysfunction, seen_dysfunction_brief },
    [RULE_AD_1] = { seen_dose, seen_dose_brief },
    [RULE_AD_2] = { seen_dose_fall, seen_dose_fall_brief },
    [RULE_PB_1] = { seen_follow_up, seen_follow_up_brief },
    [RULE_PB_2] = { seen_tight, seen_tight_brief },
    [RULE_PB_3] = { seen_loose, seen_loose_brief },
    [RULE_PB_4] = { seen_rise, seen_rise_brief },
    [RULE_BL_1] = { seen_bleeding, seen_signs_brief },
    [RULE_IN_1] = { seen_infection, seen_signs_brief },
};

void seen_flow_unknown(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    say_blank(out);
    fill_count(&s, "days", policy_count(w->policy, P_IS6_WINDOW_D));
    fill_say(&s,
             _("No usable access flow of the last {days} days, or since the "
               "last intervention."),
             out);
}

void seen_sentence(const struct wording *w, const struct finding *f,
                   struct buf *out)
{
    struct fill s = { 0 };

    rows[f->rule].sentence(w, f, out);
    if (!f->confirmed && f->rule == RULE_PB_3) {
        say_blank(out);
        fill_count(&s, "days", policy_count(w->policy, P_PB3_REPEAT_D));
        fill_say(&s,
                 _("Not confirmed so far: it takes two within {days} days."),
                 out);
    } else if (f->low_pressure) {
        say_next(out, _("At this pressure it confirms nothing."));
    } else if (!f->confirmed && !f->disagree && f->rule != RULE_PB_1) {
        say_next(out, _("One measurement so far."));
    }
    if (f->flow_unknown)
        seen_flow_unknown(w, out);
}

void seen_brief(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    rows[f->rule].brief(w, f, out);
    if (f->flow_unknown)
        buf_printf(out, "%s%s", list_semicolon(), _("flow not known"));
}

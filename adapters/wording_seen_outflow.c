/* What was seen of a flow beside repeated treatment of the outflow, and for the
 * size of the body. */
#include "adapters/wording_work.h"

#include <math.h>

static size_t treatments(const struct wording *w, const struct finding *f)
{
    size_t count = 0;

    for (size_t i = 0; i < f->evidence_count; i++) {
        if (w->history->readings[f->evidence[i]].sign ==
            SIGN_ANGIOPLASTY_OUTFLOW)
            count++;
    }
    return count;
}

void seen_treated(const struct wording *w, const struct finding *f,
                  struct buf *out)
{
    struct fill s = { 0 };

    fill_count(&s, "count", (long long)treatments(w, f));
    fill_count(&s, "days", policy_count(w->policy, P_HF5_PERIOD_D));
    seen_signs(w, f, true, fill_at(&s, "treatments"));
    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, P_HF5_FLOW), true,
                    fill_at(&s, "flow"));
    fill_say(&s,
             _("Outflow treated {count} times within {days} days: "
               "{treatments}; access flow {flow}."),
             out);
    say_blank(out);
    fill_limit(&s, "count", w, P_HF5_TREATMENTS);
    fill_limit(&s, "flow", w, P_HF5_FLOW);
    fill_rule(&s, f);
    fill_say(&s,
             _("Limits at this site: {count} treatments or more, and a flow "
               "after the last of them of more than {flow} ({rule})."),
             out);
}

void seen_treated_brief(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    struct fill s = { 0 };

    fill_count(&s, "count", (long long)treatments(w, f));
    seen_brief_points(w, f, Q_ACCESS_FLOW, seen_limit(w, P_HF5_FLOW),
                      fill_at(&s, "flow"));
    fill_count(&s, "most", policy_count(w->policy, P_HF5_TREATMENTS));
    say_plain(fill_at(&s, "limit"), seen_limit(w, P_HF5_FLOW), 6);
    fill_rule(&s, f);
    fill_say(&s,
             _("outflow treated {count} times, flow {flow} (limits {most} and "
               "{limit}, {rule})"),
             out);
}

void seen_height(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    struct point height[SEEN_MAX];
    size_t total, count = seen_points(w, f, Q_HEIGHT, height, &total);
    struct fill s = { 0 };

    seen_say_points(w, f, Q_ACCESS_FLOW, seen_limit(w, P_HF6_FLOW), true,
                    fill_at(&s, "flow"));
    if (count > 0)
        say_value(fill_at(&s, "height"), Q_HEIGHT, height[count - 1].value,
                  BOUND_NONE, NAN);
    fill_number(&s, "index", f->measured, 0);
    fill_say(&s,
             count > 0 ? _("Access flow {flow} at a height of {height}: "
                           "{index} mL/min for a height of 1 m to the power "
                           "2.7.")
                       : _("Access flow {flow}: {index} mL/min for a height of "
                           "1 m to the power 2.7."),
             out);
    say_blank(out);
    fill_limit(&s, "limit", w, P_HF6_INDEX);
    fill_limit(&s, "flow", w, P_HF6_FLOW);
    fill_rule(&s, f);
    fill_say(&s,
             _("Limit at this site: {limit} or more, at a flow of at least "
               "{flow} ({rule})."),
             out);
}

void seen_height_brief(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct fill s = { 0 };

    fill_number(&s, "index", f->measured, 0);
    say_plain(fill_at(&s, "limit"), seen_limit(w, P_HF6_INDEX), 6);
    fill_rule(&s, f);
    fill_say(&s,
             _("flow high for the size of the body: {index} (limit {limit}, "
               "{rule})"),
             out);
}

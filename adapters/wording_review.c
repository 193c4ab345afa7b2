/* All that is known of an access, for a person who asks: each rule with what
 * it rests on, or why it does not hold. */
#include "adapters/wording_work.h"

#include "planner/series.h"

#include <math.h>

/* ---- rules --------------------------------------------------------------- */

const char *say_state(const struct finding *f)
{
    if (f->confirmed)
        return "";
    /* a visit is not measured: it is due, or has passed */
    if (f->rule == RULE_PB_1)
        return _(" (due)");
    if (f->disagree)
        return _(" (measurements that contradict each other)");
    if (f->low_pressure)
        return _(" (measured at a low blood pressure)");
    return f->rule == RULE_PB_3 ? _(" (not confirmed so far)")
                                : _(" (one measurement so far)");
}

static const char *unconfirmed_words(const struct finding *f)
{
    if (f->rule == RULE_PB_1)
        return _("due");
    if (f->disagree)
        return _("not known: measurements contradict each other");
    if (f->low_pressure)
        return _("not known: measured at a low blood pressure");
    return _("once so far");
}

static const char *state_words(const struct finding *f)
{
    if (f->historic)
        return _("historic: too long ago to raise anything, or denied since");
    if (!f->confirmed)
        return unconfirmed_words(f);
    if (f->elsewhere)
        return _("holds, a remark: another suggestion tells of it");
    return f->urgency == URGENCY_NOTE ? _("holds, a remark") : _("HOLDS");
}

static void say_holding(const struct wording *w, const struct finding *f,
                        struct named_sources *named, struct buf *out)
{
    struct fill s = { 0 };

    seen_sentence(w, f, out);
    if (f->confirmed && f->urgency == URGENCY_IMMEDIATE)
        seen_late(w, false, out);
    buf_puts(out, "\n");
    advice_of(w, f, fill_at(&s, "advice"));
    fill_say(&s, _("Suggested: {advice}"), out);
    buf_puts(out, "\n");
    say_readings(w, f, out);
    say_rows(w, f, named, out);
    say_until(w, f, out);
}

static void say_rule_block(const struct wording *all, enum rule rule,
                           struct named_sources *named, struct buf *out)
{
    const struct finding *f = rules_find(all->findings, rule);
    struct wording w = *all;

    if (f == NULL)
        return;
    w.group = rule_info(rule)->group; /* how soon depends on it */
    w.due_s = INT64_MIN;              /* nobody is told of it now */
    buf_printf(out, "\n%s, %s: %s\n", rule_info(rule)->id,
               wording_name(rule_info(rule)->name), state_words(f));
    say_holding(&w, f, named, out);
}

/* Those that do not hold: short, since there are many. */
static void say_others(const struct wording *all, struct named_sources *named,
                       struct buf *out)
{
    buf_printf(out, "\n%s\n", _("Rules that do not hold"));
    say_marks(out);
    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule rule = rule_by_order(n);
        struct wording w = *all;

        if (rules_find(all->findings, rule) != NULL)
            continue;
        w.group = rule_info(rule)->group;
        buf_printf(out, "%s, %s: ", rule_info(rule)->id,
                   wording_name(rule_info(rule)->name));
        why_brief(&w, rule, out);
        buf_puts(out, "\n");
        say_rule_rows(&w, rule, named, out);
    }
}

/* ---- notes --------------------------------------------------------------- */

/* What rules ask for, and nobody has recorded. */
static void say_missing(const struct wording *w, struct buf *out)
{
    static const struct {
        enum quantity q;
        const char *words;
    } rows[] = {
        { Q_ACCESS_FLOW, N_("access flow") },
        { Q_MEAN_PRESSURE, N_("blood pressure at the session") },
        { Q_PRESCRIBED_PUMP_FLOW, N_("prescribed pump flow") },
        { Q_SESSIONS_PER_WEEK, N_("dialysis sessions a week") },
        { Q_RESIDUAL_UREA_CLEARANCE, N_("residual urea clearance") },
        { Q_SPKTV, N_("Kt/V") },
        { Q_HEIGHT, N_("height") },
    };
    struct point point;
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = 0; i < COUNT(rows); i++) {
        if (series_collect(w->history, w->policy, rows[i].q, false, &point, 1) >
            0)
            continue;
        buf_puts(list, list->len > 0 ? list_comma() : "");
        buf_puts(list, gettext(rows[i].words));
    }
    if (list->len == 0) {
        fill_say(&s, "", out);
        return;
    }
    fill_say(&s, _("Never recorded, as far as is known here: {list}."), out);
    buf_puts(out, "\n");
}

/* The newest contradictions, each a line. */
static void say_contradictions(const struct wording *w, struct buf *out)
{
    enum { LISTED_MAX = 8 };
    struct contradiction list[LISTED_MAX];
    int64_t since_s = w->history->now_s -
                      (int64_t)policy_count(w->policy, P_HISTORIC_D) * DAY_S;
    size_t n =
        series_contradictions(w->history, w->policy, since_s, list, LISTED_MAX);

    for (size_t i = 0; i < n; i++) {
        wording_contradiction(w->history, w->zone, &list[i], out);
        buf_puts(out, "\n");
    }
}

static void say_notes(const struct wording *w, struct buf *out)
{
    buf_printf(out, "\n%s\n", _("Notes for the unit"));
    if (w->history->access_type == SIGN_TYPE_UNKNOWN)
        buf_printf(out, "%s\n",
                   _("The type of the access is not known: limits that depend "
                     "on it are applied only where both types share them."));
    if (w->history->other_leads)
        buf_printf(out, "%s\n",
                   _("The dose of dialysis is said at another access of this "
                     "patient."));
    say_contradictions(w, out);
    say_missing(w, out);
    buf_printf(out, "%s\n%s\n%s %s\n",
               _("The minute of the session at which a flow was measured is "
                 "not taken into account; the first 90 minutes are best."),
               _("Two readings by the same method can differ by a third or "
                 "more by chance between sessions."),
               words_absence(), words_hand());
}

/* ---- the whole ----------------------------------------------------------- */

static void say_head(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    say_clean(out, w->access_label);
    buf_puts(out, "\n");
    fill_text(&s, "type",
              wording_name(sign_info(w->history->access_type)->display));
    say_date(w, w->history->now_s, fill_at(&s, "date"));
    fill_say(&s, _("{type}, as of {date}"), out);
    say_policy(w, out);
}

void wording_review(const struct wording *w, const struct readiness *readiness,
                    struct buf *out)
{
    struct named_sources named = { { false } };

    say_head(w, out);
    for (int n = 0; n < RULE_COUNT; n++)
        say_rule_block(w, rule_by_order(n), &named, out);
    say_others(w, &named, out);
    say_readiness(w, readiness, out);
    say_notes(w, out);
    say_sources(w, &named, out);
    buf_printf(out, "%s\n", words_support());
}

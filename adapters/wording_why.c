/*
 * Why a rule does not hold: the reason, what was last seen of what it looks
 * at, and what would make it hold.
 */
#include "adapters/wording_work.h"

#include "planner/series.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void say_takes(const struct wording *w, enum rule rule, struct buf *out)
{
    static const char *const names[TAKES_MAX] = { "1", "2", "3", "4",
                                                  "5", "6", "7", "8" };
    const struct takes *takes = rule_takes(rule);
    const char *text = gettext(takes->text);
    struct fill s = { 0 };

    for (size_t i = 0; i < TAKES_MAX; i++) {
        char place[8];

        snprintf(place, sizeof(place), "{%s}", names[i]);
        if (strstr(text, place) != NULL)
            fill_limit(&s, names[i], w, takes->params[i]);
    }
    say_blank(out);
    fill_say(&s, text, out);
}

/* ---- what was last seen -------------------------------------------------- */

enum { NEWEST_MAX = 2 };

/* What began the stage that the access is in; NULL if nothing is known. */
static const struct reading *stage_of(const struct wording *w)
{
    for (size_t i = w->history->count; i-- > 0;) {
        if (reading_is_intervention(&w->history->readings[i]))
            return &w->history->readings[i];
    }
    return NULL;
}

/* The newest values of a number, sent or computed; how many.  No rule sets
 * what was measured before an intervention against what came after it, so only
 * this stage is shown; a height is of the patient and stays. */
static size_t say_numbers(const struct wording *w, enum quantity q,
                          struct buf *out)
{
    const struct reading *stage = q == Q_HEIGHT ? NULL : stage_of(w);
    struct point points[POINTS_MAX];
    size_t count =
        series_collect(w->history, w->policy, q, false, points, POINTS_MAX);
    size_t from = count > NEWEST_MAX ? count - NEWEST_MAX : 0;

    while (stage != NULL && from < count && points[from].at_s < stage->start_s)
        from++;
    if (from == count)
        return 0;
    buf_puts(out, out->len > 0 ? list_semicolon() : "");
    say_quantity(out, q);
    for (size_t i = from; i < count; i++) {
        buf_puts(out, i > from ? list_then() : " ");
        seen_say_point(w, q, &points[i], NAN, out);
    }
    return count - from;
}

/* Where the stage is the reason, what came before it is not. */
static bool is_look(const struct wording *w, enum rule rule,
                    const struct reading *r, enum quantity q)
{
    const struct reading *stage =
        w->findings->why[rule] == WHY_STAGE ? stage_of(w) : NULL;

    return r->quantity == q && reading_counts(r) &&
           (stage == NULL || r->start_s >= stage->start_s) &&
           (rule != RULE_HF_5 || r->sign == SIGN_ANGIOPLASTY_OUTFLOW);
}

/* The newest examination; how many. */
static size_t say_coded(const struct wording *w, enum rule rule,
                        enum quantity q, struct buf *out)
{
    for (size_t i = w->history->count; i-- > 0;) {
        const struct reading *r = &w->history->readings[i];

        if (!is_look(w, rule, r, q))
            continue;
        buf_puts(out, out->len > 0 ? list_semicolon() : "");
        wording_reading(r, w->zone, out);
        return 1;
    }
    return 0;
}

static void say_newest(const struct wording *w, enum rule rule, struct buf *out)
{
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");
    size_t said = 0;

    for (size_t i = 0; i < LOOKED_MAX; i++) {
        enum quantity q = rule_takes(rule)->looks_at[i];

        if (q == Q_NONE)
            break;
        if (quantity_info(q)->kind == VALUE_NUMBER)
            said += say_numbers(w, q, list);
        else
            said += say_coded(w, rule, q, list);
    }
    if (said > 0)
        say_blank(out);
    fill_say(&s, said > 0 ? _("Newest: {list}.") : "", out);
}

/* ---- the reason ---------------------------------------------------------- */

static const char *no_pair(enum rule rule)
{
    if (rule == RULE_IS_8)
        return _(
            "No: there is a ground to predict from (an outflow stenosis "
            "that is untreated, or a flow that has risen), and a value that "
            "no prediction can do without is missing: the static pressure "
            "of the access, or a flow that is recent enough.");
    return rule == RULE_HF_3
               ? _("No: no cardiac output was measured in the session of a "
                   "flow.")
               : _("No: the dose fell, but that the pump flow was not reached "
                   "has not been recorded.");
}

static const char *no_ischaemia(enum rule rule)
{
    return rule == RULE_PB_3
               ? _("No: the band was not for the hand, and the flow fell "
                   "enough "
                   "or is not known.")
               : _("No: the hand gives no ground: none of IS-2 to IS-5 holds.");
}

static const char *other_type(enum rule rule)
{
    return rule == RULE_LF_1 ? _("No: this rule is for grafts.")
                             : _("No: this rule is for fistulas.");
}

static bool is_of_signs(enum rule rule)
{
    return rule == RULE_IS_1 || rule == RULE_IS_2 || rule == RULE_IS_3 ||
           rule == RULE_IS_4 || rule == RULE_LF_6 || rule == RULE_BL_1 ||
           rule == RULE_IN_1;
}

/* The last of them. */
static const char *late_reason(enum why why)
{
    switch ((int)why) {
    case WHY_TAKEN_BACK:
        return _("No: it was seen, and later found gone.");
    case WHY_TOO_LATE:
        return _("No: it did not begin soon after a procedure.");
    case WHY_DONE:
        return _("No: what was due has been recorded.");
    case WHY_CONTRADICTORY:
        return _("No: the measurements contradict each other, so none is used; "
                 "measure or sample again.");
    case WHY_INACTIVE:
        return _("No: the access is recorded as no longer in use: only "
                 "haemorrhage and infection are looked at.");
    default:
        return NULL;
    }
}

/* A sentence that does not depend on values; NULL: none of these. */
static const char *plain_reason(enum rule rule, enum why why)
{
    switch ((int)why) {
    case WHY_HOLDS:
        return _("It holds.");
    case WHY_INSIDE:
        if (rule == RULE_IS_8)
            return _("No: what is predicted is not beyond the limits.");
        return is_of_signs(rule)
                   ? _("No: no such sign stands.")
                   : _("No: what was seen is not beyond the limit.");
    case WHY_TOO_FEW:
        return _(
            "No: beyond the limit, but not often enough, or too far apart.");
    case WHY_TYPE_UNKNOWN:
        return _("No: the limits differ, and the type of the access is not "
                 "known.");
    case WHY_OTHER_TYPE:
        return other_type(rule);
    case WHY_CATHETER:
        return _("No: this rule is not for catheters.");
    case WHY_NOT_CANNULATED:
        return _("No: nothing says yet that needles have been placed.");
    case WHY_NO_PAIR:
        return no_pair(rule);
    case WHY_NO_BASELINE:
        return _("No: there are too few values before to compare with.");
    case WHY_NO_BAND:
        return _("No: no band is in place.");
    case WHY_NO_ISCHAEMIA:
        return no_ischaemia(rule);
    case WHY_FLOW_UNKNOWN:
        return _("No: there is no usable access flow near in time, or flows "
                 "contradict each other.");
    case WHY_STRONGER:
        return _("No: another rule of the same kind says more.");
    case WHY_OPPOSITE:
        return _("No: the opposite has been confirmed since.");
    case WHY_SCHEDULE:
        return _(
            "No: the limit of a single session is not for this schedule or "
            "this residual clearance, and no standard Kt/V can be had.");
    case WHY_OTHER_ACCESS:
        return _("No: it is said at another access of this patient.");
    default:
        return late_reason(why);
    }
}

/* "band placed on 2026-11-23"; of a band a unit may have sent no more than
 * the size of the dowel it was tied over. */
static void say_done(const struct wording *w, const struct reading *r,
                     struct buf *out)
{
    struct fill s = { 0 };
    struct buf *what = fill_at(&s, "what");

    switch ((int)r->quantity) {
    case Q_DOWEL_DIAMETER:
        say_lower(what, sign_info(SIGN_BANDED)->display);
        break;
    case Q_BAND_STRETCHED:
        buf_puts(what, _("band stretched"));
        break;
    case Q_BAND_RELEASED:
        say_lower(what, quantity_info(Q_BAND_RELEASED)->display);
        break;
    default:
        say_lower(what, sign_info(r->sign)->display);
        break;
    }
    say_when(r, w->zone, fill_at(&s, "when"));
    fill_say(&s, _("{what} {when}"), out);
}

static void say_stage(const struct wording *w, struct buf *out)
{
    const struct reading *r = stage_of(w);
    struct fill s = { 0 };

    if (r != NULL)
        say_done(w, r, fill_at(&s, "done"));
    else
        fill_text(&s, "done", _("something was done to the access"));
    fill_say(&s,
             r != NULL && r->sign == SIGN_CLOSED
                 ? _("No: {done}: nothing of the kind is expected of it any "
                     "more.")
                 : _("No: {done}: a new stage began, in which nothing has been "
                     "seen yet that counts for this rule."),
             out);
}

static void say_reason(const struct wording *w, enum rule rule, enum why why,
                       struct buf *out)
{
    const char *plain = plain_reason(rule, why);
    struct fill s = { 0 };

    if (plain != NULL) {
        buf_puts(out, plain);
    } else if (why == WHY_STAGE) {
        say_stage(w, out);
    } else if (why == WHY_YOUNG) {
        fill_count(&s, "days", policy_count(w->policy, P_YOUNG_ACCESS_D));
        fill_say(&s, _("No: the access is younger than {days} days."), out);
    } else {
        buf_puts(out, gettext(rule_takes(rule)->none));
    }
}

/* Does the reason alone say all? */
static bool is_all_said(enum why why)
{
    return why == WHY_HOLDS || why == WHY_CATHETER || why == WHY_OTHER_TYPE ||
           why == WHY_OTHER_ACCESS || why == WHY_NO_BAND || why == WHY_INACTIVE;
}

void wording_why(const struct wording *w, enum rule rule, struct buf *out)
{
    enum why why = w->findings->why[rule];

    say_reason(w, rule, why, out);
    if (is_all_said(why))
        return;
    if (why != WHY_CONTRADICTORY) /* whose mean says nothing */
        say_newest(w, rule, out);
    say_takes(w, rule, out);
}

void why_brief(const struct wording *w, enum rule rule, struct buf *out)
{
    /* TRANSLATORS: what the reasons begin with why a rule does not hold, as
     * "No: no band is in place."; it is left out in a list of them */
    const char *no = _("No: ");
    enum why why = w->findings->why[rule];
    struct buf reason;
    size_t skip;

    buf_init(&reason, WORDING_SIZE_MAX);
    say_reason(w, rule, why, &reason);
    skip = reason.len > strlen(no) && strncmp(reason.data, no, strlen(no)) == 0
               ? strlen(no)
               : 0;
    buf_add(out, reason.data + skip, reason.len - skip);
    buf_clear(&reason);
    if (is_all_said(why))
        return;
    if (why != WHY_CONTRADICTORY)
        say_newest(w, rule, out);
    if (why == WHY_TOO_FEW || why == WHY_NO_PAIR || why == WHY_NO_BASELINE)
        say_takes(w, rule, out);
}

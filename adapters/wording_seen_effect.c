/* What was seen of the effect of a band: not enough, and not lasting. */
#include "adapters/wording_work.h"

#include <math.h>

/* ---- not enough ---------------------------------------------------------- */

/* Those measured after it; the flow before it is the baseline. */
static size_t after_band(const struct wording *w, const struct finding *f,
                         struct point points[EVIDENCE_MAX], size_t *before)
{
    const struct reading *band = seen_band(w);
    size_t count = seen_all(w, f, Q_ACCESS_FLOW, points);

    *before = 0;
    while (band != NULL && *before < count &&
           points[*before].at_s < band->start_s)
        ++*before;
    return count - *before;
}

static void loose_flow(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t before, count = after_band(w, f, points, &before);
    bool known = count > 0 && !isnan(f->baseline);
    double value = known ? points[before + count - 1].value : NAN;
    double fall_pct = (f->baseline - value) / f->baseline * 100.0;
    struct fill s = { 0 };

    seen_say_list(w, Q_ACCESS_FLOW, points + before, count, NAN, true,
                  fill_at(&s, "list"));
    seen_after(w, fill_at(&s, "after"));
    say_per_cent(fill_at(&s, "fall"), fall_pct, 1);
    fill_number(&s, "before", f->baseline, 0);
    fill_say(&s,
             !known         ? _("Access flow {list} {after}.")
             : fall_pct > 0 ? _("Access flow {list} {after}: {fall} below "
                                "{before} mL/min before it.")
                            : _("Access flow {list} {after}: not below "
                                "{before} mL/min before it."),
             out);
}

/* An index that has not come up: "digital-brachial index 0.31 on 2026-11-20,
 * before the band 0.30 (limit at this site: below 0.4)". */
static void loose_index(const struct wording *w, const struct finding *f,
                        const struct point *points, size_t count,
                        struct buf *out)
{
    bool known = f->quantity == Q_DIGITAL_BRACHIAL_INDEX && !isnan(f->baseline);
    struct fill s = { 0 };

    seen_say_list(w, Q_DIGITAL_BRACHIAL_INDEX, points, count,
                  seen_limit(w, P_IS5_INDEX), false, fill_at(&s, "list"));
    if (known)
        say_number(fill_at(&s, "before"), Q_DIGITAL_BRACHIAL_INDEX, f->baseline,
                   NAN);
    fill_limit(&s, "limit", w, P_IS5_INDEX);
    fill_say(&s,
             known ? _("digital-brachial index {list}, before the band "
                       "{before} (limit at this site: below {limit})")
                   : _("digital-brachial index {list} (limit at this site: "
                       "below {limit})"),
             out);
}

/* What was found of it, as a list. */
static void hand_found(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_DIGITAL_BRACHIAL_INDEX, points);

    if (seen_signs(w, f, true, out) == 0) {
        buf_puts(out, _("no symptom of it is recorded"));
    } else if (f->grade > GRADE_NONE) {
        buf_puts(out, list_comma());
        say_grade(out, f->grade);
    }
    if (count == 0)
        return;
    buf_puts(out, list_semicolon());
    loose_index(w, f, points, count, out);
}

static void loose_hand(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct fill s = { 0 };

    seen_after(w, fill_at(&s, "after"));
    hand_found(w, f, fill_at(&s, "found"));
    say_blank(out);
    fill_say(&s,
             _("The band was for the hand, and the hand is not better {after}: "
               "{found}."),
             out);
}

/* Its limit, where it is of the flow or of the hand. */
static void loose_limit(const struct wording *w, const struct finding *f,
                        bool of_hand, bool last, struct buf *out)
{
    struct buf limit, none;
    struct fill s = { 0 };

    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&none, WORDING_SIZE_MAX);
    if (of_hand) {
        say_plain(fill_at(&s, "days"), seen_limit(w, P_PB3_AFTER_D), 3);
        fill_say(&s, _("{days} days or more after the band"), &limit);
    } else {
        fill_limit(&s, "fall", w, P_PB3_FALL_PCT);
        fill_say(&s, _("a fall of less than {fall}"), &limit);
    }
    seen_limit_is(last ? f : NULL, &limit, &none, out);
}

void seen_loose(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    bool flow = f->limit == P_PB3_FALL_PCT;
    bool hand = !flow || f->grade > GRADE_NONE ||
                seen_all(w, f, Q_DIGITAL_BRACHIAL_INDEX, points) > 0;

    if (flow) {
        loose_flow(w, f, out);
        loose_limit(w, f, false, !hand, out);
    }
    if (hand) {
        loose_hand(w, f, out);
        loose_limit(w, f, true, true, out);
    }
}

void seen_loose_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t before, count = after_band(w, f, points, &before);
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");
    const char *text = _("{list} after a band");

    if (f->limit == P_PB3_FALL_PCT) {
        if (count > 0)
            say_value(list, Q_ACCESS_FLOW, points[before + count - 1].value,
                      points[before + count - 1].bound, NAN);
        say_per_cent(fill_at(&s, "fall"), f->measured, 0);
        text = _("flow {list}, down {fall} after a band");
    } else if (f->quantity == Q_DIGITAL_BRACHIAL_INDEX) {
        seen_brief_points(w, f, Q_DIGITAL_BRACHIAL_INDEX,
                          seen_limit(w, P_IS5_INDEX), list);
        text = _("digital-brachial index {list} after a band");
    } else if (seen_signs(w, f, false, list) == 0) {
        fill_text(&s, "grade", grade_word(f->grade));
        text = _("hand grade {grade} after a band");
    }
    fill_say(&s, text, out);
    seen_brief_rule(f, out);
}

/* ---- rising -------------------------------------------------------------- */

/* Those that the rise is said of: after the first flow since the band. */
static size_t risen(const struct wording *w, const struct finding *f,
                    struct point points[EVIDENCE_MAX], size_t *before)
{
    size_t count = after_band(w, f, points, before);
    size_t needed = (size_t)policy_count(w->policy, P_PB4_READINGS);

    if (count > needed) {
        ++*before; /* the first is what they are compared with */
        count--;
    }
    return count;
}

static double rise_pct(const struct finding *f, const struct point *p)
{
    return (p->value - f->baseline) / f->baseline * 100.0;
}

/* "a rise of more than 30 % to more than 1200 mL/min, or ..." */
static void rise_limit(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "rise", w, P_PB4_RISE_PCT);
    fill_limit(&s, "to", w, P_PB4_RISE_FLOW);
    fill_limit(&s, "least", w, P_PB4_RISE_LEAST_PCT);
    fill_limit(&s, "flow", w, P_PB4_FLOW);
    fill_say(&s,
             _("a rise of more than {rise} to more than {to}, or of at least "
               "{least} to {flow} or more"),
             out);
}

static void rise_limits(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    int needed = policy_count(w->policy, P_PB4_READINGS);
    struct fill s = { 0 };

    if (f->still_high)
        say_beyond(w, P_PB4_FLOW, OR_MORE, fill_at(&s, "limit"));
    else
        rise_limit(w, fill_at(&s, "limit"));
    say_in_a_row(needed, READINGS, fill_at(&s, "confirmed"));
    fill_rule(&s, f);
    say_blank(out);
    fill_say(&s,
             needed > 1
                 ? _("Limits at this site: {limit}, {confirmed} ({rule}).")
                 : _("Limits at this site: {limit} ({rule})."),
             out);
}

void seen_rise(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t before, count = risen(w, f, points, &before);
    struct fill s = { 0 };
    const char *text;

    seen_say_list(w, Q_ACCESS_FLOW, points + before, count, NAN, true,
                  fill_at(&s, "list"));
    seen_after(w, fill_at(&s, "after"));
    fill_number(&s, "first", f->baseline, 0);
    if (f->still_high) {
        text = isnan(f->baseline)
                   ? _("Access flow {list} {after}: still high.")
                   : _("Access flow {list} {after}: still high; it has not "
                       "risen from {first} mL/min, the first flow after the "
                       "band.");
    } else {
        seen_say_changes(f, points + before, count, true, fill_at(&s, "rises"));
        text = _("Access flow {list} {after}: {rises} above {first} mL/min, "
                 "the first flow after the band.");
    }
    fill_say(&s, text, out);
    rise_limits(w, f, out);
    if (f->with_sign)
        seen_signs_sentence(w, f, _("Signs: {signs}."), out);
}

void seen_rise_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t before, count = risen(w, f, points, &before);
    struct fill s = { 0 };

    seen_brief_points(w, f, Q_ACCESS_FLOW, NAN, fill_at(&s, "list"));
    if (count > 0)
        say_per_cent(fill_at(&s, "rise"),
                     rise_pct(f, &points[before + count - 1]), 0);
    fill_say(&s,
             f->still_high ? _("flow {list}, still high after a band")
             : count > 0   ? _("flow {list}, {rise} up since the band")
                           : _("flow {list}"),
             out);
    seen_brief_rule(f, out);
    if (f->with_sign)
        seen_signs_too(w, f, out);
}

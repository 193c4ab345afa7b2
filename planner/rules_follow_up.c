/* PB-1: the visits after a band; see follow_up.h for what each asks for. */
#include "planner/follow_up.h"

#include "planner/band.h"
#include "planner/series.h"

#include <math.h>

/* ---- the visits ------------------------------------------------------------ */

/* One visit, in days after the band. */
struct visit {
    enum param due; /* the row that says when */
    unsigned items;
    double begin_d, end_d; /* its window; equal if it has none */
};

/* The rows of the first visits, and what they ask for. */
static const struct {
    enum param due;
    unsigned items;
} first_visits[] = {
    { P_PB1_SESSION_D, VISIT_THRILL | VISIT_PUMP | VISIT_HAND },
    { P_PB1_EARLY_D, VISIT_FLOW | VISIT_DOSE | VISIT_HAND | VISIT_FINGER },
    { P_PB1_MONTH_D, VISIT_FLOW | VISIT_DOSE | VISIT_FINGER },
    { P_PB1_QUARTER_D, VISIT_FLOW | VISIT_DOSE | VISIT_HAND },
    { P_PB1_HALF_YEAR_D, VISIT_FLOW },
};

/* What the visits depend on. */
struct schedule {
    const struct policy *policy;
    int64_t band_s;
    enum param interval; /* of the later visits */
    bool for_hand;
};

/* The day on which the nth visit is due. */
static double due_d(const struct schedule *s, size_t n)
{
    size_t last = COUNT(first_visits) - 1;

    if (n <= last)
        return policy_get(s->policy, first_visits[n].due);
    return policy_get(s->policy, first_visits[last].due) +
           (double)(n - last) * policy_get(s->policy, s->interval);
}

static double half_window_d(const struct schedule *s, size_t n)
{
    double of_d = n < COUNT(first_visits) ? due_d(s, n)
                                          : policy_get(s->policy, s->interval);

    return of_d * policy_get(s->policy, P_PB1_WINDOW_PCT) / 100.0;
}

/* The nth visit, from 0 on; no window begins before the last one ends. */
static struct visit nth_visit(const struct schedule *s, size_t n)
{
    bool first = n < COUNT(first_visits);
    struct visit v = { .due = first ? first_visits[n].due : s->interval,
                       .items = first ? first_visits[n].items : VISIT_FLOW };
    double before_d = n > 0 ? due_d(s, n - 1) + half_window_d(s, n - 1) : 0.0;

    v.begin_d = fmax(due_d(s, n) - half_window_d(s, n), before_d);
    v.end_d = fmax(due_d(s, n) + half_window_d(s, n), v.begin_d);
    if (!s->for_hand)
        v.items &= ~(unsigned)VISIT_FINGER;
    return v;
}

static int64_t at_day(const struct schedule *s, double day)
{
    return s->band_s + (int64_t)llround(day * DAY_S);
}

/* Was the first flow after the band high? */
static bool starts_high(const struct history *h, const struct policy *policy,
                        int64_t band_s)
{
    struct point flow[POINTS_MAX];
    size_t n =
        series_collect(h, policy, Q_ACCESS_FLOW, false, flow, POINTS_MAX);

    for (size_t i = 0; i < n; i++) {
        if (flow[i].at_s >= band_s && band_is_base(h, policy, &flow[i]))
            return flow[i].value > policy_get(policy, P_PB1_CLOSE_FLOW);
    }
    return false;
}

static struct schedule schedule_of(const struct history *h,
                                   const struct policy *policy,
                                   const struct band *band)
{
    bool closer = starts_high(h, policy, band->at_s) ||
                  band_is_younger(h, policy_get(policy, P_PB1_CLOSE_AGE));

    return (struct schedule){ .policy = policy,
                              .band_s = band->at_s,
                              .interval = closer ? P_PB1_INTERVAL_CLOSE_D
                                                 : P_PB1_INTERVAL_D,
                              .for_hand = band->for_hand };
}

int64_t follow_up_next(const struct history *h, const struct policy *policy)
{
    int64_t oldest_s =
        h->now_s - (int64_t)policy_count(policy, P_LOOKBACK_D) * DAY_S;
    struct schedule s;
    struct band band;

    band_find(h, policy, &band);
    if (!band.placed || h->access_type == SIGN_TYPE_CVC ||
        h->readings[band.index].start_s < oldest_s)
        return INT64_MAX;
    s = schedule_of(h, policy, &band);
    for (size_t n = 0;; n++) { /* the windows move on with n */
        struct visit v = nth_visit(&s, n);

        if (at_day(&s, v.begin_d) > h->now_s)
            return at_day(&s, v.begin_d);
        if (at_day(&s, v.end_d) > h->now_s)
            return at_day(&s, v.end_d);
    }
}

/* ---- what was recorded ----------------------------------------------------- */

static bool is_item(const struct reading *r, unsigned item)
{
    switch (item) {
    case VISIT_THRILL:
        return r->quantity == Q_THRILL;
    case VISIT_PUMP:
        return r->quantity == Q_PUMP_FLOW ||
               r->quantity == Q_ARTERIAL_LINE_PRESSURE;
    case VISIT_HAND:
        return r->quantity == Q_HAND_SYMPTOM ||
               r->quantity == Q_HAND_ISCHAEMIA_GRADE;
    case VISIT_DOSE:
        return r->quantity == Q_EKTV || r->quantity == Q_STDKTV ||
               r->quantity == Q_KTV_UNSPECIFIED;
    case VISIT_FINGER:
        return r->quantity == Q_DIGITAL_PRESSURE ||
               r->quantity == Q_DIGITAL_BRACHIAL_INDEX;
    default:
        return false;
    }
}

/* Within these times, as far as its own is known, and not of the procedure
 * itself. */
static bool is_within(const struct work *w, const struct reading *r,
                      int64_t from_s, int64_t before_s)
{
    return r->end_s > from_s && r->start_s < before_s &&
           !readings_share_session(w->policy, r,
                                   &w->h->readings[w->band.index]);
}

static bool has_reading(const struct work *w, unsigned item, int64_t from_s,
                        int64_t before_s)
{
    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (is_item(r, item) && reading_counts(r) && r->precision != AT_MONTH &&
            r->precision != AT_YEAR && is_within(w, r, from_s, before_s))
            return true;
    }
    return false;
}

/* Sent, or computed from what was sent. */
static bool has_point(const struct work *w, enum quantity q, int64_t from_s,
                      int64_t before_s)
{
    struct point points[POINTS_MAX];
    size_t n = band_points(w, q, INT64_MIN, points);

    for (size_t i = 0; i < n; i++) {
        if (is_within(w, &w->h->readings[points[i].readings[0]], from_s,
                      before_s))
            return true;
    }
    return false;
}

static bool is_recorded(const struct work *w, unsigned item, int64_t from_s,
                        int64_t before_s)
{
    if (item == VISIT_FLOW)
        return has_point(w, Q_ACCESS_FLOW, from_s, before_s);
    return has_reading(w, item, from_s, before_s) ||
           (item == VISIT_DOSE && (has_point(w, Q_SPKTV, from_s, before_s) ||
                                   has_point(w, Q_URR, from_s, before_s)));
}

/* From when on what is recorded of this item counts for the nth visit. */
static int64_t counts_from_s(const struct work *w, const struct schedule *s,
                             size_t n, unsigned item)
{
    int64_t from_s = s->band_s;

    for (size_t i = 0; i < n; i++) {
        struct visit v = nth_visit(s, i);
        int64_t end_s = at_day(s, v.end_d);
        bool late = v.end_d > v.begin_d && (v.items & item) != 0 &&
                    !is_recorded(w, item, from_s, end_s);

        from_s = late ? at_day(s, nth_visit(s, i + 1).begin_d) : end_s;
    }
    return from_s;
}

/* What the visit before asked for, and nobody has recorded since the band: it
 * is asked for once more, and not for ever, since a unit may not record it. */
static unsigned never_recorded(const struct work *w, const struct schedule *s,
                               size_t n)
{
    unsigned asked = n > 0 ? nth_visit(s, n - 1).items : 0, missing = 0;

    for (unsigned item = VISIT_THRILL; item <= VISIT_FINGER; item <<= 1) {
        if ((asked & item) != 0 &&
            !is_recorded(w, item, s->band_s, w->h->now_s + 1))
            missing |= item;
    }
    return missing;
}

/* What the nth visit lacks. */
static unsigned missing_items(const struct work *w, const struct schedule *s,
                              size_t n)
{
    struct visit v = nth_visit(s, n);
    int64_t before_s = at_day(s, nth_visit(s, n + 1).begin_d);
    unsigned missing = 0;

    for (unsigned item = VISIT_THRILL; item <= VISIT_FINGER; item <<= 1) {
        if ((v.items & item) != 0 &&
            !is_recorded(w, item, counts_from_s(w, s, n, item), before_s))
            missing |= item;
    }
    return missing | never_recorded(w, s, n);
}

static enum quantity first_missing(unsigned missing)
{
    static const struct {
        unsigned item;
        enum quantity q;
    } of[] = {
        { VISIT_THRILL, Q_THRILL },     { VISIT_PUMP, Q_PUMP_FLOW },
        { VISIT_HAND, Q_HAND_SYMPTOM }, { VISIT_FLOW, Q_ACCESS_FLOW },
        { VISIT_DOSE, Q_SPKTV },        { VISIT_FINGER, Q_DIGITAL_PRESSURE },
    };

    for (size_t i = 0; i < COUNT(of); i++) {
        if ((missing & of[i].item) != 0)
            return of[i].q;
    }
    return Q_NONE;
}

/* ---- PB-1 ------------------------------------------------------------------ */

/* The latest visit whose window has begun: earlier ones are superseded, even
 * if they were never complete.  False if none has begun. */
static bool visit_now(const struct schedule *s, int64_t now_s, size_t *n)
{
    bool begun = false;

    for (size_t i = 0; at_day(s, nth_visit(s, i).begin_d) <= now_s; i++) {
        struct visit v = nth_visit(s, i);

        if (v.end_d <= v.begin_d)
            continue;
        *n = i;
        begun = true;
    }
    return begun;
}

static void add_visit(struct work *w, const struct schedule *s, size_t n,
                      unsigned missing)
{
    struct visit v = nth_visit(s, n);
    int64_t end_s = at_day(s, v.end_d), now_s = w->h->now_s;
    struct finding *f = work_add(w, RULE_PB_1);
    bool overdue = now_s >= end_s;

    work_rest_on(w, f, w->band.index);
    f->confirmed = overdue;
    f->urgency = overdue ? work_urgency(w, P_PB1_URGENCY) : URGENCY_NOTE;
    f->quantity = first_missing(missing);
    f->visit_items = missing;
    f->limit = v.due;
    f->measured = f->peak = (double)(now_s - s->band_s) / DAY_S;
    f->occasion = end_s;
    f->at_s = overdue ? end_s : now_s;
    if (overdue)
        return;
    f->repeat_of = f->quantity;
    f->repeat_from_s = at_day(s, v.begin_d);
    f->repeat_by_s = end_s;
}

void rules_follow_up(struct work *w)
{
    struct schedule s;
    unsigned missing;
    size_t n = 0;

    if (!w->band.placed) {
        work_not(w, RULE_PB_1, WHY_NO_BAND);
        return;
    }
    s = schedule_of(w->h, w->policy, &w->band);
    missing = visit_now(&s, w->h->now_s, &n) ? missing_items(w, &s, n) : 0;
    if (missing == 0)
        work_not(w, RULE_PB_1, WHY_DONE);
    else
        add_visit(w, &s, n, missing);
}

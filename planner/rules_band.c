/* The band in place, and what is said elsewhere while its rules say it. */
#include "planner/band.h"
#include "planner/series.h"

/* ---- the band -------------------------------------------------------------- */

/* A low value of this quantity between two times, oldest first? */
static bool was_low(const struct work *w, enum quantity q, enum param limit,
                    int64_t from_s, int64_t before_s)
{
    struct point points[POINTS_MAX];
    struct run_rule rule = { .limit = work_get(w, limit) };
    size_t n = series_collect(w->h, w->policy, q, false, points, POINTS_MAX);

    for (size_t i = 0; i < n; i++) {
        if (points[i].at_s >= from_s && points[i].at_s < before_s &&
            !points[i].disagree && run_beyond(&rule, &points[i]))
            return true;
    }
    return false;
}

/* Was the hand short of blood before the band: complaints that stood then, or
 * lesser ones beside a low finger pressure? */
static bool is_for_hand(const struct work *w)
{
    int64_t band_s = w->band.at_s;
    int64_t from_s =
        band_s - (int64_t)work_count(w, P_PB3_HAND_WINDOW_D) * DAY_S;
    size_t before = 0, at = 0;

    while (before < w->hand_count && w->hand[before].at_s < band_s)
        before++;
    if (hand_standing(w->hand, before,
                      (enum grade)work_get(w, P_IS4_GRADE_MILD), &at) &&
        w->hand[at].at_s >= from_s)
        return true;
    return hand_standing(w->hand, before, GRADE_1, &at) &&
           w->hand[at].at_s >= from_s &&
           (was_low(w, Q_DIGITAL_PRESSURE, P_IS5_PRESSURE, from_s, band_s) ||
            was_low(w, Q_DIGITAL_BRACHIAL_INDEX, P_IS5_INDEX, from_s, band_s));
}

void rules_band_find(struct work *w)
{
    band_find(w->h, w->policy, &w->band);
    if (w->band.placed)
        w->band.for_hand = is_for_hand(w);
}

/* ---- what another group says of the same ----------------------------------- */

static bool shares_evidence(const struct finding *a, const struct finding *b)
{
    for (size_t i = 0; i < a->evidence_count; i++) {
        for (size_t k = 0; k < b->evidence_count; k++) {
            if (a->evidence[i] == b->evidence[k])
                return true;
        }
    }
    return false;
}

/* A note there, since this finding says it, as urgently as both ask for. */
static void take_over(struct work *w, enum rule rule, enum rule from, bool same)
{
    struct finding *f = work_find(w, rule), *other = work_find(w, from);

    if (f == NULL || other == NULL || work_is_old(w, f->at_s) ||
        (same && !shares_evidence(f, other)))
        return;
    if (other->urgency > f->urgency)
        f->urgency = other->urgency;
    other->urgency = URGENCY_NOTE;
    other->elsewhere = true;
}

/* A thrill that is lost is one emergency, not two. */
static bool says_all(const struct finding *f, const struct finding *of)
{
    for (size_t i = 0; i < of->evidence_count; i++) {
        size_t k = 0;

        while (k < f->evidence_count && f->evidence[k] != of->evidence[i])
            k++;
        if (k == f->evidence_count)
            return false;
    }
    return true;
}

static void take_over_thrill(struct work *w)
{
    const struct finding *f = work_find(w, RULE_PB_2);
    const struct finding *signs = work_find(w, RULE_LF_6);

    if (f != NULL && signs != NULL && f->quantity == Q_THRILL &&
        says_all(f, signs))
        take_over(w, RULE_PB_2, RULE_LF_6, true);
}

void rules_band(struct work *w)
{
    static const enum rule low[] = { RULE_LF_1, RULE_LF_2, RULE_LF_3 };
    static const enum rule high[] = { RULE_HF_1, RULE_HF_2 };

    if (!w->band.placed) {
        for (int r = RULE_PB_2; r <= RULE_PB_4; r++)
            work_not(w, (enum rule)r, WHY_NO_BAND);
        return;
    }
    band_too_tight(w);
    band_not_enough(w);
    band_flow_rising(w);
    for (size_t i = 0; i < COUNT(low); i++)
        take_over(w, RULE_PB_2, low[i], true);
    take_over_thrill(w);
    for (size_t i = 0; i < COUNT(high); i++)
        take_over(w, RULE_PB_4, high[i], false);
}

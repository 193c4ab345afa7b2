/* What stands between an access and a band plan; see readiness.h. */
#include "planner/readiness_work.h"

#include "planner/band.h"
#include "planner/series.h"

#include <math.h>

static const struct finding *confirmed(const struct readiness_work *k,
                                       enum rule rule)
{
    const struct finding *f = rules_find(k->findings, rule);

    return f != NULL && f->confirmed ? f : NULL;
}

/* The newest counting reading that is so, and not older than the look-back;
 * NULL if there is none. */
static const struct reading *newest(const struct readiness_work *k,
                                    bool (*is)(const struct reading *))
{
    int64_t from_s = readiness_days_ago(k, P_LOOKBACK_D);

    for (size_t i = k->h->count; i-- > 0;) {
        const struct reading *r = &k->h->readings[i];

        if (r->start_s < from_s)
            break;
        if (reading_counts(r) && is(r))
            return r;
    }
    return NULL;
}

/* Was a band ever placed?  It is there, or has left its scar, however long ago
 * that was. */
static bool was_banded(const struct readiness_work *k)
{
    for (size_t i = 0; i < k->h->count; i++) {
        if (band_is_placing(&k->h->readings[i]))
            return true;
    }
    return false;
}

static bool is_later(const struct reading *a, const struct reading *b)
{
    return a != NULL && (b == NULL || a->start_s > b->start_s);
}

/* ---- kinds of readings ----------------------------------------------------- */

static bool is_inflow_image(const struct reading *r)
{
    return r->quantity == Q_INFLOW_IMAGED_CLEAR;
}

static bool is_outflow_image(const struct reading *r)
{
    return r->quantity == Q_OUTFLOW_IMAGED_CLEAR;
}

static bool is_stenosis(const struct reading *r)
{
    return r->quantity == Q_OUTFLOW_STENOSIS;
}

static bool is_outflow_treatment(const struct reading *r)
{
    return r->quantity == Q_ACCESS_INTERVENTION && r->present &&
           r->sign == SIGN_ANGIOPLASTY_OUTFLOW;
}

static bool is_pulmonary(const struct reading *r)
{
    return r->sign == SIGN_HF_PULMONARY_HYPERTENSION;
}

static bool is_thrill(const struct reading *r)
{
    return r->quantity == Q_THRILL && r->present;
}

static bool is_prescribed(const struct reading *r)
{
    return r->quantity == Q_PRESCRIBED_PUMP_FLOW && isfinite(r->value);
}

/* ---- conditions ------------------------------------------------------------ */

/* The newest two flows of this method: of two sessions, in this stage of the
 * access, not long ago, and near to each other? */
static bool is_concordant(const struct readiness_work *k,
                          const struct point *flow, size_t count, int method)
{
    int64_t from_s = readiness_days_ago(k, P_IS6_WINDOW_D);
    const struct point *last = NULL;

    for (size_t i = count; i-- > 0;) {
        const struct point *p = &flow[i];

        if (p->at_s < from_s || p->at_s < k->intervention_s)
            break;
        if ((int)p->method != method || p->disagree || p->again ||
            p->low_pressure || p->bound != BOUND_NONE)
            continue;
        if (last != NULL)
            return fabs(last->value - p->value) <=
                   (last->value + p->value) / 2.0 / 100.0 *
                       readiness_get(k, P_REPLICATE_SPREAD_PCT);
        last = p;
    }
    return false;
}

static bool has_flow_pair(const struct readiness_work *k)
{
    struct point flow[POINTS_MAX];
    size_t n =
        series_collect(k->h, k->policy, Q_ACCESS_FLOW, true, flow, POINTS_MAX);

    series_mark_low_pressure(k->h, k->policy, flow, n);
    for (int m = 0; m < METHOD_COUNT; m++) {
        if (is_concordant(k, flow, n, m))
            return true;
    }
    return false;
}

/* A stenosis that was neither treated nor denied by a later image. */
static bool has_open_stenosis(const struct readiness_work *k)
{
    const struct reading *stenosis = newest(k, is_stenosis);
    const struct reading *image = newest(k, is_outflow_image);

    return stenosis != NULL &&
           stenosis->value > readiness_get(k, P_OUTFLOW_STENOSIS_PCT) &&
           !is_later(newest(k, is_outflow_treatment), stenosis) &&
           !(is_later(image, stenosis) && image->value > 0.5);
}

static bool is_clear(const struct reading *image)
{
    return image != NULL && image->value > 0.5;
}

static bool has_complaint(const struct readiness_work *k)
{
    struct hand_point hand[HAND_POINTS_MAX];
    size_t at = 0,
           n = hand_collect(k->h, k->policy, true, hand, HAND_POINTS_MAX);

    return hand_standing(hand, n, GRADE_1, &at);
}

/* The window follows from the type and the flow; its floor needs to know what
 * the pump takes. */
static bool has_target(const struct readiness_work *k)
{
    return (k->h->access_type == SIGN_TYPE_AVF ||
            k->h->access_type == SIGN_TYPE_AVG) &&
           newest(k, is_prescribed) != NULL;
}

static enum condition_state met(bool is_met)
{
    return is_met ? CONDITION_MET : CONDITION_MISSING;
}

static void judge_conditions(const struct readiness_work *k, bool tested,
                             struct readiness *out)
{
    enum condition_state *c = out->conditions;

    c[CONDITION_FLOW_PAIR] = met(has_flow_pair(k));
    c[CONDITION_INFLOW_IMAGED] = met(is_clear(newest(k, is_inflow_image)));
    c[CONDITION_OUTFLOW_IMAGED] =
        met(is_clear(newest(k, is_outflow_image)) && !has_open_stenosis(k));
    c[CONDITION_FINGER] =
        tested || has_complaint(k) ? met(tested) : CONDITION_NOT_NEEDED;
    c[CONDITION_INDICATION] =
        met(out->hand || out->heart || out->outflow_pressure);
    c[CONDITION_TARGET] = met(has_target(k));
    c[CONDITION_OPERATOR] = CONDITION_BY_OPERATOR;
    out->complete = true;
    for (int i = 0; i < CONDITION_COUNT; i++)
        out->complete = out->complete && c[i] != CONDITION_MISSING;
}

/* ---- exclusions and cautions ----------------------------------------------- */

static bool is_lost_hand(const struct reading *r)
{
    return r->present && sign_info(r->sign)->grade == GRADE_4B;
}

/* What is lost does not come back: a lesser grade since then does not lift
 * it.  One that is preliminary counts while its finding stands. */
static bool has_lost_hand(const struct readiness_work *k)
{
    for (size_t i = 0; i < k->findings->count; i++) {
        if (k->findings->list[i].grade == GRADE_4B)
            return true;
    }
    return newest(k, is_lost_hand) != NULL;
}

static unsigned find_exclusions(const struct readiness_work *k,
                                const struct readiness *out)
{
    const struct {
        bool applies;
        enum exclusion bit;
    } list[] = {
        { band_is_younger(k->h, READINESS_ADULT_Y), EXCLUDE_CHILD },
        { k->h->is_central, EXCLUDE_SITE },
        { rules_find(k->findings, RULE_IN_1) != NULL, EXCLUDE_INFECTION },
        { rules_find(k->findings, RULE_IS_7) != NULL, EXCLUDE_LOW_FLOW_HAND },
        { rules_find(k->findings, RULE_IS_1) != NULL, EXCLUDE_NERVES },
        { has_lost_hand(k), EXCLUDE_TISSUE },
        { out->compression == COMPRESSION_DISTAL, EXCLUDE_DISTAL },
        { rules_find(k->findings, RULE_BL_1) != NULL, EXCLUDE_BLEEDING },
        { k->h->access_type == SIGN_TYPE_CVC, EXCLUDE_CATHETER },
    };
    unsigned set = 0;

    for (size_t i = 0; i < COUNT(list); i++)
        set |= list[i].applies ? (unsigned)list[i].bit : 0;
    return set;
}

static bool is_arm_pressure(const struct reading *r)
{
    return r->quantity == Q_SYSTOLIC_PRESSURE && reading_counts(r) &&
           r->side != SIDE_UNKNOWN && isfinite(r->value);
}

/* The newest pair of one session, one from each arm. */
static bool arms_differ(const struct readiness_work *k)
{
    int64_t from_s = readiness_days_ago(k, P_LOOKBACK_D);

    for (size_t i = k->h->count; i-- > 0;) {
        const struct reading *a = &k->h->readings[i];

        if (a->start_s < from_s)
            break;
        for (size_t n = i; is_arm_pressure(a) && n-- > 0;) {
            const struct reading *b = &k->h->readings[n];

            if (is_arm_pressure(b) && b->side != a->side &&
                readings_share_session(k->policy, a, b))
                return fabs(a->value - b->value) >=
                       readiness_get(k, P_ARM_DIFFERENCE_MMHG);
        }
    }
    return false;
}

static unsigned find_cautions(const struct readiness_work *k)
{
    const struct reading *pulmonary = newest(k, is_pulmonary);
    const struct reading *thrill = newest(k, is_thrill);
    const struct {
        bool applies;
        enum caution bit;
    } list[] = {
        { k->h->access_type == SIGN_TYPE_AVG, CAUTION_GRAFT },
        { was_banded(k), CAUTION_BAND_BEFORE },
        { pulmonary != NULL && pulmonary->present, CAUTION_PULMONARY },
        { arms_differ(k), CAUTION_ARM_DIFFERENCE },
        { has_open_stenosis(k), CAUTION_OUTFLOW },
        { k->h->born_s == INT64_MIN, CAUTION_AGE_UNKNOWN },
        { thrill != NULL && thrill->sign != SIGN_THRILL_PRESENT,
          CAUTION_THRILL },
    };
    unsigned set = 0;

    for (size_t i = 0; i < COUNT(list); i++)
        set |= list[i].applies ? (unsigned)list[i].bit : 0;
    return set;
}

/* ---- candidate ------------------------------------------------------------- */

/* A low finger pressure without complaint is a note, and no ground. */
static bool has_ischaemia(const struct readiness_work *k)
{
    static const enum rule list[] = { RULE_IS_2, RULE_IS_3, RULE_IS_4,
                                      RULE_IS_5 };

    for (size_t i = 0; i < COUNT(list); i++) {
        const struct finding *f = confirmed(k, list[i]);

        if (f != NULL && f->urgency > URGENCY_NOTE)
            return true;
    }
    return false;
}

static bool has_high_flow(const struct readiness_work *k)
{
    const struct finding *share = confirmed(k, RULE_HF_3);

    return confirmed(k, RULE_HF_1) != NULL || confirmed(k, RULE_HF_2) != NULL ||
           confirmed(k, RULE_HF_4) != NULL || confirmed(k, RULE_HF_5) != NULL ||
           (share != NULL && share->severe);
}

static enum candidate judge_candidate(const struct readiness_work *k,
                                      const struct readiness *out)
{
    if (out->exclusions != 0)
        return CANDIDATE_NO;
    if (rules_find(k->findings, RULE_IS_6) != NULL)
        return CANDIDATE_YES;
    if (has_ischaemia(k))
        return CANDIDATE_UNKNOWN; /* the flow beside it decides */
    return has_high_flow(k) ? CANDIDATE_YES : CANDIDATE_NO_GROUND;
}

void readiness_assess(const struct history *h, const struct policy *policy,
                      const struct findings *findings, struct readiness *out)
{
    struct readiness_work k = { .h = h,
                                .policy = policy,
                                .findings = findings,
                                .intervention_s = INT64_MIN };
    bool tested;

    for (size_t i = 0; i < h->count; i++) {
        if (reading_is_intervention(&h->readings[i]))
            k.intervention_s = h->readings[i].start_s;
    }
    *out = (struct readiness){ .hand = has_ischaemia(&k) };
    out->heart = confirmed(&k, RULE_HF_4) != NULL;
    out->outflow_pressure = confirmed(&k, RULE_HF_5) != NULL;
    tested = readiness_finger(&k, out);
    out->exclusions = find_exclusions(&k, out);
    out->cautions = find_cautions(&k);
    judge_conditions(&k, tested, out);
    out->candidate = judge_candidate(&k, out);
}

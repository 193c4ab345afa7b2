/* The readings of an access become the input of the band planner. */
#include "planner/plan_from_work.h"

#include "planner/band.h"
#include "planner/series.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

const char *plan_use_word(enum plan_use u)
{
    static const char *const words[PLAN_USE_COUNT] = {
        [PLAN_USE_FLOW] = "baseline",
        [PLAN_USE_MAP] = "map_mmhg",
        [PLAN_USE_MAP_LOWEST] = "map_lowest_mmhg",
        [PLAN_USE_CVP] = "cvp_mmhg",
        [PLAN_USE_HAEMATOCRIT] = "haematocrit_frac",
        [PLAN_USE_CONDUIT] = "conduit_mm",
        [PLAN_USE_ARTERY] = "artery_mm",
        [PLAN_USE_INDEX] = "index_open",
        [PLAN_USE_INDEX_COMPRESSED] = "index_compressed",
        [PLAN_USE_FINGER] = "finger_mmhg",
        [PLAN_USE_STATIC] = "static_mmhg",
        [PLAN_USE_STENOSIS] = "stenosis_pct",
        [PLAN_USE_PUMP] = "prescribed_pump_ml_min",
        [PLAN_USE_FORM] = "band_form",
        [PLAN_USE_STEP] = "step",
        [PLAN_USE_STAGE_FLOW] = "stage_flow",
        [PLAN_USE_STAGE_MAP] = "stage_map_mmhg",
        [PLAN_USE_STAGE_INDEX] = "stage_index",
        [PLAN_USE_STAGE_FINGER] = "stage_finger_mmhg",
        [PLAN_USE_STAGE_THRILL] = "stage_thrill",
    };

    return (unsigned)u < PLAN_USE_COUNT ? words[u] : "?";
}

/* ---- shared ----------------------------------------------------------------- */

void from_rest_on(struct from_work *w, enum plan_use use, int stage,
                  size_t reading)
{
    struct plan_from *out = w->out;

    for (size_t i = 0; i < out->ground_count; i++) {
        const struct plan_ground *g = &out->grounds[i];

        if (g->use == use && g->stage == stage && g->reading == reading)
            return;
    }
    if (out->ground_count < PLAN_GROUNDS_MAX)
        out->grounds[out->ground_count++] = (struct plan_ground){
            .use = use, .stage = stage, .reading = reading
        };
}

void from_refuse(struct from_work *w, enum plan_offer offer)
{
    if (w->out->offer == PLAN_OFFERED)
        w->out->offer = offer;
}

/* What was sent, and what the raw values of its session give, differ. */
static bool is_contradicted(const struct from_work *w, const struct point *p)
{
    for (size_t i = 0; i < p->reading_count; i++) {
        if (p->disagree && !p->computed &&
            w->h->readings[p->readings[i]].quantity != Q_ACCESS_FLOW)
            return true;
    }
    return false;
}

bool from_is_fit(const struct from_work *w, const struct point *p)
{
    return p->bound == BOUND_NONE && !is_contradicted(w, p);
}

/* ---- what a policy and a person say ----------------------------------------- */

/* Of a type that is not known: the limit that is on the safe side of both. */
static double by_type(const struct from_work *w, enum param fistula,
                      enum param graft)
{
    switch ((int)w->h->access_type) {
    case SIGN_TYPE_AVF:
        return from_get(w, fistula);
    case SIGN_TYPE_AVG:
        return from_get(w, graft);
    default:
        return fmax(from_get(w, fistula), from_get(w, graft));
    }
}

static double fraction(const struct from_work *w, enum param p)
{
    return from_get(w, p) / 100.0;
}

static void fill_limits(const struct from_work *w, struct plan_limits *l)
{
    *l = (struct plan_limits){
        .floor_ml_min = by_type(w, P_PLAN_FLOOR_FISTULA, P_PLAN_FLOOR_GRAFT),
        .pump_margin_ml_min = from_get(w, P_PLAN_PUMP_MARGIN),
        .share_low = fraction(w, P_PLAN_SHARE_LOW_PCT),
        .share_high = fraction(w, P_PLAN_SHARE_HIGH_PCT),
        .cap_ml_min = from_get(w, P_PLAN_CAP),
        .cap_low_ml_min = from_get(w, P_PLAN_CAP_LOW),
        .window_low_ml_min =
            by_type(w, P_PLAN_WINDOW_LOW_FISTULA, P_PLAN_WINDOW_LOW_GRAFT),
        .window_high_ml_min = from_get(w, P_PLAN_WINDOW_HIGH),
        .index_least = from_get(w, P_PLAN_INDEX_LEAST),
        .pressure_least_mmhg = from_get(w, P_PLAN_PRESSURE_LEAST),
        .tight_most = fraction(w, P_PLAN_TIGHT_MOST_PCT),
        .floor_first_most = fraction(w, P_PLAN_FLOOR_FIRST_MOST_PCT),
        .floor_most = fraction(w, P_PLAN_FLOOR_MOST_PCT),
        .risk_index = from_get(w, P_PLAN_RISK_INDEX),
        .risk_index_most = fraction(w, P_PLAN_RISK_INDEX_MOST_PCT),
        .risk_fall = from_get(w, P_PLAN_RISK_FALL),
        .risk_fall_most = fraction(w, P_PLAN_RISK_FALL_MOST_PCT),
    };
}

static void fill_wish(const struct from_work *w, const struct plan_wish *wish)
{
    struct plan_input *in = &w->out->in;

    in->lead = in->ischaemia ? PLAN_BY_HAND : PLAN_BY_SHARE;
    if (wish == NULL)
        return;
    if (wish->prior != NULL)
        in->prior = wish->prior;
    if (wish->lead_given) {
        in->lead = wish->lead;
        in->reduction_low_frac = wish->reduction_low_frac;
        in->reduction_high_frac = wish->reduction_high_frac;
    }
    in->dowel_count = wish->dowel_count;
    memcpy(in->dowels_mm, wish->dowels_mm, sizeof(in->dowels_mm));
}

/* ---- grounds to refuse ------------------------------------------------------- */

/* The newest form that is recorded is that of the bands used here. */
static void check_form(struct from_work *w)
{
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->quantity != Q_BAND_FORM || !reading_counts(r) || !r->present)
            continue;
        from_rest_on(w, PLAN_USE_FORM, -1, i);
        if (r->sign != SIGN_BAND_LIGATURE)
            from_refuse(w, PLAN_OTHER_FORM);
        return;
    }
}

/* The flow beside an ischaemia decides; where the rules had none, that of the
 * baseline does. */
static void check_hand(struct from_work *w, double baseline_ml_min)
{
    if (!w->out->in.ischaemia || !(baseline_ml_min < from_get(w, P_IS7_FLOW)) ||
        w->out->offer != PLAN_OFFERED)
        return;
    w->out->readiness.exclusions |= EXCLUDE_LOW_FLOW_HAND;
    from_refuse(w, PLAN_EXCLUDED);
}

/* What forbids a plan whatever was measured stands before what is wrong with
 * the steps of the case. */
static void check_access(struct from_work *w)
{
    enum plan_offer of_case = w->out->offer;

    w->out->offer = PLAN_OFFERED;
    if (w->out->readiness.exclusions != 0)
        from_refuse(w, PLAN_EXCLUDED);
    if (w->h->inactive)
        from_refuse(w, PLAN_INACTIVE);
    check_form(w);
    from_refuse(w, of_case);
}

/* An index that stays low with the access pressed shut, by itself: no band
 * mends that.  Readiness asks for one without beside it. */
static void check_distal(struct from_work *w)
{
    if (!(w->out->in.index_compressed < from_get(w, P_IS5_INDEX)) ||
        w->out->offer != PLAN_OFFERED)
        return;
    w->out->readiness.exclusions |= EXCLUDE_DISTAL;
    from_refuse(w, PLAN_EXCLUDED);
}

static void check_ground(struct from_work *w, const struct plan_wish *wish)
{
    if (wish != NULL || w->out->case_s != INT64_MIN)
        return;
    if (w->out->readiness.candidate == CANDIDATE_NO_GROUND)
        from_refuse(w, PLAN_NO_GROUND);
    if (w->out->readiness.candidate == CANDIDATE_UNKNOWN)
        from_refuse(w, PLAN_NO_FLOW);
}

/* That of the case that goes on is not an earlier one. */
static unsigned cautions_of(const struct from_work *w)
{
    unsigned set = w->out->readiness.cautions & ~(unsigned)CAUTION_BAND_BEFORE;
    int64_t room_s = (int64_t)(from_get(w, P_PLAN_CASE_H) * HOUR_S);
    int64_t from_s = w->until_s == INT64_MAX ? INT64_MAX : w->until_s - room_s;

    if ((w->out->readiness.cautions & CAUTION_BAND_BEFORE) == 0)
        return set;
    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (band_is_placing(r) && r->end_s < from_s)
            return set | CAUTION_BAND_BEFORE;
    }
    return set;
}

static double mean_of(const double *values, size_t count)
{
    double sum = 0;

    for (size_t i = 0; i < count; i++)
        sum += values[i];
    return sum / (double)count;
}

/* ---- all --------------------------------------------------------------------- */

/*
 * What stood before a case stands while it goes on: the rules begin anew with
 * each step, and would find neither ground nor flow.  What has come since and
 * forbids a plan, or warns, counts as well.
 */
static void look_before_case(struct from_work *w)
{
    struct readiness *now = &w->out->readiness, before;
    struct history h = *w->h;
    struct findings findings;

    h.now_s = w->until_s;
    while (h.count > 0 && h.readings[h.count - 1].start_s >= w->until_s)
        h.count--;
    rules_evaluate(&h, w->policy, &findings);
    readiness_assess(&h, w->policy, &findings, &before);
    before.exclusions |= now->exclusions & ~(unsigned)EXCLUDE_LOW_FLOW_HAND;
    before.cautions |= now->cautions;
    *now = before;
    w->out->in.ischaemia = before.hand;
}

/* A pair of one session is a pair, though of two sessions it says more. */
static void judge_pair(struct from_work *w)
{
    const struct plan_input *in = &w->out->in;
    struct readiness *r = &w->out->readiness;
    double low = INFINITY, high = 0;

    for (size_t i = 0; i < in->flow_count; i++) {
        low = fmin(low, in->flow_ml_min[i]);
        high = fmax(high, in->flow_ml_min[i]);
    }
    if (in->flow_count >= 2 &&
        high - low <= (low + high) / 2.0 * fraction(w, P_REPLICATE_SPREAD_PCT))
        r->conditions[CONDITION_FLOW_PAIR] = CONDITION_MET;
    r->complete = true;
    for (int i = 0; i < CONDITION_COUNT; i++)
        r->complete = r->complete && r->conditions[i] != CONDITION_MISSING;
}

static void start(struct from_work *w, const struct readiness *readiness)
{
    struct plan_from *out = w->out;

    *out = (struct plan_from){ .readiness = *readiness,
                               .access_type = w->h->access_type,
                               .side = w->h->side,
                               .forearm = w->h->forearm,
                               .baseline_s = INT64_MIN,
                               .expires_s = INT64_MIN,
                               .case_s = INT64_MIN };
    plan_input_init(&out->in);
    out->in.graft = w->h->access_type == SIGN_TYPE_AVG;
    out->in.region = w->h->forearm ? PLAN_WRIST : PLAN_ELBOW;
    out->in.ischaemia = readiness->hand;
    fill_limits(w, &out->in.limits);
}

void plan_from(const struct history *h, const struct policy *policy,
               const struct readiness *readiness, const struct plan_wish *wish,
               struct plan_from *out)
{
    struct from_work w;
    size_t baseline;

    memset(&w, 0, offsetof(struct from_work, flow)); /* points are counted */
    w.h = h;
    w.policy = policy;
    w.out = out;
    w.on_table = wish != NULL && wish->on_table;
    start(&w, readiness);
    w.flow_count =
        series_collect(h, policy, Q_ACCESS_FLOW, false, w.flow, POINTS_MAX);
    from_find_case(&w);
    from_band(&w);
    if (w.step_count > 0)
        look_before_case(&w);
    check_access(&w);
    fill_wish(&w, wish);
    out->cautions = cautions_of(&w);
    check_ground(&w, wish);
    baseline = from_baseline(&w);
    if (baseline == h->count)
        return;
    judge_pair(&w);
    check_hand(&w, mean_of(out->in.flow_ml_min, out->in.flow_count));
    from_values(&w, baseline);
    check_distal(&w);
    from_stages(&w);
    if (out->band.placed)
        from_refuse(&w, PLAN_BANDED);
}

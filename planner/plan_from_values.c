/* Pressures, index, diameters and the like of a plan. */
#include "planner/plan_from_work.h"

#include "planner/flow.h"
#include "planner/series.h"
#include "planner/series_raw.h"

#include <math.h>

static void rest_on_point(struct from_work *w, enum plan_use use,
                          const struct point *p)
{
    for (size_t i = 0; i < p->reading_count; i++)
        from_rest_on(w, use, -1, p->readings[i]);
}

static void rest_on_computed(struct from_work *w, enum plan_use use,
                             const struct computed *c)
{
    for (size_t i = 0; i < c->reading_count; i++)
        from_rest_on(w, use, -1, c->readings[i]);
}

/* ---- arterial pressure ----------------------------------------------------- */

static void take_pressure(struct from_work *w, size_t baseline)
{
    struct computed c;

    if (!raw_pressure(w->h, w->policy, baseline, &c))
        return;
    w->out->in.map_mmhg = c.value;
    rest_on_computed(w, PLAN_USE_MAP, &c);
}

/* Sessions that say what the lowest usual pressure is, the newest ones. */
enum { LOWEST_SESSIONS = 12 };

/* Not of the operating room: anaesthesia lowers it. */
static bool is_usual(const struct from_work *w, const struct point *p)
{
    int64_t room_s = (int64_t)(from_get(w, P_PLAN_CASE_H) * HOUR_S);

    return p->bound == BOUND_NONE && !p->again && isfinite(p->least) &&
           (w->until_s == INT64_MAX || p->at_s < w->until_s - room_s);
}

/*
 * The tenth percentile, by nearest rank, of the sessions' lowest mean
 * pressures: what the arm has to live with now and then.  (Proposed default
 * without direct source.)
 */
static void take_lowest_pressure(struct from_work *w)
{
    size_t least = (size_t)policy_count(w->policy, P_PRESSURE_USUAL_READINGS);
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_MEAN_PRESSURE, false, points,
                              POINTS_MAX);
    const struct point *sorted[LOWEST_SESSIONS];
    size_t count = 0, rank;

    for (size_t i = n; i-- > 0 && count < LOWEST_SESSIONS;) {
        size_t at = count;

        if (!is_usual(w, &points[i]))
            continue;
        for (; at > 0 && sorted[at - 1]->least > points[i].least; at--)
            sorted[at] = sorted[at - 1];
        sorted[at] = &points[i];
        count++;
    }
    if (count == 0 || count < least)
        return;
    rank = (count + 9) / 10; /* nearest rank: the count over ten, upwards */
    w->out->in.map_lowest_mmhg =
        fmin(sorted[rank - 1]->least,
             isnan(w->out->in.map_mmhg) ? INFINITY : w->out->in.map_mmhg);
    rest_on_point(w, PLAN_USE_MAP_LOWEST, sorted[rank - 1]);
}

/* ---- what stands for a while ------------------------------------------------ */

static double take_newest(struct from_work *w, enum quantity q, double days,
                          enum plan_use use)
{
    size_t index = 0;
    double value = series_newest(w->h, q, w->h->now_s, days, &index);

    if (!isnan(value))
        from_rest_on(w, use, -1, index);
    return value;
}

static void take_standing(struct from_work *w)
{
    struct plan_input *in = &w->out->in;
    double valid_d = from_get(w, P_PLAN_VALID_D);

    in->cvp_mmhg =
        take_newest(w, Q_CENTRAL_VENOUS_PRESSURE, valid_d, PLAN_USE_CVP);
    in->haematocrit_frac =
        take_newest(w, Q_HAEMATOCRIT, valid_d, PLAN_USE_HAEMATOCRIT);
    in->conduit_mm =
        take_newest(w, Q_CONDUIT_DIAMETER, SERIES_STANDING_D, PLAN_USE_CONDUIT);
    in->artery_mm = take_newest(w, Q_FEEDING_ARTERY_DIAMETER, SERIES_STANDING_D,
                                PLAN_USE_ARTERY);
    in->prescribed_pump_ml_min = take_newest(w, Q_PRESCRIBED_PUMP_FLOW,
                                             SERIES_STANDING_D, PLAN_USE_PUMP);
}

/* ---- the hand --------------------------------------------------------------- */

/* Of the access as it is now, and not longer ago than this. */
static int64_t window_s(const struct from_work *w, enum param days)
{
    int64_t from_s = w->h->now_s - (int64_t)(from_get(w, days) * (double)DAY_S);

    return from_s > w->since_s ? from_s : w->since_s;
}

static void take_index(struct from_work *w)
{
    int64_t from_s = window_s(w, P_PB3_HAND_WINDOW_D);
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_DIGITAL_BRACHIAL_INDEX, false,
                              points, POINTS_MAX);

    for (size_t i = n; i-- > 0 && points[i].at_s >= from_s;) {
        const struct point *p = &points[i];

        if (p->at_s >= w->until_s || p->disagree || p->bound != BOUND_NONE)
            continue;
        w->out->in.index_open = p->value;
        rest_on_point(w, PLAN_USE_INDEX, p);
        return;
    }
}

/* It may warn, so that an upper bound will do. */
static bool is_finger(const struct from_work *w, const struct reading *r)
{
    return r->quantity == Q_DIGITAL_PRESSURE && reading_counts(r) &&
           isfinite(r->value) && r->bound != BOUND_AT_LEAST &&
           r->bound != BOUND_ABOVE &&
           (r->side == SIDE_UNKNOWN || w->h->side == SIDE_UNKNOWN ||
            r->side == w->h->side);
}

double from_finger(struct from_work *w, int64_t from_s, int64_t to_s,
                   enum plan_use use, int stage)
{
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (!is_finger(w, r) || r->start_s < from_s || r->start_s >= to_s ||
            (from_is_vague(r) && r->end_s > to_s))
            continue;
        from_rest_on(w, use, stage, i);
        return fmax(r->value, 1.0);
    }
    return 0.0;
}

/* The finger while the access is pressed shut over the other arm; both sides
 * are known. */
static bool compressed_of(const struct from_work *w, size_t key,
                          struct computed *out)
{
    const struct reading *r = &w->h->readings[key];
    struct raw_wanted other = { .quantity = Q_SYSTOLIC_PRESSURE };
    struct raw_source s = { w->h, w->policy };
    size_t at;

    *out = (struct computed){ .reading_count = 1, .readings = { key } };
    if (raw_usable(r, Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED)) {
        out->value = r->value;
        return true;
    }
    other.not_side = r->side != SIDE_UNKNOWN ? r->side : w->h->side;
    if (!raw_usable(r, Q_DIGITAL_PRESSURE_COMPRESSED) ||
        other.not_side == SIDE_UNKNOWN || !raw_partner(&s, key, &other, &at) ||
        flow_finger_index(r->value, w->h->readings[at].value, &out->value) !=
            ERR_OK)
        return false;
    out->readings[out->reading_count++] = at;
    return true;
}

/* One that was sent stands before one computed from the same session. */
static void take_compressed(struct from_work *w)
{
    int64_t from_s = window_s(w, P_PB3_HAND_WINDOW_D);
    struct computed best = { 0 }, c;
    size_t newest = 0;

    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < from_s)
            break;
        if (r->start_s >= w->until_s ||
            (best.reading_count > 0 &&
             (r->quantity != Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED ||
              best.reading_count == 1 ||
              !readings_share_session(w->policy, r, &w->h->readings[newest]))))
            continue;
        if (compressed_of(w, i, &c)) {
            best = c;
            newest = i;
        }
    }
    if (best.reading_count == 0)
        return;
    w->out->in.index_compressed = best.value;
    rest_on_computed(w, PLAN_USE_INDEX_COMPRESSED, &best);
}

/* ---- the outflow ------------------------------------------------------------ */

/* Inside the access, as sent or from the venous chamber. */
static bool static_of(const struct from_work *w, size_t key,
                      struct computed *out)
{
    static const struct raw_wanted chamber = { .quantity = Q_CHAMBER_HEIGHT };
    const struct reading *r = &w->h->readings[key];
    struct raw_source s = { w->h, w->policy };
    size_t at;

    *out = (struct computed){ .reading_count = 1, .readings = { key } };
    if (raw_usable(r, Q_STATIC_ACCESS_PRESSURE)) {
        out->value = r->value;
        return true;
    }
    if (!raw_usable(r, Q_STATIC_VENOUS_PRESSURE) ||
        !raw_partner(&s, key, &chamber, &at) ||
        flow_static_pressure(r->value, w->h->readings[at].value, &out->value) !=
            ERR_OK)
        return false;
    out->readings[out->reading_count++] = at;
    return true;
}

static void take_static(struct from_work *w)
{
    int64_t from_s = window_s(w, P_PLAN_VALID_D);
    struct computed c;

    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < from_s)
            return;
        if (r->start_s >= w->until_s || !static_of(w, i, &c))
            continue;
        w->out->in.static_mmhg = c.value;
        rest_on_computed(w, PLAN_USE_STATIC, &c);
        return;
    }
}

/* Readiness says whether one is known that was not treated; how narrow it is,
 * the newest reading says. */
static void take_stenosis(struct from_work *w)
{
    if ((w->out->readiness.cautions & CAUTION_OUTFLOW) == 0)
        return;
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->quantity != Q_OUTFLOW_STENOSIS || !reading_counts(r) ||
            !isfinite(r->value))
            continue;
        w->out->in.stenosis_frac = r->value / 100.0;
        from_rest_on(w, PLAN_USE_STENOSIS, -1, i);
        return;
    }
}

void from_values(struct from_work *w, size_t baseline)
{
    take_pressure(w, baseline);
    take_lowest_pressure(w);
    take_standing(w);
    take_index(w);
    w->out->in.finger_mmhg = from_finger(w, window_s(w, P_PB3_HAND_WINDOW_D),
                                         w->until_s, PLAN_USE_FINGER, -1);
    take_compressed(w);
    take_static(w);
    take_stenosis(w);
}

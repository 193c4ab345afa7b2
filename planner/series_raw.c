/* Raw values of a session, and what is computed from them. */
#include "planner/series_raw.h"

#include "planner/adequacy.h"
#include "planner/flow.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void use(struct computed *out, size_t index)
{
    if (out->reading_count < POINT_READINGS_MAX)
        out->readings[out->reading_count++] = index;
}

static double value_of(const struct raw_source *s, size_t index)
{
    return s->h->readings[index].value;
}

/* With the ultrafiltration of the session; where it is not known, by the
 * formula that leaves it out. */
static double uf_rate(const struct raw_source *s, size_t key,
                      struct computed *out)
{
    static const struct raw_wanted uf = { .quantity = Q_UF_RATE,
                                          .before_first = true };
    size_t at;

    if (!raw_partner(s, key, &uf, &at))
        return NAN;
    use(out, at);
    return value_of(s, at);
}

static bool from_reversed(const struct raw_source *s, size_t key,
                          struct computed *out)
{
    static const struct raw_wanted pump = { .quantity = Q_PUMP_FLOW,
                                            .before_first = true };
    double share = value_of(s, key) / 100.0, uf;
    size_t at;
    enum err e;

    if (!raw_partner(s, key, &pump, &at))
        return false;
    use(out, at);
    uf = uf_rate(s, key, out);
    e = isnan(uf) ? flow_reversed(value_of(s, at), share, &out->value)
                  : flow_reversed_uf(value_of(s, at), uf, share, &out->value);
    return e == ERR_OK;
}

static bool from_dialysance(const struct raw_source *s, size_t key,
                            struct computed *out)
{
    static const struct raw_wanted usual = { .quantity = Q_DIALYSANCE,
                                             .same_method = true,
                                             .before_first = true };
    double uf;
    size_t at;

    if (!raw_partner(s, key, &usual, &at))
        return false;
    use(out, at);
    uf = uf_rate(s, key, out);
    out->method = METHOD_IONIC_DIALYSANCE;
    return flow_dialysance(value_of(s, at), value_of(s, key),
                           isnan(uf) ? 0.0 : uf, &out->value) == ERR_OK;
}

/* Systolic and diastolic pressure of one measurement: each must be the
 * nearest to the other. */
static bool from_cuff(const struct raw_source *s, size_t key,
                      struct computed *out)
{
    static const struct raw_wanted diastolic = {
        .quantity = Q_DIASTOLIC_PRESSURE, .same_method = true, .same_side = true
    };
    static const struct raw_wanted systolic = { .quantity = Q_SYSTOLIC_PRESSURE,
                                                .same_method = true,
                                                .same_side = true };
    size_t at, back;

    if (!raw_partner(s, key, &diastolic, &at) ||
        !raw_partner(s, at, &systolic, &back) || back != key)
        return false;
    use(out, at);
    return flow_mean_pressure(value_of(s, key), value_of(s, at), &out->value) ==
           ERR_OK;
}

static bool is_complete(const struct raw_source *s, size_t systolic)
{
    struct computed c = { 0 };

    return from_cuff(s, systolic, &c);
}

static bool differ(const struct raw_source *s, double a, double b)
{
    return fabs(a - b) >
           fabs(a) / 100.0 * policy_get(s->policy, P_COMPUTED_DIFFERENCE_PCT);
}

/* The better of two mean pressures near a reading; the first was sent. */
static bool choose_pressure(const struct raw_source *s, size_t key,
                            const struct computed *sent,
                            const struct computed *cuff, struct computed *out)
{
    int64_t at_s = s->h->readings[key].start_s, sent_s, cuff_s;

    if (sent->reading_count == 0 || cuff->reading_count == 0) {
        *out = sent->reading_count > 0 ? *sent : *cuff;
        return out->reading_count > 0;
    }
    sent_s = s->h->readings[sent->readings[0]].start_s;
    cuff_s = s->h->readings[cuff->readings[0]].start_s;
    if (sent_s == cuff_s && differ(s, sent->value, cuff->value))
        return false;
    *out =
        llabs((long long)(sent_s - at_s)) <= llabs((long long)(cuff_s - at_s))
            ? *sent
            : *cuff;
    return true;
}

/* The nearest cuff pressure that is complete. */
static void find_cuff(const struct raw_source *s, size_t key,
                      struct computed *best)
{
    static const struct raw_wanted systolic = { .quantity = Q_SYSTOLIC_PRESSURE,
                                                .complete = is_complete };
    struct computed c = { .reading_count = 1 };

    if (raw_partner(s, key, &systolic, &c.readings[0]) &&
        from_cuff(s, c.readings[0], &c))
        *best = c;
}

bool raw_pressure(const struct history *h, const struct policy *policy,
                  size_t reading, struct computed *out)
{
    static const struct raw_wanted mean = { .quantity = Q_MEAN_PRESSURE };
    struct raw_source s = { h, policy };
    struct computed sent = { 0 }, cuff = { 0 };
    size_t at;

    if (raw_partner(&s, reading, &mean, &at)) {
        use(&sent, at);
        sent.value = value_of(&s, at);
    }
    find_cuff(&s, reading, &cuff);
    return choose_pressure(&s, reading, &sent, &cuff, out);
}

/* Pressure inside the access as a share of the mean arterial pressure. */
static bool ratio_of(const struct raw_source *s, size_t key, double access_mmhg,
                     struct computed *out)
{
    struct computed mean;

    if (!raw_pressure(s->h, s->policy, key, &mean))
        return false;
    for (size_t i = 0; i < mean.reading_count; i++)
        use(out, mean.readings[i]);
    return flow_static_ratio(access_mmhg, mean.value, &out->value) == ERR_OK;
}

static bool from_static_access(const struct raw_source *s, size_t key,
                               struct computed *out)
{
    return ratio_of(s, key, value_of(s, key), out);
}

static bool from_static_venous(const struct raw_source *s, size_t key,
                               struct computed *out)
{
    static const struct raw_wanted chamber = { .quantity = Q_CHAMBER_HEIGHT };
    double access_mmhg;
    size_t at;

    if (!raw_partner(s, key, &chamber, &at) ||
        flow_static_pressure(value_of(s, key), value_of(s, at), &access_mmhg) !=
            ERR_OK)
        return false;
    use(out, at);
    return ratio_of(s, key, access_mmhg, out);
}

/* The sample before a treatment that goes with the one after it: of the same
 * substance and method. */
static bool before(const struct raw_source *s, size_t key, size_t *index)
{
    bool nitrogen = s->h->readings[key].quantity == Q_BUN_POST;
    struct raw_wanted w = { .quantity = nitrogen ? Q_BUN_PRE : Q_UREA_PRE,
                            .of_treatment = true,
                            .same_method = true,
                            .not_later = true };

    return raw_partner(s, key, &w, index);
}

bool raw_is_impossible(const struct history *h, const struct policy *policy,
                       size_t post, size_t *pre)
{
    struct raw_source s = { h, policy };

    return (raw_usable(&h->readings[post], Q_BUN_POST) ||
            raw_usable(&h->readings[post], Q_UREA_POST)) &&
           before(&s, post, pre) && value_of(&s, post) >= value_of(&s, *pre);
}

static bool reduction_from_urea(const struct raw_source *s, size_t key,
                                struct computed *out)
{
    size_t pre;

    if (!before(s, key, &pre))
        return false;
    use(out, pre);
    return adequacy_urr(value_of(s, pre), value_of(s, key), &out->value) ==
           ERR_OK;
}

/* The generation of urea is that of three sessions a week: the interval
 * before a session is not known for others. */
static bool ktv_from_urea(const struct raw_source *s, size_t key,
                          struct computed *out)
{
    struct adequacy_session session = { .post = value_of(s, key),
                                        .g_per_h = ADEQUACY_G_PER_H };
    size_t pre, time, removed, weight;

    if (!before(s, key, &pre) ||
        !raw_of_treatment(s->h, s->policy, key, Q_TREATMENT_TIME, &time) ||
        !raw_of_treatment(s->h, s->policy, key, Q_UF_VOLUME, &removed) ||
        (!raw_of_treatment(s->h, s->policy, key, Q_POST_WEIGHT, &weight) &&
         !raw_of_treatment(s->h, s->policy, key, Q_BODY_WEIGHT, &weight)))
        return false;
    use(out, pre);
    use(out, time);
    use(out, removed);
    use(out, weight);
    session.pre = value_of(s, pre);
    session.time_min = value_of(s, time);
    session.uf_ml = value_of(s, removed);
    session.post_weight_kg = value_of(s, weight);
    return adequacy_spktv(&session, &out->value) == ERR_OK;
}

/* The finger of the access arm over the other arm; both sides are known. */
static bool from_finger(const struct raw_source *s, size_t key,
                        struct computed *out)
{
    enum side side = s->h->readings[key].side;
    struct raw_wanted w = { .quantity = Q_SYSTOLIC_PRESSURE };
    size_t at;

    if (side == SIDE_UNKNOWN)
        side = s->h->side;
    if (side == SIDE_UNKNOWN ||
        (s->h->side != SIDE_UNKNOWN && side != s->h->side))
        return false;
    w.not_side = side;
    if (!raw_partner(s, key, &w, &at))
        return false;
    use(out, at);
    return flow_finger_index(value_of(s, key), value_of(s, at), &out->value) ==
           ERR_OK;
}

static const struct formula {
    enum quantity result, key; /* each reading of key may give a result */
    bool (*compute)(const struct raw_source *s, size_t key,
                    struct computed *out);
} formulas[] = {
    { Q_ACCESS_FLOW, Q_RECIRCULATION_REVERSED, from_reversed },
    { Q_ACCESS_FLOW, Q_DIALYSANCE_REVERSED, from_dialysance },
    { Q_MEAN_PRESSURE, Q_SYSTOLIC_PRESSURE, from_cuff },
    { Q_STATIC_PRESSURE_RATIO, Q_STATIC_ACCESS_PRESSURE, from_static_access },
    { Q_STATIC_PRESSURE_RATIO, Q_STATIC_VENOUS_PRESSURE, from_static_venous },
    { Q_SPKTV, Q_BUN_POST, ktv_from_urea },
    { Q_SPKTV, Q_UREA_POST, ktv_from_urea },
    { Q_URR, Q_BUN_POST, reduction_from_urea },
    { Q_URR, Q_UREA_POST, reduction_from_urea },
    { Q_DIGITAL_BRACHIAL_INDEX, Q_DIGITAL_PRESSURE, from_finger },
};

/* Readings stand in order of time, so their places do too. */
static void sort(struct computed *c)
{
    for (size_t i = 1; i < c->reading_count; i++) {
        for (size_t k = i; k > 0 && c->readings[k] < c->readings[k - 1]; k--) {
            size_t swap = c->readings[k];

            c->readings[k] = c->readings[k - 1];
            c->readings[k - 1] = swap;
        }
    }
}

static bool is_plausible(enum quantity quantity, double value)
{
    enum plausible how = quantity_judge(quantity, value);

    return how == PLAUSIBLE || how == PLAUSIBLE_UNUSUAL;
}

void raw_compute(const struct history *h, const struct policy *policy,
                 enum quantity quantity, struct computed_list *out)
{
    const struct formula *ours[COUNT(formulas)];
    struct raw_source s = { h, policy };
    size_t count = 0;

    out->count = 0;
    for (size_t f = 0; f < COUNT(formulas); f++) {
        if (formulas[f].result == quantity)
            ours[count++] = &formulas[f];
    }
    for (size_t i = 0; count > 0 && i < h->count; i++) {
        for (size_t f = 0; f < count; f++) {
            struct computed c = { .method = h->readings[i].method };

            if (!raw_usable(&h->readings[i], ours[f]->key))
                continue;
            use(&c, i);
            if (!ours[f]->compute(&s, i, &c) ||
                !is_plausible(quantity, c.value))
                continue;
            sort(&c);
            raw_keep(h, out, &c);
        }
    }
}

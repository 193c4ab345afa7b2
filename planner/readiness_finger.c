/* The finger, with and without the access pressed shut. */
#include "planner/readiness_work.h"

#include <math.h>

/* The newest value of a quantity in the session of a reading; NAN if none. */
static double in_session(const struct readiness_work *k, enum quantity q,
                         const struct reading *with)
{
    double value = NAN;

    for (size_t i = 0; i < k->h->count; i++) {
        const struct reading *r = &k->h->readings[i];

        if (r->quantity == q && reading_counts(r) && r->bound == BOUND_NONE &&
            isfinite(r->value) && readings_share_session(k->policy, r, with))
            value = r->value;
    }
    return value;
}

/* The newest compressed value that has one without compression beside it, of
 * the access as it is now; NULL if there is none. */
static const struct reading *compressed(const struct readiness_work *k,
                                        enum quantity with, enum quantity open)
{
    int64_t from_s = readiness_days_ago(k, P_PB3_HAND_WINDOW_D);

    for (size_t i = k->h->count; i-- > 0;) {
        const struct reading *r = &k->h->readings[i];

        if (r->start_s < from_s || r->start_s < k->intervention_s)
            break;
        if (r->quantity == with && reading_counts(r) && isfinite(r->value) &&
            r->precision != AT_MONTH && r->precision != AT_YEAR &&
            !isnan(in_session(k, open, r)))
            return r;
    }
    return NULL;
}

/* Pressures tell the rise; an index alone tells it where it leaves the range
 * that is low. */
static void see_pressure(const struct readiness_work *k,
                         const struct reading *r, struct readiness *out)
{
    out->finger_open_mmhg = in_session(k, Q_DIGITAL_PRESSURE, r);
    out->finger_compressed_mmhg = r->value;
    out->compression = r->value - out->finger_open_mmhg >=
                               readiness_get(k, P_COMPRESSION_RISE_MMHG)
                           ? COMPRESSION_CONTRIBUTES
                           : COMPRESSION_SMALL;
    if (reading_below(r, readiness_get(k, P_IS5_PRESSURE)))
        out->compression = COMPRESSION_DISTAL;
}

static void see_index(const struct readiness_work *k, const struct reading *r,
                      struct readiness *out)
{
    double limit = readiness_get(k, P_IS5_INDEX);

    if (reading_below(r, limit))
        out->compression = COMPRESSION_DISTAL;
    else if (out->compression == COMPRESSION_UNKNOWN &&
             in_session(k, Q_DIGITAL_BRACHIAL_INDEX, r) < limit)
        out->compression = COMPRESSION_CONTRIBUTES;
}

bool readiness_finger(const struct readiness_work *k, struct readiness *out)
{
    const struct reading *pressure =
        compressed(k, Q_DIGITAL_PRESSURE_COMPRESSED, Q_DIGITAL_PRESSURE);
    const struct reading *index = compressed(
        k, Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED, Q_DIGITAL_BRACHIAL_INDEX);

    out->compression = COMPRESSION_UNKNOWN;
    out->finger_open_mmhg = out->finger_compressed_mmhg = NAN;
    if (pressure != NULL)
        see_pressure(k, pressure, out);
    /* one of an earlier session is superseded */
    if (index != NULL &&
        (pressure == NULL || index->start_s >= pressure->start_s ||
         readings_share_session(k->policy, index, pressure)))
        see_index(k, index, out);
    return pressure != NULL || index != NULL;
}

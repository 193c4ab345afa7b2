/* Is there a band in place that the plan does not know of: one of before the
 * case, or of a case that is over? */
#include "planner/plan_from_work.h"

#include "planner/band.h"

#include <math.h>

/* Taken away, or the access given up. */
static bool ends_band(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    return (r->quantity == Q_BAND_RELEASED && r->value > 0.5) ||
           (r->quantity == Q_ACCESS_INTERVENTION && r->present &&
            r->sign == SIGN_CLOSED);
}

/* The newest that was placed before the case; h->count: none. */
static size_t newest_placing(const struct from_work *w)
{
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (band_is_placing(r) && r->start_s < w->until_s &&
            !from_is_of_case(w, i))
            return i;
    }
    return w->h->count;
}

/* Its size, and when it was placed: the procedure has several readings. */
static void describe(struct from_work *w, size_t newest)
{
    struct plan_band *band = &w->out->band;
    const struct reading *placing = &w->h->readings[newest];

    *band = (struct plan_band){ .placed = true,
                                .reading = newest,
                                .dowel_mm = NAN };
    for (size_t i = newest + 1; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (!band_is_placing(r) ||
            !band_is_one_procedure(w->policy, placing, r))
            continue;
        if (isnan(band->dowel_mm) && r->quantity == Q_DOWEL_DIAMETER &&
            r->bound == BOUND_NONE)
            band->dowel_mm = r->value;
        if (!from_is_vague(r) || from_is_vague(&w->h->readings[band->reading]))
            band->reading = i;
    }
}

void from_band(struct from_work *w)
{
    size_t newest = newest_placing(w);

    if (newest == w->h->count)
        return;
    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s > w->h->readings[newest].start_s &&
            r->start_s < w->until_s && ends_band(r))
            return;
    }
    describe(w, newest);
    for (size_t i = newest + 1; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        w->out->band.stretched = w->out->band.stretched ||
                                 (r->quantity == Q_BAND_STRETCHED &&
                                  reading_counts(r) && r->start_s < w->until_s);
    }
}

/* What opening an outflow stenosis would do. */
#include "adapters/plan_say.h"

#include <math.h>

const char *plan_say_lesion(struct words *w, const struct plan_document *d)
{
    const struct plan_outflow *o = &d->plan->outflow;

    if (!o->by_pressure)
        return words_say(w,
                         _("The static pressure inside the access is not "
                           "known, and how narrow a stenosis looks does not "
                           "tell what it takes: opening it may leave the flow "
                           "as it is or raise it up to %s times."),
                         words_number(w, o->surge_most, 1));
    return words_say(
        w,
        _("By the static pressure the stenosis takes %1$s %% of the pressure "
          "from artery to vein. Opened, the flow is expected to be %2$s times "
          "what it is (bounds %3$s to %4$s), and the mean pressure of the hand "
          "%5$s mmHg."),
        words_number(w, 100.0 * o->lesion_frac, 0),
        words_range(w, &o->surge, 2), words_number(w, o->surge_least, 2),
        words_number(w, o->surge_most, 2),
        words_range(w, &o->hand_pressure_mmhg, 0));
}

const char *plan_say_index_before(struct words *w,
                                  const struct plan_document *d)
{
    const struct plan_outflow *o = &d->plan->outflow;

    if (!isfinite(o->index_before.p50))
        return "";
    return words_say(w, _("Index now, before opening: %s."),
                     words_range(w, &o->index_before, 2));
}

const char *plan_say_holding(struct words *w, const struct plan_document *d)
{
    const struct plan_outflow *o = &d->plan->outflow;

    if (!isfinite(o->holding_dowel_mm))
        return "";
    return words_say(w, _("To hold the flow near what it is: tie over %s."),
                     words_mm(w, o->holding_dowel_mm));
}

const char *plan_say_zone(struct words *w, const struct plan_document *d)
{
    const struct plan_outflow *o = &d->plan->outflow;

    if (!isfinite(o->zone_dowel_mm))
        return "";
    return words_say(w,
                     _("To come to the target after opening: tie first "
                       "over %s."),
                     words_mm(w, o->zone_dowel_mm));
}

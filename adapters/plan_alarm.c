#include "adapters/plan_alarm.h"

#include "adapters/catalogue.h"

#include <math.h>

/* Numbers of a sentence; the writer clears them. */
struct numbers {
    struct buf now, before, least;
};

static void numbers_of(struct numbers *n, double now, double before,
                       double least, int decimals)
{
    buf_init(&n->now, 32);
    buf_init(&n->before, 32);
    buf_init(&n->least, 32);
    catalogue_number(&n->now, now, decimals);
    catalogue_number(&n->before, before, decimals);
    catalogue_number(&n->least, least, decimals);
}

static void clear(struct numbers *n)
{
    buf_clear(&n->now);
    buf_clear(&n->before);
    buf_clear(&n->least);
}

static const char *text_of(const struct buf *b)
{
    return b->data != NULL ? b->data : "";
}

/* ---- the hand -------------------------------------------------------------- */

static void say_worse(const struct numbers *n, bool by_finger, struct buf *out)
{
    buf_printf(
        out,
        by_finger
            /* TRANSLATORS: 1: now, 2: at the baseline */
            ? _("THE HAND IS WORSE: finger pressure %1$s mmHg after %2$s mmHg "
                "at the baseline. Loosen now, and look at the inflow.")
            /* TRANSLATORS: 1: now, 2: at the baseline */
            : _("THE HAND IS WORSE: index %1$s after %2$s at the baseline. "
                "Loosen now, and look at the inflow."),
        text_of(&n->now), text_of(&n->before));
}

static void say_low(const struct numbers *n, bool by_finger, struct buf *out)
{
    buf_printf(
        out,
        by_finger
            /* TRANSLATORS: 1: now, 2: the limit */
            ? _("THE HAND IS BELOW ITS LIMIT: finger pressure %1$s mmHg, limit "
                "%2$s mmHg, and not shown to be better than before the band. "
                "Loosen now, and look at the inflow.")
            /* TRANSLATORS: 1: now, 2: the limit */
            : _("THE HAND IS BELOW ITS LIMIT: index %1$s, limit %2$s, and not "
                "shown to be better than before the band. Loosen now, and "
                "look at the inflow."),
        text_of(&n->now), text_of(&n->least));
}

static void say_hand(const struct plan_input *in,
                     const struct plan_alarm *alarm, struct buf *out)
{
    const struct plan_stage *s = &in->stages[alarm->hand_stage];
    struct numbers n;

    if (in->stages[in->stage_count - 1].step == PLAN_RELEASED) {
        buf_puts(out, _("THE HAND IS WORSE than at the baseline although no "
                        "band is in place: look at the inflow."));
        buf_puts(out, "\n");
        return;
    }
    if (alarm->by_finger)
        numbers_of(&n, s->finger_mmhg, in->finger_mmhg,
                   in->limits.pressure_least_mmhg, 0);
    else
        numbers_of(&n, s->index, in->index_open, in->limits.index_least, 2);
    if (alarm->hand_worse)
        say_worse(&n, alarm->by_finger, out);
    else
        say_low(&n, alarm->by_finger, out);
    clear(&n);
    buf_puts(out, "\n");
    buf_puts(out,
             _("Less flow through the access should leave the hand more "
               "pressure: a narrowed inflow artery, or a band at the wrong "
               "place, is likelier than a band that is too loose. No smaller "
               "dowel. Decision support: whoever sees the hand decides."));
    buf_puts(out, "\n");
}

/* ---- the pressure ----------------------------------------------------------- */

static void say_pressure(const struct plan_input *in, struct buf *out)
{
    double now = in->stages[in->stage_count - 1].map_mmhg;
    struct numbers n;

    numbers_of(&n, now, in->map_mmhg, NAN, 0);
    buf_printf(out,
               now < in->map_mmhg
                   /* TRANSLATORS: 1: now, 2: at the baseline */
                   ? _("The mean pressure has fallen to %1$s mmHg (baseline "
                       "%2$s mmHg): restore it and measure again; neither tie "
                       "tighter nor accept by this flow.")
                   /* TRANSLATORS: 1: now, 2: at the baseline */
                   : _("The mean pressure has risen to %1$s mmHg (baseline "
                       "%2$s mmHg): restore it and measure again; neither tie "
                       "tighter nor accept by this flow."),
               text_of(&n.now), text_of(&n.before));
    buf_puts(out, "\n");
    clear(&n);
}

void plan_alarm_say(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;
    struct plan_alarm alarm = plan_alarm_of(in);

    if (alarm.hand_worse || alarm.hand_low)
        say_hand(in, &alarm, out);
    if (alarm.pressure_off)
        say_pressure(in, out);
}

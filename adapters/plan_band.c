#include "adapters/plan_band.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/plan_alarm.h"
#include "adapters/plan_words.h"

#include <math.h>
#include <stdio.h>

/* ---- the band in place ------------------------------------------------------ */

void plan_band_day(const struct plan_document *d, struct buf *out)
{
    const struct reading *r = &d->history->readings[d->from->band.reading];
    char date[FHIR_TIME_SIZE];

    fhir_date_write(r->start_s, d->zone, date);
    if (r->precision == AT_MONTH)
        date[7] = '\0';
    else if (r->precision == AT_YEAR)
        date[4] = '\0';
    buf_puts(out, date);
}

/* "4.0", "3.25" */
static void put_mm(struct buf *out, double mm)
{
    bool fine = fabs(10.0 * mm - round(10.0 * mm)) > 0.01;

    catalogue_number(out, mm, fine ? 2 : 1);
}

/* The text of a buf; "" if nothing is in it. */
static const char *text_of(const struct buf *b)
{
    return b->data != NULL ? b->data : "";
}

void plan_band_say(const struct plan_document *d, struct buf *out)
{
    const struct plan_band *band = &d->from->band;
    struct buf day, size;

    if (!band->placed)
        return;
    buf_init(&day, FHIR_TIME_SIZE);
    buf_init(&size, 32);
    plan_band_day(d, &day);
    if (isfinite(band->dowel_mm)) {
        put_mm(&size, band->dowel_mm);
        /* TRANSLATORS: 1: a date, 2: a diameter, "4.0" */
        buf_printf(out,
                   _("A band is in place since %1$s, tied over a %2$s mm "
                     "dowel."),
                   text_of(&day), text_of(&size));
    } else {
        /* TRANSLATORS: a date */
        buf_printf(out,
                   _("A band is in place since %s; its dowel is not "
                     "recorded."),
                   text_of(&day));
    }
    if (band->stretched) {
        buf_puts(out, " ");
        buf_puts(out, _("It was stretched since."));
    }
    buf_clear(&day);
    buf_clear(&size);
}

/* ---- a case on it ----------------------------------------------------------- */

static double mean_of(const double *values, size_t count)
{
    double sum = 0;

    for (size_t i = 0; i < count; i++)
        sum += values[i];
    return count > 0 ? sum / (double)count : NAN;
}

/* "tied over 3.5 mm" */
static void say_step(const struct plan_document *d, size_t i, struct buf *out)
{
    const struct plan_stage *s = &d->from->in.stages[i];
    struct buf size;

    buf_init(&size, 32);
    put_mm(&size, s->step == PLAN_TIED ? s->dowel_mm : d->from->balloon_mm[i]);
    if (s->step == PLAN_TIED)
        buf_printf(out, _("tied over %s mm"), text_of(&size));
    else if (s->step == PLAN_STRETCHED)
        buf_printf(out, _("stretched with a %s mm balloon"), text_of(&size));
    else
        buf_puts(out, _("cut"));
    buf_clear(&size);
}

static void say_stage(const struct plan_document *d, size_t i, struct buf *out)
{
    const struct plan_input *in = &d->from->in;
    const struct plan_stage *s = &in->stages[i];
    double mean = mean_of(s->flow_ml_min, s->flow_count);
    double before = mean_of(in->flow_ml_min, in->flow_count);
    struct buf step, flow, less;

    buf_init(&step, 256);
    buf_init(&flow, 32);
    buf_init(&less, 32);
    say_step(d, i, &step);
    catalogue_number(&flow, mean, 0);
    catalogue_number(&less, 100.0 * (1.0 - mean / before), 0);
    if (s->flow_count == 0)
        /* TRANSLATORS: 1: a number, 2: "tied over 3.5 mm" */
        buf_printf(out, _("%1$zu. %2$s: not measured."), i + 1, text_of(&step));
    else
        /* TRANSLATORS: 1: a number, 2: "tied over 3.5 mm", 3: a mean flow, 4:
         * per cent */
        buf_printf(out,
                   _("%1$zu. %2$s: mean %3$s mL/min, %4$s %% less than before "
                     "this procedure (and after the band in place)."),
                   i + 1, text_of(&step), text_of(&flow), text_of(&less));
    buf_puts(out, "\n");
    buf_clear(&step);
    buf_clear(&flow);
    buf_clear(&less);
}

/* Above every plan: a lost thrill, or less flow than is to be left. */
static void say_loosen(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;
    const struct plan_stage *last = &in->stages[in->stage_count - 1];
    double floor = in->limits.floor_ml_min;
    double pump = in->prescribed_pump_ml_min + in->limits.pump_margin_ml_min;
    struct buf least;
    bool is_below;

    if (pump > floor) /* false if it is not known */
        floor = pump;
    is_below = mean_of(last->flow_ml_min, last->flow_count) < floor;
    buf_init(&least, 32);
    catalogue_number(&least, floor, 0);
    if (last->weak_thrill)
        buf_puts(out, _("WEAK OR NO THRILL: loosen now, then measure."));
    if (last->weak_thrill && is_below)
        buf_puts(out, "\n");
    if (is_below)
        buf_printf(out,
                   _("THE FLOW IS BELOW THE FLOOR of %s mL/min: loosen now, "
                     "then measure."),
                   text_of(&least));
    if (!last->weak_thrill && !is_below)
        buf_printf(out,
                   _("Below %s mL/min, or with a weak thrill or none at any "
                     "flow: loosen now, then measure."),
                   text_of(&least));
    buf_puts(out, "\n");
    buf_clear(&least);
}

void plan_band_case_say(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;

    if (d->plan != NULL || in->stage_count == 0)
        return;
    plan_alarm_say(d, out);
    for (size_t i = 0; d->from->band.placed && i < in->stage_count; i++)
        say_stage(d, i, out);
    say_loosen(d, out);
}

/* ---- flows by another method -------------------------------------------------- */

void plan_other_say(const struct plan_document *d, struct buf *out)
{
    const struct plan_from *from = d->from;
    size_t count = from->other_flow_count;
    const char *method = from->other_method == METHOD_UNSTATED
                             ? _("a method that was not stated")
                             : _(method_display(from->other_method));

    if (count == 0)
        return;
    /* TRANSLATORS: 1: how many, 2: a method, "duplex ultrasound" */
    buf_printf(out,
               ngettext("%1$zu flow by another method (%2$s) is not used: two "
                        "methods may differ by more than a band changes.",
                        "%1$zu flows by another method (%2$s) are not used: "
                        "two methods may differ by more than a band changes.",
                        (unsigned long)count),
               count, method);
}

/* ---- measure again -------------------------------------------------------------- */

int plan_readings_more(const struct plan_document *d)
{
    const struct plan_input *in = &d->from->in;
    struct plan_what_now now = plan_what_now(d);
    int have, want;

    if (!now.known || now.action != PLAN_REMEASURE ||
        now.reason != PLAN_REASON_FLOW)
        return 0;
    have = (int)in->stages[in->stage_count - 1].flow_count;
    want = d->plan->readings_advised;
    return have > 0 && want > have ? want - have : 0;
}

void plan_again_say(const struct plan_document *d, struct buf *out)
{
    int more = plan_readings_more(d);

    if (more == 0)
        return;
    /* TRANSLATORS: 1: readings so far, 2: readings that are advised, 3: how
     * many more to take */
    buf_printf(out,
               ngettext("%1$d of %2$d readings: take %3$d more. The rows of "
                        "the card hold for the mean of all of them; so few "
                        "leave a real chance that the next tie would be "
                        "wrong.",
                        "%1$d of %2$d readings: take %3$d more. The rows of "
                        "the card hold for the mean of all of them; so few "
                        "leave a real chance that the next tie would be "
                        "wrong.",
                        (unsigned long)more),
               d->plan->readings_advised - more, d->plan->readings_advised,
               more);
}

/* When a line of a case was, and by which method its flows are. */
#include "service/cases_work.h"

#include "adapters/catalogue.h"
#include "planner/plan_from.h"
#include "planner/series.h"

#include <math.h>
#include <stdio.h>

enum {
    /* A case may run over midnight: of "23:50" typed at 01:00 the day before
     * is meant.  Own proposal, no source. */
    NIGHT_S = 6 * HOUR_S,
    /* A clock may be so much behind the typist's.  Own proposal, no source. */
    AHEAD_S = 120
};

/* A flow older than this says nothing of the method that is in use now, days;
 * own proposal, no source. */
#define METHOD_DAYS 400.0

/* ---- when -------------------------------------------------------------------- */

/* The same minute of the day before, if that is hours ago only. */
static int64_t yesterday(const struct zone *zone, int64_t midnight_s,
                         const struct case_call *call, int64_t now_s,
                         int64_t today_s)
{
    int64_t at_s =
        zone_utc_s(zone, midnight_s - DAY_S + 60 * (int64_t)call->line.minute);

    return now_s - at_s <= NIGHT_S ? at_s : today_s;
}

enum err case_place(struct case_call *call, const struct look *look,
                    int64_t *at_s)
{
    const struct zone *zone = call->review->zone;
    int64_t now_s = call->now_ms / 1000, until_s = now_s + AHEAD_S;

    *at_s = now_s;
    if (call->line.minute >= 0) {
        int64_t local_s = now_s + zone_offset_s(zone, now_s);

        local_s -= (local_s % DAY_S + DAY_S) % DAY_S;
        *at_s = zone_utc_s(zone, local_s + 60 * (int64_t)call->line.minute);
        if (*at_s > now_s + AHEAD_S) /* of the evening before, at night */
            *at_s = yesterday(zone, local_s, call, now_s, *at_s);
        until_s = *at_s + 59;
    }
    if (*at_s > now_s + AHEAD_S)
        return case_refuse(call, 422, _("that time is still to come"));
    for (size_t i = 0; i < look->history.count; i++) {
        const struct reading *r = &look->history.readings[i];

        if (r->precision == AT_SECOND && r->start_s >= *at_s &&
            r->start_s <= until_s)
            *at_s = r->start_s + 1;
    }
    return ERR_OK;
}

/* ---- by which method ----------------------------------------------------------- */

static bool has_flow(const struct case_line *line)
{
    return line->count > 0 && line->entries[0].quantity == Q_ACCESS_FLOW;
}

/* Of the newest flow, whatever a plan makes of it. */
static enum method newest_method(const struct look *look)
{
    size_t index = 0;
    double newest = series_newest(&look->history, Q_ACCESS_FLOW,
                                  look->history.now_s, METHOD_DAYS, &index);

    return isnan(newest) ? METHOD_UNSTATED
                         : look->history.readings[index].method;
}

/* After the first step a flow by another method can be compared with nothing:
 * it would be kept, and left out of every number. */
static enum err refuse_other(struct case_call *call, enum method baseline)
{
    char text[512];

    /* TRANSLATORS: 1, 2: methods, "ultrasound dilution", "duplex" */
    snprintf(text, sizeof(text),
             _("the flow before the band was measured by %1$s, and a flow by "
               "%2$s after it would not be used: two methods may differ by "
               "more than a band changes. Measure by %1$s"),
             _(method_display(baseline)), _(method_display(call->method)));
    return case_refuse(call, 422, text);
}

enum err case_method(struct case_call *call, const struct look *look)
{
    const struct plan_wish wish = { .prior = NULL };
    struct readiness readiness;
    struct plan_from from;
    enum method baseline;

    if (!has_flow(&call->line))
        return ERR_OK;
    readiness_assess(&look->history, call->review->policy, &look->findings,
                     &readiness);
    plan_from(&look->history, call->review->policy, &readiness, &wish, &from);
    baseline = from.in.flow_count > 0 ? from.in.method : METHOD_UNSTATED;
    if (call->method == METHOD_UNSTATED)
        call->method =
            baseline != METHOD_UNSTATED ? baseline : newest_method(look);
    if (call->method == METHOD_UNSTATED)
        return case_refuse(
            call, 422,
            _("by which method was the flow measured? Start headgate "
              "case with --method, for example ultrasound-dilution"));
    if (from.case_s != INT64_MIN && baseline != METHOD_UNSTATED &&
        call->method != baseline)
        return refuse_other(call, baseline);
    return ERR_OK;
}

/* ---- what a step changes --------------------------------------------------------- */

bool case_is_step(enum quantity q)
{
    return q == Q_DOWEL_DIAMETER || q == Q_BAND_STRETCHED ||
           q == Q_BAND_RELEASED;
}

bool case_is_measured(enum quantity q)
{
    return q == Q_ACCESS_FLOW || q == Q_DIGITAL_BRACHIAL_INDEX ||
           q == Q_DIGITAL_PRESSURE;
}

size_t case_measured(const struct history *h, int64_t step_s, int64_t *until_s)
{
    size_t count = 0;

    *until_s = INT64_MAX;
    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (case_is_step(r->quantity) && reading_counts(r) &&
            r->start_s > step_s && r->start_s < *until_s)
            *until_s = r->start_s;
    }
    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        count += case_is_measured(r->quantity) && reading_counts(r) &&
                 r->start_s > step_s && r->start_s < *until_s;
    }
    return count;
}

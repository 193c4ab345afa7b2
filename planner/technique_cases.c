/* Finished cases: plan_from() as of the last day of each. */
#include "planner/technique_cases.h"

#include "planner/band.h"

#include <string.h>

/* As plan_from_case.c tells it. */
static bool is_of_band(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    return r->quantity == Q_BAND_STRETCHED ||
           (r->quantity == Q_BAND_RELEASED && r->value > 0.5) ||
           band_is_placing(r);
}

/* What lies between the first and the last step of a case. */
struct span {
    int64_t first_s, newest_s;
};

/* The newest case that began before this. */
static bool find_span(const struct history *h, int64_t room_s, int64_t before_s,
                      struct span *span)
{
    *span = (struct span){ before_s, INT64_MIN };
    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (is_of_band(r) && r->start_s < before_s && r->end_s > span->newest_s)
            span->newest_s = r->end_s;
    }
    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (is_of_band(r) && r->start_s < span->first_s &&
            r->end_s >= span->newest_s - room_s)
            span->first_s = r->start_s;
    }
    return span->newest_s != INT64_MIN;
}

static enum technique_use use_of(const struct plan_from *from)
{
    switch (from->offer) {
    case PLAN_OTHER_FORM:
        return TECHNIQUE_OTHER_FORM;
    case PLAN_NO_FLOW:
    case PLAN_FLOW_UNFIT:
        return TECHNIQUE_NO_BASELINE;
    case PLAN_FLOW_OLD:
        return TECHNIQUE_OLD_BASELINE;
    case PLAN_ORDER:
        return TECHNIQUE_ORDER;
    case PLAN_SIZE:
        return TECHNIQUE_SIZE;
    case PLAN_STAGES_FULL:
        return TECHNIQUE_STEPS;
    case PLAN_UNFIT:
        return TECHNIQUE_UNFIT;
    case PLAN_OFFERED:
    /* whether it should have been banded is not the question here */
    case PLAN_EXCLUDED:
    case PLAN_INACTIVE:
    case PLAN_NO_GROUND:
    case PLAN_DECEASED:
    case PLAN_BANDED: /* is_banded_before() says so */
    case PLAN_OFFER_COUNT:
        break;
    }
    return from->in.on_table ? TECHNIQUE_USED : TECHNIQUE_OLD_BASELINE;
}

/* Was a band placed before this case, however long ago, released or not? */
static bool is_banded_before(const struct history *h, const struct span *span)
{
    for (size_t i = 0; i < h->count; i++) {
        if (band_is_placing(&h->readings[i]) &&
            h->readings[i].start_s < span->first_s)
            return true;
    }
    return false;
}

static void rest_on(struct technique_found *found, size_t reading)
{
    for (size_t i = 0; i < found->ground_count; i++) {
        if (found->grounds[i] == reading)
            return;
    }
    if (found->ground_count < PLAN_GROUNDS_MAX)
        found->grounds[found->ground_count++] = reading;
}

/* False: something was done to an earlier band, and nothing tied. */
static bool look_at_case(const struct history *view,
                         const struct policy *policy, const struct span *span,
                         struct technique_found *out)
{
    const struct readiness nothing = { .hand = false };
    const struct plan_wish wish = { .prior = NULL };
    struct plan_from from;

    plan_from(view, policy, &nothing, &wish, &from);
    if (from.case_s == INT64_MIN && from.offer != PLAN_SIZE &&
        from.offer != PLAN_ORDER)
        return false;
    memset(out, 0, sizeof(*out));
    out->use = use_of(&from);
    if (out->use == TECHNIQUE_USED && is_banded_before(view, span))
        out->use = TECHNIQUE_BANDED;
    out->case_s = from.case_s != INT64_MIN ? from.case_s : span->first_s;
    out->in = from.in;
    for (size_t i = 0; i < from.ground_count; i++)
        rest_on(out, from.grounds[i].reading);
    return true;
}

/* The history as it was on the last day of the case: nothing of what was done
 * to a band later, and flows for as long as the case went on. */
static struct history view_of(const struct history *h, const struct span *span,
                              int64_t room_s, int64_t before_s)
{
    struct history view = *h;

    view.inactive = false;
    if (span->newest_s + room_s < view.now_s)
        view.now_s = span->newest_s + room_s;
    if (before_s < view.now_s)
        view.now_s = before_s;
    while (view.count > 0 &&
           (view.readings[view.count - 1].start_s > view.now_s ||
            view.readings[view.count - 1].start_s >= before_s))
        view.count--;
    return view;
}

size_t technique_cases(const struct history *h, const struct policy *policy,
                       struct technique_found *list, size_t max)
{
    int64_t room_s =
        (int64_t)(policy_get(policy, P_PLAN_CASE_H) * (double)HOUR_S);
    int64_t before_s = INT64_MAX;
    struct span span;
    size_t count = 0;

    while (count < max && find_span(h, room_s, before_s, &span)) {
        if (h->now_s - span.newest_s > room_s) {
            struct history view = view_of(h, &span, room_s, before_s);

            count += look_at_case(&view, policy, &span, &list[count]);
        }
        before_s = span.first_s;
    }
    return count;
}

/* Which readings of a session go together. */
#include "planner/series_raw.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

bool raw_usable(const struct reading *r, enum quantity quantity)
{
    return r->quantity == quantity && reading_counts(r) &&
           r->precision != AT_MONTH && r->precision != AT_YEAR &&
           r->bound == BOUND_NONE && isfinite(r->value);
}

bool raw_intervened(const struct history *h, size_t a, size_t b)
{
    size_t i = a < b ? a : b, last = a < b ? b : a;
    int64_t from_s = h->readings[i].start_s, to_s = h->readings[last].start_s;

    /* one of the same time as the later comes before it */
    for (; i < h->count && h->readings[i].start_s <= to_s; i++) {
        if (h->readings[i].start_s > from_s &&
            reading_is_intervention(&h->readings[i]))
            return true;
    }
    return false;
}

static bool share_treatment(const struct policy *policy,
                            const struct reading *a, const struct reading *b)
{
    return fabs((double)(a->start_s - b->start_s)) <
               policy_get(policy, P_APART_H) * HOUR_S ||
           readings_share_session(policy, a, b);
}

static bool fits(const struct raw_source *s, const struct raw_wanted *w,
                 size_t key, size_t i)
{
    const struct reading *k = &s->h->readings[key], *r = &s->h->readings[i];

    if (i == key || !raw_usable(r, w->quantity))
        return false;
    if ((w->same_method && r->method != k->method) ||
        (w->same_side && r->side != k->side) ||
        (w->not_side != SIDE_UNKNOWN &&
         (r->side == SIDE_UNKNOWN || r->side == w->not_side)) ||
        (w->not_later && r->start_s >= k->end_s))
        return false;
    return w->of_treatment ? share_treatment(s->policy, k, r)
                           : readings_share_session(s->policy, k, r);
}

/* Of one resource, then before rather than after, then nearer. */
static bool is_better(const struct raw_source *s, const struct raw_wanted *w,
                      size_t key, size_t i, size_t best)
{
    const struct reading *k = &s->h->readings[key];
    const struct reading *r = &s->h->readings[i], *b = &s->h->readings[best];

    if ((r->id == k->id) != (b->id == k->id))
        return r->id == k->id;
    if (w->before_first &&
        (r->start_s <= k->start_s) != (b->start_s <= k->start_s))
        return r->start_s <= k->start_s;
    return llabs((long long)(r->start_s - k->start_s)) <
           llabs((long long)(b->start_s - k->start_s));
}

/* Was something done at the time of this reading? */
static bool starts_stage(const struct history *h, size_t index)
{
    int64_t at_s = h->readings[index].start_s;

    for (size_t i = index; i < h->count && h->readings[i].start_s == at_s;
         i++) {
        if (reading_is_intervention(&h->readings[i]))
            return true;
    }
    return false;
}

/* The search for the best one: nearer ones first, so that few are judged. */
struct search {
    const struct raw_source *s;
    const struct raw_wanted *w;
    size_t key, best;
    bool found;
};

static void consider(struct search *search, size_t i)
{
    const struct raw_wanted *w = search->w;

    if (!fits(search->s, w, search->key, i) ||
        (search->found &&
         !is_better(search->s, w, search->key, i, search->best)) ||
        (w->complete != NULL && !w->complete(search->s, i)))
        return;
    search->best = i;
    search->found = true;
}

/* Neither direction goes beyond an intervention; one of the same time as a
 * reading comes before it, in whichever order they arrived. */
bool raw_partner(const struct raw_source *s, size_t key,
                 const struct raw_wanted *w, size_t *index)
{
    const struct reading *list = s->h->readings;
    int64_t at_s = list[key].start_s, from_s = at_s - RAW_REACH_S;
    struct search search = { .s = s, .w = w, .key = key };
    size_t after = key, i;

    while (after < s->h->count && list[after].start_s <= at_s)
        after++;
    for (i = after; i-- > 0 && list[i].start_s >= from_s;) {
        if (reading_is_intervention(&list[i]))
            from_s = list[i].start_s;
        consider(&search, i);
    }
    for (i = after; i < s->h->count && list[i].start_s - at_s <= RAW_REACH_S;
         i++) {
        if (list[i].start_s > list[i - 1].start_s && starts_stage(s->h, i))
            break;
        consider(&search, i);
    }
    *index = search.best;
    return search.found;
}

bool raw_of_treatment(const struct history *h, const struct policy *policy,
                      size_t reading, enum quantity quantity, size_t *index)
{
    struct raw_wanted w = { .quantity = quantity, .of_treatment = true };
    struct raw_source s = { h, policy };

    return raw_partner(&s, reading, &w, index);
}

void raw_keep(const struct history *h, struct computed_list *out,
              const struct computed *value)
{
    int64_t at_s = h->readings[value->readings[0]].start_s;
    size_t at;

    if (out->count == COMPUTED_MAX) {
        memmove(out->list, out->list + 1,
                (COMPUTED_MAX - 1) * sizeof(out->list[0]));
        out->count--;
    }
    at = out->count++;
    for (; at > 0 && h->readings[out->list[at - 1].readings[0]].start_s > at_s;
         at--)
        out->list[at] = out->list[at - 1];
    out->list[at] = *value;
}

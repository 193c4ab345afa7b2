#include "adapters/worksheet_series.h"

#include "planner/series.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- lines ---------------------------------------------------------------- */

static bool may_be_joined(const struct sheet_point *p)
{
    return p->use == SHEET_USED && p->bound == BOUND_NONE;
}

/* A line never joins two methods, nor what lies on both sides of an
 * intervention: there it would claim a course that nobody measured. */
static void join(struct sheet_series *s)
{
    int last[METHOD_COUNT];

    for (size_t m = 0; m < METHOD_COUNT; m++)
        last[m] = SHEET_NO_POINT;
    for (size_t i = 0; i < s->count; i++) {
        struct sheet_point *p = &s->points[i];
        int *before = &last[p->method];

        p->before = SHEET_NO_POINT;
        if (!may_be_joined(p))
            continue;
        if (*before != SHEET_NO_POINT && s->points[*before].stage == p->stage)
            p->before = *before;
        *before = (int)i;
    }
}

/* ---- values --------------------------------------------------------------- */

/* Where the history stands while it is walked along with the points. */
struct walk {
    const struct history *h;
    double blanking_s;
    size_t next, stage;
    int64_t intervention_s;
};

/* An intervention of the same time as a value comes before it. */
static void walk_to(struct walk *w, int64_t at_s)
{
    for (; w->next < w->h->count && w->h->readings[w->next].start_s <= at_s;
         w->next++) {
        if (!reading_is_intervention(&w->h->readings[w->next]))
            continue;
        w->stage++;
        w->intervention_s = w->h->readings[w->next].start_s;
    }
}

static void place(struct walk *w, struct sheet_point *p)
{
    walk_to(w, p->at_s);
    p->stage = w->stage;
    if (p->use != SHEET_EARLY && w->stage > 0 &&
        (double)(p->at_s - w->intervention_s) < w->blanking_s)
        p->use = SHEET_BLANKED;
}

/* Values that were sent as such; the others are what it is computed from. */
static size_t sent_of(const struct history *h, const struct point *p,
                      enum quantity quantity)
{
    size_t n = 0;

    for (size_t i = 0; i < p->reading_count; i++)
        n += h->readings[p->readings[i]].quantity == quantity;
    return n;
}

static struct sheet_point of_point(const struct history *h,
                                   const struct point *p,
                                   enum quantity quantity)
{
    return (struct sheet_point){ .at_s = p->at_s,
                                 .value = p->value,
                                 .least =
                                     isfinite(p->least) ? p->least : p->value,
                                 .most = isfinite(p->most) ? p->most : p->value,
                                 .bound = p->bound,
                                 .method = p->method,
                                 .use = p->disagree ? SHEET_APART : SHEET_USED,
                                 .readings = sent_of(h, p, quantity),
                                 .before = SHEET_NO_POINT };
}

static struct sheet_point of_reading(const struct reading *r)
{
    return (struct sheet_point){ .at_s = r->start_s,
                                 .value = r->value,
                                 .least = r->value,
                                 .most = r->value,
                                 .bound = r->bound,
                                 .method = r->method,
                                 .use = SHEET_EARLY,
                                 .readings = 1,
                                 .before = SHEET_NO_POINT };
}

static bool is_vague(const struct reading *r)
{
    return r->precision == AT_MONTH || r->precision == AT_YEAR;
}

static bool is_early(const struct reading *r, enum quantity quantity)
{
    return r->quantity == quantity && r->status == READING_PRELIMINARY &&
           !is_vague(r) && isfinite(r->value);
}

/* Both by time: what counts, and between it what is preliminary. */
static void merge(const struct history *h, const struct point *points,
                  size_t count, struct sheet_series *out)
{
    size_t next = 0;

    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (r->quantity == out->quantity && is_vague(r) && reading_counts(r))
            out->undated++;
        if (!is_early(r, out->quantity))
            continue;
        while (next < count && points[next].at_s <= r->start_s)
            out->points[out->count++] =
                of_point(h, &points[next++], out->quantity);
        out->points[out->count++] = of_reading(r);
    }
    while (next < count)
        out->points[out->count++] = of_point(h, &points[next++], out->quantity);
}

enum err sheet_series_make(const struct history *h, const struct policy *policy,
                           enum quantity quantity, struct sheet_series *out)
{
    struct walk walk = { .h = h,
                         .blanking_s =
                             policy_get(policy, P_BLANKING_D) * DAY_S };
    /* Every value rests on a reading of its own. */
    size_t room = h->count + 1;
    struct point *points = calloc(room, sizeof(*points));

    *out = (struct sheet_series){ .quantity = quantity };
    /* Twice: what is preliminary may stand beside what was computed. */
    out->points = calloc(2 * room, sizeof(*out->points));
    if (points == NULL || out->points == NULL) {
        free(points);
        sheet_series_clear(out);
        return ERR_MEMORY;
    }
    merge(h, points, series_collect(h, policy, quantity, false, points, room),
          out);
    free(points);
    out->found = out->count;
    for (size_t i = 0; i < out->count; i++)
        place(&walk, &out->points[i]);
    join(out);
    return ERR_OK;
}

void sheet_series_clear(struct sheet_series *s)
{
    free(s->points);
    *s = (struct sheet_series){ .quantity = s->quantity };
}

/* ---- thinning ------------------------------------------------------------- */

static bool is_alike(const struct sheet_point *a, const struct sheet_point *b)
{
    return a->method == b->method && a->use == b->use && a->bound == b->bound &&
           a->stage == b->stage;
}

/* What stays of those like the one at i, from i to before end. */
static void choose(const struct sheet_point *points, size_t i, size_t end,
                   unsigned char *state)
{
    enum { OPEN, GONE, KEPT };
    size_t least = i, most = i, last = i;

    for (size_t k = i; k < end; k++) {
        if (state[k] != OPEN || !is_alike(&points[i], &points[k]))
            continue;
        state[k] = GONE;
        last = k;
        if (points[k].least < points[least].least)
            least = k;
        if (points[k].most > points[most].most)
            most = k;
    }
    state[i] = state[least] = state[most] = state[last] = KEPT;
}

static size_t column_of(int64_t at_s, int64_t from_s, int64_t to_s,
                        size_t columns)
{
    double part = (double)(at_s - from_s) / (double)(to_s - from_s);

    part = part < 0.0 ? 0.0 : part > 1.0 ? 1.0 : part;
    return (size_t)(part * (double)columns);
}

void sheet_series_thin(struct sheet_series *s, int64_t from_s, int64_t to_s,
                       size_t columns)
{
    unsigned char *state = calloc(s->count + 1, 1);
    size_t kept = 0;

    /* Without the memory all of them are drawn, which is as true. */
    if (state == NULL || to_s <= from_s || columns == 0) {
        free(state);
        return;
    }
    for (size_t i = 0, end = 0; i < s->count; i++) {
        size_t column = column_of(s->points[i].at_s, from_s, to_s, columns);

        while (end < s->count &&
               column_of(s->points[end].at_s, from_s, to_s, columns) == column)
            end++;
        if (state[i] == 0)
            choose(s->points, i, end, state);
        if (state[i] == 2)
            s->points[kept++] = s->points[i];
    }
    free(state);
    s->count = kept;
    join(s);
}

/* ---- what was done -------------------------------------------------------- */

static bool deed_of(const struct reading *r, enum sheet_deed *deed)
{
    static const struct {
        enum sign sign;
        enum sheet_deed deed;
    } signs[] = { { SIGN_CREATED, SHEET_CREATED },
                  { SIGN_ANGIOPLASTY_OUTFLOW, SHEET_OUTFLOW },
                  { SIGN_ANGIOPLASTY_INFLOW, SHEET_INFLOW },
                  { SIGN_BANDED, SHEET_BANDED },
                  { SIGN_CLOSED, SHEET_CLOSED } };

    if (!reading_is_intervention(r))
        return false;
    *deed = r->quantity == Q_BAND_STRETCHED  ? SHEET_STRETCHED
            : r->quantity == Q_BAND_RELEASED ? SHEET_RELEASED
                                             : SHEET_BANDED;
    if (r->quantity != Q_ACCESS_INTERVENTION)
        return true;
    for (size_t i = 0; i < COUNT(signs); i++) {
        if (signs[i].sign != r->sign)
            continue;
        *deed = signs[i].deed;
        return true;
    }
    return false;
}

static double size_of(const struct reading *r)
{
    return r->quantity == Q_DOWEL_DIAMETER || r->quantity == Q_BAND_STRETCHED
               ? r->value
               : NAN;
}

/* The event of the same kind of that day, or NULL; a band that is tied anew
 * after it was stretched or cut is another one. */
static struct sheet_event *same_day(struct sheet_event *list, size_t count,
                                    enum sheet_deed deed, int64_t at_s)
{
    struct sheet_event *last = count > 0 ? &list[count - 1] : NULL;

    return last != NULL && last->deed == deed && at_s - last->at_s < DAY_S
               ? last
               : NULL;
}

size_t sheet_events(const struct history *h, struct sheet_event *list,
                    size_t max, size_t *before)
{
    size_t count = 0, lost = 0;

    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];
        struct sheet_event *e;
        enum sheet_deed deed;

        if (!deed_of(r, &deed))
            continue;
        e = same_day(list, count, deed, r->start_s);
        if (e != NULL) {
            /* That a band was placed, and its dowel, are one and the same. */
            e->steps += isfinite(size_of(r)) && isfinite(e->size_mm);
            e->last_s = r->start_s;
            if (isfinite(size_of(r)))
                e->size_mm = size_of(r);
            continue;
        }
        if (count == max) {
            memmove(list, list + 1, (max - 1) * sizeof(*list));
            count--;
            lost++;
        }
        list[count++] = (struct sheet_event){ .at_s = r->start_s,
                                              .last_s = r->start_s,
                                              .precision = r->precision,
                                              .deed = deed,
                                              .size_mm = size_of(r),
                                              .steps = 1 };
    }
    if (before != NULL)
        *before = lost;
    return count;
}

/* ---- limits --------------------------------------------------------------- */

/* Rows of one quantity; of a limit that differs by type, one row for each. */
static const struct limit_row {
    enum quantity quantity;
    enum sign type; /* SIGN_NONE: of fistula and graft alike */
    enum rule rule;
    enum param row;
    bool above;
} limit_rows[] = {
    { Q_ACCESS_FLOW, SIGN_NONE, RULE_HF_1, P_HF1_FLOW, true },
    { Q_ACCESS_FLOW, SIGN_NONE, RULE_HF_2, P_HF2_FLOW, true },
    { Q_ACCESS_FLOW, SIGN_TYPE_AVG, RULE_LF_1, P_LF1_FLOW, false },
    { Q_ACCESS_FLOW, SIGN_TYPE_AVF, RULE_LF_2, P_LF2_FLOW, false },
    { Q_STATIC_PRESSURE_RATIO, SIGN_TYPE_AVG, RULE_LF_4, P_LF4_RATIO_GRAFT,
      true },
    { Q_STATIC_PRESSURE_RATIO, SIGN_TYPE_AVF, RULE_LF_4, P_LF4_RATIO_FISTULA,
      true },
    { Q_DIGITAL_BRACHIAL_INDEX, SIGN_NONE, RULE_IS_5, P_IS5_INDEX, false },
    { Q_DIGITAL_PRESSURE, SIGN_NONE, RULE_IS_5, P_IS5_PRESSURE, false },
    { Q_SPKTV, SIGN_NONE, RULE_AD_1, P_AD1_SPKTV, false },
};

/* A catheter has none of these: what is looked at there is another matter. */
size_t sheet_limits(const struct history *h, const struct policy *policy,
                    enum quantity quantity,
                    struct sheet_limit list[SHEET_LIMITS_MAX])
{
    size_t count = 0;

    for (size_t i = 0; i < COUNT(limit_rows) && count < SHEET_LIMITS_MAX; i++) {
        const struct limit_row *row = &limit_rows[i];

        if (row->quantity != quantity || h->access_type == SIGN_TYPE_CVC ||
            (row->type != SIGN_NONE && row->type != h->access_type))
            continue;
        list[count++] =
            (struct sheet_limit){ .rule = row->rule,
                                  .row = row->row,
                                  .value = policy_get(policy, row->row),
                                  .above = row->above };
    }
    return count;
}

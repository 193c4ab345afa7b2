#include "adapters/timeline.h"

#include "adapters/civil.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- entries -------------------------------------------------------------- */

struct maker {
    const struct timeline_source *source;
    struct timeline *out;
    size_t room;
    struct sheet_series flows;
    struct sheet_event events[SHEET_EVENTS_MAX];
    size_t event_count;
    enum err e;
};

/* What is too old is cut off in the end, when all are in order. */
enum { ENTRIES_MOST = 8 * TIMELINE_MAX };

static struct timeline_entry *add(struct maker *m, enum timeline_kind kind,
                                  int64_t at_s)
{
    struct timeline *t = m->out;
    struct timeline_entry *grown;

    if (m->e != ERR_OK)
        return NULL;
    if (t->count == ENTRIES_MOST) {
        m->e = ERR_LIMIT;
        return NULL;
    }
    if (t->count == m->room) {
        m->room = m->room > 0 ? 2 * m->room : 64;
        grown = realloc(t->entries, m->room * sizeof(*grown));
        if (grown == NULL) {
            m->e = ERR_MEMORY;
            return NULL;
        }
        t->entries = grown;
    }
    t->entries[t->count] =
        (struct timeline_entry){ .kind = kind, .at_s = at_s };
    return &t->entries[t->count++];
}

/* ---- flows and treatments ------------------------------------------------- */

static void add_flows(struct maker *m)
{
    for (size_t i = 0; i < m->flows.count; i++) {
        struct timeline_entry *e =
            add(m, TIMELINE_FLOW, m->flows.points[i].at_s);

        if (e != NULL)
            e->flow = m->flows.points[i];
    }
}

/* Good enough to be compared: a number of one session, which does not
 * contradict itself.  That it lies soon after a treatment is no hindrance. */
static bool is_comparable(const struct sheet_point *p)
{
    return p->bound == BOUND_NONE &&
           (p->use == SHEET_USED || p->use == SHEET_BLANKED);
}

/* The newest before the treatment and after the one before it: of this method,
 * or, if there is none, of any. */
static const struct sheet_point *last_before(const struct maker *m,
                                             size_t event,
                                             const enum method *method)
{
    int64_t to_s = m->events[event].at_s;
    int64_t from_s = event > 0 ? m->events[event - 1].last_s : INT64_MIN;

    for (size_t i = m->flows.count; i-- > 0;) {
        const struct sheet_point *p = &m->flows.points[i];

        if (p->at_s >= from_s && p->at_s < to_s && is_comparable(p) &&
            (method == NULL || p->method == *method))
            return p;
    }
    return NULL;
}

/* The oldest after the treatment and before the next one. */
static const struct sheet_point *first_after(const struct maker *m,
                                             size_t event)
{
    int64_t from_s = m->events[event].last_s;
    int64_t to_s =
        event + 1 < m->event_count ? m->events[event + 1].at_s : INT64_MAX;

    for (size_t i = 0; i < m->flows.count; i++) {
        const struct sheet_point *p = &m->flows.points[i];

        if (p->at_s >= from_s && p->at_s < to_s && is_comparable(p))
            return p;
    }
    return NULL;
}

/* Treatments are known at any age, flows as a rule of the look-back alone: then
 * the oldest that is known need not be the first after a treatment from before
 * that. */
static bool has_flows_around(const struct maker *m, size_t event)
{
    int days = policy_count(m->source->policy, P_LOOKBACK_D);
    int64_t from_s = m->source->history->now_s - (int64_t)days * DAY_S;

    return m->events[event].last_s >= from_s ||
           (m->flows.count > 0 && m->flows.points[0].at_s < from_s);
}

static struct timeline_change change_of(const struct maker *m, size_t event)
{
    struct timeline_change c = {
        NAN, NAN, 0, 0, METHOD_UNSTATED, METHOD_UNSTATED, NAN
    };
    const struct sheet_point *after = NULL, *before = NULL;

    if (!has_flows_around(m, event))
        return c;
    after = first_after(m, event);
    if (after != NULL) {
        c.after_ml_min = after->value;
        c.after_s = after->at_s;
        c.after_method = after->method;
        before = last_before(m, event, &after->method);
    }
    if (before == NULL)
        before = last_before(m, event, NULL);
    if (before != NULL) {
        c.before_ml_min = before->value;
        c.before_s = before->at_s;
        c.before_method = before->method;
    }
    if (before != NULL && after != NULL && before->method == after->method &&
        before->value > 0)
        c.pct = 100 * (after->value - before->value) / before->value;
    return c;
}

static void add_treatments(struct maker *m)
{
    for (size_t i = 0; i < m->event_count; i++) {
        struct timeline_entry *e =
            add(m, TIMELINE_TREATMENT, m->events[i].at_s);

        if (e == NULL)
            return;
        e->precision = m->events[i].precision;
        e->treatment = m->events[i];
        e->change = change_of(m, i);
    }
}

/* ---- signs ---------------------------------------------------------------- */

/* Something seen that is worth a line: not that all is well, nor what was
 * done, nor what the access is. */
static bool is_sign(const struct reading *r)
{
    if (r->status == READING_WITHDRAWN ||
        quantity_info(r->quantity)->kind == VALUE_NUMBER)
        return false;
    switch ((int)r->quantity) {
    case Q_ACCESS_INTERVENTION:
    case Q_ACCESS_TYPE:
    case Q_BAND_FORM:
    case Q_BAND_RELEASED:
    case Q_INFLOW_IMAGED_CLEAR:
    case Q_OUTFLOW_IMAGED_CLEAR:
        return false;
    default:
        return quantity_info(r->quantity)->kind == VALUE_FLAG
                   ? r->value > 0.5
                   : r->present && r->sign != SIGN_NO_COMPLAINT &&
                         r->sign != SIGN_GRADE_0 &&
                         r->sign != SIGN_THRILL_PRESENT;
    }
}

static int64_t month_of(const struct maker *m, int64_t at_s)
{
    struct civil c = civil_of_day(
        civil_day_of_s(at_s + zone_offset_s(m->source->zone, at_s)));

    return (int64_t)c.year * 12 + c.month;
}

/* The line of the same sign in the same month, from place first on; or NULL. */
static struct timeline_entry *same_sign(const struct maker *m, size_t first,
                                        const struct reading *r)
{
    for (size_t i = m->out->count; i-- > first;) {
        struct timeline_entry *e = &m->out->entries[i];

        if (e->quantity == r->quantity && e->sign == r->sign)
            return month_of(m, e->at_s) == month_of(m, r->start_s) ? e : NULL;
    }
    return NULL;
}

static void add_signs(struct maker *m)
{
    const struct history *h = m->source->history;
    size_t first = m->out->count;

    for (size_t i = 0; i < h->count && m->e == ERR_OK; i++) {
        const struct reading *r = &h->readings[i];
        bool early = r->status == READING_PRELIMINARY;
        struct timeline_entry *e;

        if (!is_sign(r))
            continue;
        e = same_sign(m, first, r);
        if (e != NULL) {
            e->times++;
            e->preliminary = e->preliminary && early;
            continue;
        }
        e = add(m, TIMELINE_SIGN, r->start_s);
        if (e == NULL)
            return;
        e->precision = r->precision;
        e->quantity = r->quantity;
        e->sign = r->sign;
        e->times = 1;
        e->preliminary = early;
    }
}

/* ---- what was said -------------------------------------------------------- */

static void add_said(struct maker *m)
{
    for (size_t i = 0; i < m->source->said_count; i++) {
        struct timeline_entry *e =
            add(m, TIMELINE_SAID, m->source->said[i].at_s);

        if (e != NULL)
            e->said = m->source->said[i];
    }
}

static void add_overdue(struct maker *m)
{
    const struct timeline_source *s = m->source;

    for (size_t i = 0; i < s->open_count; i++) {
        const struct timeline_open *o = &s->open[i];
        int64_t until_s = o->open ? s->history->now_s : o->ended_s;
        struct timeline_entry *e;

        if (!o->reminder || !o->overdue || until_s < o->due_s)
            continue;
        e = add(m, TIMELINE_OVERDUE, o->due_s);
        if (e == NULL)
            return;
        e->reminder = *o;
        e->days = timeline_days(o->due_s, until_s, s->zone);
    }
}

/* ---- no flow for weeks ---------------------------------------------------- */

/* The flows on both sides of a day; where none came before, the newest
 * treatment stands for it, after which one was to come. */
static bool find_gap(const struct maker *m, int64_t due_s, int64_t *from_s,
                     int64_t *to_s, bool *goes_on)
{
    *from_s = INT64_MIN;
    *to_s = m->source->history->now_s;
    *goes_on = true;
    for (size_t i = 0; i < m->event_count; i++) {
        if (m->events[i].last_s <= due_s)
            *from_s = m->events[i].last_s;
    }
    for (size_t i = 0; i < m->flows.count; i++) {
        const struct sheet_point *p = &m->flows.points[i];

        if (p->at_s > due_s) {
            *to_s = p->at_s;
            *goes_on = false;
            break;
        }
        if (p->at_s > *from_s)
            *from_s = p->at_s;
    }
    return *from_s != INT64_MIN;
}

static bool is_told(const struct timeline *t, int64_t from_s)
{
    size_t i = 0;

    while (i < t->count && (t->entries[i].kind != TIMELINE_GAP ||
                            t->entries[i].gap_from_s != from_s))
        i++;
    return i < t->count;
}

static void add_gaps(struct maker *m)
{
    const struct timeline_source *s = m->source;

    for (size_t i = 0; i < s->open_count; i++) {
        const struct timeline_open *o = &s->open[i];
        int64_t from_s, to_s;
        bool goes_on;
        struct timeline_entry *e;

        if (!o->reminder || !o->overdue || o->group != GROUP_FOLLOW_UP ||
            !find_gap(m, o->due_s, &from_s, &to_s, &goes_on) ||
            timeline_days(from_s, to_s, s->zone) < TIMELINE_GAP_D ||
            is_told(m->out, from_s))
            continue;
        e = add(m, TIMELINE_GAP, o->due_s);
        if (e == NULL)
            return;
        e->gap_from_s = from_s;
        e->gap_to_s = to_s;
        e->gap_goes_on = goes_on;
        e->days = timeline_days(from_s, to_s, s->zone);
    }
}

/* ---- in order ------------------------------------------------------------- */

/* Of one time: what was done, then what was measured, then what was said. */
static int order(const void *one, const void *other)
{
    static const int place[] = {
        [TIMELINE_TREATMENT] = 0, [TIMELINE_FLOW] = 1,    [TIMELINE_SIGN] = 2,
        [TIMELINE_SAID] = 3,      [TIMELINE_OVERDUE] = 4, [TIMELINE_GAP] = 5
    };
    const struct timeline_entry *a = one, *b = other;

    if (a->at_s != b->at_s)
        return a->at_s < b->at_s ? -1 : 1;
    if (a->kind != b->kind)
        return place[a->kind] - place[b->kind];
    if (a->said.act != b->said.act)
        return (int)a->said.act - (int)b->said.act;
    return a->said.group != b->said.group
               ? (int)a->said.group - (int)b->said.group
               : (int)a->sign - (int)b->sign;
}

static void keep_newest(struct timeline *t)
{
    if (t->count > 0)
        qsort(t->entries, t->count, sizeof(*t->entries), order);
    if (t->count <= TIMELINE_MAX)
        return;
    t->lost = t->count - TIMELINE_MAX;
    memmove(t->entries, t->entries + t->lost,
            TIMELINE_MAX * sizeof(*t->entries));
    t->count = TIMELINE_MAX;
}

enum err timeline_make(const struct timeline_source *source,
                       struct timeline *out)
{
    struct maker m = { .source = source, .out = out };

    *out = (struct timeline){ .count = 0 };
    m.e = sheet_series_make(source->history, source->policy, Q_ACCESS_FLOW,
                            &m.flows);
    if (m.e != ERR_OK)
        return m.e;
    m.event_count =
        sheet_events(source->history, m.events, SHEET_EVENTS_MAX, NULL);
    add_flows(&m);
    add_treatments(&m);
    add_signs(&m);
    add_said(&m);
    add_overdue(&m);
    add_gaps(&m);
    sheet_series_clear(&m.flows);
    keep_newest(out);
    return m.e;
}

void timeline_clear(struct timeline *t)
{
    free(t->entries);
    *t = (struct timeline){ .count = 0 };
}

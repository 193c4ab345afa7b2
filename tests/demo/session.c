#include "tests/demo/session.h"

#include <math.h>
#include <stdlib.h>

/* Only what is older than this may come late, so that no story that is told
 * in the last weeks hangs on it. */
enum { LATE_DAYS = 60, SIGN_S = 100 * 60 };

static double round_to(double value, double step)
{
    return floor(value / step + 0.5) * step;
}

/* The finest step in which a quantity is written down. */
static double step_of(const struct maker *m, enum quantity q)
{
    switch ((int)q) {
    case Q_ACCESS_FLOW:
        return m->unit->style == STYLE_PANEL ? 10.0 : 1.0;
    case Q_SPKTV:
    case Q_DIGITAL_BRACHIAL_INDEX:
    case Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED:
        return 0.01;
    case Q_CARDIAC_OUTPUT:
    case Q_UREA_PRE:
    case Q_UREA_POST:
    case Q_DOWEL_DIAMETER:
    case Q_FEEDING_ARTERY_DIAMETER:
    case Q_CONDUIT_DIAMETER:
        return 0.1;
    default:
        return 1.0;
    }
}

/* The n-th day before the end, or the dialysis day just before it. */
int session_day(const struct maker *m, int ago_days)
{
    for (;;) {
        /* 1970-01-01 was a Thursday. */
        int weekday = (int)((m->demo->end_day - ago_days + 4) % 7);

        if (m->weekdays[weekday])
            return ago_days;
        ago_days++;
    }
}

static int64_t session_start(const struct maker *m, int ago_days)
{
    return (m->demo->end_day - ago_days) * DAY_S +
           (int64_t)(m->start_min - m->unit->utc_offset_min) * 60;
}

struct session session_at(const struct maker *m, int ago_days)
{
    return (struct session){ .ago_days = ago_days,
                             .at_s = session_start(m, ago_days) };
}

/* Sent after the unit's usual delay, seldom much later, never in the
 * future. */
static int64_t arrival(struct maker *m, int64_t at_s)
{
    int64_t last = m->demo->end_day * DAY_S - 60;
    int hours = rng_int(&m->rng, m->unit->delay_low_h, m->unit->delay_high_h);
    int64_t at;

    if (rng_unit(&m->rng) < 0.04 &&
        at_s < (m->demo->end_day - LATE_DAYS) * DAY_S)
        hours += 24 * rng_int(&m->rng, 5, 25);
    at = at_s + (int64_t)hours * 3600 + rng_int(&m->rng, 0, 3599);
    return at < last ? at : last;
}

static struct document *new_document(struct maker *m)
{
    struct demo *d = m->demo;
    struct document *bigger;

    if (m->err != ERR_OK)
        return NULL;
    if (d->count == d->size) {
        size_t size = d->size > 0 ? 2 * d->size : 1024;

        bigger = realloc(d->documents, size * sizeof(*bigger));
        if (bigger == NULL) {
            m->err = ERR_MEMORY;
            return NULL;
        }
        d->documents = bigger;
        d->size = size;
    }
    return &d->documents[d->count++];
}

static struct document *open_document(struct maker *m, int64_t at_s)
{
    int64_t arrives_s = arrival(m, at_s);
    struct document *d = new_document(m);

    if (d != NULL)
        *d = (struct document){ .row = m->row,
                                .number = ++m->number,
                                .status = "final",
                                .at_s = at_s,
                                .arrives_s = arrives_s };
    return d;
}

static void put(struct document *d, const struct value *value)
{
    if (d != NULL && d->count < DOCUMENT_VALUES_MAX)
        d->values[d->count++] = *value;
}

struct value session_number(const struct maker *m, enum quantity q,
                            double number)
{
    return (struct value){ .quantity = q,
                           .number = round_to(number, step_of(m, q)) };
}

void session_take(struct session *s, int minute, struct value value)
{
    if (s->count < DOCUMENT_VALUES_MAX) {
        s->taken[s->count].value = value;
        s->taken[s->count++].minute = minute;
    }
}

void session_sign(struct maker *m, int ago_days, enum quantity q,
                  enum sign sign)
{
    struct value value = { .quantity = q, .number = NAN, .sign = sign };
    struct document *d = open_document(m, session_start(m, ago_days) + SIGN_S);

    if (d != NULL)
        d->whole_day = m->unit->style == STYLE_SITE;
    put(d, &value);
}

/* The later version that a step demands of the document it came in. */
static void add_fate(struct maker *m, size_t index,
                     const struct demo_step *step)
{
    struct document *later = new_document(m);

    if (later == NULL)
        return;
    *later = m->demo->documents[index];
    later->arrives_s = later->at_s + (int64_t)step->fate_after_days * DAY_S;
    if (step->fate == FATE_WITHDRAWN) {
        later->status = "entered-in-error";
        return;
    }
    later->status = "corrected";
    for (size_t i = 0; i < later->count; i++)
        if (later->values[i].quantity == Q_ACCESS_FLOW)
            later->values[i].number = step->corrected;
}

/* What holds for the Observation that carries the flow of a step. */
static void mark_flow(struct maker *m, struct document *d,
                      const struct demo_step *step)
{
    size_t index = (size_t)(d - m->demo->documents);

    d->method = m->patient->method;
    if (step == NULL)
        return;
    if (step->method != METHOD_UNSTATED)
        d->method = step->method;
    if (step->status == READING_PRELIMINARY)
        d->status = "preliminary";
    d->access = step->access;
    if (step->fate != FATE_STANDS)
        add_fate(m, index, step);
}

/* Does a value stand in the same Observation as the one before it? */
static bool joins(enum demo_style style, enum quantity q)
{
    return style == STYLE_PANEL ||
           (style == STYLE_FOCUS && q == Q_DIASTOLIC_PRESSURE);
}

void session_pack(struct maker *m, const struct session *s)
{
    bool panel = m->unit->style == STYLE_PANEL;
    size_t flow_at = SIZE_MAX;

    for (size_t i = 0; i < s->count && m->err == ERR_OK; i++) {
        enum quantity q = s->taken[i].value.quantity;
        int minute = panel ? 0 : s->taken[i].minute;

        if (i == 0 || !joins(m->unit->style, q)) {
            struct document *d =
                open_document(m, s->at_s + (int64_t)minute * 60);

            if (d == NULL)
                return;
            d->panel = panel;
        }
        if (q == Q_ACCESS_FLOW)
            flow_at = m->demo->count - 1;
        put(&m->demo->documents[m->demo->count - 1], &s->taken[i].value);
        if (q == Q_ACCESS_FLOW && !panel)
            mark_flow(m, &m->demo->documents[flow_at], s->step);
    }
    /* A panel is copied for a later version only when it is whole. */
    if (panel && flow_at != SIZE_MAX)
        mark_flow(m, &m->demo->documents[flow_at], s->step);
}

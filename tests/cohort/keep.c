#include "tests/cohort/keep.h"

#include "adapters/civil.h"

#include <math.h>
#include <stdlib.h>

#define DIASTOLIC_SHARE 0.55

bool chance(struct maker *m, double share)
{
    return rng_unit(&m->rng) < share;
}

static int64_t first_day(const struct maker *m)
{
    return m->cohort->o.end_day - m->cohort->o.days;
}

int64_t keep_time(const struct maker *m, double day)
{
    return first_day(m) * DAY_S + (int64_t)llround(day * DAY_S);
}

int keep_session_day(const struct maker *m, double day)
{
    int d = (int)ceil(day);

    for (;; d++) {
        /* 1970-01-01 was a Thursday. */
        int weekday = (int)((first_day(m) + d + 4) % 7);

        if (m->person->weekdays[weekday])
            return d;
    }
}

int64_t keep_session_start(const struct maker *m, int day)
{
    return (first_day(m) + day) * DAY_S +
           (int64_t)(m->person->start_min - m->unit->utc_offset_min) * 60;
}

/* Sent after the unit's usual delay, seldom days or weeks later. */
static int64_t arrival(struct maker *m, int64_t at_s, bool soon)
{
    int hours = rng_int(&m->rng, m->unit->delay_low_h, m->unit->delay_high_h);

    if (soon)
        hours = rng_int(&m->rng, 0, 3);
    else if (chance(m, 0.04))
        hours += 24 * rng_int(&m->rng, 3, 25);
    return at_s + (int64_t)hours * 3600 + rng_int(&m->rng, 60, 3599);
}

static struct note *new_note(struct maker *m)
{
    struct cohort *c = m->cohort;

    if (m->err == ERR_OK && c->note_count == c->note_size) {
        size_t size = c->note_size > 0 ? 2 * c->note_size : 4096;
        struct note *bigger = realloc(c->notes, size * sizeof(*bigger));

        if (bigger == NULL) {
            m->err = ERR_MEMORY;
        } else {
            c->notes = bigger;
            c->note_size = size;
        }
    }
    return m->err == ERR_OK ? &c->notes[c->note_count++] : NULL;
}

struct note *keep_open(struct maker *m, int64_t at_s, bool soon)
{
    int64_t arrives_s = arrival(m, at_s, soon);
    struct note *n = new_note(m);

    if (n != NULL)
        *n = (struct note){ .person = m->index,
                            .number = ++m->number,
                            .status = "final",
                            .at_s = at_s,
                            .arrives_s = arrives_s,
                            .issued_s = arrives_s };
    return n;
}

struct note *keep_again(struct maker *m, size_t of, const char *status,
                        double days_later)
{
    struct note *n = new_note(m);

    if (n == NULL)
        return NULL;
    *n = m->cohort->notes[of];
    n->status = status;
    n->arrives_s += (int64_t)(days_later * DAY_S);
    n->issued_s = n->arrives_s;
    return n;
}

void keep_put(struct note *n, enum quantity q, double number)
{
    if (n != NULL && n->count < ITEMS_MAX)
        n->items[n->count++] = (struct item){ .quantity = q, .number = number };
}

void keep_sign(struct note *n, enum quantity q, enum sign s)
{
    if (n != NULL && n->count < ITEMS_MAX)
        n->items[n->count++] =
            (struct item){ .quantity = q, .sign = s, .number = NAN };
}

void keep_pressure(struct note *n, double systolic_mmhg)
{
    double diastolic = systolic_mmhg * DIASTOLIC_SHARE;

    keep_put(n, Q_SYSTOLIC_PRESSURE, floor(systolic_mmhg + 0.5));
    keep_put(n, Q_DIASTOLIC_PRESSURE, floor(diastolic + 0.5));
}

static void keep(struct maker *m, struct taking taking)
{
    struct cohort *c = m->cohort;

    if (m->err == ERR_OK && c->taking_count == c->taking_size) {
        size_t size = c->taking_size > 0 ? 2 * c->taking_size : 4096;
        struct taking *bigger = realloc(c->takings, size * sizeof(*bigger));

        if (bigger == NULL) {
            m->err = ERR_MEMORY;
        } else {
            c->takings = bigger;
            c->taking_size = size;
        }
    }
    if (m->err == ERR_OK)
        c->takings[c->taking_count++] = taking;
}

void keep_taking(struct maker *m, const char *quantity, int64_t at_s,
                 int64_t arrives_s, enum method method, const char *why)
{
    keep(m, (struct taking){ .person = m->index,
                             .quantity = quantity,
                             .at_s = at_s,
                             .arrives_s = arrives_s,
                             .why = why,
                             .method = method });
}

void keep_event(struct maker *m, const struct event *e, int64_t arrives_s)
{
    keep(m, (struct taking){ .person = m->index,
                             .quantity = event_info(e->kind)->word,
                             .at_s = keep_time(m, e->day),
                             .arrives_s = arrives_s,
                             .event = e });
}

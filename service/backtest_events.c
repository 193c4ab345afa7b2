#include "service/backtest_work.h"

#include "adapters/civil.h"
#include "service/backtest_sort.h"

#include <math.h>
#include <stdlib.h>

enum { EVENTS_MAX = 16 * 1024 * 1024 };

struct event {
    int64_t patient;
    int64_t access; /* 0: of all accesses of the patient */
    int64_t at_s;
    bool foreseen;
};

struct events {
    struct event *items;
    size_t count, size;
};

/* ---- which readings are events -------------------------------------------- */

static bool is_event(enum quantity quantity, enum sign sign, bool present)
{
    if (!present)
        return false;
    switch ((int)quantity) {
    case Q_ACCESS_INTERVENTION:
        return sign != SIGN_CREATED && sign != SIGN_NONE;
    case Q_THRILL:
        return sign == SIGN_THRILL_ABSENT;
    case Q_HEART_FAILURE_SIGN:
        return sign == SIGN_HF_ADMISSION;
    default:
        return false;
    }
}

static enum err add_event(struct events *l, const struct event *event)
{
    void *more;
    enum err e;

    if (l->count == l->size) {
        e = backtest_grow(l->items, &l->size, sizeof(*l->items), EVENTS_MAX,
                          &more);
        if (e != ERR_OK)
            return e;
        l->items = more;
    }
    l->items[l->count++] = *event;
    return ERR_OK;
}

/* The reading before, of the same owner and quantity. */
struct before {
    int64_t owner, day;
    enum quantity quantity;
    enum sign sign;
    bool event;
};

/* One thing is often recorded twice on a day; and a thrill that stays away is
 * lost once. */
static bool is_same(const struct before *b, const struct before *now)
{
    if (!b->event || b->owner != now->owner || b->quantity != now->quantity ||
        b->sign != now->sign)
        return false;
    return now->quantity == Q_THRILL || b->day == now->day;
}

static enum err load(struct db *db, const struct backtest_data *data,
                     struct events *l)
{
    const enum query q = Q_BACKTEST_EVENTS;
    struct before before = { .event = false };
    enum err e =
        db_query(db, q, "iiii", INT64(Q_ACCESS_INTERVENTION), INT64(Q_THRILL),
                 INT64(Q_HEART_FAILURE_SIGN), INT64(READING_PRELIMINARY));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct event event = { .access = db_int(db, q, 1),
                               .patient = db_int(db, q, 2),
                               .at_s = db_int(db, q, 4) };
        struct before now = { .owner = db_int(db, q, 0),
                              .day = civil_day_of_s(event.at_s),
                              .quantity = (enum quantity)db_int(db, q, 3),
                              .sign = (enum sign)db_int(db, q, 5) };

        now.event = is_event(now.quantity, now.sign, db_int(db, q, 6) != 0);
        if (now.event && !is_same(&before, &now) &&
            event.at_s >= data->first_s && event.at_s <= data->until_s)
            e = add_event(l, &event);
        before = now;
        if (e != ERR_OK)
            db_done(db, q);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- what was foreseen ---------------------------------------------------- */

static int by_patient(const void *a, const void *b)
{
    const struct event *x = a, *y = b;

    if (x->patient != y->patient)
        return x->patient < y->patient ? -1 : 1;
    return x->at_s < y->at_s ? -1 : x->at_s > y->at_s;
}

/* The first event of a patient, or where it would be. */
static size_t first_of(const struct events *l, int64_t patient)
{
    size_t from = 0, to = l->count;

    while (from < to) {
        size_t middle = from + (to - from) / 2;

        if (l->items[middle].patient < patient)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

static void look_ahead(struct events *l, struct backtest_raised *r)
{
    int64_t last_s = r->s.raised_s + (int64_t)BACKTEST_LEAD_D * DAY_S;

    r->s.lead_d = NAN;
    for (size_t i = first_of(l, r->patient);
         i < l->count && l->items[i].patient == r->patient; i++) {
        struct event *event = &l->items[i];

        if ((event->access != 0 && event->access != r->access) ||
            event->at_s <= r->s.raised_s || event->at_s > last_s)
            continue;
        event->foreseen = true;
        if (isnan(r->s.lead_d))
            r->s.lead_d = (double)(event->at_s - r->s.raised_s) / DAY_S;
    }
}

enum err backtest_events(struct db *db, const struct backtest_list *list,
                         struct backtest_data *data, unsigned long *unforeseen)
{
    struct events l = { .count = 0 };
    enum err e = load(db, data, &l);

    if (e == ERR_OK) {
        if (l.count > 1)
            qsort(l.items, l.count, sizeof(*l.items), by_patient);
        for (size_t i = 0; i < list->count; i++)
            look_ahead(&l, &list->items[i]);
        data->events = l.count;
        *unforeseen = 0;
        for (size_t i = 0; i < l.count; i++)
            *unforeseen += !l.items[i].foreseen;
    }
    free(l.items);
    return e;
}

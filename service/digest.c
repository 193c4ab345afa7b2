#include "service/digest.h"

#include "adapters/civil.h"
#include "adapters/fhir_write.h"
#include "adapters/queue_filter.h"
#include "adapters/queue_text.h"
#include "planner/triage.h"
#include "service/decisions.h"
#include "service/queue.h"
#include "service/resources.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WEEK_D = 7 };

/* How long one was open before somebody took it. */
struct wait {
    size_t unit;
    int64_t s;
};

struct digest {
    struct db *db;
    const struct digest_wish *wish;
    int64_t from_s, to_s, after_s; /* the week, and the end of the next */
    struct digest_unit *units;
    char **names; /* owned, of units */
    size_t count, size;
    struct wait *waits;
    size_t wait_count, wait_size;
    enum err err;
};

int64_t digest_week(int64_t now_s, const struct zone *zone)
{
    int64_t day = civil_day_of_s(now_s + zone_offset_s(zone, now_s));

    /* 1970-01-01 was a Thursday: three days after a Monday */
    return day - ((day % WEEK_D + WEEK_D + 3) % WEEK_D);
}

static int64_t start_of(int64_t day, const struct zone *zone)
{
    return zone_utc_s(zone, day * DAY_S);
}

/* ---- units -------------------------------------------------------------------- */

static bool grow(struct digest *d)
{
    size_t size = d->size > 0 ? 2 * d->size : 16;
    struct digest_unit *units = realloc(d->units, size * sizeof(*units));
    char **names;

    if (units != NULL)
        d->units = units;
    names = realloc(d->names, size * sizeof(*names));
    if (names != NULL)
        d->names = names;
    if (units == NULL || names == NULL)
        return false;
    d->size = size;
    return true;
}

/* The unit of this name, made if it is new; NULL: not asked for, or no memory
 * (d->err). */
static struct digest_unit *unit_of(struct digest *d, const char *name)
{
    const char *asked = d->wish->unit;

    name = name != NULL ? name : "";
    if (asked != NULL &&
        (queue_asks_no_unit(asked) ? name[0] != '\0'
                                   : !queue_is_unit(asked, name)))
        return NULL;
    if (asked != NULL && d->count > 0)
        return &d->units[0]; /* however it is spelt */
    for (size_t i = 0; i < d->count; i++) {
        if (strcmp(d->units[i].name, name) == 0)
            return &d->units[i];
    }
    if (d->count == d->size && !grow(d)) {
        d->err = ERR_MEMORY;
        return NULL;
    }
    d->names[d->count] = strdup(name);
    if (d->names[d->count] == NULL) {
        d->err = ERR_MEMORY;
        return NULL;
    }
    d->units[d->count] = (struct digest_unit){ .name = d->names[d->count],
                                               .median_taken_s = -1 };
    return &d->units[d->count++];
}

static void clear(struct digest *d)
{
    for (size_t i = 0; i < d->count; i++)
        free(d->names[i]);
    free(d->names);
    free(d->units);
    free(d->waits);
}

/* ---- what is counted ------------------------------------------------------------ */

static void take_decision(struct digest *d)
{
    const enum query q = Q_DIGEST_DECISIONS;
    struct digest_unit *u = unit_of(d, db_text(d->db, q, 3));
    unsigned rules = (unsigned)db_int(d->db, q, 2);

    if (u == NULL)
        return;
    if (db_int(d->db, q, 0) == ACT_END) {
        u->ended++;
        return;
    }
    u->opened++;
    for (int r = 0; r < RULE_COUNT; r++)
        u->opened_by_rule[r] += (rules & 1u << r) != 0 ? 1 : 0;
}

static void take_taken(struct digest *d)
{
    const enum query q = Q_DIGEST_TAKEN;
    struct digest_unit *u = unit_of(d, db_text(d->db, q, 1));

    if (u == NULL)
        return;
    u->taken++;
    if (d->wait_count == d->wait_size) {
        size_t size = d->wait_size > 0 ? 2 * d->wait_size : 64;
        struct wait *more = realloc(d->waits, size * sizeof(*more));

        if (more == NULL) {
            d->err = ERR_MEMORY;
            return;
        }
        d->waits = more;
        d->wait_size = size;
    }
    d->waits[d->wait_count++] = (struct wait){ .unit = (size_t)(u - d->units),
                                               .s = db_int(d->db, q, 0) };
}

static void add_reason(struct digest_unit *u, const char *text)
{
    size_t i = 0;

    while (i < u->reason_count && strcmp(u->reasons[i].text, text) != 0)
        i++;
    if (i == DIGEST_REASONS_MAX) {
        u->other_reasons++;
        return;
    }
    if (i == u->reason_count) {
        u->reasons[i] = (struct digest_reason){ .count = 0 };
        snprintf(u->reasons[i].text, DIGEST_REASON_SIZE, "%s", text);
        u->reason_count++;
    }
    u->reasons[i].count++;
}

/* Why, in the words of the Task. */
static enum err read_reason(struct digest *d, struct digest_unit *u,
                            int64_t task)
{
    struct fhir_task_view view = { .reason = "" };
    struct resource r;
    struct buf json;
    int64_t updated_ms;
    enum err e = resource_get(d->db, task, &r);

    buf_init(&json, TASK_MAX);
    if (e == ERR_OK)
        e = resource_body(d->db, &r, 0, &json, &updated_ms);
    if (e == ERR_OK)
        e = fhir_task_view(json.data, json.len, &view);
    buf_clear(&json);
    if (e == ERR_OK)
        add_reason(u, view.reason);
    return e;
}

static void take_closed(struct digest *d)
{
    const enum query q = Q_DIGEST_CLOSED;
    enum episode_state state = (enum episode_state)db_int(d->db, q, 0);
    int64_t task = db_int(d->db, q, 1);
    struct digest_unit *u = unit_of(d, db_text(d->db, q, 2));
    enum err e;

    if (u == NULL)
        return;
    u->completed += state == EPISODE_DONE ? 1 : 0;
    u->voided += state == EPISODE_VOID ? 1 : 0;
    if (state != EPISODE_DECLINED)
        return;
    u->declined++;
    e = read_reason(d, u, task);
    d->err = e != ERR_OK ? e : d->err;
}

static void take_open(struct digest *d)
{
    const enum query q = Q_DIGEST_OPEN;
    struct digest_unit *u = unit_of(d, db_text(d->db, q, 3));
    bool ground_gone =
        db_int(d->db, q, 1) == EPISODE_TAKEN && db_int(d->db, q, 2) == 0;
    int64_t due_s = db_int(d->db, q, 0);

    if (u == NULL)
        return;
    u->open_now++;
    if (due_s != 0 && !ground_gone &&
        queue_days(due_s, d->wish->now_s, d->wish->zone) < 0)
        u->overdue_now++;
}

static void take_reminder(struct digest *d)
{
    struct digest_unit *u = unit_of(d, db_text(d->db, Q_DIGEST_REMINDERS, 0));

    if (u != NULL)
        u->reminders_due++;
}

static void take_dead(struct digest *d)
{
    bool doubtful = db_int(d->db, Q_DECEASED_LEFT, 1) != 0;
    struct digest_unit *u = unit_of(d, db_text(d->db, Q_DECEASED_LEFT, 0));

    if (u != NULL)
        *(doubtful ? &u->death_doubtful : &u->deceased) += 1;
}

/* Rows of a query that was started. */
static enum err each(struct digest *d, enum query q, enum err e,
                     void (*take)(struct digest *d))
{
    while (e == ERR_OK && d->err == ERR_OK && (e = db_next(d->db, q)) == ERR_OK)
        take(d);
    db_done(d->db, q);
    if (d->err != ERR_OK)
        return d->err;
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err count_all(struct digest *d)
{
    struct db *db = d->db;
    enum err e =
        each(d, Q_DIGEST_DECISIONS,
             db_query(db, Q_DIGEST_DECISIONS, "iiiii", d->from_s * 1000,
                      d->to_s * 1000, INT64(ACT_OPEN), INT64(ACT_END),
                      INT64(HOW_WENT_LIVE)),
             take_decision);

    if (e == ERR_OK)
        e = each(d, Q_DIGEST_TAKEN,
                 db_query(db, Q_DIGEST_TAKEN, "ii", d->from_s, d->to_s),
                 take_taken);
    if (e == ERR_OK)
        e = each(d, Q_DIGEST_CLOSED,
                 db_query(db, Q_DIGEST_CLOSED, "iiiii", d->from_s, d->to_s,
                          INT64(EPISODE_DECLINED), INT64(EPISODE_DONE),
                          INT64(EPISODE_VOID)),
                 take_closed);
    if (e == ERR_OK)
        e = each(d, Q_DIGEST_OPEN, db_query(db, Q_DIGEST_OPEN, ""), take_open);
    if (e == ERR_OK)
        e = each(d, Q_DIGEST_REMINDERS,
                 db_query(db, Q_DIGEST_REMINDERS, "ii", d->to_s, d->after_s),
                 take_reminder);
    return e == ERR_OK ? each(d, Q_DECEASED_LEFT,
                              db_query(db, Q_DECEASED_LEFT, ""), take_dead)
                       : e;
}

/* ---- the median, and the order -------------------------------------------------- */

static int by_unit_and_time(const void *a, const void *b)
{
    const struct wait *x = a, *y = b;

    if (x->unit != y->unit)
        return x->unit < y->unit ? -1 : 1;
    return x->s < y->s ? -1 : x->s > y->s ? 1 : 0;
}

/* Of an even number, the mean of the two in the middle. */
static void find_medians(struct digest *d)
{
    size_t n;

    if (d->wait_count > 0)
        qsort(d->waits, d->wait_count, sizeof(*d->waits), by_unit_and_time);
    for (size_t at = 0; at < d->wait_count; at += n) {
        size_t low, high;

        for (n = 1; at + n < d->wait_count &&
                    d->waits[at + n].unit == d->waits[at].unit;)
            n++;
        low = at + (n - 1) / 2;
        high = at + n / 2;
        d->units[d->waits[at].unit].median_taken_s =
            (d->waits[low].s + d->waits[high].s) / 2;
    }
}

static int by_count(const void *a, const void *b)
{
    const struct digest_reason *x = a, *y = b;

    if (x->count != y->count)
        return x->count > y->count ? -1 : 1;
    return strcmp(x->text, y->text);
}

/* By name; what is not known last. */
static int by_name(const void *a, const void *b)
{
    const struct digest_unit *x = a, *y = b;

    if ((x->name[0] == '\0') != (y->name[0] == '\0'))
        return x->name[0] == '\0' ? 1 : -1;
    return strcmp(x->name, y->name);
}

static void put_in_order(struct digest *d)
{
    find_medians(d);
    for (size_t i = 0; i < d->count; i++)
        qsort(d->units[i].reasons, d->units[i].reason_count,
              sizeof(d->units[i].reasons[0]), by_count);
    if (d->count > 0)
        qsort(d->units, d->count, sizeof(*d->units), by_name);
}

static void write(const struct digest *d, struct buf *out)
{
    const struct digest_wish *w = d->wish;
    const int64_t today =
        civil_day_of_s(w->now_s + zone_offset_s(w->zone, w->now_s));
    struct buf page;

    for (size_t i = 0; i < d->count; i++)
        d->units[i].today = today;
    if (w->json) {
        for (size_t i = 0; i < d->count; i++)
            queue_digest_json(&d->units[i], w->week, w->silent, out);
        return;
    }
    buf_init(&page, out->ceiling);
    queue_digest_head(w->week, w->silent, &page);
    queue_digest_now(w->week, today, &page);
    for (size_t i = 0; i < d->count; i++)
        queue_digest_write(&d->units[i], &page);
    queue_digest_foot(d->count > 0, &page);
    if (buf_ok(&page) == ERR_OK)
        queue_page_wrap(page.data, page.len, w->columns, out);
    else if (out->err == ERR_OK)
        out->err = page.err;
    buf_clear(&page);
}

enum err digest_read(struct db *db, const struct digest_wish *wish,
                     struct buf *out)
{
    struct digest d = {
        .db = db,
        .wish = wish,
        .from_s = start_of(wish->week, wish->zone),
        .to_s = start_of(wish->week + WEEK_D, wish->zone),
        .after_s = start_of(wish->week + INT64_C(2) * WEEK_D, wish->zone),
    };
    enum err e = ERR_OK;

    if (wish->unit != NULL && !queue_asks_no_unit(wish->unit))
        e = queue_unit_known(db, wish->unit, out);
    if (e != ERR_OK)
        return e;
    /* one that was asked for is shown, with nothing to be counted too */
    if (wish->unit != NULL)
        (void)unit_of(&d, queue_asks_no_unit(wish->unit) ? "" : wish->unit);
    e = d.err == ERR_OK ? count_all(&d) : d.err;
    if (e == ERR_OK) {
        put_in_order(&d);
        write(&d, out);
    }
    clear(&d);
    return e == ERR_OK ? buf_ok(out) : e;
}

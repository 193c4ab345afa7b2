#include "service/silence.h"

#include "adapters/catalogue.h"
#include "adapters/civil.h"
#include "adapters/queue_filter.h"
#include "adapters/queue_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One pause in so many is no habit. */
enum { PAUSES_FOR_OUTAGE = 20 };

static const int64_t day_ms = INT64_C(86400000);

enum err silence_arrived(struct db *db, const char *source, const char *unit,
                         int64_t at_ms)
{
    int64_t day = at_ms / day_ms;
    enum err e = db_run(db, Q_ARRIVAL_ADD, "ssi", source, unit, day);

    if (e == ERR_OK && db_changes(db) > 0)
        e = db_run(db, Q_ARRIVAL_TRIM, "i", day - SILENCE_LOOK_D);
    return e;
}

/* One feed while its days go by, the earliest first. */
struct habit {
    struct silent_feed feed;
    int64_t first_day;
    int days;
    int pauses[SILENCE_LOOK_D + 1]; /* how many of so many days */
};

static void take_day(struct habit *h, int64_t day)
{
    if (h->days++ > 0)
        h->pauses[day - h->feed.last_day]++;
    else
        h->first_day = day;
    h->feed.last_day = day;
}

static int longest_usual_d(const struct habit *h)
{
    int beyond = (h->days - 1) / PAUSES_FOR_OUTAGE;
    int days = SILENCE_LOOK_D;

    while (days > 0 && h->pauses[days] <= beyond)
        beyond -= h->pauses[days--];
    return days;
}

static bool is_silent(struct habit *h, int64_t today, int fixed_d)
{
    int usual_d = longest_usual_d(h);
    int limit_d = fixed_d > 0 ? fixed_d : usual_d + usual_d / 4;

    h->feed.usual_d = usual_d;
    h->feed.silent_d = (int)(today - h->feed.last_day);
    return h->days >= SILENCE_LEARN &&
           h->feed.last_day - h->first_day >= SILENCE_SPAN_D &&
           h->feed.silent_d > limit_d && h->feed.silent_d < SILENCE_FORGET_D;
}

/* A unit of a sender that is silent altogether is not said as well. */
static bool is_said(const struct silent_feed *feeds, size_t count,
                    const struct silent_feed *feed)
{
    for (size_t i = 0; i < count; i++) {
        if (feeds[i].unit[0] == '\0' &&
            strcmp(feeds[i].source, feed->source) == 0)
            return true;
    }
    return false;
}

static void end_feed(struct habit *h, int64_t today, int fixed_d,
                     struct silent_feed *feeds, size_t *count)
{
    if (h->days > 0 && *count < SILENCE_FEEDS_MAX &&
        is_silent(h, today, fixed_d) && !is_said(feeds, *count, &h->feed))
        feeds[(*count)++] = h->feed;
    memset(h, 0, sizeof(*h));
}

static bool is_of(const struct habit *h, const char *source, const char *unit)
{
    return h->days > 0 && strcmp(h->feed.source, source) == 0 &&
           strcmp(h->feed.unit, unit) == 0;
}

/* Of senders, or of their units: what q gives, a row for each day. */
static enum err read_days(struct db *db, enum query q, int64_t today,
                          int fixed_d, struct silent_feed *feeds, size_t *count)
{
    struct habit h = { .days = 0 };
    /* a day to come is one of a clock that was wrong */
    enum err e = db_query(db, q, "ii", today - SILENCE_LOOK_D, today);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *source = db_text(db, q, 0);
        const char *unit = db_text(db, q, 1);

        if (!is_of(&h, source, unit)) {
            end_feed(&h, today, fixed_d, feeds, count);
            snprintf(h.feed.source, sizeof(h.feed.source), "%s", source);
            snprintf(h.feed.unit, sizeof(h.feed.unit), "%s", unit);
        }
        take_day(&h, db_int(db, q, 2));
    }
    end_feed(&h, today, fixed_d, feeds, count);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static int longest_first(const void *a, const void *b)
{
    const struct silent_feed *x = a, *y = b;

    return y->silent_d - x->silent_d;
}

enum err silence_read(struct db *db, int64_t now_ms, int fixed_d,
                      struct silent_feed *feeds, size_t *count)
{
    int64_t today = now_ms / day_ms;
    enum err e;

    *count = 0;
    e = read_days(db, Q_ARRIVAL_DAYS, today, fixed_d, feeds, count);
    if (e == ERR_OK)
        e = read_days(db, Q_ARRIVAL_UNIT_DAYS, today, fixed_d, feeds, count);
    qsort(feeds, *count, sizeof(*feeds), longest_first);
    return e;
}

static void say_feed(const struct silent_feed *f, struct buf *out)
{
    const struct civil last = civil_of_day(f->last_day);
    bool has_unit = f->unit[0] != '\0' && strcmp(f->unit, f->source) != 0;
    struct buf source, unit;
    char day[32];

    buf_init(&source, 1024);
    buf_init(&unit, 1024);
    queue_text_clean(&source, f->source);
    queue_text_clean(&unit, f->unit);
    snprintf(day, sizeof(day), "%04d-%02d-%02d", last.year, last.month,
             last.day);
    if (has_unit)
        /* TRANSLATORS: sender, unit, day, days, days */
        buf_printf(out,
                   _("NO DATA from %s for %s since %s (%d d; longest usual "
                     "pause %d d)\n"),
                   source.data, unit.data, day, f->silent_d, f->usual_d);
    else
        /* TRANSLATORS: sender, day, days, days */
        buf_printf(out,
                   _("NO DATA from %s since %s (%d d; longest usual pause "
                     "%d d)\n"),
                   source.data, day, f->silent_d, f->usual_d);
    buf_clear(&source);
    buf_clear(&unit);
}

enum err silence_say(struct db *db, int64_t now_ms, int fixed_d,
                     const char *unit, struct buf *out)
{
    struct silent_feed *feeds = calloc(SILENCE_FEEDS_MAX, sizeof(*feeds));
    size_t count = 0;
    bool any = false;
    enum err e = feeds != NULL
                     ? silence_read(db, now_ms, fixed_d, feeds, &count)
                     : ERR_MEMORY;

    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        /* a sender that is silent as a whole may send for this unit as well */
        if (unit != NULL && feeds[i].unit[0] != '\0' &&
            !queue_is_unit(feeds[i].unit, unit))
            continue;
        say_feed(&feeds[i], out);
        any = true;
    }
    if (any)
        buf_puts(out, _("Who is not measured is in no queue: ask the unit and "
                        "whoever keeps its connection.\n"));
    free(feeds);
    return e;
}

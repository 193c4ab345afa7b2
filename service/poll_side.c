#include "service/poll_side.h"

#include <stdlib.h>

struct poll_side {
    struct poll *poll;
    struct follow *follow; /* NULL: nothing is delivered there */
    struct bulk *bulk;
    struct hook_arm *arm; /* NULL: the record is not asked to call */
    int open_parts;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/* What came refers to others: they are read by their id. */
static void on_taken(void *arg)
{
    struct poll_side *s = arg;

    poll_kick(s->poll);
}

static enum err open_bulk(const struct poll_side_options *options,
                          struct poll_side *s)
{
    struct bulk_options bulk = { .loop = options->poll.loop,
                                 .store = options->poll.store,
                                 .record = options->poll.record,
                                 .config = options->poll.config,
                                 .reader = options->poll.reader,
                                 .now_ms = options->poll.now_ms,
                                 .on_taken = on_taken,
                                 .arg = s };

    return bulk_open(&bulk, &s->bulk);
}

static enum err open_arm(const struct poll_side_options *options,
                         struct poll_side *s, struct buf *why)
{
    struct hook_arm_options arm = { .loop = options->poll.loop,
                                    .store = options->poll.store,
                                    .record = options->poll.record,
                                    .config = options->poll.config,
                                    .tasks = options->follows,
                                    .now_ms = options->poll.now_ms };

    return options->poll.config->record_subscribe && options->follows
               ? hook_arm_open(&arm, &s->arm, why)
               : ERR_OK; /* in silent mode nothing is asked of the record */
}

enum err poll_side_open(const struct poll_side_options *options,
                        struct poll_side **side, struct buf *why)
{
    struct poll_side *s = calloc(1, sizeof(*s));
    struct follow_options follow = { .loop = options->poll.loop,
                                     .store = options->poll.store,
                                     .record = options->poll.record,
                                     .config = options->poll.config,
                                     .now_ms = options->poll.now_ms,
                                     .on_looks = options->on_looks,
                                     .arg = options->arg };
    enum err e;

    if (s == NULL)
        return ERR_MEMORY;
    *side = s; /* also on an error: what is open must be closed */
    e = poll_open(&options->poll, &s->poll, why);
    if (e == ERR_OK && options->follows)
        e = follow_open(&follow, &s->follow);
    if (e == ERR_OK)
        e = open_bulk(options, s);
    return e == ERR_OK ? open_arm(options, s, why) : e;
}

struct bulk *poll_side_bulk(struct poll_side *s)
{
    return s->bulk;
}

static void part_closed(void *arg)
{
    struct poll_side *s = arg;
    void (*closed)(void *) = s->on_closed;
    void *closed_arg = s->closed_arg;

    if (--s->open_parts > 0)
        return;
    free(s);
    closed(closed_arg);
}

void poll_side_close(struct poll_side *s, void (*closed)(void *arg), void *arg)
{
    s->on_closed = closed;
    s->closed_arg = arg;
    s->open_parts = 1; /* this one, so that none is the last too early */
    if (s->poll != NULL) {
        s->open_parts++;
        poll_close(s->poll, part_closed, s);
    }
    if (s->follow != NULL) {
        s->open_parts++;
        follow_close(s->follow, part_closed, s);
    }
    if (s->bulk != NULL) {
        s->open_parts++;
        bulk_close(s->bulk, part_closed, s);
    }
    if (s->arm != NULL) {
        s->open_parts++;
        hook_arm_close(s->arm, part_closed, s);
    }
    part_closed(s);
}

void poll_side_learn(struct poll_side *s, const struct fhir_record_says *says)
{
    poll_learn(s->poll, says);
}

void poll_side_kick(struct poll_side *s)
{
    poll_kick(s->poll);
    if (s->follow != NULL)
        follow_kick(s->follow);
}

void poll_side_look(const struct poll_side *s, struct poll_side_view *view)
{
    poll_look(s->poll, &view->poll);
    view->follows = s->follow != NULL;
    view->follow = (struct follow_view){ .interval_s = 0 };
    if (s->follow != NULL)
        follow_look(s->follow, &view->follow);
    bulk_look(s->bulk, &view->bulk);
    view->arm.count = 0;
    if (s->arm != NULL)
        hook_arm_look(s->arm, &view->arm);
}

void poll_side_say(const struct poll_side_view *view, struct buf *out)
{
    poll_say(&view->poll, out);
    if (view->follows)
        follow_say(&view->follow, out);
    hook_arm_say(&view->arm, out);
    if (view->bulk.state == BULK_FAILED)
        bulk_say(&view->bulk, out);
}

/* ---- metrics ------------------------------------------------------------- */

static void head(struct buf *b, const char *name, const char *type,
                 const char *help)
{
    buf_printf(b, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, type);
}

/* Seconds, or nothing where it is not known. */
static void seconds(struct buf *b, const char *name, const char *feed,
                    int64_t from_ms, int64_t to_ms)
{
    if (from_ms == INT64_MIN || to_ms == INT64_MIN)
        return;
    buf_printf(b, "%s{feed=\"%s\"} %lld\n", name, feed,
               (long long)((to_ms - from_ms) / 1000));
}

static void write_times(const struct poll_side_view *v, int64_t now_ms,
                        struct buf *b)
{
    static const char lag[] = "headgate_poll_lag_seconds";
    static const char age[] = "headgate_poll_age_seconds";

    head(b, lag, "gauge",
         "The record's clock less the newest change that was taken");
    for (size_t i = 0; i < v->poll.feed_count; i++)
        seconds(b, lag, v->poll.feeds[i].name, v->poll.feeds[i].cursor_ms,
                v->poll.feeds[i].server_ms);
    if (v->follows)
        seconds(b, lag, "Task", v->follow.cursor_ms, v->follow.server_ms);
    head(b, age, "gauge", "Since the last whole reading");
    for (size_t i = 0; i < v->poll.feed_count; i++)
        seconds(b, age, v->poll.feeds[i].name, v->poll.feeds[i].ended_ms,
                now_ms);
    if (v->follows)
        seconds(b, age, "Task", v->follow.ended_ms, now_ms);
}

static void write_rows(const struct poll_side_view *v, struct buf *b)
{
    static const char rows[] = "headgate_poll_rows_total";
    static const char pages[] = "headgate_poll_pages_total";
    static const char stopped[] = "headgate_poll_stopped";

    head(b, pages, "counter", "Pages that the record sent");
    for (size_t i = 0; i < v->poll.feed_count; i++)
        buf_printf(b, "%s{feed=\"%s\"} %llu\n", pages, v->poll.feeds[i].name,
                   (unsigned long long)v->poll.feeds[i].pages);
    head(b, rows, "counter", "Rows of pages, by what became of them");
    for (size_t i = 0; i < v->poll.feed_count; i++) {
        const struct poll_feed_view *f = &v->poll.feeds[i];

        buf_printf(b, "%s{feed=\"%s\",fate=\"came\"} %llu\n", rows, f->name,
                   (unsigned long long)f->rows);
        buf_printf(b, "%s{feed=\"%s\",fate=\"taken\"} %llu\n", rows, f->name,
                   (unsigned long long)f->stored);
        buf_printf(b, "%s{feed=\"%s\",fate=\"refused\"} %llu\n", rows, f->name,
                   (unsigned long long)f->refused);
    }
    head(b, stopped, "gauge", "1: the last reading ended with this trouble");
    for (size_t i = 0; i < v->poll.feed_count; i++)
        buf_printf(b, "%s{feed=\"%s\",trouble=\"%s\"} %d\n", stopped,
                   v->poll.feeds[i].name, walk_word(v->poll.feeds[i].trouble),
                   v->poll.feeds[i].trouble != WALK_DONE);
}

void poll_side_metrics(const struct poll_side_view *v, int64_t now_ms,
                       struct buf *b)
{
    static const char ends[] = "headgate_poll_windows_total";

    write_times(v, now_ms, b);
    write_rows(v, b);
    head(b, ends, "counter", "Readings by how they ended");
    for (size_t i = 0; i < WALK_END_COUNT; i++)
        buf_printf(b, "%s{end=\"%s\"} %llu\n", ends,
                   i == WALK_DONE ? "whole" : walk_word((enum walk_end)i),
                   (unsigned long long)v->poll.ends[i]);
    head(b, "headgate_poll_by_id_total", "counter",
         "Resources that were read by their id");
    buf_printf(b, "headgate_poll_by_id_total{fate=\"asked\"} %llu\n",
               (unsigned long long)v->poll.by_id);
    buf_printf(b, "headgate_poll_by_id_total{fate=\"absent\"} %llu\n",
               (unsigned long long)v->poll.by_id_absent);
    head(b, "headgate_bulk_exports_total", "counter", "Exports by their end");
    buf_printf(b, "headgate_bulk_exports_total{end=\"done\"} %llu\n",
               (unsigned long long)v->bulk.done);
    buf_printf(b, "headgate_bulk_exports_total{end=\"failed\"} %llu\n",
               (unsigned long long)v->bulk.failed);
    if (v->arm.count > 0)
        head(b, "headgate_subscription_active", "gauge",
             "1: the record calls when there is something new");
    for (size_t i = 0; i < v->arm.count; i++)
        buf_printf(b, "headgate_subscription_active{of=\"%s\"} %d\n",
                   v->arm.list[i].name, v->arm.list[i].state == ARM_ACTIVE);
    if (!v->follows)
        return;
    head(b, "headgate_follow_looks_total", "counter",
         "Tasks that were marked to be read at the record");
    buf_printf(b, "headgate_follow_looks_total %llu\n",
               (unsigned long long)v->follow.looks);
}

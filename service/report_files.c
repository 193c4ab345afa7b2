#include "service/report_files.h"

#include "adapters/civil.h"
#include "service/feed_report.h"
#include "service/log.h"
#include "service/tally.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/*
 *     IDLE --it is time--> READING --pages--> WRITING --all--> MARKING --> IDLE
 *                      (store thread)    (pool thread)     (store thread)
 */
enum state { IDLE, READING, WRITING, MARKING };

enum { WEEKS_BACK = 8, UNITS_MAX = 2000, PAGE_MAX = 1024 * 1024 };

static const char mark[] = "report_week"; /* in meta */

struct page {
    char name[REPORT_NAME_SIZE];
    struct buf text;
};

struct report_files {
    struct report_files_options options;
    enum state state;
    struct store_job job;
    uv_work_t work;
    int64_t due;  /* the newest week that is to be written */
    int64_t week; /* the one under way; after READING */
    int64_t done; /* the newest that is known to be written; INT64_MIN */
    bool needed;  /* after READING: there is something to write */
    struct page *pages;
    size_t count;
    bool failed; /* after WRITING */
    bool closing;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

int64_t report_files_due(int64_t now_ms, const struct zone *zone, int weekday,
                         int hour)
{
    int64_t now_s = now_ms / 1000;
    int64_t local_s = now_s + zone_offset_s(zone, now_s);
    int64_t monday = tally_week(local_s * 1000);
    int64_t at_s = (monday + weekday - 1) * DAY_S + (int64_t)hour * 3600;
    int64_t week = local_s >= at_s ? monday - 7 : monday - 14;

    /* weeks are those of UTC: it must be over there as well */
    return (week + 7) * DAY_S > now_s ? week - 7 : week;
}

void report_files_name(int64_t week, const char *unit,
                       char out[REPORT_NAME_SIZE])
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyz"
                                "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_";
    char date[REPORT_WEEK_SIZE], name[64];
    uint32_t hash = 2166136261U; /* FNV-1a */
    size_t used = 0;
    bool changed = false;

    for (const char *at = unit; *at != '\0'; at++) {
        bool fits = strchr(plain, *at) != NULL;

        hash = (hash ^ (unsigned char)*at) * 16777619U;
        changed = changed || !fits || used + 1 == sizeof(name);
        if (used + 1 < sizeof(name))
            name[used++] = (char)(fits ? *at : '_');
    }
    name[used] = '\0';
    report_week_write(week, date);
    if (changed)
        snprintf(out, REPORT_NAME_SIZE, "%s-%s-%08x.txt", date, name,
                 (unsigned)hash);
    else
        snprintf(out, REPORT_NAME_SIZE, "%s-%s.txt", date, name);
}

static void free_pages(struct report_files *f)
{
    for (size_t i = 0; i < f->count; i++)
        buf_clear(&f->pages[i].text);
    free(f->pages);
    f->pages = NULL;
    f->count = 0;
}

/* ---- what is to be written ------------------------------------------------ */

static enum err make_pages(struct report_files *f,
                           const struct feed_report *report)
{
    enum err e = ERR_OK;

    f->pages = calloc(UNITS_MAX, sizeof(*f->pages));
    if (f->pages == NULL)
        return ERR_MEMORY;
    for (size_t at = 0, n; e == ERR_OK && at < report->count; at += n) {
        struct page *page = &f->pages[f->count];

        n = feed_report_unit(report, at);
        if (f->count == UNITS_MAX)
            break;
        f->count++;
        report_files_name(f->week, report->rows[at].unit, page->name);
        buf_init(&page->text, PAGE_MAX);
        report_write_page(&report->rows[at], n, f->week, &page->text);
        e = buf_ok(&page->text);
    }
    return e;
}

/* The next week that is missing. */
static enum err find_week(struct db *db, struct report_files *f)
{
    int64_t oldest = f->due - (int64_t)(WEEKS_BACK - 1) * 7;
    enum err e = db_first(db, Q_META_GET, "s", mark);

    f->week = f->due; /* at the first start only the newest */
    if (e == ERR_OK)
        f->week = db_int(db, Q_META_GET, 0) + 7;
    db_done(db, Q_META_GET);
    f->week = f->week < oldest ? oldest : f->week;
    f->needed = f->week <= f->due;
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err run_read(struct db *db, void *arg)
{
    struct report_files *f = arg;
    struct feed_report report = { .rows = NULL };
    enum err e = find_week(db, f);

    if (e == ERR_OK && f->needed) {
        e = feed_report_read(db, f->week, &report);
        if (e == ERR_OK)
            e = make_pages(f, &report);
        feed_report_clear(&report);
    }
    return e;
}

/* ---- writing -------------------------------------------------------------- */

static bool write_page(const char *folder, const struct page *page)
{
    char beside[PATH_MAX], path[PATH_MAX];
    FILE *file;
    bool ok;

    if ((size_t)snprintf(path, sizeof(path), "%s/%s", folder, page->name) >=
            sizeof(path) ||
        (size_t)snprintf(beside, sizeof(beside), "%s/.%s.part", folder,
                         page->name) >= sizeof(beside))
        return false;
    file = fopen(beside, "wb");
    if (file == NULL)
        return false;
    ok = fwrite(page->text.data, 1, page->text.len, file) == page->text.len &&
         fflush(file) == 0 && fsync(fileno(file)) == 0;
    ok = fclose(file) == 0 && ok;
    if (ok)
        ok = rename(beside, path) == 0;
    if (!ok)
        unlink(beside);
    return ok;
}

static void on_work(uv_work_t *work)
{
    struct report_files *f = work->data;

    for (size_t i = 0; i < f->count && !f->failed; i++)
        f->failed = !write_page(f->options.folder, &f->pages[i]);
}

static enum err run_mark(struct db *db, void *arg)
{
    const struct report_files *f = arg;

    return db_run(db, Q_META_PUT, "si", mark, f->week);
}

/* ---- one after the other -------------------------------------------------- */

static void go(struct report_files *f, enum state next);

static void on_read(void *arg, enum err e)
{
    struct report_files *f = arg;

    if (e != ERR_OK)
        log_event(LOG_WARN, "report.read", KEY_ERR(e));
    if (e == ERR_OK && !f->needed)
        f->done = f->due;
    go(f, e == ERR_OK && f->needed ? WRITING : IDLE);
}

static void after_work(uv_work_t *work, int status)
{
    struct report_files *f = work->data;

    f->failed = f->failed || status != 0;
    if (f->failed)
        log_event(LOG_WARN, "report.write", KEY_INT("pages", f->count));
    go(f, f->failed ? IDLE : MARKING);
}

static void on_marked(void *arg, enum err e)
{
    struct report_files *f = arg;

    if (e == ERR_OK)
        log_event(LOG_INFO, "report.written", KEY_INT("pages", f->count),
                  KEY_INT("week", f->week));
    go(f, e == ERR_OK && f->week < f->due ? READING : IDLE);
}

static void submit(struct report_files *f, enum err (*run)(struct db *, void *),
                   void (*done)(void *, enum err))
{
    f->job = (struct store_job){ .run = run, .done = done, .arg = f };
    store_submit(f->options.store, &f->job);
}

static void end(struct report_files *f)
{
    void (*on_closed)(void *) = f->on_closed;
    void *arg = f->closed_arg;

    free_pages(f);
    free(f);
    on_closed(arg);
}

static void go(struct report_files *f, enum state next)
{
    f->state = f->closing ? IDLE : next;
    switch (f->state) {
    case IDLE:
        free_pages(f);
        if (f->closing)
            end(f);
        break;
    case READING:
        free_pages(f);
        submit(f, run_read, on_read);
        break;
    case WRITING:
        f->failed = false;
        f->work.data = f;
        if (uv_queue_work(f->options.loop, &f->work, on_work, after_work) != 0)
            go(f, IDLE);
        break;
    case MARKING:
        submit(f, run_mark, on_marked);
        break;
    }
}

enum err report_files_open(const struct report_files_options *options,
                           struct report_files **out)
{
    struct report_files *f = calloc(1, sizeof(*f));

    if (f == NULL)
        return ERR_MEMORY;
    f->options = *options;
    f->done = INT64_MIN;
    *out = f;
    return ERR_OK;
}

void report_files_look(struct report_files *f)
{
    if (f == NULL || f->state != IDLE || f->closing)
        return;
    f->due = report_files_due(f->options.now_ms(), f->options.zone,
                              f->options.weekday, f->options.hour);
    if (f->done < f->due)
        go(f, READING);
}

void report_files_close(struct report_files *f, void (*on_closed)(void *arg),
                        void *arg)
{
    f->closing = true;
    f->on_closed = on_closed;
    f->closed_arg = arg;
    if (f->state == IDLE)
        end(f);
}

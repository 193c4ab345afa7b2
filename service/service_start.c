/* What a start does, and what each minute does. */
#include "service/service_work.h"

#include "service/again.h"
#include "service/deceased.h"
#include "service/log.h"
#include "service/replaced.h"
#include "service/search_index.h"
#include "service/upkeep.h"

/* ---- starting ----------------------------------------------------------- */

/* What versions before did not keep is read once, from what they did. */
static enum err read_once(struct db *db, const struct service *s,
                          const char *mark,
                          enum err (*run)(struct db *,
                                          const struct fhir_reader *))
{
    struct fhir_reader reader = s->reader;
    enum err e = db_first(db, Q_META_GET, "s", mark);

    db_done(db, Q_META_GET);
    if (e != ERR_ABSENT)
        return e;
    reader.now_s = clock_ms() / 1000;
    e = run(db, &reader);
    return e == ERR_OK ? db_run(db, Q_META_PUT, "ss", mark, "kept") : e;
}

/* The clock may have been set back while nothing ran. */
static enum err look_back(struct db *db)
{
    int64_t last_ms, now_ms = clock_ms();
    enum err e = clock_back_last(db, &last_ms);

    if (e != ERR_OK || last_ms - now_ms < CLOCK_BACK_LEAST_MS)
        return e;
    log_event(LOG_WARN, "clock.back", KEY_INT("ms", last_ms - now_ms));
    return clock_back_mend(db, last_ms, now_ms);
}

/* A service that begins with nothing watches nobody: that is said. */
static enum err note_made(struct db *db, const struct service *s)
{
    if (!s->store_made)
        return ERR_OK;
    log_event(LOG_WARN, "store.made", KEY_INT("empty", 1));
    return upkeep_made(db, clock_ms());
}

static enum err run_start(struct db *db, void *arg)
{
    const struct service *s = arg;
    enum err e = read_once(db, s, "born", patients_read_born);

    if (e == ERR_OK)
        e = read_once(db, s, "deceased", deceased_read);
    if (e == ERR_OK)
        e = read_once(db, s, "replaced", replaced_read);
    if (e == ERR_OK) /* with the moment by which they were dead */
        e = read_once(db, s, "dead-by", deceased_read);
    if (e == ERR_OK)
        e = read_once(db, s, "units", patients_read_units);
    if (e == ERR_OK)
        e = note_made(db, s);
    if (e == ERR_OK)
        e = look_back(db);
    if (e == ERR_OK)
        e = audit_started(db, &s->audit_start.works, clock_ms());
    if (e == ERR_OK)
        e = read_once(db, s, "held", again_unjudged);
    if (e == ERR_OK)
        e = read_once(db, s, "sought", search_index_all);
    return e == ERR_OK ? review_start(db, &s->review) : e;
}

/* A mapping whose earlier readings were not all looked at before a stop. */
static enum err run_sweep(struct db *db, void *arg)
{
    struct service *s = arg;
    struct fhir_reader reader = s->reader;
    struct again_count count = { .looked = 0 };

    reader.now_s = clock_ms() / 1000;
    return again_mapping(db, &reader, 0, &count, &s->sweep_more);
}

static void on_swept(void *arg, enum err e)
{
    struct service *s = arg;

    s->sweeping = e == ERR_OK && s->sweep_more && !s->stopping;
    if (s->sweeping)
        store_submit(s->store, &s->sweep);
    store_wake(s->store);
}

static void sweep(struct service *s)
{
    if (s->sweeping || s->stopping)
        return;
    s->sweeping = true;
    s->sweep =
        (struct store_job){ .run = run_sweep, .done = on_swept, .arg = s };
    store_submit(s->store, &s->sweep);
}

static void on_started(void *arg, enum err e)
{
    struct service *s = arg;

    s->starting = false;
    s->started = e == ERR_OK;
    s->audit_start.is_on = s->started;
    if (e != ERR_OK)
        log_event(LOG_ERROR, "service.start", KEY_ERR(e));
    sweep(s);
    store_wake(s->store);
}

/* What it works by is read here: the settings are the loop's. */
void service_start_work(struct service *s)
{
    enum err e = audit_works_of(&s->policy, &s->config, &s->audit_start.works);

    if (e != ERR_OK) { /* no memory: the next minute tries again */
        log_event(LOG_ERROR, "service.start", KEY_ERR(e));
        return;
    }
    s->starting = true;
    s->start =
        (struct store_job){ .run = run_start, .done = on_started, .arg = s };
    store_submit(s->store, &s->start);
}

/* ---- each minute -------------------------------------------------------- */

/* What it can, if it has not said so yet. */
static void ask_record(struct service *s)
{
    if (!service_deals_with_record(s) || s->stopping || s->record_start.known ||
        s->record_start.call != NULL)
        return;
    record_start_begin(&s->record_start, s->side.record, service_on_says, s);
}

static enum err run_clock(struct db *db, void *arg)
{
    const struct service *s = arg;

    return clock_back_mend(db, s->clock_was_ms, s->watch.wall_ms);
}

static void on_clock(void *arg, enum err e)
{
    struct service *s = arg;

    s->clock_busy = false;
    if (e != ERR_OK)
        log_event(LOG_ERROR, "clock.back", KEY_ERR(e));
    store_wake(s->store);
    if (s->outbox != NULL)
        outbox_kick(s->outbox);
}

void service_watch_clock(struct service *s)
{
    if (s->clock_busy ||
        !clock_watch_look(&s->watch, clock_ms(),
                          (int64_t)(uv_hrtime() / 1000000), &s->clock_was_ms))
        return;
    log_event(LOG_WARN, "clock.back",
              KEY_INT("ms", s->clock_was_ms - s->watch.wall_ms));
    s->clock_busy = true;
    s->clock =
        (struct store_job){ .run = run_clock, .done = on_clock, .arg = s };
    store_submit(s->store, &s->clock);
}

/* A review that failed is tried again, and time alone makes others due. */
void service_on_minute(uv_timer_t *timer)
{
    struct service *s = timer->data;

    service_watch_clock(s);
    if (!s->started && !s->starting)
        service_start_work(s);
    ask_record(s);
    sweep(s);
    report_files_look(s->reports);
    store_wake(s->store);
}

/* One window: what is asked of the record, and what its end means. */
#include "service/log.h"
#include "service/poll_work.h"

#include <stdio.h>
#include <string.h>

enum {
    TARGET_SIZE = 2048,
    RESTARTS_MAX = 3 /* of a window in one round */
};

const char *poll_type_name(enum fhir_type type)
{
    return type == FHIR_PATIENT          ? "Patient"
           : type == FHIR_BODY_STRUCTURE ? "BodyStructure"
                                         : "Observation";
}

static void write_target(const struct poll *p, const struct poll_feed *f,
                         struct buf *out)
{
    char since[FHIR_TIME_SIZE];
    const char *codes = p->options.config->record_poll_codes;

    fhir_time_write_ms(f->window.since_ms, since);
    if (f->is_history) {
        buf_printf(out, "/%s?_since=%s&_count=%d", f->name, since, f->count);
        return;
    }
    buf_printf(out, "/%s?_lastUpdated=ge%s&_count=%d", f->name, since,
               f->count);
    if (f->plea != PLEA_NO_SORT)
        buf_puts(out, "&_sort=_lastUpdated");
    if (f->window.type != FHIR_OBSERVATION || codes[0] == '\0')
        return;
    buf_puts(out, "&code=");
    poll_percent(codes, out);
}

static void next_feed(struct poll *p)
{
    p->at++;
    if (p->at < p->feed_count && p->feeds[p->at].is_history &&
        (p->feeds[p->at].view.off ||
         p->options.config->record_poll_deletes_s == 0 ||
         p->options.now_ms() < p->deletes_due_ms))
        p->at++;
    poll_go(p, p->at < p->feed_count ? POLL_LOADING : POLL_CHOOSING);
}

void poll_start_window(struct poll *p)
{
    struct poll_feed *f = &p->feeds[p->at];
    struct buf target;

    if (f->restarts == 0)
        f->window.again = false; /* of an earlier round */
    poll_window_start(&f->window, &p->source,
                      f->is_history ? INT64_MIN : p->settings.from_ms);
    if (f->plea == PLEA_NO_SORT)
        f->window.unsorted = true;
    if (!f->window.durable)
        log_event(LOG_INFO, "poll.begin", KEY_INT("feed", p->at),
                  KEY_INT("from_s", f->window.cursor_ms / 1000),
                  KEY_INT("set", p->settings.from_ms != INT64_MIN));
    buf_init(&target, TARGET_SIZE);
    write_target(p, f, &target);
    p->stage = f->is_history ? POLL_DELETES : POLL_WINDOW;
    walk_begin(p->walk, target.data, f->plea == PLEA_STRICT);
    buf_clear(&target);
}

/* What is asked less of the record, or again; false: it is as it is. */
static bool try_anew(struct poll_feed *f, enum walk_end end)
{
    if (end == WALK_STRICT && f->plea != PLEA_NO_SORT && !f->is_history) {
        f->plea++;
        return true;
    }
    if (end == WALK_LARGE && f->count > 1) {
        f->count /= 2;
        return true;
    }
    if ((end == WALK_EXPIRED || end == WALK_AGAIN) &&
        f->restarts < RESTARTS_MAX) {
        f->restarts++;
        return true;
    }
    return false;
}

static void note_end(struct poll *p, struct poll_feed *f, enum walk_end end,
                     long status)
{
    const struct poll_options *o = &p->options;

    p->ends[end]++;
    if (end == WALK_DONE) {
        if (f->view.trouble != WALK_DONE)
            log_event(LOG_INFO, "poll.mended", KEY_INT("feed", p->at));
        f->view.ended_ms = o->now_ms();
        if (f->is_history)
            p->deletes_due_ms =
                o->now_ms() + (int64_t)o->config->record_poll_deletes_s * 1000;
        if (f->count < o->config->record_poll_count)
            f->count = 2 * f->count < o->config->record_poll_count
                           ? 2 * f->count
                           : o->config->record_poll_count;
    } else if (f->is_history && (end == WALK_STRICT || end == WALK_REFUSED)) {
        f->view.off = true; /* not offered: then by entered-in-error alone */
        log_event(LOG_WARN, "poll.no_deletes", KEY_INT("status", status));
        end = WALK_DONE;
    } else {
        f->view.failures++;
        /* told once, not in each round */
        log_event(f->view.trouble == end ? LOG_DEBUG
                  : end == WALK_LATER    ? LOG_WARN
                                         : LOG_ERROR,
                  "poll.stopped", KEY_INT("feed", p->at),
                  KEY_TABLE("trouble", walk_word(end)),
                  KEY_INT("status", status),
                  KEY_INT("page", walk_pages(p->walk)));
    }
    f->view.trouble = end;
}

void poll_on_window_end(struct poll *p, enum walk_end end, long status)
{
    struct poll_feed *f = &p->feeds[p->at];

    if (end == WALK_AGAIN && f->restarts == 0)
        log_event(LOG_WARN, "poll.clock_back", KEY_INT("feed", p->at),
                  KEY_INT("durable", f->window.durable));
    if (try_anew(f, end)) {
        poll_go(p, POLL_LOADING); /* the cursor is read anew */
        return;
    }
    note_end(p, f, end, status);
    if (end == WALK_LATER || end == WALK_STORE) {
        p->later = true;
        poll_end_round(p);
        return;
    }
    next_feed(p);
}

void poll_on_page(void *arg)
{
    struct poll *p = arg;
    const struct poll_taken *t = &p->taken;

    p->round_stored += t->stored;
    p->round_refused += t->refused;
    if (t->news)
        store_wake(p->options.store);
    if (p->stage == POLL_BY_ID)
        return;
    {
        struct poll_feed_view *v = &p->feeds[p->at].view;

        v->cursor_ms = t->cursor_ms;
        v->server_ms = t->server_ms;
        v->pages++;
        v->rows += t->rows;
        v->stored += t->stored;
        v->refused += t->refused;
        v->withdrawn += t->withdrawn;
        v->undated += t->undated;
        v->unsorted = t->unsorted;
    }
}

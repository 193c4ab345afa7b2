/* Opening and closing the poll, and how it goes. */
#include "service/poll_work.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add_feed(struct poll *p, enum fhir_type type, bool is_history)
{
    struct poll_feed *f = &p->feeds[p->feed_count++];

    snprintf(f->name, sizeof(f->name), "%s%s", poll_type_name(type),
             is_history ? "/_history" : "");
    f->is_history = is_history;
    f->count = p->options.config->record_poll_count;
    f->window = (struct poll_window){ .name = f->name, .type = type };
    f->view = (struct poll_feed_view){ .name = f->name,
                                       .cursor_ms = INT64_MIN,
                                       .server_ms = INT64_MIN,
                                       .ended_ms = INT64_MIN };
}

static void add_feeds(struct poll *p)
{
    bool measured = false;

    for (size_t i = 0; i < p->settings.type_count; i++) {
        add_feed(p, p->settings.types[i], false);
        measured = measured || p->settings.types[i] == FHIR_OBSERVATION;
    }
    if (measured)
        add_feed(p, FHIR_OBSERVATION, true);
}

enum err poll_open(const struct poll_options *options, struct poll **poll,
                   struct buf *why)
{
    struct poll *p = calloc(1, sizeof(*p));
    struct walk_options walk = { .loop = options->loop,
                                 .record = options->record,
                                 .store = options->store,
                                 .retry_first_ms =
                                     options->config->outbox_retry_first_ms,
                                 .retry_last_ms =
                                     options->config->outbox_retry_last_ms,
                                 .take = poll_take_page,
                                 .on_page = poll_on_page,
                                 .on_end = poll_on_walk_end,
                                 .arg = p };
    enum err e;

    if (p == NULL)
        return ERR_MEMORY;
    p->options = *options;
    p->reader = *options->reader;
    p->reader.self = record_url(options->record);
    p->source =
        (struct poll_source){ .reader = &p->reader,
                              .merge_implied = options->config->merge_implied,
                              .overlap_s =
                                  options->config->record_poll_overlap_s,
                              .now_ms = options->now_ms };
    e = poll_settings_read(options->config, &p->settings, why);
    if (e == ERR_OK)
        e = walk_open(&walk, &p->walk);
    if (e != ERR_OK) {
        free(p);
        return e;
    }
    add_feeds(p);
    uv_timer_init(options->loop, &p->timer);
    p->timer.data = p;
    if (options->config->record_poll_s > 0)
        poll_kick(p);
    *poll = p;
    return ERR_OK;
}

void poll_learn(struct poll *p, const struct fhir_record_says *says)
{
    for (size_t i = 0; i < p->feed_count; i++) {
        if (p->feeds[i].is_history &&
            fhir_record_can(says, RECORD_OBSERVATION, RECORD_HISTORY_TYPE) ==
                SAYS_NO)
            p->feeds[i].view.off = true;
    }
}

static void part_closed(void *arg)
{
    struct poll *p = arg;
    void (*closed)(void *) = p->on_closed;
    void *closed_arg = p->closed_arg;

    if (--p->open_parts > 0)
        return;
    free(p);
    closed(closed_arg);
}

static void timer_closed(uv_handle_t *handle)
{
    part_closed(handle->data);
}

void poll_close_if_done(struct poll *p)
{
    if (p->job_running)
        return;
    p->open_parts = 2;
    uv_close((uv_handle_t *)&p->timer, timer_closed);
    walk_close(p->walk, part_closed, p);
}

void poll_close(struct poll *p, void (*closed)(void *arg), void *arg)
{
    p->closing = true;
    p->on_closed = closed;
    p->closed_arg = arg;
    uv_timer_stop(&p->timer);
    poll_close_if_done(p);
}

void poll_look(const struct poll *p, struct poll_view *view)
{
    memset(view, 0, sizeof(*view));
    view->interval_s = p->options.config->record_poll_s;
    view->running = p->stage != POLL_IDLE;
    view->feed_count = p->feed_count;
    for (size_t i = 0; i < p->feed_count; i++)
        view->feeds[i] = p->feeds[i].view;
    view->by_id = p->total_by_id;
    view->by_id_absent = p->total_absent;
    memcpy(view->ends, p->ends, sizeof(p->ends));
}

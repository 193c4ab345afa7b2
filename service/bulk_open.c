/* Opening, closing and starting exports, and how they go. */
#include "service/bulk_work.h"
#include "service/log.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { HOUR_MS = 3600 * 1000 };

static const char *const words[] = {
    [BULK_NONE] = "none",          [BULK_ASKING] = "asking",
    [BULK_WAITING] = "waiting",    [BULK_READING] = "reading",
    [BULK_DONE] = "done",          [BULK_FAILED] = "failed",
    [BULK_CANCELLED] = "cancelled"
};

const char *bulk_word(enum bulk_state state)
{
    return (unsigned)state < COUNT(words) ? words[state] : "unknown";
}

/* Only names of types. */
static bool are_types(const char *types)
{
    return types[strspn(types, "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                               "abcdefghijklmnopqrstuvwxyz,")] == '\0' &&
           strlen(types) < 200;
}

enum err bulk_start(struct bulk *b, const char *group, const char *since,
                    const char *types)
{
    const struct config *c = b->options.config;

    if (!b->loaded)
        return ERR_STOPPED;
    if ((b->state != BULK_NONE && b->state < BULK_DONE) || b->step == B_JOB ||
        b->step == B_CALL)
        return ERR_CONFLICT;
    if (group == NULL || group[0] == '\0')
        group = c->record_bulk_group;
    if (types == NULL || types[0] == '\0')
        types = c->record_poll_types;
    if ((group[0] != '\0' && !fhir_is_id(group)) || !are_types(types) ||
        (since != NULL && since[0] != '\0' && strcmp(since, "all") != 0 &&
         (fhir_instant_ms(since) == INT64_MIN ||
          strlen(since) >= sizeof(b->since))))
        return ERR_FORM;
    uv_timer_stop(&b->timer);
    snprintf(b->since, sizeof(b->since), "%s", since != NULL ? since : "");
    snprintf(
        b->target, sizeof(b->target),
        "%s%s/$export?_type=%s&_outputFormat=application%%2Ffhir%%2Bndjson",
        group[0] != '\0' ? "/Group/" : "/Patient", group, types);
    b->file = 0;
    b->tries = b->unclear = 0;
    b->why = NULL;
    b->view = (struct bulk_view){ .began_ms = b->options.now_ms(),
                                  .done = b->view.done,
                                  .failed = b->view.failed,
                                  .why = "" };
    b->state = b->view.state = BULK_ASKING;
    bulk_job(b, bulk_run_begin, bulk_after_begin);
    return ERR_OK;
}

static void when_due(struct bulk *b)
{
    if (bulk_start(b, NULL, NULL, NULL) != ERR_OK)
        log_event(LOG_ERROR, "bulk.start", KEY_INT("row", b->row));
}

void bulk_schedule(struct bulk *b)
{
    int64_t every_ms =
        (int64_t)b->options.config->record_bulk_every_h * HOUR_MS;
    int64_t left_ms = b->view.began_ms + every_ms - b->options.now_ms();

    if (every_ms > 0)
        bulk_wait(b, left_ms, when_due);
}

/* ---- opening and closing ------------------------------------------------- */

/* An export that was under way goes on where it stood. */
static void on_loaded(struct bulk *b)
{
    b->loaded = true;
    b->view.state = b->state;
    b->view.file = b->file;
    if (b->job_err != ERR_OK) {
        b->state = b->view.state = BULK_NONE;
        log_event(LOG_ERROR, "bulk.load", KEY_ERR(b->job_err));
    } else if (b->state == BULK_ASKING) {
        bulk_ask(b);
    } else if (b->state == BULK_WAITING) {
        bulk_poll_status(b);
    } else if (b->state == BULK_READING) {
        bulk_read_manifest(b);
    } else {
        b->since[0] = '\0';
        buf_empty(&b->status_url);
        buf_empty(&b->manifest_text);
        bulk_schedule(b);
    }
}

enum err bulk_open(const struct bulk_options *options, struct bulk **bulk)
{
    struct bulk *b = calloc(1, sizeof(*b));

    if (b == NULL)
        return ERR_MEMORY;
    b->options = *options;
    b->reader = *options->reader;
    b->reader.self = record_url(options->record);
    buf_init(&b->status_url, 16384);
    buf_init(&b->manifest_text, BULK_MANIFEST_MAX);
    snprintf(b->path, sizeof(b->path), "%s.bulk", options->config->store_path);
    b->view.why = "";
    unlink(b->path); /* of a service that was killed */
    uv_timer_init(options->loop, &b->timer);
    b->timer.data = b;
    bulk_job(b, bulk_run_load, on_loaded);
    *bulk = b;
    return ERR_OK;
}

static void timer_closed(uv_handle_t *handle)
{
    struct bulk *b = handle->data;
    void (*closed)(void *) = b->on_closed;
    void *arg = b->closed_arg;

    buf_clear(&b->status_url);
    buf_clear(&b->manifest_text);
    fhir_manifest_clear(&b->manifest);
    free(b);
    closed(arg);
}

void bulk_close_if_done(struct bulk *b)
{
    if (b->step == B_JOB)
        return;
    bulk_drop_file(b);
    uv_close((uv_handle_t *)&b->timer, timer_closed);
}

void bulk_close(struct bulk *b, void (*closed)(void *arg), void *arg)
{
    b->closing = true;
    b->on_closed = closed;
    b->closed_arg = arg;
    if (b->call != NULL)
        record_call_cancel(b->call);
    b->call = NULL;
    uv_timer_stop(&b->timer);
    bulk_close_if_done(b);
}

void bulk_look(const struct bulk *b, struct bulk_view *view)
{
    *view = b->view;
}

void bulk_say(const struct bulk_view *v, struct buf *out)
{
    if (v->state == BULK_NONE) {
        buf_puts(out, "no export yet\n");
        return;
    }
    buf_printf(out,
               "export %s: %zu of %zu files, %llu lines read, %llu taken, "
               "%llu not taken\n",
               bulk_word(v->state), v->file, v->files,
               (unsigned long long)v->lines, (unsigned long long)v->stored,
               (unsigned long long)v->refused);
    if (v->errors > 0)
        buf_printf(out,
                   "the record says that it could not export everything "
                   "(%zu files of errors)\n",
                   v->errors);
    if (v->state == BULK_FAILED && v->why != NULL && v->why[0] != '\0')
        buf_printf(out, "it failed: %s\n", v->why);
}

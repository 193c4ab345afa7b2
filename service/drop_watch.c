/*
 * Notifications of the file system: a hint that there is something new, so
 * that it need not wait for the next look.  On network shares there are none,
 * and some get lost: looking finds what they miss.
 */
#include "service/drop_work.h"

#include <string.h>

enum { SOON_MS = 200 };

/* Not at once: a file has to settle first, and several come together. */
uint64_t drop_soon_ms(const struct drop *d)
{
    return (uint64_t)d->options.config->drop_settle_s * 1000 + SOON_MS;
}

static void on_event(uv_fs_event_t *event, const char *name, int events,
                     int status)
{
    struct drop_watch *watch = event->data;
    struct drop *d = watch->drop;
    (void)events;
    /* our own trial files begin with a dot */
    if (status != 0 || (name != NULL && drop_is_passed_over(name)))
        return;
    d->hinted = true;
    if (d->step == DROP_WAITING && d->pause_ms == 0 &&
        uv_timer_get_due_in(&d->timer) > drop_soon_ms(d))
        drop_wait(d, drop_soon_ms(d));
}

static void on_watch_closed(uv_handle_t *handle)
{
    struct drop_watch *watch = handle->data;
    struct drop *d = watch->drop;

    watch->state = WATCH_FREE;
    if (d->closing_handles > 0)
        drop_handle_closed(d);
}

static void end_watch(struct drop_watch *watch)
{
    watch->state = WATCH_CLOSING;
    uv_close((uv_handle_t *)&watch->event, on_watch_closed);
}

static bool is_watched(const struct drop *d, const char *name)
{
    for (size_t i = 0; i < DROP_FOLDERS_MAX; i++) {
        if (d->watches[i].state == WATCH_ON &&
            strcmp(d->watches[i].name, name) == 0)
            return true;
    }
    return false;
}

static bool is_folder(const struct drop *d, const char *name)
{
    for (size_t i = 0; i < d->folder_count; i++) {
        if (d->folders[i].usable && strcmp(d->folders[i].name, name) == 0)
            return true;
    }
    return false;
}

/* Where it cannot be watched, it is only looked into. */
static void begin_watch(struct drop *d, const char *name)
{
    char path[DROP_PATH_SIZE];
    struct drop_watch *watch = NULL;

    for (size_t i = 0; i < DROP_FOLDERS_MAX && watch == NULL; i++) {
        if (d->watches[i].state == WATCH_FREE)
            watch = &d->watches[i];
    }
    if (watch == NULL ||
        !drop_path(path, d->options.config->drop_folder, name, "", "") ||
        uv_fs_event_init(d->options.loop, &watch->event) != 0)
        return;
    watch->drop = d;
    watch->event.data = watch;
    watch->state = WATCH_ON;
    snprintf(watch->name, sizeof(watch->name), "%s", name);
    if (uv_fs_event_start(&watch->event, on_event, path, 0) != 0)
        end_watch(watch);
}

void drop_watch_all(struct drop *d)
{
    for (size_t i = 0; i < DROP_FOLDERS_MAX; i++) {
        if (d->watches[i].state == WATCH_ON &&
            !is_folder(d, d->watches[i].name))
            end_watch(&d->watches[i]);
    }
    for (size_t i = 0; i < d->folder_count; i++) {
        if (d->folders[i].usable && !is_watched(d, d->folders[i].name))
            begin_watch(d, d->folders[i].name);
    }
}

unsigned drop_watch_end(struct drop *d)
{
    unsigned open = 0;

    for (size_t i = 0; i < DROP_FOLDERS_MAX; i++) {
        if (d->watches[i].state == WATCH_ON)
            end_watch(&d->watches[i]);
        open += d->watches[i].state == WATCH_CLOSING ? 1 : 0;
    }
    return open;
}

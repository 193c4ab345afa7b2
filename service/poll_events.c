#include "service/poll_events.h"

#include "service/follow.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* "Observation/7" of a reference to this record; false: of something else. */
static bool read_focus(const char *base, const char *focus,
                       enum fhir_type *type, char id[FID_SIZE])
{
    size_t len = strlen(base);
    const char *slash;
    char name[24];

    if (strncmp(focus, base, len) == 0 && focus[len] == '/')
        focus += len + 1;
    slash = strchr(focus, '/');
    if (slash == NULL || (size_t)(slash - focus) >= sizeof(name))
        return false;
    snprintf(name, sizeof(name), "%.*s", (int)(slash - focus), focus);
    *type = fhir_type_named(name);
    snprintf(id, FID_SIZE, "%.*s", (int)strcspn(slash + 1, "/"), slash + 1);
    return *type != FHIR_OTHER && fhir_is_id(id);
}

/* Does the notification bring the resource itself? */
static bool has(const struct fhir_page *page, enum fhir_type type,
                const char *id)
{
    for (size_t i = 0; i < page->count; i++) {
        const struct fhir_page_entry *p = &page->entries[i];

        if (p->len > 0 && p->type == type && p->id != NULL &&
            strcmp(p->id, id) == 0)
            return true;
    }
    return false;
}

enum err poll_see_focuses(struct db *db, const struct fhir_page *page,
                          const struct fhir_notification *n, const char *base,
                          int64_t now_ms, bool *looks)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < n->count; i++) {
        char id[FID_SIZE];
        enum fhir_type type;
        bool marked = false;

        if (n->list[i].focus == NULL ||
            !read_focus(base, n->list[i].focus, &type, id) ||
            has(page, type, id))
            continue;
        e = type == FHIR_TASK
                ? follow_seen(db, NULL, id, NULL, INT64_MIN, now_ms, &marked)
                : poll_fetch_later(db, type, id, now_ms);
        *looks = *looks || marked;
    }
    return e;
}

void poll_events_target(const char *what, struct buf *out)
{
    int id = (int)strcspn(what, ":");
    const char *from = what[id] == ':' ? what + id + 1 : "";
    int from_len = (int)strcspn(from, ":");
    const char *to = from[from_len] == ':' ? from + from_len + 1 : "";

    buf_printf(out,
               "/Subscription/%.*s/$events?eventsSinceNumber=%.*s"
               "&eventsUntilNumber=%s",
               id, what, from_len, from, to);
}

static enum err take_events(struct db *db, const struct poll_source *source,
                            const struct fhir_page *read,
                            const struct fhir_notification *n,
                            const struct walk_page *page,
                            struct poll_taken *taken)
{
    struct poll_take take = { .page = read,
                              .body = page->body,
                              .reader = source->reader,
                              .merge_implied = source->merge_implied,
                              .source = TAKE_HOOK,
                              .now_ms = source->now_ms() };
    enum err e = poll_take(db, &take);

    if (e == ERR_OK)
        e = poll_see_focuses(db, read, n, source->reader->self, take.now_ms,
                             &taken->looks);
    taken->rows = (unsigned)n->count;
    taken->stored = take.stored;
    taken->refused = take.refused;
    taken->news = take.news;
    return e;
}

enum err poll_events_take(struct db *db, const struct poll_source *source,
                          const char *what, struct walk_page *page,
                          struct poll_taken *taken)
{
    struct fhir_notification *n = calloc(1, sizeof(*n));
    struct fhir_page read;
    enum err e;

    *taken = (struct poll_taken){ .server_ms = page->server_ms };
    if (n == NULL)
        return ERR_MEMORY;
    e = fhir_page_read(page->body, page->len, &read);
    if (e == ERR_OK) {
        e = fhir_notification_read(&read, n);
        if (e == ERR_OK)
            e = take_events(db, source, &read, n, page, taken);
        else
            e = ERR_FORM;
        fhir_page_clear(&read);
    }
    free(n);
    if (e == ERR_FORM || e == ERR_LIMIT) {
        page->verdict = WALK_NO_PAGE;
        return ERR_OK;
    }
    return e == ERR_OK ? db_run(db, Q_FETCH_DONE, "is", INT64(FHIR_OTHER), what)
                       : e;
}

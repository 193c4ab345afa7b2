#include "service/hook.h"

#include "adapters/fhir_notification.h"
#include "adapters/fhir_write.h"
#include "service/app.h"
#include "service/log.h"
#include "service/poll_events.h"
#include "service/poll_take.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SYSTEM_SIZE = CONFIG_TEXT_SIZE + 32 };

/* A call on its way. */
struct call {
    struct exchange x; /* first */
    struct fhir_page page;
    struct fhir_reader reader;              /* with the record's base */
    struct fhir_notification *notification; /* NULL: it is none */
    const char *body;
    char system[SYSTEM_SIZE]; /* of our Task keys */
    struct poll_take take;
    bool looks; /* Tasks are to be read */
    bool gap;
};

static void release(struct exchange *x)
{
    struct call *c = (struct call *)x;

    fhir_page_clear(&c->page);
    free(c->notification);
}

/* ---- store thread -------------------------------------------------------- */

static enum err see_task(struct db *db, struct call *c, const char *key,
                         const char *id, const char *version,
                         int64_t updated_ms)
{
    bool marked;
    enum err e =
        follow_seen(db, key, id, version, updated_ms, c->take.now_ms, &marked);

    c->looks = c->looks || marked;
    return e;
}

static enum err see_tasks(struct db *db, struct call *c)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < c->page.count; i++) {
        const struct fhir_page_entry *p = &c->page.entries[i];

        if (p->type == FHIR_TASK && p->id != NULL)
            e = see_task(db, c, fhir_page_identifier(&c->page, i, c->system),
                         p->id, p->version, p->updated_ms);
    }
    return e;
}

/* Which Subscription of the record it is; "" none of its. */
static void read_subscription(const struct call *c, char id[FID_SIZE])
{
    static const char type[] = "Subscription/";
    const char *at = c->notification->subscription;
    size_t len = strlen(c->reader.self);

    if (strncmp(at, c->reader.self, len) == 0 && at[len] == '/')
        at += len + 1;
    id[0] = '\0';
    if (strncmp(at, type, sizeof(type) - 1) == 0 &&
        fhir_is_id(at + sizeof(type) - 1))
        snprintf(id, FID_SIZE, "%s", at + sizeof(type) - 1);
}

/* Events that have not come are asked for; the poll that follows finds what
 * they were about in any case, if its type is polled. */
static enum err want_events(struct db *db, struct call *c, int64_t from)
{
    char id[FID_SIZE], what[FID_SIZE];

    read_subscription(c, id);
    if (id[0] == '\0' ||
        snprintf(what, sizeof(what), "%s:%lld:%lld", id, (long long)from,
                 (long long)c->notification->events) >= (int)sizeof(what))
        return ERR_OK;
    return poll_fetch_later(db, FHIR_OTHER, what, c->take.now_ms);
}

/* How many events there have been, and whether all of them have come. */
static enum err count_events(struct db *db, struct call *c)
{
    const struct fhir_notification *n = c->notification;
    const enum query q = Q_NOTICED_GET;
    int64_t known = -1, from;
    enum err e;

    if (n->subscription == NULL || strlen(n->subscription) > 200 ||
        n->events < 0)
        return ERR_OK;
    e = db_first(db, q, "s", n->subscription);
    if (e == ERR_OK) {
        known = db_int(db, q, 0);
        db_done(db, q);
    } else if (e != ERR_ABSENT) {
        return e;
    }
    from = fhir_notification_gap(n, known);
    c->gap = from >= 0;
    e = c->gap ? want_events(db, c, from) : ERR_OK;
    if (e != ERR_OK)
        return e;
    /* fewer than before: the Subscription has begun anew */
    if (n->events > known || n->type == NOTIFICATION_HANDSHAKE)
        return db_run(db, Q_NOTICED_PUT, "sii", n->subscription, n->events,
                      c->take.now_ms);
    return ERR_OK;
}

static enum err run(struct db *db, void *arg)
{
    struct call *c = arg;
    enum err e = poll_take(db, &c->take);

    if (e == ERR_OK)
        e = see_tasks(db, c);
    if (e == ERR_OK && c->notification != NULL)
        e = poll_see_focuses(db, &c->page, c->notification, c->reader.self,
                             c->take.now_ms, &c->looks);
    if (e == ERR_OK && c->notification != NULL)
        e = count_events(db, c);
    return e;
}

/* ---- loop ---------------------------------------------------------------- */

static void kick(struct service *s, bool looks)
{
    if (s->incoming != NULL)
        poll_side_kick(s->incoming);
    if (looks && s->outbox != NULL)
        outbox_kick(s->outbox);
}

static void answer(struct call *c)
{
    struct exchange *x = &c->x;

    if (c->take.refused > 0) {
        outcome_add(&x->outcome, SEV_WARNING, "bad-value", "",
                    "%u of what came could not be taken, and is noted",
                    c->take.refused);
        fhir_write_outcome(x->service->config.fhir_base, &x->outcome, NULL,
                           &x->body);
    }
    exchange_answer(x, 200, NULL, 0);
}

static void on_done(void *arg, enum err e)
{
    struct call *c = arg;
    struct service *s = c->x.service;

    if (e != ERR_OK) {
        exchange_failed(&c->x, e);
        return;
    }
    s->hooks.calls++;
    s->hooks.notifications += c->notification != NULL ? 1 : 0;
    s->hooks.gaps += c->gap ? 1 : 0;
    if (c->gap && c->notification != NULL)
        log_event(LOG_WARN, "hook.gap",
                  KEY_INT("events", c->notification->events));
    if (c->take.news)
        store_wake(s->store);
    kick(s, c->looks);
    answer(c);
}

static void submit(struct call *c)
{
    c->take.page = &c->page;
    c->take.body = c->body;
    c->take.reader = &c->reader;
    c->take.merge_implied = c->x.service->config.merge_implied;
    c->take.source = TAKE_HOOK;
    c->take.now_ms = clock_ms();
    c->x.job = (struct store_job){ .run = run, .done = on_done, .arg = c };
    exchange_submit(&c->x);
}

static void refuse(struct call *c, const char *word, const char *text)
{
    c->x.service->hooks.unreadable++;
    outcome_add(&c->x.outcome, SEV_ERROR, word, "", "%s", text);
    exchange_refuse(&c->x);
}

/* Is it what the path says? */
static bool agrees(const struct call *c, const char *type, const char *id)
{
    const struct fhir_page_entry *p = &c->page.entries[0];

    return type == NULL ||
           (c->page.kind == PAGE_RESOURCE && p->type_name != NULL &&
            strcmp(p->type_name, type) == 0 && p->id != NULL &&
            strcmp(p->id, id) == 0);
}

static enum err read_body(struct call *c, size_t len)
{
    enum err e = fhir_page_read(c->body, len, &c->page);

    if (e != ERR_OK)
        return e;
    c->notification = calloc(1, sizeof(*c->notification));
    if (c->notification == NULL)
        return ERR_MEMORY;
    e = fhir_notification_read(&c->page, c->notification);
    if (e == ERR_ABSENT) {
        free(c->notification);
        c->notification = NULL;
        e = ERR_OK;
    }
    return e;
}

void route_hook(struct service *s, struct http_request *r, const char *type,
                const char *id)
{
    struct call *c = (struct call *)exchange_new(s, r, sizeof(*c));
    size_t len;
    enum err e;

    if (c == NULL)
        return;
    c->x.release = release;
    c->body = http_body(r, &len);
    if (s->incoming == NULL) {
        refuse(c, "not-found", "No record is set (record.url)");
        return;
    }
    c->reader = s->reader;
    c->reader.self = record_url(s->side.record);
    c->reader.now_s = clock_ms() / 1000;
    snprintf(c->system, sizeof(c->system), "%s/NamingSystem/task-key",
             s->config.fhir_base);
    if (len == 0) {
        submit(c);
        return;
    }
    if (http_header(r, "Content-Type") != NULL &&
        !http_sends(r, "application/fhir+json") &&
        !http_sends(r, "application/json")) {
        refuse(c, "media-type", "Send application/fhir+json");
        return;
    }
    e = read_body(c, len);
    if (e == ERR_MEMORY)
        exchange_failed(&c->x, e);
    else if (e != ERR_OK)
        refuse(c, "bad-value",
               "This is neither a resource, nor a Bundle of them, nor a "
               "notification");
    else if (!agrees(c, type, id))
        refuse(c, "bad-value", "The body is not what the path names");
    else
        submit(c);
}

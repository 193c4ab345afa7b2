#include "service/app.h"

#include "adapters/fhir_write.h"
#include "service/episodes.h"
#include "service/resources.h"

#include <stdio.h>
#include <string.h>

/* A person changes a Task that is kept here. */
struct change {
    struct exchange x; /* first */
    struct fhir_doc *doc;
    char id[FID_SIZE];
    const char *body;
    size_t len;
    struct resource row;
    int64_t part; /* of its access */
};

static void release(struct exchange *x)
{
    fhir_doc_free(((struct change *)x)->doc);
}

/* If-Match, where it is sent, must name the newest version. */
static bool matches(struct change *c)
{
    const char *tag = http_header(c->x.request, "If-Match");
    char want[32];

    if (tag == NULL)
        return true;
    snprintf(want, sizeof(want), "W/\"%d\"", c->row.version);
    if (strcmp(tag, want) == 0 || strcmp(tag, want + 2) == 0)
        return true;
    outcome_add(&c->x.outcome, SEV_ERROR, "precondition", "Task",
                "The current version is %d", c->row.version);
    return false;
}

static enum err find_part(struct db *db, struct change *c)
{
    enum err e = db_first(db, Q_TASK_GET, "i", c->row.id);

    if (e == ERR_OK)
        c->part = partition_of(db_int(db, Q_TASK_GET, 1));
    db_done(db, Q_TASK_GET);
    return e;
}

static enum err follow(struct db *db, struct change *c)
{
    const struct service *s = c->x.service;
    struct fhir_task_view view;
    int64_t now_ms = clock_ms();
    enum err e = fhir_task_view(c->body, c->len, &view);

    if (e == ERR_OK)
        e = db_run(db, Q_TASK_STATUS, "iss", c->row.id, view.status,
                   view.priority);
    if (e == ERR_OK)
        e = episode_follow(db, c->row.id, view.status, now_ms / 1000);
    if (e == ERR_OK && s->review.record && !s->review.silent)
        e = db_run(db, Q_OUTBOX_WANT, "iiii", c->row.id, c->part,
                   INT64(c->row.version), now_ms);
    return e;
}

static enum err put_change(struct db *db, struct change *c)
{
    struct new_version v = { .body = c->body, .len = c->len };
    int64_t updated_ms;
    enum err e = resource_put(db, &c->row, NULL, c->part, clock_ms(), &v);

    if (e == ERR_OK)
        e = follow(db, c);
    if (e == ERR_OK)
        e = resource_served(db, c->x.service->config.fhir_base, &c->row, 0,
                            &c->x.body, &updated_ms);
    return e;
}

/* ERR_CONFLICT: refused, see the outcome. */
static enum err run_change(struct db *db, void *arg)
{
    struct change *c = arg;
    struct buf old;
    int64_t updated_ms;
    enum err e = resource_shown(db, FHIR_TASK, c->id, &c->row);

    if (e == ERR_ABSENT) {
        outcome_add(&c->x.outcome, SEV_ERROR, "not-found", "Task",
                    "This Task is not known here; Tasks are made by headgate");
        return ERR_CONFLICT;
    }
    if (e == ERR_OK && !matches(c))
        return ERR_CONFLICT;
    if (e == ERR_OK)
        e = find_part(db, c);
    buf_init(&old, TASK_MAX);
    if (e == ERR_OK)
        e = resource_body(db, &c->row, 0, &old, &updated_ms);
    if (e == ERR_OK)
        fhir_task_person_update(old.data, old.len, c->body, c->len,
                                &c->x.outcome);
    buf_clear(&old);
    if (e == ERR_OK && outcome_refuses(&c->x.outcome))
        return ERR_CONFLICT;
    return e == ERR_OK ? put_change(db, c) : e;
}

static void on_changed(void *arg, enum err e)
{
    struct change *c = arg;
    char etag[32];
    struct http_header_line line = { "ETag", etag };
    if (outcome_refuses(&c->x.outcome)) {
        exchange_refuse(&c->x);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&c->x, e);
        return;
    }
    c->x.service->counters.tasks_changed++;
    if (c->x.service->outbox != NULL)
        outbox_kick(c->x.service->outbox);
    snprintf(etag, sizeof(etag), "W/\"%d\"", c->row.version);
    exchange_answer(&c->x, 200, &line, 1);
}

static bool is_this_task(struct change *c, enum err read)
{
    struct fhir_item *item;

    if (read != ERR_OK)
        return false;
    item = fhir_doc_item(c->doc, 0);
    if (fhir_doc_bundle(c->doc) != BUNDLE_NONE || item->type != FHIR_TASK)
        outcome_add(&c->x.outcome, SEV_ERROR, "bad-value", "resourceType",
                    "The path asks for a Task");
    else if (outcome_refuses(&item->outcome))
        c->x.outcome = item->outcome;
    else if (item->id == NULL || strcmp(item->id, c->id) != 0)
        outcome_add(&c->x.outcome, SEV_ERROR, "bad-value", "Task.id",
                    "The id in the body must be that of the path");
    return !outcome_refuses(&c->x.outcome);
}

void route_task_update(struct service *s, struct http_request *r,
                       const char *id)
{
    struct change *c = (struct change *)exchange_new(s, r, sizeof(*c));
    struct fhir_reader reader = s->reader;
    enum err e;

    if (c == NULL)
        return;
    c->x.release = release;
    reader.now_s = clock_ms() / 1000;
    c->body = http_body(r, &c->len);
    if (c->len > TASK_TAKEN_MAX) {
        outcome_add(&c->x.outcome, SEV_ERROR, "too-long", "Task",
                    "A Task is taken up to %d bytes", TASK_TAKEN_MAX);
        exchange_refuse(&c->x);
        return;
    }
    snprintf(c->id, sizeof(c->id), "%s", id);
    e = fhir_read(&reader, c->body, c->len, &c->x.outcome, &c->doc);
    if (!is_this_task(c, e)) {
        if (c->x.outcome.status == 0)
            exchange_failed(&c->x, e);
        else
            exchange_refuse(&c->x);
        return;
    }
    c->x.job =
        (struct store_job){ .run = run_change, .done = on_changed, .arg = c };
    store_submit(s->store, &c->x.job);
}

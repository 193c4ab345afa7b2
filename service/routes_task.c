#include "service/app.h"

#include "adapters/fhir_served.h"
#include "adapters/fhir_write.h"
#include "service/task_change.h"

#include <stdio.h>
#include <string.h>

/* A person's PUT or PATCH of a Task. */
struct change {
    struct exchange x; /* first */
    struct task_change task;
    struct fhir_reader reader;
    struct buf self; /* our base, as the client calls it */
    char id[FID_SIZE];
    int64_t updated_ms;
};

static void release(struct exchange *x)
{
    buf_clear(&((struct change *)x)->self);
}

/* The body of the answer: the new Task, unless something else is preferred. */
static enum err write_answer(struct db *db, struct change *c)
{
    const struct http_request *r = c->x.request;

    c->updated_ms = c->task.row.updated_ms;
    if (http_prefers(r, "return", "minimal"))
        return ERR_OK;
    if (http_prefers(r, "return", "OperationOutcome")) {
        fhir_write_outcome(c->reader.base, &c->x.outcome, NULL, &c->x.body);
        return ERR_OK;
    }
    return resource_served(db, c->reader.base, &c->task.row, 0, &c->x.body,
                           &c->updated_ms);
}

static enum err run_change(struct db *db, void *arg)
{
    struct change *c = arg;
    enum err e = task_change(db, &c->task);

    return e == ERR_OK ? write_answer(db, c) : e;
}

static void on_changed(void *arg, enum err e)
{
    struct change *c = arg;
    char etag[32], location[1200], modified[64];
    struct http_header_line lines[] = { { "ETag", etag },
                                        { "Location", location },
                                        { "Last-Modified", modified } };

    if (outcome_refuses(&c->x.outcome)) {
        exchange_refuse(&c->x);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&c->x, e);
        return;
    }
    c->x.service->counters.tasks_changed++;
    store_wake(c->x.service->store); /* handed over, it may be escalated */
    if (c->x.service->outbox != NULL)
        outbox_kick(c->x.service->outbox);
    snprintf(etag, sizeof(etag), "W/\"%d\"", c->task.row.version);
    snprintf(location, sizeof(location), "%s/Task/%s/_history/%d", c->self.data,
             c->id, c->task.row.version);
    http_date_write(c->updated_ms / 1000, modified, sizeof(modified));
    exchange_answer(&c->x, 200, lines, COUNT(lines));
}

/* RFC 5789, 2.2 and 3.1: who sends another kind of patch is told which one is
 * taken. */
static void refuse_patch(struct change *c)
{
    static const struct http_header_line accept = { "Accept-Patch",
                                                    FHIR_JSON_PATCH };

    outcome_add(&c->x.outcome, SEV_ERROR, "media-type", "",
                "Send a patch as " FHIR_JSON_PATCH);
    fhir_write_outcome(c->reader.base, &c->x.outcome, NULL, &c->x.body);
    exchange_answer(&c->x, 415, &accept, 1);
}

void route_task_update(struct service *s, struct http_request *r,
                       const char *id, bool patch)
{
    struct change *c = (struct change *)exchange_new(s, r, sizeof(*c));

    if (c == NULL)
        return;
    c->x.release = release;
    buf_init(&c->self, 1024);
    exchange_base(&c->x, &c->self);
    snprintf(c->id, sizeof(c->id), "%s", id);
    c->reader = s->reader;
    c->reader.now_s = clock_ms() / 1000;
    c->reader.self = c->self.data;
    if (patch && !http_sends(r, FHIR_JSON_PATCH)) {
        refuse_patch(c);
        return;
    }
    c->task = (struct task_change){
        .id = c->id,
        .if_match = http_header(r, "If-Match"),
        .if_none_match = http_header(r, "If-None-Match"),
        .patch = patch,
        .reader = &c->reader,
        .must_match = s->config.fhir_task_if_match,
        .deliver = s->review.record && !s->review.silent,
        .now_ms = clock_ms(),
        .outcome = &c->x.outcome,
    };
    c->task.body = http_body(r, &c->task.len);
    c->x.job =
        (struct store_job){ .run = run_change, .done = on_changed, .arg = c };
    exchange_submit(&c->x);
}

/* What is old goes, on a person's word. */
#include "service/db_copy.h"
#include "service/log.h"
#include "service/report.h"
#include "service/store_prune.h"

#include <stdlib.h>
#include <string.h>

struct prune_request {
    struct exchange *x;
    struct prune prune;
    struct store_job job;
    int64_t free_bytes;
};

static enum err run(struct db *db, void *arg)
{
    struct prune_request *p = arg;
    enum err e = store_prune(db, &p->prune);

    return e == ERR_OK ? db_free_bytes(db, &p->free_bytes) : e;
}

/* Who asked for it is on record with the first piece. */
static enum err keep(struct db *db, void *arg, enum err came_to)
{
    struct prune_request *p = arg;
    enum err e = audit_request_keep(db, p->x, came_to);

    p->job.keep = NULL;
    return e;
}

static void done(void *arg, enum err e)
{
    struct prune_request *p = arg;
    struct exchange *x = p->x;
    struct service *s = x->service;

    if (e == ERR_OK && p->prune.more && !s->stopping) {
        store_submit(s->store, &p->job);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(x, e);
    } else {
        store_prune_say(&p->prune, p->free_bytes, &x->body);
        if (p->prune.yes)
            log_event(
                LOG_INFO, "store.prune",
                KEY_INT("readings", p->prune.counts[PRUNE_PART_READINGS]));
        exchange_reply(x, 200, NULL, 0, TEXT_TYPE, x->body.data, x->body.len);
        exchange_free(x);
    }
    free(p);
}

void route_prune(struct exchange *x)
{
    struct prune_request *p = calloc(1, sizeof(*p));
    const struct service *s = x->service;

    if (p == NULL) {
        exchange_failed(x, ERR_MEMORY);
        return;
    }
    p->x = x;
    p->prune = (struct prune){ .config = &s->config,
                               /* of the store thread, where it is read */
                               .policy = &s->work_policy,
                               .now_ms = clock_ms(),
                               .yes = http_query(x->request, "yes") != NULL };
    audit_request_act(&x->audit, "store", "prune");
    p->job =
        (struct store_job){ .run = run, .done = done, .keep = keep, .arg = p };
    store_submit(x->service->store, &p->job);
}

#include "service/planning.h"

#include "service/technique_store.h"

#include <stdlib.h>

struct planning {
    struct plan_work *work; /* NULL until the first plan */
    struct prior site;      /* of the last plan that used it */
};

enum err planning_open(struct planning **planning)
{
    *planning = calloc(1, sizeof(**planning));
    return *planning != NULL ? ERR_OK : ERR_MEMORY;
}

void planning_close(struct planning *planning)
{
    if (planning == NULL)
        return;
    free(planning->work);
    free(planning);
}

static enum err get_ready(struct planning *planning)
{
    if (planning->work != NULL)
        return ERR_OK;
    planning->work = malloc(plan_work_size());
    if (planning->work == NULL)
        return ERR_MEMORY;
    plan_work_init(planning->work);
    return ERR_OK;
}

enum err planning_work(struct planning *planning, struct plan_work **work)
{
    enum err e = get_ready(planning);

    *work = planning->work;
    return e;
}

enum err planning_ask(struct db *db, const struct review *review,
                      const struct look *look, const struct plan_wish *wish,
                      struct prior *site, struct planned *out)
{
    struct readiness readiness;
    enum err e;

    readiness_assess(&look->history, review->policy, &look->findings,
                     &readiness);
    plan_from(&look->history, review->policy, &readiness, wish, &out->from);
    out->offered = false;
    out->fault = (struct plan_fault){ "", "" };
    e = technique_plan_prior(db, wish != NULL ? wish->prior : NULL,
                             out->from.in.graft, site, &out->from.in.prior);
    if (e != ERR_OK)
        return e;
    /* who is on the table is not dead, whatever the record says */
    if (look->patient.deceased && out->from.case_s == INT64_MIN &&
        !out->from.in.on_table)
        out->from.offer = PLAN_DECEASED;
    if (out->from.offer == PLAN_OFFERED &&
        plan_check(&out->from.in, &out->fault) != ERR_OK)
        out->from.offer = PLAN_UNFIT;
    return ERR_OK;
}

enum err planning_answer(struct planning *planning, struct planned *planned)
{
    enum err e;

    if (planned->from.offer != PLAN_OFFERED)
        return ERR_OK;
    e = get_ready(planning);
    if (e == ERR_OK)
        e = plan_make(&planned->from.in, planning->work, &planned->plan);
    planned->offered = e == ERR_OK;
    return e;
}

enum err planning_make(struct planning *planning, struct db *db,
                       const struct review *review, const struct look *look,
                       const struct plan_wish *wish, struct planned *out)
{
    enum err e = planning_ask(db, review, look, wish, &planning->site, out);

    return e == ERR_OK ? planning_answer(planning, out) : e;
}

#include "service/foresee.h"

#include "planner/rules_predicted.h"
#include "service/episodes.h"
#include "service/planning.h"
#include "service/technique_store.h"

/* Is it put to people, as far as this episode goes? */
static bool is_said(const struct episode *e)
{
    return (e->state == EPISODE_OPEN || e->state == EPISODE_TAKEN) &&
           (e->rules & (1u << RULE_IS_8)) != 0;
}

enum err foresee(struct db *db, const struct review *review, struct look *look)
{
    struct episode flow, hand;
    bool graft = look->history.access_type == SIGN_TYPE_AVG;
    const struct prior *prior;
    struct plan_work *work;
    struct prior site;
    int64_t task;
    enum err e;

    if (review->planning == NULL ||
        !rules_may_predict(&look->history, review->policy))
        return ERR_OK;
    e = episode_load(db, look->access.id, GROUP_FLOW, &flow, &task);
    if (e == ERR_OK)
        e = episode_load(db, look->access.id, GROUP_HAND, &hand, &task);
    if (e == ERR_OK)
        e = planning_work(review->planning, &work);
    if (e == ERR_OK)
        e = technique_plan_prior(db, NULL, graft, &site, &prior);
    if (e != ERR_OK)
        return e;
    rules_predict(&look->history, review->policy,
                  is_said(&flow) || is_said(&hand), prior, work,
                  &look->findings);
    rules_join_flow(&look->findings, &flow, &hand);
    return ERR_OK;
}

#include "service/task_plan.h"

#include "adapters/wording.h"

#include <stdlib.h>

bool task_plan_may_be(const struct review *review, const struct look *look)
{
    return review->planning != NULL && !review->no_plans &&
           look->access.active && look->access.merged == 0;
}

struct plan_document task_plan_document(const struct task_plan *t,
                                        const struct review *review,
                                        const struct look *look)
{
    const struct planned *p = &t->planned;

    return (struct plan_document){ .from = &p->from,
                                   .plan = p->offered ? &p->plan : NULL,
                                   .history = &look->history,
                                   .policy = review->policy,
                                   .zone = review->zone };
}

static struct planning_paper paper_of(const struct task_plan *t,
                                      const struct review *review,
                                      const struct look *look)
{
    return (struct planning_paper){ .policy = review->policy,
                                    .zone = review->zone,
                                    .look = look,
                                    .planned = &t->planned,
                                    .names = &t->names };
}

/* ---- loading ------------------------------------------------------------------ */

/* Tissue loss, an acute hand, new weakness: what the Task says then is that no
 * band is to be planned from it.  A case that goes on has its plan. */
static bool is_emergency(const struct task_plan *t,
                         const struct findings *findings)
{
    if (t->planned.from.case_s != INT64_MIN)
        return false;
    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        if (rule_info(f->rule)->group == GROUP_HAND && f->confirmed &&
            !f->historic && f->urgency == URGENCY_IMMEDIATE)
            return true;
    }
    return false;
}

enum err task_plan_load(struct db *db, const struct review *review,
                        const struct look *look, struct task_plan **out)
{
    struct task_plan *t = *out = calloc(1, sizeof(*t));
    enum err e;

    if (t == NULL)
        return ERR_MEMORY;
    buf_init(&t->json, PLAN_DOCUMENT_MAX);
    buf_init(&t->words, WORDING_SIZE_MAX);
    buf_init(&t->text, PLAN_DOCUMENT_MAX);
    buf_init(&t->sheet, WORKSHEET_MAX);
    e = planning_ask(db, review, look, NULL, &t->site, &t->planned);
    if (e != ERR_OK)
        return e;
    t->emergency = is_emergency(t, &look->findings);
    if (t->emergency || t->planned.from.offer != PLAN_OFFERED)
        return ERR_OK;
    e = planning_names_load(db, look, &t->planned, true, &t->names);
    t->has_names = e == ERR_OK;
    return e;
}

void task_plan_free(struct task_plan *t)
{
    if (t == NULL)
        return;
    if (t->has_names)
        planning_names_clear(&t->names);
    buf_clear(&t->json);
    buf_clear(&t->words);
    buf_clear(&t->text);
    buf_clear(&t->sheet);
    free(t);
}

/* ---- making ------------------------------------------------------------------- */

/* A band is never proposed by itself where the finger stays short of blood with
 * the access pressed shut. */
static bool is_for_task(const struct planned *p)
{
    return p->offered && (p->plan.warnings & PLAN_DISTAL) == 0;
}

static enum err write_plan(struct task_plan *t, const struct review *review,
                           const struct look *look)
{
    struct planning_paper paper = paper_of(t, review, look);
    struct plan_document d = task_plan_document(t, review, look);
    enum err e = planning_json(&paper, &t->json);

    if (e != ERR_OK)
        return e;
    wording_plan_attached(&d, &t->words);
    t->fhir = (struct fhir_plan){ .json = t->json.data,
                                  .len = t->json.len,
                                  .title = t->planned.from.in.stage_count > 0
                                               ? "Band plan of the running case"
                                               : "Band plan, provisional",
                                  .created_ms = look->now_ms };
    return buf_ok(&t->words);
}

bool task_plan_is_work(const struct task_plan *t)
{
    return t->has_names;
}

enum err task_plan_make(struct task_plan *t, const struct review *review,
                        const struct look *look, struct planning *planning)
{
    enum err e;

    if (t->made || !task_plan_is_work(t))
        return ERR_OK;
    e = planning_answer(planning, &t->planned);
    t->offered = e == ERR_OK && is_for_task(&t->planned);
    if (t->offered)
        e = write_plan(t, review, look);
    t->made = e == ERR_OK;
    return e;
}

enum err task_plan_pages(struct task_plan *t, const struct review *review,
                         const struct look *look)
{
    struct planning_paper paper = paper_of(t, review, look);
    struct planning_page page = { .form = CANVAS_PDF,
                                  .paper = review->companions.paper,
                                  .made_s = look->now_ms / 1000 };
    enum err e;

    if (t->has_pages)
        return ERR_OK;
    e = planning_text(&paper, &t->text);
    if (e == ERR_OK && review->companions.worksheets)
        e = planning_sheet(&paper, &page, &t->sheet);
    t->has_pages = e == ERR_OK;
    return e;
}

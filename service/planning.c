#include "service/planning.h"

#include "adapters/queue_text.h"
#include "service/names.h"
#include "service/resources.h"
#include "service/suggest.h"
#include "service/technique_store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct planning {
    struct plan_work *work; /* NULL until the first plan */
    struct prior site;      /* of the last plan that used it */
};

enum { REFERENCE_SIZE = FID_SIZE + 24, LABEL_MAX = 4096 };

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

enum err planning_make(struct planning *planning, struct db *db,
                       const struct review *review, const struct look *look,
                       const struct plan_wish *wish, struct planned *out)
{
    struct readiness readiness;
    enum err e;

    readiness_assess(&look->history, review->policy, &look->findings,
                     &readiness);
    plan_from(&look->history, review->policy, &readiness, wish, &out->from);
    out->offered = false;
    out->fault = (struct plan_fault){ "", "" };
    e = technique_plan_prior(db, wish != NULL ? wish->prior : NULL,
                             out->from.in.graft, &planning->site,
                             &out->from.in.prior);
    if (e != ERR_OK)
        return e;
    if (out->from.offer != PLAN_OFFERED)
        return ERR_OK;
    if (plan_check(&out->from.in, &out->fault) != ERR_OK) {
        out->from.offer = PLAN_UNFIT;
        return ERR_OK;
    }
    e = get_ready(planning);
    if (e == ERR_OK)
        e = plan_make(&out->from.in, planning->work, &out->plan);
    out->offered = e == ERR_OK;
    return e;
}

enum err planning_of_look(struct planning *planning, struct db *db,
                          const struct review *review, const struct look *look,
                          struct planned *out)
{
    return planning_make(planning, db, review, look, NULL, out);
}

/* ---- documents ---------------------------------------------------------------- */

static struct plan_document document_of(const struct review *review,
                                        const struct look *look,
                                        const struct planned *planned)
{
    return (struct plan_document){
        .from = &planned->from,
        .plan = planned->offered ? &planned->plan : NULL,
        .fault = planned->from.offer == PLAN_UNFIT ? &planned->fault : NULL,
        .history = &look->history,
        .policy = review->policy,
        .zone = review->zone,
    };
}

/* What the store calls the readings, as the Task's triggers are called. */
static enum err name_readings(struct db *db, const struct look *look,
                              const struct plan_from *from,
                              char (*texts)[REFERENCE_SIZE],
                              const char **references)
{
    for (size_t i = 0; i < from->ground_count; i++) {
        const struct reading *r =
            &look->history.readings[from->grounds[i].reading];
        struct resource row;
        enum err e = resource_get(db, r->id, &row);

        if (e != ERR_OK)
            return e;
        snprintf(texts[i], REFERENCE_SIZE, "Observation/%s", row.fid);
        references[i] = texts[i];
    }
    return ERR_OK;
}

enum err planning_json(struct db *db, const struct review *review,
                       const struct look *look, const struct planned *planned,
                       bool refer, struct buf *out)
{
    struct plan_document d = document_of(review, look, planned);
    const char *references[PLAN_GROUNDS_MAX];
    char(*texts)[REFERENCE_SIZE] = NULL;
    struct buf label;
    enum err e = ERR_OK;

    if (refer) {
        texts = calloc(PLAN_GROUNDS_MAX, sizeof(*texts));
        if (texts == NULL)
            return ERR_MEMORY;
        e = name_readings(db, look, &planned->from, texts, references);
        d.references = references;
    }
    buf_init(&label, LABEL_MAX);
    queue_text_clean(&label, access_name(&look->access));
    d.access = label.data;
    if (e == ERR_OK)
        plan_json(&d, out);
    buf_clear(&label);
    free(texts);
    return e == ERR_OK ? buf_ok(out) : e;
}

/* "Fictional, Wren (1001)" */
static enum err name_patient(struct db *db, const struct look *look,
                             struct buf *out)
{
    enum err e = db_first(db, Q_PATIENT_NUMBER, "i", look->patient.id);

    if (e != ERR_OK)
        return e;
    queue_text_clean(out, look->patient.name);
    if (out->len == 0)
        buf_puts(out, "name not known");
    buf_puts(out, " (");
    queue_text_clean(out, short_anchor(db_text(db, Q_PATIENT_NUMBER, 0)));
    buf_puts(out, ")");
    db_done(db, Q_PATIENT_NUMBER);
    return buf_ok(out);
}

enum err planning_text(struct db *db, const struct review *review,
                       const struct look *look, const struct planned *planned,
                       struct buf *out)
{
    struct plan_document d = document_of(review, look, planned);
    struct buf label, patient;
    enum err e;

    buf_init(&label, LABEL_MAX);
    buf_init(&patient, LABEL_MAX);
    queue_text_clean(&label, access_name(&look->access));
    e = name_patient(db, look, &patient);
    d.access = label.data;
    d.patient = patient.data;
    if (e == ERR_OK)
        plan_text(&d, out);
    buf_clear(&label);
    buf_clear(&patient);
    return e == ERR_OK ? buf_ok(out) : e;
}

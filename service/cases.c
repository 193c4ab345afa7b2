/* A line of a case becomes Observations, and these go into the store. */
#include "service/cases_work.h"

#include "adapters/case_write.h"
#include "adapters/catalogue.h"
#include "service/deceased.h"
#include "service/draft.h"
#include "service/explain.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum err case_refuse(struct case_call *call, int status, const char *text)
{
    call->status = status;
    buf_empty(&call->text);
    buf_printf(&call->text, "%s\n", text);
    return ERR_CONFLICT;
}

/* ---- into the store --------------------------------------------------------- */

/* What the intake said of the first that it refused. */
static void say_refusal(struct case_call *call, struct fhir_doc *doc,
                        const struct intake *in)
{
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct outcome *o = &fhir_doc_item(doc, i)->outcome;

        if (in->results[i].status < 400 || o->count == 0)
            continue;
        case_refuse(call, in->results[i].status, o->issues[0].text);
        return;
    }
    case_refuse(call, 422, _("this cannot be taken"));
}

/* What was kept and is not used would be missing in the plan unseen. */
static bool is_used(struct fhir_doc *doc)
{
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct outcome *o = &fhir_doc_item(doc, i)->outcome;

        for (size_t k = 0; k < o->count; k++) {
            if (strcmp(o->issues[k].word, "held") == 0)
                return false;
        }
    }
    return true;
}

static enum err apply(struct db *db, struct case_call *call,
                      struct fhir_doc *doc, const struct buf *body)
{
    struct intake in = { .doc = doc,
                         .reader = call->reader,
                         .body = body->data,
                         .len = body->len,
                         .source = SOURCE_HTTP,
                         .merge_implied = call->merge_implied,
                         .now_ms = call->now_ms,
                         .sender = "case",
                         .way = QUARANTINE_HTTP };
    enum err e;

    in.results = calloc(fhir_doc_count(doc) + 1, sizeof(*in.results));
    if (in.results == NULL)
        return ERR_MEMORY;
    e = intake_apply(db, &in);
    if (in.all_failed)
        say_refusal(call, doc, &in);
    else if (e == ERR_OK && !is_used(doc))
        e = case_refuse(
            call, 422,
            _("this value would be kept and not used; look at it again "
              "and at the access"));
    call->news = in.news;
    free(in.results);
    return e;
}

enum err case_take(struct db *db, struct case_call *call,
                   const struct buf *body)
{
    struct outcome outcome = { .count = 0 };
    struct fhir_doc *doc = NULL;
    enum err e;

    if (buf_ok(body) != ERR_OK)
        return buf_ok(body);
    e = fhir_read(call->reader, body->data, body->len, &outcome, &doc);
    if (e == ERR_OK)
        e = apply(db, call, doc, body);
    else if (outcome.count > 0)
        e = case_refuse(call, 422, outcome.issues[0].text);
    fhir_doc_free(doc);
    return e;
}

/* ---- a line ------------------------------------------------------------------- */

static enum err write_line(struct db *db, struct case_call *call,
                           const struct look *look, struct buf *body)
{
    const struct access *a = &look->access;
    const struct patient *p = &look->patient;
    char patient[ALIAS_SIZE], access[ALIAS_SIZE], number[FID_SIZE];
    struct case_statement s = { .base = call->review->base,
                                .number = number,
                                .by = call->by,
                                .method = call->method };
    enum err e = case_place(call, look, &s.at_s);

    new_fid(number);
    if (e == ERR_OK)
        e = draft_refer(db, "Patient", p->resource, p->anchor,
                        p->anchor_is_literal, patient, &s.patient);
    if (e == ERR_OK)
        e = draft_refer(db, "BodyStructure", a->resource, a->anchor,
                        a->anchor_is_literal, access, &s.access);
    if (e == ERR_OK)
        case_write(&s, &call->line, body);
    return e;
}

static enum err state(struct db *db, struct case_call *call,
                      const struct look *look)
{
    struct buf body;
    enum err e = case_method(call, look);

    if (e != ERR_OK)
        return e;
    buf_init(&body, CASE_BUNDLE_MAX);
    e = write_line(db, call, look, &body);
    if (e == ERR_OK)
        e = case_take(db, call, &body);
    buf_clear(&body);
    return e;
}

enum err case_refuse_dead(struct case_call *call, const struct look *look)
{
    char why[DECEASED_TEXT_SIZE], text[2 * DECEASED_TEXT_SIZE];

    if (!look->patient.deceased)
        return ERR_OK;
    deceased_say(&look->patient, why);
    /* TRANSLATORS: %s: "recorded as deceased since 2026-11-20; if that ..." */
    snprintf(text, sizeof(text),
             _("this patient is %s. Is that right? No procedure can be typed "
               "in before."),
             why);
    return case_refuse(call, 409, text);
}

/* Who is on the table is not dead, whatever is recorded meanwhile: what was
 * begun can be typed to its end. */
static enum err refuse_unless_running(struct db *db, struct case_call *call,
                                      const struct look *look)
{
    const enum query q = Q_CASE_ENTRIES;
    int hours = policy_count(call->review->policy, P_PLAN_CASE_H);
    char system[CASE_SYSTEM_SIZE];
    bool running;
    enum err e;

    snprintf(system, sizeof(system), "%s%s", call->review->base, CASE_SYSTEM);
    e = db_first(db, q, "siii", system, look->access.id, look->patient.id,
                 call->now_ms / 1000 - (int64_t)hours * HOUR_S);
    running = e == ERR_OK;
    db_done(db, q);
    if (e != ERR_OK && e != ERR_ABSENT)
        return e;
    return running ? ERR_OK : case_refuse_dead(call, look);
}

enum err case_call(struct db *db, struct case_call *call)
{
    struct look look;
    int64_t access;
    enum err e =
        explain_find(db, call->access, &call->status, &access, &call->text);

    if (e != ERR_OK || call->status != 200)
        return e;
    e = look_at(db, call->review, access, &look);
    if (e != ERR_OK)
        return e;
    if (call->verb == CASE_STATE && look.patient.deceased)
        e = refuse_unless_running(db, call, &look);
    if (e == ERR_OK)
        e = call->verb == CASE_STATE ? state(db, call, &look)
                                     : case_typed(db, call, &look);
    look_clear(&look);
    return e;
}

#include "service/planning.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_member.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "adapters/wording.h"
#include "service/deceased.h"
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
    /* who is on the table is not dead, whatever the record says */
    if (look->patient.deceased && out->from.case_s == INT64_MIN &&
        !out->from.in.on_table)
        out->from.offer = PLAN_DECEASED;
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

/* Before all else: is it right that a plan is asked for? */
static void say_death(const struct look *look, struct buf *out)
{
    char why[DECEASED_TEXT_SIZE], text[2 * DECEASED_TEXT_SIZE];

    deceased_say(&look->patient, why);
    if (why[0] == '\0')
        return;
    /* TRANSLATORS: %s: "recorded as deceased since 2026-11-20; if that is ..."
     */
    snprintf(text, sizeof(text), _("THE PATIENT IS %s.\n\n"), why);
    queue_page_wrap(text, strlen(text), PLAN_TEXT_COLUMNS, out);
}

/* For people: with their names. */
static enum err write_text(struct db *db, const struct review *review,
                           const struct look *look,
                           const struct planned *planned,
                           void (*write)(const struct plan_document *d,
                                         struct buf *out),
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
        say_death(look, out);
    if (e == ERR_OK)
        write(&d, out);
    buf_clear(&label);
    buf_clear(&patient);
    return e == ERR_OK ? buf_ok(out) : e;
}

enum err planning_text(struct db *db, const struct review *review,
                       const struct look *look, const struct planned *planned,
                       struct buf *out)
{
    return write_text(db, review, look, planned, plan_text, out);
}

/* What a mistyped line, or one in the wrong place, can bring about. */
static bool may_be_mistyped(enum plan_offer offer)
{
    switch ((int)offer) {
    case PLAN_NO_FLOW:
    case PLAN_FLOW_UNFIT:
    case PLAN_ORDER:
    case PLAN_SIZE:
    case PLAN_STAGES_FULL:
    case PLAN_UNFIT:
        return true;
    default:
        return false;
    }
}

void planning_way_out(struct buf *out)
{
    const char *text = _("If a line was mistyped or stands in the wrong order: "
                         "list shows the lines, undo takes one back.\n");

    queue_page_wrap(text, strlen(text), PLAN_TEXT_COLUMNS, out);
}

enum err planning_case(struct db *db, const struct review *review,
                       const struct look *look, const struct planned *planned,
                       struct buf *out)
{
    enum err e = write_text(db, review, look, planned, plan_text_case, out);

    if (e == ERR_OK && !planned->offered &&
        may_be_mistyped(planned->from.offer))
        planning_way_out(out);
    return e == ERR_OK ? buf_ok(out) : e;
}

/* ---- the page ------------------------------------------------------------------ */

/* What was seen, of the suggestion that leads; nothing where none holds. */
static void say_seen(const struct review *review, const struct look *look,
                     bool under_way, struct buf *out)
{
    const struct finding *lead = NULL;
    struct wording w = { .history = &look->history,
                         .policy = review->policy,
                         .findings = &look->findings,
                         .zone = review->zone };

    for (size_t i = 0; i < look->findings.count; i++) {
        const struct finding *f = &look->findings.list[i];

        if (f->confirmed && !f->historic &&
            (lead == NULL || f->urgency > lead->urgency))
            lead = f;
    }
    if (lead == NULL && under_way)
        buf_puts(out, _("a procedure is under way; what led to it stands in "
                        "the Task"));
    if (lead == NULL)
        return;
    w.group = finding_group(lead);
    wording_headline(&w, out);
}

/* The texts of a page; to be cleared. */
struct page_texts {
    struct buf access, name, number, unit, seen;
    char born[FHIR_TIME_SIZE];
};

/* As it was sent: perhaps a year alone. */
static enum err read_born(struct db *db, int64_t patient,
                          char born[FHIR_TIME_SIZE])
{
    struct resource row;
    struct buf body;
    int64_t updated_ms;
    enum err e;

    if (patient == 0)
        return ERR_OK;
    buf_init(&body, BODY_MAX);
    e = resource_get(db, patient, &row);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &body, &updated_ms);
    if (e == ERR_OK && fhir_member_text(body.data, body.len, "birthDate", born,
                                        FHIR_TIME_SIZE) != ERR_OK)
        born[0] = '\0';
    buf_clear(&body);
    return e;
}

static enum err read_texts(struct db *db, const struct review *review,
                           const struct look *look, bool under_way,
                           struct page_texts *t)
{
    char death[DECEASED_TEXT_SIZE];
    enum err e = db_first(db, Q_PATIENT_NUMBER, "i", look->patient.id);

    if (e != ERR_OK)
        return e;
    queue_text_clean(&t->number,
                     short_anchor(db_text(db, Q_PATIENT_NUMBER, 0)));
    db_done(db, Q_PATIENT_NUMBER);
    queue_text_clean(&t->access, access_name(&look->access));
    queue_text_clean(&t->name, look->patient.name);
    queue_text_clean(&t->unit, look->patient.unit);
    e = read_born(db, look->patient.resource, t->born);
    if (e != ERR_OK)
        return e;
    deceased_say(&look->patient, death);
    buf_puts(&t->seen, death);
    buf_puts(&t->seen, death[0] != '\0' ? "; " : "");
    say_seen(review, look, under_way, &t->seen);
    return buf_ok(&t->seen);
}

static enum err draw(const struct plan_document *d, const struct look *look,
                     const struct page_texts *t,
                     const struct planning_page *page, struct buf *out)
{
    struct worksheet sheet = { .plan = d,
                               .findings = &look->findings,
                               .patient_name = t->name.data,
                               .patient_number = t->number.data,
                               .born = t->born,
                               .unit = t->unit.data,
                               .access = t->access.data,
                               .seen = t->seen.data,
                               .made_s = page->made_s,
                               .paper = page->paper };

    return worksheet_draw(&sheet, page->form, out);
}

enum err planning_sheet(struct db *db, const struct review *review,
                        const struct look *look, const struct planned *planned,
                        const struct planning_page *page, struct buf *out)
{
    struct plan_document d = document_of(review, look, planned);
    struct page_texts t = { .born = "" };
    struct buf *texts[] = { &t.access, &t.name, &t.number, &t.unit, &t.seen };
    enum err e;

    for (size_t i = 0; i < COUNT(texts); i++)
        buf_init(texts[i], LABEL_MAX);
    e = read_texts(db, review, look, planned->from.case_s != INT64_MIN, &t);
    d.access = t.access.data;
    if (e == ERR_OK)
        e = draw(&d, look, &t, page, out);
    for (size_t i = 0; i < COUNT(texts); i++)
        buf_clear(texts[i]);
    return e;
}

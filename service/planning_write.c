/* The documents of a plan: JSON, text, page. */
#include "service/planning.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_member.h"
#include "adapters/queue_text.h"
#include "adapters/wording.h"
#include "service/deceased.h"
#include "service/names.h"
#include "service/resources.h"
#include "service/suggest.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LABEL_MAX = 4096 };

/* ---- names --------------------------------------------------------------------- */

/* What the store calls the readings, as the Task's triggers are called. */
static enum err name_readings(struct db *db, const struct look *look,
                              const struct plan_from *from,
                              struct planning_names *n)
{
    n->references = calloc(PLAN_GROUNDS_MAX, sizeof(*n->references));
    if (n->references == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < from->ground_count; i++) {
        const struct reading *r =
            &look->history.readings[from->grounds[i].reading];
        struct resource row;
        enum err e = resource_get(db, r->id, &row);

        if (e != ERR_OK)
            return e;
        snprintf(n->references[i], sizeof(n->references[i]), "Observation/%s",
                 row.fid);
    }
    return ERR_OK;
}

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

static enum err name_patient(struct db *db, const struct look *look,
                             struct planning_names *n)
{
    enum err e = db_first(db, Q_PATIENT_NUMBER, "i", look->patient.id);

    if (e != ERR_OK)
        return e;
    queue_text_clean(&n->number,
                     short_anchor(db_text(db, Q_PATIENT_NUMBER, 0)));
    db_done(db, Q_PATIENT_NUMBER);
    queue_text_clean(&n->access, access_name(&look->access));
    queue_text_clean(&n->patient, look->patient.name);
    queue_text_clean(&n->unit, look->patient.unit);
    e = read_born(db, look->patient.resource, n->born);
    return e == ERR_OK ? buf_ok(&n->unit) : e;
}

enum err planning_names_load(struct db *db, const struct look *look,
                             const struct planned *planned, bool refer,
                             struct planning_names *n)
{
    enum err e;

    *n = (struct planning_names){ .born = "" };
    buf_init(&n->access, LABEL_MAX);
    buf_init(&n->patient, LABEL_MAX);
    buf_init(&n->number, LABEL_MAX);
    buf_init(&n->unit, LABEL_MAX);
    e = name_patient(db, look, n);
    if (e == ERR_OK && refer)
        e = name_readings(db, look, &planned->from, n);
    if (e != ERR_OK)
        planning_names_clear(n);
    return e;
}

void planning_names_clear(struct planning_names *n)
{
    free(n->references);
    n->references = NULL;
    buf_clear(&n->access);
    buf_clear(&n->patient);
    buf_clear(&n->number);
    buf_clear(&n->unit);
}

/* ---- JSON and text --------------------------------------------------------------- */

static struct plan_document document_of(const struct planning_paper *p)
{
    const struct planned *planned = p->planned;

    return (struct plan_document){
        .from = &planned->from,
        .plan = planned->offered ? &planned->plan : NULL,
        .fault = planned->from.offer == PLAN_UNFIT ? &planned->fault : NULL,
        .access = p->names->access.data,
        .history = &p->look->history,
        .policy = p->policy,
        .zone = p->zone,
    };
}

enum err planning_json(const struct planning_paper *p, struct buf *out)
{
    const char *references[PLAN_GROUNDS_MAX];
    struct plan_document d = document_of(p);

    if (p->names->references != NULL) {
        for (size_t i = 0; i < p->planned->from.ground_count; i++)
            references[i] = p->names->references[i];
        d.references = references;
    }
    plan_json(&d, out);
    return buf_ok(out);
}

/* "Fictional, Wren (1001)" */
static enum err say_patient(const struct planning_names *n, struct buf *out)
{
    buf_puts(out, n->patient.len > 0 ? n->patient.data : "name not known");
    buf_printf(out, " (%s)", n->number.data);
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
static enum err write_text(const struct planning_paper *p,
                           void (*write)(const struct plan_document *d,
                                         struct buf *out),
                           struct buf *out)
{
    struct plan_document d = document_of(p);
    struct buf patient;
    enum err e;

    buf_init(&patient, LABEL_MAX);
    e = say_patient(p->names, &patient);
    d.patient = patient.data;
    if (e == ERR_OK)
        say_death(p->look, out);
    if (e == ERR_OK)
        write(&d, out);
    buf_clear(&patient);
    return e == ERR_OK ? buf_ok(out) : e;
}

enum err planning_text(const struct planning_paper *p, struct buf *out)
{
    return write_text(p, plan_text, out);
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

enum err planning_case(const struct planning_paper *p, struct buf *out)
{
    enum err e = write_text(p, plan_text_case, out);

    if (e == ERR_OK && !p->planned->offered &&
        may_be_mistyped(p->planned->from.offer))
        planning_way_out(out);
    return e == ERR_OK ? buf_ok(out) : e;
}

/* ---- the page ------------------------------------------------------------------ */

/* What was seen, of the suggestion that leads; nothing where none holds. */
static void say_seen(const struct planning_paper *p, struct buf *out)
{
    const struct look *look = p->look;
    const struct finding *lead = NULL;
    struct wording w = { .history = &look->history,
                         .policy = p->policy,
                         .findings = &look->findings,
                         .zone = p->zone };

    for (size_t i = 0; i < look->findings.count; i++) {
        const struct finding *f = &look->findings.list[i];

        if (f->confirmed && !f->historic &&
            (lead == NULL || f->urgency > lead->urgency))
            lead = f;
    }
    if (lead == NULL && p->planned->from.case_s != INT64_MIN)
        buf_puts(out, _("a procedure is under way; what led to it stands in "
                        "the Task"));
    if (lead == NULL)
        return;
    w.group = finding_group(lead);
    wording_headline(&w, out);
}

static enum err draw(const struct planning_paper *p,
                     const struct planning_page *page, const char *seen,
                     struct buf *out)
{
    struct plan_document d = document_of(p);
    struct worksheet sheet = { .plan = &d,
                               .findings = &p->look->findings,
                               .patient_name = p->names->patient.data,
                               .patient_number = p->names->number.data,
                               .born = p->names->born,
                               .unit = p->names->unit.data,
                               .access = d.access,
                               .seen = seen,
                               .made_s = page->made_s,
                               .paper = page->paper };

    return worksheet_draw(&sheet, page->form, out);
}

enum err planning_sheet(const struct planning_paper *p,
                        const struct planning_page *page, struct buf *out)
{
    char death[DECEASED_TEXT_SIZE];
    struct buf seen;
    enum err e;

    buf_init(&seen, LABEL_MAX);
    deceased_say(&p->look->patient, death);
    buf_puts(&seen, death);
    buf_puts(&seen, death[0] != '\0' ? "; " : "");
    say_seen(p, &seen);
    e = buf_ok(&seen);
    if (e == ERR_OK)
        e = draw(p, page, seen.data, out);
    buf_clear(&seen);
    return e;
}

/* All that is kept of one patient: given out, or removed. */
#include "adapters/catalogue.h"
#include "adapters/fhir_out.h"
#include "service/log.h"
#include "service/patient_erase.h"
#include "service/patient_export.h"
#include "service/patient_present.h"
#include "service/patient_whole.h"
#include "service/report.h"

#include <stdio.h>
#include <string.h>

struct patient_request {
    struct exchange x; /* first */
    struct patient_export export;
    char name[ERASE_NAME_SIZE], who[ERASE_WORDS_SIZE], why[ERASE_WORDS_SIZE];
    char called[ERASE_NAME_SIZE]; /* the name that was typed */
    bool even_if_urgent;
    bool all; /* of a preview: its lists whole */
    int64_t patient, case_since_s;
    enum err found;
};

static bool take(const struct http_request *r, const char *name, char *to,
                 size_t size)
{
    const char *value = http_query(r, name);

    if (value == NULL || value[strspn(value, " \t")] == '\0' ||
        strlen(value) >= size)
        return false;
    snprintf(to, size, "%s", value);
    return true;
}

static void refuse(struct patient_request *p, const char *text)
{
    outcome_add(&p->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", text);
    exchange_refuse(&p->x);
}

/* Nobody, or more than one, is called so. */
static bool is_unclear(enum err e)
{
    return e == ERR_ABSENT || e == ERR_AMBIGUOUS;
}

static void refuse_name(struct patient_request *p, enum err e)
{
    if (e == ERR_ABSENT)
        route_refuse_text(&p->x, 404, _("No patient has this number or id."));
    else
        route_refuse_text(&p->x, 409,
                          _("More than one patient is called so: name one as "
                            "system|number, or by the id."));
}

/* ---- giving out --------------------------------------------------------------- */

static enum err run_export(struct db *db, void *arg)
{
    struct patient_request *p = arg;

    p->found = patient_export(db, p->name, &p->export, &p->x.body);
    p->x.audit.patient = is_unclear(p->found) ? 0 : p->export.patient;
    p->x.audit.refused = is_unclear(p->found);
    return is_unclear(p->found) ? ERR_OK : p->found;
}

static void on_export(void *arg, enum err e)
{
    struct patient_request *p = arg;

    if (e == ERR_OK && p->found != ERR_OK) {
        refuse_name(p, p->found);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&p->x, e);
        return;
    }
    log_event(LOG_INFO, "patient.export", KEY_INT("lines", p->export.lines));
    exchange_reply(&p->x, 200, NULL, 0, NDJSON_TYPE, p->x.body.data,
                   p->x.body.len);
    exchange_free(&p->x);
}

static void route_export(struct patient_request *p)
{
    const struct service *s = p->x.service;

    if (patient_erase_busy(s->erasure)) {
        route_refuse_text(&p->x, 409, _("Another patient is being removed."));
        return;
    }
    p->export = (struct patient_export){ .base = s->config.fhir_base,
                                         .zone = s->zone,
                                         .senders = s->senders };
    audit_request_act(&p->x.audit, "patient", "export");
    p->x.job =
        (struct store_job){ .run = run_export, .done = on_export, .arg = p };
    exchange_submit(&p->x);
}

/* ---- who it would be ------------------------------------------------------------ */

static enum err run_about(struct db *db, void *arg)
{
    struct patient_request *p = arg;
    struct patient_present present;
    enum err e;

    p->found = patient_whole_find(db, p->name, &p->patient);
    p->x.audit.patient = p->found == ERR_OK ? p->patient : 0;
    p->x.audit.refused = is_unclear(p->found);
    if (p->found != ERR_OK)
        return is_unclear(p->found) ? ERR_OK : p->found;
    e = patient_present(db, p->patient, p->case_since_s, &present);
    if (e == ERR_OK)
        e = patient_present_write(db, &present, p->all, &p->x.body);
    if (e == ERR_OK && patient_present_is_urgent(&present)) {
        buf_puts(&p->x.body, "\n");
        patient_present_write_urgent(&present, &p->x.body);
    }
    return e;
}

/* A text of the store's thread, or why there is none. */
static void on_text(void *arg, enum err e)
{
    struct patient_request *p = arg;

    if (e != ERR_OK) {
        exchange_failed(&p->x, e);
    } else if (p->found != ERR_OK) {
        refuse_name(p, p->found);
    } else {
        exchange_reply(&p->x, 200, NULL, 0, TEXT_TYPE, p->x.body.data,
                       p->x.body.len);
        exchange_free(&p->x);
    }
}

/* When a case that goes on began at the earliest. */
static int64_t case_since_s(const struct service *s)
{
    return clock_ms() / 1000 -
           (int64_t)policy_count(&s->policy, P_PLAN_CASE_H) * HOUR_S;
}

static void route_about(struct patient_request *p)
{
    p->all = http_query(p->x.request, "all") != NULL;
    audit_request_act(&p->x.audit, "patient", "about");
    p->case_since_s = case_since_s(p->x.service);
    p->x.job =
        (struct store_job){ .run = run_about, .done = on_text, .arg = p };
    exchange_submit(&p->x);
}

/* ---- how far, and who was ------------------------------------------------------- */

static void put_number(struct buf *b, const char *name, int64_t value)
{
    char text[24];

    snprintf(text, sizeof(text), "%lld", (long long)value);
    fhir_out_text(b, name, text);
}

static void answer(struct exchange *x)
{
    static const char *const words[] = { [ERASE_SIFTING] = "sifting",
                                         [ERASE_WRITING] = "writing",
                                         [ERASE_DONE] = "done",
                                         [ERASE_FAILED] = "failed" };
    struct erase_view view;
    struct buf *b = &x->body;

    patient_erase_look(x->service->erasure, &view);
    fhir_out_open(b, NULL, '{');
    put_number(b, "number", view.number);
    fhir_out_text(b, "state", words[view.state]);
    put_number(b, "looked", view.looked);
    put_number(b, "total", view.total);
    fhir_out_text(b, "text", view.text);
    fhir_out_close(b, '}');
    exchange_reply(x, 200, NULL, 0, "application/json", b->data, b->len);
    exchange_free(x);
}

static enum err run_erased(struct db *db, void *arg)
{
    struct patient_request *p = arg;

    return patient_erased_list(db, &p->x.body);
}

static void route_erased(struct patient_request *p)
{
    audit_request_act(&p->x.audit, "patient", "erased");
    p->x.job =
        (struct store_job){ .run = run_erased, .done = on_text, .arg = p };
    exchange_submit(&p->x);
}

void route_patient(struct service *s, struct http_request *r)
{
    struct patient_request *p =
        (struct patient_request *)exchange_new(s, r, sizeof(*p));

    if (p == NULL || !route_here_only(&p->x))
        return;
    if (http_query(r, "state") != NULL)
        answer(&p->x);
    else if (http_query(r, "erased") != NULL)
        route_erased(p);
    else if (take(r, "about", p->name, sizeof(p->name)))
        route_about(p);
    else if (take(r, "patient", p->name, sizeof(p->name)))
        route_export(p);
    else
        refuse(p, "patient names one, by number or id");
}

/* ---- removing -------------------------------------------------------------------- */

/* Is it the one whose name was typed, and nothing urgent in the way?  If not,
 * why, into the body. */
static enum err compare(struct db *db, struct patient_request *p)
{
    struct patient_present present;
    enum err e = patient_present(db, p->patient, p->case_since_s, &present);

    if (e != ERR_OK)
        return e;
    if (!patient_present_is_called(&present, p->called))
        buf_puts(&p->x.body,
                 _("The patient of this number has another name than was "
                   "given: see headgate patient erase ID, without --yes, for "
                   "who it is.  Nothing was removed.\n"));
    else if (patient_present_is_urgent(&present) && !p->even_if_urgent)
        patient_present_write_urgent(&present, &p->x.body);
    return buf_ok(&p->x.body);
}

static enum err run_find(struct db *db, void *arg)
{
    struct patient_request *p = arg;
    enum err e;

    p->found = patient_whole_find(db, p->name, &p->patient);
    p->x.audit.patient = p->found == ERR_OK ? p->patient : 0;
    p->x.audit.refused = is_unclear(p->found);
    if (p->found != ERR_OK)
        return is_unclear(p->found) ? ERR_OK : p->found;
    e = compare(db, p);
    p->x.audit.refused = p->x.body.len > 0;
    return e;
}

static void refuse_said(struct patient_request *p)
{
    exchange_reply(&p->x, 409, NULL, 0, TEXT_TYPE, p->x.body.data,
                   p->x.body.len);
    exchange_free(&p->x);
}

static void on_find(void *arg, enum err e)
{
    struct patient_request *p = arg;
    const struct erase_wish wish = { .patient = p->patient,
                                     .who = p->who,
                                     .why = p->why,
                                     .even_if_urgent = p->even_if_urgent };

    if (e != ERR_OK)
        exchange_failed(&p->x, e);
    else if (p->found != ERR_OK)
        refuse_name(p, p->found);
    else if (p->x.body.len > 0)
        refuse_said(p);
    else if (patient_erase_begin(p->x.service->erasure, &wish, &p->x.audit) !=
             ERR_OK)
        route_refuse_text(&p->x, 409, _("Another patient is being removed."));
    else
        answer(&p->x);
}

void route_patient_act(struct service *s, struct http_request *r)
{
    struct patient_request *p =
        (struct patient_request *)exchange_new(s, r, sizeof(*p));
    const char *act = http_query(r, "act");

    if (p == NULL || !route_here_only(&p->x))
        return;
    if (act == NULL || strcmp(act, "erase") != 0)
        refuse(p, "act is erase");
    else if (!take(r, "patient", p->name, sizeof(p->name)))
        refuse(p, "patient names one, by number or id");
    else if (!take(r, "by", p->who, sizeof(p->who)))
        refuse(p, "by names who decided");
    else if (!take(r, "why", p->why, sizeof(p->why)))
        refuse(p, "why says the reason");
    else if (!take(r, "name", p->called, sizeof(p->called)))
        refuse(p, "name repeats the name of the patient");
    else {
        p->even_if_urgent = http_query(r, "urgent") != NULL;
        p->case_since_s = case_since_s(s);
        /* what came of it has a row of its own, see patient_erase_begin */
        audit_request_act(&p->x.audit, "patient", "erase-begin");
        snprintf(p->x.audit.who, sizeof(p->x.audit.who), "%s", p->who);
        p->x.job =
            (struct store_job){ .run = run_find, .done = on_find, .arg = p };
        exchange_submit(&p->x);
    }
}

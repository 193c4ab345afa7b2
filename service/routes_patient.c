/* All that is kept of one patient: given out, or removed. */
#include "adapters/catalogue.h"
#include "adapters/fhir_out.h"
#include "service/log.h"
#include "service/patient_erase.h"
#include "service/patient_export.h"
#include "service/patient_whole.h"
#include "service/report.h"

#include <stdio.h>
#include <string.h>

struct patient_request {
    struct exchange x; /* first */
    struct patient_export export;
    char name[ERASE_NAME_SIZE], who[ERASE_WORDS_SIZE], why[ERASE_WORDS_SIZE];
    int64_t patient;
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
    http_reply(p->x.request, 200, NULL, 0, NDJSON_TYPE, p->x.body.data,
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
    http_reply(x->request, 200, NULL, 0, "application/json", b->data, b->len);
    exchange_free(x);
}

static enum err run_erased(struct db *db, void *arg)
{
    struct patient_request *p = arg;

    return patient_erased_list(db, &p->x.body);
}

static void on_erased(void *arg, enum err e)
{
    struct patient_request *p = arg;

    if (e != ERR_OK) {
        exchange_failed(&p->x, e);
        return;
    }
    http_reply(p->x.request, 200, NULL, 0, TEXT_TYPE, p->x.body.data,
               p->x.body.len);
    exchange_free(&p->x);
}

static void route_erased(struct patient_request *p)
{
    audit_request_act(&p->x.audit, "patient", "erased");
    p->x.job =
        (struct store_job){ .run = run_erased, .done = on_erased, .arg = p };
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
    else if (take(r, "patient", p->name, sizeof(p->name)))
        route_export(p);
    else
        refuse(p, "patient names one, by number or id");
}

/* ---- removing -------------------------------------------------------------------- */

static enum err run_find(struct db *db, void *arg)
{
    struct patient_request *p = arg;

    p->found = patient_whole_find(db, p->name, &p->patient);
    p->x.audit.patient = p->found == ERR_OK ? p->patient : 0;
    p->x.audit.refused = is_unclear(p->found);
    return is_unclear(p->found) ? ERR_OK : p->found;
}

static void on_find(void *arg, enum err e)
{
    struct patient_request *p = arg;

    if (e != ERR_OK)
        exchange_failed(&p->x, e);
    else if (p->found != ERR_OK)
        refuse_name(p, p->found);
    else if (patient_erase_begin(p->x.service->erasure, p->patient, p->who,
                                 p->why, &p->x.audit) != ERR_OK)
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
    else {
        /* what came of it has a row of its own, see patient_erase_begin */
        audit_request_act(&p->x.audit, "patient", "erase-begin");
        snprintf(p->x.audit.who, sizeof(p->x.audit.who), "%s", p->who);
        p->x.job =
            (struct store_job){ .run = run_find, .done = on_find, .arg = p };
        exchange_submit(&p->x);
    }
}

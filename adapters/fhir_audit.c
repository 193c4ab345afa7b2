#include "adapters/fhir_audit.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <string.h>

#define DCM      "http://dicom.nema.org/resources/ontology/DCM"
#define TERMS    "http://terminology.hl7.org/CodeSystem/"
#define INTERACT "http://hl7.org/fhir/restful-interaction"

struct code {
    const char *system, *code, *display;
};

/* R4: AuditEvent.type and subtype are of these lists, extensible; DCM codes as
 * DICOM PS3.16, CID 400 and 401, has them. */
static const struct code rest = { TERMS "audit-event-type", "rest",
                                  "RESTful Operation" };
static const struct code activity = { DCM, "110100", "Application Activity" };
static const struct code log_used = { DCM, "110101", "Audit Log Used" };
static const struct code export = { DCM, "110106", "Export" };
static const struct code import = { DCM, "110107", "Import" };
static const struct code record = { DCM, "110110", "Patient Record" };
static const struct code alert = { DCM, "110113", "Security Alert" };
static const struct code login = { DCM, "110114", "User Authentication" };

static const struct kind {
    const char *action;
    const struct code *type;
    struct code subtype; /* code NULL: none of those lists */
    char letter;         /* R4: AuditEvent.action */
} kinds[] = {
    { "read", &rest, { INTERACT, "read", NULL }, 'R' },
    { "vread", &rest, { INTERACT, "vread", NULL }, 'R' },
    { "history", &rest, { INTERACT, "history-instance", NULL }, 'R' },
    { "search", &rest, { INTERACT, "search-type", NULL }, 'E' },
    { "create", &rest, { INTERACT, "create", NULL }, 'C' },
    { "update", &rest, { INTERACT, "update", NULL }, 'U' },
    { "patch", &rest, { INTERACT, "patch", NULL }, 'U' },
    { "delete", &rest, { INTERACT, "delete", NULL }, 'D' },
    { "batch", &rest, { INTERACT, "batch", NULL }, 'E' },
    { "transaction", &rest, { INTERACT, "transaction", NULL }, 'E' },
    { "collection", &import, { NULL, NULL, NULL }, 'C' },
    { "message", &import, { NULL, NULL, NULL }, 'C' },
    { "file", &import, { NULL, NULL, NULL }, 'C' },
    { "poll", &import, { NULL, NULL, NULL }, 'C' },
    { "fetch", &import, { NULL, NULL, NULL }, 'C' },
    { "bulk-file", &import, { NULL, NULL, NULL }, 'C' },
    { "hook", &import, { NULL, NULL, NULL }, 'C' },
    { "look", &record, { NULL, NULL, NULL }, 'R' },
    { "audit-list", &log_used, { NULL, NULL, NULL }, 'R' },
    { "audit-export", &log_used, { NULL, NULL, NULL }, 'R' },
    { "audit-verify", &log_used, { NULL, NULL, NULL }, 'E' },
    { "patient-export", &export, { NULL, NULL, NULL }, 'R' },
    { "patient-erase-begin", &record, { NULL, NULL, NULL }, 'E' },
    { "patient-erase", &record, { NULL, NULL, NULL }, 'D' },
    { "patient-erased", &record, { NULL, NULL, NULL }, 'R' },
    { "store-backup", &export, { NULL, NULL, NULL }, 'R' },
    { "store-prune", &record, { NULL, NULL, NULL }, 'D' },
    { "start", &activity, { DCM, "110120", "Application Start" }, 'E' },
    { "stop", &activity, { DCM, "110121", "Application Stop" }, 'E' },
    { "policy-changed",
      &alert,
      { DCM, "110131", "Software Configuration" },
      'E' },
    { "settings-changed",
      &alert,
      { DCM, "110131", "Software Configuration" },
      'E' },
    { "tokens-changed",
      &alert,
      { DCM, "110131", "Software Configuration" },
      'E' },
    { "reload-refused",
      &alert,
      { DCM, "110131", "Software Configuration" },
      'E' },
    { "restored", &import, { NULL, NULL, NULL }, 'E' },
    { "blocked", &login, { DCM, "110122", "Login" }, 'E' },
    { "login-failed", &login, { DCM, "110122", "Login" }, 'E' },
    { "forbidden",
      &alert,
      { DCM, "110132", "Use of Restricted Function" },
      'E' },
    { NULL, &record, { NULL, NULL, NULL }, 'U' } /* a person's deed */
};

static const struct kind *kind_of(const char *action)
{
    size_t i = 0;

    while (kinds[i].action != NULL && strcmp(kinds[i].action, action) != 0)
        i++;
    return &kinds[i];
}

/* ---- parts ------------------------------------------------------------------ */

static void write_code(struct buf *out, const char *key, const struct code *c)
{
    fhir_out_open(out, key, '{');
    fhir_out_text(out, "system", c->system);
    fhir_out_text(out, "code", c->code);
    fhir_out_text(out, "display", c->display);
    fhir_out_close(out, '}');
}

/* A thing by a number or name of ours. */
static void write_named(struct buf *out, const char *key, const char *base,
                        const char *of, const char *value)
{
    char system[80];

    snprintf(system, sizeof(system), "/NamingSystem/%s", of);
    fhir_out_open(out, key, '{');
    fhir_out_identifier(out, "identifier", base, system, value);
    fhir_out_close(out, '}');
}

static void write_reference(struct buf *out, const char *key, const char *type,
                            const char *id)
{
    char text[256];

    snprintf(text, sizeof(text), "%s/%s", type, id);
    fhir_out_open(out, key, '{');
    fhir_out_text(out, "reference", text);
    fhir_out_close(out, '}');
}

static void write_agents(struct buf *out, const char *base,
                         const struct fhir_audit *e)
{
    char of[64];

    snprintf(of, sizeof(of), "audit-%s", e->kind);
    fhir_out_open(out, "agent", '[');
    fhir_out_open(out, NULL, '{');
    if (e->scope[0] != '\0') {
        fhir_out_open(out, "role", '[');
        fhir_out_concept(out, NULL, base, NULL, NULL, NULL, e->scope);
        fhir_out_close(out, ']');
    }
    write_named(out, "who", base, of, e->actor[0] != '\0' ? e->actor : e->kind);
    fhir_out_bool(out, "requestor", true);
    fhir_out_close(out, '}');
    if (e->who[0] != '\0') {
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "name", e->who);
        fhir_out_bool(out, "requestor", false);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
}

static void write_source(struct buf *out, const char *base)
{
    static const struct code server = { TERMS "security-source-type", "4",
                                        "Application Server" };

    fhir_out_open(out, "source", '{');
    write_named(out, "observer", base, "service", "headgate");
    fhir_out_open(out, "type", '[');
    write_code(out, NULL, &server);
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
}

/* ---- entities --------------------------------------------------------------- */

static const struct code person = { TERMS "audit-entity-type", "1", "Person" };
static const struct code thing = { TERMS "audit-entity-type", "2",
                                   "System Object" };

static void end_entity(struct buf *out, const struct code *type,
                       const char *role, const char *display)
{
    const struct code code = { TERMS "object-role", role, display };

    write_code(out, "type", type);
    write_code(out, "role", &code);
}

static void write_patient(struct buf *out, const char *base,
                          const struct fhir_audit_patient *patient)
{
    char number[24];

    snprintf(number, sizeof(number), "%lld", (long long)patient->number);
    fhir_out_open(out, NULL, '{');
    if (patient->id[0] != '\0')
        write_reference(out, "what", "Patient", patient->id);
    else
        write_named(out, "what", base, "audit-patient", number);
    end_entity(out, &person, "1", "Patient");
    fhir_out_close(out, '}');
}

static bool is_resource(const char *type)
{
    return type[0] >= 'A' && type[0] <= 'Z';
}

static void write_detail(struct buf *out, const char *type, const char *value)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "type", type);
    fhir_out_text(out, "valueString", value);
    fhir_out_close(out, '}');
}

static void write_details(struct buf *out, const struct fhir_audit *e)
{
    bool says = e->detail[0] != '\0' && e->detail[0] != '?';

    if (!says && e->of[0] == '\0')
        return;
    fhir_out_open(out, "detail", '[');
    if (says)
        write_detail(out, "detail", e->detail);
    if (e->of[0] != '\0')
        write_detail(out, "patients", e->of);
    fhir_out_close(out, ']');
}

static void write_object(struct buf *out, const char *base,
                         const struct fhir_audit *e)
{
    const char *type = e->type[0] != '\0' ? e->type : "journal";

    fhir_out_open(out, NULL, '{');
    if (is_resource(type) && e->key[0] != '\0')
        write_reference(out, "what", type, e->key);
    else
        write_named(out, "what", base, type,
                    e->key[0] != '\0' ? e->key : e->action);
    end_entity(out, &thing, "4", "Domain Resource");
    fhir_out_text(out, "description", e->action);
    write_details(out, e);
    fhir_out_close(out, '}');
}

enum { QUERY_MAX = 600 };

/* What was asked for: the names of parameters, without their values. */
static void write_query(struct buf *out, const struct fhir_audit *e)
{
    char text[QUERY_MAX], coded[QUERY_MAX * 4 / 3 + 8];
    int len;

    if (e->detail[0] != '?')
        return;
    len = snprintf(text, sizeof(text), "%s%s", e->type, e->detail);
    if (len >= QUERY_MAX)
        len = QUERY_MAX - 1;
    (void)EVP_EncodeBlock((unsigned char *)coded, (unsigned char *)text, len);
    fhir_out_open(out, NULL, '{');
    end_entity(out, &thing, "24", "Query");
    fhir_out_text(out, "query", coded);
    fhir_out_close(out, '}');
}

/* The row that the event stands in. */
static void write_row(struct buf *out, const char *base,
                      const struct fhir_audit *e)
{
    char seq[24];

    snprintf(seq, sizeof(seq), "%lld", (long long)e->seq);
    fhir_out_open(out, NULL, '{');
    write_named(out, "what", base, "audit", seq);
    end_entity(out, &thing, "13", "Security Resource");
    fhir_out_open(out, "detail", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "type", "SHA-256");
    fhir_out_text(out, "valueString", e->hash);
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
}

void fhir_audit_write(const char *base, const struct fhir_audit *e,
                      struct buf *out)
{
    const struct kind *kind = kind_of(e->action);
    const char letter[2] = { kind->letter, '\0' };
    char id[32], recorded[FHIR_TIME_SIZE], outcome[4];

    snprintf(id, sizeof(id), "audit-%lld", (long long)e->seq);
    snprintf(outcome, sizeof(outcome), "%d", e->outcome % 100);
    fhir_time_write_ms(e->at_ms, recorded);
    buf_puts(out, "{"); /* no comma behind a line before */
    fhir_out_text(out, "resourceType", "AuditEvent");
    fhir_out_text(out, "id", id);
    write_code(out, "type", kind->type);
    if (kind->subtype.code != NULL) {
        fhir_out_open(out, "subtype", '[');
        write_code(out, NULL, &kind->subtype);
        fhir_out_close(out, ']');
    }
    fhir_out_text(out, "action", letter);
    fhir_out_text(out, "recorded", recorded);
    fhir_out_text(out, "outcome", outcome);
    write_agents(out, base, e);
    write_source(out, base);
    fhir_out_open(out, "entity", '[');
    for (size_t i = 0; i < e->patient_count; i++)
        write_patient(out, base, &e->patients[i]);
    write_object(out, base, e);
    write_query(out, e);
    write_row(out, base, e);
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
}

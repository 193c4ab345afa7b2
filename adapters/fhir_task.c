#include "adapters/fhir_task.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_out.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

/* Every CodeSystem of ours hangs below the base. */
static void write_input_type(const char *base, enum fhir_input_kind kind,
                             struct buf *out)
{
    const struct task_code *type = task_code_input(kind);

    fhir_out_concept(out, "type", base, TASK_IO_SYSTEM, type->code,
                     type->display, NULL);
}

static void write_quantity(const struct fhir_task_input *in, struct buf *out)
{
    fhir_out_open(out, "valueQuantity", '{');
    fhir_out_decimal(out, "value", in->value);
    if (in->unit != NULL) {
        fhir_out_text(out, "unit", in->unit);
        fhir_out_text(out, "system", "http://unitsofmeasure.org");
        fhir_out_text(out, "code", in->unit);
    }
    fhir_out_close(out, '}');
}

/* An input must have a value; one that says nothing is left out. */
static bool says_something(const struct fhir_task_input *in)
{
    switch (in->kind) {
    case INPUT_TRIGGER:
        return in->ref.literal != NULL || in->ref.value != NULL ||
               in->ref.display != NULL;
    case INPUT_THRESHOLD:
        return isfinite(in->value) || (in->text != NULL && in->text[0] != '\0');
    case INPUT_DUE:
    case INPUT_PLAN:
    case INPUT_WORKSHEET:
    case INPUT_ACCESS:
        break;
    }
    return in->text != NULL && in->text[0] != '\0';
}

static void write_input(const char *base, const struct fhir_task_input *in,
                        struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    write_input_type(base, in->kind, out);
    switch (in->kind) {
    case INPUT_TRIGGER:
        fhir_out_ref(out, "valueReference", &in->ref);
        break;
    case INPUT_THRESHOLD:
        if (isfinite(in->value))
            write_quantity(in, out);
        else
            fhir_out_text(out, "valueString", in->text);
        break;
    case INPUT_DUE:
    case INPUT_PLAN:
    case INPUT_WORKSHEET:
    case INPUT_ACCESS:
        fhir_out_text(out, "valueDate", in->text);
        break;
    }
    fhir_out_close(out, '}');
}

/* What is a reference, and stands in no list of readings and limits. */
static void write_reference(const struct fhir_task *t,
                            enum fhir_input_kind kind,
                            const struct fhir_out_ref *ref, struct buf *out)
{
    if (ref->literal == NULL && ref->value == NULL)
        return;
    fhir_out_open(out, NULL, '{');
    write_input_type(t->base, kind, out);
    fhir_out_ref(out, "valueReference", ref);
    fhir_out_close(out, '}');
}

static void write_inputs(const struct fhir_task *t, struct buf *out)
{
    bool any =
        t->plan != NULL || t->access.literal != NULL || t->access.value != NULL;

    for (size_t i = 0; i < t->input_count; i++)
        any = any || says_something(&t->inputs[i]);
    if (!any)
        return;
    fhir_out_open(out, "input", '[');
    for (size_t i = 0; i < t->input_count; i++) {
        if (says_something(&t->inputs[i]))
            write_input(t->base, &t->inputs[i], out);
    }
    write_reference(t, INPUT_ACCESS, &t->access, out);
    if (t->plan != NULL) {
        fhir_task_out_plan(t->base, t->plan, out);
        write_reference(t, INPUT_WORKSHEET, &t->worksheet, out);
    }
    fhir_out_close(out, ']');
}

/* A uri has no blanks, a policy's version may. */
void fhir_out_rule(struct buf *b, const char *key, const char *base,
                   const char *rule, const char *policy_version)
{
    char rest[160];
    int used;

    if (rule == NULL || policy_version == NULL)
        return;
    used = snprintf(rest, sizeof(rest), "/rules/%.32s|", rule);
    for (const char *c = policy_version;
         *c != '\0' && (size_t)used + 4 < sizeof(rest); c++) {
        unsigned byte = (unsigned char)*c;

        used += snprintf(rest + used, 4,
                         byte > 0x20 && byte < 0x7f &&
                                 strchr("\"%<>\\^`{|}", *c) == NULL
                             ? "%c"
                             : "%%%02X",
                         byte);
    }
    fhir_out_join(b, key, base, rest);
}

static void write_status(const struct fhir_task *t, struct buf *out)
{
    const struct task_code *business =
        task_code(t->put_off ? TASK_CODE_PUT_OFF : TASK_CODE_AWAITING);

    fhir_out_text(out, "status", t->status);
    if (t->status_reason != NULL && t->status_reason[0] != '\0') {
        fhir_out_open(out, "statusReason", '{');
        fhir_out_text(out, "text", t->status_reason);
        fhir_out_close(out, '}');
    }
    /* Once it is no longer for us to say, nothing is said. */
    if (strcmp(t->status, TASK_REQUESTED) == 0)
        fhir_out_concept(out, "businessStatus", t->base, TASK_SYSTEM,
                         business->code, business->display, NULL);
    fhir_out_text(out, "intent", "proposal");
    fhir_out_text(out, "priority", t->priority);
}

static void write_head(const struct fhir_task *t, struct buf *out)
{
    fhir_out_open(out, "identifier", '[');
    fhir_out_identifier(out, NULL, t->base, "/NamingSystem/task-key", t->key);
    fhir_out_close(out, ']');
    fhir_out_rule(out, "instantiatesUri", t->base, t->rule, t->policy_version);
    if (t->episode != NULL)
        fhir_out_identifier(out, "groupIdentifier", t->base,
                            "/NamingSystem/episode", t->episode);
    if (t->part_of != NULL) {
        fhir_out_open(out, "partOf", '[');
        fhir_out_ref(out, NULL,
                     &(struct fhir_out_ref){ .literal = t->part_of });
        fhir_out_close(out, ']');
    }
    write_status(t, out);
    fhir_out_concept(out, "code", t->base, TASK_SYSTEM, t->code,
                     t->code_display, t->code_display);
    fhir_out_text(out, "description", t->description);
    fhir_out_ref(out, "focus", &t->focus);
    fhir_out_ref(out, "for", &t->patient);
}

static void write_times(const struct fhir_task *t, struct buf *out)
{
    /* R4 inv-1: lastModified is not before authoredOn */
    int64_t modified_ms =
        t->modified_ms > t->authored_ms ? t->modified_ms : t->authored_ms;
    char text[FHIR_TIME_SIZE];

    fhir_time_write_ms(t->authored_ms, text);
    fhir_out_text(out, "authoredOn", text);
    fhir_time_write_ms(modified_ms, text);
    fhir_out_text(out, "lastModified", text);
}

static void write_note(const struct fhir_task *t, struct buf *out)
{
    char time[FHIR_TIME_SIZE];

    if (t->note == NULL || t->note[0] == '\0')
        return;
    fhir_time_write_ms(t->modified_ms, time);
    fhir_out_open(out, "note", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "authorString", "headgate " HEADGATE_VERSION);
    fhir_out_text(out, "time", time);
    fhir_out_text(out, "text", t->note);
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
}

static void write_restriction(const struct fhir_task *t, struct buf *out)
{
    char text[FHIR_TIME_SIZE];

    if (t->due_s == 0)
        return;
    fhir_out_open(out, "restriction", '{');
    fhir_out_int(out, "repetitions", 1);
    fhir_out_open(out, "period", '{');
    /* per-1: the start is not after the end */
    if (t->start_s != 0 && t->start_s <= t->due_s) {
        fhir_time_write(t->start_s, text);
        fhir_out_text(out, "start", text);
    }
    fhir_time_write(t->due_s, text);
    fhir_out_text(out, "end", text);
    fhir_out_close(out, '}');
    fhir_out_close(out, '}');
}

static void write_performer(struct buf *out)
{
    fhir_out_open(out, "performerType", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "text", _("Vascular access coordinator"));
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
}

enum err fhir_task_write(const struct fhir_task *t, struct buf *out)
{
    buf_puts(out, "{\"resourceType\":\"Task\"");
    fhir_out_text(out, "id", t->id);
    if (t->narrative)
        fhir_task_out_text(
            &(struct fhir_task_said){ .title = t->code_display,
                                      .patient = t->patient.display,
                                      .description = t->description },
            out);
    write_head(t, out);
    write_times(t, out);
    fhir_out_ref(out, "requester", &t->requester);
    write_performer(out);
    fhir_out_concept(out, "reasonCode", t->base, TASK_SYSTEM, t->reason_code,
                     t->reason_display, NULL);
    fhir_out_ref(out, "reasonReference", &t->reason);
    write_note(t, out);
    write_restriction(t, out);
    write_inputs(t, out);
    fhir_out_close(out, '}');
    return buf_ok(out);
}

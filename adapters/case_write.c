#include "adapters/case_write.h"

#include "adapters/fhir_json.h"
#include "adapters/fhir_out.h"
#include "adapters/fhir_patch.h"

#include <stdio.h>
#include <string.h>

enum { OBSERVATION_MAX = 65536 };

static void begin_bundle(struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "resourceType", "Bundle");
    fhir_out_text(out, "type", "transaction");
    fhir_out_open(out, "entry", '[');
}

static void end_bundle(struct buf *out)
{
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
}

static void put_request(struct buf *out, const char *method, const char *url)
{
    fhir_out_open(out, "request", '{');
    fhir_out_text(out, "method", method);
    fhir_out_text(out, "url", url);
    fhir_out_close(out, '}');
}

/* ---- what is stated --------------------------------------------------------- */

static void put_value(const struct case_statement *s,
                      const struct case_entry *entry, struct buf *out)
{
    const struct quantity_info *info = quantity_info(entry->quantity);

    switch (info->kind) {
    case VALUE_CODE:
        fhir_out_concept(out, "valueCodeableConcept", s->base,
                         "/CodeSystem/av-observation",
                         sign_info(entry->sign)->code,
                         sign_info(entry->sign)->display, NULL);
        break;
    case VALUE_FLAG:
        fhir_out_bool(out, "valueBoolean", entry->value > 0.0);
        break;
    case VALUE_NUMBER:
        fhir_out_open(out, "valueQuantity", '{');
        fhir_out_decimal(out, "value", entry->value);
        fhir_out_text(out, "system", "http://unitsofmeasure.org");
        fhir_out_text(out, "code", info->unit);
        fhir_out_close(out, '}');
        break;
    }
}

static void put_people(const struct case_statement *s, enum scope scope,
                       struct buf *out)
{
    fhir_out_ref(out, "subject", &s->patient);
    if (scope != SCOPE_PATIENT) {
        fhir_out_open(out, "focus", '[');
        fhir_out_ref(out, NULL, &s->access);
        fhir_out_close(out, ']');
    }
    fhir_out_open(out, "performer", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "display", s->by);
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
}

static void put_observation(const struct case_statement *s,
                            const struct case_entry *entry, size_t place,
                            struct buf *out)
{
    const struct quantity_info *info = quantity_info(entry->quantity);
    char number[64], at[FHIR_TIME_SIZE];

    snprintf(number, sizeof(number), "%s-%zu", s->number, place + 1);
    fhir_time_write(s->at_s + (int64_t)place, at);
    fhir_out_open(out, "resource", '{');
    fhir_out_text(out, "resourceType", "Observation");
    fhir_out_open(out, "identifier", '[');
    fhir_out_identifier(out, NULL, s->base, CASE_SYSTEM, number);
    fhir_out_close(out, ']');
    fhir_out_text(out, "status", "final");
    fhir_out_concept(out, "code", s->base, "/CodeSystem/av-observation",
                     info->code, info->display, NULL);
    put_people(s, info->scope, out);
    fhir_out_text(out, "effectiveDateTime", at);
    put_value(s, entry, out);
    if (entry->quantity == Q_ACCESS_FLOW && s->method != METHOD_UNSTATED)
        fhir_out_concept(out, "method", s->base, "/CodeSystem/av-method",
                         method_code(s->method), method_display(s->method),
                         NULL);
    fhir_out_close(out, '}');
}

void case_write(const struct case_statement *statement,
                const struct case_line *line, struct buf *out)
{
    begin_bundle(out);
    for (size_t i = 0; i < line->count; i++) {
        fhir_out_open(out, NULL, '{');
        put_observation(statement, &line->entries[i], i, out);
        put_request(out, "POST", "Observation");
        fhir_out_close(out, '}');
    }
    end_bundle(out);
}

/* ---- who ----------------------------------------------------------------------- */

void case_typist(const char *json, size_t len, char *out, size_t size)
{
    json_t *tree = json_loadb(json, len, JSON_REJECT_DUPLICATES, NULL);
    const char *name = json_string_value(json_object_get(
        json_array_get(json_object_get(tree, "performer"), 0), "display"));

    snprintf(out, size, "%s", name != NULL ? name : "");
    json_decref(tree);
}

/* ---- what is taken back ------------------------------------------------------- */

void case_withdraw_begin(struct buf *out)
{
    begin_bundle(out);
}

static void put_operation(const char *op, const char *path, const char *value,
                          struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "op", op);
    fhir_out_text(out, "path", path);
    fhir_out_text(out, "value", value);
    fhir_out_close(out, '}');
}

/* A note after those that are there, or the first one. */
static void put_note(const char *note, bool first, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "op", "add");
    fhir_out_text(out, "path", first ? "/note" : "/note/-");
    fhir_out_open(out, "value", first ? '[' : '{');
    if (first)
        fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "text", note);
    if (first)
        fhir_out_close(out, '}');
    fhir_out_close(out, first ? ']' : '}');
    fhir_out_close(out, '}');
}

static enum err mark(const char *id, const char *json, size_t len,
                     const char *note, bool first, struct buf *out)
{
    struct outcome outcome = { .count = 0 };
    struct buf patch;
    enum err e;

    buf_init(&patch, OBSERVATION_MAX);
    buf_puts(&patch, "[");
    put_operation("replace", "/status", "entered-in-error", &patch);
    put_operation("add", "/id", id, &patch);
    put_note(note, first, &patch);
    fhir_out_close(&patch, ']');
    e = buf_ok(&patch);
    if (e == ERR_OK)
        e = fhir_patch_apply(json, len, patch.data, patch.len, &outcome, out);
    buf_clear(&patch);
    return e;
}

enum err case_withdraw_add(const char *id, const char *json, size_t len,
                           const char *note, struct buf *out)
{
    char url[96];
    struct buf body;
    enum err e;

    snprintf(url, sizeof(url), "Observation/%s", id);
    buf_init(&body, OBSERVATION_MAX);
    e = mark(id, json, len, note, false, &body);
    if (e == ERR_CONFLICT) { /* it has no notes yet */
        buf_empty(&body);
        e = mark(id, json, len, note, true, &body);
    }
    if (e == ERR_OK) {
        fhir_out_open(out, NULL, '{');
        fhir_out_raw(out, "resource", body.data, body.len);
        put_request(out, "PUT", url);
        fhir_out_close(out, '}');
    }
    buf_clear(&body);
    return e == ERR_CONFLICT || e == ERR_LIMIT ? ERR_FORM : e;
}

void case_withdraw_end(struct buf *out)
{
    end_bundle(out);
}

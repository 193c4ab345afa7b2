#include "adapters/fhir_codesystem.h"

#include "adapters/codes_rows.h"
#include "adapters/fhir_out.h"
#include "adapters/outcome.h"
#include "adapters/task_codes.h"

#include <stdio.h>
#include <string.h>

/* The longest definition, and the longest display that is put together. */
enum { DEFINITION_SIZE = 256, DISPLAY_SIZE = 64 };

/* The concepts of one CodeSystem: counted first, written in a second pass. */
struct list {
    struct buf *out; /* borrowed; NULL: only count */
    size_t count;
};

/* An item of an array begins a line of its own. */
static void open_line(struct buf *out)
{
    char last = '[';

    if (out->len > 0)
        last = out->data[out->len - 1];
    buf_puts(out, last == '[' ? "\n{" : ",\n{");
}

/* definition: NULL for none */
static void put(struct list *l, const char *code, const char *display,
                const char *definition)
{
    l->count++;
    if (l->out == NULL)
        return;
    open_line(l->out);
    fhir_out_text(l->out, "code", code);
    fhir_out_text(l->out, "display", display);
    fhir_out_text(l->out, "definition", definition);
    fhir_out_close(l->out, '}');
}

/* ---- av-observation ------------------------------------------------------ */

static const char *scope_text(enum scope scope)
{
    switch (scope) {
    case SCOPE_ACCESS:
        return "of one access";
    case SCOPE_ARM:
        return "of the hand of one arm";
    case SCOPE_PATIENT:
        return "of the patient";
    case SCOPE_NONE:
        break;
    }
    return "not a reading by itself";
}

static void put_quantity(struct list *l, const struct quantity_info *info)
{
    const char *scope = scope_text(info->scope);
    char text[DEFINITION_SIZE];

    if (info->scope == SCOPE_NONE)
        snprintf(text, sizeof(text), "Carries components; %s.", scope);
    else if (info->kind == VALUE_FLAG)
        snprintf(text, sizeof(text), "Yes or no (valueBoolean), %s.", scope);
    else if (info->kind == VALUE_CODE)
        snprintf(text, sizeof(text),
                 "A code that is a value of %s (valueCodeableConcept), %s.",
                 info->code, scope);
    else
        snprintf(text, sizeof(text),
                 "A number in the unit %s (UCUM) or one that converts to it, "
                 "%s.",
                 info->unit, scope);
    put(l, info->code, info->display, text);
}

/* How an integer stage is read, from the function that reads it. */
static void put_stage(struct list *l)
{
    char text[DEFINITION_SIZE];
    size_t used = (size_t)snprintf(
        text, sizeof(text),
        "An integer (valueInteger), of the hand of one arm; read as a grade "
        "of hand ischaemia:");
    enum sign s;

    /* A text that does not fit is cut; the test looks for the full stop. */
    for (int stage = 0;
         used < sizeof(text) && sign_of_stage(stage, &s) == ERR_OK; stage++)
        used += (size_t)snprintf(text + used, sizeof(text) - used,
                                 "%s %d as %s", stage > 0 ? "," : "", stage,
                                 grade_word(sign_info(s)->grade));
    if (used < sizeof(text))
        snprintf(text + used, sizeof(text) - used, ".");
    put(l, CODES_STAGE, "Steal stage", text);
}

static void put_sign(struct list *l, const struct sign_info *info)
{
    char grade[DISPLAY_SIZE] = "", text[DEFINITION_SIZE];

    /* Of a grade the code itself says which. */
    if (info->quantity == Q_HAND_SYMPTOM)
        snprintf(grade, sizeof(grade),
                 "; where no grade is stated, hand ischaemia grade %s",
                 grade_word(info->grade));
    snprintf(text, sizeof(text), "A value of %s%s.%s",
             quantity_info(info->quantity)->code, grade,
             info->as_question ? " Also a question (valueBoolean)." : "");
    put(l, info->code, info->display, text);
}

static void put_observations(struct list *l)
{
    for (int q = Q_NONE + 1; q < QUANTITY_COUNT; q++)
        put_quantity(l, quantity_info((enum quantity)q));
    put_stage(l);
    for (int s = SIGN_NONE + 1; s < SIGN_COUNT; s++)
        put_sign(l, sign_info((enum sign)s));
}

/* ---- the other words of readings ------------------------------------------ */

static void put_methods(struct list *l)
{
    for (int m = METHOD_UNSTATED + 1; m < METHOD_COUNT; m++)
        put(l, method_code((enum method)m), method_display((enum method)m),
            NULL);
}

static void put_access_types(struct list *l)
{
    for (int s = SIGN_NONE + 1; s < SIGN_COUNT; s++) {
        const struct sign_info *info = sign_info((enum sign)s);

        if (info->quantity == Q_ACCESS_TYPE)
            put(l, info->code, info->display, NULL);
    }
}

/* A site in words, "left upper arm", becomes "Left upper arm" and the code
 * "left-upper-arm"; codes_parse_site reads it back. */
static void put_site(struct list *l, const char *side, const char *region)
{
    char display[DISPLAY_SIZE], code[DISPLAY_SIZE];

    snprintf(display, sizeof(display), "%s%s%s", side,
             side[0] != '\0' && region[0] != '\0' ? " " : "", region);
    snprintf(code, sizeof(code), "%s", display);
    for (char *blank = strchr(code, ' '); blank != NULL;
         blank = strchr(blank, ' '))
        *blank = '-';
    if (display[0] >= 'a' && display[0] <= 'z')
        display[0] = (char)(display[0] - 'a' + 'A');
    put(l, code, display, NULL);
}

static void put_sites(struct list *l)
{
    static const char *const sides[] = { "", "left", "right" };

    for (size_t side = 0; side < COUNT(sides); side++) {
        const char *region;

        if (sides[side][0] != '\0')
            put_site(l, sides[side], "");
        for (size_t i = 0; (region = codes_region(i)) != NULL; i++)
            put_site(l, sides[side], region);
    }
}

/* ---- Tasks and answers ----------------------------------------------------- */

static void put_tasks(struct list *l)
{
    for (int id = 0; id < TASK_CODE_COUNT; id++) {
        const struct task_code *row = task_code((enum task_code_id)id);

        put(l, row->code, row->display, row->definition);
    }
    for (int q = Q_NONE + 1; q < QUANTITY_COUNT; q++) {
        const struct quantity_info *info = quantity_info((enum quantity)q);
        char code[TASK_CODE_SIZE], text[DEFINITION_SIZE];

        if (info->kind != VALUE_NUMBER)
            continue;
        task_code_repeat((enum quantity)q, code);
        snprintf(text, sizeof(text), "A reminder to measure again: %s.",
                 info->display);
        put(l, code, TASK_REPEAT_DISPLAY, text);
    }
}

static void put_inputs(struct list *l)
{
    const struct task_code *row;

    for (int kind = 0;
         (row = task_code_input((enum fhir_input_kind)kind)) != NULL; kind++)
        put(l, row->code, row->display, row->definition);
}

static void put_errors(struct list *l)
{
    const struct outcome_word *row;

    for (size_t i = 0; (row = outcome_word(i)) != NULL; i++) {
        char text[DEFINITION_SIZE];

        if (row->status != 0)
            snprintf(text, sizeof(text),
                     "Issue type %s; HTTP status %d where it refuses.",
                     row->code, row->status);
        else
            snprintf(text, sizeof(text),
                     "Issue type %s; information or warning.", row->code);
        put(l, row->word, row->display, text);
    }
}

/* ---- the Bundle ------------------------------------------------------------ */

static const struct system {
    const char *id, *name, *title, *description;
    void (*put_all)(struct list *l);
} systems[] = {
    { "av-observation", "AvObservation", "Readings of a dialysis access",
      "Observation.code, and the codes that a coded value may have.",
      put_observations },
    { "av-method", "AvMethod", "Methods of measuring access flow",
      "Observation.method. Readings of different methods confirm each other "
      "never; those without a method form a series of their own.",
      put_methods },
    { "av-access-type", "AvAccessType", "Types of dialysis access",
      "BodyStructure.morphology. Also known in av-observation, as values of "
      "access-type.",
      put_access_types },
    { "av-site", "AvSite", "Sides and regions of the body",
      "Body sites of readings and accesses: a side, a region, or both.",
      put_sites },
    { "av-task", "AvTask", "Codes of suggestions and reminders",
      "Task.code, Task.reasonCode, Task.businessStatus and Task.meta.tag; of "
      "what goes with a Task, ServiceRequest.code and Flag.code.",
      put_tasks },
    { "av-task-io", "AvTaskIo", "What a suggestion rests on",
      "Task.input.type.", put_inputs },
    { "av-error", "AvError", "Why something was refused or remarked on",
      "OperationOutcome.issue.details. The words are stable; the texts beside "
      "them are not.",
      put_errors },
};

static void write_system(const char *base, const struct system *s,
                         const char *path, struct buf *out)
{
    struct list counted = { NULL, 0 }, written = { out, 0 };

    s->put_all(&counted);
    fhir_out_open(out, "resource", '{');
    fhir_out_text(out, "resourceType", "CodeSystem");
    fhir_out_text(out, "id", s->id);
    fhir_out_join(out, "url", base, path);
    fhir_out_text(out, "version", "1");
    fhir_out_text(out, "name", s->name);
    fhir_out_text(out, "title", s->title);
    fhir_out_text(out, "status", "active");
    fhir_out_bool(out, "experimental", false);
    fhir_out_text(out, "description", s->description);
    fhir_out_bool(out, "caseSensitive", true);
    fhir_out_text(out, "content", "complete");
    fhir_out_int(out, "count", (long long)counted.count);
    fhir_out_open(out, "concept", '[');
    s->put_all(&written);
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
}

enum err fhir_write_codesystems(const char *base, struct buf *out)
{
    buf_puts(out, "{\"resourceType\":\"Bundle\"");
    fhir_out_text(out, "id", "headgate-codesystems");
    fhir_out_text(out, "type", "collection");
    fhir_out_open(out, "entry", '[');
    for (size_t i = 0; i < COUNT(systems); i++) {
        char path[DISPLAY_SIZE];

        snprintf(path, sizeof(path), "/CodeSystem/%s", systems[i].id);
        open_line(out);
        fhir_out_join(out, "fullUrl", base, path);
        write_system(base, &systems[i], path, out);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
    buf_puts(out, "\n");
    return buf_ok(out);
}

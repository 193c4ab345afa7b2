/* The plan of a Task: as an attachment, out of it again, and what changed. */
#include "adapters/fhir_task.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_plan.h"

#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>

/* ---- the attachment ----------------------------------------------------------- */

void fhir_task_out_plan(const char *base, const struct fhir_plan *plan,
                        struct buf *out)
{
    const struct task_code *type = task_code_input(INPUT_PLAN);

    fhir_out_open(out, NULL, '{');
    fhir_out_concept(out, "type", base, TASK_IO_SYSTEM, type->code,
                     type->display, NULL);
    fhir_out_attachment(
        out, "valueAttachment",
        &(struct fhir_attachment){ .content_type = "application/json",
                                   .bytes = plan->json,
                                   .len = plan->len,
                                   .title = plan->title,
                                   .created_ms = plan->created_ms });
    fhir_out_close(out, '}');
}

/* ---- and out of it again --------------------------------------------------------- */

static bool ends_with(const char *text, const char *end)
{
    size_t len = text != NULL ? strlen(text) : 0, tail = strlen(end);

    return len >= tail && strcmp(text + len - tail, end) == 0;
}

static bool is_kind(json_t *input, enum fhir_input_kind kind)
{
    json_t *coding = json_object_get(json_object_get(input, "type"), "coding");

    for (size_t i = 0; i < json_array_size(coding); i++) {
        json_t *one = json_array_get(coding, i);

        if (fhir_is(one, "code", task_code_input(kind)->code) &&
            ends_with(fhir_string(one, "system"), TASK_IO_SYSTEM))
            return true;
    }
    return false;
}

bool fhir_task_is_ours(json_t *input)
{
    return is_kind(input, INPUT_PLAN) || is_kind(input, INPUT_WORKSHEET);
}

static json_t *plan_input(json_t *task)
{
    json_t *inputs = json_object_get(task, "input");

    for (size_t i = 0; i < json_array_size(inputs); i++) {
        json_t *input = json_array_get(inputs, i);

        if (is_kind(input, INPUT_PLAN))
            return input;
    }
    return NULL;
}

/* ERR_ABSENT: not what fhir_out_attachment() writes. */
static enum err decode(const char *text, struct buf *out)
{
    size_t len = text != NULL ? strlen(text) : 0;
    unsigned char *bytes;
    int got, pad;

    if (len == 0 || len % 4 != 0 || len > INT32_MAX)
        return ERR_ABSENT;
    pad = (text[len - 1] == '=') + (text[len - 2] == '=');
    bytes = malloc(len);
    if (bytes == NULL)
        return ERR_MEMORY;
    got = EVP_DecodeBlock(bytes, (const unsigned char *)text, (int)len);
    if (got >= pad)
        buf_add(out, (const char *)bytes, (size_t)(got - pad));
    free(bytes);
    return got >= pad ? buf_ok(out) : ERR_ABSENT;
}

enum err fhir_plan_of_task(const char *json, size_t len, struct buf *out)
{
    struct fhir_task_text t;
    json_t *input;
    enum err e = fhir_task_load(json, len, "Task", &t);

    if (e != ERR_OK)
        return e;
    input = plan_input(t.tree);
    e = input != NULL
            ? decode(fhir_string(json_object_get(input, "valueAttachment"),
                                 "data"),
                     out)
            : ERR_ABSENT;
    json_decref(t.tree);
    return e;
}

static json_t *document(const char *json, size_t len)
{
    return json_loadb(json, len, JSON_REJECT_DUPLICATES, NULL);
}

bool fhir_plan_has_stages(const char *json, size_t len)
{
    json_t *plan = document(json, len);
    bool any = json_array_size(json_object_get(plan, "stages")) > 0;

    json_decref(plan);
    return any;
}

/* ---- what changed ---------------------------------------------------------------- */

/* clang-format off */
static const struct {
    const char *within, *member, *words;
} changes[] = {
    { "inputs", "access_type", "the type of the access" },
    { "inputs", "side", "the side" },
    { "inputs", "region", "the region of the access" },
    { "inputs", "method", "the method of the flows" },
    { "inputs", "baseline", "the flow before the band" },
    { "inputs", "map_mmhg", "the mean pressure" },
    { "inputs", "map_lowest_mmhg", "the lowest usual mean pressure" },
    { "inputs", "cvp_mmhg", "the central venous pressure" },
    { "inputs", "haematocrit_frac", "the haematocrit" },
    { "inputs", "conduit_mm", "the diameter of the access" },
    { "inputs", "artery_mm", "the diameter of the feeding artery" },
    { "inputs", "index_open", "the index of the finger" },
    { "inputs", "index_compressed", "the index with the access pressed shut" },
    { "inputs", "static_mmhg", "the static pressure" },
    { "inputs", "stenosis_pct", "the outflow stenosis" },
    { "inputs", "prescribed_pump_ml_min", "the prescribed pump flow" },
    { "inputs", "ischaemia", "whether the hand is a ground" },
    { "inputs", "limits", "the limits of the policy" },
    { NULL, "missing", "what is missing" },
    { NULL, "cautions", "cautions" },
    { "model", "version", "the model" },
    { "model", "policy", "the policy" },
    { "model", "beliefs", "the beliefs about technique" },
};
/* clang-format on */

static void say(const char *words, bool *any, struct buf *out)
{
    buf_puts(out, *any ? ", " : "");
    buf_puts(out, words);
    *any = true;
}

/* A new step, or what was measured after one that was there. */
static void say_stages(json_t *before, json_t *now, bool *any, struct buf *out)
{
    json_t *old = json_object_get(before, "stages");
    json_t *new = json_object_get(now, "stages");
    size_t count = json_array_size(new);

    if (count > json_array_size(old))
        say(count == 1 ? "a band was tied" : "a new step", any, out);
    else if (count < json_array_size(old))
        say("a step was taken back", any, out);
    else if (!fhir_task_alike(old, new))
        say("what was measured after a step", any, out);
}

void fhir_plan_change(const char *before, size_t before_len, const char *now,
                      size_t now_len, struct buf *out)
{
    json_t *old = document(before, before_len), *new = document(now, now_len);
    bool any = false;

    if (old == NULL || new == NULL)
        goto undo;
    say_stages(old, new, &any, out);
    for (size_t i = 0; i < COUNT(changes); i++) {
        json_t *a = old, *b = new;

        if (changes[i].within != NULL) {
            a = json_object_get(a, changes[i].within);
            b = json_object_get(b, changes[i].within);
        }
        a = json_object_get(a, changes[i].member);
        b = json_object_get(b, changes[i].member);
        if (a != b && (a == NULL || b == NULL || !fhir_task_alike(a, b)))
            say(changes[i].words, &any, out);
    }
    if (!any)
        say("the readings it names", &any, out);
undo:
    json_decref(old);
    json_decref(new);
}

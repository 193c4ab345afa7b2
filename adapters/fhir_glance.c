#include "adapters/fhir_glance.h"

#include "adapters/queue_text.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_MAX = 400, DIGITS = 15 };

static json_t *load(const char *json, size_t len)
{
    json_t *root = json_loadb(json, len, JSON_REJECT_DUPLICATES, NULL);

    if (json_is_object(root))
        return root;
    json_decref(root);
    return NULL;
}

static const char *text_of(json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));

    return text != NULL ? text : "";
}

static void say(struct buf *out, const char *label, const char *text)
{
    if (text[0] == '\0')
        return;
    buf_printf(out, "  %-12s", label);
    queue_text_clean(out, text);
    buf_puts(out, "\n");
}

static void say_codings(struct buf *out, const char *label, json_t *concept)
{
    json_t *coding;
    struct buf line;
    size_t i;

    json_array_foreach(json_object_get(concept, "coding"), i, coding)
    {
        buf_init(&line, TEXT_MAX);
        buf_printf(&line, "%s|%s", text_of(coding, "system"),
                   text_of(coding, "code"));
        if (text_of(coding, "display")[0] != '\0')
            buf_printf(&line, " (%s)", text_of(coding, "display"));
        say(out, label, line.data);
        buf_clear(&line);
    }
    say(out, label, text_of(concept, "text"));
}

/* Whatever form the value has, as it stands. */
static void say_value(struct buf *out, json_t *holder)
{
    const char *key;
    json_t *value;
    char *text;

    json_object_foreach(holder, key, value)
    {
        if (strncmp(key, "value", 5) != 0)
            continue;
        text = json_dumps(value, JSON_COMPACT | JSON_ENCODE_ANY |
                                     JSON_REAL_PRECISION(DIGITS));
        say(out, "value", text != NULL ? text : "");
        free(text);
    }
}

static void say_reference(struct buf *out, const char *label, json_t *ref)
{
    json_t *identifier = json_object_get(ref, "identifier");

    say(out, label, text_of(ref, "reference"));
    say(out, label, text_of(ref, "display"));
    say(out, label, text_of(identifier, "value"));
}

static void say_components(struct buf *out, json_t *root)
{
    json_t *component;
    size_t i;

    json_array_foreach(json_object_get(root, "component"), i, component)
    {
        buf_printf(out, "  component %zu\n", i + 1);
        say_codings(out, "code", json_object_get(component, "code"));
        say_value(out, component);
    }
}

static void say_all(struct buf *out, json_t *root)
{
    static const char *const times[] = { "effectiveDateTime",
                                         "effectiveInstant", "issued" };
    json_t *period = json_object_get(root, "effectivePeriod");
    json_t *each;
    size_t i;

    say(out, "type", text_of(root, "resourceType"));
    say(out, "status", text_of(root, "status"));
    say_codings(out, "code", json_object_get(root, "code"));
    say_value(out, root);
    say_components(out, root);
    say_codings(out, "body site", json_object_get(root, "bodySite"));
    say_codings(out, "method", json_object_get(root, "method"));
    for (i = 0; i < COUNT(times); i++)
        say(out, times[i][0] == 'i' ? "issued" : "measured",
            text_of(root, times[i]));
    say(out, "from", text_of(period, "start"));
    say(out, "to", text_of(period, "end"));
    say_reference(out, "patient", json_object_get(root, "subject"));
    say_reference(out, "access",
                  json_array_get(json_object_get(root, "focus"), 0));
    say_reference(out, "performer",
                  json_array_get(json_object_get(root, "performer"), 0));
    say_reference(out, "device", json_object_get(root, "device"));
    json_array_foreach(json_object_get(root, "identifier"), i, each)
    {
        say(out, "identifier", text_of(each, "value"));
    }
}

enum err fhir_glance_write(const char *json, size_t len, struct buf *out)
{
    json_t *root = load(json, len);

    if (root == NULL)
        return ERR_FORM;
    say_all(out, root);
    json_decref(root);
    return buf_ok(out);
}

static json_t *holder_of(json_t *root, int slot)
{
    return slot > 0 ? json_array_get(json_object_get(root, "component"),
                                     (size_t)slot - 1)
                    : root;
}

enum err fhir_glance_unit(const char *json, size_t len, int slot,
                          struct buf *word, bool *coded)
{
    json_t *root = load(json, len), *holder, *quantity;

    if (root == NULL)
        return ERR_FORM;
    holder = holder_of(root, slot);
    quantity = json_object_get(holder, "valueQuantity");
    *coded = json_object_get(quantity, "code") != NULL;
    buf_puts(word, text_of(quantity, "unit"));
    json_decref(root);
    return holder != NULL ? buf_ok(word) : ERR_ABSENT;
}

enum err fhir_glance_coding(const char *json, size_t len, int slot, size_t i,
                            struct buf *system, struct buf *code)
{
    json_t *root = load(json, len), *code_of, *coding;
    enum err e = ERR_ABSENT;

    if (root == NULL)
        return ERR_FORM;
    code_of = json_object_get(holder_of(root, slot), "code");
    coding = json_array_get(json_object_get(code_of, "coding"), i);
    if (coding != NULL) {
        buf_puts(system, text_of(coding, "system"));
        buf_puts(code, text_of(coding, "code"));
        e = buf_ok(system) == ERR_OK ? buf_ok(code) : buf_ok(system);
    }
    json_decref(root);
    return e;
}

#include "adapters/fhir_said.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { MEMBERS_MAX = 64, DEPTH_MAX = 16 };

static void put(json_t *value, int depth, struct buf *out);

static int by_name(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Only shown, where a code says the same. */
static bool is_shown_only(const json_t *object, const char *key)
{
    if (strcmp(key, "display") == 0)
        return true;
    if (strcmp(key, "text") == 0)
        return json_array_size(json_object_get(object, "coding")) > 0;
    return strcmp(key, "unit") == 0 && json_object_get(object, "code") != NULL;
}

/* A text with its length before it, so that no text can look like two. */
static void put_text(const char *text, size_t len, struct buf *out)
{
    buf_printf(out, "%zu:", len);
    buf_add(out, text, len);
}

static void put_members(json_t *object, int depth, struct buf *out)
{
    const char *keys[MEMBERS_MAX] = { NULL }, *key;
    json_t *value;
    size_t count = 0;

    json_object_foreach(object, key, value)
    {
        if (count < MEMBERS_MAX && !is_shown_only(object, key))
            keys[count++] = key;
    }
    qsort(keys, count, sizeof(keys[0]), by_name);
    buf_puts(out, "{");
    for (size_t i = 0; i < count; i++) {
        put_text(keys[i], strlen(keys[i]), out);
        put(json_object_get(object, keys[i]), depth + 1, out);
    }
    buf_puts(out, "}");
}

static void put(json_t *value, int depth, struct buf *out)
{
    if (depth > DEPTH_MAX)
        return;
    if (json_is_object(value)) {
        put_members(value, depth, out);
    } else if (json_is_array(value)) {
        buf_puts(out, "[");
        for (size_t i = 0; i < json_array_size(value); i++)
            put(json_array_get(value, i), depth + 1, out);
        buf_puts(out, "]");
    } else if (json_is_string(value)) {
        put_text(json_string_value(value), json_string_length(value), out);
    } else if (json_is_number(value)) {
        buf_printf(out, "%.15g;", json_number_value(value));
    } else {
        buf_puts(out, json_is_true(value) ? "true;" : "false;");
    }
}

enum err fhir_said_value(const char *json, size_t len, struct buf *out)
{
    json_t *root = json_loadb(json, len, JSON_DECODE_INT_AS_REAL, NULL), *value;
    const char *key;

    if (root == NULL)
        return ERR_FORM;
    json_object_foreach(root, key, value)
    {
        if (strncmp(key, "value", 5) != 0 && strcmp(key, "component") != 0)
            continue;
        put_text(key, strlen(key), out);
        put(value, 0, out);
    }
    json_decref(root);
    return buf_ok(out);
}

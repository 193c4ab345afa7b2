#include "adapters/fhir_patch.h"

#include "adapters/fhir_json.h"
#include "adapters/fhir_pointer.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- numbers keep their digits ------------------------------------------ */

/*
 * The JSON library turns a number into a double and its digits are gone, and
 * in FHIR 1.10 is not 1.1.  So each number goes through it as a string that
 * begins with a character which no string of FHIR may hold.
 */
#define MARK         '\x01'
#define MARK_ESCAPED "\"\\u0001"

static const char number_start[] = "-0123456789";
static const char number_rest[] = "+-.0123456789eE";

static void hide_numbers(const char *json, size_t len, struct buf *out)
{
    size_t from = 0;
    bool in_string = false;

    for (size_t i = 0; i < len;) {
        size_t n = 1;

        if (in_string && json[i] == '\\') {
            n = i + 1 < len ? 2 : 1;
        } else if (json[i] == '"') {
            in_string = !in_string;
        } else if (!in_string && strchr(number_start, json[i]) != NULL) {
            while (i + n < len && strchr(number_rest, json[i + n]) != NULL)
                n++;
            buf_add(out, json + from, i - from);
            buf_puts(out, MARK_ESCAPED);
            buf_add(out, json + i, n);
            buf_puts(out, "\"");
            from = i + n;
        }
        i += n;
    }
    buf_add(out, json + from, len - from);
}

static void show_numbers(const char *json, size_t len, struct buf *out)
{
    const size_t mark = sizeof(MARK_ESCAPED) - 1;

    for (size_t i = 0; i < len;) {
        size_t n = 1;

        if (json[i] != '"') {
            while (i + n < len && json[i + n] != '"')
                n++;
            buf_add(out, json + i, n);
            i += n;
            continue;
        }
        while (i + n < len && json[i + n] != '"')
            n += json[i + n] == '\\' ? 2 : 1;
        if (n > mark && memcmp(json + i, MARK_ESCAPED, mark) == 0)
            buf_add(out, json + i + mark, n - mark);
        else
            buf_add(out, json + i, n + 1);
        i += n + 1;
    }
}

static enum err load(const char *json, size_t len, struct outcome *outcome,
                     json_t **root)
{
    struct buf hidden;
    json_t *plain = NULL;
    enum err e = fhir_load(json, len, outcome, &plain);

    json_decref(plain); /* it was for the syntax, and its words */
    buf_init(&hidden, 16 * len + 64);
    if (e == ERR_OK) {
        hide_numbers(json, len, &hidden);
        e = buf_ok(&hidden);
    }
    if (e == ERR_OK)
        e = fhir_load(hidden.data, hidden.len, outcome, root);
    buf_clear(&hidden);
    return e;
}

/* ---- equality (RFC 6902, 4.6) ------------------------------------------- */

static const char *number_of(json_t *value)
{
    const char *text = json_string_value(value);

    return text != NULL && text[0] == MARK ? text + 1 : NULL;
}

static bool alike(json_t *a, json_t *b)
{
    const char *key, *x = number_of(a), *y = number_of(b);
    json_t *item;
    bool same = true;
    size_t i;

    if (x != NULL && y != NULL)
        return strtod(x, NULL) == strtod(y, NULL);
    if (json_typeof(a) != json_typeof(b))
        return false;
    if (json_is_array(a)) {
        if (json_array_size(a) != json_array_size(b))
            return false;
        json_array_foreach(a, i, item)
        {
            same = same && alike(item, json_array_get(b, i));
        }
        return same;
    }
    if (!json_is_object(a))
        return json_equal(a, b) != 0;
    if (json_object_size(a) != json_object_size(b))
        return false;
    json_object_foreach(a, key, item)
    {
        json_t *other = json_object_get(b, key);

        same = same && other != NULL && alike(item, other);
    }
    return same;
}

/* ---- one operation ------------------------------------------------------ */

struct patching {
    json_t *root; /* owned */
    struct outcome *outcome;
    size_t index;  /* of the operation */
    size_t copied; /* values */
};

static enum err refuse(struct patching *p, enum err e, const char *text)
{
    outcome_add(p->outcome, SEV_ERROR,
                e == ERR_FORM       ? "bad-element"
                : e == ERR_CONFLICT ? "patch-conflict"
                                    : "too-many",
                "", "Operation %zu of the patch: %s", p->index, text);
    return e;
}

static const char no_place[] = "There is nothing at this place";

static size_t count_values(json_t *value)
{
    size_t count = 1, i;
    const char *key;
    json_t *item;

    json_array_foreach(value, i, item)
    {
        count += count_values(item);
    }
    json_object_foreach(value, key, item)
    {
        count += count_values(item);
    }
    return count;
}

static enum err read_pointer(struct patching *p, json_t *operation,
                             const char *name, struct json_pointer *out)
{
    const char *text = fhir_string(operation, name);

    if (text == NULL)
        return refuse(p, ERR_FORM,
                      "It needs a path, and a move and copy a from");
    return json_pointer_read(text, out) == ERR_OK
               ? ERR_OK
               : refuse(p, ERR_FORM, "A path is no JSON Pointer");
}

/* Takes value over. */
static enum err add(struct patching *p, const struct json_pointer *at,
                    json_t *value)
{
    enum err e = ERR_OK;

    if (value == NULL)
        return ERR_MEMORY;
    if (at->count == 0) {
        json_decref(p->root);
        p->root = value;
        return ERR_OK;
    }
    e = json_pointer_add(p->root, at, value);
    return e == ERR_ABSENT ? refuse(p, ERR_CONFLICT, no_place) : e;
}

static enum err take_out(struct patching *p, const struct json_pointer *at)
{
    if (at->count == 0)
        return refuse(p, ERR_CONFLICT, "A resource cannot be taken away");
    return json_pointer_remove(p->root, at) == ERR_OK
               ? ERR_OK
               : refuse(p, ERR_CONFLICT, no_place);
}

static enum err run_replace(struct patching *p, const struct json_pointer *at,
                            json_t *value)
{
    if (at->count > 0 && json_pointer_get(p->root, at) == NULL)
        return refuse(p, ERR_CONFLICT, no_place);
    if (at->count == 0)
        return add(p, at, json_deep_copy(value));
    return json_pointer_replace(p->root, at, json_deep_copy(value));
}

static enum err run_copy(struct patching *p, const struct json_pointer *from,
                         const struct json_pointer *at, bool move)
{
    json_t *value = json_pointer_get(p->root, from);
    enum err e = ERR_OK;

    if (value == NULL)
        return refuse(p, ERR_CONFLICT, no_place);
    if (move && json_pointer_within(at, from))
        return refuse(p, ERR_CONFLICT, "It would move a value into itself");
    p->copied += count_values(value);
    if (p->copied > PATCH_VALUES_MAX)
        return refuse(p, ERR_LIMIT, "It copies more than is taken");
    value = json_deep_copy(value);
    /* to where it is already: there is nothing to move */
    if (move && json_pointer_same(from, at)) {
        json_decref(value);
        return ERR_OK;
    }
    if (value != NULL && move)
        e = take_out(p, from);
    if (e != ERR_OK) {
        json_decref(value);
        return e;
    }
    return add(p, at, value);
}

static enum err run_test(struct patching *p, const struct json_pointer *at,
                         json_t *value)
{
    json_t *found = json_pointer_get(p->root, at);

    if (found == NULL)
        return refuse(p, ERR_CONFLICT, no_place);
    return alike(found, value) ? ERR_OK
                               : refuse(p, ERR_CONFLICT,
                                        "The test failed: another value is "
                                        "stored");
}

static enum err run_valued(struct patching *p, const char *op,
                           const struct json_pointer *at, json_t *value)
{
    if (value == NULL)
        return refuse(p, ERR_FORM, "It needs a value");
    if (strcmp(op, "add") == 0)
        return add(p, at, json_deep_copy(value));
    return strcmp(op, "test") == 0 ? run_test(p, at, value)
                                   : run_replace(p, at, value);
}

static enum err run_operation(struct patching *p, json_t *operation)
{
    const char *op = fhir_string(operation, "op");
    struct json_pointer at, from;
    enum err e;

    if (op == NULL)
        return refuse(p, ERR_FORM, "It needs an op");
    e = read_pointer(p, operation, "path", &at);
    if (e != ERR_OK)
        return e;
    if (strcmp(op, "remove") == 0)
        return take_out(p, &at);
    if (strcmp(op, "add") == 0 || strcmp(op, "replace") == 0 ||
        strcmp(op, "test") == 0)
        return run_valued(p, op, &at, json_object_get(operation, "value"));
    if (strcmp(op, "move") != 0 && strcmp(op, "copy") != 0)
        return refuse(p, ERR_FORM,
                      "An op is add, remove, replace, move, copy or test");
    e = read_pointer(p, operation, "from", &from);
    return e == ERR_OK ? run_copy(p, &from, &at, strcmp(op, "move") == 0) : e;
}

/* ---- all of them -------------------------------------------------------- */

static enum err run_all(struct patching *p, json_t *operations)
{
    enum err e = ERR_OK;
    json_t *operation;

    if (!json_is_array(operations)) {
        outcome_add(p->outcome, SEV_ERROR, "bad-element", "",
                    "A JSON Patch is a list of operations");
        return ERR_FORM;
    }
    if (json_array_size(operations) > PATCH_OPERATIONS_MAX) {
        outcome_add(p->outcome, SEV_ERROR, "too-many", "",
                    "At most %d operations are taken", PATCH_OPERATIONS_MAX);
        return ERR_LIMIT;
    }
    json_array_foreach(operations, p->index, operation)
    {
        if (e == ERR_OK)
            e = run_operation(p, operation);
        if (e != ERR_OK)
            break;
    }
    return e;
}

static enum err write_out(json_t *root, struct buf *out)
{
    char *text = json_dumps(root, JSON_COMPACT | JSON_ENCODE_ANY);

    if (text == NULL)
        return ERR_MEMORY;
    show_numbers(text, strlen(text), out);
    free(text);
    return buf_ok(out);
}

enum err fhir_patch_apply(const char *json, size_t len, const char *patch,
                          size_t patch_len, struct outcome *outcome,
                          struct buf *out)
{
    struct patching p = { .root = NULL, .outcome = outcome };
    json_t *operations = NULL;
    enum err e = load(patch, patch_len, outcome, &operations);

    if (e == ERR_OK)
        e = load(json, len, outcome, &p.root);
    if (e == ERR_OK)
        e = run_all(&p, operations);
    if (e == ERR_OK)
        e = write_out(p.root, out);
    json_decref(p.root);
    json_decref(operations);
    return e;
}

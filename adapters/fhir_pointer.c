#include "adapters/fhir_pointer.h"

#include <string.h>

enum err json_pointer_read(const char *text, struct json_pointer *p)
{
    char *out = p->text;

    p->count = 0;
    if (strlen(text) >= POINTER_TEXT_MAX)
        return ERR_FORM;
    while (*text == '/') {
        if (p->count == POINTER_PARTS_MAX)
            return ERR_FORM;
        p->parts[p->count++] = out;
        for (text++; *text != '\0' && *text != '/'; text++) {
            if (*text == '~') {
                text++;
                if (*text != '0' && *text != '1')
                    return ERR_FORM;
                *out++ = *text == '0' ? '~' : '/';
            } else {
                *out++ = *text;
            }
        }
        *out++ = '\0';
    }
    return *text == '\0' ? ERR_OK : ERR_FORM;
}

/* "0", or digits without a leading zero (RFC 6901, section 4). */
static bool read_index(const char *part, size_t *index)
{
    size_t len = strlen(part);

    if (len == 0 || len > 9 || strspn(part, "0123456789") != len ||
        (part[0] == '0' && len > 1))
        return false;
    *index = 0;
    for (size_t i = 0; i < len; i++)
        *index = *index * 10 + (size_t)(part[i] - '0');
    return true;
}

static json_t *step(json_t *node, const char *part)
{
    size_t index;

    if (json_is_object(node))
        return json_object_get(node, part);
    return json_is_array(node) && read_index(part, &index)
               ? json_array_get(node, index)
               : NULL;
}

static json_t *walk(json_t *root, const struct json_pointer *p, size_t count)
{
    for (size_t i = 0; root != NULL && i < count; i++)
        root = step(root, p->parts[i]);
    return root;
}

json_t *json_pointer_get(json_t *root, const struct json_pointer *p)
{
    return walk(root, p, p->count);
}

enum err json_pointer_add(json_t *root, const struct json_pointer *p,
                          json_t *value)
{
    const char *part = p->parts[p->count - 1];
    json_t *parent = walk(root, p, p->count - 1);
    size_t index = 0;

    if (json_is_object(parent))
        return json_object_set_new(parent, part, value) == 0 ? ERR_OK
                                                             : ERR_MEMORY;
    if (json_is_array(parent) && strcmp(part, "-") == 0)
        return json_array_append_new(parent, value) == 0 ? ERR_OK : ERR_MEMORY;
    if (json_is_array(parent) && read_index(part, &index) &&
        index <= json_array_size(parent))
        return json_array_insert_new(parent, index, value) == 0 ? ERR_OK
                                                                : ERR_MEMORY;
    json_decref(value);
    return ERR_ABSENT;
}

enum err json_pointer_replace(json_t *root, const struct json_pointer *p,
                              json_t *value)
{
    const char *part = p->parts[p->count - 1];
    json_t *parent = walk(root, p, p->count - 1);
    size_t index;

    if (json_is_object(parent))
        return json_object_set_new(parent, part, value) == 0 ? ERR_OK
                                                             : ERR_MEMORY;
    if (json_is_array(parent) && read_index(part, &index))
        return json_array_set_new(parent, index, value) == 0 ? ERR_OK
                                                             : ERR_MEMORY;
    json_decref(value);
    return ERR_ABSENT;
}

enum err json_pointer_remove(json_t *root, const struct json_pointer *p)
{
    const char *part = p->parts[p->count - 1];
    json_t *parent = walk(root, p, p->count - 1);
    size_t index;
    bool gone = false;

    if (json_is_object(parent))
        gone = json_object_del(parent, part) == 0;
    else if (json_is_array(parent) && read_index(part, &index))
        gone = json_array_remove(parent, index) == 0;
    return gone ? ERR_OK : ERR_ABSENT;
}

static bool starts_as(const struct json_pointer *a,
                      const struct json_pointer *b)
{
    for (size_t i = 0; i < b->count; i++) {
        if (i >= a->count || strcmp(a->parts[i], b->parts[i]) != 0)
            return false;
    }
    return true;
}

bool json_pointer_within(const struct json_pointer *a,
                         const struct json_pointer *b)
{
    return a->count > b->count && starts_as(a, b);
}

bool json_pointer_same(const struct json_pointer *a,
                       const struct json_pointer *b)
{
    return a->count == b->count && starts_as(a, b);
}

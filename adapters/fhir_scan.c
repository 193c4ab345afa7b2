#include "adapters/fhir_json.h"

#include <string.h>

/*
 * Looks at JSON as bytes, for what the tree does not tell: where a value
 * starts and ends, and where a mistake stands.  Nothing here recurses, and
 * nothing reads past len, whatever the bytes are.
 */

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

size_t fhir_scan_blank(const char *json, size_t len, size_t at)
{
    while (at < len && is_blank(json[at]))
        at++;
    return at;
}

/* The offset after the string that starts at at. */
static size_t after_string(const char *json, size_t len, size_t at)
{
    for (at++; at < len && json[at] != '"'; at++) {
        if (json[at] == '\\')
            at++;
    }
    return at < len ? at + 1 : len;
}

/* The offset after the value that starts at at. */
static size_t after_value(const char *json, size_t len, size_t at)
{
    size_t depth = 0;

    while (at < len) {
        char c = json[at];

        if (c == '"') {
            at = after_string(json, len, at);
        } else if (c == '{' || c == '[') {
            depth++;
            at++;
        } else if (c == '}' || c == ']') {
            if (depth == 0)
                return at; /* the end of a number, and of its parent */
            depth--;
            at++;
        } else if (depth == 0 && (c == ',' || is_blank(c))) {
            return at;
        } else {
            at++;
            continue; /* inside a number or word, or between tokens */
        }
        if (depth == 0)
            return at;
    }
    return at;
}

enum err fhir_scan_check(const char *json, size_t len, size_t *at)
{
    const char *nul = len > 0 ? memchr(json, '\0', len) : NULL;
    size_t depth = 0;

    if (nul != NULL) {
        *at = (size_t)(nul - json);
        return ERR_FORM;
    }
    for (size_t i = 0; i < len;) {
        if (json[i] == '"') {
            i = after_string(json, len, i);
            continue;
        }
        if (json[i] == '{' || json[i] == '[')
            depth++;
        else if ((json[i] == '}' || json[i] == ']') && depth > 0)
            depth--;
        if (depth > FHIR_DEPTH_MAX) {
            *at = i;
            return ERR_LIMIT;
        }
        i++;
    }
    return ERR_OK;
}

bool fhir_scan_next(const char *json, size_t len, size_t *at,
                    struct fhir_span *key, struct fhir_span *value)
{
    size_t i = *at, start;

    /* At the opening bracket, or after the previous value. */
    i = fhir_scan_blank(json, len, i);
    if (i >= len || (json[i] != '{' && json[i] != '[' && json[i] != ','))
        return false;
    i = fhir_scan_blank(json, len, i + 1);
    if (i >= len || json[i] == '}' || json[i] == ']')
        return false;
    if (key != NULL) {
        if (json[i] != '"')
            return false;
        start = i;
        i = after_string(json, len, i);
        *key = (struct fhir_span){ start, i - start };
        i = fhir_scan_blank(json, len, i);
        if (i >= len || json[i] != ':')
            return false;
        i = fhir_scan_blank(json, len, i + 1);
    }
    start = i;
    i = after_value(json, len, i);
    if (i == start)
        return false;
    *value = (struct fhir_span){ start, i - start };
    *at = i;
    return true;
}

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

/* One character of a string; -1 for one that no name of ours holds. */
static int next_char(const char *text, size_t len, size_t *at)
{
    int c = (unsigned char)text[(*at)++];
    int value = 0;

    if (c != '\\')
        return c;
    if (*at >= len)
        return -1;
    c = (unsigned char)text[(*at)++];
    if (c != 'u')
        return c == '/' || c == '"' || c == '\\' ? c : -1;
    for (int i = 0; i < 4; i++) {
        int digit = *at < len ? hex(text[(*at)++]) : -1;

        if (digit < 0)
            return -1;
        value = value * 16 + digit;
    }
    return value < 0x80 ? value : -1;
}

bool fhir_scan_is(const char *json, struct fhir_span key, const char *name)
{
    const char *text = json + key.offset + 1;
    size_t at = 0, len = key.len >= 2 ? key.len - 2 : 0;

    for (; *name != '\0'; name++) {
        if (at >= len || next_char(text, len, &at) != *name)
            return false;
    }
    return at == len;
}

bool fhir_scan_member(const char *json, size_t len, size_t from,
                      const char *name, struct fhir_span *value)
{
    struct fhir_span key;

    while (fhir_scan_next(json, len, &from, &key, value)) {
        if (fhir_scan_is(json, key, name))
            return true;
    }
    return false;
}

/* Where the scan is: one frame for each open bracket. */
struct frame {
    bool list;
    size_t index;         /* of a list */
    struct fhir_span key; /* of an object, the last one seen */
};

struct path {
    struct frame frames[FHIR_DEPTH_MAX];
    size_t depth;
    bool key_next;
    struct fhir_span root; /* value of the outermost resourceType */
};

static void on_string(struct path *p, const char *json, struct fhir_span s)
{
    struct frame *top = p->depth > 0 ? &p->frames[p->depth - 1] : NULL;

    if (top == NULL)
        return;
    if (!top->list && p->key_next)
        top->key = s;
    else if (p->depth == 1 && !top->list && top->key.len > 0 &&
             fhir_scan_is(json, top->key, "resourceType"))
        p->root = s;
}

static void on_byte(struct path *p, char c)
{
    struct frame *top = p->depth > 0 ? &p->frames[p->depth - 1] : NULL;

    if ((c == '{' || c == '[') && p->depth < FHIR_DEPTH_MAX) {
        p->frames[p->depth++] = (struct frame){ .list = c == '[' };
        p->key_next = c == '{';
    } else if ((c == '}' || c == ']') && top != NULL) {
        p->depth--;
        p->key_next = false;
    } else if (c == ',' && top != NULL) {
        p->key_next = !top->list;
        top->index += top->list ? 1 : 0;
    } else if (c == ':') {
        p->key_next = false;
    }
}

/* A key without its quotes, if it is short enough to be a name. */
static bool copy_key(const char *json, struct fhir_span s, char out[64])
{
    if (s.len < 3 || s.len - 2 >= 64)
        return false;
    memcpy(out, json + s.offset + 1, s.len - 2);
    out[s.len - 2] = '\0';
    return true;
}

void fhir_scan_place(const char *json, size_t len, size_t at,
                     struct fhir_place *p)
{
    struct path path = { .depth = 0 };
    char name[64], root[64];

    for (size_t i = 0; i < len && i < at;) {
        if (json[i] == '"') {
            size_t end = after_string(json, len, i);

            on_string(&path, json, (struct fhir_span){ i, end - i });
            i = end;
        } else {
            on_byte(&path, json[i++]);
        }
    }
    fhir_place_start(p, "Resource");
    if (copy_key(json, path.root, name) &&
        fhir_shape_path(name, root, sizeof(root)))
        fhir_place_start(p, root);
    for (size_t i = 0; i < path.depth; i++) {
        if (path.frames[i].list)
            fhir_place_index(p, path.frames[i].index);
        else if (copy_key(json, path.frames[i].key, name))
            fhir_place_push(p, name);
    }
}

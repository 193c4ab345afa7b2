#include "adapters/fhir_patch_out.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_task.h"

#include <string.h>

struct patch {
    const struct fhir_task_text *theirs, *merged;
    struct buf *out;
    size_t count; /* operations, but for the test */
};

/* "/a~1b": a JSON Pointer to a member at the top, or (end) behind the last item
 * of it (RFC 6901, 3 and 4). */
static void put_path(struct patch *p, const char *name, bool end)
{
    struct buf path;

    buf_init(&path, 4096);
    buf_puts(&path, "/");
    for (; *name != '\0'; name++) {
        if (*name == '~')
            buf_puts(&path, "~0");
        else if (*name == '/')
            buf_puts(&path, "~1");
        else
            buf_add(&path, name, 1);
    }
    buf_puts(&path, end ? "/-" : "");
    if (buf_ok(&path) != ERR_OK && p->out->err == ERR_OK)
        p->out->err = ERR_LIMIT;
    fhir_out_text(p->out, "path", path.data);
    buf_clear(&path);
}

/* value NULL: none */
static void put_operation(struct patch *p, const char *op, const char *name,
                          bool end, const struct fhir_task_text *from,
                          const struct fhir_span *value)
{
    fhir_out_open(p->out, NULL, '{');
    fhir_out_text(p->out, "op", op);
    put_path(p, name, end);
    if (value != NULL)
        fhir_out_raw(p->out, "value", from->json + value->offset, value->len);
    fhir_out_close(p->out, '}');
}

static void put_change(struct patch *p, const char *op, const char *name,
                       bool end, const struct fhir_span *value)
{
    put_operation(p, op, name, end, p->merged, value);
    p->count++;
}

/* The server's own. */
static bool is_servers(const char *name)
{
    static const char *const names[] = { "resourceType", "id", "meta" };

    for (size_t i = 0; i < COUNT(names); i++) {
        if (strcmp(names[i], name) == 0)
            return true;
    }
    return false;
}

/* Lists to which something is added while others may add to them, too. */
static bool grows(const char *name, json_t *before, json_t *after)
{
    if (strcmp(name, "note") != 0 && strcmp(name, "input") != 0)
        return false;
    if (!json_is_array(before) || !json_is_array(after) ||
        json_array_size(before) > json_array_size(after))
        return false;
    for (size_t i = 0; i < json_array_size(before); i++) {
        if (!json_equal(json_array_get(before, i), json_array_get(after, i)))
            return false;
    }
    return true;
}

static void put_items(struct patch *p, const char *name, struct fhir_span list,
                      size_t from)
{
    struct fhir_span item;
    size_t at = list.offset;

    for (size_t i = 0;
         fhir_scan_next(p->merged->json, p->merged->len, &at, NULL, &item);
         i++) {
        if (i >= from)
            put_change(p, "add", name, true, &item);
    }
}

static void put_member(struct patch *p, const char *name,
                       struct fhir_span value)
{
    json_t *before = json_object_get(p->theirs->tree, name);
    json_t *after = json_object_get(p->merged->tree, name);

    if (is_servers(name) || (before != NULL && json_equal(before, after)))
        return;
    if (before == NULL)
        put_change(p, "add", name, false, &value);
    else if (grows(name, before, after))
        put_items(p, name, value, json_array_size(before));
    else
        put_change(p, "replace", name, false, &value);
}

/* Each member of one of the two. */
static enum err walk(struct patch *p, const struct fhir_task_text *t)
{
    struct fhir_span key, value;
    size_t at = 0;

    while (fhir_scan_next(t->json, t->len, &at, &key, &value)) {
        /* the key may be spelt with escapes: let the parser read it */
        json_t *spelt =
            json_loadb(t->json + key.offset, key.len, JSON_DECODE_ANY, NULL);
        const char *name = json_string_value(spelt);

        if (name == NULL)
            return ERR_MEMORY;
        if (t == p->merged)
            put_member(p, name, value);
        else if (!is_servers(name) &&
                 json_object_get(p->merged->tree, name) == NULL)
            put_change(p, "remove", name, false, NULL);
        json_decref(spelt);
    }
    return ERR_OK;
}

static enum err write_patch(struct patch *p)
{
    struct buf *out = p->out;
    size_t before = out->len;
    struct fhir_span status;
    enum err e;

    buf_puts(out, "[");
    if (fhir_string(p->theirs->tree, "status") != NULL &&
        fhir_scan_member(p->theirs->json, p->theirs->len, 0, "status", &status))
        put_operation(p, "test", "status", false, p->theirs, &status);
    e = walk(p, p->theirs);
    if (e == ERR_OK)
        e = walk(p, p->merged);
    buf_puts(out, "]");
    if (e == ERR_OK)
        e = buf_ok(out);
    if (e == ERR_OK && p->count == 0) {
        out->len = before;
        out->data[before] = '\0';
    }
    return e;
}

enum err fhir_patch_write(const char *theirs, size_t theirs_len,
                          const char *merged, size_t merged_len,
                          struct buf *out)
{
    struct fhir_task_text before, after;
    struct patch p = { .theirs = &before, .merged = &after, .out = out };
    enum err e = fhir_task_load(theirs, theirs_len, NULL, &before);

    if (e != ERR_OK)
        return e;
    e = fhir_task_load(merged, merged_len, NULL, &after);
    if (e == ERR_OK) {
        e = write_patch(&p);
        json_decref(after.tree);
    }
    json_decref(before.tree);
    return e;
}

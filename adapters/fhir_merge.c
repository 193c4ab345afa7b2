#include "adapters/fhir_merge.h"

#include "adapters/fhir_out.h"

/* ---- notes --------------------------------------------------------------- */

static bool has_note(json_t *list, json_t *note)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (fhir_task_same_note(json_array_get(list, i), note))
            return true;
    }
    return false;
}

static void put_notes_of(const struct fhir_task_text *t, const char *name,
                         json_t *but_not, struct buf *out)
{
    json_t *list = json_object_get(t->tree, name);
    struct fhir_span all, item;
    size_t at, i = 0;

    if (!json_is_array(list) ||
        !fhir_scan_member(t->json, t->len, 0, name, &all))
        return;
    at = all.offset;
    while (fhir_scan_next(t->json, t->len, &at, NULL, &item)) {
        json_t *value = json_array_get(list, i++);

        if (but_not == NULL || !has_note(but_not, value))
            fhir_out_raw(out, NULL, t->json + item.offset, item.len);
    }
}

/* Those of the base, then those of the other; unite: only what the base has
 * not. */
static void put_notes(const struct fhir_merge *m, const char *name, bool unite,
                      struct buf *out)
{
    json_t *mine = json_object_get(m->base->tree, name);

    if (json_array_size(mine) == 0 &&
        json_array_size(json_object_get(m->other->tree, name)) == 0)
        return; /* an empty list is not FHIR */
    fhir_out_open(out, name, '[');
    put_notes_of(m->base, name, NULL, out);
    put_notes_of(m->other, name, unite ? mine : NULL, out);
    fhir_out_close(out, ']');
}

/* ---- members ------------------------------------------------------------- */

/* A member of the base, and what the other says of it (len 0: nothing). */
static void put_member(const struct fhir_merge *m, const char *name,
                       struct fhir_span mine, struct fhir_span theirs,
                       struct buf *out)
{
    enum fhir_take take = m->take(m, name);

    if (take == TAKE_PREFER)
        take = theirs.len > 0 ? TAKE_OTHER : TAKE_BASE;
    if (take == TAKE_ASSIGN)
        take = mine.len > 0 ? TAKE_BASE : TAKE_OTHER;
    if (take == TAKE_SPECIAL)
        m->put(m, name, out);
    else if (take == TAKE_UNITE || take == TAKE_APPEND)
        put_notes(m, name, take == TAKE_UNITE, out);
    else if (take == TAKE_BASE && mine.len > 0)
        fhir_out_raw(out, name, m->base->json + mine.offset, mine.len);
    else if (take == TAKE_OTHER && theirs.len > 0)
        fhir_out_raw(out, name, m->other->json + theirs.offset, theirs.len);
}

/* One pass over the members of one of the two; those of the other that the
 * base has as well were written in the pass over the base. */
static enum err walk(const struct fhir_merge *m, bool over_base,
                     struct buf *out)
{
    const struct fhir_task_text *t = over_base ? m->base : m->other;
    const struct fhir_task_text *u = over_base ? m->other : m->base;
    const struct fhir_span none = { 0, 0 };
    struct fhir_span key, value, found;
    size_t at = 0;

    while (fhir_scan_next(t->json, t->len, &at, &key, &value)) {
        /* the key may be spelt with escapes: let the parser read it */
        json_t *name =
            json_loadb(t->json + key.offset, key.len, JSON_DECODE_ANY, NULL);
        const char *text = json_string_value(name);

        if (text == NULL)
            return ERR_MEMORY;
        if (over_base || json_object_get(m->base->tree, text) == NULL) {
            if (!over_base ||
                !fhir_scan_member(u->json, u->len, 0, text, &found))
                found = none;
            put_member(m, text, over_base ? value : none,
                       over_base ? found : value, out);
        }
        json_decref(name);
    }
    return ERR_OK;
}

enum err fhir_merge_write(const struct fhir_merge *m, struct buf *out)
{
    enum err e;

    buf_puts(out, "{");
    e = walk(m, true, out);
    if (e == ERR_OK)
        e = walk(m, false, out);
    buf_puts(out, "}");
    return e != ERR_OK ? e : buf_ok(out);
}

/* ---- is there anything to send? ------------------------------------------ */

static bool says_all(json_t *a, json_t *b)
{
    static const char *const passed_over[] = { "meta", "text", "lastModified" };
    json_t *x = json_copy(a), *y = json_copy(b); /* one level */
    bool same = false;

    if (x != NULL && y != NULL) {
        for (size_t i = 0; i < COUNT(passed_over); i++) {
            json_object_del(x, passed_over[i]);
            json_object_del(y, passed_over[i]);
        }
        same = fhir_task_alike(x, y);
    }
    json_decref(x);
    json_decref(y);
    return same;
}

enum err fhir_merge_same(const struct fhir_task_text *theirs,
                         const struct buf *merged, bool *same)
{
    struct fhir_task_text result;
    enum err e = fhir_task_load(merged->data, merged->len, NULL, &result);

    if (e != ERR_OK)
        return e;
    *same = says_all(theirs->tree, result.tree);
    json_decref(result.tree);
    return ERR_OK;
}

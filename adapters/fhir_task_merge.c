/*
 * Two Tasks into one.  One Task is the base: its members stay where they are,
 * byte for byte.  The table says for each member what becomes of it when the
 * other Task has something to say as well.
 */
#include "adapters/fhir_task.h"

#include "adapters/fhir_out.h"

#include <string.h>

/* What the result holds of a member. */
enum take {
    BASE,   /* what the base has, or nothing */
    OTHER,  /* what the other has, or nothing */
    PREFER, /* what the other has, else the base */
    ASSIGN, /* what the base has, else the other */
    UNITE,  /* the items of the base, then those that only the other has */
    APPEND, /* the items of both */
    LATEST, /* the later of the times, and not before authoredOn */
    OURS,   /* as the base, but what only we ever say is as the other */
    NONE
};

enum way { AMEND_OURS, AMEND_TOUCHED, MERGE_OPEN, MERGE_TAKEN, WAY_COUNT };

/* clang-format off */
/*
 * When amending, the base is the Task as it is and the other is what is new;
 * when merging, the base is the record's and the other is ours.
 */
static const struct {
    const char *name;
    enum take take[WAY_COUNT];
} members[] = {
    /*                     amended: ours, touched    merged: open, taken */
    { "id",              { BASE,   BASE,   BASE,   BASE } },
    { "meta",            { BASE,   BASE,   NONE,   BASE } },
    /* a narrative of before would contradict what is new */
    { "text",            { BASE,   BASE,   NONE,   BASE } },
    { "instantiatesUri", { PREFER, BASE,   PREFER, BASE } },
    { "status",          { OTHER,  BASE,   PREFER, BASE } },
    { "statusReason",    { OTHER,  BASE,   PREFER, BASE } },
    { "businessStatus",  { OTHER,  BASE,   OURS,   BASE } },
    { "priority",        { PREFER, BASE,   PREFER, BASE } },
    { "description",     { PREFER, BASE,   PREFER, BASE } },
    { "lastModified",    { LATEST, LATEST, LATEST, LATEST } },
    { "owner",           { BASE,   BASE,   ASSIGN, BASE } },
    { "reasonCode",      { PREFER, BASE,   PREFER, BASE } },
    { "reasonReference", { PREFER, BASE,   PREFER, BASE } },
    { "note",            { APPEND, APPEND, UNITE,  UNITE } },
    { "restriction",     { PREFER, BASE,   PREFER, BASE } },
    { "input",           { UNITE,  UNITE,  UNITE,  UNITE } },
    { NULL,              { BASE,   BASE,   PREFER, BASE } }, /* any other */
};
/* clang-format on */

static enum take take_of(const char *json, struct fhir_span key, enum way way)
{
    size_t i = 0;

    while (members[i].name != NULL && !fhir_scan_is(json, key, members[i].name))
        i++;
    return members[i].take[way];
}

/* ---- putting one together ----------------------------------------------- */

static bool has_item(json_t *list, json_t *item,
                     bool (*same)(json_t *, json_t *))
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (same(json_array_get(list, i), item))
            return true;
    }
    return false;
}

static void put_items(const struct fhir_task_text *t, const char *name,
                      json_t *but_not, bool (*same)(json_t *, json_t *),
                      struct buf *out)
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

        if (but_not == NULL || !has_item(but_not, value, same))
            fhir_out_raw(out, NULL, t->json + item.offset, item.len);
    }
}

static void put_lists(const struct fhir_task_text *base,
                      const struct fhir_task_text *other, const char *name,
                      bool unite, struct buf *out)
{
    json_t *mine = json_object_get(base->tree, name);
    json_t *already = unite ? mine : NULL;

    if (json_array_size(mine) == 0 &&
        json_array_size(json_object_get(other->tree, name)) == 0)
        return; /* an empty list is not FHIR */
    fhir_out_open(out, name, '[');
    put_items(base, name, NULL, NULL, out);
    put_items(other, name, already,
              strcmp(name, "note") == 0 ? fhir_task_same_note
                                        : fhir_task_same_input,
              out);
    fhir_out_close(out, ']');
}

/* Keep the later; a text that is not an instant loses. */
static void later(const char **best, const char *text)
{
    int64_t x, y;

    if (!fhir_task_instant_ms(text, &y))
        return;
    if (!fhir_task_instant_ms(*best, &x) || y > x)
        *best = text;
}

static void put_latest(const struct fhir_task_text *base,
                       const struct fhir_task_text *other, enum way way,
                       struct buf *out)
{
    const char *best = fhir_string(other->tree, "lastModified");

    if (way == MERGE_OPEN || way == MERGE_TAKEN)
        later(&best, fhir_string(base->tree, "lastModified"));
    else
        later(&best, fhir_string(base->tree, "authoredOn"));
    fhir_out_text(out, "lastModified", best);
}

/* Is this the business status that we give? */
static bool is_our_status(const struct fhir_task_text *t)
{
    json_t *status = json_object_get(t->tree, "businessStatus");
    json_t *coding = json_array_get(json_object_get(status, "coding"), 0);

    return status == NULL || fhir_is(coding, "code", TASK_AWAITING);
}

/* A member of the base, and what the other says of it (len 0: nothing). */
static void put_member(const struct fhir_task_text *base, struct fhir_span mine,
                       const struct fhir_task_text *other,
                       struct fhir_span theirs, const char *name, enum way way,
                       enum take take, struct buf *out)
{
    if (take == OURS)
        take = is_our_status(base) ? OTHER : BASE;
    if (take == PREFER)
        take = theirs.len > 0 ? OTHER : BASE;
    if (take == ASSIGN)
        take = mine.len > 0 ? BASE : OTHER;
    if (take == UNITE || take == APPEND)
        put_lists(base, other, name, take == UNITE, out);
    else if (take == LATEST)
        put_latest(base, other, way, out);
    else if (take == BASE && mine.len > 0)
        fhir_out_raw(out, name, base->json + mine.offset, mine.len);
    else if (take == OTHER && theirs.len > 0)
        fhir_out_raw(out, name, other->json + theirs.offset, theirs.len);
}

/* One pass over the members of one of the two; those of the other that the
 * base has as well were written in the pass over the base. */
static enum err walk(const struct fhir_task_text *base,
                     const struct fhir_task_text *other, bool over_base,
                     enum way way, struct buf *out)
{
    const struct fhir_task_text *t = over_base ? base : other;
    const struct fhir_task_text *u = over_base ? other : base;
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
        if (over_base || json_object_get(base->tree, text) == NULL) {
            if (!over_base ||
                !fhir_scan_member(u->json, u->len, 0, text, &found))
                found = none;
            put_member(base, over_base ? value : none, other,
                       over_base ? found : value, text, way,
                       take_of(t->json, key, way), out);
        }
        json_decref(name);
    }
    return ERR_OK;
}

static enum err combine(const struct fhir_task_text *base,
                        const struct fhir_task_text *other, enum way way,
                        struct buf *out)
{
    enum err e;

    buf_puts(out, "{");
    e = walk(base, other, true, way, out);
    if (e == ERR_OK)
        e = walk(base, other, false, way, out);
    buf_puts(out, "}");
    return e != ERR_OK ? e : buf_ok(out);
}

enum err fhir_task_amend(const char *json, size_t len,
                         const struct fhir_task *t, bool touched,
                         struct buf *out)
{
    struct fhir_task_text base, fresh;
    struct buf text;
    enum err e = fhir_task_load(json, len, "Task", &base);

    if (e != ERR_OK)
        return e;
    buf_init(&text, out->ceiling);
    e = fhir_task_write(t, &text);
    if (e != ERR_OK)
        goto undo_text;
    e = fhir_task_load(text.data, text.len, "Task", &fresh);
    if (e != ERR_OK)
        goto undo_text;
    e = combine(&base, &fresh, touched ? AMEND_TOUCHED : AMEND_OURS, out);
    json_decref(fresh.tree);
undo_text:
    buf_clear(&text);
    json_decref(base.tree);
    return e;
}

/* Does a already say all that b does?  What servers write themselves, and
 * when, is no difference. */
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

static enum err compare(const struct fhir_task_text *theirs,
                        const struct buf *merged, bool *same)
{
    struct fhir_task_text result;
    enum err e = fhir_task_load(merged->data, merged->len, "Task", &result);

    if (e != ERR_OK)
        return e;
    *same = says_all(theirs->tree, result.tree);
    json_decref(result.tree);
    return ERR_OK;
}

enum err fhir_task_merge(const char *ours, size_t ours_len, const char *theirs,
                         size_t theirs_len, bool *same, struct buf *out)
{
    struct fhir_task_text mine, base;
    struct buf merged;
    bool open;
    enum err e = fhir_task_load(ours, ours_len, "Task", &mine);

    if (e != ERR_OK)
        return e;
    e = fhir_task_load(theirs, theirs_len, "Task", &base);
    if (e != ERR_OK)
        goto undo_mine;
    buf_init(&merged, out->ceiling);
    open = fhir_is(base.tree, "status", TASK_REQUESTED);
    e = combine(&base, &mine, open ? MERGE_OPEN : MERGE_TAKEN, &merged);
    if (e == ERR_OK)
        e = compare(&base, &merged, same);
    if (e == ERR_OK) {
        buf_add(out, merged.data, merged.len);
        e = buf_ok(out);
    }
    buf_clear(&merged);
    json_decref(base.tree);
undo_mine:
    json_decref(mine.tree);
    return e;
}

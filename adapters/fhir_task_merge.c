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
    UNITE,  /* the notes of the base, then those that only the other has */
    APPEND, /* the notes of both */
    INPUTS, /* the inputs of the base, then those that only the other has; the
               plan among them is as struct pair says */
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
    { "input",           { INPUTS, INPUTS, INPUTS, INPUTS } },
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

struct pair {
    const struct fhir_task_text *base, *other;
    enum way way;
    bool plan_is_others; /* the plan is as the other says, also if it has none
                          */
};

static bool has_item(json_t *list, json_t *item,
                     bool (*same)(json_t *, json_t *))
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (same(json_array_get(list, i), item))
            return true;
    }
    return false;
}

/* Where it stands in the text; false: there is none. */
static bool find_plan(const struct fhir_task_text *t, struct fhir_span *plan)
{
    json_t *list = json_object_get(t->tree, "input");
    struct fhir_span all;
    size_t at, i = 0;

    if (!json_is_array(list) ||
        !fhir_scan_member(t->json, t->len, 0, "input", &all))
        return false;
    at = all.offset;
    while (fhir_scan_next(t->json, t->len, &at, NULL, plan)) {
        if (fhir_task_is_plan(json_array_get(list, i++)))
            return true;
    }
    return false;
}

/* The inputs of both, with the plan of the other, or none, in the place of that
 * of the base. */
struct inputs {
    const struct pair *pair;
    bool has_plan, put;
    struct fhir_span plan; /* of the other */
};

static void put_plan(struct inputs *in, struct buf *out)
{
    if (in->has_plan && !in->put)
        fhir_out_raw(out, NULL, in->pair->other->json + in->plan.offset,
                     in->plan.len);
    in->put = true;
}

static void put_inputs_of(struct inputs *in, const struct fhir_task_text *t,
                          json_t *but_not, struct buf *out)
{
    json_t *list = json_object_get(t->tree, "input");
    struct fhir_span all, item;
    size_t at, i = 0;

    if (!json_is_array(list) ||
        !fhir_scan_member(t->json, t->len, 0, "input", &all))
        return;
    at = all.offset;
    while (fhir_scan_next(t->json, t->len, &at, NULL, &item)) {
        json_t *value = json_array_get(list, i++);

        if (in->pair->plan_is_others && fhir_task_is_plan(value))
            put_plan(in, out);
        else if (but_not == NULL ||
                 !has_item(but_not, value, fhir_task_same_input))
            fhir_out_raw(out, NULL, t->json + item.offset, item.len);
    }
}

static void put_inputs(const struct pair *p, struct buf *out)
{
    struct inputs in = { .pair = p };
    size_t before = out->len, opened;

    in.has_plan = find_plan(p->other, &in.plan);
    fhir_out_open(out, "input", '[');
    opened = out->len;
    put_inputs_of(&in, p->base, NULL, out);
    put_inputs_of(&in, p->other, json_object_get(p->base->tree, "input"), out);
    if (out->len > opened) {
        fhir_out_close(out, ']');
    } else if (buf_ok(out) == ERR_OK) { /* an empty list is not FHIR */
        out->len = before;
        out->data[before] = '\0';
    }
}

/* Notes: those of the base, then those of the other; unite: only what the base
 * has not. */
static void put_notes_of(const struct fhir_task_text *t, json_t *but_not,
                         struct buf *out)
{
    json_t *list = json_object_get(t->tree, "note");
    struct fhir_span all, item;
    size_t at, i = 0;

    if (!json_is_array(list) ||
        !fhir_scan_member(t->json, t->len, 0, "note", &all))
        return;
    at = all.offset;
    while (fhir_scan_next(t->json, t->len, &at, NULL, &item)) {
        json_t *value = json_array_get(list, i++);

        if (but_not == NULL || !has_item(but_not, value, fhir_task_same_note))
            fhir_out_raw(out, NULL, t->json + item.offset, item.len);
    }
}

static void put_notes(const struct pair *p, bool unite, struct buf *out)
{
    json_t *mine = json_object_get(p->base->tree, "note");

    if (json_array_size(mine) == 0 &&
        json_array_size(json_object_get(p->other->tree, "note")) == 0)
        return; /* an empty list is not FHIR */
    fhir_out_open(out, "note", '[');
    put_notes_of(p->base, NULL, out);
    put_notes_of(p->other, unite ? mine : NULL, out);
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

static void put_latest(const struct pair *p, struct buf *out)
{
    const char *best = fhir_string(p->other->tree, "lastModified");

    if (p->way == MERGE_OPEN || p->way == MERGE_TAKEN)
        later(&best, fhir_string(p->base->tree, "lastModified"));
    else
        later(&best, fhir_string(p->base->tree, "authoredOn"));
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
static void put_member(const struct pair *p, const char *name,
                       struct fhir_span mine, struct fhir_span theirs,
                       enum take take, struct buf *out)
{
    if (take == OURS)
        take = is_our_status(p->base) ? OTHER : BASE;
    if (take == PREFER)
        take = theirs.len > 0 ? OTHER : BASE;
    if (take == ASSIGN)
        take = mine.len > 0 ? BASE : OTHER;
    if (take == INPUTS)
        put_inputs(p, out);
    else if (take == UNITE || take == APPEND)
        put_notes(p, take == UNITE, out);
    else if (take == LATEST)
        put_latest(p, out);
    else if (take == BASE && mine.len > 0)
        fhir_out_raw(out, name, p->base->json + mine.offset, mine.len);
    else if (take == OTHER && theirs.len > 0)
        fhir_out_raw(out, name, p->other->json + theirs.offset, theirs.len);
}

/* One pass over the members of one of the two; those of the other that the
 * base has as well were written in the pass over the base. */
static enum err walk(const struct pair *p, bool over_base, struct buf *out)
{
    const struct fhir_task_text *t = over_base ? p->base : p->other;
    const struct fhir_task_text *u = over_base ? p->other : p->base;
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
        if (over_base || json_object_get(p->base->tree, text) == NULL) {
            if (!over_base ||
                !fhir_scan_member(u->json, u->len, 0, text, &found))
                found = none;
            put_member(p, text, over_base ? value : none,
                       over_base ? found : value, take_of(t->json, key, p->way),
                       out);
        }
        json_decref(name);
    }
    return ERR_OK;
}

static enum err combine(const struct pair *p, struct buf *out)
{
    enum err e;

    buf_puts(out, "{");
    e = walk(p, true, out);
    if (e == ERR_OK)
        e = walk(p, false, out);
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
    e = combine(
        &(struct pair){ .base = &base,
                        .other = &fresh,
                        .way = touched ? AMEND_TOUCHED : AMEND_OURS,
                        .plan_is_others = t->plan != NULL || t->plan_gone },
        out);
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
    e = combine(&(struct pair){ .base = &base,
                                .other = &mine,
                                .way = open ? MERGE_OPEN : MERGE_TAKEN,
                                .plan_is_others = true },
                &merged);
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

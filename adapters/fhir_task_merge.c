/*
 * Two Tasks into one.  The table says for each member what becomes of it when
 * the other Task has something to say as well, see fhir_merge.h.
 */
#include "adapters/fhir_merge.h"

#include "adapters/fhir_out.h"

#include <string.h>

/* TAKE_SPECIAL is the inputs of the base, then those that only the other has,
 * with our own among them as struct pair says; or the later of the times, and
 * not before authoredOn; or the narrative, which is made anew from the words of
 * the result where it is ours.  OURS: as the base, but what only we ever say is as
 * the other. */
enum {
    BASE = TAKE_BASE,
    OTHER = TAKE_OTHER,
    PREFER = TAKE_PREFER,
    ASSIGN = TAKE_ASSIGN,
    UNITE = TAKE_UNITE,
    APPEND = TAKE_APPEND,
    INPUTS = TAKE_SPECIAL,
    LATEST = TAKE_SPECIAL,
    WORDS = TAKE_SPECIAL,
    NONE = TAKE_NONE,
    OURS
};

enum way { AMEND_OURS, AMEND_TOUCHED, MERGE_OPEN, MERGE_TAKEN, WAY_COUNT };

/* clang-format off */
/*
 * When amending, the base is the Task as it is and the other is what is new;
 * when merging, the base is the record's and the other is ours.
 */
static const struct {
    const char *name;
    int take[WAY_COUNT]; /* enum fhir_take, or OURS */
} members[] = {
    /*                     amended: ours, touched    merged: open, taken */
    { "id",              { BASE,   BASE,   BASE,   BASE } },
    { "meta",            { BASE,   BASE,   NONE,   BASE } },
    { "text",            { WORDS,  WORDS,  WORDS,  WORDS } },
    { "instantiatesUri", { PREFER, BASE,   PREFER, BASE } },
    { "status",          { OTHER,  BASE,   PREFER, BASE } },
    { "statusReason",    { OTHER,  BASE,   PREFER, BASE } },
    { "businessStatus",  { OURS,   BASE,   OURS,   BASE } },
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

/* The two, and how. */
struct pair {
    struct fhir_merge merge; /* first: the rules get it back as this */
    enum way way;
    bool plan_is_others; /* the plan, and what goes with it, is as the other
                            says, also if it has none */
};

static const struct pair *pair_of(const struct fhir_merge *m)
{
    return m->arg;
}

bool fhir_task_is_our_status(json_t *task)
{
    json_t *status = json_object_get(task, "businessStatus");
    json_t *coding = json_array_get(json_object_get(status, "coding"), 0);

    return status == NULL || fhir_is(coding, "code", TASK_AWAITING) ||
           fhir_is(coding, "code", TASK_PUT_OFF);
}

static enum fhir_take take_of(const struct fhir_merge *m, const char *name)
{
    size_t i = 0;
    int take;

    while (members[i].name != NULL && strcmp(members[i].name, name) != 0)
        i++;
    take = members[i].take[pair_of(m)->way];
    if (take == OURS)
        return fhir_task_is_our_status(m->base->tree) ? TAKE_OTHER : TAKE_BASE;
    return (enum fhir_take)take;
}

/* ---- inputs -------------------------------------------------------------- */

static bool has_input(json_t *list, json_t *item)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (fhir_task_same_input(json_array_get(list, i), item))
            return true;
    }
    return false;
}

/* Visit each input with its text. */
struct input_walk {
    const struct fhir_task_text *t;
    json_t *list;
    size_t at, i;
    struct fhir_span item;
    json_t *value;
};

static struct input_walk inputs_of(const struct fhir_task_text *t)
{
    struct input_walk w = { .t = t };
    struct fhir_span all;

    if (json_is_array(json_object_get(t->tree, "input")) &&
        fhir_scan_member(t->json, t->len, 0, "input", &all)) {
        w.list = json_object_get(t->tree, "input");
        w.at = all.offset;
    }
    return w;
}

static bool next_input(struct input_walk *w)
{
    if (w->list == NULL ||
        !fhir_scan_next(w->t->json, w->t->len, &w->at, NULL, &w->item))
        return false;
    w->value = json_array_get(w->list, w->i++);
    return true;
}

static void put_input(const struct input_walk *w, struct buf *out)
{
    fhir_out_raw(out, NULL, w->t->json + w->item.offset, w->item.len);
}

/* The plan and its document, as the other has them, once: in the place of those
 * of the base. */
static void put_plan(const struct pair *p, bool *put, struct buf *out)
{
    struct input_walk w = inputs_of(p->merge.other);

    while (!*put && next_input(&w)) {
        if (fhir_task_is_ours(w.value))
            put_input(&w, out);
    }
    *put = true;
}

static void put_inputs_of(const struct pair *p, const struct fhir_task_text *t,
                          json_t *but_not, bool *put, struct buf *out)
{
    struct input_walk w = inputs_of(t);

    while (next_input(&w)) {
        if (p->plan_is_others && fhir_task_is_ours(w.value))
            put_plan(p, put, out);
        else if (but_not == NULL || !has_input(but_not, w.value))
            put_input(&w, out);
    }
}

static void put_inputs(const struct pair *p, struct buf *out)
{
    const struct fhir_merge *m = &p->merge;
    size_t before = out->len, opened;
    bool put = false;

    fhir_out_open(out, "input", '[');
    opened = out->len;
    put_inputs_of(p, m->base, NULL, &put, out);
    put_inputs_of(p, m->other, json_object_get(m->base->tree, "input"), &put,
                  out);
    if (out->len > opened) {
        fhir_out_close(out, ']');
    } else if (buf_ok(out) == ERR_OK) { /* an empty list is not FHIR */
        out->len = before;
        out->data[before] = '\0';
    }
}

/* ---- times --------------------------------------------------------------- */

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
    const char *best = fhir_string(p->merge.other->tree, "lastModified");

    if (p->way == MERGE_OPEN || p->way == MERGE_TAKEN)
        later(&best, fhir_string(p->merge.base->tree, "lastModified"));
    else
        later(&best, fhir_string(p->merge.base->tree, "authoredOn"));
    fhir_out_text(out, "lastModified", best);
}

/* ---- the narrative ------------------------------------------------------- */

/* A string of the result, as the table has it of its member. */
static const char *said(const struct pair *p, const char *member,
                        const char *key)
{
    json_t *base = json_object_get(p->merge.base->tree, member);
    json_t *other = json_object_get(p->merge.other->tree, member);
    enum fhir_take take = take_of(&p->merge, member);
    json_t *value = take == TAKE_PREFER && other != NULL ? other : base;

    return key == NULL ? json_string_value(value) : fhir_string(value, key);
}

/*
 * One of ours would be stale as soon as a person writes another description,
 * so it is never carried over: it is made from the description of the result.
 * One that is not ours tells of before; it stays where the Task is not ours to
 * say, and goes where all of the Task is said anew.
 */
static void put_text(const struct pair *p, struct buf *out)
{
    const struct fhir_task_text *base = p->merge.base;
    bool theirs = json_object_get(base->tree, "text") != NULL &&
                  !fhir_task_is_our_text(base->tree);
    struct fhir_span text;

    if (theirs && p->way != MERGE_OPEN) {
        if (fhir_scan_member(base->json, base->len, 0, "text", &text))
            fhir_out_raw(out, "text", base->json + text.offset, text.len);
        return;
    }
    if (!fhir_task_is_our_text(base->tree) &&
        !fhir_task_is_our_text(p->merge.other->tree))
        return;
    fhir_task_out_text(
        &(struct fhir_task_said){ .title = said(p, "code", "text"),
                                  .patient = said(p, "for", "display"),
                                  .description = said(p, "description", NULL) },
        out);
}

static void put_special(const struct fhir_merge *m, const char *name,
                        struct buf *out)
{
    if (strcmp(name, "input") == 0)
        put_inputs(pair_of(m), out);
    else if (strcmp(name, "text") == 0)
        put_text(pair_of(m), out);
    else
        put_latest(pair_of(m), out);
}

/* ---- putting one together ------------------------------------------------ */

static enum err combine(struct pair *p, struct buf *out)
{
    p->merge.take = take_of;
    p->merge.put = put_special;
    p->merge.arg = p;
    return fhir_merge_write(&p->merge, out);
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
        &(struct pair){ .merge = { .base = &base, .other = &fresh },
                        .way = touched ? AMEND_TOUCHED : AMEND_OURS,
                        .plan_is_others = t->plan != NULL || t->plan_gone },
        out);
    json_decref(fresh.tree);
undo_text:
    buf_clear(&text);
    json_decref(base.tree);
    return e;
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
    e = combine(&(struct pair){ .merge = { .base = &base, .other = &mine },
                                .way = open ? MERGE_OPEN : MERGE_TAKEN,
                                .plan_is_others = true },
                &merged);
    if (e == ERR_OK)
        e = fhir_merge_same(&base, &merged, same);
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

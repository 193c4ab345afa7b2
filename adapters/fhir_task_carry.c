/*
 * What people did here with a Task, brought to a record: a merge of three.  A
 * member that is at the record as it was in one of our versions has not been
 * changed there, and what ours says of it now is newer.
 */
#include "adapters/fhir_deed.h"
#include "adapters/fhir_merge.h"
#include "adapters/fhir_out.h"

#include <string.h>

/* In the order of `carried` below. */
static const char *const outlined[] = { "status", "statusReason", "owner",
                                        "businessStatus" };

/* ---- who is to see to it ------------------------------------------------- */

/* A record may write the reference of somebody whose name it keeps. */
static const char *owner_word(json_t *task)
{
    json_t *owner = json_object_get(task, "owner");
    const char *word = fhir_string(owner, "display");

    if (word == NULL)
        word = fhir_string(owner, "reference");
    if (word == NULL)
        word = fhir_string(json_object_get(owner, "identifier"), "value");
    return word != NULL ? word : "";
}

void fhir_task_owner(const char *json, size_t len, char owner[FHIR_OWNER_SIZE])
{
    struct fhir_task_text t;
    const char *word;
    size_t n;

    owner[0] = '\0';
    if (fhir_task_load(json, len, "Task", &t) != ERR_OK)
        return;
    word = owner_word(t.tree);
    n = strlen(word);
    if (n >= FHIR_OWNER_SIZE) {
        n = FHIR_OWNER_SIZE - 1;
        while (n > 0 && ((unsigned char)word[n] & 0xc0) == 0x80)
            n--;
    }
    memcpy(owner, word, n);
    owner[n] = '\0';
    json_decref(t.tree);
}

/* ---- our versions -------------------------------------------------------- */

enum err fhir_task_outline(const char *json, size_t len, struct buf *list)
{
    struct fhir_task_text t;
    struct fhir_span span;
    enum err e = fhir_task_load(json, len, "Task", &t);

    if (e != ERR_OK)
        return e;
    buf_puts(list, list->len == 0 ? "{" : ",{");
    for (size_t i = 0; i < COUNT(outlined); i++) {
        if (fhir_scan_member(json, len, 0, outlined[i], &span))
            fhir_out_raw(list, outlined[i], json + span.offset, span.len);
    }
    buf_puts(list, "}");
    json_decref(t.tree);
    return buf_ok(list);
}

static json_t *load_outlines(const struct buf *before)
{
    struct buf text;
    json_t *list = NULL;

    buf_init(&text, before->ceiling + 2);
    buf_puts(&text, "[");
    buf_add(&text, before->len > 0 ? before->data : "", before->len);
    buf_puts(&text, "]");
    if (buf_ok(&text) == ERR_OK)
        list = json_loadb(text.data, text.len, 0, NULL);
    buf_clear(&text);
    return list;
}

/* ---- which members are carried ------------------------------------------- */

struct carry {
    struct fhir_merge merge; /* base: what was merged; other: ours */
    bool status, owner, business;
};

static bool alike(json_t *a, json_t *b, const char *name)
{
    json_t *x = json_object_get(a, name), *y = json_object_get(b, name);

    if (strcmp(name, "owner") == 0)
        return strcmp(owner_word(a), owner_word(b)) == 0;
    return x == y || (x != NULL && y != NULL && fhir_task_alike(x, y));
}

/* Is theirs as it was in one of our versions? */
static bool is_known(json_t *list, json_t *theirs, const char *name)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (alike(json_array_get(list, i), theirs, name))
            return true;
    }
    return false;
}

/* And ours another by now? */
static bool is_carried(json_t *list, json_t *theirs, json_t *ours,
                       const char *name)
{
    return !alike(theirs, ours, name) && is_known(list, theirs, name);
}

static enum fhir_take take_carried(const struct fhir_merge *m, const char *name)
{
    const struct carry *c = m->arg;
    bool ours = (c->status && (strcmp(name, "status") == 0 ||
                               strcmp(name, "statusReason") == 0)) ||
                (c->owner && strcmp(name, "owner") == 0) ||
                (c->business && strcmp(name, "businessStatus") == 0);

    return ours ? TAKE_OTHER : TAKE_BASE;
}

static enum err combine(const struct fhir_carry *c,
                        const struct fhir_task_text *ours,
                        const struct fhir_task_text *theirs,
                        const struct fhir_task_text *merged, bool *same,
                        struct buf *out)
{
    json_t *list = load_outlines(c->before);
    struct carry carry = { .merge = { .base = merged,
                                      .other = ours,
                                      .take = take_carried,
                                      .put = NULL } };
    size_t from = out->len;
    struct buf made;
    enum err e;

    if (list == NULL)
        return ERR_MEMORY;
    carry.status = is_carried(list, theirs->tree, ours->tree, "status");
    carry.owner = is_carried(list, theirs->tree, ours->tree, "owner");
    /* what somebody took in hand there is not put off any more */
    carry.business =
        (alike(theirs->tree, ours->tree, "status") ||
         is_known(list, theirs->tree, "status")) &&
        is_carried(list, theirs->tree, ours->tree, "businessStatus");
    json_decref(list);
    carry.merge.arg = &carry;
    e = fhir_merge_write(&carry.merge, out);
    if (e != ERR_OK)
        return e;
    made = (struct buf){ .data = out->data + from, .len = out->len - from };
    return fhir_merge_same(theirs, &made, same);
}

enum err fhir_task_carry(const struct fhir_carry *c, bool *same,
                         struct buf *out)
{
    struct fhir_task_text ours, theirs, merged;
    enum err e = fhir_task_load(c->ours, c->ours_len, "Task", &ours);

    if (e != ERR_OK)
        return e;
    e = fhir_task_load(c->theirs, c->theirs_len, "Task", &theirs);
    if (e != ERR_OK)
        goto free_ours;
    e = fhir_task_load(c->merged, c->merged_len, "Task", &merged);
    if (e != ERR_OK)
        goto free_theirs;
    e = combine(c, &ours, &theirs, &merged, same, out);
    json_decref(merged.tree);
free_theirs:
    json_decref(theirs.tree);
free_ours:
    json_decref(ours.tree);
    return e;
}

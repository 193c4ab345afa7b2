/* The document of the plan that a Task carries, see suggest_companion.h. */
#include "service/suggest_companion.h"

#include "adapters/fhir_member.h"
#include "service/planning.h"
#include "service/suggest_plan.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char retired_why[] =
    "Not to be gone by any more: the plan was withdrawn, and the notes of the "
    "Task that it belongs to say why. It was decision support when it was "
    "made.";

static const char too_long[] =
    "The plan is too long to be kept as a document here (record.document_max); "
    "it stands in this Task.";

/* The plan for people. */
struct pages {
    const struct buf *text, *sheet; /* sheet: empty where none is wanted */
};

/* "<task key>-document", "-document-2": after one that is superseded. */
static void name_document(const char *task_key, const char *before,
                          char key[COMPANION_KEY_SIZE])
{
    const char *last = strrchr(before, '-');
    long number = 1;

    if (last != NULL)
        number = strtol(last + 1, NULL, 10);
    if (before[0] == '\0')
        snprintf(key, COMPANION_KEY_SIZE, "%s-document", task_key);
    else
        snprintf(key, COMPANION_KEY_SIZE, "%s-document-%ld", task_key,
                 number < 1 ? 2 : number + 1);
}

static enum err is_current(struct suggest *s, const struct companion *c,
                           bool *current)
{
    struct buf body;
    char status[24] = "";
    enum err e;

    buf_init(&body, TASK_MAX);
    e = companion_body(s->db, c, &body);
    if (e == ERR_OK)
        e = fhir_member_text(body.data, body.len, "status", status,
                             sizeof(status));
    buf_clear(&body);
    *current = strcmp(status, "current") == 0;
    return e;
}

/* The text first, which every record shows, then the worksheet, then the data,
 * as far as there is room; false: there is room for none. */
static bool fit(const struct suggest *s, const struct pages *pages,
                struct fhir_document *doc)
{
    size_t room = s->review->companions.inline_max;

    if (pages->text->len > room)
        return false;
    doc->text = pages->text->data;
    doc->text_len = pages->text->len;
    room -= pages->text->len;
    if (pages->sheet->len > 0 && pages->sheet->len <= room) {
        doc->sheet = pages->sheet->data;
        doc->sheet_len = pages->sheet->len;
        room -= pages->sheet->len;
    }
    if (doc->json_len > room)
        doc->json = NULL;
    return true;
}

static void refer(const struct companion *c, const char *type,
                  char text[DRAFT_REF_SIZE])
{
    snprintf(text, DRAFT_REF_SIZE, "%s/%s", type, c->row.fid);
}

/* A new version of the document that stands, or a new document. */
static enum err name_it(struct suggest *s, struct beside_task *b,
                        char replaces[DRAFT_REF_SIZE])
{
    struct companion *c = &b->document;
    bool current = false;
    enum err e = ERR_OK;

    replaces[0] = '\0';
    if (c->row.id != 0)
        e = is_current(s, c, &current);
    if (e != ERR_OK || current)
        return e;
    if (c->row.id != 0)
        refer(c, "DocumentReference", replaces);
    name_document(b->key, c->key, c->key);
    c->row = (struct resource){ .kind = c->kind };
    new_fid(c->row.fid);
    return ERR_OK;
}

static enum err write_document(struct suggest *s, struct draft *d,
                               const struct pages *pages, struct beside_task *b)
{
    const struct fhir_plan *plan = d->task.plan;
    char replaces[DRAFT_REF_SIZE];
    struct fhir_document doc = { .title = plan->title,
                                 .json = plan->json,
                                 .json_len = plan->len };
    enum err e;

    if (!fit(s, pages, &doc)) {
        b->retired = b->document;
        buf_puts(&d->note, d->note.len > 0 ? " " : "");
        buf_puts(&d->note, too_long);
        d->task.note = d->note.data;
        return buf_ok(&d->note);
    }
    e = name_it(s, b, replaces);
    if (e != ERR_OK)
        return e;
    doc.of = beside_common(d, &b->document);
    doc.replaces = replaces[0] != '\0' ? replaces : NULL;
    refer(&b->document, "DocumentReference", b->document_ref);
    d->task.worksheet = (struct fhir_out_ref){ .literal = b->document_ref,
                                               .type = "DocumentReference",
                                               .display = plan->title };
    return fhir_document_write(&doc, &b->json);
}

enum err beside_document(struct suggest *s, struct draft *d,
                         struct beside_task *b)
{
    struct pages pages;
    enum err e;

    if (d->task.plan_gone)
        b->retired = b->document;
    if (d->task.plan == NULL ||
        (!s->review->companions.documents && b->document.row.id == 0))
        return ERR_OK;
    e = suggest_plan_pages(s, &pages.text, &pages.sheet);
    return e == ERR_OK ? write_document(s, d, &pages, b) : e;
}

static enum err retire(struct suggest *s, struct companion *c)
{
    int64_t part = partition_of(s->access->id);
    struct buf old, json;
    bool current = false;
    enum err e = is_current(s, c, &current);

    if (e != ERR_OK || !current)
        return e;
    buf_init(&old, TASK_MAX);
    buf_init(&json, TASK_MAX);
    e = companion_body(s->db, c, &old);
    if (e == ERR_OK)
        e = fhir_document_retire(old.data, old.len, retired_why, &json);
    if (e == ERR_OK)
        e = companion_put(s->db, c, part, s->now_ms, &json, beside_goes_out(s));
    buf_clear(&old);
    buf_clear(&json);
    return e;
}

enum err beside_store_document(struct suggest *s, const struct resource *row,
                               struct beside_task *b)
{
    if (b->retired.row.id != 0)
        return retire(s, &b->retired);
    if (b->json.len == 0)
        return ERR_OK;
    b->document.task = row->id;
    return companion_put(s->db, &b->document, partition_of(s->access->id),
                         s->now_ms, &b->json, beside_goes_out(s));
}

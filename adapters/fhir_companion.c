#include "adapters/fhir_companion.h"

#include "adapters/fhir_merge.h"
#include "adapters/fhir_out.h"

#include <stdio.h>
#include <string.h>

#define TERMINOLOGY "http://terminology.hl7.org/CodeSystem"
#define AUTHOR      "headgate " HEADGATE_VERSION

/* ---- what all of them begin with ------------------------------------------ */

static void begin(const char *type, const struct fhir_companion *c,
                  struct buf *out)
{
    buf_puts(out, "{");
    fhir_out_text(out, "resourceType", type);
    fhir_out_text(out, "id", c->id);
    if (c->key == NULL)
        return;
    fhir_out_open(out, "identifier", '[');
    fhir_out_identifier(out, NULL, c->base, "/NamingSystem/task-key", c->key);
    fhir_out_close(out, ']');
}

static void put_time(struct buf *out, const char *key, int64_t at_ms)
{
    char text[FHIR_TIME_SIZE];

    fhir_time_write_ms(at_ms, text);
    fhir_out_text(out, key, text);
}

/* A list of one reference, or no list. */
static void put_one(struct buf *out, const char *key,
                    const struct fhir_out_ref *ref)
{
    if (ref->literal == NULL && ref->value == NULL)
        return;
    fhir_out_open(out, key, '[');
    fhir_out_ref(out, NULL, ref);
    fhir_out_close(out, ']');
}

static void put_words(struct buf *out, const char *key, const char *text,
                      bool in_list)
{
    fhir_out_open(out, key, in_list ? '[' : '{');
    if (in_list)
        fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "text", text);
    fhir_out_close(out, '}');
    if (in_list)
        fhir_out_close(out, ']');
}

static void put_note(struct buf *out, const char *text, int64_t at_ms)
{
    fhir_out_open(out, "note", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "authorString", AUTHOR);
    put_time(out, "time", at_ms);
    fhir_out_text(out, "text", text);
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
}

/* ---- DocumentReference ------------------------------------------------------ */

static const char about_document[] =
    "A plan for banding this access, made by fixed rules from the readings "
    "that "
    "it names and from the limits that the site has approved. Decision "
    "support: "
    "its numbers are estimates, and nobody has signed it. A qualified "
    "clinician "
    "decides, by local policy, whether anything of it is done.";

static void put_content(struct buf *out, const char *type, const char *title,
                        int64_t created_ms, const char *bytes, size_t len)
{
    struct fhir_attachment a = { .content_type = type,
                                 .bytes = bytes,
                                 .len = len,
                                 .title = title,
                                 .created_ms = created_ms };

    if (bytes == NULL)
        return;
    fhir_out_open(out, NULL, '{');
    fhir_out_attachment(out, "attachment", &a);
    fhir_out_close(out, '}');
}

enum err fhir_document_write(const struct fhir_document *d, struct buf *out)
{
    const struct fhir_companion *c = &d->of;
    struct fhir_out_ref before = { .literal = d->replaces,
                                   .type = "DocumentReference" };

    if (d->sheet == NULL && d->text == NULL && d->json == NULL)
        return ERR_RANGE;
    begin("DocumentReference", c, out);
    fhir_out_text(out, "status", "current");
    fhir_out_text(out, "docStatus", "preliminary");
    /* No LOINC term is known to mean this; one that only comes near would put
     * the plan among documents that people have signed. */
    put_words(out, "type", "Band plan", false);
    put_words(out, "category", "Decision support", true);
    fhir_out_ref(out, "subject", &c->patient);
    put_time(out, "date", c->at_ms);
    put_one(out, "author", &c->author);
    if (d->replaces != NULL) {
        fhir_out_open(out, "relatesTo", '[');
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "code", "replaces");
        fhir_out_ref(out, "target", &before);
        fhir_out_close(out, '}');
        fhir_out_close(out, ']');
    }
    fhir_out_text(out, "description", about_document);
    fhir_out_open(out, "content", '[');
    put_content(out, "application/pdf", d->title, c->at_ms, d->sheet,
                d->sheet_len);
    put_content(out, "text/plain; charset=utf-8", d->title, c->at_ms, d->text,
                d->text_len);
    put_content(out, "application/json", d->title, c->at_ms, d->json,
                d->json_len);
    fhir_out_close(out, ']');
    fhir_out_open(out, "context", '{');
    put_one(out, "related", &c->access);
    fhir_out_close(out, '}');
    fhir_out_close(out, '}');
    return buf_ok(out);
}

/* ---- ServiceRequest ---------------------------------------------------------- */

static const char about_proposal[] =
    "Proposed by fixed rules from the readings that it names, within the "
    "limits "
    "that the site has approved. Decision support, and no order: a qualified "
    "clinician decides, by local policy, and orders in their own name.";

enum err fhir_proposal_write(const struct fhir_proposal *p, struct buf *out)
{
    const struct fhir_companion *c = &p->of;

    begin("ServiceRequest", c, out);
    fhir_out_text(out, "status", "draft");
    fhir_out_text(out, "intent", "proposal");
    fhir_out_text(out, "priority", p->priority);
    fhir_out_concept(out, "code", c->base, TASK_SYSTEM, p->code,
                     p->code_display, p->text);
    fhir_out_ref(out, "subject", &c->patient);
    put_time(out, "authoredOn", c->at_ms);
    fhir_out_ref(out, "requester", &c->author);
    if (p->reason_count > 0) {
        fhir_out_open(out, "reasonReference", '[');
        for (size_t i = 0; i < p->reason_count; i++)
            fhir_out_ref(out, NULL, &p->reasons[i]);
        fhir_out_close(out, ']');
    }
    put_one(out, "supportingInfo", &c->access);
    put_note(out, about_proposal, c->at_ms);
    fhir_out_close(out, '}');
    return buf_ok(out);
}

/* ---- Flag ----------------------------------------------------------------------- */

/* Which record tells more: an extension of R4 itself. */
static void put_detail(struct buf *out, const struct fhir_out_ref *task)
{
    if (task->literal == NULL)
        return;
    fhir_out_open(out, "extension", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "url",
                  "http://hl7.org/fhir/StructureDefinition/flag-detail");
    fhir_out_ref(out, "valueReference", task);
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
}

enum err fhir_flag_write(const struct fhir_flag *f, struct buf *out)
{
    const struct fhir_companion *c = &f->of;
    char text[240];

    snprintf(text, sizeof(text),
             "Dialysis access: %s, found by fixed rules in its readings. A "
             "suggestion is open: decision support; a clinician decides, by "
             "local policy.",
             f->code_display);
    begin("Flag", c, out);
    put_detail(out, &c->task);
    fhir_out_text(out, "status", "active");
    fhir_out_open(out, "category", '[');
    fhir_out_concept(out, NULL, TERMINOLOGY, "/flag-category", "clinical",
                     "Clinical", NULL);
    fhir_out_close(out, ']');
    fhir_out_concept(out, "code", c->base, TASK_SYSTEM, f->code,
                     f->code_display, text);
    fhir_out_ref(out, "subject", &c->patient);
    fhir_out_open(out, "period", '{');
    put_time(out, "start", c->at_ms);
    fhir_out_close(out, '}');
    fhir_out_ref(out, "author", &c->author);
    fhir_out_close(out, '}');
    return buf_ok(out);
}

/* ---- Provenance ------------------------------------------------------------------ */

static void put_agent(struct buf *out, const struct fhir_out_ref *author)
{
    fhir_out_open(out, "agent", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_concept(out, "type", TERMINOLOGY, "/provenance-participant-type",
                     "assembler", "Assembler", NULL);
    fhir_out_ref(out, "who", author);
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
}

static void put_entity(struct buf *out, const char *role,
                       const struct fhir_out_ref *what)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "role", role);
    fhir_out_ref(out, "what", what);
    fhir_out_close(out, '}');
}

static void put_entities(struct buf *out, const struct fhir_source *s)
{
    char system[512], value[160];
    struct fhir_out_ref rule = { .system = system, .value = value };
    bool has_rule = s->rule != NULL && s->policy_version != NULL;

    if (s->source_count == 0 && !has_rule)
        return; /* an empty list is not FHIR */
    fhir_out_open(out, "entity", '[');
    for (size_t i = 0; i < s->source_count; i++)
        put_entity(out, "source", &s->sources[i]);
    if (has_rule) {
        snprintf(system, sizeof(system), "%s/rules", s->of.base);
        snprintf(value, sizeof(value), "%s|%s", s->rule, s->policy_version);
        put_entity(out, "derivation", &rule);
    }
    fhir_out_close(out, ']');
}

enum err fhir_provenance_write(const struct fhir_source *s, struct buf *out)
{
    const struct fhir_companion *c = &s->of;

    begin("Provenance", c, out);
    fhir_out_open(out, "target", '[');
    fhir_out_ref(out, NULL, &c->task);
    if (s->document.literal != NULL)
        fhir_out_ref(out, NULL, &s->document);
    fhir_out_close(out, ']');
    put_time(out, "occurredDateTime", c->at_ms);
    put_time(out, "recorded", c->at_ms);
    if (s->rule != NULL && s->policy_version != NULL) {
        fhir_out_open(out, "policy", '[');
        fhir_out_rule(out, NULL, c->base, s->rule, s->policy_version);
        fhir_out_close(out, ']');
    }
    fhir_out_concept(out, "activity", TERMINOLOGY, "/v3-DataOperation",
                     "CREATE", "create", NULL);
    put_agent(out, &c->author);
    put_entities(out, s);
    fhir_out_close(out, '}');
    return buf_ok(out);
}

/* ---- ours, changed ------------------------------------------------------------- */

/* What the change says takes the place; notes are added. */
static enum fhir_take take_change(const struct fhir_merge *m, const char *name)
{
    (void)m;
    return strcmp(name, "note") == 0 ? TAKE_APPEND : TAKE_PREFER;
}

static enum err apply(const struct fhir_task_text *t, const struct buf *change,
                      struct buf *out)
{
    struct fhir_task_text other;
    struct fhir_merge m = { .base = t, .other = &other, .take = take_change };
    enum err e = fhir_task_load(change->data, change->len, NULL, &other);

    if (e != ERR_OK)
        return e;
    e = fhir_merge_write(&m, out);
    json_decref(other.tree);
    return e;
}

enum err fhir_document_retire(const char *json, size_t len, const char *why,
                              struct buf *out)
{
    struct fhir_task_text t;
    struct buf change;
    enum err e = fhir_task_load(json, len, "DocumentReference", &t);

    if (e != ERR_OK)
        return e;
    buf_init(&change, 4096);
    begin("DocumentReference", &(struct fhir_companion){ .id = NULL }, &change);
    fhir_out_text(&change, "status", "superseded");
    fhir_out_text(&change, "description", why);
    fhir_out_close(&change, '}');
    e = buf_ok(&change);
    if (e == ERR_OK)
        e = apply(&t, &change, out);
    buf_clear(&change);
    json_decref(t.tree);
    return e;
}

enum err fhir_proposal_revoke(const char *json, size_t len, const char *why,
                              int64_t at_ms, struct buf *out)
{
    struct fhir_task_text t;
    struct buf change;
    enum err e = fhir_task_load(json, len, "ServiceRequest", &t);

    if (e != ERR_OK)
        return e;
    buf_init(&change, 4096);
    begin("ServiceRequest", &(struct fhir_companion){ .id = NULL }, &change);
    fhir_out_text(&change, "status", "revoked");
    put_note(&change, why, at_ms);
    fhir_out_close(&change, '}');
    e = buf_ok(&change);
    if (e == ERR_OK)
        e = apply(&t, &change, out);
    buf_clear(&change);
    json_decref(t.tree);
    return e;
}

/* per-1: the end is not before the start */
static void put_end(json_t *flag, int64_t at_ms, struct buf *out)
{
    const char *start = fhir_string(json_object_get(flag, "period"), "start");
    int64_t start_ms;

    if (fhir_task_instant_ms(start, &start_ms) && start_ms > at_ms)
        at_ms = start_ms;
    fhir_out_open(out, "period", '{');
    fhir_out_text(out, "start", start);
    put_time(out, "end", at_ms);
    fhir_out_close(out, '}');
}

enum err fhir_flag_end(const char *json, size_t len, int64_t at_ms,
                       struct buf *out)
{
    struct fhir_task_text t;
    struct buf change;
    enum err e = fhir_task_load(json, len, "Flag", &t);

    if (e != ERR_OK)
        return e;
    buf_init(&change, 4096);
    begin("Flag", &(struct fhir_companion){ .id = NULL }, &change);
    if (fhir_is(t.tree, "status", "active")) {
        fhir_out_text(&change, "status", "inactive");
        put_end(t.tree, at_ms, &change);
    }
    fhir_out_close(&change, '}');
    e = buf_ok(&change);
    if (e == ERR_OK)
        e = apply(&t, &change, out);
    buf_clear(&change);
    json_decref(t.tree);
    return e;
}

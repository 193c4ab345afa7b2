#include "service/suggest_companion.h"

#include "adapters/fhir_member.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/*
 * On the chart stands what whoever is about to needle, compress, cut or cuff
 * the arm should know, and what stays true for weeks: a flow that loads the
 * heart and bleeds long, a hand that may be short of blood, a band that was
 * found wanting.  Bleeding and infection are acted on at once, by a Task of the
 * highest urgency, and would be gone from the arm before the flag is gone from
 * the chart; low flow, dose and missed visits are the dialysis unit's own.
 * Common practice, no source.
 */
static bool is_flagged(enum group group)
{
    return group == GROUP_FLOW || group == GROUP_HAND ||
           group == GROUP_AFTER_BAND;
}

bool beside_goes_out(const struct suggest *s)
{
    return s->review->record && !s->review->silent;
}

/* Have we ended the Task, or would we have, if a person had it not in hand? */
static bool has_ended(const struct draft *d)
{
    return strcmp(d->task.status, "requested") != 0;
}

struct fhir_companion beside_common(const struct draft *d,
                                    const struct companion *c)
{
    const struct fhir_task *t = &d->task;
    bool by_order = t->access.literal != NULL || t->access.value != NULL;

    return (struct fhir_companion){ .base = t->base,
                                    .id = c->row.fid,
                                    .key = c->key[0] != '\0' ? c->key : NULL,
                                    .patient = t->patient,
                                    .access = by_order ? t->access : t->focus,
                                    .author = t->requester,
                                    .at_ms = t->modified_ms };
}

/* ---- the proposal ----------------------------------------------------------- */

/* The readings that the draft names. */
static size_t list_readings(const struct draft *d, bool with_versions,
                            struct fhir_out_ref refs[FHIR_REASONS_MAX])
{
    size_t count = 0;

    for (size_t i = 0; i < d->task.input_count; i++) {
        if (d->task.inputs[i].kind != INPUT_TRIGGER)
            continue;
        refs[count] = d->task.inputs[i].ref;
        refs[count++].version = with_versions ? d->versions[i] : NULL;
    }
    return count;
}

static void prepare_order(struct suggest *s, struct draft *d, int64_t task,
                          struct beside_task *b)
{
    struct fhir_task *t = &d->task;

    if (task != 0 || !s->review->companions.proposals)
        return;
    new_fid(b->order_fid);
    snprintf(b->order_ref, sizeof(b->order_ref), "ServiceRequest/%s",
             b->order_fid);
    t->access = t->focus;
    t->focus = (struct fhir_out_ref){ .literal = b->order_ref,
                                      .type = "ServiceRequest",
                                      .display = t->code_display };
}

static enum err write_order(const struct draft *d, const struct companion *c,
                            int64_t authored_ms, struct buf *out)
{
    const struct fhir_task *t = &d->task;
    struct fhir_proposal *p = calloc(1, sizeof(*p));
    enum err e;

    if (p == NULL)
        return ERR_MEMORY;
    p->of = beside_common(d, c);
    p->of.at_ms = authored_ms;
    p->code = t->code;
    p->code_display = t->code_display;
    p->text = d->suggestion.len > 0 ? d->suggestion.data : t->code_display;
    p->priority = t->priority;
    p->reason_count = list_readings(d, false, p->reasons);
    e = fhir_proposal_write(p, out);
    free(p);
    return e;
}

static enum err new_order(struct suggest *s, struct draft *d,
                          const struct resource *row, struct beside_task *b)
{
    struct companion c = { .task = row->id, .kind = FHIR_SERVICE_REQUEST };
    struct buf json;
    enum err e;

    snprintf(c.row.fid, sizeof(c.row.fid), "%s", b->order_fid);
    snprintf(c.key, sizeof(c.key), "%s-order", b->key);
    buf_init(&json, TASK_MAX);
    e = write_order(d, &c, s->now_ms, &json);
    if (e == ERR_OK)
        e = companion_put(s->db, &c, partition_of(s->access->id), s->now_ms,
                          &json, beside_goes_out(s));
    buf_clear(&json);
    return e;
}

/* What has become of it with the Task: withdrawn, or more or less urgent. */
static enum err change_order(const struct suggest *s, const struct draft *d,
                             const struct buf *old, struct buf *json)
{
    const struct fhir_task *t = &d->task;

    if (has_ended(d))
        return fhir_proposal_revoke(old->data, old->len,
                                    t->status_reason != NULL ? t->status_reason
                                                             : "Withdrawn",
                                    s->now_ms, json);
    if (t->priority == NULL)
        return ERR_OK;
    return fhir_member_put(old->data, old->len, "priority", t->priority, json);
}

static enum err keep_order(struct suggest *s, struct draft *d, int64_t task)
{
    struct companion c;
    struct buf old, json;
    char status[24];
    enum err e = companion_get(s->db, task, FHIR_SERVICE_REQUEST, &c);

    if (e != ERR_OK || c.row.id == 0)
        return e;
    buf_init(&old, TASK_MAX);
    buf_init(&json, TASK_MAX);
    e = companion_body(s->db, &c, &old);
    if (e == ERR_OK)
        e = fhir_member_text(old.data, old.len, "status", status,
                             sizeof(status));
    if (e == ERR_OK && strcmp(status, "draft") == 0)
        e = change_order(s, d, &old, &json);
    if (e == ERR_OK && json.len > 0 &&
        (json.len != old.len || memcmp(json.data, old.data, old.len) != 0))
        e = companion_put(s->db, &c, partition_of(s->access->id), s->now_ms,
                          &json, beside_goes_out(s));
    buf_clear(&old);
    buf_clear(&json);
    return e;
}

/* ---- the flag ------------------------------------------------------------------ */

static enum err raise_flag(struct suggest *s, struct draft *d,
                           const struct resource *row,
                           const struct beside_task *b, struct companion *c)
{
    char task[DRAFT_REF_SIZE];
    struct fhir_flag f = { .code = d->task.reason_code,
                           .code_display = d->task.reason_display };
    struct buf json;
    enum err e;

    new_fid(c->row.fid);
    snprintf(c->key, sizeof(c->key), "%s-flag", b->key);
    snprintf(task, sizeof(task), "Task/%s", row->fid);
    f.of = beside_common(d, c);
    f.of.task = (struct fhir_out_ref){ .literal = task, .type = "Task" };
    /* since when it stands: when the Task was opened */
    if (d->task.start_s > 0 && d->task.start_s * 1000 < s->now_ms)
        f.of.at_ms = d->task.start_s * 1000;
    buf_init(&json, TASK_MAX);
    e = fhir_flag_write(&f, &json);
    if (e == ERR_OK)
        e = companion_put(s->db, c, partition_of(s->access->id), s->now_ms,
                          &json, beside_goes_out(s));
    buf_clear(&json);
    return e;
}

static enum err keep_flag(struct suggest *s, struct draft *d,
                          const struct resource *row,
                          const struct beside_task *b)
{
    struct companion c;
    enum err e;

    if (has_ended(d))
        return companion_end_flag(s->db, row->id, partition_of(s->access->id),
                                  s->now_ms, beside_goes_out(s));
    if (!s->review->companions.flags || !d->is_referral ||
        !is_flagged(d->group))
        return ERR_OK;
    e = companion_get(s->db, row->id, FHIR_FLAG, &c);
    return e == ERR_OK && c.row.id == 0 ? raise_flag(s, d, row, b, &c) : e;
}

/* ---- where it comes from ---------------------------------------------------- */

static enum err write_source(struct suggest *s, const struct draft *d,
                             const struct resource *row,
                             const struct beside_task *b, struct buf *out)
{
    struct companion c = { .task = row->id, .kind = FHIR_PROVENANCE };
    struct fhir_source *source = calloc(1, sizeof(*source));
    char task[DRAFT_REF_SIZE], version[16];
    enum err e;

    if (source == NULL)
        return ERR_MEMORY;
    new_fid(c.row.fid);
    snprintf(task, sizeof(task), "Task/%s", row->fid);
    snprintf(version, sizeof(version), "%d", row->version);
    source->of = beside_common(d, &c);
    source->of.author.display = "headgate " HEADGATE_VERSION;
    source->of.task = (struct fhir_out_ref){ .literal = task,
                                             .type = "Task",
                                             .version = version };
    if (b->json.len > 0)
        source->document = d->task.worksheet;
    source->rule = d->task.rule;
    source->policy_version = d->task.policy_version;
    source->source_count = list_readings(d, true, source->sources);
    e = fhir_provenance_write(source, out);
    free(source);
    return e == ERR_OK ? companion_put(s->db, &c, partition_of(s->access->id),
                                       s->now_ms, out, beside_goes_out(s))
                       : e;
}

static enum err new_source(struct suggest *s, const struct draft *d,
                           const struct resource *row,
                           const struct beside_task *b)
{
    struct buf json;
    enum err e;

    if (!s->review->companions.provenance)
        return ERR_OK;
    buf_init(&json, TASK_MAX);
    e = write_source(s, d, row, b, &json);
    buf_clear(&json);
    return e;
}

/* ---- all of them -------------------------------------------------------------- */

/* Its key as it was made: that of the draft follows the names of the patient and
 * the access, which may have changed since. */
static enum err know_task(struct suggest *s, const struct draft *d,
                          int64_t task, struct beside_task *b)
{
    const enum query q = Q_TASK_GET;
    enum err e;

    if (task == 0) {
        b->none = s->review->silent;
        snprintf(b->key, sizeof(b->key), "%s", d->task.key);
        return ERR_OK;
    }
    e = db_first(s->db, q, "i", task);
    if (e != ERR_OK)
        return e;
    b->none = db_int(s->db, q, 6) != 0;
    snprintf(b->key, sizeof(b->key), "%s", db_text(s->db, q, 5));
    db_done(s->db, q);
    return ERR_OK;
}

enum err beside_prepare(struct suggest *s, struct draft *d, int64_t task,
                        struct beside_task *b)
{
    enum err e;

    memset(b, 0, sizeof(*b));
    buf_init(&b->json, TASK_MAX);
    e = know_task(s, d, task, b);
    if (e != ERR_OK || b->none)
        return e;
    e = companion_get(s->db, task, FHIR_DOCUMENT_REFERENCE, &b->document);
    if (e != ERR_OK)
        return e;
    prepare_order(s, d, task, b);
    return beside_document(s, d, b);
}

enum err beside_store(struct suggest *s, struct draft *d,
                      const struct resource *row, bool is_new, bool touched,
                      struct beside_task *b)
{
    enum err e;

    if (b->none)
        return ERR_OK;
    e = beside_store_document(s, row, b);
    if (e == ERR_OK && b->order_fid[0] != '\0')
        e = new_order(s, d, row, b);
    else if (e == ERR_OK && !is_new && !touched)
        e = keep_order(s, d, row->id);
    if (e == ERR_OK)
        e = keep_flag(s, d, row, b);
    return e == ERR_OK && is_new ? new_source(s, d, row, b) : e;
}

void beside_clear(struct beside_task *b)
{
    buf_clear(&b->json);
}

#include "service/draft.h"

#include "adapters/hex.h"
#include "service/suggest_plan.h"

#include <math.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const priorities[] = { [URGENCY_NOTE] = "routine",
                                          [URGENCY_ROUTINE] = "routine",
                                          [URGENCY_URGENT] = "urgent",
                                          [URGENCY_ASAP] = "asap",
                                          [URGENCY_IMMEDIATE] = "stat" };

const char *draft_priority(enum urgency u)
{
    return priorities[u];
}

const char *access_name(const struct access *a)
{
    if (a->label[0] != '\0')
        return a->label;
    return a->implied ? "Access (not named by the unit)" : a->anchor;
}

struct draft *draft_new(void)
{
    struct draft *d = calloc(1, sizeof(*d));

    if (d == NULL)
        return NULL;
    buf_init(&d->headline, DRAFT_TEXT_MAX);
    buf_init(&d->suggestion, DRAFT_TEXT_MAX);
    buf_init(&d->description, DRAFT_TEXT_MAX);
    buf_init(&d->note, DRAFT_TEXT_MAX);
    buf_init(&d->reason, DRAFT_TEXT_MAX);
    for (size_t i = 0; i < TASK_INPUTS_MAX; i++)
        buf_init(&d->displays[i], 1024);
    return d;
}

void draft_free(struct draft *d)
{
    buf_clear(&d->headline);
    buf_clear(&d->suggestion);
    buf_clear(&d->description);
    buf_clear(&d->note);
    buf_clear(&d->reason);
    for (size_t i = 0; i < TASK_INPUTS_MAX; i++)
        buf_clear(&d->displays[i]);
    free(d);
}

/* What tells an access from the others of its patient: what senders call it, or
 * side and region of one that nobody named.  The number in the name of that one
 * is of this store, and would be another after a restore. */
static const char *lasting_anchor(const struct access *a)
{
    const char *number = strchr(a->anchor, '|');
    const char *place = number != NULL ? strchr(number + 1, '|') : NULL;

    return a->implied && place != NULL ? place : a->anchor;
}

/* One key for patient, access, group and number: the same after a crash, the
 * same on any server. */
enum err draft_key(const struct suggest *s, const char *what, int number,
                   char key[65])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int len = 0;
    char text[2 * ALIAS_SIZE + 64];

    snprintf(text, sizeof(text), "%s|%s|%s|%d", s->patient->anchor,
             lasting_anchor(s->access), what, number);
    if (EVP_Digest(text, strlen(text), digest, &len, EVP_sha256(), NULL) != 1)
        return ERR_MEMORY;
    hex_write(digest, 32, key);
    return ERR_OK;
}

enum err draft_node(struct db *db, char node[FID_SIZE])
{
    enum err e = db_first(db, Q_META_GET, "s", "node");

    if (e == ERR_OK) {
        snprintf(node, FID_SIZE, "%s", db_text(db, Q_META_GET, 0));
        db_done(db, Q_META_GET);
        return ERR_OK;
    }
    if (e != ERR_ABSENT)
        return e;
    new_fid(node);
    return db_run(db, Q_META_PUT, "ss", "node", node);
}

enum err draft_refer(struct db *db, const char *type, int64_t resource,
                     const char *anchor, bool is_literal, char text[ALIAS_SIZE],
                     struct fhir_out_ref *ref)
{
    struct resource row;
    char *bar;

    ref->type = type;
    if (resource != 0) {
        enum err e = resource_get(db, resource, &row);

        if (e != ERR_OK)
            return e;
        snprintf(text, ALIAS_SIZE, "%s/%s", type, row.fid);
        ref->literal = text;
        return ERR_OK;
    }
    snprintf(text, ALIAS_SIZE, "%s", anchor);
    if (is_literal) {
        ref->literal = text;
        return ERR_OK;
    }
    bar = strchr(text, '|');
    ref->system = bar != NULL && bar != text ? text : NULL;
    ref->value = bar != NULL ? bar + 1 : text;
    if (bar != NULL)
        *bar = '\0';
    return ERR_OK;
}

enum err draft_frame(struct suggest *s, struct draft *d)
{
    struct fhir_task *t = &d->task;
    const struct policy *policy = s->review->policy;
    enum err e = draft_node(s->db, d->node);

    t->base = s->review->base;
    t->policy_version = policy->version;
    t->status = "requested";
    t->narrative = s->review->narratives;
    t->authored_ms = t->modified_ms = s->now_ms;
    snprintf(d->system, sizeof(d->system), "%s/NamingSystem/node", t->base);
    t->requester = (struct fhir_out_ref){ .system = d->system,
                                          .value = d->node,
                                          .type = "Device",
                                          .display = "headgate" };
    if (e == ERR_OK)
        e = draft_refer(s->db, "Patient", s->patient->resource,
                        s->patient->anchor, s->patient->anchor_is_literal,
                        d->patient_ref, &t->patient);
    if (e == ERR_OK)
        e = draft_refer(s->db, "BodyStructure", s->access->resource,
                        s->access->anchor, s->access->anchor_is_literal,
                        d->access_ref, &t->focus);
    t->patient.display = s->patient->name[0] != '\0' ? s->patient->name : NULL;
    t->focus.display = access_name(s->access);
    return e;
}

static const struct reading *reading_of(const struct history *h,
                                        const struct evidence *v)
{
    for (size_t i = 0; i < h->count; i++) {
        if (h->readings[i].id == v->id && h->readings[i].slot == v->slot)
            return &h->readings[i];
    }
    return NULL;
}

enum err draft_trigger(struct suggest *s, struct draft *d,
                       const struct evidence *v)
{
    struct fhir_task *t = &d->task;
    const struct reading *r = reading_of(s->history, v);
    size_t i = t->input_count;
    struct resource row;
    enum err e;

    if (i == TASK_INPUTS_MAX)
        return ERR_OK;
    e = resource_get(s->db, v->id, &row);
    if (e != ERR_OK)
        return e;
    snprintf(d->refs[i], DRAFT_REF_SIZE, "Observation/%s", row.fid);
    snprintf(d->versions[i], sizeof(d->versions[i]), "%d", v->version);
    if (r != NULL)
        wording_reading(r, s->review->zone, &d->displays[i]);
    t->inputs[i] =
        (struct fhir_task_input){ .kind = INPUT_TRIGGER,
                                  .ref = { .literal = d->refs[i],
                                           .type = "Observation",
                                           .display = d->displays[i].len > 0
                                                          ? d->displays[i].data
                                                          : NULL },
                                  .value = NAN };
    t->reason = t->inputs[i].ref; /* the newest stays: it comes last */
    t->input_count++;
    return buf_ok(&d->displays[i]);
}

/* Does it rest on a limit?  A sign alone, or a day that is due, does not: its
 * row is an urgency, or one that holds for all rules, or a time. */
static bool has_limit(const struct finding *f)
{
    const struct param_info *row = param_info(f->limit);

    return f->rule != RULE_PB_1 && row->kind != PARAM_URGENCY &&
           strcmp(row->section, "general") != 0;
}

void draft_threshold(struct suggest *s, struct draft *d,
                     const struct finding *f)
{
    struct fhir_task *t = &d->task;
    struct wording w = draft_wording(s, finding_group(f), 0);
    size_t i = t->input_count;
    struct fhir_task_input *in = &t->inputs[i];

    if (i == TASK_INPUTS_MAX || !has_limit(f))
        return;
    *in = (struct fhir_task_input){ .kind = INPUT_THRESHOLD,
                                    .value = NAN,
                                    .unit = wording_limit_unit(f->limit) };
    if (in->unit != NULL) {
        in->value = policy_get(s->review->policy, f->limit);
    } else {
        wording_limit(&w, f->limit, &d->displays[i]);
        in->text = d->displays[i].data;
    }
    t->input_count++;
}

static bool in_group(const struct finding *f, enum group group)
{
    return finding_group(f) == group;
}

/* The most urgent confirmed finding gives the Task its rule. */
static const struct finding *leading(const struct findings *findings,
                                     enum group group)
{
    const struct finding *best = NULL;

    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        if (in_group(f, group) && f->confirmed &&
            (best == NULL || rules_leads(f, best)))
            best = f;
    }
    return best;
}

static enum err fill_inputs(struct suggest *s, struct draft *d,
                            enum group group, const struct episode *episode)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < episode->evidence_count; i++)
        e = draft_trigger(s, d, &episode->evidence[i]);
    for (size_t i = 0; i < s->findings->count; i++) {
        const struct finding *f = &s->findings->list[i];

        if (in_group(f, group) && f->confirmed)
            draft_threshold(s, d, f);
    }
    return e;
}

enum err draft_ok(const struct draft *d)
{
    const struct buf *all[] = { &d->headline, &d->suggestion, &d->description,
                                &d->note, &d->reason };

    for (size_t i = 0; i < COUNT(all); i++) {
        enum err e = buf_ok(all[i]);

        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

struct wording draft_wording(const struct suggest *s, enum group group,
                             int64_t due_s)
{
    return (struct wording){ .history = s->history,
                             .policy = s->review->policy,
                             .findings = s->findings,
                             .group = group,
                             .zone = s->review->zone,
                             .access_label = access_name(s->access),
                             .due_s = due_s,
                             .plan = suggest_plan_words(s, group) };
}

/* All of a referral but its note. */
enum err draft_referral(struct suggest *s, struct draft *d, enum group group,
                        const struct episode *episode, int64_t due_s)
{
    const struct finding *lead = leading(s->findings, group);
    struct wording w = draft_wording(s, group, due_s);
    struct fhir_task *t = &d->task;
    enum err e = draft_frame(s, d);

    if (e == ERR_OK)
        e = draft_key(s, group_word(group), episode->number, d->key);
    if (e == ERR_OK)
        e = fill_inputs(s, d, group, episode);
    if (e != ERR_OK)
        return e;
    d->group = group;
    d->is_referral = true;
    snprintf(d->episode, sizeof(d->episode), "%s/%s/%d", s->access->anchor,
             group_word(group), episode->number);
    wording_headline(&w, &d->headline);
    wording_suggestion(&w, &d->suggestion);
    wording_description(&w, &d->description);
    t->key = d->key;
    t->episode = d->episode;
    t->rule = lead != NULL ? rule_info(lead->rule)->id : NULL;
    /* escalated, a matter of days is one of today */
    t->priority = episode->escalated && episode->urgency == URGENCY_ASAP
                      ? priorities[URGENCY_IMMEDIATE]
                      : priorities[episode->urgency];
    t->code = task_code_referral(group)->code;
    t->code_display = task_code_referral(group)->display;
    t->reason_code = task_code_reason(group)->code;
    t->reason_display = task_code_reason(group)->display;
    t->description = d->description.data;
    t->start_s = s->now_ms / 1000;
    t->due_s = due_s;
    return draft_ok(d);
}

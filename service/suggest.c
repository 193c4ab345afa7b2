#include "service/suggest.h"

#include "adapters/fhir_write.h"
#include "adapters/wording.h"
#include "service/episodes.h"
#include "service/resources.h"

#include <math.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_MAX = 16 * 1024, TASK_MAX = 256 * 1024, REF_SIZE = FID_SIZE + 24 };

/* What a Task says, while it is put together. */
struct draft {
    struct fhir_task task;
    struct buf headline, suggestion, description, note, reason;
    char key[65], episode[ALIAS_SIZE + 48], node[FID_SIZE];
    char system[ALIAS_SIZE], repeat_code[64], due_date[FHIR_TIME_SIZE];
    char patient_ref[ALIAS_SIZE], access_ref[ALIAS_SIZE];
    char refs[TASK_INPUTS_MAX][REF_SIZE];
    struct buf displays[TASK_INPUTS_MAX];
};

static const struct {
    const char *code, *display, *reason, *reason_display;
} group_codes[GROUP_COUNT] = {
    [GROUP_FLOW] = { "refer-flow-review", "Suggest access flow review",
                     "high-flow", "High access flow" },
    [GROUP_HAND] = { "refer-hand-review", "Suggest assessment of the hand",
                     "hand-ischaemia", "Ischaemia of the access hand" },
    [GROUP_LOW_FLOW] = { "refer-low-flow-review",
                         "Suggest examination for low access flow", "low-flow",
                         "Low access flow" },
};

static const char *const priorities[] = { [URGENCY_NOTE] = "routine",
                                          [URGENCY_ROUTINE] = "routine",
                                          [URGENCY_URGENT] = "urgent",
                                          [URGENCY_ASAP] = "asap",
                                          [URGENCY_IMMEDIATE] = "stat" };

const char *access_name(const struct access *a)
{
    if (a->label[0] != '\0')
        return a->label;
    return a->implied ? "Access (not named by the unit)" : a->anchor;
}

int urgency_due_d(const struct policy *policy, enum urgency u)
{
    switch (u) {
    case URGENCY_IMMEDIATE:
        return 0;
    case URGENCY_ASAP:
        return policy_count(policy, P_DUE_ASAP_D);
    case URGENCY_URGENT:
        return policy_count(policy, P_DUE_URGENT_D);
    case URGENCY_ROUTINE:
    case URGENCY_NOTE:
        break;
    }
    return policy_count(policy, P_DUE_ROUTINE_D);
}

static struct draft *draft_new(void)
{
    struct draft *d = calloc(1, sizeof(*d));

    if (d == NULL)
        return NULL;
    buf_init(&d->headline, TEXT_MAX);
    buf_init(&d->suggestion, TEXT_MAX);
    buf_init(&d->description, TEXT_MAX);
    buf_init(&d->note, TEXT_MAX);
    buf_init(&d->reason, TEXT_MAX);
    for (size_t i = 0; i < TASK_INPUTS_MAX; i++)
        buf_init(&d->displays[i], 1024);
    return d;
}

static void draft_free(struct draft *d)
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

/* One key for patient, access, group and number: the same after a crash, the
 * same on any server. */
static enum err write_key(const struct suggest *s, const char *what, int number,
                          char key[65])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int len = 0;
    char text[2 * ALIAS_SIZE + 64];

    snprintf(text, sizeof(text), "%s|%s|%s|%d", s->patient->anchor,
             s->access->anchor, what, number);
    if (EVP_Digest(text, strlen(text), digest, &len, EVP_sha256(), NULL) != 1)
        return ERR_MEMORY;
    for (size_t i = 0; i < 32; i++)
        snprintf(key + 2 * i, 3, "%02x", digest[i]);
    return ERR_OK;
}

/* Who suggests: this installation, by a number that it keeps. */
static enum err node_of(struct db *db, char node[FID_SIZE])
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

/* A reference to what is known here: its resource, or as the sender said. */
static enum err refer(const struct suggest *s, const char *type,
                      int64_t resource, const char *anchor, bool is_literal,
                      char text[ALIAS_SIZE], struct fhir_out_ref *ref)
{
    struct resource row;
    char *bar;

    ref->type = type;
    if (resource != 0) {
        enum err e = resource_get(s->db, resource, &row);

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

static enum err fill_frame(struct suggest *s, struct draft *d)
{
    struct fhir_task *t = &d->task;
    const struct policy *policy = s->review->policy;
    enum err e = node_of(s->db, d->node);

    t->base = s->review->base;
    t->policy_version = policy->version;
    t->status = "requested";
    t->authored_ms = t->modified_ms = s->now_ms;
    snprintf(d->system, sizeof(d->system), "%s/NamingSystem/node", t->base);
    t->requester = (struct fhir_out_ref){ .system = d->system,
                                          .value = d->node,
                                          .type = "Device",
                                          .display = "headgate" };
    if (e == ERR_OK)
        e = refer(s, "Patient", s->patient->resource, s->patient->anchor,
                  s->patient->anchor_is_literal, d->patient_ref, &t->patient);
    if (e == ERR_OK)
        e = refer(s, "BodyStructure", s->access->resource, s->access->anchor,
                  s->access->anchor_is_literal, d->access_ref, &t->focus);
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

static enum err add_trigger(struct suggest *s, struct draft *d,
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
    snprintf(d->refs[i], REF_SIZE, "Observation/%s", row.fid);
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

static const char *limit_unit(enum param limit)
{
    switch ((int)limit) {
    case P_HF3_RATIO:
    case P_HF3_RATIO_SEVERE:
    case P_IS5_INDEX:
    case P_IS5_INDEX_SEVERE:
        return "1";
    case P_IS5_PRESSURE:
        return "mm[Hg]";
    default:
        return "mL/min";
    }
}

static void add_threshold(struct suggest *s, struct draft *d,
                          const struct finding *f)
{
    struct fhir_task *t = &d->task;
    const struct param_info *row = param_info(f->limit);
    double limit = policy_get(s->review->policy, f->limit);
    size_t i = t->input_count;

    if (i == TASK_INPUTS_MAX)
        return;
    t->inputs[i] = (struct fhir_task_input){ .kind = INPUT_THRESHOLD,
                                             .value = limit,
                                             .unit = limit_unit(f->limit) };
    if (row->kind == PARAM_GRADE) {
        buf_printf(&d->displays[i], "Grade %s", grade_word((enum grade)limit));
        t->inputs[i].value = NAN;
        t->inputs[i].text = d->displays[i].data;
    }
    t->input_count++;
}

static bool in_group(const struct finding *f, enum group group)
{
    return rule_info(f->rule)->group == group;
}

/* The most urgent confirmed finding gives the Task its rule. */
static const struct finding *leading(const struct findings *findings,
                                     enum group group)
{
    const struct finding *best = NULL;

    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        if (in_group(f, group) && f->confirmed &&
            (best == NULL || f->urgency > best->urgency))
            best = f;
    }
    return best;
}

static enum err fill_inputs(struct suggest *s, struct draft *d,
                            enum group group, const struct episode *episode)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < episode->evidence_count; i++)
        e = add_trigger(s, d, &episode->evidence[i]);
    for (size_t i = 0; i < s->findings->count; i++) {
        const struct finding *f = &s->findings->list[i];

        if (in_group(f, group) && f->confirmed)
            add_threshold(s, d, f);
    }
    return e;
}

static enum err words_ok(const struct draft *d)
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

static struct wording wording_of(const struct suggest *s, enum group group,
                                 int64_t due_s)
{
    return (struct wording){ .history = s->history,
                             .policy = s->review->policy,
                             .findings = s->findings,
                             .group = group,
                             .zone = s->review->zone,
                             .access_label = access_name(s->access),
                             .due_s = due_s };
}

/* All of a referral but its note. */
static enum err fill_referral(struct suggest *s, struct draft *d,
                              enum group group, const struct episode *episode,
                              int64_t due_s)
{
    const struct finding *lead = leading(s->findings, group);
    struct wording w = wording_of(s, group, due_s);
    struct fhir_task *t = &d->task;
    enum err e = fill_frame(s, d);

    if (e == ERR_OK)
        e = write_key(s, group_word(group), episode->number, d->key);
    if (e == ERR_OK)
        e = fill_inputs(s, d, group, episode);
    if (e != ERR_OK)
        return e;
    snprintf(d->episode, sizeof(d->episode), "%s/%s/%d", s->access->anchor,
             group_word(group), episode->number);
    wording_headline(&w, &d->headline);
    wording_suggestion(&w, &d->suggestion);
    wording_description(&w, &d->description);
    t->key = d->key;
    t->episode = d->episode;
    t->rule = lead != NULL ? rule_info(lead->rule)->id : NULL;
    t->priority = priorities[episode->urgency];
    t->code = group_codes[group].code;
    t->code_display = group_codes[group].display;
    t->reason_code = group_codes[group].reason;
    t->reason_display = group_codes[group].reason_display;
    t->description = d->description.data;
    t->start_s = s->now_ms / 1000;
    t->due_s = due_s;
    return words_ok(d);
}

static enum err put_task(struct suggest *s, struct resource *row,
                         const struct fhir_task *t, const struct buf *json)
{
    struct new_version v = { .body = json->data, .len = json->len };
    struct fhir_task_view view;
    int64_t part = partition_of(s->access->id);
    enum err e = fhir_task_view(json->data, json->len, &view);

    if (e == ERR_OK)
        e = resource_put(s->db, row, NULL, part, s->now_ms, &v);
    if (e == ERR_OK)
        e = db_run(s->db, Q_TASK_PUT, "iiiissss", row->id, part, s->patient->id,
                   s->access->id, view.status, t->priority, t->code, t->key);
    if (e == ERR_OK && s->review->record)
        e = db_run(s->db, Q_OUTBOX_WANT, "iiii", row->id, part,
                   INT64(row->version), s->now_ms);
    s->told = true;
    return e;
}

static enum err new_task(struct suggest *s, struct draft *d,
                         struct resource *row)
{
    struct buf json;
    enum err e;

    *row = (struct resource){ .kind = FHIR_TASK };
    new_fid(row->fid);
    d->task.id = row->fid;
    buf_init(&json, TASK_MAX);
    e = fhir_task_write(&d->task, &json);
    if (e == ERR_OK)
        e = put_task(s, row, &d->task, &json);
    buf_clear(&json);
    return e;
}

static enum err amend_task(struct suggest *s, struct draft *d, int64_t task,
                           bool touched, struct resource *row)
{
    struct buf old, json;
    int64_t updated_ms;
    enum err e = resource_get(s->db, task, row);

    buf_init(&old, TASK_MAX);
    buf_init(&json, TASK_MAX);
    d->task.id = row->fid;
    if (e == ERR_OK)
        e = resource_body(s->db, row, 0, &old, &updated_ms);
    if (e == ERR_OK)
        e = fhir_task_amend(old.data, old.len, &d->task, touched, &json);
    if (e == ERR_OK)
        e = put_task(s, row, &d->task, &json);
    buf_clear(&old);
    buf_clear(&json);
    return e;
}

/* Why, for whoever asks later: readings with the version they had. */
static enum err note_decision(struct suggest *s, enum group group,
                              const struct episode *episode, enum act act,
                              enum end_reason reason,
                              const struct resource *task)
{
    struct buf evidence;
    int64_t id;
    enum err e = db_new_id(s->db, &id);

    buf_init(&evidence, TEXT_MAX);
    for (size_t i = 0; i < episode->evidence_count; i++)
        buf_printf(&evidence, "%s%lld/%d/%d", i > 0 ? " " : "",
                   (long long)episode->evidence[i].id,
                   episode->evidence[i].version, episode->evidence[i].slot);
    if (e == ERR_OK)
        e = buf_ok(&evidence);
    if (e == ERR_OK)
        e = db_run(s->db, Q_DECISION_ADD, "iiiiiiiisiiis", id,
                   partition_of(s->access->id), s->access->id, INT64(group),
                   INT64(episode->number), s->now_ms, INT64(act), INT64(reason),
                   s->review->policy->version, task->id, INT64(task->version),
                   INT64(episode->rules), evidence.data);
    buf_clear(&evidence);
    return e;
}

static enum err store_episode(struct suggest *s, struct draft *d,
                              enum group group, const struct episode *episode,
                              int64_t task, int64_t opened_s, int64_t due_s)
{
    struct episode_words words = { .opened_s = opened_s,
                                   .due_s = due_s,
                                   .headline = d->headline.data,
                                   .suggestion = d->suggestion.data };

    return episode_store(s->db, s->access->id, group, episode, task, &words);
}

static int64_t due_of(const struct suggest *s, enum urgency u)
{
    return s->now_ms / 1000 +
           (int64_t)urgency_due_d(s->review->policy, u) * DAY_S;
}

static enum err open_referral(struct suggest *s, struct draft *d,
                              enum group group, const struct verdict *v)
{
    int64_t due_s = due_of(s, v->episode.urgency);
    struct wording w = wording_of(s, group, due_s);
    struct resource row;
    enum err e = fill_referral(s, d, group, &v->episode, due_s);

    if (e != ERR_OK)
        return e;
    wording_basis(&w, &d->note);
    d->task.note = d->note.data;
    e = words_ok(d);
    if (e == ERR_OK)
        e = new_task(s, d, &row);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &v->episode, row.id, s->now_ms / 1000,
                          due_s);
    return e == ERR_OK ? note_decision(s, group, &v->episode, ACT_OPEN,
                                       END_CLEARED, &row)
                       : e;
}

static enum err update_referral(struct suggest *s, struct draft *d,
                                enum group group, const struct verdict *v,
                                int64_t task)
{
    bool touched = v->episode.state == EPISODE_TAKEN;
    int64_t opened_s, due_s;
    struct wording w;
    struct resource row;
    enum err e = episode_times(s->db, task, &opened_s, &due_s);

    if (e == ERR_OK && v->raised && due_of(s, v->episode.urgency) < due_s)
        due_s = due_of(s, v->episode.urgency);
    if (e == ERR_OK)
        e = fill_referral(s, d, group, &v->episode, due_s);
    if (e != ERR_OK)
        return e;
    d->task.start_s = opened_s;
    w = wording_of(s, group, due_s);
    wording_update(&w, v, &d->note);
    d->task.note = d->note.data;
    e = words_ok(d);
    if (e == ERR_OK)
        e = amend_task(s, d, task, touched, &row);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &v->episode, task, opened_s, due_s);
    return e == ERR_OK ? note_decision(s, group, &v->episode, ACT_UPDATE,
                                       END_CLEARED, &row)
                       : e;
}

static enum err end_referral(struct suggest *s, struct draft *d,
                             enum group group, const struct verdict *v,
                             int64_t task)
{
    bool touched = v->episode.state == EPISODE_TAKEN;
    struct episode episode = v->episode;
    int64_t opened_s, due_s;
    struct wording w;
    struct resource row;
    enum err e = episode_times(s->db, task, &opened_s, &due_s);

    if (e == ERR_OK)
        e = fill_referral(s, d, group, &episode, due_s);
    if (e != ERR_OK)
        return e;
    w = wording_of(s, group, due_s);
    wording_end(&w, v, &d->reason, &d->note);
    d->task.note = d->note.data;
    d->task.status = "cancelled";
    d->task.status_reason = d->reason.data;
    d->task.description = NULL; /* what was said stays readable */
    d->task.start_s = opened_s;
    episode.state = touched ? EPISODE_TAKEN : EPISODE_ENDED;
    episode.closed_s = s->now_ms / 1000;
    e = words_ok(d);
    if (e == ERR_OK)
        e = amend_task(s, d, task, touched, &row);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &episode, task, opened_s, due_s);
    return e == ERR_OK
               ? note_decision(s, group, &episode, ACT_END, v->reason, &row)
               : e;
}

static enum err fill_repeat(struct suggest *s, struct draft *d,
                            enum group group, const struct verdict *v,
                            const struct finding *f)
{
    struct wording w = wording_of(s, group, f->repeat_by_s);
    struct fhir_task *t = &d->task;
    char what[32];
    enum err e = fill_frame(s, d);

    snprintf(what, sizeof(what), "%s-repeat", group_word(group));
    if (e == ERR_OK)
        e = write_key(s, what, v->repeat_state.number, d->key);
    for (size_t i = 0; e == ERR_OK && i < f->evidence_count; i++) {
        const struct reading *r = &s->history->readings[f->evidence[i]];
        struct evidence one = { r->id, r->version, r->slot, r->start_s };

        e = add_trigger(s, d, &one);
    }
    if (e != ERR_OK)
        return e;
    add_threshold(s, d, f);
    wording_repeat(&w, f, &d->description);
    wording_headline(&w, &d->headline);
    snprintf(d->episode, sizeof(d->episode), "%s/%s/%d", s->access->anchor,
             what, v->repeat_state.number);
    snprintf(d->repeat_code, sizeof(d->repeat_code), "repeat-%s",
             quantity_info(f->repeat_of)->code);
    t->key = d->key;
    t->episode = d->episode;
    t->rule = rule_info(f->rule)->id;
    t->priority = priorities[f->urgency];
    t->code = d->repeat_code;
    t->code_display = "Measure again to confirm";
    t->reason_code = group_codes[group].reason;
    t->reason_display = group_codes[group].reason_display;
    t->description = d->description.data;
    t->start_s = s->now_ms / 1000;
    t->due_s = f->repeat_by_s > t->start_s ? f->repeat_by_s : t->start_s;
    return words_ok(d);
}

static enum err open_repeat(struct suggest *s, struct draft *d,
                            enum group group, const struct verdict *v)
{
    const struct finding *f = &s->findings->list[v->repeat_finding];
    struct fhir_task *t = &d->task;
    struct resource row;
    enum err e = fill_repeat(s, d, group, v, f);

    if (e != ERR_OK)
        return e;
    fhir_date_write(t->due_s, s->review->zone, d->due_date);
    if (t->input_count < TASK_INPUTS_MAX)
        t->inputs[t->input_count++] = (struct fhir_task_input){
            .kind = INPUT_DUE, .value = NAN, .text = d->due_date
        };
    e = new_task(s, d, &row);
    return e == ERR_OK
               ? repeat_store(s->db, s->access->id, group, &v->repeat_state,
                              row.id, t->due_s, d->description.data)
               : e;
}

static enum err end_repeat(struct suggest *s, struct draft *d, enum group group,
                           const struct verdict *v, int64_t task)
{
    struct fhir_task *t = &d->task;
    struct resource row;
    enum err e = fill_frame(s, d);

    if (e == ERR_OK)
        e = db_first(s->db, Q_TASK_GET, "i", task);
    if (e != ERR_OK)
        return e;
    snprintf(d->repeat_code, sizeof(d->repeat_code), "%s",
             db_text(s->db, Q_TASK_GET, 4));
    snprintf(d->key, sizeof(d->key), "%s", db_text(s->db, Q_TASK_GET, 5));
    db_done(s->db, Q_TASK_GET);
    t->key = d->key;
    t->code = d->repeat_code;
    t->priority = "routine";
    t->status = "cancelled";
    t->status_reason = "No longer needed: measured again, confirmed, or the "
                       "reading that asked for it no longer stands";
    e = amend_task(s, d, task, false, &row);
    return e == ERR_OK ? repeat_store(s->db, s->access->id, group,
                                      &v->repeat_state, task, 0, NULL)
                       : e;
}

typedef enum err (*step_fn)(struct suggest *s, struct draft *d,
                            enum group group, const struct verdict *v,
                            int64_t task);

static enum err open_step(struct suggest *s, struct draft *d, enum group group,
                          const struct verdict *v, int64_t task)
{
    (void)task;
    return open_referral(s, d, group, v);
}

static enum err open_repeat_step(struct suggest *s, struct draft *d,
                                 enum group group, const struct verdict *v,
                                 int64_t task)
{
    (void)task;
    return open_repeat(s, d, group, v);
}

static enum err with_draft(struct suggest *s, enum group group,
                           const struct verdict *v, int64_t task, step_fn step)
{
    struct draft *d = draft_new();
    enum err e;

    if (d == NULL)
        return ERR_MEMORY;
    e = step(s, d, group, v, task);
    draft_free(d);
    return e;
}

enum err suggest_carry_out(struct suggest *s, enum group group,
                           const struct verdict *v, int64_t episode_task,
                           int64_t repeat_task)
{
    static const step_fn episode_steps[] = { [ACT_OPEN] = open_step,
                                             [ACT_UPDATE] = update_referral,
                                             [ACT_END] = end_referral };
    static const step_fn repeat_steps[] = {
        [ACT_OPEN] = open_repeat_step, [ACT_END] = end_repeat
    };
    enum err e = ERR_OK;

    if (v->act != ACT_NOTHING)
        e = with_draft(s, group, v, episode_task, episode_steps[v->act]);
    if (e == ERR_OK && v->repeat != ACT_NOTHING)
        e = with_draft(s, group, v, repeat_task, repeat_steps[v->repeat]);
    return e;
}

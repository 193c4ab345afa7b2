#include "service/timeline.h"

#include "adapters/fhir_write.h"
#include "adapters/timeline.h"
#include "planner/follow_up.h"
#include "service/decisions.h"
#include "service/explain.h"
#include "service/names.h"
#include "service/resources.h"
#include "service/suggest.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SAID_MAX = 8192, TASKS_MAX = 256, VERSIONS_MAX = 256 };

/* A Task of the access; at the same place its state in open. */
struct one_task {
    int64_t resource;
    unsigned rules;
};

struct gather {
    struct db *db;
    int64_t access, patient, from_ms;
    struct timeline_said *said; /* room for SAID_MAX */
    size_t said_count;
    struct timeline_open *open; /* room for TASKS_MAX */
    struct one_task *tasks;     /* likewise */
    size_t open_count;
};

static struct timeline_said *add(struct gather *g)
{
    if (g->said_count == SAID_MAX)
        return NULL;
    return &g->said[g->said_count++];
}

static void copy_task(char out[TIMELINE_TASK_SIZE], const char *fid)
{
    snprintf(out, TIMELINE_TASK_SIZE, "%s", fid != NULL ? fid : "");
}

/* ---- suggestions and reminders as they stand ------------------------------ */

static void read_task(struct gather *g)
{
    const enum query q = Q_TIMELINE_TASKS;
    struct timeline_open *o = &g->open[g->open_count];
    enum episode_state state = (enum episode_state)db_int(g->db, q, 5);

    *o = (struct timeline_open){ .reminder = db_int(g->db, q, 2) != 0,
                                 .taken = state == EPISODE_TAKEN,
                                 .open = state == EPISODE_OPEN ||
                                         state == EPISODE_TAKEN,
                                 .overdue = db_int(g->db, q, 7) != 0,
                                 .group = (enum group)db_int(g->db, q, 3),
                                 .number = (int)db_int(g->db, q, 4),
                                 .due_s = db_int(g->db, q, 6),
                                 .ended_s = INT64_MIN,
                                 .silent = db_int(g->db, q, 9) != 0 };
    copy_task(o->task, db_text(g->db, q, 1));
    g->tasks[g->open_count++] =
        (struct one_task){ .resource = db_int(g->db, q, 0),
                           .rules = (unsigned)db_int(g->db, q, 8) };
}

static enum err read_tasks(struct gather *g)
{
    const enum query q = Q_TIMELINE_TASKS;
    enum err e =
        db_query(g->db, q, "iii", g->access, g->patient, INT64(TASKS_MAX));

    while (e == ERR_OK && (e = db_next(g->db, q)) == ERR_OK)
        read_task(g);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- what we did ---------------------------------------------------------- */

/* What a decision tells people; false: nothing (more evidence, a plan). */
static bool act_of(enum act act, enum decision_how how, bool reminder,
                   enum timeline_act *out)
{
    if (act == ACT_OPEN) {
        *out = TIMELINE_OPENED;
        return true;
    }
    if (act == ACT_END) {
        *out = !reminder         ? TIMELINE_ENDED
               : how == HOW_DONE ? TIMELINE_RECORDED
                                 : TIMELINE_NOT_NEEDED;
        return true;
    }
    *out = how == HOW_RAISED      ? TIMELINE_RAISED
           : how == HOW_CORRECTED ? TIMELINE_CORRECTED
                                  : TIMELINE_PUT_AGAIN;
    return act == ACT_UPDATE &&
           (how == HOW_RAISED || how == HOW_CORRECTED || how == HOW_UNANSWERED);
}

static struct timeline_open *open_of(struct gather *g, int64_t resource)
{
    for (size_t i = 0; i < g->open_count; i++) {
        if (g->tasks[i].resource == resource)
            return &g->open[i];
    }
    return NULL;
}

/* The visit after a band that nobody recorded in time is said in a suggestion,
 * and its reminder ends. */
static bool is_missed(struct gather *g, const struct timeline_open *o,
                      int64_t at_s)
{
    enum decision_how how =
        (enum decision_how)db_int(g->db, Q_TIMELINE_DECISIONS, 5);

    return o->reminder && o->group == GROUP_FOLLOW_UP && how == HOW_PLAIN &&
           at_s >= o->due_s;
}

static void read_decision(struct gather *g)
{
    const enum query q = Q_TIMELINE_DECISIONS;
    bool reminder = db_int(g->db, q, 6) != 0;
    int64_t at_s = db_int(g->db, q, 0) / 1000;
    enum act act = (enum act)db_int(g->db, q, 3);
    struct timeline_open *o = open_of(g, db_int(g->db, q, 9));
    enum timeline_act done;
    struct timeline_said *said;

    if (act == ACT_END && o != NULL)
        o->ended_s = at_s;
    if (act == ACT_END && o != NULL && is_missed(g, o, at_s)) {
        o->overdue = o->missed = true;
        return; /* told on the day by which it was due */
    }
    if (!act_of(act, (enum decision_how)db_int(g->db, q, 5), reminder, &done))
        return;
    said = add(g);
    if (said == NULL)
        return;
    *said = (struct timeline_said){
        .at_s = at_s,
        .act = done,
        .reminder = reminder,
        .group = (enum group)db_int(g->db, q, 1),
        .number = (int)db_int(g->db, q, 2),
        .rules = (unsigned)db_int(g->db, q, 7),
        .urgency = (enum urgency)db_int(g->db, q, 8),
        .reason = (enum end_reason)db_int(g->db, q, 4),
        .due_s = o != NULL ? o->due_s : INT64_MIN,
        .silent = db_int(g->db, q, 11) != 0,
    };
    copy_task(said->task, db_text(g->db, q, 10));
}

/* The newest first, so that with no room for all the oldest are left out. */
static enum err read_decisions(struct gather *g)
{
    const enum query q = Q_TIMELINE_DECISIONS;
    enum err e =
        db_query(g->db, q, "iii", g->access, g->from_ms, INT64(SAID_MAX));

    while (e == ERR_OK && (e = db_next(g->db, q)) == ERR_OK)
        read_decision(g);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- what people did ------------------------------------------------------ */

/* A status that a person, or the record, has given a Task; false: it tells of
 * nothing that a person did. */
static bool person_act(const char *status, enum timeline_act *out)
{
    static const struct {
        const char *status;
        enum timeline_act act;
    } acts[] = {
        { "received", TIMELINE_TAKEN },
        { "accepted", TIMELINE_TAKEN },
        { "ready", TIMELINE_TAKEN },
        { "in-progress", TIMELINE_TAKEN },
        { "on-hold", TIMELINE_ON_HOLD },
        { "rejected", TIMELINE_DECLINED },
        { "cancelled", TIMELINE_DECLINED },
        { "completed", TIMELINE_COMPLETED },
        { "failed", TIMELINE_SET_ASIDE },
        { "entered-in-error", TIMELINE_SET_ASIDE },
    };

    for (size_t i = 0; i < COUNT(acts); i++) {
        if (strcmp(acts[i].status, status) == 0) {
            *out = acts[i].act;
            return true;
        }
    }
    return false;
}

/* The status of a version; "" where it cannot be read. */
static enum err status_of(struct db *db, const struct resource *r, int version,
                          char status[24], int64_t *at_ms)
{
    struct fhir_task_view view = { .status = "" };
    struct buf body;
    enum err e;

    buf_init(&body, TASK_MAX);
    e = resource_body(db, r, version, &body, at_ms);
    if (e == ERR_OK && fhir_task_view(body.data, body.len, &view) != ERR_OK)
        view.status[0] = '\0';
    snprintf(status, 24, "%s", view.status);
    buf_clear(&body);
    return e;
}

/* Did we write this version ourselves? */
static enum err is_ours(struct db *db, int64_t access, int64_t task,
                        int version, bool *ours)
{
    const enum query q = Q_TIMELINE_OURS;
    enum err e = db_first(db, q, "iii", access, task, INT64(version));

    *ours = e == ERR_OK;
    if (e == ERR_OK)
        db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void add_person(struct gather *g, size_t task, enum timeline_act act,
                       int64_t at_s)
{
    struct timeline_open *o = &g->open[task];
    struct timeline_said *said = NULL;

    if (act != TIMELINE_TAKEN && act != TIMELINE_ON_HOLD)
        o->ended_s = at_s;
    if (at_s >= g->from_ms / 1000)
        said = add(g);
    if (said == NULL)
        return;
    *said = (struct timeline_said){ .at_s = at_s,
                                    .act = act,
                                    .reminder = o->reminder,
                                    .group = o->group,
                                    .number = o->number,
                                    .rules = g->tasks[task].rules,
                                    .due_s = o->due_s,
                                    .silent = o->silent };
    memcpy(said->task, o->task, sizeof(said->task));
}

/* One Task from version to version: where its status changed, and not by us. */
static enum err read_versions(struct gather *g, size_t task)
{
    enum timeline_act last = TIMELINE_OPENED, act;
    char status[24], before[24] = "requested";
    struct resource r;
    enum err e = resource_get(g->db, g->tasks[task].resource, &r);
    int first = e == ERR_OK && r.version > VERSIONS_MAX
                    ? r.version - VERSIONS_MAX + 1
                    : 1;

    for (int v = first; e == ERR_OK && v <= r.version; v++) {
        bool ours = false;
        int64_t at_ms;

        e = status_of(g->db, &r, v, status, &at_ms);
        if (e != ERR_OK || status[0] == '\0' || strcmp(status, before) == 0)
            continue;
        snprintf(before, sizeof(before), "%s", status);
        e = is_ours(g->db, g->access, r.id, v, &ours);
        if (e != ERR_OK || ours || !person_act(status, &act) || act == last)
            continue;
        last = act;
        add_person(g, task, act, at_ms / 1000);
    }
    return e;
}

static enum err read_people(struct gather *g)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < g->open_count; i++)
        e = read_versions(g, i);
    return e;
}

/* ---- all of it ------------------------------------------------------------ */

static enum err gather(struct gather *g)
{
    enum err e = ERR_MEMORY;

    g->said = calloc(SAID_MAX, sizeof(*g->said));
    g->open = calloc(TASKS_MAX, sizeof(*g->open));
    g->tasks = calloc(TASKS_MAX, sizeof(*g->tasks));
    if (g->said != NULL && g->open != NULL && g->tasks != NULL)
        e = read_tasks(g);
    if (e == ERR_OK)
        e = read_decisions(g);
    return e == ERR_OK ? read_people(g) : e;
}

static enum err write_out(const struct review *review, const struct look *look,
                          const struct gather *g, const char *number, bool json,
                          struct buf *out)
{
    struct timeline_source source = {
        .history = &look->history,
        .policy = review->policy,
        .zone = review->zone,
        .patient = look->patient.name,
        .patient_number = number,
        .access = access_name(&look->access),
        .said = g->said,
        .said_count = g->said_count,
        .open = g->open,
        .open_count = g->open_count,
        .follow_up_s = look->access.active
                           ? follow_up_next(&look->history, review->policy)
                           : INT64_MAX
    };
    struct timeline timeline;
    enum err e = timeline_make(&source, &timeline);

    if (e == ERR_OK && json)
        timeline_json(&source, &timeline, out);
    else if (e == ERR_OK)
        timeline_text(&source, &timeline, out);
    timeline_clear(&timeline);
    return e == ERR_OK ? buf_ok(out) : e;
}

static enum err say(struct db *db, const struct review *review,
                    const struct look *look, bool json, struct buf *out)
{
    int64_t back_ms =
        INT64(policy_count(review->policy, P_LOOKBACK_D)) * DAY_S * 1000;
    struct gather g = { .db = db,
                        .access = look->access.id,
                        .patient = look->patient.id,
                        .from_ms = look->now_ms - back_ms };
    enum err e = db_first(db, Q_PATIENT_NUMBER, "i", look->patient.id);
    char number[256];

    if (e != ERR_OK)
        return e;
    snprintf(number, sizeof(number), "%s",
             short_anchor(db_text(db, Q_PATIENT_NUMBER, 0)));
    db_done(db, Q_PATIENT_NUMBER);
    e = gather(&g);
    if (e == ERR_OK)
        e = write_out(review, look, &g, number, json, out);
    free(g.said);
    free(g.open);
    free(g.tasks);
    return e;
}

enum err timeline_read(struct db *db, const struct review *review,
                       const char *name, bool json, int *status,
                       struct buf *out)
{
    struct look look;
    int64_t access;
    enum err e = explain_find(db, name, status, &access, out);

    if (e != ERR_OK || *status != 200)
        return e;
    e = look_at(db, review, access, &look);
    if (e != ERR_OK)
        return e;
    e = say(db, review, &look, json, out);
    look_clear(&look);
    return e;
}

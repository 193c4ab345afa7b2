#include "service/decisions.h"

#include "adapters/decision_write.h"
#include "planner/rules.h"
#include "service/audit_whom.h"
#include "service/names.h"
#include "service/resources.h"

#include <stdio.h>

enum { EVIDENCE_TEXT_MAX = 8 * 1024, SHOWN_MAX = 100000, RULES_TEXT_MAX = 512 };

/* ---- keeping -------------------------------------------------------------- */

void policy_text(const struct policy *policy, char out[POLICY_TEXT_SIZE])
{
    snprintf(out, POLICY_TEXT_SIZE, "%s (%s, %s)", policy->version,
             policy->date, policy->approver);
}

static void write_evidence(const struct decision *d, struct buf *out)
{
    if (d->evidence == NULL && d->trigger_id != 0)
        buf_printf(out, "%lld", (long long)d->trigger_id);
    for (size_t i = 0; d->evidence != NULL && i < d->evidence_count; i++)
        buf_printf(out, "%s%lld/%d/%d", i > 0 ? " " : "",
                   (long long)d->evidence[i].id, d->evidence[i].version,
                   d->evidence[i].slot);
}

enum err decision_add(struct db *db, const struct decision *d,
                      const struct policy *policy, int64_t now_ms)
{
    char text[POLICY_TEXT_SIZE];
    struct buf evidence;
    int64_t id;
    enum err e = db_new_id(db, &id);

    policy_text(policy, text);
    buf_init(&evidence, EVIDENCE_TEXT_MAX);
    write_evidence(d, &evidence);
    if (e == ERR_OK)
        e = buf_ok(&evidence);
    if (e == ERR_OK)
        e = db_run(db, Q_DECISION_ADD, "iiiiiiiisiiisiiii", id,
                   partition_of(d->access), d->access, INT64(d->group),
                   INT64(d->number), now_ms, INT64(d->act), INT64(d->reason),
                   text, d->task, INT64(d->task_version), INT64(d->rules),
                   evidence.data != NULL ? evidence.data : "",
                   INT64(d->reminder), INT64(d->urgency), INT64(d->how),
                   INT64(d->silent));
    buf_clear(&evidence);
    return e;
}

/* ---- reading -------------------------------------------------------------- */

static const char *reason_words(enum end_reason r)
{
    switch (r) {
    case END_CLEARED:
        return "back inside the limits";
    case END_WITHDRAWN:
        return "a reading was corrected or withdrawn";
    case END_SUPERSEDED:
        return "the opposite flow problem was confirmed";
    case END_STAGE:
        return "something was done at the access";
    case END_INACTIVE:
        return "the access is no longer in use";
    case END_MERGED:
        return "the access is another one";
    case END_ELSEWHERE:
        return "it is said in another suggestion";
    case END_DECEASED:
        return "the patient is recorded as deceased";
    }
    return "";
}

static const char *update_words(enum decision_how how)
{
    switch (how) {
    case HOW_RAISED:
        return "raised";
    case HOW_CORRECTED:
        return "corrected";
    case HOW_UNANSWERED:
        return "put again, unanswered";
    case HOW_ESCALATED:
        return "escalated, not taken in time";
    case HOW_OVERDUE:
        return "overdue";
    case HOW_PLANNED:
        return "band plan renewed";
    case HOW_PLAIN:
    case HOW_DONE:
    case HOW_WENT_LIVE:
        break;
    }
    return "added to";
}

/* Why it ended. */
const char *decision_end_words(bool reminder, enum decision_how how,
                               enum end_reason reason)
{
    if (how == HOW_WENT_LIVE)
        return "silent mode ended";
    if (!reminder)
        return reason_words(reason);
    return how == HOW_DONE ? "recorded" : "no longer needed";
}

const char *decision_act_words(enum act act, enum decision_how how)
{
    switch (act) {
    case ACT_OPEN:
        return "opened";
    case ACT_UPDATE:
        return update_words(how);
    case ACT_END:
        return "ended";
    case ACT_NOTHING:
        break;
    }
    return "";
}

/* The text is that of the statement, and of rules. */
static void read_row(struct db *db, struct buf *rules, struct decision_row *d)
{
    const enum query q = Q_DECISION_LIST;
    enum act act = (enum act)db_int(db, q, 3);
    enum decision_how how = (enum decision_how)db_int(db, q, 5);
    bool reminder = db_int(db, q, 6) != 0;

    buf_empty(rules);
    rules_words((unsigned)db_int(db, q, 7), rules);
    *d = (struct decision_row){
        .at_ms = db_int(db, q, 0),
        .group = group_word((enum group)db_int(db, q, 1)),
        .number = (int)db_int(db, q, 2),
        .act = decision_act_words(act, how),
        .reason = act == ACT_END
                      ? decision_end_words(reminder, how,
                                           (enum end_reason)db_int(db, q, 4))
                      : NULL,
        .reminder = reminder,
        .rules = rules->len > 0 ? rules->data : "",
        .urgency = (enum urgency)db_int(db, q, 8),
        .policy = db_text(db, q, 9),
        .silent = db_int(db, q, 10) != 0,
        .task = db_text(db, q, 11),
        .access = access_words(db_text(db, q, 12), db_text(db, q, 13)),
        .patient = db_text(db, q, 14),
        .patient_number = short_anchor(db_text(db, q, 15)),
    };
}

enum err decisions_read(struct db *db, int64_t from_ms, bool json,
                        const struct zone *zone, struct buf *out)
{
    const enum query q = Q_DECISION_LIST;
    int64_t count = 0;
    struct decision_row d;
    struct buf rules;
    enum err e = db_query(db, q, "ii", from_ms, INT64(SHOWN_MAX + 1));

    buf_init(&rules, RULES_TEXT_MAX);
    if (!json)
        buf_puts(out, "What headgate decided (not what people did)\n\n");
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (++count > SHOWN_MAX)
            continue;
        e = audit_saw(db, AUDIT_SAW_PATIENT, db_int(db, q, 16));
        if (e != ERR_OK)
            break;
        read_row(db, &rules, &d);
        if (json)
            decision_write_json(&d, out);
        else
            decision_write_line(&d, zone, out);
    }
    buf_clear(&rules);
    if (e != ERR_ABSENT)
        return e;
    if (!json && count == 0)
        buf_puts(out, "headgate decided nothing.\n");
    if (!json && count > SHOWN_MAX)
        buf_printf(out, "... and more: ask with a later --since\n");
    return buf_ok(out);
}

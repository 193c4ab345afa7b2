/* Reminders: to measure again, and that a follow-up is due. */
#include "planner/triage_work.h"

/* The finding of the group that waits for one more measurement, or for a
 * visit; the most urgent, of those the one due first. */
static const struct finding *waiting_one(const struct findings *findings,
                                         enum group group)
{
    const struct finding *best = NULL;

    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        if (finding_group(f) != group || f->confirmed)
            continue;
        if (best == NULL || f->urgency > best->urgency ||
            (f->urgency == best->urgency && f->repeat_by_s < best->repeat_by_s))
            best = f;
    }
    return best;
}

/* Has the quantity been measured again since the reading that asked for it? */
static bool is_measured_again(const struct history *h, int64_t trigger_id)
{
    const struct reading *trigger = NULL;

    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (!reading_counts(r))
            continue;
        if (trigger != NULL && r->quantity == trigger->quantity &&
            r->start_s > trigger->start_s)
            return true;
        if (r->id == trigger_id)
            trigger = r;
    }
    return false;
}

/* Has what the reminder asked for come?  A visit says so itself. */
static bool has_come(const struct history *h, const struct findings *findings,
                     const struct repeat_state *repeat)
{
    if (repeat->occasion != 0)
        return rules_find(findings, RULE_PB_1) == NULL &&
               findings->why[RULE_PB_1] == WHY_DONE;
    return is_measured_again(h, repeat->trigger_id);
}

static bool is_another(const struct repeat_state *repeat, int64_t trigger_id,
                       int64_t occasion)
{
    return trigger_id != repeat->trigger_id || occasion > repeat->occasion;
}

static void end_repeat(const struct repeat_state *repeat, bool done,
                       struct verdict *out)
{
    if (!repeat->open)
        return;
    out->repeat = ACT_END;
    out->repeat_done = done;
    out->repeat_state.open = false;
    if (!done) /* what was not measured may be asked for again */
        out->repeat_state.trigger_id = 0;
}

/* What is asked for late still gets the time in which people can do it. */
static int64_t repeat_due_s(const struct history *h,
                            const struct policy *policy,
                            const struct finding *waiting)
{
    int64_t least_s =
        h->now_s + (int64_t)policy_count(policy, P_DUE_ASAP_D) * DAY_S;

    if (waiting->occasion != 0)
        return waiting->repeat_by_s; /* the visit's window ends when it ends */
    return waiting->repeat_by_s > least_s ? waiting->repeat_by_s : least_s;
}

/* The reading that asks: the newest of the quantity that is to be measured
 * again; a sign beside it is not. */
static int64_t trigger_of(const struct history *h, const struct finding *f)
{
    for (size_t i = f->evidence_count; i-- > 0;) {
        if (h->readings[f->evidence[i]].quantity == f->repeat_of)
            return h->readings[f->evidence[i]].id;
    }
    return h->readings[f->evidence[f->evidence_count - 1]].id;
}

void triage_repeat(const struct history *h, const struct policy *policy,
                   const struct findings *findings, enum group group,
                   const enum urgency *referred,
                   const struct repeat_state *repeat, struct verdict *out)
{
    const struct finding *waiting = waiting_one(findings, group);
    int64_t trigger;

    out->repeat_state = *repeat;
    if (waiting == NULL ||
        (referred != NULL && waiting->urgency <= *referred)) {
        end_repeat(repeat, waiting == NULL && has_come(h, findings, repeat),
                   out);
        return;
    }
    trigger = trigger_of(h, waiting);
    if (repeat->open && waiting->occasion > repeat->occasion) {
        end_repeat(repeat, false, out); /* the next one is due by now */
        return;
    }
    if (repeat->open && repeat->overdue && trigger != repeat->trigger_id) {
        end_repeat(repeat, true, out); /* measured, too late to confirm */
        return;
    }
    if (repeat->open) {
        if (!repeat->overdue && h->now_s >= repeat->due_s) {
            out->repeat = ACT_UPDATE;
            out->repeat_finding = (size_t)(waiting - findings->list);
            out->repeat_state.overdue = true;
        }
        return;
    }
    if (waiting->historic || !is_another(repeat, trigger, waiting->occasion))
        return;
    out->repeat = ACT_OPEN;
    out->repeat_finding = (size_t)(waiting - findings->list);
    out->repeat_state =
        (struct repeat_state){ .number = repeat->number + 1,
                               .open = true,
                               .trigger_id = trigger,
                               .occasion = waiting->occasion,
                               .due_s = repeat_due_s(h, policy, waiting) };
}

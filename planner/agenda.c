#include "planner/agenda.h"

#include "planner/follow_up.h"

static int64_t sooner(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

/* The next time after now, or never. */
static int64_t ahead(int64_t at_s, int64_t now_s)
{
    return at_s > now_s ? at_s : AGENDA_NEVER;
}

/* When a young access has matured, its low flows count. */
static int64_t matured_s(const struct history *h, const struct policy *policy)
{
    int64_t young_s = (int64_t)policy_count(policy, P_YOUNG_ACCESS_D) * DAY_S;
    int64_t at_s = AGENDA_NEVER;

    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (reading_counts(r) && r->present && r->sign == SIGN_CREATED)
            at_s = sooner(at_s, ahead(r->start_s + young_s, h->now_s));
    }
    return at_s;
}

int64_t agenda_next(const struct history *h, const struct policy *policy,
                    const struct findings *findings)
{
    int64_t at_s = matured_s(h, policy);

    at_s = sooner(at_s, follow_up_next(h, policy));
    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        if (!f->confirmed)
            at_s = sooner(at_s, ahead(f->repeat_by_s, h->now_s));
    }
    return at_s;
}

int64_t agenda_of_group(const struct policy *policy,
                        const struct episode *episode,
                        const struct repeat_state *repeat, int64_t now_s)
{
    int64_t at_s = ahead(triage_unanswered_s(policy, episode), now_s);

    at_s = sooner(at_s, ahead(triage_escalation_s(policy, episode), now_s));
    if (episode->state == EPISODE_OPEN)
        at_s = sooner(at_s, ahead(episode->put_off_s, now_s));
    if (repeat->open && !repeat->overdue)
        at_s = sooner(at_s, ahead(repeat->due_s, now_s));
    return at_s;
}

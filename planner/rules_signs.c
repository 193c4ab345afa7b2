/*
 * What an examiner sees of the access that can kill: BL-1, IN-1.
 *
 * A sign stands until it is looked for and not found in a later session; of
 * what can kill, twice.
 */
#include "planner/rules_work.h"

#include "planner/series.h"

/* ---- signs that stand ----------------------------------------------------- */

static bool believed(const struct reading *r, const struct wanted *wanted)
{
    return reading_counts(r) ||
           (wanted->emergency && r->status == READING_PRELIMINARY);
}

/* In how many sessions after this reading was it looked for and gone? */
static int times_gone(const struct work *w, const struct wanted *wanted,
                      size_t index)
{
    const struct reading *seen = &w->h->readings[index];
    const struct reading *last = seen;
    int times = 0;

    for (size_t i = index + 1; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (!wanted->is(r) || !reading_counts(r) ||
            (wanted->per_sign && r->sign != seen->sign) ||
            readings_share_session(w->policy, last, r) ||
            (wanted->taken_back > 1 && r->start_s < seen->end_s + DAY_S))
            continue;
        times = wanted->says_yes(r) ? 0 : times + 1;
        last = r;
    }
    return times;
}

/* An emergency of which only the day is known may be of after what was done on
 * that day. */
static bool is_since(const struct reading *r, const struct wanted *wanted)
{
    return wanted->emergency ? r->end_s > wanted->since_s
                             : r->start_s >= wanted->since_s;
}

bool work_standing(const struct work *w, const struct wanted *wanted, bool *any,
                   size_t *index)
{
    *any = false;
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (!is_since(r, wanted) || !wanted->is(r) || !believed(r, wanted) ||
            !wanted->says_yes(r) ||
            (wanted->of != SIGN_NONE && r->sign != wanted->of))
            continue;
        *any = true;
        if (times_gone(w, wanted, i) >= wanted->taken_back)
            continue;
        *index = i;
        return true;
    }
    return false;
}

bool work_says_present(const struct reading *r)
{
    return r->present;
}

static bool says_true(const struct reading *r)
{
    return r->value > 0.5;
}

/* ---- BL-1 ------------------------------------------------------------------ */

static bool is_bleeding(const struct reading *r)
{
    return r->quantity == Q_BLEEDING_ACTIVE;
}

static bool is_rupture_threat(const struct reading *r)
{
    return r->quantity == Q_RUPTURE_THREAT;
}

/* Never blanked: an intervention does not end it, only that it is looked for
 * and gone, twice. */
void rules_bleeding(struct work *w)
{
    struct wanted bleeding = { .is = is_bleeding,
                               .says_yes = says_true,
                               .emergency = true,
                               .taken_back = 2,
                               .since_s = INT64_MIN };
    struct wanted rupture = { .is = is_rupture_threat,
                              .says_yes = says_true,
                              .emergency = true,
                              .taken_back = 2,
                              .since_s = INT64_MIN };
    struct finding *f;
    bool bled_before, threat_before;
    size_t at = 0, threat_at = 0;
    bool bled = work_standing(w, &bleeding, &bled_before, &at);
    bool threatened = work_standing(w, &rupture, &threat_before, &threat_at);

    if (!bled && !threatened) {
        work_not(w, RULE_BL_1,
                 bled_before || threat_before ? WHY_TAKEN_BACK
                                              : WHY_NO_READING);
        return;
    }
    f = work_add(w, RULE_BL_1);
    f->quantity = bled ? Q_BLEEDING_ACTIVE : Q_RUPTURE_THREAT;
    f->urgency = work_urgency(w, P_BL1_URGENCY);
    f->limit = P_BL1_URGENCY;
    if (bled)
        work_rest_on(w, f, at);
    if (threatened)
        work_rest_on(w, f, threat_at);
}

/* ---- IN-1 ------------------------------------------------------------------ */

static bool is_local_infection(const struct reading *r)
{
    return r->sign == SIGN_INFECTION_LOCAL;
}

static bool is_sepsis(const struct reading *r)
{
    return r->sign == SIGN_INFECTION_SEPSIS;
}

static bool is_exposed(const struct reading *r)
{
    return r->sign == SIGN_GRAFT_EXPOSED;
}

/* Each grave sign by itself: in one session they must not hide each other. */
static struct wanted grave_sign(bool (*is)(const struct reading *r))
{
    return (struct wanted){ .is = is,
                            .says_yes = work_says_present,
                            .emergency = true,
                            .per_sign = true,
                            .taken_back = 2,
                            .since_s = INT64_MIN };
}

void rules_infection(struct work *w)
{
    struct wanted sepsis = grave_sign(is_sepsis);
    struct wanted exposed = grave_sign(is_exposed);
    struct wanted local = { .is = is_local_infection,
                            .says_yes = work_says_present,
                            .taken_back = 2,
                            .since_s = INT64_MIN };
    const struct wanted *const all[] = { &sepsis, &exposed, &local };
    bool before[COUNT(all)], stands[COUNT(all)], grave;
    size_t at[COUNT(all)];
    struct finding *f;

    for (size_t i = 0; i < COUNT(all); i++)
        stands[i] = work_standing(w, all[i], &before[i], &at[i]);
    /* one of long ago does not make an emergency of what is seen now */
    for (size_t i = 0; i < 2; i++)
        stands[i] =
            stands[i] && !((stands[2] || stands[1 - i]) &&
                           work_is_old(w, w->h->readings[at[i]].start_s));
    grave = stands[0] || stands[1];
    if (!grave && !stands[2]) {
        work_not(w, RULE_IN_1,
                 before[0] || before[1] || before[2] ? WHY_TAKEN_BACK
                                                     : WHY_NO_READING);
        return;
    }
    f = work_add(w, RULE_IN_1);
    f->quantity = Q_INFECTION_SIGN;
    f->severe = grave;
    f->urgency = work_urgency(w, grave ? P_IN1_URGENCY_SEVERE : P_IN1_URGENCY);
    f->limit = grave ? P_IN1_URGENCY_SEVERE : P_IN1_URGENCY;
    for (size_t i = 0; i < COUNT(all); i++) {
        if (stands[i])
            work_rest_on(w, f, at[i]);
    }
}

/*
 * What is put to people, step by step: each test is one access over time.
 * Evaluate, decide, and keep what was said, as the service does.
 */
#include "planner/triage.h"
#include "tests/test.h"

#include "planner/agenda.h"
#include "tests/history_kit.h"

static struct policy policy;

/* One access and what was said of one group of its problems. */
struct scene {
    enum group group;
    enum sign type;
    int64_t loaded_from_s;
    size_t count;
    struct reading readings[KIT_EVENTS_MAX * 4];
    struct episode episode;
    struct repeat_state repeat;
    struct findings findings;
    struct verdict verdict;
};

static void begin(struct scene *s, enum group group)
{
    *s = (struct scene){ .group = group,
                         .type = SIGN_TYPE_AVF,
                         .episode = { .flow_ml_min = NAN } };
}

/* A reading arrives; its id is returned. */
static int64_t arrive(struct scene *s, struct event e)
{
    int64_t id = (int64_t)s->count + 1;

    assert_true(s->count < COUNT(s->readings));
    s->readings[s->count++] = kit_reading(&e, id);
    qsort(s->readings, s->count, sizeof(s->readings[0]), kit_order);
    return id;
}

#define ARRIVE(s, ...) arrive(s, (struct event)__VA_ARGS__)

static struct reading *reading_of(struct scene *s, int64_t id)
{
    for (size_t i = 0; i < s->count; i++) {
        if (s->readings[i].id == id)
            return &s->readings[i];
    }
    fail();
    return NULL;
}

/* Review on this day and keep what was said. */
static enum act review(struct scene *s, double day)
{
    struct history h = { .access_type = s->type,
                         .now_s = kit_s(day),
                         .loaded_from_s = s->loaded_from_s,
                         .readings = s->readings,
                         .count = s->count };

    rules_evaluate(&h, &policy, &s->findings);
    triage(&h, &policy, &s->findings, s->group, &s->episode, &s->repeat,
           &s->verdict);
    if (s->verdict.act != ACT_NOTHING) {
        s->episode = s->verdict.episode;
        if (s->verdict.act == ACT_END && s->episode.state == EPISODE_OPEN)
            s->episode.state = EPISODE_ENDED;
    }
    s->repeat = s->verdict.repeat_state;
    return s->verdict.act;
}

static void close_episode(struct scene *s, enum episode_state state, double day)
{
    s->episode.state = state;
    s->episode.closed_s = kit_s(day);
}

/* An access with very high flow, put to people on day 20. */
static void begin_high(struct scene *s)
{
    begin(s, GROUP_FLOW);
    ARRIVE(s, FLOW(0, 2050));
    ARRIVE(s, FLOW(20, 2100));
    assert_int_equal(review(s, 20), ACT_OPEN);
}

static void opens_and_appends(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_FLOW);
    assert_int_equal(review(&s, 0), ACT_NOTHING); /* no readings */
    ARRIVE(&s, FLOW(0, 2050));
    assert_int_equal(review(&s, 0), ACT_NOTHING); /* one is not enough */
    ARRIVE(&s, FLOW(20, 2100));
    assert_int_equal(review(&s, 20), ACT_OPEN);
    assert_int_equal(s.episode.number, 1);
    assert_int_equal(s.episode.state, EPISODE_OPEN);
    assert_int_equal(s.episode.urgency, URGENCY_ROUTINE);
    assert_int_equal(s.episode.rules, 1u << RULE_HF_1);
    assert_near(s.episode.flow_ml_min, 2100, 0);
    assert_int_equal(s.episode.evidence_count, 2);
    assert_int_equal(s.verdict.new_evidence, 2);
    assert_int_equal(review(&s, 21), ACT_NOTHING); /* said once */

    ARRIVE(&s, FLOW(34, 2200));
    assert_int_equal(review(&s, 34), ACT_UPDATE); /* appended, no new item */
    assert_int_equal(s.episode.number, 1);
    assert_int_equal(s.verdict.new_evidence, 1);
    assert_false(s.verdict.raised);
    assert_false(s.verdict.corrected);
    assert_near(s.episode.flow_ml_min, 2200, 0);
    assert_int_equal(s.episode.evidence_count, 3);
    assert_int_equal(review(&s, 35), ACT_NOTHING);
}

static void inserts_late_evidence(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, FLOW(10, 2300)); /* measured between, told afterwards */
    assert_int_equal(review(&s, 21), ACT_UPDATE);
    assert_int_equal(s.episode.evidence_count, 3);
    for (size_t i = 1; i < 3; i++)
        assert_true(s.episode.evidence[i - 1].at_s <
                    s.episode.evidence[i].at_s);
}

static void raises_urgency(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, SIGN(21, SIGN_HF_ADMISSION));
    assert_int_equal(review(&s, 21), ACT_UPDATE);
    assert_true(s.verdict.raised);
    assert_int_equal(s.episode.urgency, URGENCY_ASAP);
    assert_int_equal(review(&s, 21.5), ACT_NOTHING);
    s.episode.state = EPISODE_TAKEN;
    assert_int_equal(review(&s, 22), ACT_NOTHING);
    /* the sign grows old: what was said is not taken back */
    assert_int_equal(review(&s, 110), ACT_NOTHING);
    assert_int_equal(s.episode.urgency, URGENCY_ASAP);
}

/* Nobody answers for 90 days: it is put again, once. */
static void puts_the_unanswered_again(void **state)
{
    static struct scene s;
    int64_t next_s;

    (void)state;
    begin_high(&s); /* opened on day 14 */
    next_s = agenda_of_group(&policy, &s.episode, &s.repeat, kit_s(20));
    assert_int_equal(review(&s, (double)(next_s - kit_base_s) / 86400 - 0.01),
                     ACT_NOTHING);
    assert_int_equal(review(&s, (double)(next_s - kit_base_s) / 86400),
                     ACT_UPDATE);
    assert_true(s.verdict.unanswered);
    assert_false(s.verdict.raised);
    assert_int_equal(review(&s, (double)(next_s - kit_base_s) / 86400 + 30),
                     ACT_NOTHING);
    s.episode.state = EPISODE_TAKEN; /* a person has it in hand */
    assert_int_equal(review(&s, (double)(next_s - kit_base_s) / 86400 + 95),
                     ACT_NOTHING);
}

/* How long is our own proposal (policy, general.escalate_*_h). */
static void escalates_what_nobody_takes(void **state)
{
    static struct scene s;
    double asap_d = policy_count(&policy, P_ESCALATE_ASAP_H) / 24.0;

    (void)state;
    begin_high(&s);
    assert_int_equal(triage_escalation_s(&policy, &s.episode), INT64_MAX);
    ARRIVE(&s, SIGN(21, SIGN_HF_ADMISSION));
    assert_int_equal(review(&s, 21), ACT_UPDATE); /* a matter of days */
    assert_false(s.verdict.escalated);
    assert_int_equal(agenda_of_group(&policy, &s.episode, &s.repeat, kit_s(21)),
                     kit_s(21 + asap_d));
    assert_int_equal(review(&s, 21 + 0.9 * asap_d), ACT_NOTHING);
    assert_int_equal(review(&s, 21 + asap_d), ACT_UPDATE);
    assert_true(s.verdict.escalated);
    assert_true(s.episode.escalated);
    assert_false(s.verdict.raised);
    assert_int_equal(s.episode.urgency, URGENCY_ASAP);
    assert_int_equal(review(&s, 21 + 2 * asap_d), ACT_NOTHING); /* once */
}

/* Handed over, it is in nobody's hands; its time is that of the first moment. */
static void escalates_what_was_let_go_of(void **state)
{
    static struct scene s;
    double asap_d = policy_count(&policy, P_ESCALATE_ASAP_H) / 24.0;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, SIGN(21, SIGN_HF_ADMISSION));
    assert_int_equal(review(&s, 21), ACT_UPDATE);
    s.episode.state = EPISODE_TAKEN;
    assert_false(triage_waits(&s.episode));
    assert_int_equal(triage_escalation_s(&policy, &s.episode), INT64_MAX);
    assert_int_equal(triage_unanswered_s(&policy, &s.episode), INT64_MAX);
    s.episode.handed = true; /* on whatever day */
    assert_true(triage_waits(&s.episode));
    assert_int_equal(agenda_of_group(&policy, &s.episode, &s.repeat, kit_s(21)),
                     kit_s(21 + asap_d));
    assert_int_equal(review(&s, 21 + 0.9 * asap_d), ACT_NOTHING);
    assert_int_equal(review(&s, 21 + asap_d), ACT_UPDATE);
    assert_true(s.verdict.escalated);
    assert_int_equal(s.episode.state, EPISODE_TAKEN);
    assert_int_equal(review(&s, 21 + 2 * asap_d), ACT_NOTHING); /* once */
}

/* What is put off waits; what worsens does not. */
static void waits_for_what_is_put_off(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, SIGN(21, SIGN_HF_ADMISSION));
    assert_int_equal(review(&s, 21), ACT_UPDATE);
    s.episode.put_off_s = kit_s(28);
    assert_int_equal(review(&s, 28), ACT_NOTHING);
    assert_int_equal(
        triage_escalation_s(&policy, &s.episode),
        kit_s(28) + (int64_t)policy_count(&policy, P_ESCALATE_ASAP_H) * 3600);
    ARRIVE(&s, FLOW(28, 2600)); /* not more urgent, and more of it */
    assert_int_equal(review(&s, 28), ACT_UPDATE);
    assert_int_equal(s.episode.put_off_s, 0);
}

static void ends_when_cleared(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, FLOW(30, 1000));
    assert_int_equal(review(&s, 30), ACT_NOTHING); /* once is not enough */
    ARRIVE(&s, FLOW(40, 1000));
    assert_int_equal(review(&s, 40), ACT_END);
    assert_int_equal(s.verdict.reason, END_CLEARED);
    assert_int_equal(s.episode.rules, 0);
    assert_int_equal(review(&s, 41), ACT_NOTHING);
    ARRIVE(&s, FLOW(50, 2100));
    ARRIVE(&s, FLOW(60, 2100));
    assert_int_equal(review(&s, 60), ACT_OPEN); /* nobody had said no */
    assert_int_equal(s.episode.number, 2);
    assert_int_equal(s.episode.evidence_count, 2); /* of this episode only */
}

static void ends_when_withdrawn(void **state)
{
    static struct scene s;
    struct reading *r;

    (void)state;
    begin_high(&s);
    r = reading_of(&s, 1);
    r->status = READING_WITHDRAWN;
    r->version = 2;
    assert_int_equal(review(&s, 21), ACT_END);
    assert_int_equal(s.verdict.reason, END_WITHDRAWN);
    assert_true(s.verdict.corrected);
    assert_int_equal(review(&s, 22), ACT_NOTHING);
    ARRIVE(&s, FLOW(30, 2100)); /* falls back to one, and one more */
    assert_int_equal(review(&s, 30), ACT_OPEN);
    for (size_t i = 0; i < s.episode.evidence_count; i++)
        assert_int_not_equal(s.episode.evidence[i].id, 1);
}

static void says_what_was_corrected(void **state)
{
    static struct scene s;
    struct reading *r;

    (void)state;
    begin_high(&s);
    r = reading_of(&s, 1);
    r->status = READING_CORRECTED;
    r->value = 2080;
    r->version = 2;
    assert_int_equal(review(&s, 21), ACT_UPDATE); /* still holds */
    assert_true(s.verdict.corrected);
    assert_int_equal(s.episode.evidence_count, 2);
    assert_int_equal(s.episode.evidence[0].version, 2);
    assert_int_equal(review(&s, 22), ACT_NOTHING); /* said once */

    ARRIVE(&s, FLOW(30, 2100));
    assert_int_equal(review(&s, 30), ACT_UPDATE);
    r = reading_of(&s, 1);
    r->status = READING_WITHDRAWN;
    r->version = 3;
    assert_int_equal(review(&s, 31), ACT_UPDATE); /* two are left */
    assert_true(s.verdict.corrected);
    assert_int_equal(s.episode.evidence_count, 2);
    assert_int_equal(review(&s, 32), ACT_NOTHING);
}

/* Moved to another access: gone from here, said once. */
static void says_what_has_gone(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, FLOW(30, 2100));
    assert_int_equal(review(&s, 30), ACT_UPDATE);
    memmove(s.readings, s.readings + 1, --s.count * sizeof(s.readings[0]));
    assert_int_equal(review(&s, 31), ACT_UPDATE);
    assert_true(s.verdict.corrected);
    assert_int_equal(s.episode.evidence_count, 2);
    assert_int_equal(review(&s, 32), ACT_NOTHING);
}

/* Too old to be loaded is not gone. */
static void forgets_nothing_old(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, FLOW(650, 2100));
    ARRIVE(&s, FLOW(700, 2100));
    assert_int_equal(review(&s, 700), ACT_UPDATE);
    memmove(s.readings, s.readings + 1, --s.count * sizeof(s.readings[0]));
    assert_int_equal(review(&s, 731), ACT_NOTHING);
    assert_int_equal(s.episode.evidence_count, 4);
}

/* What there was no room to load is not gone; what should be there is. */
static void forgets_nothing_left_out(void **state)
{
    static const struct {
        const char *name;
        double from_day;
        size_t want;
    } cases[] = { { "older than what was loaded", 0.5, 4 },
                  { "loaded from then on", 0, 3 } };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        static struct scene s;

        ROW(cases[i].name);
        begin_high(&s);
        ARRIVE(&s, FLOW(34, 2100));
        ARRIVE(&s, FLOW(48, 2100));
        assert_int_equal(review(&s, 48), ACT_UPDATE);
        memmove(s.readings, s.readings + 1, --s.count * sizeof(s.readings[0]));
        s.loaded_from_s = kit_s(cases[i].from_day);
        (void)review(&s, 49);
        assert_int_equal(s.episode.evidence_count, cases[i].want);
        assert_int_equal(s.verdict.corrected, cases[i].want == 3);
    }
}

static void ends_when_superseded(void **state)
{
    static struct scene s, low;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, FLOW(30, 450));
    ARRIVE(&s, FLOW(40, 450));
    low = s;
    low.group = GROUP_LOW_FLOW;
    low.episode = (struct episode){ .flow_ml_min = NAN };
    assert_int_equal(review(&s, 40), ACT_END);
    assert_int_equal(s.verdict.reason, END_SUPERSEDED);
    assert_int_equal(review(&low, 40), ACT_OPEN);
    assert_near(low.episode.flow_ml_min, 450, 0);
}

static void ends_with_the_stage(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, SIGN(30, SIGN_BANDED));
    assert_int_equal(review(&s, 30), ACT_END);
    assert_int_equal(s.verdict.reason, END_STAGE);
    assert_int_equal(review(&s, 31), ACT_NOTHING);
}

/* A person has it in hand: told once, and told again when it comes back. */
static void annotates_the_taken(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    s.episode.state = EPISODE_TAKEN;
    ARRIVE(&s, FLOW(30, 1000));
    ARRIVE(&s, FLOW(40, 1000));
    assert_int_equal(review(&s, 40), ACT_END);
    assert_int_equal(s.episode.state, EPISODE_TAKEN);
    assert_int_equal(review(&s, 41), ACT_NOTHING);
    ARRIVE(&s, FLOW(50, 1000));
    assert_int_equal(review(&s, 50), ACT_NOTHING);
    ARRIVE(&s, FLOW(60, 2100));
    ARRIVE(&s, FLOW(70, 2100));
    assert_int_equal(review(&s, 70), ACT_UPDATE); /* the same episode */
    assert_int_equal(s.episode.number, 1);
    assert_int_equal(s.episode.rules, 1u << RULE_HF_1);
    assert_int_equal(review(&s, 71), ACT_NOTHING);
}

/* What a person has in hand at leisure does not hide an emergency. */
static void outgrows_the_taken(void **state)
{
    static const struct {
        const char *name;
        enum sign later;
        enum act want;
        int number;
    } cases[] = {
        { "rest pain: within two days", SIGN_PAIN_AT_REST, ACT_OPEN, 2 },
        { "tissue loss: now", SIGN_HAND_ULCER, ACT_OPEN, 2 },
        { "no worse", SIGN_PAIN_ON_DIALYSIS_INTOLERABLE, ACT_UPDATE, 1 },
    };
    static struct scene s;

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        begin(&s, GROUP_HAND);
        ARRIVE(&s, SIGN(0, SIGN_PAIN_ON_DIALYSIS_INTOLERABLE));
        assert_int_equal(review(&s, 0), ACT_OPEN);
        s.episode.state = EPISODE_TAKEN;
        ARRIVE(&s, SIGN(3, cases[i].later));
        assert_int_equal(review(&s, 3), cases[i].want);
        assert_int_equal(s.episode.number, cases[i].number);
        assert_int_equal(review(&s, 3.1), ACT_NOTHING);
    }
}

/* Another emergency beside one that is in hand is announced by itself. */
static void announces_another_emergency(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_HAND_ULCER));
    assert_int_equal(review(&s, 0), ACT_OPEN);
    ARRIVE(&s, SIGN(3, SIGN_MOTOR_WEAKNESS));
    assert_int_equal(review(&s, 3), ACT_UPDATE);
    assert_true(s.verdict.raised);

    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_HAND_ULCER));
    assert_int_equal(review(&s, 0), ACT_OPEN);
    s.episode.state = EPISODE_TAKEN;
    ARRIVE(&s, SIGN(3, SIGN_MOTOR_WEAKNESS));
    assert_int_equal(review(&s, 3), ACT_OPEN);
    assert_int_equal(s.episode.number, 2);
    assert_int_equal(review(&s, 3.1), ACT_NOTHING);
}

static void stays_quiet_after_no(void **state)
{
    static const enum episode_state closed[] = { EPISODE_DECLINED, EPISODE_DONE,
                                                 EPISODE_VOID };
    static struct scene s;

    (void)state;
    for (size_t i = 0; i < COUNT(closed); i++) {
        begin_high(&s);
        close_episode(&s, closed[i], 21);
        assert_int_equal(review(&s, 22), ACT_NOTHING);
        ARRIVE(&s, FLOW(34, 2200));
        ARRIVE(&s, FLOW(48, 2200));
        ARRIVE(&s, FLOW(62, 2200));
        assert_int_equal(review(&s, 62), ACT_NOTHING);
        assert_int_equal(s.episode.state, closed[i]);
    }
}

/* Worse by flow: 15 % beyond 2100 is 2415, twice. */
static void reopens_on_flow(void **state)
{
    static const struct {
        const char *name;
        double days[2], flows[2];
        enum act want;
    } cases[] = {
        { "just beyond, twice", { 34, 48 }, { 2415.1, 2415.1 }, ACT_OPEN },
        { "not beyond", { 34, 48 }, { 2414.9, 2414.9 }, ACT_NOTHING },
        { "once", { 34, 48 }, { 2600, 2200 }, ACT_NOTHING },
        { "one session", { 34, 34.1 }, { 2600, 2600 }, ACT_NOTHING },
        { "end of the session",
          { 34, 34 + HOURS(4) },
          { 2600, 2600 },
          ACT_NOTHING },
        { "next session",
          { 34, 34 + HOURS(4) + SECOND },
          { 2600, 2600 },
          ACT_OPEN },
        { "one before the closing", { 20.5, 48 }, { 2600, 2600 }, ACT_NOTHING },
    };
    static struct scene s;

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        begin_high(&s);
        close_episode(&s, EPISODE_DECLINED, 21);
        for (int k = 0; k < 2; k++) {
            ARRIVE(&s, FLOW(cases[i].days[k], cases[i].flows[k]));
            assert_int_equal(review(&s, cases[i].days[k]),
                             k == 1 ? cases[i].want : ACT_NOTHING);
        }
        assert_int_equal(s.episode.number, cases[i].want == ACT_OPEN ? 2 : 1);
    }
}

static void reopens_on_low_flow(void **state)
{
    static const struct {
        double flow;
        enum act want;
    } cases[] = { { 407.9, ACT_OPEN }, { 408.1, ACT_NOTHING } }; /* 0.85*480 */
    static struct scene s;

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        begin(&s, GROUP_LOW_FLOW);
        ARRIVE(&s, FLOW(0, 480));
        ARRIVE(&s, FLOW(20, 490));
        assert_int_equal(review(&s, 20), ACT_OPEN);
        assert_near(s.episode.flow_ml_min, 480, 0); /* the lowest */
        close_episode(&s, EPISODE_DECLINED, 21);
        ARRIVE(&s, FLOW(30, cases[i].flow));
        assert_int_equal(review(&s, 30), ACT_NOTHING);
        ARRIVE(&s, FLOW(40, cases[i].flow));
        assert_int_equal(review(&s, 40), cases[i].want);
    }
}

static void reopens_on_urgency(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    close_episode(&s, EPISODE_DECLINED, 21);
    ARRIVE(&s, SIGN(25, SIGN_HF_ADMISSION));
    assert_int_equal(review(&s, 25), ACT_OPEN);
    assert_int_equal(s.episode.number, 2);
    assert_int_equal(s.episode.urgency, URGENCY_ASAP);
}

/* From a cold hand with an index of 0.3 (asap) to rest pain (asap too). */
static void reopens_on_grade(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, INDEX(0, 0.3));
    ARRIVE(&s, SIGN(0, SIGN_COLDNESS));
    assert_int_equal(review(&s, 0), ACT_OPEN);
    assert_int_equal(s.episode.urgency, URGENCY_ASAP);
    assert_int_equal(s.episode.grade, GRADE_1);
    close_episode(&s, EPISODE_DECLINED, 1);
    ARRIVE(&s, SIGN(2, SIGN_COLDNESS));
    assert_int_equal(review(&s, 2), ACT_NOTHING);
    ARRIVE(&s, SIGN(3, SIGN_PAIN_AT_REST));
    assert_int_equal(review(&s, 3), ACT_OPEN);
    assert_int_equal(s.episode.grade, GRADE_3);
    assert_int_equal(s.episode.urgency, URGENCY_ASAP);
}

/* A group is quiet for 90 days (flow); evidence after that is a new case. */
static void reopens_after_quiet(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    close_episode(&s, EPISODE_DONE, 21);
    ARRIVE(&s, FLOW(111, 2100)); /* 90 days after */
    assert_int_equal(review(&s, 111), ACT_NOTHING);

    begin_high(&s);
    close_episode(&s, EPISODE_DONE, 21);
    ARRIVE(&s, FLOW(111 + 1 / 86400.0, 2100));
    assert_int_equal(review(&s, 112), ACT_NOTHING); /* one value */
    ARRIVE(&s, FLOW(125, 2100));
    assert_int_equal(review(&s, 125), ACT_OPEN);

    begin_high(&s);
    close_episode(&s, EPISODE_DONE, 21);
    for (int day = 60; day <= 300; day += 60)
        ARRIVE(&s, FLOW(day, 2100)); /* never quiet */
    assert_int_equal(review(&s, 300), ACT_NOTHING);
}

static void announces_the_immediate_again(void **state)
{
    static const enum episode_state closed[] = { EPISODE_DECLINED,
                                                 EPISODE_DONE };
    static struct scene s;

    (void)state;
    for (size_t i = 0; i < COUNT(closed); i++) {
        begin(&s, GROUP_HAND);
        ARRIVE(&s, SIGN(0, SIGN_HAND_ULCER));
        assert_int_equal(review(&s, 0), ACT_OPEN);
        assert_int_equal(s.episode.urgency, URGENCY_IMMEDIATE);
        close_episode(&s, closed[i], 1);
        assert_int_equal(review(&s, 1), ACT_NOTHING); /* the sign they knew */
        ARRIVE(&s, FLOW(2, 1600));                    /* a flow is not a sign */
        assert_int_equal(review(&s, 2), ACT_NOTHING);
        ARRIVE(&s, SIGN(3, SIGN_HAND_ULCER));
        assert_int_equal(review(&s, 3), ACT_OPEN);
        assert_int_equal(s.episode.number, 2);
        assert_int_equal(review(&s, 3), ACT_NOTHING);
        ARRIVE(&s, SIGN(4, SIGN_GRADE_4A));
        assert_int_equal(review(&s, 4), ACT_UPDATE); /* while it is open */
    }
}

/* Seen before a person closed the episode, told afterwards: nobody knew. */
static void hears_late_emergencies(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_GRADE_2B));
    assert_int_equal(review(&s, 0), ACT_OPEN);
    close_episode(&s, EPISODE_DECLINED, 1);
    ARRIVE(&s, SIGN(0.9, SIGN_HAND_ULCER));
    assert_int_equal(review(&s, 1.1), ACT_OPEN);
    assert_int_equal(s.episode.urgency, URGENCY_IMMEDIATE);
}

static void believes_early_emergencies(void **state)
{
    static struct scene s;
    struct reading *r;
    int64_t id;

    (void)state;
    begin(&s, GROUP_HAND);
    id = ARRIVE(&s, SIGN(0, SIGN_HAND_ULCER, .status = READING_PRELIMINARY));
    assert_int_equal(review(&s, 0), ACT_OPEN);
    r = reading_of(&s, id);
    r->status = READING_WITHDRAWN;
    r->version = 2;
    assert_int_equal(review(&s, 0.1), ACT_END);
    assert_int_equal(s.verdict.reason, END_WITHDRAWN);
}

static void opens_nothing_old_or_slight(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_FLOW); /* a history loaded late */
    ARRIVE(&s, FLOW(0, 2100));
    ARRIVE(&s, FLOW(20, 2100));
    assert_int_equal(review(&s, 51), ACT_NOTHING);
    assert_int_equal(s.findings.count, 1);
    assert_int_equal(review(&s, 50), ACT_OPEN); /* 30 days: not yet old */

    begin(&s, GROUP_HAND); /* a note makes no Task */
    ARRIVE(&s, INDEX(0, 0.55));
    assert_int_equal(review(&s, 0), ACT_NOTHING);
    assert_int_equal(s.findings.count, 1);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING);
}

/* A note joins the open suggestion of its group. */
static void adds_notes_to_the_open(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_FLOW);
    ARRIVE(&s, FLOW(0, 1600));
    ARRIVE(&s, FLOW(20, 1600));
    assert_int_equal(review(&s, 20), ACT_OPEN);
    ARRIVE(&s, OUTPUT(0, 7.5));
    ARRIVE(&s, OUTPUT(20, 7.5));
    assert_int_equal(review(&s, 21), ACT_UPDATE);
    assert_int_equal(s.episode.rules, 1u << RULE_HF_2 | 1u << RULE_HF_3);
    assert_int_equal(s.episode.urgency, URGENCY_ROUTINE);
    assert_false(s.verdict.raised);
}

static void groups_are_apart(void **state)
{
    static struct scene s, hand;

    (void)state;
    begin_high(&s);
    ARRIVE(&s, SIGN(21, SIGN_GRADE_2B));
    hand = s;
    hand.group = GROUP_HAND;
    hand.episode = (struct episode){ .flow_ml_min = NAN };
    assert_int_equal(review(&hand, 21), ACT_OPEN);
    assert_int_equal(hand.episode.rules, 1u << RULE_IS_4 | 1u << RULE_IS_6);
    assert_int_equal(hand.episode.grade, GRADE_2B);
    assert_true(isnan(hand.episode.flow_ml_min));
    assert_int_equal(review(&s, 21), ACT_UPDATE); /* the hand makes it urgent */
    assert_true(s.verdict.raised);
}

static void reminds_to_repeat(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_COLDNESS));
    ARRIVE(&s, FINGER(0, 55));
    assert_int_equal(review(&s, 0), ACT_NOTHING); /* no referral yet */
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_int_equal(s.findings.list[s.verdict.repeat_finding].rule, RULE_IS_5);
    assert_int_equal(s.repeat.number, 1);
    assert_true(s.repeat.open);
    (void)review(&s, 1);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING); /* one is open */
    s.repeat.open = false; /* a person has closed it */
    (void)review(&s, 2);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING); /* not for the same */

    ARRIVE(&s, FINGER(45, 55)); /* too late to confirm: a new trigger */
    (void)review(&s, 45);
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_int_equal(s.repeat.number, 2);
    ARRIVE(&s, FINGER(55, 55));
    assert_int_equal(review(&s, 55), ACT_OPEN); /* confirmed: a referral */
    assert_int_equal(s.verdict.repeat, ACT_END);
    assert_false(s.repeat.open);
    (void)review(&s, 56);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING);
}

/* A reminder whose day has passed is said once more; a measurement that comes
 * too late to confirm asks anew. */
static void says_what_is_overdue(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_COLDNESS));
    ARRIVE(&s, FINGER(0, 55));
    (void)review(&s, 0);
    assert_true(s.repeat.due_s == kit_s(14));
    assert_true(agenda_of_group(&policy, &s.episode, &s.repeat, kit_s(1)) ==
                kit_s(14));
    (void)review(&s, 13.9);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING);
    (void)review(&s, 14);
    assert_int_equal(s.verdict.repeat, ACT_UPDATE);
    assert_int_equal(s.findings.list[s.verdict.repeat_finding].rule, RULE_IS_5);
    assert_true(s.repeat.open && s.repeat.overdue);
    assert_true(agenda_of_group(&policy, &s.episode, &s.repeat, kit_s(15)) ==
                AGENDA_NEVER);
    (void)review(&s, 16);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING); /* said once */
    ARRIVE(&s, FINGER(45, 55));
    (void)review(&s, 45);
    assert_int_equal(s.verdict.repeat, ACT_END);
    assert_true(s.verdict.repeat_done);
    (void)review(&s, 45);
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_true(s.repeat.due_s == kit_s(59));
    assert_false(s.repeat.overdue);
}

/* What is asked for late still gets two days. */
static void leaves_time_to_measure(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_COLDNESS));
    ARRIVE(&s, FINGER(0, 55));
    (void)review(&s, 25);
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_true(s.repeat.due_s == kit_s(27));
}

static void closes_reminders_that_cleared(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_FLOW);
    ARRIVE(&s, FLOW(0, 1450));
    ARRIVE(&s, OUTPUT(0, 4.6));
    assert_int_equal(review(&s, 0), ACT_NOTHING);
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    for (int day = 10; day <= 20; day += 10) {
        ARRIVE(&s, FLOW(day, 900));
        ARRIVE(&s, OUTPUT(day, 6));
    }
    assert_int_equal(review(&s, 20), ACT_NOTHING);
    assert_int_equal(s.verdict.repeat, ACT_END);
    assert_true(s.verdict.repeat_done);
}

/* The reading that asked for it is withdrawn: nothing has been measured. */
static void closes_reminders_without_ground(void **state)
{
    static struct scene s;
    int64_t id;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_COLDNESS));
    id = ARRIVE(&s, FINGER(0, 55));
    (void)review(&s, 0);
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    reading_of(&s, id)->status = READING_WITHDRAWN;
    (void)review(&s, 1);
    assert_int_equal(s.verdict.repeat, ACT_END);
    assert_false(s.verdict.repeat_done);
}

/* Threatened rupture, in hand; then it bleeds: another kind of emergency, a
 * Task of its own.  Bleeding again in a later session is again one. */
static void announces_each_bleeding(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_BLEEDING);
    ARRIVE(&s, NUMBER(0, Q_RUPTURE_THREAT, 1));
    assert_int_equal(review(&s, 0), ACT_OPEN);
    s.episode.state = EPISODE_TAKEN;
    ARRIVE(&s, NUMBER(2, Q_RUPTURE_THREAT, 1));
    assert_int_equal(review(&s, 2), ACT_UPDATE); /* known, seen again */
    assert_true(s.verdict.again);
    assert_false(s.verdict.raised);
    ARRIVE(&s, NUMBER(6, Q_BLEEDING_ACTIVE, 1));
    assert_int_equal(review(&s, 6), ACT_OPEN);
    assert_int_equal(s.episode.number, 2);
    ARRIVE(&s, NUMBER(6 + HOURS(1), Q_BLEEDING_ACTIVE, 1));
    assert_int_equal(review(&s, 6 + HOURS(1)), ACT_UPDATE); /* one session */
    assert_false(s.verdict.raised || s.verdict.again);
    ARRIVE(&s, NUMBER(9, Q_BLEEDING_ACTIVE, 1));
    assert_int_equal(review(&s, 9), ACT_UPDATE); /* nobody has touched it */
    assert_true(s.verdict.raised);
}

/* What is known and seen again at each session is told to those who have it
 * in hand; a worse sign of the same rule opens anew. */
static void announces_a_worse_sign(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_INFECTION);
    ARRIVE(&s, SIGN(0, SIGN_INFECTION_SEPSIS));
    assert_int_equal(review(&s, 0), ACT_OPEN);
    s.episode.state = EPISODE_TAKEN;
    ARRIVE(&s, SIGN(2, SIGN_INFECTION_SEPSIS));
    assert_int_equal(review(&s, 2), ACT_UPDATE);
    assert_true(s.verdict.again);
    ARRIVE(&s, SIGN(9, SIGN_GRAFT_EXPOSED));
    assert_int_equal(review(&s, 9), ACT_OPEN);
}

/* A sign of long ago that arrives late is listed and raises nothing. */
static void raises_nothing_by_what_is_old(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(100, SIGN_GRADE_2B));
    assert_int_equal(review(&s, 100), ACT_OPEN);
    assert_int_equal(s.episode.urgency, URGENCY_URGENT);
    ARRIVE(&s, SIGN(45, SIGN_HAND_ULCER));
    (void)review(&s, 101);
    assert_false(s.verdict.raised);
    assert_int_equal(s.episode.urgency, URGENCY_URGENT);
}

/* The flow of an episode is a flow, whatever unit its rule counts in. */
static void keeps_flows_as_flows(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_AFTER_BAND);
    ARRIVE(&s, FLOW(-30, 2400));
    ARRIVE(&s, FLOW(-10, 2400));
    ARRIVE(&s, SIGN(0, SIGN_BANDED));
    ARRIVE(&s, FLOW(10, 820));
    ARRIVE(&s, FLOW(60, 1300));
    ARRIVE(&s, FLOW(90, 1350));
    assert_int_equal(review(&s, 90), ACT_OPEN);
    assert_near(s.episode.flow_ml_min, 1350, 1e-9);
    close_episode(&s, EPISODE_DECLINED, 95);
    ARRIVE(&s, FLOW(110, 1310));
    ARRIVE(&s, FLOW(130, 1300));
    assert_int_equal(review(&s, 130), ACT_NOTHING);
}

/* One value in a long while reopens nothing, nor do two clearly beyond that
 * lie apart. */
static void reopens_on_more_than_chance(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_LOW_FLOW);
    ARRIVE(&s, FLOW(0, 450));
    ARRIVE(&s, FLOW(20, 440));
    assert_int_equal(review(&s, 20), ACT_OPEN);
    close_episode(&s, EPISODE_DONE, 25);
    ARRIVE(&s, FLOW(50, 540));
    ARRIVE(&s, FLOW(75, 530));
    ARRIVE(&s, FLOW(100, 495));
    assert_int_equal(review(&s, 100), ACT_NOTHING);
    ARRIVE(&s, FLOW(128, 480));
    assert_int_equal(review(&s, 128), ACT_OPEN);

    begin_high(&s); /* 2100 at most, on day 20 */
    close_episode(&s, EPISODE_DECLINED, 20);
    ARRIVE(&s, FLOW(30, 2490));
    ARRIVE(&s, FLOW(50, 2100));
    ARRIVE(&s, FLOW(70, 2490));
    assert_int_equal(review(&s, 70), ACT_NOTHING);
    ARRIVE(&s, FLOW(90, 2490));
    assert_int_equal(review(&s, 90), ACT_OPEN);
}

/* A measurement that is asked for more urgently than the open Task says is
 * asked for all the same. */
static void asks_beside_a_lesser_task(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    s.episode.state = EPISODE_TAKEN; /* routine, in hand */
    ARRIVE(&s, FLOW(40, 2100));
    ARRIVE(&s, OUTPUT(40, 5.5)); /* 0.38: urgent, to be measured again */
    (void)review(&s, 40);
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_int_equal(s.findings.list[s.verdict.repeat_finding].rule, RULE_HF_3);
}

/* The visits after a band: due, overdue, recorded late; and the next one. */
static void follows_the_visits(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_FOLLOW_UP);
    ARRIVE(&s, SIGN(0, SIGN_BANDED));
    (void)review(&s, 2);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING);
    (void)review(&s, 2.5); /* the first session, from 2.25 to 3.75 */
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_true(s.repeat.occasion == kit_s(3.75));
    ARRIVE(&s, SIGN(3, SIGN_THRILL_PRESENT));
    ARRIVE(&s, NUMBER(3, Q_PUMP_FLOW, 300));
    ARRIVE(&s, SIGN(3, SIGN_NO_COMPLAINT));
    assert_int_equal(review(&s, 3), ACT_NOTHING);
    assert_int_equal(s.verdict.repeat, ACT_END);
    assert_true(s.verdict.repeat_done);
    (void)review(&s, 9); /* the early visit, from 8.4 to 14 */
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_int_equal(s.repeat.number, 2);
    assert_int_equal(review(&s, 14), ACT_OPEN); /* overdue: a suggestion */
    assert_int_equal(s.verdict.repeat, ACT_END);
    assert_false(s.verdict.repeat_done);
    assert_int_equal(review(&s, 15), ACT_NOTHING);
    ARRIVE(&s, FLOW(16, 900));
    ARRIVE(&s, NUMBER(16, Q_SPKTV, 1.4));
    ARRIVE(&s, SIGN(16, SIGN_NO_COMPLAINT));
    assert_int_equal(review(&s, 16), ACT_END);
    assert_int_equal(s.verdict.reason, END_CLEARED);
    (void)review(&s, 23); /* the visit of the month: another reminder */
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_int_equal(review(&s, 38), ACT_OPEN); /* overdue again */
    assert_int_equal(s.episode.number, 2);
}

/* A person has closed the overdue visit: the next one is news all the same. */
static void a_closed_visit_mutes_no_other(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_FOLLOW_UP);
    ARRIVE(&s, SIGN(0, SIGN_BANDED));
    assert_int_equal(review(&s, 4), ACT_OPEN);
    close_episode(&s, EPISODE_DONE, 5);
    assert_int_equal(review(&s, 6), ACT_NOTHING);
    (void)review(&s, 9);
    assert_int_equal(s.verdict.repeat, ACT_OPEN);
    assert_int_equal(review(&s, 14), ACT_OPEN);
    assert_int_equal(s.episode.number, 2);
}

static void reminds_of_nothing_old(void **state)
{
    static struct scene s;

    (void)state;
    begin(&s, GROUP_HAND);
    ARRIVE(&s, SIGN(0, SIGN_COLDNESS));
    ARRIVE(&s, FINGER(0, 55));
    (void)review(&s, 31);
    assert_int_equal(s.verdict.repeat, ACT_NOTHING);
}

/* The list of evidence has a ceiling: the newest stay, in order. */
static void limits_evidence(void **state)
{
    static struct scene s;

    (void)state;
    begin_high(&s);
    for (int i = 1; i <= EPISODE_EVIDENCE_MAX + 10; i++) {
        ARRIVE(&s, FLOW(20 + i, 2100));
        assert_int_equal(review(&s, 20 + i), ACT_UPDATE);
        assert_int_equal(s.verdict.new_evidence, 1);
        assert_int_equal(review(&s, 20 + i), ACT_NOTHING);
    }
    assert_int_equal(s.episode.evidence_count, EPISODE_EVIDENCE_MAX);
    for (size_t i = 1; i < s.episode.evidence_count; i++)
        assert_true(s.episode.evidence[i - 1].at_s <
                    s.episode.evidence[i].at_s);
    assert_true(s.episode.evidence[EPISODE_EVIDENCE_MAX - 1].at_s ==
                kit_s(20 + EPISODE_EVIDENCE_MAX + 10));
}

static int read_limits(void **state)
{
    (void)state;
    kit_plain_policy(&policy);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(opens_and_appends),
        cmocka_unit_test(inserts_late_evidence),
        cmocka_unit_test(raises_urgency),
        cmocka_unit_test(puts_the_unanswered_again),
        cmocka_unit_test(escalates_what_nobody_takes),
        cmocka_unit_test(escalates_what_was_let_go_of),
        cmocka_unit_test(waits_for_what_is_put_off),
        cmocka_unit_test(ends_when_cleared),
        cmocka_unit_test(ends_when_withdrawn),
        cmocka_unit_test(says_what_was_corrected),
        cmocka_unit_test(says_what_has_gone),
        cmocka_unit_test(forgets_nothing_old),
        cmocka_unit_test(forgets_nothing_left_out),
        cmocka_unit_test(ends_when_superseded),
        cmocka_unit_test(ends_with_the_stage),
        cmocka_unit_test(annotates_the_taken),
        cmocka_unit_test(outgrows_the_taken),
        cmocka_unit_test(announces_another_emergency),
        cmocka_unit_test(stays_quiet_after_no),
        cmocka_unit_test(reopens_on_flow),
        cmocka_unit_test(reopens_on_low_flow),
        cmocka_unit_test(reopens_on_urgency),
        cmocka_unit_test(reopens_on_grade),
        cmocka_unit_test(reopens_after_quiet),
        cmocka_unit_test(announces_the_immediate_again),
        cmocka_unit_test(hears_late_emergencies),
        cmocka_unit_test(believes_early_emergencies),
        cmocka_unit_test(opens_nothing_old_or_slight),
        cmocka_unit_test(adds_notes_to_the_open),
        cmocka_unit_test(groups_are_apart),
        cmocka_unit_test(reminds_to_repeat),
        cmocka_unit_test(says_what_is_overdue),
        cmocka_unit_test(leaves_time_to_measure),
        cmocka_unit_test(closes_reminders_that_cleared),
        cmocka_unit_test(closes_reminders_without_ground),
        cmocka_unit_test(announces_each_bleeding),
        cmocka_unit_test(announces_a_worse_sign),
        cmocka_unit_test(raises_nothing_by_what_is_old),
        cmocka_unit_test(keeps_flows_as_flows),
        cmocka_unit_test(reopens_on_more_than_chance),
        cmocka_unit_test(asks_beside_a_lesser_task),
        cmocka_unit_test(follows_the_visits),
        cmocka_unit_test(a_closed_visit_mutes_no_other),
        cmocka_unit_test(reminds_of_nothing_old),
        cmocka_unit_test(limits_evidence),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

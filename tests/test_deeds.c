/*
 * What a coordinator does with a suggestion.
 *
 * Which changes of status R4 allows is from HL7 FHIR R4 (4.0.1), the state
 * machine of Task (hl7.org/fhir/R4/task.html, "Task State Machine"); it is
 * checked by test_fhir_task.  How long a thing may be put off, and what may not
 * be, is our own rule, checked against the help of headgate task; days are
 * counted by Python's datetime.date.
 */
#include "adapters/fhir_time.h"
#include "planner/triage.h"
#include "service/deeds.h"
#include "service/episodes.h"
#include "service/task_change.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"

static int start(void **state)
{
    world_start(state);
    world_has_access(*state);
    return 0;
}

static void flow(struct world *w, const char *value, double ago_d,
                 const char *access)
{
    assert_int_equal(
        world_post(w, OBS(.identifier = value, .value = value,
                          .ago_h = ago_d * DAYS, .access = access)),
        201);
}

/* The unit takes a reading back. */
static void withdraw(struct world *w, const char *value, double ago_d)
{
    assert_int_equal(
        world_post(w, OBS(.identifier = value, .value = value,
                          .status = "entered-in-error", .ago_h = ago_d * DAYS,
                          .access = ACCESS)),
        200);
}

/* Two flows above the limit: rule HF-1 of config/policy.ini. */
static void suggest_flow(struct world *w)
{
    flow(w, "2240", 9, ACCESS);
    flow(w, "2310", 2, ACCESS);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

/* ---- a deed ------------------------------------------------------------------- */

static struct task_deed deed;
static const char *over = ""; /* whom the next one overrules */

static enum err run(struct db *db, void *arg)
{
    return task_deed(db, arg);
}

/* The status that the person gets; the text stays in deed.text. */
static int act_as(struct world *w, const char *who, enum task_verb verb,
                  const char *task, const char *whom, const char *until,
                  const char *why)
{
    enum err e;

    buf_clear(&deed.text);
    deed = (struct task_deed){ .verb = verb,
                               .reader = &w->reader,
                               .policy = &w->policy,
                               .deliver = true,
                               .now_ms = world_now_ms() };
    snprintf(deed.task, sizeof(deed.task), "%s", task);
    snprintf(deed.who, sizeof(deed.who), "%s", who);
    snprintf(deed.whom, sizeof(deed.whom), "%s", whom);
    snprintf(deed.until, sizeof(deed.until), "%s", until);
    snprintf(deed.why, sizeof(deed.why), "%s", why);
    snprintf(deed.over, sizeof(deed.over), "%s", over);
    over = "";
    buf_init(&deed.text, 65536);
    e = world_step(w, run, &deed);
    assert_true(e == ERR_OK || (e == ERR_CONFLICT && deed.status >= 400));
    return deed.status;
}

static int act(struct world *w, enum task_verb verb, const char *task,
               const char *whom, const char *until, const char *why)
{
    return act_as(w, "A. Rowan", verb, task, whom, until, why);
}

static bool says(const char *text)
{
    return strstr(deed.text.data, text) != NULL;
}

/* The Task as it stands, as JSON. */
static bool task_has(struct world *w, const char *text)
{
    return world_task_says(w, FLOW_TASK, text) > 0;
}

static long long episode(struct world *w, const char *column)
{
    char sql[160];

    snprintf(sql, sizeof(sql), "SELECT %s FROM episode WHERE grp = %d", column,
             GROUP_FLOW);
    return world_count(w, sql);
}

static long long deeds(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM deed");
}

static int finish(void **state)
{
    buf_clear(&deed.text);
    return world_stop(state);
}

/* ---- by the name of the access ---------------------------------------------- */

static void taken_in_hand(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", "seen on the round"),
                     200);
    assert_true(says("A. Rowan has it in hand"));
    assert_true(task_has(w, "\"status\":\"accepted\""));
    assert_true(task_has(w, "\"owner\":{\"display\":\"A. Rowan\"}"));
    assert_true(task_has(w, "\"authorString\":\"A. Rowan\",\"time\":\"2026-03-"
                            "06T08:12:00.000Z\",\"text\":\"Taken in hand: seen "
                            "on the round\""));
    assert_false(task_has(w, "businessStatus"));
    assert_int_equal(episode(w, "state"), EPISODE_TAKEN);
    assert_int_equal(episode(w, "taken_s"), START_S);
    assert_int_equal(episode(w, "owner = 'A. Rowan'"), 1);
    assert_int_equal(deeds(w), 1);
    /* once more is no other deed; nobody else takes it away */
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_true(says("already"));
    assert_int_equal(deeds(w), 1);
    snprintf(deed.who, sizeof(deed.who), "B. Elm");
    deed.text.len = 0;
    assert_int_equal(world_step(w, run, &deed), ERR_CONFLICT);
    assert_int_equal(deed.status, 409);
    assert_true(says("A. Rowan has it in hand"));
}

static void handed_over_is_still_open(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_HAND, "A-7", "", "", ""), 400);
    assert_int_equal(act(w, TASK_HAND, "A-7", "B. Elm", "", "on leave"), 200);
    assert_true(task_has(w, "\"status\":\"requested\""));
    assert_true(task_has(w, "\"owner\":{\"display\":\"B. Elm\"}"));
    assert_true(task_has(w, "\"text\":\"Handed to B. Elm: on leave\""));
    assert_true(task_has(w, "awaiting-review"));
    assert_int_equal(episode(w, "state"), EPISODE_OPEN);
    /* a new reading: ours is added, theirs stays */
    flow(w, "2290", 0, ACCESS);
    world_review(w);
    assert_true(task_has(w, "\"owner\":{\"display\":\"B. Elm\"}"));
    assert_true(task_has(w, "Handed to B. Elm: on leave"));
    assert_int_equal(episode(w, "owner = 'B. Elm'"), 1);
    /* its ground goes away, and nobody has taken it */
    withdraw(w, "2240", 9);
    withdraw(w, "2310", 2);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    assert_true(task_has(w, "Handed to B. Elm: on leave"));
}

static void handed_on_by_whoever_has_it(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_int_equal(act(w, TASK_HAND, "A-7", "B. Elm", "", ""), 200);
    assert_true(task_has(w, "\"status\":\"accepted\""));
    assert_true(task_has(w, "\"owner\":{\"display\":\"B. Elm\"}"));
    assert_int_equal(episode(w, "state"), EPISODE_TAKEN);
    assert_true(says("Nobody has it in hand until it is taken"));
    assert_true(task_has(w, "awaiting-review"));
    assert_int_equal(episode(w, "handed_s"), START_S);
    assert_int_equal(deeds(w), 2);
    /* who it was handed to takes it; nobody else takes it from them */
    assert_int_equal(act_as(w, "B. Elm", TASK_TAKE, "A-7", "", "", ""), 200);
    assert_true(task_has(w, "\"status\":\"accepted\""));
    assert_false(task_has(w, "awaiting-review"));
    assert_int_equal(episode(w, "handed_s IS NULL"), 1);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", "x"), 409);
    assert_true(says("B. Elm has it in hand"));
    /* to whom has it, it is not handed */
    assert_int_equal(act_as(w, "B. Elm", TASK_HAND, "A-7", "B. Elm", "", ""),
                     200);
    assert_true(says("already"));
    assert_int_equal(deeds(w), 3);
}

/* ---- handed over, and nobody takes it --------------------------------------- */

/* What was taken and handed over is in nobody's hands: as IS-2, phone now. */
static void suggest_ulcer(struct world *w)
{
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
}

static long long hand_episode(struct world *w, const char *column)
{
    char sql[160];

    snprintf(sql, sizeof(sql), "SELECT %s FROM episode WHERE grp = %d", column,
             GROUP_HAND);
    return world_count(w, sql);
}

static long long escalations(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM decision WHERE act = 2 AND"
                          " how = 8");
}

/* How many hours is our own proposal (policy, general.escalate_*_h); that they
 * are counted from the first moment is what COORDINATOR.md says. */
static void handed_over_it_is_escalated(void **state)
{
    struct world *w = world(state);
    int64_t wait_s =
        (int64_t)policy_count(&w->policy, P_ESCALATE_IMMEDIATE_H) * 3600;

    suggest_ulcer(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    world_now_s += wait_s / 2;
    assert_int_equal(act(w, TASK_HAND, "A-7", "B. Elm", "", ""), 200);
    world_review(w);
    assert_int_equal(hand_episode(w, "escalated"), 0);
    assert_int_equal(world_count(w, "SELECT since_ms FROM news"),
                     (START_S + wait_s) * 1000);
    world_now_s = START_S + wait_s;
    world_review(w);
    assert_int_equal(hand_episode(w, "escalated"), 1);
    assert_int_equal(escalations(w), 1);
    assert_int_equal(world_task_says(w, "refer-hand-review",
                                     "This was handed over, and not taken "
                                     "since"),
                     1);
    /* a person's it was: only the note is added */
    assert_int_equal(
        world_task_says(w, "refer-hand-review", "\"status\":\"accepted\""), 1);
    assert_int_equal(db_first(w->db, Q_EPISODE_ESCALATED, ""), ERR_OK);
    assert_int_equal(db_int(w->db, Q_EPISODE_ESCALATED, 0), 1);
    db_done(w->db, Q_EPISODE_ESCALATED);
    /* handed round, it is said once, and there is no new time */
    assert_int_equal(act_as(w, "B. Elm", TASK_HAND, "A-7", "C. Fir", "", ""),
                     200);
    world_review(w);
    assert_int_equal(escalations(w), 1);
    assert_int_equal(hand_episode(w, "escalated"), 1);
    /* taken at last, it counts no more */
    assert_int_equal(act_as(w, "C. Fir", TASK_TAKE, "A-7", "", "", ""), 200);
    world_review(w);
    assert_int_equal(db_first(w->db, Q_EPISODE_ESCALATED, ""), ERR_OK);
    assert_int_equal(db_int(w->db, Q_EPISODE_ESCALATED, 0), 0);
    db_done(w->db, Q_EPISODE_ESCALATED);
    /* let go of again, it is said again, at once */
    assert_int_equal(act_as(w, "C. Fir", TASK_HAND, "A-7", "B. Elm", "", ""),
                     200);
    world_review(w);
    assert_int_equal(escalations(w), 2);
}

/* A person with a client of their own: a PATCH of the Task. */
static void patch_task(struct world *w, const char *code, const char *patch)
{
    struct outcome outcome;
    struct buf body;
    struct resource r;
    struct task_change c = { .patch = true,
                             .body = patch,
                             .len = strlen(patch),
                             .reader = &w->reader,
                             .now_ms = world_now_ms(),
                             .outcome = &outcome };

    outcome_init(&outcome);
    buf_init(&body, 1 << 20);
    r = world_task(w, code, &body);
    c.id = r.fid;
    assert_int_equal(task_change(w->db, &c), ERR_OK);
    buf_clear(&body);
}

static void handed_over_by_a_client(void **state)
{
    struct world *w = world(state);

    suggest_ulcer(w);
    /* taken, and by whom: not handed over */
    patch_task(w, "refer-hand-review",
               "[{\"op\":\"replace\",\"path\":\"/status\",\"value\":"
               "\"accepted\"},{\"op\":\"add\",\"path\":\"/owner\","
               "\"value\":{\"display\":\"A. Rowan\"}}]");
    assert_int_equal(hand_episode(w, "state"), EPISODE_TAKEN);
    assert_int_equal(hand_episode(w, "handed_s IS NULL"), 1);
    /* the owner alone: handed over */
    patch_task(w, "refer-hand-review",
               "[{\"op\":\"replace\",\"path\":\"/owner\",\"value\":"
               "{\"display\":\"B. Elm\"}}]");
    assert_int_equal(hand_episode(w, "handed_s IS NOT NULL"), 1);
    world_now_s += 86400;
    world_review(w);
    assert_int_equal(hand_episode(w, "escalated"), 1);
    /* the next status: somebody has it in hand */
    patch_task(w, "refer-hand-review",
               "[{\"op\":\"replace\",\"path\":\"/status\",\"value\":"
               "\"in-progress\"}]");
    assert_int_equal(hand_episode(w, "handed_s IS NULL"), 1);
    assert_int_equal(hand_episode(w, "owner = 'B. Elm'"), 1);
}

/* Beside a worse one that came later, one that was let go of is not lost. */
static void handed_over_beside_a_worse_one(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "pain-at-rest",
                          .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_int_equal(act(w, TASK_HAND, "A-7", "B. Elm", "", ""), 200);
    world_review(w);
    assert_int_equal(hand_episode(w, "escalated"), 0);
    world_now_s += 3600;
    suggest_ulcer(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM episode"), 2);
    assert_int_equal(world_count(w, "SELECT escalated FROM episode WHERE"
                                    " number = 1"),
                     1);
    assert_int_equal(world_count(w, "SELECT escalated FROM episode WHERE"
                                    " number = 2"),
                     0);
}

/* ---- what another has in hand ------------------------------------------------ */

static void not_out_of_another_s_hands_without_a_word(void **state)
{
    static const struct {
        enum task_verb verb;
        const char *whom, *until, *why, *over;
        int status;
        const char *says;
    } rows[] = {
        { TASK_TAKE, "", "", "", "", 409, "A. Rowan has it in hand" },
        { TASK_TAKE, "", "", "I am here", "", 409, "headgate task hand" },
        { TASK_HAND, "C. Fir", "", "", "", 409,
          "A. Rowan has it in hand: say why" },
        { TASK_PUT_OFF, "", "2026-03-20", "", "", 409,
          "A. Rowan has it in hand" },
        { TASK_PUT_OFF, "", "2026-03-20", "x", "", 409,
          "A. Rowan has it in hand" },
        { TASK_DECLINE, "", "", "", "", 409,
          "A. Rowan has it in hand: say why" },
        { TASK_DONE, "", "", "", "", 409, "A. Rowan has it in hand: say why" },
        /* a reason is written anyway: whose it is has to be said as well */
        { TASK_HAND, "C. Fir", "", "x", "", 409, "name whom you overrule" },
        { TASK_DECLINE, "", "", "x", "", 409, "name whom you overrule" },
        { TASK_DONE, "", "", "x", "", 409, "name whom you overrule" },
        { TASK_DONE, "", "", "x", "A. Row", 409, "--over names A. Row" },
        { TASK_DONE, "", "", "x", "B. Elm", 409, "--over names B. Elm" },
        { TASK_DONE, "", "", "", "A. Rowan", 409,
          "A. Rowan has it in hand: say why" },
        { TASK_DONE, "", "", "seen today", "a. rowan", 200,
          "A. Rowan had it in hand." },
    };
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    for (size_t i = 0; i < COUNT(rows); i++) {
        over = rows[i].over;
        assert_int_equal(act_as(w, "B. Elm", rows[i].verb, "A-7", rows[i].whom,
                                rows[i].until, rows[i].why),
                         rows[i].status);
        assert_true(says(rows[i].says));
    }
    assert_int_equal(deeds(w), 2);
    assert_true(task_has(w, "\"text\":\"Done: seen today  A. Rowan had it in "
                            "hand.\""));
}

static void declined_for_another_with_their_name(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    over = "A. ROWAN";
    assert_int_equal(
        act_as(w, "B. Elm", TASK_DECLINE, "A-7", "", "", "measured anew"), 200);
    assert_true(says("A. Rowan had it in hand."));
    assert_true(task_has(w, "Declined: measured anew  A. Rowan had it in "
                            "hand."));
    assert_true(task_has(w, "\"statusReason\":{\"text\":\"measured anew\"}"));
}

/* Nobody has it in hand, but somebody was asked to take it. */
static void what_was_handed_to_another_is_theirs(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_int_equal(act(w, TASK_HAND, "A-7", "B. Elm", "", ""), 200);
    assert_int_equal(act_as(w, "C. Fir", TASK_DECLINE, "A-7", "", "", "x"),
                     409);
    assert_true(says("It was handed to B. Elm: name whom you overrule"));
    assert_int_equal(act_as(w, "C. Fir", TASK_DONE, "A-7", "", "", "x"), 409);
    over = "A. Rowan"; /* who had it before */
    assert_int_equal(act_as(w, "C. Fir", TASK_DECLINE, "A-7", "", "", "x"),
                     409);
    assert_true(says("It was handed to B. Elm, and --over names A. Rowan"));
    assert_int_equal(act(w, TASK_HAND, "A-7", "C. Fir", "", ""), 409);
    over = "b. elm";
    assert_int_equal(act(w, TASK_HAND, "A-7", "C. Fir", "", ""), 200);
    assert_int_equal(act_as(w, "C. Fir", TASK_DECLINE, "A-7", "", "", "x"),
                     200);
}

/* Somebody has it who is not named: as it comes from some clients. */
static void not_out_of_nobody_s_hands_either(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    world_person(w, FLOW_TASK, "accepted");
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", ""), 409);
    assert_true(says("Somebody who is not named has it in hand"));
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", "seen"), 200);
}

static void what_was_done_about_an_emergency_is_said(void **state)
{
    struct world *w = world(state);

    suggest_ulcer(w);
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", ""), 400);
    assert_true(says("say what was done"));
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", ""), 400);
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", "phoned, seen"), 200);
}

/* Who is meant is read in every answer, refusals too. */
static void the_answer_says_of_whom_it_is(void **state)
{
    static const char whose[] =
        "\nInvented (1001); Fistula A-7 (left upper arm); "
        "Corvane\n";
    struct world *w = world(state);

    assert_int_equal(
        world_put(w, "p-1",
                  "{\"resourceType\":\"Patient\",\"id\":\"p-1\","
                  "\"identifier\":[{\"system\":\"" IDS "patient\","
                  "\"value\":\"1001\"}],\"name\":[{\"family\":"
                  "\"Invented\"}],\"managingOrganization\":{\"display\":"
                  "\"Corvane\"}}"),
        200);
    suggest_flow(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_true(says(whose));
    assert_memory_equal(deed.about, whose + 1, strlen(whose) - 2);
    assert_int_equal(act(w, TASK_HAND, "A-7", "B. Elm", "", ""), 200);
    assert_true(says(whose));
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", ""), 409);
    assert_true(says(whose));
    over = "B. Elm";
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", ""), 200);
    assert_true(says(whose));
}

/* ---- put off -------------------------------------------------------------------- */

static void put_off_until_its_day(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(
        act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", "on holiday"), 200);
    assert_true(says("2026-03-20"));
    assert_true(task_has(w, "\"status\":\"requested\""));
    assert_true(task_has(w, "\"code\":\"put-off\""));
    assert_false(task_has(w, "awaiting-review"));
    assert_int_equal(episode(w, "state"), EPISODE_OPEN);
    assert_int_equal(episode(w, "put_off_by = 'A. Rowan'"), 1);
    /* the first second of that day, UTC being the zone of this site */
    assert_int_equal(episode(w, "put_off_s"), 1773964800);
    /* more of the same: it stays put off, and the Task says so */
    world_now_s += 86400;
    flow(w, "2290", 0, ACCESS);
    world_review(w);
    assert_true(task_has(w, "2290"));
    assert_true(task_has(w, "\"code\":\"put-off\""));
    assert_int_equal(episode(w, "put_off_s"), 1773964800);
    /* its day comes, without a reading */
    assert_int_equal(world_count(w,
                                 "SELECT count(*) FROM news WHERE since_ms <= "
                                 "1773964800000"),
                     1);
    world_now_s = 1773964800 + 60;
    world_review(w);
    assert_true(task_has(w, "awaiting-review"));
    assert_false(task_has(w, "\"code\":\"put-off\""));
    assert_true(task_has(w, "it waits for an answer again"));
    assert_int_equal(episode(w, "put_off_s IS NULL AND put_off_by IS NULL"), 1);
    assert_int_equal(episode(w, "announced_s"), 1773964800 + 60);
    world_review(w);
    assert_int_equal(world_task_says(w, FLOW_TASK, "waits for an answer again"),
                     1);
}

static void back_at_once_when_it_worsens(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", ""), 200);
    assert_int_equal(episode(w, "put_off_s"), 1773964800);
    /* high flow and an admission for heart failure: asap, by rule HF-4 */
    world_now_s += 3600;
    assert_int_equal(world_post(w, OBS(.code = "heart-failure-sign",
                                       .sign = "heart-failure-admission")),
                     201);
    world_review(w);
    assert_int_equal(episode(w, "urgency"), URGENCY_ASAP);
    assert_int_equal(episode(w, "put_off_s IS NULL"), 1);
    assert_true(task_has(w, "awaiting-review"));
    assert_false(task_has(w, "\"code\":\"put-off\""));
}

static void days_that_are_none(void **state)
{
    static const struct {
        const char *until;
        int status;
    } rows[] = {
        { "", 400 },           { "2026-03-06", 400 }, /* today */
        { "2026-03-05", 400 }, { "2026-09-03", 400 }, /* 181 days */
        { "2026-02-30", 400 }, { "2026-04", 400 },
        { "soon", 400 },       { "2026-03-07T10:00:00Z", 400 },
        { "2026-09-02", 200 }, { "2026-03-07", 200 },
    };
    struct world *w = world(state);

    suggest_flow(w);
    for (size_t i = 0; i < COUNT(rows); i++)
        assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", rows[i].until, ""),
                         rows[i].status);
    assert_int_equal(deeds(w), 2);
    assert_int_equal(episode(w, "urgency"), URGENCY_ROUTINE);
}

/* How long is general.put_off_*_d of the policy, our own proposal. */
static void not_for_longer_than_the_policy_says(void **state)
{
    struct world *w = world(state);

    /* urgent, by rule IS-3: 90 days */
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "pain-on-dialysis-intolerable",
                                       .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(hand_episode(w, "urgency"), URGENCY_URGENT);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-06-05", ""), 400);
    assert_true(says("until 2026-06-04 at the latest"));
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-06-04", ""), 200);
    /* pain at rest: a matter of days, and a reason is needed */
    world_now_s += 60;
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "pain-at-rest",
                          .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(hand_episode(w, "urgency"), URGENCY_ASAP);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-10", ""), 400);
    assert_true(says("say why it is put off"));
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-14", "x"), 400);
    assert_true(says("until 2026-03-13 at the latest"));
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-13", "seen"),
                     200);
}

/* What is put off is not escalated; once its day has come, its time runs. */
static void escalated_after_the_day_it_was_put_off_to(void **state)
{
    struct world *w = world(state);
    const int64_t day_s = 1773100800; /* 2026-03-10, UTC */
    int64_t wait_s =
        (int64_t)policy_count(&w->policy, P_ESCALATE_ASAP_H) * 3600;

    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "pain-at-rest",
                          .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-10", "seen"),
                     200);
    world_now_s = START_S + wait_s + 60;
    world_review(w);
    assert_int_equal(hand_episode(w, "escalated"), 0);
    world_now_s = day_s;
    world_review(w);
    assert_int_equal(hand_episode(w, "put_off_s IS NULL"), 1);
    assert_int_equal(hand_episode(w, "escalated"), 0);
    world_now_s = day_s + wait_s - 60;
    world_review(w);
    assert_int_equal(hand_episode(w, "escalated"), 0);
    world_now_s = day_s + wait_s;
    world_review(w);
    assert_int_equal(hand_episode(w, "escalated"), 1);
    assert_int_equal(escalations(w), 1);
}

/* A reading that it rests on is corrected while it is put off. */
static void corrected_while_it_is_put_off(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", ""), 200);
    world_now_s += 3600;
    /* still above the limit: it stays put off, and the Task says both */
    assert_int_equal(
        world_post(w, OBS(.identifier = "2310", .value = "2150",
                          .status = "corrected", .ago_h = 2 * DAYS + 1,
                          .access = ACCESS)),
        200);
    world_review(w);
    assert_int_equal(episode(w, "put_off_s"), 1773964800);
    assert_true(task_has(w, "2150"));
    assert_true(task_has(w, "\"code\":\"put-off\""));
    /* below: its ground is gone, and it does not come back on its day */
    world_now_s += 3600;
    assert_int_equal(
        world_post(w, OBS(.identifier = "2310", .value = "1150",
                          .status = "corrected", .ago_h = 2 * DAYS + 2,
                          .access = ACCESS)),
        200);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    world_now_s = 1773964800 + 60;
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    assert_int_equal(world_tasks(w, NULL, "requested"), 0);
}

static void not_what_is_to_be_seen_at_once(void **state)
{
    struct world *w = world(state);
    struct buf body;
    struct resource r;

    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", "later"),
                     409);
    assert_true(says("Phone"));
    assert_int_equal(deeds(w), 0);
    buf_init(&body, 1 << 20);
    r = world_task(w, "refer-hand-review", &body);
    assert_int_equal(r.version, 1);
    assert_null(strstr(body.data, "put-off"));
    buf_clear(&body);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
}

static void not_what_is_in_hand_nor_a_reminder(void **state)
{
    struct world *w = world(state);

    /* a cold hand, and a low pressure of a finger once: to be measured again */
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "coldness", .access = ACCESS)),
                     201);
    assert_int_equal(
        world_post(w, OBS(.code = "digital-pressure", .value = "45",
                          .unit = "mm[Hg]", .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", ""), 409);
    assert_true(says("reminder"));
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_int_equal(world_count(w, "SELECT state FROM repeat"), EPISODE_TAKEN);
    /* beside a reminder, the one suggestion is meant */
    suggest_flow(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_true(task_has(w, "\"status\":\"accepted\""));
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", ""), 409);
    assert_true(says("in hand"));
}

/* ---- ended ---------------------------------------------------------------------- */

static void declined_with_a_reason(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    assert_int_equal(act(w, TASK_PUT_OFF, "A-7", "", "2026-03-20", ""), 200);
    assert_int_equal(act(w, TASK_DECLINE, "A-7", "", "", ""), 400);
    assert_int_equal(act(w, TASK_DECLINE, "A-7", "", "", "known, left"), 200);
    assert_true(task_has(w, "\"status\":\"rejected\""));
    assert_true(task_has(w, "\"statusReason\":{\"text\":\"known, left\"}"));
    assert_false(task_has(w, "businessStatus"));
    assert_int_equal(episode(w, "state"), EPISODE_DECLINED);
    assert_int_equal(episode(w, "put_off_s IS NULL"), 1);
    /* what is closed is closed */
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 409);
    assert_true(says("Nothing is open"));
}

static void done_by_way_of_accepted(void **state)
{
    struct world *w = world(state);
    char fid[FID_SIZE];

    suggest_flow(w);
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", "scan booked"), 200);
    snprintf(fid, sizeof(fid), "%s", deed.fid);
    assert_true(task_has(w, "\"status\":\"completed\""));
    assert_true(task_has(w, "Done: scan booked"));
    assert_int_equal(episode(w, "state"), EPISODE_DONE);
    assert_int_equal(world_count(w,
                                 "SELECT max(ver) FROM version WHERE "
                                 "resource = (SELECT max(task) FROM episode)"),
                     3);
    for (int v = TASK_TAKE; v <= TASK_DONE; v++)
        assert_int_equal(act(w, (enum task_verb)v, fid, "", "", "x"), 409);
    assert_true(says("completed"));
    assert_int_equal(deeds(w), 1);
}

/* Status in-progress to rejected is not in R4's state machine. */
static void by_the_rules_of_tasks(void **state)
{
    struct world *w = world(state);

    suggest_flow(w);
    world_person(w, FLOW_TASK, "accepted");
    world_person(w, FLOW_TASK, "in-progress");
    assert_int_equal(act(w, TASK_DECLINE, "A-7", "", "", "no"), 409);
    assert_true(says("in-progress"));
    assert_int_equal(deeds(w), 0);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 200);
    assert_true(task_has(w, "\"status\":\"in-progress\""));
    assert_int_equal(act(w, TASK_DONE, "A-7", "", "", ""), 200);
}

/* ---- which is meant -------------------------------------------------------------- */

static void which_task_is_meant(void **state)
{
    struct world *w = world(state);
    char row[32];

    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 409);
    assert_int_equal(act(w, TASK_TAKE, "nobody", "", "", ""), 404);
    suggest_flow(w);
    /* the number of a row is nobody's name: it may be that of a patient */
    world_text(w, "SELECT id FROM access", row, sizeof(row));
    assert_int_equal(act(w, TASK_TAKE, row, "", "", ""), 404);
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 409);
    assert_true(says("name one by its id"));
    assert_non_null(strstr(deed.text.data, "2310 mL/min"));
    assert_non_null(strstr(deed.text.data, "ulcer"));
}

static void found_in_silence_is_not_acted_on(void **state)
{
    struct world *w = world(state);
    char fid[64];

    w->review.silent = true;
    flow(w, "2240", 9, ACCESS);
    flow(w, "2310", 2, ACCESS);
    world_review(w);
    world_text(w,
               "SELECT r.fid FROM episode e JOIN resource r ON r.id = e.task",
               fid, sizeof(fid));
    assert_int_equal(act(w, TASK_TAKE, fid, "", "", ""), 409);
    assert_true(says("silent"));
    assert_int_equal(act(w, TASK_TAKE, "A-7", "", "", ""), 409);
    assert_int_equal(deeds(w), 0);
}

#define DEED_TEST(f) cmocka_unit_test_setup_teardown(f, start, finish)

int main(void)
{
    const struct CMUnitTest tests[] = {
        DEED_TEST(taken_in_hand),
        DEED_TEST(handed_over_is_still_open),
        DEED_TEST(handed_on_by_whoever_has_it),
        DEED_TEST(handed_over_it_is_escalated),
        DEED_TEST(handed_over_by_a_client),
        DEED_TEST(handed_over_beside_a_worse_one),
        DEED_TEST(not_out_of_another_s_hands_without_a_word),
        DEED_TEST(declined_for_another_with_their_name),
        DEED_TEST(what_was_handed_to_another_is_theirs),
        DEED_TEST(not_out_of_nobody_s_hands_either),
        DEED_TEST(what_was_done_about_an_emergency_is_said),
        DEED_TEST(the_answer_says_of_whom_it_is),
        DEED_TEST(put_off_until_its_day),
        DEED_TEST(not_for_longer_than_the_policy_says),
        DEED_TEST(escalated_after_the_day_it_was_put_off_to),
        DEED_TEST(corrected_while_it_is_put_off),
        DEED_TEST(back_at_once_when_it_worsens),
        DEED_TEST(days_that_are_none),
        DEED_TEST(not_what_is_to_be_seen_at_once),
        DEED_TEST(not_what_is_in_hand_nor_a_reminder),
        DEED_TEST(declined_with_a_reason),
        DEED_TEST(done_by_way_of_accepted),
        DEED_TEST(by_the_rules_of_tasks),
        DEED_TEST(which_task_is_meant),
        DEED_TEST(found_in_silence_is_not_acted_on),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

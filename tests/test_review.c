/* From readings to Tasks, and what becomes of them. */
#include "service/patients.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"
#define LOW_TASK  "refer-low-flow-review"
#define HAND_TASK "refer-hand-review"
#define AGAIN     "repeat-digital-pressure"

/* A patient with a fistula in the left arm. */
static int start(void **state)
{
    world_start(state);
    world_has_access(*state);
    return 0;
}

/* A flow is measured now, after so many days. */
static void flow(struct world *w, double after_d, const char *value)
{
    world_now_s += (int64_t)(after_d * 86400);
    assert_int_equal(world_post(w, OBS(.value = value, .access = ACCESS)), 201);
    world_review(w);
}

static void high_flow(struct world *w)
{
    flow(w, 0, "2240");
    flow(w, 7, "2310");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
}

/* Accesses to be reviewed now, or in a minute, since their review failed. */
static int waiting(struct world *w)
{
    int n;

    assert_int_equal(db_first(w->db, Q_NEWS_COUNT, "i", world_now_ms() + 60000),
                     ERR_OK);
    n = (int)db_int(w->db, Q_NEWS_COUNT, 0);
    db_done(w->db, Q_NEWS_COUNT);
    return n;
}

/* ---- opening and adding --------------------------------------------------- */

static void two_high_flows_open_one_task(void **state)
{
    struct world *w = world(state);

    flow(w, 0, "2240");
    assert_int_equal(world_tasks(w, NULL, NULL), 0); /* one is not confirmed */
    assert_false(w->told);
    flow(w, 7, "2310");
    assert_true(w->told);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "/rules/HF-1|1"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "\"priority\":\"routine\""),
                     1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "Patient/p-1"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, ACCESS), 1);
    /* both readings stand in it, the newest also as its reason */
    assert_int_equal(world_task_says(w, FLOW_TASK, "Observation/"), 3);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM decision d JOIN episode e ON"
                       " e.task = d.task AND e.access = d.access WHERE"
                       " d.act = 1 AND d.policy LIKE '1 (____-__-__, %)' AND "
                       "d.task_ver = 1 AND"
                       " length(d.evidence) - length(replace(d.evidence, ' ',"
                       " '')) = 1"),
        1);
}

static void a_third_reading_is_added(void **state)
{
    struct world *w = world(state);
    struct buf json;
    struct resource row;

    high_flow(w);
    flow(w, 7, "2400");
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "2400 mL/min") > 0, 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM evidence"), 3);
    buf_init(&json, 1 << 20);
    row = world_task(w, FLOW_TASK, &json);
    assert_int_equal(row.version, 2);
    buf_clear(&json);
    /* a reading that says nothing new leaves it alone */
    flow(w, 7, "1950");
    buf_init(&json, 1 << 20);
    row = world_task(w, FLOW_TASK, &json);
    assert_int_equal(row.version, 2);
    buf_clear(&json);
}

/* A crash between the two commits repeats the review: nothing is doubled. */
static void a_review_may_be_repeated(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(db_run(w->db, Q_NEWS_OF_PATIENT, "i", INT64(1)),
                         ERR_OK);
        world_review(w);
        assert_false(w->told);
    }
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision"), 1);
    assert_int_equal(waiting(w), 0);
}

static void what_is_old_raises_nothing(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.value = "2240", .access = ACCESS,
                                       .ago_h = 60 * DAYS)),
                     201);
    assert_int_equal(world_post(w, OBS(.value = "2310", .access = ACCESS,
                                       .ago_h = 40 * DAYS)),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
}

static void preliminary_confirms_nothing_but_an_emergency(void **state)
{
    struct world *w = world(state);

    flow(w, 0, "2240");
    world_now_s += 7 * 86400;
    assert_int_equal(world_post(w, OBS(.value = "2310", .access = ACCESS,
                                       .status = "preliminary")),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "hand-ulcer",
                          .access = ACCESS, .status = "preliminary")),
        201);
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
    assert_int_equal(world_task_says(w, HAND_TASK, "\"priority\":\"stat\""), 1);
}

/* ---- ending --------------------------------------------------------------- */

static void a_correction_takes_an_untouched_task_back(void **state)
{
    struct world *w = world(state);

    flow(w, 0, "2240");
    world_now_s += 7 * 86400;
    assert_int_equal(
        world_put(w, "o2", OBS(.id = "o2", .value = "2310", .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_put(w, "o2",
                               OBS(.id = "o2", .value = "1310",
                                   .status = "corrected", .access = ACCESS)),
                     200);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "\"status\":\"cancelled\""),
                     1);
    assert_int_equal(
        world_task_says(w, FLOW_TASK,
                        "\"statusReason\":{\"text\":\"A reading it "
                        "rested on was corrected or withdrawn"),
        1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM decision WHERE act = 3"), 1);
    /* when it holds again, a new one opens, with a key of its own */
    assert_int_equal(world_put(w, "o2",
                               OBS(.id = "o2", .value = "2320",
                                   .status = "corrected", .access = ACCESS)),
                     200);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_count(w, "SELECT count(DISTINCT key) FROM task"), 2);
}

/* Work that a person has taken on is never cancelled: a note, said once. */
static void a_task_in_hand_is_only_annotated(void **state)
{
    struct world *w = world(state);
    struct resource row;
    struct buf json;

    high_flow(w);
    world_person(w, FLOW_TASK, "accepted");
    flow(w, 7, "1200");
    flow(w, 7, "1150"); /* back inside, twice */
    assert_int_equal(world_tasks(w, FLOW_TASK, "accepted"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "A person has this in hand"),
                     1);
    buf_init(&json, 1 << 20);
    row = world_task(w, FLOW_TASK, &json);
    flow(w, 7, "1180");
    flow(w, 7, "1210");
    buf_clear(&json);
    assert_int_equal(world_task(w, FLOW_TASK, &json).version, row.version);
    buf_clear(&json);
    assert_int_equal(world_task_says(w, FLOW_TASK, "A person has this in hand"),
                     1);
}

static void low_flow_closes_high_flow(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    flow(w, 14, "420");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    flow(w, 7, "400");
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK,
                                     "\"statusReason\":{\"text\":\"A low flow "
                                     "has been confirmed since"),
                     1);
    assert_int_equal(world_tasks(w, LOW_TASK, "requested"), 1);
    assert_int_equal(
        world_count(w, "SELECT reason FROM decision WHERE act = 3"), 2);
}

static void an_access_that_is_given_up_ends_its_tasks(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    assert_int_equal(
        world_put(w, "acc-7",
                  ACC(.id = "acc-7", .identifier = "A-7", .inactive = true)),
        200);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    flow(w, 1, "2500"); /* and nothing more is said of it */
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
}

/* ---- what people decide --------------------------------------------------- */

/* Rejected is quiet; two flows 15 % beyond what was rejected open anew. */
static void rejected_is_quiet_until_it_worsens(void **state)
{
    struct world *w = world(state);

    high_flow(w); /* at most 2310 */
    world_person(w, FLOW_TASK, "rejected");
    flow(w, 7, "2320");
    flow(w, 7, "2640"); /* not 15 % beyond 2310, which is 2656.5 */
    flow(w, 7, "2640");
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    flow(w, 7, "2700"); /* once */
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    flow(w, 7, "2660"); /* twice */
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, FLOW_TASK, "rejected"), 1);
    assert_int_equal(world_count(w, "SELECT max(number) FROM episode"), 2);
}

/* A higher urgency reopens at once: here a sign of heart failure. */
static void rejected_reopens_when_more_urgent(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    world_person(w, FLOW_TASK, "rejected");
    flow(w, 7, "2320");
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_post(w, OBS(.code = "heart-failure-sign",
                                       .sign = "heart-failure-admission")),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "\"priority\":\"asap\""), 1);
}

static void what_was_entered_in_error_stays_void(void **state)
{
    static const char *const statuses[] = { "entered-in-error", "completed",
                                            "failed", "cancelled" };

    for (size_t i = 0; i < COUNT(statuses); i++) {
        struct world *w;

        ROW(statuses[i]);
        start(state);
        w = world(state);
        high_flow(w);
        world_person(w, FLOW_TASK, statuses[i]);
        assert_int_equal(db_run(w->db, Q_NEWS_OF_PATIENT, "i", INT64(1)),
                         ERR_OK);
        flow(w, 7, "2330");
        assert_int_equal(world_tasks(w, NULL, NULL), 1);
        assert_int_equal(world_tasks(w, FLOW_TASK, statuses[i]), 1);
        world_stop(state);
    }
}

/* ---- measure again -------------------------------------------------------- */

static void finger(struct world *w, double after_d, const char *value)
{
    world_now_s += (int64_t)(after_d * 86400);
    assert_int_equal(
        world_post(w, OBS(.code = "digital-pressure", .value = value,
                          .unit = "mm[Hg]", .access = ACCESS)),
        201);
    world_review(w);
}

/* A low finger pressure in a hand that is cold: asked to be repeated. */
static void reminded(struct world *w)
{
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "coldness",
                          .access = ACCESS, .ago_h = 1)),
        201);
    finger(w, 0, "45");
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    /* within 14 days */
    assert_int_equal(world_task_says(w, AGAIN, "\"valueDate\":\"2026-03-20\""),
                     1);
}

static void a_reminder_closes_when_it_is_confirmed(void **state)
{
    struct world *w = world(state);

    reminded(w);
    finger(w, 7, "48");
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 0);
    assert_int_equal(world_tasks(w, AGAIN, "completed"), 1);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 2);
}

static void a_reminder_closes_when_it_is_not_confirmed(void **state)
{
    struct world *w = world(state);

    reminded(w);
    finger(w, 3, "85");
    finger(w, 3, "90");
    assert_int_equal(world_tasks(w, AGAIN, "completed"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
}

/* The session for it may be booked: that is a person's work as well. */
static void a_reminder_in_hand_is_not_cancelled(void **state)
{
    struct world *w = world(state);

    reminded(w);
    world_person(w, AGAIN, "accepted");
    finger(w, 7, "48");
    assert_int_equal(world_tasks(w, AGAIN, "accepted"), 1);
    assert_int_equal(world_task_says(w, AGAIN, "\"status\":\"accepted\""), 1);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
}

static void a_reminder_refused_is_not_repeated(void **state)
{
    struct world *w = world(state);

    reminded(w);
    world_person(w, AGAIN, "rejected");
    assert_int_equal(db_run(w->db, Q_NEWS_OF_PATIENT, "i", INT64(1)), ERR_OK);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
}

/* ---- faults --------------------------------------------------------------- */

/* An access whose review fails is put off; the others are not kept waiting. */
static void one_that_fails_does_not_block_others(void **state)
{
    struct world *w = world(state);
    int64_t patient;

    assert_int_equal(
        world_put(w, "acc-2", ACC(.id = "acc-2", .patient = "Patient/p-2")),
        201);
    for (int i = 0; i < 2; i++) {
        flow(w, 7, "2240");
        assert_int_equal(
            world_post(w, OBS(.value = "2310", .access = "BodyStructure/acc-2",
                              .patient = "Patient/p-2")),
            201);
        if (i == 0)
            world_review(w);
    }
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(patient_find(w->db, "Patient/p-1", NULL, NULL, &patient),
                     ERR_OK);
    assert_int_equal(world_post(w, OBS(.value = "2400", .access = ACCESS)),
                     201);
    /* its patient is gone: damage that only this access has */
    assert_int_equal(db_run(w->db, Q_PATIENT_REMOVE, "i", patient), ERR_OK);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 2);
    assert_int_equal(waiting(w), 1);
    assert_int_equal(
        db_run(w->db, Q_PATIENT_ADD, "iis", patient, INT64(0), "r:Patient/p-1"),
        ERR_OK);
    world_review(w); /* not yet */
    assert_int_equal(waiting(w), 1);
    world_now_s += 61;
    world_review(w);
    assert_int_equal(waiting(w), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM evidence"), 5);
}

/* ---- going out ------------------------------------------------------------ */

static void deliveries_only_where_there_is_a_record(void **state)
{
    static const bool records[] = { false, true };

    for (size_t i = 0; i < COUNT(records); i++) {
        struct world *w;

        start(state);
        w = world(state);
        w->review.record = records[i];
        high_flow(w);
        assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"),
                         records[i]);
        flow(w, 7, "2400");
        assert_int_equal(
            world_count(w, "SELECT coalesce(max(wanted), 0) FROM outbox"),
            records[i] ? 2 : 0);
        world_stop(state);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(two_high_flows_open_one_task),
        TEST(a_third_reading_is_added),
        TEST(a_review_may_be_repeated),
        TEST(what_is_old_raises_nothing),
        TEST(preliminary_confirms_nothing_but_an_emergency),
        TEST(a_correction_takes_an_untouched_task_back),
        TEST(a_task_in_hand_is_only_annotated),
        TEST(low_flow_closes_high_flow),
        TEST(an_access_that_is_given_up_ends_its_tasks),
        TEST(rejected_is_quiet_until_it_worsens),
        TEST(rejected_reopens_when_more_urgent),
        cmocka_unit_test(what_was_entered_in_error_stays_void),
        TEST(a_reminder_closes_when_it_is_confirmed),
        TEST(a_reminder_closes_when_it_is_not_confirmed),
        TEST(a_reminder_in_hand_is_not_cancelled),
        TEST(a_reminder_refused_is_not_repeated),
        TEST(one_that_fails_does_not_block_others),
        cmocka_unit_test(deliveries_only_where_there_is_a_record),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

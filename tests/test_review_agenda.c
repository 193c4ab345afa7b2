/* What time alone makes due: the next review, what is overdue, what nobody
 * answers. */
#include "adapters/task_codes.h"
#include "service/episodes.h"
#include "service/news.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"
#define AGAIN     "repeat-digital-pressure"

enum { A_DAY = 86400 };

static int start(void **state)
{
    world_start(state);
    world_has_access(*state);
    return 0;
}

static void finger(struct world *w, double after_d, const char *value)
{
    world_now_s += (int64_t)(after_d * A_DAY);
    assert_int_equal(
        world_post(w, OBS(.code = "digital-pressure", .value = value,
                          .unit = "mm[Hg]", .access = ACCESS)),
        201);
    world_review(w);
}

/* A low finger pressure in a cold hand: to be repeated within 14 days. */
static void reminded(struct world *w)
{
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "coldness",
                          .access = ACCESS, .ago_h = 1)),
        201);
    finger(w, 0, "45");
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
}

static void high_flow(struct world *w)
{
    static const char *const values[] = { "2240", "2310" };

    for (size_t i = 0; i < COUNT(values); i++) {
        world_now_s += 7 * A_DAY;
        assert_int_equal(
            world_post(w, OBS(.value = values[i], .access = ACCESS)), 201);
        world_review(w);
    }
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

static long long next_ms(struct world *w)
{
    return world_count(w, "SELECT coalesce(min(since_ms), 0) FROM news");
}

static int due_now(struct world *w)
{
    int n;

    assert_int_equal(db_first(w->db, Q_NEWS_COUNT, "i", world_now_ms()),
                     ERR_OK);
    n = (int)db_int(w->db, Q_NEWS_COUNT, 0);
    db_done(w->db, Q_NEWS_COUNT);
    return n;
}

/* ---- the next review ------------------------------------------------------ */

static void a_mark_is_only_made_earlier(void **state)
{
    static const struct {
        const char *name;
        int64_t due_ms, want_ms;
    } cases[] = { { "the first", 5000, 5000 },
                  { "later", 6000, 5000 },
                  { "earlier", 4000, 4000 },
                  { "the same", 4000, 4000 } };
    struct world *w = world(state);

    world_review(w);
    assert_int_equal(db_run(w->db, Q_NEWS_REMOVE, "i", INT64(77)), ERR_OK);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        assert_int_equal(news_mark(w->db, 77, cases[i].due_ms), ERR_OK);
        assert_int_equal(
            world_count(w, "SELECT since_ms FROM news WHERE access = 77"),
            cases[i].want_ms);
    }
}

static void nothing_to_wait_for_leaves_no_mark(void **state)
{
    struct world *w = world(state);

    assert_int_equal(due_now(w), 1); /* the access has come */
    world_review(w);
    assert_int_equal(next_ms(w), 0);
}

static void a_reminder_is_looked_at_on_its_day(void **state)
{
    struct world *w = world(state);

    reminded(w);
    assert_int_equal(next_ms(w), (world_now_s + 14 * A_DAY) * 1000);
    assert_int_equal(due_now(w), 0); /* nothing waits by now */
    world_now_s += 14 * A_DAY - 1;
    world_review(w);
    assert_false(w->told);
    /* new readings come first, and find the next moment again */
    assert_int_equal(news_mark(w->db, 2, 0), ERR_OK);
    world_now_s += 1;
    assert_true(due_now(w) >= 1);
}

static void give_up(struct world *w)
{
    assert_true(next_ms(w) > 0);
    assert_int_equal(
        world_put(w, "acc-7",
                  ACC(.id = "acc-7", .identifier = "A-7", .inactive = true)),
        200);
    world_review(w);
}

static void one_not_in_use_has_no_agenda(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    give_up(w);
    assert_int_equal(next_ms(w), 0);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 0);
}

/* The hand is looked at as before. */
static void one_not_in_use_keeps_that_of_the_hand(void **state)
{
    struct world *w = world(state);

    reminded(w);
    give_up(w);
    assert_int_equal(next_ms(w), (world_now_s + 14 * A_DAY) * 1000);
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
}

/* ---- overdue -------------------------------------------------------------- */

static void what_is_overdue_is_said_once(void **state)
{
    struct world *w = world(state);

    reminded(w);
    assert_int_equal(world_task_says(w, AGAIN, "\"priority\":\"routine\"") +
                         world_task_says(w, AGAIN, "\"priority\":\"urgent\""),
                     1);
    world_now_s += 14 * A_DAY + 60;
    world_review(w);
    assert_true(w->told);
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
    assert_int_equal(world_task_says(w, AGAIN, "this is overdue"), 1);
    assert_int_equal(world_task_says(w, AGAIN, "\"priority\":\"routine\""), 0);
    assert_int_equal(world_count(w, "SELECT overdue FROM repeat"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE"
                                    " reminder = 1 AND act = 2 AND how = 4"),
                     1);
    for (int day = 0; day < 20; day++) {
        world_now_s += A_DAY;
        world_review(w);
    }
    assert_int_equal(world_task_says(w, AGAIN, "this is overdue"), 1);
}

/* A person's own priority is theirs. */
static void one_in_hand_gets_a_note_only(void **state)
{
    struct world *w = world(state);

    reminded(w);
    world_person(w, AGAIN, "accepted");
    world_now_s += 15 * A_DAY;
    world_review(w);
    assert_int_equal(world_tasks(w, AGAIN, "accepted"), 1);
    assert_int_equal(world_task_says(w, AGAIN, "this is overdue"), 1);
    assert_int_equal(world_count(w, "SELECT state FROM repeat"), EPISODE_TAKEN);
}

/* ---- done ----------------------------------------------------------------- */

static void what_was_asked_for_has_come(void **state)
{
    struct world *w = world(state);

    reminded(w);
    finger(w, 3, "85");
    finger(w, 3, "90");
    assert_int_equal(world_tasks(w, AGAIN, "completed"), 1);
    assert_int_equal(world_task_says(w, AGAIN, "\"status\":\"completed\""), 1);
    assert_int_equal(
        world_task_says(w, AGAIN,
                        "\"statusReason\":{\"text\":\"What was asked for"),
        1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE"
                                    " reminder = 1 AND act = 3 AND how = 5"),
                     1);
}

static void what_asked_for_it_was_withdrawn(void **state)
{
    struct world *w = world(state);
    const char *low = OBS(.id = "o1", .code = "digital-pressure", .value = "45",
                          .unit = "mm[Hg]", .access = ACCESS);

    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "coldness",
                          .access = ACCESS, .ago_h = 1)),
        201);
    assert_int_equal(world_put(w, "o1", low), 201);
    world_review(w);
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
    assert_int_equal(world_put(w, "o1",
                               OBS(.id = "o1", .code = "digital-pressure",
                                   .status = "entered-in-error", .value = "45",
                                   .unit = "mm[Hg]", .access = ACCESS)),
                     200);
    world_review(w);
    assert_int_equal(world_tasks(w, AGAIN, "cancelled"), 1);
}

/* ---- visits after a band -------------------------------------------------- */

/* What a first visit asks for, at once. */
static void visited(struct world *w)
{
    assert_int_equal(world_post(w, OBS(.code = "thrill", .sign = "present",
                                       .access = ACCESS)),
                     201);
    assert_int_equal(
        world_post(w, OBS(.code = "qb", .value = "300", .access = ACCESS)),
        201);
    assert_int_equal(
        world_post(w, OBS(.code = "arterial-line-pressure", .value = "-150",
                          .unit = "mm[Hg]", .access = ACCESS)),
        201);
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "no-complaint",
                          .access = ACCESS)),
        201);
    assert_int_equal(world_post(w, OBS(.value = "900", .access = ACCESS)), 201);
    assert_int_equal(
        world_post(w, OBS(.code = "spktv", .value = "1.5", .unit = "1")), 201);
    world_review(w);
}

static void a_visit_is_asked_for_and_recorded(void **state)
{
    struct world *w = world(state);
    const char *code = task_code_follow_up()->code;
    long long first;

    assert_int_equal(world_post(w, OBS(.code = "access-intervention",
                                       .sign = "banded", .access = ACCESS)),
                     201);
    world_review(w);
    for (int day = 0; day < 10 && world_tasks(w, code, NULL) == 0; day++) {
        world_now_s += A_DAY;
        world_review(w);
    }
    assert_int_equal(world_tasks(w, code, "requested"), 1);
    assert_int_equal(world_task_says(w, code, "\"priority\":\"routine\""), 1);
    assert_int_equal(world_task_says(w, code, "\"rules/PB-1|") +
                         world_task_says(w, code, "/rules/PB-1|"),
                     1);
    assert_int_equal(world_task_says(w, code, "\"period\":{\"start\":"), 1);
    first = world_count(w, "SELECT max(occasion) FROM repeat");
    assert_true(first > 0);
    visited(w);
    assert_true(world_tasks(w, code, "completed") >= 1);
    /* and in time the next one */
    for (int day = 0; day < 60 && world_tasks(w, code, "requested") == 0;
         day++) {
        world_now_s += A_DAY;
        world_review(w);
    }
    assert_int_equal(world_tasks(w, code, "requested"), 1);
    assert_true(world_count(w, "SELECT max(occasion) FROM repeat") > first);
}

/* Nobody comes: it is said, once, and then put to people as a matter of its
 * own. */
static void a_visit_that_nobody_makes(void **state)
{
    struct world *w = world(state);
    const char *code = task_code_follow_up()->code;

    assert_int_equal(world_post(w, OBS(.code = "access-intervention",
                                       .sign = "banded", .access = ACCESS)),
                     201);
    world_review(w);
    for (int day = 0; day < 150; day++) {
        world_now_s += A_DAY;
        world_review(w);
        assert_true(world_tasks(w, code, "requested") <= 1);
    }
    assert_true(world_count(w, "SELECT count(*) FROM decision WHERE how = 4") +
                    world_tasks(w, "refer-follow-up", NULL) >
                0);
}

/* ---- unanswered ----------------------------------------------------------- */

static void what_nobody_answers_is_put_again(void **state)
{
    struct world *w = world(state);
    int64_t wait_s;
    long long due_s;

    wait_s = (int64_t)policy_count(&w->policy, P_UNANSWERED_D) * A_DAY;
    high_flow(w);
    due_s = world_count(w, "SELECT due_s FROM episode");
    assert_int_equal(next_ms(w), (world_now_s + wait_s) * 1000);
    world_now_s += wait_s;
    world_review(w);
    assert_true(w->told);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE"
                                    " act = 2 AND how = 3"),
                     1);
    assert_int_equal(world_count(w, "SELECT announced_s FROM episode"),
                     world_now_s);
    assert_int_equal(world_count(w, "SELECT due_s FROM episode"),
                     due_s + wait_s);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    /* and not again at once */
    world_review(w);
    assert_false(w->told);
    assert_int_equal(next_ms(w), (world_now_s + wait_s) * 1000);
}

/* How long is our own proposal (policy, general.escalate_*_h). */
static void what_nobody_takes_is_escalated(void **state)
{
    struct world *w = world(state);
    int64_t wait_s =
        (int64_t)policy_count(&w->policy, P_ESCALATE_ASAP_H) * 3600;

    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "pain-at-rest",
                          .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM task WHERE priority = 'asap'"), 1);
    assert_true(next_ms(w) <= (world_now_s + wait_s) * 1000);
    world_now_s += wait_s;
    world_review(w);
    assert_true(w->told);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM task WHERE priority = 'stat'"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE"
                                    " act = 2 AND how = 8"),
                     1);
    assert_int_equal(world_count(w, "SELECT escalated FROM episode"), 1);
    assert_int_equal(world_task_says(w, NULL,
                                     "Nobody has taken this Task in "
                                     "hand within 24 hours"),
                     1);
    /* once; and by nobody's change is it more or less */
    world_now_s += wait_s;
    world_review(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE"
                                    " act = 2 AND how = 8"),
                     1);
}

/* ---- a change of policy --------------------------------------------------- */

static void another_policy_is_looked_at_by_every_access(void **state)
{
    struct world *w = world(state);

    world_review(w);
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    world_review(w);
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(due_now(w), 0); /* the same as before */
    snprintf(w->policy.version, sizeof(w->policy.version), "next");
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(due_now(w), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(a_mark_is_only_made_earlier),
        TEST(nothing_to_wait_for_leaves_no_mark),
        TEST(a_reminder_is_looked_at_on_its_day),
        TEST(one_not_in_use_has_no_agenda),
        TEST(one_not_in_use_keeps_that_of_the_hand),
        TEST(what_is_overdue_is_said_once),
        TEST(one_in_hand_gets_a_note_only),
        TEST(what_was_asked_for_has_come),
        TEST(what_asked_for_it_was_withdrawn),
        TEST(a_visit_is_asked_for_and_recorded),
        TEST(a_visit_that_nobody_makes),
        TEST(what_nobody_answers_is_put_again),
        TEST(what_nobody_takes_is_escalated),
        TEST(another_policy_is_looked_at_by_every_access),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

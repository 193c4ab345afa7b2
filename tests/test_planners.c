/*
 * Plans that are made beside the store's thread: they are those that are made
 * within it, what comes meanwhile is in them, nothing waits that must not, and
 * nothing is lost when it ends.
 *
 * The same store without planners is what all is compared with; what a plan
 * has to say is the matter of test_plan and test_review_plan.
 */
#include "adapters/fhir_plan.h"
#include "service/companions.h"
#include "service/planners.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>
#include <semaphore.h>
#include <stdlib.h>

#define FLOW_TASK "refer-flow-review"
#define HAND_TASK "refer-hand-review"

enum { A_DAY = 86400, JSON_ROOM = 1 << 20 };

/* The libraries that draw are not built for the thread sanitizer, which does not
 * see what they lock. */
#ifdef __SANITIZE_THREAD__
const char *__tsan_default_suppressions(void);

const char *__tsan_default_suppressions(void)
{
    return "race:libglib-2.0\nrace:libgobject-2.0\nrace:libpango\n"
           "race:libfontconfig\nrace:libcairo\nrace:libharfbuzz\n"
           "race:libfreetype\nrace:libpixman\n";
}
#endif

static sem_t made;

static void on_made(void *arg)
{
    sem_post(arg);
}

static int open_world(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    assert_int_equal(planning_open(&w->review.planning), ERR_OK);
    w->review.companions = (struct companion_options){ .documents = true,
                                                       .worksheets = true,
                                                       .inline_max = 262144 };
    world_has_access(w);
    return 0;
}

static int start(void **state)
{
    struct world *w;

    open_world(state);
    w = *state;
    sem_init(&made, 0, 0);
    assert_int_equal(planners_open(&w->review.planners), ERR_OK);
    planners_tell(w->review.planners, on_made, &made);
    return 0;
}

static int stop(void **state)
{
    struct world *w = *state;

    planners_stop(w->review.planners);
    planners_close(w->review.planners);
    planning_close(w->review.planning);
    return world_stop(state);
}

/* ---- sending -------------------------------------------------------------------- */

/* Each with an id of its own, which the documents name. */
static void number(struct world *w, const char *id, const char *code,
                   const char *value, const char *unit)
{
    assert_int_equal(world_put(w, id,
                               OBS(.id = id, .code = code, .value = value,
                                   .unit = unit, .access = ACCESS)),
                     201);
}

/* HF-1: two flows of at least 2000 mL/min, a week apart; the second of them is
 * not reviewed yet. */
static void two_high_flows(struct world *w)
{
    world_now_s += 7 * A_DAY;
    number(w, "flow-1", "access-flow", "2400", "mL/min");
    world_review(w);
    world_now_s += 7 * A_DAY;
    number(w, "flow-2", "access-flow", "2500", "mL/min");
    number(w, "pressure-1", "mean-pressure", "95", "mm[Hg]");
}

static void wait_made(void)
{
    while (sem_wait(&made) != 0)
        ;
}

/* Reviews as a service does: again when something was made. */
static void review_to_the_end(struct world *w)
{
    world_review(w);
    while (planners_under_way(w->review.planners) > 0) {
        wait_made();
        world_review(w);
    }
}

/* ---- looking --------------------------------------------------------------------- */

static long long tasks(struct world *w)
{
    return world_tasks(w, FLOW_TASK, NULL);
}

/* The plan in the Task, and what its document holds: text, page, data; JSON. */
struct seen {
    struct buf plan;
    char *content;
};

static char *content_of(const struct buf *document)
{
    json_t *tree = json_loadb(document->data, document->len, 0, NULL);
    char *content =
        json_dumps(json_object_get(tree, "content"), JSON_INDENT(1));

    assert_non_null(content);
    assert_int_equal(json_array_size(json_object_get(tree, "content")), 3);
    json_decref(tree);
    return content;
}

static struct seen see(struct world *w)
{
    struct companion c;
    struct resource row;
    struct buf task, document;
    struct seen s;

    buf_init(&s.plan, TASK_MAX);
    buf_init(&task, TASK_MAX);
    buf_init(&document, TASK_MAX);
    assert_int_equal(tasks(w), 1);
    row = world_task(w, FLOW_TASK, &task);
    assert_int_equal(fhir_plan_of_task(task.data, task.len, &s.plan), ERR_OK);
    assert_int_equal(companion_get(w->db, row.id, FHIR_DOCUMENT_REFERENCE, &c),
                     ERR_OK);
    assert_int_equal(companion_body(w->db, &c, &document), ERR_OK);
    s.content = content_of(&document);
    buf_clear(&document);
    buf_clear(&task);
    return s;
}

/* What comes to a store without planners by the same steps. */
static struct seen expected(void (*steps)(struct world *w))
{
    void *state;
    struct seen s;
    int64_t now_s = world_now_s;
    struct world *w;

    assert_int_equal(open_world(&state), 0);
    w = state;
    steps(w);
    s = see(w);
    stop(&state);
    world_now_s = now_s;
    return s;
}

static void expect_same(struct world *w, void (*steps)(struct world *w))
{
    struct seen here = see(w), there = expected(steps);

    assert_true(here.plan.len > 0);
    assert_string_equal(here.plan.data, there.plan.data);
    assert_string_equal(here.content, there.content);
    buf_clear(&here.plan);
    buf_clear(&there.plan);
    free(here.content);
    free(there.content);
}

/* ---- tests ----------------------------------------------------------------------- */

static void two_flows_reviewed(struct world *w)
{
    two_high_flows(w);
    world_review(w);
}

static void a_plan_made_beside_is_that_made_within(void **state)
{
    struct world *w = *state;

    two_high_flows(w);
    world_review(w);
    assert_int_equal(tasks(w), 0);
    assert_int_equal(planners_under_way(w->review.planners), 1);
    review_to_the_end(w);
    expect_same(w, two_flows_reviewed);
}

/* The Task stands and its plan is as it was: the document is not written anew,
 * and nothing waits. */
static void a_plan_that_stays_is_not_written_again(void **state)
{
    struct world *w = *state;
    long long versions;

    two_high_flows(w);
    review_to_the_end(w);
    versions = world_count(w, "SELECT count(*) FROM version");
    number(w, "note-1", "thrill", NULL, NULL);
    review_to_the_end(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM version"),
                     versions + 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM news WHERE since_ms "
                                    "<= 1772784720000 + 86400000 * 15"),
                     0);
}

static void pressure_and_review(struct world *w)
{
    two_high_flows(w);
    number(w, "pressure-2", "mean-pressure", "105", "mm[Hg]");
    world_review(w);
}

static void what_comes_meanwhile_is_in_it(void **state)
{
    struct world *w = *state;

    two_high_flows(w);
    world_review(w);
    number(w, "pressure-2", "mean-pressure", "105", "mm[Hg]");
    wait_made();
    world_review(w);
    assert_int_equal(tasks(w), 0); /* it is made once more */
    assert_int_equal(planners_under_way(w->review.planners), 1);
    review_to_the_end(w);
    expect_same(w, pressure_and_review);
}

/* Who is never left in peace has his Task all the same. */
static void it_is_not_made_in_vain_for_ever(void **state)
{
    struct world *w = *state;
    char id[24], value[8];
    int times = 0;

    two_high_flows(w);
    world_review(w);
    for (; tasks(w) == 0 && times < 10; times++) {
        snprintf(id, sizeof(id), "more-%d", times);
        snprintf(value, sizeof(value), "%d", 96 + times);
        number(w, id, "mean-pressure", value, "mm[Hg]");
        wait_made();
        world_review(w);
    }
    assert_int_equal(tasks(w), 1);
    assert_int_equal(times, 3);
    assert_int_equal(planners_under_way(w->review.planners), 0);
}

static void what_must_be_said_at_once_waits_for_no_plan(void **state)
{
    struct world *w = *state;

    two_high_flows(w);
    assert_int_equal(
        world_post(w, OBS(.code = "bleeding", .sign = "bleeding-prolonged",
                          .access = ACCESS)),
        201);
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(planners_under_way(w->review.planners), 0);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
    assert_int_equal(tasks(w), 1);
}

/* Nor for one that is under way already: it is made in vain. */
static void what_must_be_said_at_once_overtakes_it(void **state)
{
    struct world *w = *state;

    two_high_flows(w);
    world_review(w);
    assert_int_equal(tasks(w), 0);
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
    assert_int_equal(tasks(w), 1);
    wait_made();
    world_review(w);
    assert_int_equal(planners_under_way(w->review.planners), 0);
    assert_int_equal(tasks(w), 1);
}

/* As after a crash: what was under way is looked at again. */
static void nothing_is_lost_when_it_ends(void **state)
{
    struct world *w = *state;

    two_high_flows(w);
    world_review(w);
    planners_stop(w->review.planners);
    planners_close(w->review.planners);
    w->review.planners = NULL;
    world_review(w);
    assert_int_equal(tasks(w), 0);
    assert_int_equal(review_resume(w->db, world_now_ms()), ERR_OK);
    world_review(w);
    assert_int_equal(tasks(w), 1);
}

static void many_at_once_all_have_theirs(void **state)
{
    enum { MANY = 2 * PLANNERS_MOST };
    struct world *w = *state;

    for (int step = 0; step < 2; step++) {
        world_now_s += 7 * A_DAY;
        for (int i = 0; i < MANY; i++) {
            char person[16], access[16], focus[40], subject[40];

            snprintf(person, sizeof(person), "m-%d", i);
            snprintf(access, sizeof(access), "am-%d", i);
            snprintf(subject, sizeof(subject), "Patient/%s", person);
            snprintf(focus, sizeof(focus), "BodyStructure/%s", access);
            if (step == 0) {
                assert_int_equal(world_put(w, person, pat_json(person, person)),
                                 201);
                assert_int_equal(
                    world_put(w, access,
                              ACC(.id = access, .identifier = access,
                                  .patient = subject)),
                    201);
            }
            assert_int_equal(
                world_post(w, OBS(.value = "2450", .patient = subject,
                                  .access = focus)),
                201);
        }
        review_to_the_end(w);
    }
    assert_int_equal(tasks(w), MANY);
    assert_int_equal(world_count(w, "SELECT count(*) FROM companion "), MANY);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(a_plan_made_beside_is_that_made_within),
        CASE(a_plan_that_stays_is_not_written_again),
        CASE(what_comes_meanwhile_is_in_it),
        CASE(it_is_not_made_in_vain_for_ever),
        CASE(what_must_be_said_at_once_waits_for_no_plan),
        CASE(what_must_be_said_at_once_overtakes_it),
        CASE(nothing_is_lost_when_it_ends),
        CASE(many_at_once_all_have_theirs),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

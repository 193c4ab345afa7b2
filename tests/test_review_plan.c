/*
 * The band plan in a Task, and what is predicted of the hand, from readings to
 * Tasks in a real store: who gets a plan and who does not, when it is renewed,
 * what a person's Task keeps, a case as it runs, and the end of it.
 */
#include "adapters/fhir_plan.h"
#include "planner/rules.h"
#include "service/episodes.h"
#include "service/explain.h"
#include "service/resources.h"
#include "service/technique_store.h"
#include "tests/planning_kit.h"
#include "tests/test.h"

#include <jansson.h>

#define FLOW_TASK "refer-flow-review"
#define HAND_TASK "refer-hand-review"

enum { A_DAY = 86400, AN_HOUR = 3600 };

static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    assert_int_equal(planning_open(&w->review.planning), ERR_OK);
    world_has_access(w);
    return 0;
}

static int stop(void **state)
{
    struct world *w = *state;

    planning_close(w->review.planning);
    return world_stop(state);
}

/* ---- sending ----------------------------------------------------------------------- */

static void post(struct world *w, const char *json)
{
    assert_int_equal(world_post(w, json), 201);
}

static void number(struct world *w, const char *code, const char *value,
                   const char *unit)
{
    post(w, OBS(.code = code, .value = value, .unit = unit, .access = ACCESS));
}

static void flow(struct world *w, const char *value)
{
    number(w, "access-flow", value, "mL/min");
}

static void later(double days)
{
    world_now_s += (int64_t)(days * A_DAY);
}

/* HF-1: two flows of at least 2000 mL/min, a week apart. */
static void high_flow(struct world *w)
{
    later(7);
    flow(w, "2400");
    world_review(w);
    later(7);
    flow(w, "2500");
    number(w, "mean-pressure", "95", "mm[Hg]");
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

/* ---- looking ------------------------------------------------------------------------ */

static json_t *task_of(struct world *w, const char *code, struct resource *row)
{
    struct buf text;
    json_t *task;

    buf_init(&text, TASK_MAX);
    *row = world_task(w, code, &text);
    task = json_loadb(text.data, text.len, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(task);
    buf_clear(&text);
    return task;
}

static int version_of(struct world *w, const char *code)
{
    struct resource row;
    json_t *task = task_of(w, code, &row);

    json_decref(task);
    return row.version;
}

static const char *input_code(json_t *input)
{
    json_t *coding = json_object_get(json_object_get(input, "type"), "coding");

    return json_string_value(
        json_object_get(json_array_get(coding, 0), "code"));
}

static size_t plans_in(json_t *task)
{
    size_t count = 0, i;
    json_t *input;

    json_array_foreach(json_object_get(task, "input"), i, input) count +=
        strcmp(input_code(input), "plan") == 0;
    return count;
}

static bool has_plan(struct world *w, const char *code)
{
    struct resource row;
    json_t *task = task_of(w, code, &row);
    size_t count = plans_in(task);

    json_decref(task);
    assert_true(count <= 1);
    return count == 1;
}

/* The document in the newest Task of this code; to be given back. */
static json_t *plan_of(struct world *w, const char *code)
{
    struct buf task, text;
    json_t *plan;

    buf_init(&task, TASK_MAX);
    buf_init(&text, TASK_MAX);
    world_task(w, code, &task);
    assert_int_equal(fhir_plan_of_task(task.data, task.len, &text), ERR_OK);
    plan = json_loadb(text.data, text.len, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(plan);
    buf_clear(&text);
    buf_clear(&task);
    return plan;
}

static double plan_number(struct world *w, const char *code, const char *key)
{
    json_t *plan = plan_of(w, code), *value = json_object_get(plan, key);
    double number = json_is_number(value) ? json_number_value(value) : NAN;

    json_decref(plan);
    return number;
}

static size_t plan_stages(struct world *w, const char *code)
{
    json_t *plan = plan_of(w, code);
    size_t count = json_array_size(json_object_get(plan, "stages"));

    json_decref(plan);
    return count;
}

static void expect_note(struct world *w, const char *code, const char *says)
{
    struct resource row;
    json_t *task = task_of(w, code, &row);
    json_t *notes = json_object_get(task, "note");
    json_t *last = json_array_get(notes, json_array_size(notes) - 1);
    const char *text = json_string_value(json_object_get(last, "text"));

    if (text == NULL || strstr(text, says) == NULL)
        fail_msg("\"%s\" is not in: %s", says, text != NULL ? text : "");
    json_decref(task);
}

static void expect_status(struct world *w, const char *code, const char *status)
{
    struct resource row;
    json_t *task = task_of(w, code, &row);

    assert_string_equal(json_string_value(json_object_get(task, "status")),
                        status);
    json_decref(task);
}

/* ---- who gets one --------------------------------------------------------------------- */

static void a_candidate_gets_the_plan(void **state)
{
    struct world *w = world(state);
    struct resource row;
    json_t *task, *plan;

    high_flow(w);
    task = task_of(w, FLOW_TASK, &row);
    assert_int_equal(plans_in(task), 1);
    assert_int_equal(row.version, 1); /* with the referral, not after it */
    assert_non_null(
        strstr(json_string_value(json_object_get(task, "description")),
               "Band plan attached, as of 2026-03-20: provisional, first a "));
    json_decref(task);
    plan = plan_of(w, FLOW_TASK);
    assert_true(json_is_true(json_object_get(plan, "offered")));
    assert_true(json_number_value(json_object_get(plan, "first_dowel_mm")) > 2);
    assert_int_equal(json_array_size(json_object_get(plan, "stages")), 0);
    json_decref(plan);
}

/* The document is the one that a person gets who asks for the plan. */
static void it_is_the_plan_that_is_asked_for(void **state)
{
    struct world *w = world(state);
    struct planned *planned = calloc(1, sizeof(*planned));
    struct buf task, carried, asked;
    struct look look;
    struct resource access;

    assert_non_null(planned);
    high_flow(w);
    buf_init(&task, TASK_MAX);
    buf_init(&carried, TASK_MAX);
    buf_init(&asked, TASK_MAX);
    world_task(w, FLOW_TASK, &task);
    assert_int_equal(fhir_plan_of_task(task.data, task.len, &carried), ERR_OK);
    access = (struct resource){ .id = world_count(
                                    w, "SELECT access FROM episode LIMIT 1") };
    assert_int_equal(look_at(w->db, &w->review, access.id, &look), ERR_OK);
    assert_int_equal(planning_make(w->review.planning, w->db, &w->review, &look,
                                   NULL, planned),
                     ERR_OK);
    write_documents(w, &look, planned, &asked, NULL);
    assert_string_equal(carried.data, asked.data);
    look_clear(&look);
    buf_clear(&asked);
    buf_clear(&carried);
    buf_clear(&task);
    free(planned);
}

static void pain_and_flow(struct world *w, const char *flow_ml_min)
{
    later(7);
    post(w, OBS(.code = "hand-symptom", .sign = "pain-on-dialysis-intolerable",
                .access = ACCESS));
    flow(w, flow_ml_min);
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
}

static void a_hand_beside_a_high_flow_gets_one(void **state)
{
    struct world *w = world(state);

    pain_and_flow(w, "1700");
    assert_true(has_plan(w, HAND_TASK));
}

/* It gets the work-up instead. */
static void a_low_flow_steal_gets_none(void **state)
{
    struct world *w = world(state);

    pain_and_flow(w, "650");
    assert_false(has_plan(w, HAND_TASK));
    assert_int_equal(world_task_says(w, HAND_TASK, "Band plan"), 0);
    assert_true(world_task_says(w, HAND_TASK, "not suited to ischaemia") > 0);
}

static void nobody_else_gets_one(void **state)
{
    struct world *w = world(state);

    number(w, "pump-flow", "300", "mL/min");
    later(7);
    flow(w, "450");
    later(14);
    flow(w, "440");
    world_review(w);
    assert_int_equal(world_tasks(w, "refer-low-flow-review", "requested"), 1);
    assert_false(has_plan(w, "refer-low-flow-review"));
}

/* The finger stays short of blood with the access pressed shut: disease further
 * down, and no band plan. */
static void distal_disease_takes_it_out(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    assert_true(has_plan(w, FLOW_TASK));
    number(w, "digital-brachial-index-compressed", "0.45", "1");
    world_review(w);
    assert_false(has_plan(w, FLOW_TASK));
    expect_note(w, FLOW_TASK, "The band plan was taken out on 2026-03-20");
    expect_note(w, FLOW_TASK, "arterial disease further down");
    expect_status(w, FLOW_TASK, "requested");
}

/* A Task that says "phone now" has no plan beside it. */
static void an_emergency_of_the_hand_takes_it_out(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    post(w,
         OBS(.code = "hand-symptom", .sign = "hand-ulcer", .access = ACCESS));
    world_review(w);
    assert_false(has_plan(w, FLOW_TASK));
    assert_false(has_plan(w, HAND_TASK));
    expect_note(w, FLOW_TASK, "a sign of emergency of the hand stands");
}

static void without_planning_nothing_is_planned(void **state)
{
    struct world *w = world(state);
    struct planning *planning = w->review.planning;

    w->review.planning = NULL;
    high_flow(w);
    assert_false(has_plan(w, FLOW_TASK));
    w->review.planning = planning;
}

/* ---- when it is renewed ------------------------------------------------------------------ */

static void the_same_plan_makes_no_version(void **state)
{
    struct world *w = world(state);
    int before;

    high_flow(w);
    before = version_of(w, FLOW_TASK);
    /* looked at again, for a reading that no plan rests on */
    number(w, "spktv", "1.4", "1");
    world_review(w);
    assert_false(w->told);
    assert_int_equal(version_of(w, FLOW_TASK), before);
}

static void new_inputs_renew_it(void **state)
{
    struct world *w = world(state);
    json_t *plan;
    int before;

    high_flow(w);
    before = version_of(w, FLOW_TASK);
    number(w, "conduit-diameter", "8", "mm");
    world_review(w);
    assert_int_equal(version_of(w, FLOW_TASK), before + 1);
    assert_true(has_plan(w, FLOW_TASK));
    expect_note(w, FLOW_TASK,
                "Band plan renewed on 2026-03-20, changed: the diameter of the "
                "access");
    plan = plan_of(w, FLOW_TASK);
    assert_near(json_number_value(json_object_get(
                    json_object_get(plan, "inputs"), "conduit_mm")),
                8, 1e-9);
    json_decref(plan);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE how = "
                                    "7 AND act = 2"),
                     1);
}

/* A person switches the site's own beliefs about technique on, and off again: the
 * plan in the Task follows at the next review, without a reading. */
static void a_switch_of_beliefs_renews_it(void **state)
{
    static const char who[] = "Dr Fictional, lead for access";
    struct world *w = world(state);
    struct technique t = { .prior = prior_default,
                           .proposed = true,
                           .case_count = 10,
                           .tie_count = 12 };
    struct buf task, before, after;
    int version;

    high_flow(w);
    buf_init(&task, TASK_MAX);
    buf_init(&before, TASK_MAX);
    buf_init(&after, TASK_MAX);
    world_task(w, FLOW_TASK, &task);
    assert_int_equal(fhir_plan_of_task(task.data, task.len, &before), ERR_OK);
    version = version_of(w, FLOW_TASK);
    snprintf(t.prior.name, sizeof(t.prior.name), "site");
    t.prior.offset_mm.mean = 1.0; /* far tighter than the dowel */
    t.prior.offset_mm.sd = 0.1;
    assert_int_equal(technique_adopt(w->db, &t, who, "", world_now_ms()),
                     ERR_OK);
    world_review(w);
    assert_int_equal(version_of(w, FLOW_TASK), version + 1);
    expect_note(w, FLOW_TASK,
                "Band plan renewed on 2026-03-20, changed: the beliefs about "
                "technique");
    buf_empty(&task);
    world_task(w, FLOW_TASK, &task);
    assert_int_equal(fhir_plan_of_task(task.data, task.len, &after), ERR_OK);
    assert_non_null(strstr(before.data, "\"prior\":\"default\""));
    assert_non_null(strstr(after.data, "\"prior\":\"site\""));
    assert_non_null(strstr(after.data, "\"beliefs\":{\"offset_mm\":{\"mean\":1,"
                                       "\"sd\":0.1,"));
    assert_int_equal(technique_drop(w->db, who, world_now_ms()), ERR_OK);
    world_review(w);
    buf_empty(&task);
    buf_empty(&after);
    world_task(w, FLOW_TASK, &task);
    assert_int_equal(fhir_plan_of_task(task.data, task.len, &after), ERR_OK);
    assert_string_equal(after.data, before.data);
    buf_clear(&task);
    buf_clear(&before);
    buf_clear(&after);
}

/* Inputs of a person's Task are added to; the plan alone is replaced. */
static void a_person_keeps_the_rest(void **state)
{
    struct world *w = world(state);
    struct resource row;
    json_t *before, *after;
    const char *kept[] = { "status", "priority", "description", "restriction",
                           "code",   "for",      "focus",       "authoredOn" };

    high_flow(w);
    world_person(w, FLOW_TASK, "accepted");
    before = task_of(w, FLOW_TASK, &row);
    number(w, "conduit-diameter", "8", "mm");
    world_review(w);
    after = task_of(w, FLOW_TASK, &row);
    for (size_t i = 0; i < COUNT(kept); i++) {
        ROW(kept[i]);
        assert_true(json_equal(json_object_get(before, kept[i]),
                               json_object_get(after, kept[i])));
    }
    assert_int_equal(json_array_size(json_object_get(before, "input")),
                     json_array_size(json_object_get(after, "input")));
    assert_int_equal(plans_in(after), 1);
    assert_int_equal(json_array_size(json_object_get(after, "note")),
                     json_array_size(json_object_get(before, "note")) + 1);
    expect_note(w, FLOW_TASK, "Band plan renewed");
    json_decref(before);
    json_decref(after);
}

static void a_closed_task_is_left_alone(void **state)
{
    struct world *w = world(state);
    int before;

    high_flow(w);
    world_person(w, FLOW_TASK, "rejected");
    before = version_of(w, FLOW_TASK);
    number(w, "conduit-diameter", "8", "mm");
    world_review(w);
    assert_int_equal(version_of(w, FLOW_TASK), before);
}

/* One high flow alone is no ground: the Task goes, and its plan with it. */
static void a_withdrawn_reading_takes_the_plan_along(void **state)
{
    struct world *w = world(state);

    later(7);
    post(w, OBS(.identifier = "f-1", .value = "2400", .access = ACCESS));
    later(7);
    post(w, OBS(.identifier = "f-2", .value = "2500", .access = ACCESS));
    world_review(w);
    assert_true(has_plan(w, FLOW_TASK));
    assert_int_equal(
        world_post(w, OBS(.identifier = "f-2", .status = "entered-in-error",
                          .value = "2500", .access = ACCESS)),
        200);
    world_review(w);
    expect_status(w, FLOW_TASK, "cancelled");
    assert_false(has_plan(w, FLOW_TASK));
    expect_note(w, FLOW_TASK, "The band plan was taken out with its grounds");
}

static void a_corrected_reading_changes_the_plan(void **state)
{
    struct world *w = world(state);

    later(7);
    post(w, OBS(.identifier = "f-1", .value = "2400", .access = ACCESS));
    later(7);
    post(w, OBS(.identifier = "f-2", .value = "2500", .access = ACCESS));
    world_review(w);
    assert_int_equal(
        world_post(w, OBS(.identifier = "f-2", .status = "corrected",
                          .value = "2900", .access = ACCESS)),
        200);
    world_review(w);
    expect_note(w, FLOW_TASK, "changed: the flow before the band");
    assert_true(has_plan(w, FLOW_TASK));
}

/* plan.valid_d: flows of more than 60 days ago are not planned with; nothing
 * has to come for that. */
static void time_alone_takes_it_out(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    later(59);
    world_review(w);
    assert_true(has_plan(w, FLOW_TASK));
    later(1.1);
    world_review(w);
    assert_false(has_plan(w, FLOW_TASK));
    expect_note(w, FLOW_TASK, "the newest flow is too old to plan with");
    flow(w, "2450");
    world_review(w);
    assert_true(has_plan(w, FLOW_TASK));
}

/* ---- a case ------------------------------------------------------------------------------- */

/* What the room sends after a tie, as one Bundle. */
static void tie(struct world *w, const char *dowel_mm, const char *first,
                const char *second)
{
    const char *body = bundle_json(
        "batch",
        entry_json("POST", "Observation",
                   OBS(.code = "dowel-diameter", .value = dowel_mm,
                       .unit = "mm", .access = ACCESS, .ago_h = 0.05)),
        entry_json("POST", "Observation",
                   OBS(.value = first, .access = ACCESS, .ago_h = 0.02)),
        entry_json("POST", "Observation",
                   OBS(.value = second, .access = ACCESS, .ago_h = 0.01)),
        entry_json("POST", "Observation",
                   OBS(.code = "mean-pressure", .value = "93", .unit = "mm[Hg]",
                       .access = ACCESS, .ago_h = 0.01)),
        NULL);

    world_bundle(w, body);
    for (size_t i = 0; i < 4; i++)
        assert_int_equal(world_status(w, i), 201);
    world_review(w);
}

static void begin_case(struct world *w)
{
    high_flow(w);
    later(5);
    flow(w, "2480");
    post(w, OBS(.value = "2520", .access = ACCESS, .ago_h = 0.02));
    number(w, "mean-pressure", "94", "mm[Hg]");
    world_review(w);
    world_now_s += 30 * 60;
}

static void each_step_is_in_the_task(void **state)
{
    struct world *w = world(state);
    json_t *plan, *stage;
    double first_mm;

    begin_case(w);
    first_mm = plan_number(w, FLOW_TASK, "first_dowel_mm");
    assert_true(first_mm > 2);
    tie(w, "4", "1800", "1760");
    assert_int_equal(plan_stages(w, FLOW_TASK), 1);
    expect_status(w, FLOW_TASK, "requested"); /* not ended by its own band */
    expect_note(w, FLOW_TASK, "changed: a band was tied");
    expect_note(w, FLOW_TASK,
                "step 1, tied over a 4 mm dowel (measured outer diameter), "
                "1780 mL/min measured (mean of 2); next by the plan: ");
    world_now_s += 20 * 60;
    tie(w, "3.5", "1300", "1340");
    assert_int_equal(plan_stages(w, FLOW_TASK), 2);
    expect_note(w, FLOW_TASK, "changed: a new step");
    plan = plan_of(w, FLOW_TASK);
    stage = json_array_get(json_object_get(plan, "stages"), 1);
    assert_near(json_number_value(json_object_get(stage, "dowel_mm")), 3.5,
                1e-9);
    assert_near(json_number_value(json_object_get(stage, "measured_ml_min")),
                1320, 1); /* geometric mean of 1300 and 1340 */
    assert_true(json_is_object(json_object_get(plan, "next")));
    json_decref(plan);
}

/* Decided on the table: also in a Task that a person has in hand, whose status
 * stays theirs. */
static void a_case_in_a_persons_task(void **state)
{
    struct world *w = world(state);

    begin_case(w);
    world_person(w, FLOW_TASK, "accepted");
    tie(w, "4", "1800", "1760");
    expect_status(w, FLOW_TASK, "accepted");
    assert_int_equal(plan_stages(w, FLOW_TASK), 1);
}

/* A second pair after the same tie changes what was measured there. */
static void a_later_measurement_of_a_step(void **state)
{
    struct world *w = world(state);

    begin_case(w);
    tie(w, "4", "1800", "1760");
    flow(w, "1500");
    world_review(w);
    assert_int_equal(plan_stages(w, FLOW_TASK), 1);
    expect_note(w, FLOW_TASK, "changed: what was measured after a step");
}

/* A dowel that was entered in error is taken back, and the plan with it. */
static void a_step_is_taken_back(void **state)
{
    struct world *w = world(state);

    begin_case(w);
    post(w, OBS(.identifier = "d-1", .code = "dowel-diameter", .value = "4",
                .unit = "mm", .access = ACCESS));
    world_review(w);
    assert_int_equal(plan_stages(w, FLOW_TASK), 1);
    expect_note(w, FLOW_TASK, "next by the plan: measure the flow");
    assert_int_equal(
        world_post(w, OBS(.identifier = "d-1", .status = "entered-in-error",
                          .code = "dowel-diameter", .value = "4", .unit = "mm",
                          .access = ACCESS)),
        200);
    world_review(w);
    assert_int_equal(plan_stages(w, FLOW_TASK), 0);
    expect_note(w, FLOW_TASK, "a step was taken back");
    expect_status(w, FLOW_TASK, "requested");
}

/* plan.case_h: a day after the last step the case is over, without a reading;
 * the Task ends, and its plan stays as the record. */
static void the_case_ends(void **state)
{
    struct world *w = world(state);

    begin_case(w);
    tie(w, "4", "1250", "1230");
    world_now_s += 23 * AN_HOUR;
    world_review(w);
    expect_status(w, FLOW_TASK, "requested");
    world_now_s += 2 * AN_HOUR;
    world_review(w);
    expect_status(w, FLOW_TASK, "cancelled");
    assert_int_equal(plan_stages(w, FLOW_TASK), 1);
    expect_note(w, FLOW_TASK, "the record of a finished case");
}

/* Every step stands in the versions of the Task. */
static void the_history_is_kept(void **state)
{
    struct world *w = world(state);
    struct resource row;
    size_t seen = 0;

    begin_case(w);
    tie(w, "4", "1800", "1760");
    world_now_s += 20 * 60;
    tie(w, "3.5", "1300", "1340");
    json_decref(task_of(w, FLOW_TASK, &row));
    for (int version = 1; version <= row.version; version++) {
        struct buf task, plan;
        int64_t updated_ms;
        json_t *tree;
        size_t stages;

        buf_init(&task, TASK_MAX);
        buf_init(&plan, TASK_MAX);
        assert_int_equal(
            resource_body(w->db, &row, version, &task, &updated_ms), ERR_OK);
        assert_int_equal(fhir_plan_of_task(task.data, task.len, &plan), ERR_OK);
        tree = json_loadb(plan.data, plan.len, 0, NULL);
        stages = json_array_size(json_object_get(tree, "stages"));
        assert_true(stages == seen || stages == seen + 1);
        seen = stages;
        json_decref(tree);
        buf_clear(&plan);
        buf_clear(&task);
    }
    assert_int_equal(seen, 2);
}

/* ---- the hand, by prediction ---------------------------------------------------------------- */

/* The project's table of openings: 1500 mL/min, 55 mmHg, index .60. */
static void stenosis(struct world *w)
{
    number(w, "outflow-stenosis", "70", "%");
    number(w, "static-access-pressure", "55", "mm[Hg]");
    number(w, "digital-brachial-index", "0.62", "1");
    number(w, "mean-pressure", "94", "mm[Hg]");
}

static void a_prediction_makes_one_task_of_the_hand(void **state)
{
    struct world *w = world(state);

    later(7);
    flow(w, "1450");
    stenosis(w);
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
    assert_true(world_task_says(w, HAND_TASK, "rules/IS-8") > 0);
    assert_true(world_task_says(w, HAND_TASK,
                                "image, open, measure a pair, then size") > 0);
    assert_int_equal(world_tasks(w, FLOW_TASK, NULL), 0);
    /* no high flow: no ground for a band plan by itself */
    assert_false(has_plan(w, HAND_TASK));
    /* treated: nothing is to be foreseen any more */
    later(3);
    post(w, OBS(.code = "access-intervention", .sign = "angioplasty-outflow",
                .access = ACCESS));
    world_review(w);
    expect_status(w, HAND_TASK, "cancelled");
}

static void beside_a_high_flow_it_is_an_update(void **state)
{
    struct world *w = world(state);
    struct resource row;
    json_t *task;

    high_flow(w);
    stenosis(w);
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, NULL), 0);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    task = task_of(w, FLOW_TASK, &row);
    assert_string_equal(json_string_value(json_object_get(task, "priority")),
                        "urgent");
    assert_non_null(strstr(
        json_string_value(json_object_get(task, "description")), "(IS-8)"));
    json_decref(task);
    expect_note(w, FLOW_TASK, "This is more urgent than before");
    assert_true(has_plan(w, FLOW_TASK));
}

static void explain_says_it(void **state)
{
    struct world *w = world(state);
    struct buf out;
    int status;

    later(7);
    flow(w, "1450");
    stenosis(w);
    world_review(w);
    buf_init(&out, 1 << 20);
    assert_int_equal(explain_access(w->db, &w->review, "A-7", &status, &out),
                     ERR_OK);
    assert_int_equal(status, 200);
    assert_non_null(
        strstr(out.data, "IS-8, Hand at risk, by prediction: HOLDS"));
    buf_clear(&out);
}

/* The index is measured after the flow rose: nothing to foresee any more. */
static void a_rise_until_the_finger_is_measured(void **state)
{
    struct world *w = world(state);

    later(7);
    flow(w, "900");
    number(w, "digital-brachial-index", "0.70", "1");
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, NULL), 0);
    later(90);
    flow(w, "1450");
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, NULL), 0); /* once is chance */
    later(28);
    flow(w, "1470");
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
    later(2);
    number(w, "digital-brachial-index", "0.68", "1");
    world_review(w);
    expect_status(w, HAND_TASK, "cancelled");
    expect_note(w, HAND_TASK, "Later readings no longer show it");
}

#define CASE(f) cmocka_unit_test_setup_teardown(f, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(a_candidate_gets_the_plan),
        CASE(it_is_the_plan_that_is_asked_for),
        CASE(a_hand_beside_a_high_flow_gets_one),
        CASE(a_low_flow_steal_gets_none),
        CASE(nobody_else_gets_one),
        CASE(distal_disease_takes_it_out),
        CASE(an_emergency_of_the_hand_takes_it_out),
        CASE(without_planning_nothing_is_planned),
        CASE(the_same_plan_makes_no_version),
        CASE(new_inputs_renew_it),
        CASE(a_switch_of_beliefs_renews_it),
        CASE(a_person_keeps_the_rest),
        CASE(a_closed_task_is_left_alone),
        CASE(a_withdrawn_reading_takes_the_plan_along),
        CASE(a_corrected_reading_changes_the_plan),
        CASE(time_alone_takes_it_out),
        CASE(each_step_is_in_the_task),
        CASE(a_case_in_a_persons_task),
        CASE(a_later_measurement_of_a_step),
        CASE(a_step_is_taken_back),
        CASE(the_case_ends),
        CASE(the_history_is_kept),
        CASE(a_prediction_makes_one_task_of_the_hand),
        CASE(beside_a_high_flow_it_is_an_update),
        CASE(explain_says_it),
        CASE(a_rise_until_the_finger_is_measured),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

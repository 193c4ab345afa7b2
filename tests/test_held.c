/* A sign of emergency that nobody could place: it is put to people all the
 * same, and its sender is told to phone. */
#include "service/again.h"
#include "service/held.h"
#include "service/quarantine_item.h"
#include "service/quarantine_urgent.h"
#include "service/queue.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>

static void take(struct world *w, const char *id, const char *patient,
                 const char *site)
{
    assert_int_equal(world_put(w, id,
                               ACC(.id = id, .identifier = id,
                                   .patient = patient, .site = site)),
                     201);
}

/* Patient 1 with one access, on the left; patient 2 with one on each arm. */
static int start(void **state)
{
    world_start(state);
    assert_int_equal(world_put(*state, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(world_put(*state, "p-2", pat_json("p-2", "1002")), 201);
    take(*state, "acc-7", "Patient/p-1", "Left upper arm");
    take(*state, "acc-8", "Patient/p-2", "Left forearm");
    take(*state, "acc-9", "Patient/p-2", "Right forearm");
    return 0;
}

static void read_queue(struct world *w, bool table, struct buf *out)
{
    struct queue_wish wish = {
        .table = table, .options = { .now_s = world_now_s, .zone = w->zone }
    };

    buf_empty(out);
    assert_int_equal(queue_read(w->db, &wish, world_now_s - 30 * 86400, out),
                     ERR_OK);
}

static const char *text_of(const struct world *w, const char *word)
{
    const struct outcome *o = &fhir_doc_item(w->doc, 0)->outcome;

    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, word) == 0)
            return o->issues[i].text;
    }
    return "";
}

#define FLAG(code, value)                                                      \
    code, .bare = true,                                                        \
          .more = ",\"valueBoolean\":" value                                   \
                  ",\"effectiveDateTime\":\"2026-03-06T08:00:00Z\""

/* Of patient 2, whose two accesses leave open which one is meant. */
static const struct {
    const char *name;
    struct obs obs;
    bool emergency;
} signs[] = {
    { "lost thrill", { .code = "thrill", .sign = "absent" }, true },
    { "weak thrill", { .code = "thrill", .sign = "weak" }, false },
    { "bleeding", { .code = FLAG("bleeding-active", "true") }, true },
    { "no bleeding", { .code = FLAG("bleeding-active", "false") }, false },
    { "threatened rupture", { .code = FLAG("rupture-threat", "true") }, true },
    { "sepsis",
      { .code = "infection-sign", .sign = "infection-sepsis" },
      true },
    { "exposed graft",
      { .code = "infection-sign", .sign = "graft-exposed" },
      true },
    { "red skin",
      { .code = "infection-sign", .sign = "infection-local" },
      false },
    { "ulcer", { .code = "hand-symptom", .sign = "hand-ulcer" }, true },
    { "pulseless",
      { .code = "hand-symptom", .sign = "cold-pulseless-hand" },
      true },
    { "weakness", { .code = "hand-symptom", .sign = "motor-weakness" }, true },
    { "numbness of a territory",
      { .code = "hand-symptom", .sign = "numbness-median" },
      true },
    { "coldness", { .code = "hand-symptom", .sign = "coldness" }, false },
    { "tissue loss", { .code = "hand-ischaemia-grade", .sign = "4a" }, true },
    { "more of it", { .code = "hand-ischaemia-grade", .sign = "4b" }, true },
    { "rest pain", { .code = "hand-ischaemia-grade", .sign = "3" }, false },
    { "a number", { .value = "900" }, false },
};

static void which_are_emergencies(void **state)
{
    struct world *w = world(state);
    long long emergencies = 0;
    struct buf out;

    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(signs); i++) {
        struct obs o = signs[i].obs;
        bool urgent = signs[i].emergency;

        ROW(signs[i].name);
        o.patient = "Patient/p-2";
        assert_int_equal(world_post(w, obs_json(&o)), 201);
        assert_int_equal(strstr(text_of(w, "access-ambiguous"),
                                "kept, not used: phone now if this is real") !=
                             NULL,
                         urgent);
        emergencies += urgent;
        assert_int_equal(world_count(w, "SELECT sum(emergency) FROM held"),
                         emergencies);
    }
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"),
                     (long long)COUNT(signs));
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    buf_clear(&out);
}

/* Above what rules found, in words and for programs. */
static void it_stands_at_the_top(void **state)
{
    static const char *const in_order[] = {
        "\nPHONE NOW",      "NOT PLACED",
        "(1002)",           "a sign of emergency that could not be placed: ",
        "ask the unit now", "Observation/o-1",
        "(1001)",           "IS-2"
    };
    struct world *w = world(state);
    struct buf out;
    const char *at;
    json_t *row;

    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    assert_int_equal(
        world_put(w, "o-1",
                  OBS(.id = "o-1", .code = "hand-symptom",
                      .sign = "motor-weakness", .patient = "Patient/p-2")),
        201);
    world_review(w);
    buf_init(&out, 1 << 20);
    read_queue(w, true, &out);
    at = out.data;
    for (size_t i = 0; i < COUNT(in_order); i++) {
        at = strstr(at, in_order[i]);
        if (at == NULL)
            fail_msg("%s is not, or not in its place, in:\n%s", in_order[i],
                     out.data);
    }
    read_queue(w, false, &out);
    row = json_loadb(out.data, (size_t)(strchr(out.data, '\n') - out.data), 0,
                     NULL);
    assert_string_equal(json_string_value(json_object_get(row, "kind")),
                        "held-emergency");
    assert_string_equal(json_string_value(json_object_get(row, "urgency")),
                        "immediate");
    assert_string_equal(json_string_value(json_object_get(row, "observation")),
                        "o-1");
    assert_string_equal(
        json_string_value(json_object_get(row, "patient_number")), "1002");
    assert_true(json_is_null(json_object_get(row, "task")));
    json_decref(row);
    buf_clear(&out);
}

/* Gone from there when it is withdrawn, placed, or long past. */
static void it_leaves_the_queue(void **state)
{
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    assert_int_equal(world_put(w, "o-1",
                               OBS(.id = "o-1", .code = "thrill",
                                   .sign = "absent", .patient = "Patient/p-2")),
                     201);
    read_queue(w, true, &out);
    assert_non_null(strstr(out.data, "PHONE NOW"));
    world_now_s += INT64_C(29) * 86400;
    read_queue(w, true, &out);
    assert_non_null(strstr(out.data, "PHONE NOW"));
    world_now_s += INT64_C(2) * 86400; /* held still, and past */
    read_queue(w, true, &out);
    assert_null(strstr(out.data, "PHONE NOW"));
    assert_non_null(strstr(out.data, "Held back and not used: 1,"));
    world_now_s -= INT64_C(31) * 86400;
    /* an access is given up: now it is clear which one is meant */
    assert_int_equal(world_put(w, "acc-9",
                               ACC(.id = "acc-9", .identifier = "acc-9",
                                   .patient = "Patient/p-2", .inactive = true)),
                     200);
    world_review(w);
    read_queue(w, true, &out);
    assert_null(strstr(out.data, "NOT PLACED"));
    assert_non_null(strstr(out.data, "LF-6"));
    buf_clear(&out);
}

/* Weakness of the hand without an access is no steal, and still to be seen. */
static void a_hand_of_the_other_side(void **state)
{
    struct world *w = world(state);
    struct buf out;

    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "coldness",
                          .site = "right hand")),
        201);
    assert_string_equal(text_of(w, "access-side"),
                        "The side of hand-symptom does not fit the access: "
                        "examine the hand; phone if it is weak, numb or cold "
                        "(kept, not used)");
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "motor-weakness",
                          .access = ACCESS, .site = "right hand")),
        201);
    assert_non_null(strstr(text_of(w, "access-side"),
                           "its side does not fit the access: examine the "
                           "hand: kept, not used: phone now if this is real"));
    buf_init(&out, 1 << 20);
    assert_int_equal(held_read(w->db, w->zone, &out), ERR_OK);
    assert_non_null(strstr(out.data,
                           ": the side does not fit the access: examine the "
                           "hand; phone if it is weak, numb or cold"));
    assert_null(strstr(out.data, "which access"));
    assert_non_null(strstr(out.data, "A SIGN OF EMERGENCY ("));
    buf_clear(&out);
}

/* A finger pressure that was measured there is no sign. */
static void a_pressure_of_the_other_hand_is_as_before(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_post(w, OBS(.code = "digital-pressure", .value = "120",
                          .unit = "mm[Hg]", .site = "right hand")),
        201);
    assert_non_null(strstr(text_of(w, "access-side"), "the arm without an"));
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 0);
}

static void strict_refuses_and_says_so(void **state)
{
    struct world *w = world(state);

    w->strict_access = true;
    assert_int_equal(world_post(w, OBS(.code = "thrill", .sign = "absent",
                                       .patient = "Patient/p-2")),
                     422);
    assert_non_null(strstr(text_of(w, "access-ambiguous"),
                           "refused: phone now if this is real"));
}

static void preliminary_is_answered_for_what_it_is(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_post(w, OBS(.code = "thrill", .sign = "absent",
                          .status = "preliminary", .access = ACCESS)),
        201);
    assert_string_equal(text_of(w, "preliminary"),
                        "Preliminary: a sign of emergency is reviewed at once "
                        "all the same");
    world_review(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM task WHERE priority ="
                                    " 'stat'"),
                     1);
    assert_int_equal(
        world_post(w, OBS(.code = "thrill", .sign = "weak",
                          .status = "preliminary", .access = ACCESS)),
        201);
    assert_non_null(strstr(text_of(w, "preliminary"), "confirms nothing"));
}

/* An older version did not note what it held. */
static void an_older_store_is_looked_through(void **state)
{
    struct world *w = world(state);
    struct buf out;

    assert_int_equal(world_post(w, OBS(.code = "thrill", .sign = "absent",
                                       .patient = "Patient/p-2")),
                     201);
    assert_int_equal(
        world_post(w, OBS(.value = "900", .patient = "Patient/p-2")), 201);
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    world_change_file(w->path, "UPDATE held SET emergency = NULL, sign = 0,"
                               " at_s = 0");
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    buf_init(&out, 1 << 20);
    read_queue(w, true, &out);
    assert_null(strstr(out.data, "PHONE NOW"));
    assert_int_equal(again_unjudged(w->db, &w->reader), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held WHERE emergency"
                                    " IS NULL"),
                     0);
    read_queue(w, true, &out);
    assert_non_null(strstr(out.data, "PHONE NOW"));
    buf_clear(&out);
}

/* ---- nobody sees to it --------------------------------------------------------- */

static int64_t unseen(struct world *w)
{
    int64_t count;

    assert_int_equal(
        quarantine_urgent_count(w->db, &w->policy, world_now_ms(), &count),
        ERR_OK);
    return count;
}

static void look_for_unseen(struct world *w)
{
    assert_int_equal(
        quarantine_urgent_escalate(w->db, &w->policy, world_now_ms()), ERR_OK);
}

/* As soon as a Task of that urgency; how long is our own proposal (policy,
 * general.escalate_immediate_h). */
static void what_nobody_sees_to_is_escalated(void **state)
{
    struct world *w = world(state);
    int64_t wait_s =
        (int64_t)policy_count(&w->policy, P_ESCALATE_IMMEDIATE_H) * 3600;
    struct buf out;
    int64_t mark;

    buf_init(&out, 1 << 20);
    assert_int_equal(
        world_put(w, "o-1",
                  OBS(.id = "o-1", .code = "hand-symptom",
                      .sign = "motor-weakness", .patient = "Patient/p-2")),
        201);
    assert_int_equal(
        world_put(w, "o-2",
                  OBS(.id = "o-2", .code = "hand-symptom", .sign = "coldness",
                      .patient = "Patient/p-2")),
        201); /* no emergency */
    world_now_s += wait_s - 1;
    look_for_unseen(w);
    assert_int_equal(unseen(w), 0);
    read_queue(w, true, &out);
    assert_null(strstr(out.data, "ESCALATED"));
    mark = world_count(w, "SELECT n FROM queue_change");
    world_now_s++;
    look_for_unseen(w);
    assert_int_equal(unseen(w), 1);
    assert_true(world_count(w, "SELECT n FROM queue_change") > mark);
    read_queue(w, true, &out);
    assert_non_null(
        strstr(out.data, "ESCALATED: nobody saw to it within its time"));
    read_queue(w, false, &out);
    assert_non_null(strstr(out.data, "\"escalated\":true"));
    /* once, and until it is placed */
    mark = world_count(w, "SELECT n FROM queue_change");
    look_for_unseen(w);
    assert_int_equal(world_count(w, "SELECT n FROM queue_change"), mark);
    assert_int_equal(
        world_put(w, "o-1",
                  OBS(.id = "o-1", .code = "hand-symptom",
                      .sign = "motor-weakness", .patient = "Patient/p-2",
                      .access = "BodyStructure/acc-8")),
        200);
    assert_int_equal(unseen(w), 0);
    buf_clear(&out);
}

/* The same of a whole input that could not be taken in. */
static void an_input_that_nobody_reads_is_escalated(void **state)
{
    struct world *w = world(state);
    const struct quarantine_row input = { .at_ms = world_now_ms(),
                                          .way = QUARANTINE_FILE,
                                          .source = "unit-a",
                                          .status = 400,
                                          .reason = "json-syntax",
                                          .place = "",
                                          .text = "This is no JSON object",
                                          .urgent = true,
                                          .body = "{",
                                          .len = 1 };
    struct buf out;
    int64_t id;

    buf_init(&out, 1 << 20);
    assert_int_equal(quarantine_add(w->db, &input, &id), ERR_OK);
    world_now_s +=
        (int64_t)policy_count(&w->policy, P_ESCALATE_IMMEDIATE_H) * 3600 - 1;
    look_for_unseen(w);
    assert_int_equal(unseen(w), 0);
    world_now_s++;
    look_for_unseen(w);
    assert_int_equal(unseen(w), 1);
    read_queue(w, true, &out);
    assert_non_null(strstr(out.data, "NOT TAKEN IN"));
    assert_non_null(
        strstr(out.data, "ESCALATED: nobody saw to it within its time"));
    buf_clear(&out);
}

/* What is old is not put to people any more, see general.historic_d. */
static void one_of_long_ago_is_not(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_put(w, "o-1",
                  OBS(.id = "o-1", .code = "hand-symptom",
                      .sign = "motor-weakness", .patient = "Patient/p-2",
                      .ago_h = 400 * DAYS)),
        201);
    world_now_s += 86400;
    look_for_unseen(w);
    assert_int_equal(unseen(w), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(which_are_emergencies),
        TEST(it_stands_at_the_top),
        TEST(what_nobody_sees_to_is_escalated),
        TEST(an_input_that_nobody_reads_is_escalated),
        TEST(one_of_long_ago_is_not),
        TEST(it_leaves_the_queue),
        TEST(a_hand_of_the_other_side),
        TEST(a_pressure_of_the_other_hand_is_as_before),
        TEST(strict_refuses_and_says_so),
        TEST(preliminary_is_answered_for_what_it_is),
        TEST(an_older_store_is_looked_through),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Names that turn out to mean one access, or one patient. */
#include "planner/triage.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"
#define LOW_TASK  "refer-low-flow-review"

/* A flow so many days ago; access NULL: not named. */
static void flow(struct world *w, const char *identifier, const char *value,
                 double ago_d, const char *access)
{
    assert_int_equal(
        world_post(w, OBS(.identifier = identifier, .value = value,
                          .ago_h = ago_d * DAYS, .access = access)),
        201);
}

static void take(struct world *w, const char *json, const char *id)
{
    int status = world_put(w, id, json);

    assert_true(status == 200 || status == 201);
}

static long long accesses(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM access WHERE merged IS NULL");
}

/* ---- known under a name before it comes ----------------------------------- */

static void a_body_structure_fills_in_what_was_provisional(void **state)
{
    struct world *w = world(state);

    flow(w, "1", "560", 9, "BodyStructure/acc-7");
    assert_true(world_says(w, 0, "access-provisional"));
    flow(w, "2", "540", 2, "BodyStructure/acc-7");
    assert_false(world_says(w, 0, "access-provisional"));
    assert_int_equal(accesses(w), 1);
    world_review(w);
    /* low for a graft, not for a fistula: which it is is not known */
    assert_int_equal(world_tasks(w, NULL, NULL), 0);

    take(w, ACC(.id = "acc-7", .identifier = "A-7", .type = "avg"), "acc-7");
    assert_int_equal(accesses(w), 1);
    world_review(w); /* the readings keep counting */
    assert_int_equal(world_tasks(w, LOW_TASK, "requested"), 1);
    assert_int_equal(world_task_says(w, LOW_TASK, "BodyStructure/acc-7"), 1);
}

static void two_names_of_one_access_are_joined(void **state)
{
    static const char by_identifier[] =
        ",\"focus\":[{\"identifier\":{\"system\":\"" IDS
        "access\",\"value\":\"A-7\"}}]";
    struct world *w = world(state);

    flow(w, "1", "2240", 9, "BodyStructure/acc-7");
    assert_int_equal(
        world_post(w, OBS(.identifier = "2", .value = "2310", .ago_h = 2 * DAYS,
                          .more = by_identifier)),
        201);
    assert_int_equal(accesses(w), 2);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);

    take(w, ACC(.id = "acc-7", .identifier = "A-7"), "acc-7");
    assert_int_equal(accesses(w), 1);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    /* under either name it is the same from now on */
    assert_int_equal(world_post(w, OBS(.identifier = "3", .value = "2350",
                                       .ago_h = 1, .more = by_identifier)),
                     201);
    flow(w, "4", "2330", 0.5, "BodyStructure/acc-7");
    world_review(w);
    assert_int_equal(accesses(w), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
}

/* ---- implied -------------------------------------------------------------- */

static void an_implied_access_serves_until_the_real_one_comes(void **state)
{
    struct world *w = world(state);

    flow(w, "1", "2240", 9, NULL);
    flow(w, "2", "2310", 2, NULL);
    assert_int_equal(accesses(w), 1);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);

    take(w, ACC(.id = "acc-7", .identifier = "A-7"), "acc-7");
    assert_int_equal(accesses(w), 1);
    flow(w, "3", "2350", 0.1, "BodyStructure/acc-7");
    world_review(w);
    /* the open Task went over and is added to */
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "2350 mL/min") > 0, 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM evidence"), 3);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM episode e JOIN access a"
                       " ON a.id = e.access WHERE a.merged IS NOT NULL"),
        0);
}

static void only_one_that_fits_is_taken_over(void **state)
{
    static const struct {
        const char *name;
        const char *first; /* site of the reading that implies one */
        const char *real;  /* site of the BodyStructure */
        bool merge_implied;
        int left;
    } cases[] = {
        { "nothing said of the implied", NULL, "Left upper arm", true, 1 },
        { "the same place", "left upper arm", "Left upper arm", true, 1 },
        { "an arm is any part of it", "left arm", "Left upper arm", true, 1 },
        { "the other side", "right upper arm", "Left upper arm", true, 2 },
        { "another region", "left forearm", "Left upper arm", true, 2 },
        { "switched off", "left upper arm", "Left upper arm", false, 2 },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;

        ROW(cases[i].name);
        world_start(state);
        w = world(state);
        w->merge_implied = cases[i].merge_implied;
        assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "900",
                                           .site = cases[i].first)),
                         201);
        take(w, ACC(.id = "acc-7", .site = cases[i].real), "acc-7");
        assert_int_equal(accesses(w), cases[i].left);
        world_stop(state);
    }
}

/* With a second real access it is not clear whose the readings were. */
static void a_second_real_access_takes_nothing_over(void **state)
{
    struct world *w = world(state);

    take(w, ACC(.id = "acc-8", .site = "Right forearm"), "acc-8");
    w->merge_implied = false;
    assert_int_equal(world_put(w, "acc-8",
                               ACC(.id = "acc-8", .site = "Right forearm",
                                   .inactive = true)),
                     200);
    flow(w, "1", "900", 1, NULL); /* none active: one is implied */
    w->merge_implied = true;
    assert_int_equal(
        world_put(w, "acc-8",
                  ACC(.id = "acc-8", .site = "right arm", .inactive = true)),
        200);
    assert_int_equal(accesses(w), 2); /* an inactive one takes nothing over */
    take(w, ACC(.id = "acc-7"), "acc-7");
    assert_int_equal(accesses(w), 2);
}

/* Each had been put to people: of one access only one may stay open. */
static void two_open_suggestions_become_one(void **state)
{
    struct world *w = world(state);

    flow(w, "1", "2240", 9, NULL);
    flow(w, "2", "2310", 8, NULL);
    flow(w, "3", "2240", 5, "BodyStructure/acc-7");
    flow(w, "4", "2310", 2, "BodyStructure/acc-7");
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 2);

    take(w, ACC(.id = "acc-7", .identifier = "A-7"), "acc-7");
    world_review(w);
    assert_int_equal(accesses(w), 1);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM episode"
                                    " WHERE state IN (1, 2)"),
                     1);
    assert_int_equal(
        world_count(w, "SELECT reason FROM decision WHERE act = 3"),
        END_MERGED);
}

/* ---- an access does not change hands -------------------------------------- */

static void a_name_of_another_patient_is_not_taken(void **state)
{
    struct world *w = world(state);

    /* somebody reports for p-2 an access that is p-1's */
    take(w, ACC(.id = "acc-7", .identifier = "A-7"), "acc-7");
    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "900",
                                       .patient = "Patient/p-2",
                                       .access = "BodyStructure/acc-9")),
                     201);
    /* a second resource with the number of one that is known */
    assert_int_equal(
        world_put(w, "acc-9", ACC(.id = "acc-9", .identifier = "A-7")), 409);
    assert_true(world_says(w, 0, "identity"));
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM resource WHERE fid = 'acc-9'"), 0);
    /* p-1's own access comes under that name: one wrong reading must not keep
     * it out, and p-2's history must not become p-1's */
    assert_int_equal(
        world_put(w, "acc-9", ACC(.id = "acc-9", .identifier = "A-9")), 201);
    assert_int_equal(accesses(w), 3);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM reading r JOIN access a ON"
                       " a.id = r.owner JOIN patient p ON p.id = a.patient"
                       " WHERE p.anchor = 'r:Patient/p-2' AND a.active = 1"),
        1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM access_alias s JOIN access a ON"
                       " a.id = s.access JOIN patient p ON p.id = a.patient"
                       " WHERE p.anchor = 'r:Patient/p-1' AND"
                       " s.alias LIKE '%-9'"),
        2);
    assert_int_equal(world_put(w, "acc-7",
                               ACC(.id = "acc-7", .identifier = "A-7",
                                   .patient = "Patient/p-2")),
                     409);
}

/* ---- patients ------------------------------------------------------------- */

/* A reference and an identifier turn out to be one person: what was measured
 * under one name is seen beside what was measured under the other. */
static void a_patient_resource_unites_two_names(void **state)
{
    struct world *w = world(state);

    flow(w, "1", "1600", 2, "BodyStructure/acc-7");
    assert_int_equal(
        world_post(w, OBS(.identifier = "2", .code = "cardiac-output",
                          .value = "5.0", .unit = "L/min", .person = "1001",
                          .ago_h = 2 * DAYS)),
        201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 2);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);

    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 1);
    world_review(w);
    /* a share of 0.32 of the cardiac output is to be measured again */
    assert_int_equal(world_tasks(w, "repeat-cardiac-output", "requested"), 1);
    assert_int_equal(world_count(w,
                                 "SELECT count(*) FROM patient WHERE name ="
                                 " 'Fictional, Wren' AND unit = 'Unit North'"),
                     1);
    /* either name means this patient now */
    assert_int_equal(world_post(w, OBS(.identifier = "3", .value = "1500",
                                       .person = "1001", .ago_h = 1)),
                     201);
    assert_int_equal(accesses(w), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 0);
}

/* Access, Task and what is held go with the patient, whichever is older. */
static void what_a_patient_has_follows(void **state)
{
    static const bool by_identifier_first[] = { false, true };

    for (size_t i = 0; i < COUNT(by_identifier_first); i++) {
        struct world *w;

        world_start(state);
        w = world(state);
        if (by_identifier_first[i])
            assert_int_equal(
                world_post(w,
                           OBS(.identifier = "0", .code = "body-weight",
                               .value = "71", .unit = "kg", .person = "1001")),
                201);
        flow(w, "1", "2240", 9, "BodyStructure/acc-7");
        flow(w, "2", "2310", 2, "BodyStructure/acc-7");
        flow(w, "3", "900", 1, "BodyStructure/acc-8");
        flow(w, "4", "900", 1, NULL); /* held: one of two */
        world_review(w);
        assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
        assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 1);
        assert_int_equal(
            world_count(w, "SELECT (SELECT count(*) FROM access x JOIN patient"
                           " p ON p.id = x.patient)"
                           " + (SELECT count(*) FROM task x JOIN patient p"
                           "    ON p.id = x.patient)"
                           " + (SELECT count(*) FROM held x JOIN patient p"
                           "    ON p.id = x.patient)"
                           " + (SELECT count(*) FROM patient_alias x"
                           "    JOIN patient p ON p.id = x.patient)"),
            2 + 1 + 1 + 2);
        flow(w, "5", "2350", 0.1, "BodyStructure/acc-7");
        world_review(w);
        assert_int_equal(world_tasks(w, NULL, NULL), 1);
        world_stop(state);
    }
}

/* A person under two names without a named access: it is one access still. */
static void implied_accesses_of_one_person_are_one(void **state)
{
    struct world *w = world(state);

    flow(w, "1", "2240", 9, NULL);
    assert_int_equal(world_post(w, OBS(.identifier = "2", .value = "2310",
                                       .person = "1001", .ago_h = 2 * DAYS)),
                     201);
    assert_int_equal(accesses(w), 2);
    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    world_review(w);
    assert_int_equal(accesses(w), 1);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

/* Two patients that only look alike stay two. */
static void patients_without_a_common_name_stay_two(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 2);
}

/* A reading corrected to another patient: both are looked at again. */
static void a_reading_moved_to_another_patient_is_news_for_both(void **state)
{
    struct world *w = world(state);

    flow(w, "1", "1600", 2, "BodyStructure/acc-7");
    assert_int_equal(
        world_put(w, "co",
                  OBS(.id = "co", .code = "cardiac-output", .value = "5.0",
                      .unit = "L/min", .ago_h = 2 * DAYS)),
        201);
    world_review(w);
    assert_int_equal(world_tasks(w, "repeat-cardiac-output", "requested"), 1);
    assert_int_equal(
        world_put(w, "co",
                  OBS(.id = "co", .code = "cardiac-output", .value = "5.0",
                      .unit = "L/min", .status = "corrected",
                      .patient = "Patient/p-2", .ago_h = 2 * DAYS)),
        200);
    world_review(w);
    assert_int_equal(world_tasks(w, "repeat-cardiac-output", "requested"), 0);
    assert_int_equal(world_tasks(w, "repeat-cardiac-output", "cancelled"), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(a_body_structure_fills_in_what_was_provisional),
        TEST(two_names_of_one_access_are_joined),
        TEST(an_implied_access_serves_until_the_real_one_comes),
        cmocka_unit_test(only_one_that_fits_is_taken_over),
        TEST(a_second_real_access_takes_nothing_over),
        TEST(two_open_suggestions_become_one),
        TEST(a_name_of_another_patient_is_not_taken),
        TEST(a_patient_resource_unites_two_names),
        cmocka_unit_test(what_a_patient_has_follows),
        TEST(implied_accesses_of_one_person_are_one),
        TEST(patients_without_a_common_name_stay_two),
        TEST(a_reading_moved_to_another_patient_is_news_for_both),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

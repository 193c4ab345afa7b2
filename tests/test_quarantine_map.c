/* A person says what a code or a unit means: it settles what came before, what
 * comes after, and nothing else. */
#include "tests/quarantine_kit.h"

/* ---- codes and units ------------------------------------------------------ */

static void a_code_settles_what_came_before_and_after(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "QB1", "mL/min", 200));
    feed(w, machine("o2", "QB1", "mL/min", 100));
    feed(w, machine("o3", "QB2", "mL/min", 100)); /* another code */
    world_review(w);
    assert_int_equal(held(w), 0); /* what no map has is no reading at all */
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o2"), .target = "access-flow"), 200);
    assert_int_equal(last.count.looked, 2);
    assert_int_equal(last.count.settled, 2);
    assert_true(says("Mapped: urn:example:machine|QB1 is access-flow"));
    assert_int_equal(readings(w, "o1"), 1);
    assert_int_equal(readings(w, "o2"), 1);
    assert_int_equal(readings(w, "o3"), 0);
    /* a release is a review like any: 2300 twice is above 2000 mL/min, the
     * limit of rule HF-1 in config/policy.ini */
    world_review(w);
    assert_int_equal(world_tasks(w, "refer-flow-review", "requested"), 1);
    feed(w, machine("o4", "QB1", "mL/min", 1));
    assert_int_equal(readings(w, "o4"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM unmapped"), 1);
    assert_int_equal(world_count(w, "SELECT settled FROM deed WHERE act = 1"
                                    " AND who = 'A Nurse'"),
                     2);
}

static void a_code_of_a_component_is_found_too(void **state)
{
    struct world *w = world(state);
    char json[1200];

    snprintf(
        json, sizeof(json),
        "{\"resourceType\":\"Observation\",\"id\":\"c1\",\"status\":"
        "\"final\",\"code\":{\"coding\":[{\"system\":\"" LOCAL
        "\",\"code\":\"SESSION\"}]},\"subject\":{\"reference\":"
        "\"Patient/p-1\"},\"effectiveDateTime\":\"2026-03-05\","
        "\"component\":[{\"code\":{\"coding\":[{\"system\":\"" LOCAL
        "\",\"code\":\"QB1\"}]},\"valueQuantity\":{\"value\":900,"
        "\"system\":\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}}]}");
    feed(w, json);
    feed(w, machine("o1", "QB1", "mL/min", 5));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    assert_int_equal(last.count.settled, 2);
    assert_int_equal(readings(w, "c1"), 1);
    /* what is left of it is its panel code; that is the next to be mapped */
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("c1"), .target = "ignore"), 200);
    assert_true(says("SESSION is ignore"));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("c1"), .target = "ignore"), 409);
    assert_true(says("Every code of"));
    assert_int_equal(readings(w, "c1"), 1);
}

static void a_word_for_a_unit_settles_that_word(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "access-flow", "millis", 200));
    feed(w, machine("o2", "access-flow", "millis", 100));
    feed(w, machine("o3", "access-flow", "cups", 100));
    assert_int_equal(held(w), 3);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .unit = "mL/min"),
                     200);
    assert_int_equal(last.count.settled, 2);
    assert_int_equal(readings(w, "o2"), 1);
    assert_int_equal(held(w), 1);
    feed(w, machine("o4", "access-flow", "millis", 50));
    assert_int_equal(readings(w, "o4"), 1);
}

/* Also where a person has said before what the code means, but no unit. */
static void values_without_a_unit_get_one(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "QB1", NULL, 200));
    feed(w, machine("o2", "QB1", NULL, 100));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    assert_int_equal(last.count.settled, 0);
    assert_int_equal(last.count.held, 2);
    assert_int_equal(held(w), 2);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .unit = "mL/min"),
                     200);
    assert_int_equal(last.count.settled, 2);
    assert_int_equal(held(w), 0);
    feed(w, machine("o3", "QB1", NULL, 50));
    assert_int_equal(readings(w, "o3"), 1);
    /* what fits no flow is refused */
    feed(w, machine("o4", "QB2", NULL, 50));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o4"),
                         .target = "access-flow", .unit = "kg"),
                     400);
    /* a code of our own has the meaning and the unit that it says */
    feed(w, machine("o5", "access-flow", NULL, 50));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o5"), .unit = "mL/min"),
                     400);
    assert_int_equal(held(w), 1);
}

/* A unit that is sent as a code is no word: whoever sends it means it. */
static void a_coded_unit_is_for_its_sender(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "40", .unit = "kg"));
    assert_int_equal(held(w), 1);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .unit = "mL/min"),
                     409);
    assert_true(says("its sender has to correct it"));
    assert_int_equal(held(w), 1);
}

/* What was mapped is there again after a start: see service/maps.h. */
static void a_mapping_is_kept(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "QB1", NULL, 5));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"),
                         .target = "access-flow", .unit = "mL/min",
                         .from = "2026-01-01"),
                     200);
    assert_int_equal(readings(w, "o1"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM mapping WHERE system"
                                    " = '" LOCAL "' AND code = 'QB1' AND"
                                    " target = 'access-flow' AND unit ="
                                    " 'mL/min' AND looked = -1 AND who ="
                                    " 'A Nurse'"),
                     1);
}

/* A sweep that a stop has interrupted goes on where it was. */
static void an_unfinished_sweep_is_taken_up(void **state)
{
    struct world *w = world(state);
    struct again_count count = { .looked = 0 };
    bool more = true;

    feed(w, machine("o1", "QB1", "mL/min", 5));
    feed(w, machine("o2", "QB1", "mL/min", 4));
    prepare(w, &(struct word){ .verb = QUARANTINE_MAP,
                               .item = named("o1"),
                               .target = "access-flow" });
    assert_int_equal(world_step(w, step, &last), ERR_OK);
    assert_true(last.more); /* and here the process ends */
    assert_int_equal(readings(w, "o1"), 0);
    for (int n = 0; more && n < 10; n++)
        assert_int_equal(again_mapping(w->db, &w->reader, 0, &count, &more),
                         ERR_OK);
    assert_false(more);
    assert_int_equal(count.settled, 2);
    assert_int_equal(readings(w, "o1") + readings(w, "o2"), 2);
}

/* ---- names that only their own Bundle explains ---------------------------- */

static void names_within_a_bundle_are_followed_again(void **state)
{
    struct world *w = world(state);
    const char *bundle =
        "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":["
        "{\"fullUrl\":\"urn:uuid:11111111-1111-4111-8111-111111111111\","
        "\"resource\":{\"resourceType\":\"Patient\",\"identifier\":[{\"system\""
        ":\"" IDS "patient\",\"value\":\"1009\"}]}},"
        "{\"fullUrl\":\"urn:uuid:22222222-2222-4222-8222-222222222222\","
        "\"resource\":{\"resourceType\":\"BodyStructure\",\"identifier\":[{"
        "\"system\":\"" IDS "access\",\"value\":\"A-99\"}],\"patient\":{"
        "\"reference\":\"urn:uuid:11111111-1111-4111-8111-111111111111\"}}},"
        "{\"resource\":{\"resourceType\":\"Observation\",\"id\":\"o1\","
        "\"status\":\"final\",\"code\":{\"coding\":[{\"system\":\"" LOCAL
        "\",\"code\":\"QB1\"}]},\"subject\":{\"reference\":"
        "\"urn:uuid:11111111-1111-4111-8111-111111111111\"},\"focus\":[{"
        "\"reference\":\"urn:uuid:22222222-2222-4222-8222-222222222222\"}],"
        "\"effectiveDateTime\":\"2026-03-05\",\"valueQuantity\":{\"value\":900,"
        "\"system\":\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}}}]}";
    long long people;

    assert_true(world_bundle(w, bundle) < 300);
    people = world_count(w, "SELECT count(*) FROM patient");
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    assert_int_equal(last.count.settled, 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading g JOIN access"
                                    " a ON a.id = g.owner JOIN access_alias s"
                                    " ON s.access = a.id WHERE s.alias LIKE"
                                    " '%|A-99'"),
                     1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), people);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_code_settles_what_came_before_and_after),
        TEST(a_code_of_a_component_is_found_too),
        TEST(a_word_for_a_unit_settles_that_word),
        TEST(values_without_a_unit_get_one),
        TEST(a_coded_unit_is_for_its_sender),
        TEST(a_mapping_is_kept),
        TEST(an_unfinished_sweep_is_taken_up),
        TEST(names_within_a_bundle_are_followed_again),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Who may turn out to be whom, and what is held until that is known. */
#include "tests/service_world.h"
#include "tests/test.h"

#define FOCUS(value)                                                           \
    ",\"focus\":[{\"type\":\"BodyStructure\",\"identifier\":{\"system\":"      \
    "\"" IDS "access\",\"value\":\"" value "\"}}]"

static long long accesses(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM access WHERE merged IS NULL");
}

static long long held(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM held");
}

static long long people(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM patient");
}

/* An ulcer of somebody known by number, at an access known by number. */
static const char *ulcer(void)
{
    return OBS(.identifier = "1", .code = "hand-symptom", .sign = "hand-ulcer",
               .person = "1001", .more = FOCUS("A-7"));
}

static const char *flow_by_number(const char *identifier, double ago_h)
{
    return OBS(.identifier = identifier, .value = "2310", .person = "1001",
               .ago_h = ago_h, .more = FOCUS("A-7"));
}

/* ---- one access under two names ------------------------------------------- */

static bool identity_says(const struct world *w, const char *text)
{
    const struct outcome *o = &fhir_doc_item(w->doc, 0)->outcome;

    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, "identity") == 0 &&
            strcmp(o->issues[i].place, "Observation.focus") == 0 &&
            strstr(o->issues[i].text, text) != NULL)
            return true;
    }
    return false;
}

/* A slip of the pen makes a new access, and nobody would look for it. */
static void a_name_that_is_almost_known_is_warned_of(void **state)
{
    static const struct {
        const char *name, *focus, *says;
    } rows[] = {
        { "another case", FOCUS("a-7"), "but for case" },
        { "no mark", FOCUS("A7"), "but for case" },
        { "a blank", FOCUS("A 7"), "but for case" },
        { "leading zeros", FOCUS("A-007"), "but for case" },
        { "another one", FOCUS("A-70"), "beside one that is known" },
    };
    struct world *w = world(state);

    world_has_access(w);
    assert_int_equal(world_post(w, OBS(.identifier = "k", .value = "900",
                                       .person = "1001", .more = FOCUS("A-7"))),
                     201);
    assert_false(world_says(w, 0, "identity"));
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].name);
        assert_int_equal(
            world_post(w, OBS(.identifier = rows[i].name, .value = "900",
                              .person = "1001", .more = rows[i].focus)),
            201);
        assert_true(identity_says(w, rows[i].says));
    }
    assert_int_equal(accesses(w), 6);
    assert_int_equal(world_count(w, "SELECT sum(count) FROM tally WHERE class ="
                                    " 6 AND reason = 'identity'"),
                     5);
    /* the first one of a patient is no surprise */
    assert_int_equal(world_post(w, OBS(.identifier = "n", .value = "900",
                                       .person = "1009", .more = FOCUS("B-1"))),
                     201);
    assert_false(world_says(w, 0, "identity"));
}

/* ---- one person under two names ------------------------------------------- */

/* The BodyStructure knows the patient by reference, the reading by number.
 * Until a Patient has both, nothing that was put to people may go away. */
static void an_urgent_task_outlives_the_names_becoming_known(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, ulcer()), 201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, "requested"), 1);

    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
    world_review(w);
    assert_int_equal(accesses(w), 2);
    assert_int_equal(world_tasks(w, NULL, "requested"), 1);
    /* the same sender goes on meaning what it meant */
    assert_int_equal(world_post(w, flow_by_number("2", 1)), 201);
    assert_int_equal(held(w), 0);

    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    world_review(w);
    assert_int_equal(people(w), 1);
    assert_int_equal(accesses(w), 1);
    assert_int_equal(world_tasks(w, NULL, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, "cancelled"), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM episode e JOIN access a ON a.id ="
                       " e.access WHERE a.resource IS NOT NULL"),
        1);
    assert_int_equal(held(w), 0);
}

/* Proven to be two: the name goes to the BodyStructure, and the Task stays. */
static void an_urgent_task_of_another_person_stays_open(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_post(w, OBS(.identifier = "1", .code = "hand-symptom",
                          .sign = "hand-ulcer", .patient = "Patient/p-2",
                          .access = "BodyStructure/acc-7")),
        201);
    world_review(w);
    assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, "requested"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM rival"), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM access WHERE active = 1"), 2);
}

/* ---- what is held is looked at again -------------------------------------- */

static void what_was_unclear_is_used_once_it_is_clear(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
    assert_int_equal(world_post(w, flow_by_number("1", 9 * DAYS)), 201);
    assert_int_equal(world_post(w, flow_by_number("2", 2 * DAYS)), 201);
    assert_int_equal(held(w), 2);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);

    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(held(w), 0);
    world_review(w);
    assert_int_equal(world_tasks(w, "refer-flow-review", "requested"), 1);
}

static void a_side_said_later_frees_what_needs_it(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .site = "somewhere")), 201);
    assert_int_equal(
        world_post(w,
                   OBS(.identifier = "1", .code = "digital-pressure",
                       .value = "45", .unit = "mm[Hg]", .site = "left hand")),
        201);
    assert_int_equal(held(w), 1);
    /* a change that makes nothing clear leaves it as it was */
    world_now_s += 3600;
    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(held(w), 1);
    assert_int_equal(world_count(w, "SELECT since_ms / 1000 FROM held"),
                     world_now_s - 3600);
    assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 200);
    assert_int_equal(held(w), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM reading WHERE value = 45"), 1);
}

/* Nothing of it could be used when it came; today's codes may say more. */
static void a_repeat_of_what_gave_nothing_is_read_again(void **state)
{
    struct world *w = world(state);
    const char *json = OBS(.identifier = "1", .value = "900");

    assert_int_equal(world_post(w, json), 201);
    /* as if its code had not been mapped */
    assert_int_equal(db_run(w->db, Q_READING_REMOVE, "i",
                            (int64_t)world_count(w, "SELECT id FROM resource")),
                     ERR_OK);
    assert_int_equal(world_post(w, json), 200);
    assert_false(world_says(w, 0, "duplicate"));
    assert_true(w->in.news);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM version"), 1);
    assert_int_equal(world_post(w, json), 200);
    assert_true(world_says(w, 0, "duplicate"));
}

/* ---- two people ----------------------------------------------------------- */

static const char *with_insurer(const char *id, const char *number,
                                char out[600])
{
    snprintf(out, 600,
             "{\"resourceType\":\"Patient\",\"id\":\"%s\",\"identifier\":["
             "{\"system\":\"" IDS "patient\",\"value\":\"%s\"},"
             "{\"system\":\"" IDS "insurer\",\"value\":\"000\"}]}",
             id, number);
    return out;
}

static void a_number_that_two_share_makes_them_not_one(void **state)
{
    struct world *w = world(state);
    char json[600];

    assert_int_equal(world_put(w, "p-1", with_insurer("p-1", "1001", json)),
                     201);
    assert_int_equal(world_put(w, "p-2", with_insurer("p-2", "1002", json)),
                     409);
    assert_true(world_says_at(w, 0, "identity", "Patient.identifier"));
    assert_int_equal(people(w), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient_alias"), 3);
    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
    assert_int_equal(people(w), 2);
}

/* A flow of somebody whose reference and number are given. */
static const char *subject_json(const char *reference, const char *number,
                                char out[800])
{
    snprintf(out, 800,
             "{\"resourceType\":\"Observation\",\"status\":\"final\","
             "\"identifier\":[{\"system\":\"" IDS "obs\",\"value\":\"1\"}],"
             "\"code\":{\"coding\":[{\"system\":\"" OBS_CODES
             "\",\"code\":\"access-flow\"}]},\"subject\":{\"reference\":"
             "\"%s\",\"identifier\":{\"system\":\"" IDS
             "patient\",\"value\":\"%s\"}},\"effectiveDateTime\":"
             "\"2026-03-05T08:00:00Z\",\"valueQuantity\":{\"value\":900,"
             "\"system\":\"http://unitsofmeasure.org\",\"code\":"
             "\"mL/min\"}}",
             reference, number);
    return out;
}

static void a_subject_that_means_two_people_is_not_used(void **state)
{
    static const bool feeds[] = { false, true };

    for (size_t i = 0; i < COUNT(feeds); i++) {
        struct world *w;
        char json[800];

        ROW(feeds[i] ? "feed" : "direct");
        world_start(state);
        w = world(state);
        assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
        assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
        subject_json("Patient/p-1", "1002", json);
        if (feeds[i])
            assert_int_equal(
                world_bundle(w,
                             bundle_json("collection",
                                         entry_json(NULL, NULL, json), NULL)),
                201);
        else
            assert_int_equal(world_post(w, json), 409);
        assert_true(world_says_at(w, 0, "identity", "Observation.subject"));
        assert_int_equal(held(w), feeds[i] ? 1 : 0);
        assert_int_equal(people(w), 2);
        assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 0);
        /* nor when more becomes known of either */
        assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
        assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 0);
        world_stop(state);
    }
}

/* ---- two accesses --------------------------------------------------------- */

static void a_focus_on_two_accesses_is_ambiguous(void **state)
{
    static const char both[] =
        ",\"focus\":[{\"reference\":\"BodyStructure/acc-7\"},"
        "{\"reference\":\"BodyStructure/acc-8\"}]";
    struct world *w = world(state);

    assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
    assert_int_equal(world_put(w, "acc-8", ACC(.id = "acc-8")), 201);
    assert_int_equal(world_post(w, OBS(.value = "900", .more = both)), 201);
    assert_true(world_says(w, 0, "access-ambiguous"));
    assert_int_equal(held(w), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(an_urgent_task_outlives_the_names_becoming_known),
        TEST(an_urgent_task_of_another_person_stays_open),
        TEST(what_was_unclear_is_used_once_it_is_clear),
        TEST(a_side_said_later_frees_what_needs_it),
        TEST(a_repeat_of_what_gave_nothing_is_read_again),
        TEST(a_number_that_two_share_makes_them_not_one),
        cmocka_unit_test(a_subject_that_means_two_people_is_not_used),
        TEST(a_focus_on_two_accesses_is_ambiguous),
        TEST(a_name_that_is_almost_known_is_warned_of),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

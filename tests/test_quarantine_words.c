/*
 * How far a person's word reaches: never to another patient, not over what the
 * sender says since, to one code that was named, and never beyond recall.
 */
#include "tests/quarantine_kit.h"

static long long of_access(struct world *w, const char *fid)
{
    char sql[300];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM reading g JOIN access a ON a.id = g.owner "
             "JOIN resource r ON r.id = a.resource WHERE r.fid = '%s'",
             fid);
    return world_count(w, sql);
}

/* The same bytes of an Observation, which its Bundle alone makes somebody's. */
static void feed_local(struct world *w, const char *number)
{
    char text[1500], when[FHIR_TIME_SIZE];

    fhir_time_write(world_now_s - 3600, when);
    snprintf(text, sizeof(text),
             "{\"resourceType\":\"Bundle\",\"type\":\"collection\","
             "\"entry\":[{\"fullUrl\":\"urn:uuid:7b0c9f0e-0000-4000-8000-"
             "000000000001\",\"resource\":{\"resourceType\":\"Patient\","
             "\"identifier\":[{\"system\":\"" IDS "patient\",\"value\":"
             "\"%s\"}]}},{\"resource\":{\"resourceType\":\"Observation\","
             "\"status\":\"final\",\"code\":{\"coding\":[{\"system\":"
             "\"" OBS_CODES "\",\"code\":\"access-flow\"}]},\"subject\":"
             "{\"reference\":\"urn:uuid:7b0c9f0e-0000-4000-8000-000000000001"
             "\"},\"effectiveDateTime\":\"%s\",\"valueQuantity\":{"
             "\"value\":9400,\"system\":\"http://unitsofmeasure.org\","
             "\"code\":\"mL/min\"}}}]}",
             number, when);
    assert_true(world_bundle(w, text) < 300);
}

static void a_word_is_of_one_patient(void **state)
{
    struct world *w = world(state);
    char name[40];

    feed_local(w, "3001");
    assert_int_equal(held(w), 1);
    snprintf(name, sizeof(name), "%lld",
             world_count(w, "SELECT resource FROM held"));
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = name), 200);
    assert_int_equal(held(w), 0);
    feed_local(w, "3001"); /* the same again: it was dealt with */
    assert_int_equal(held(w), 0);
    feed_local(w, "3002"); /* somebody else */
    assert_int_equal(held(w), 1);
}

static void another_patient_is_not_bound_by_it(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "900", .patient = "Patient/p-2"));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .access = "A-8"),
                     200);
    assert_int_equal(of_access(w, "acc-8"), 1);
    feed(w, OBS(.id = "o1", .value = "900", .patient = "Patient/p-1"));
    assert_int_equal(of_access(w, "acc-8"), 0);
    assert_int_equal(of_access(w, "acc-7"), 1);
}

static void the_sender_says_otherwise_since(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "900", .patient = "Patient/p-2"));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .access = "A-8"),
                     200);
    feed(w, OBS(.id = "o1", .value = "910", .patient = "Patient/p-2",
                .access = "BodyStructure/acc-9"));
    assert_int_equal(of_access(w, "acc-8"), 0);
    assert_int_equal(of_access(w, "acc-9"), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM held WHERE reason = 'access'"), 1);
    /* and the person looks again */
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .access = "A-9"),
                     200);
    assert_int_equal(of_access(w, "acc-9"), 1);

    feed(w, OBS(.id = "o2", .code = "hand-symptom", .sign = "pain-at-rest",
                .access = "BodyStructure/acc-7", .site = "right hand"));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o2"), .side = "left"),
                     200);
    assert_int_equal(held(w), 0);
    feed(w, OBS(.id = "o2", .code = "hand-symptom", .sign = "numbness",
                .access = "BodyStructure/acc-7", .site = "right hand"));
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM held WHERE reason = 'side'"), 1);
}

static void a_word_can_be_taken_back(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "9400"));
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o1"), .as_sent = true), 200);
    assert_int_equal(readings(w, "o1"), 1);
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = named("o1")), 200);
    assert_int_equal(readings(w, "o1"), 0);

    feed(w, OBS(.id = "o2", .value = "900", .patient = "Patient/p-2"));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o2"), .access = "A-8"),
                     200);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o2"), .access = "A-9"),
                     200);
    assert_int_equal(of_access(w, "acc-8"), 0);
    assert_int_equal(of_access(w, "acc-9"), 1);
    /* what nobody has said a word on is no affair of this list */
    feed(w, OBS(.id = "o3", .value = "900"));
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = named("o3")), 409);
    assert_int_equal(readings(w, "o3"), 1);
}

/* One may be that of a pump, which must never become the access's flow. */
static void which_code_is_meant_is_not_guessed(void **state)
{
    struct world *w = world(state);

    feed(w, "{\"resourceType\":\"Observation\",\"id\":\"c1\",\"status\":"
            "\"final\",\"code\":{\"coding\":[{\"system\":\"" LOCAL
            "\",\"code\":\"PUMP\"},{\"code\":\"BARE\"}]},\"subject\":"
            "{\"reference\":\"Patient/p-1\"},\"effectiveDateTime\":"
            "\"2026-03-05\",\"component\":[{\"code\":{\"coding\":[{"
            "\"system\":\"" LOCAL "\",\"code\":\"FLOW\"}]},"
            "\"valueQuantity\":{\"value\":900,\"system\":"
            "\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}}]}");
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("c1"), .target = "access-flow"), 409);
    assert_true(says("--code: " LOCAL "|PUMP, " LOCAL "|FLOW"));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("c1"), .code = "NONE",
                         .target = "access-flow"),
                     409);
    assert_int_equal(world_count(w, "SELECT count(*) FROM mapping"), 0);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("c1"),
                         .code = LOCAL "|FLOW", .target = "access-flow"),
                     200);
    assert_true(says("|FLOW is access-flow"));
    assert_int_equal(readings(w, "c1"), 1);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("c1"), .target = "qb"),
                     200);
    assert_true(says("|PUMP is qb"));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("c1"), .target = "ignore"), 409);
    assert_true(says("Every code of"));
    feed(w, "{\"resourceType\":\"Observation\",\"id\":\"c2\",\"status\":"
            "\"final\",\"code\":{\"coding\":[{\"code\":\"BARE\"}]},"
            "\"subject\":{\"reference\":\"Patient/p-1\"},"
            "\"effectiveDateTime\":\"2026-03-05\",\"valueQuantity\":{"
            "\"value\":900,\"system\":\"http://unitsofmeasure.org\","
            "\"code\":\"mL/min\"}}");
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("c2"), .target = "ignore"), 409);
    assert_true(says("without a system"));
}

/* A panel of components, each a flow of the access or of the pump. */
static void feed_panel(struct world *w, const char *id, const char *first,
                       const char *second)
{
    const char *codes[2] = { first, second };
    char text[2000];
    size_t len = (size_t)snprintf(
        text, sizeof(text),
        "{\"resourceType\":\"Observation\",\"id\":\"%s\",\"status\":"
        "\"final\",\"code\":{\"coding\":[{\"system\":\"" LOCAL
        "\",\"code\":\"SESSION\"}]},\"subject\":{\"reference\":"
        "\"Patient/p-2\"},\"effectiveDateTime\":\"2026-03-05\","
        "\"component\":[",
        id);

    for (int i = 0; i < 2 && codes[i] != NULL; i++)
        len += (size_t)snprintf(
            text + len, sizeof(text) - len,
            "%s{\"code\":{\"coding\":[{\"system\":\"" OBS_CODES
            "\",\"code\":\"%s\"}]},\"valueQuantity\":{\"value\":%d,"
            "\"system\":\"http://unitsofmeasure.org\",\"code\":"
            "\"mL/min\"}}",
            i > 0 ? "," : "", codes[i], 300 + i);
    snprintf(text + len, sizeof(text) - len, "]}");
    feed(w, text);
}

static long long held_for(struct world *w, const char *quantity)
{
    char sql[200];
    enum quantity q = Q_NONE;

    assert_int_equal(quantity_by_code(quantity, strlen(quantity), &q), ERR_OK);
    snprintf(sql, sizeof(sql), "SELECT count(*) FROM held WHERE quantity = %d",
             (int)q);
    return world_count(w, sql);
}

/* It is said of what is measured, wherever that stands in a later version. */
static void a_word_follows_its_component(void **state)
{
    struct world *w = world(state);

    feed_panel(w, "c1", "qb", NULL);
    assert_int_equal(held_for(w, "qb"), 1);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("c1"), .access = "A-8"),
                     200);
    assert_int_equal(of_access(w, "acc-8"), 1);
    feed_panel(w, "c1", "access-flow", "qb"); /* one has come before it */
    assert_int_equal(of_access(w, "acc-8"), 1);
    assert_int_equal(held_for(w, "qb"), 0);
    assert_int_equal(held_for(w, "access-flow"), 1);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("c1"), .access = "A-9"),
                     200);
    assert_int_equal(of_access(w, "acc-8"), 1);
    assert_int_equal(of_access(w, "acc-9"), 1);
    feed_panel(w, "c1", "qb", "access-flow"); /* and they change places */
    assert_int_equal(held(w), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM reading g JOIN access a ON a.id ="
                       " g.owner JOIN resource r ON r.id = a.resource WHERE"
                       " r.fid = 'acc-8' AND g.slot = 1"),
        1);
    feed_panel(w, "c1", "access-flow", NULL); /* one goes */
    assert_int_equal(of_access(w, "acc-8"), 0);
    assert_int_equal(of_access(w, "acc-9"), 1);
    feed_panel(w, "c1", "access-flow", "qb"); /* and comes again */
    assert_int_equal(of_access(w, "acc-8"), 1);
    assert_int_equal(of_access(w, "acc-9"), 1);
}

/* Of two that measure the same nobody can say which one it was. */
static void of_two_of_one_code_neither_is_guessed(void **state)
{
    struct world *w = world(state);

    feed_panel(w, "c1", "qb", NULL);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("c1"), .access = "A-8"),
                     200);
    feed_panel(w, "c1", "qb", "qb");
    assert_int_equal(of_access(w, "acc-8"), 0);
    assert_int_equal(held_for(w, "qb"), 2);
    feed_panel(w, "c1", "qb", NULL);
    assert_int_equal(of_access(w, "acc-8"), 1);
}

/* ---- two names turn out to be one patient ---------------------------------- */

static const char *of(const char *id, const char *subject, const char *code,
                      int value)
{
    static char text[6][900];
    static size_t at;
    char *json = text[at++ % 6], when[FHIR_TIME_SIZE];

    fhir_time_write(world_now_s - 3600 * (100 - (int)at), when);
    snprintf(json, sizeof(text[0]),
             "{\"resourceType\":\"Observation\",\"id\":\"%s\",\"status\":"
             "\"final\",\"code\":{\"coding\":[{\"system\":\"%s\",\"code\":"
             "\"%s\"}]},\"subject\":{%s},\"effectiveDateTime\":\"%s\","
             "\"valueQuantity\":{\"value\":%d,\"system\":"
             "\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}}",
             id, strcmp(code, "QB1") == 0 ? LOCAL : OBS_CODES, code, subject,
             when, value);
    return json;
}

#define BY_NAME "\"reference\":\"Patient/p-5\""
#define BY_NUMBER                                                              \
    "\"identifier\":{\"system\":\"" IDS "patient\",\"value\":\"1005\"}"

/* What was held, mapped, said and discarded of either is of both. */
static void united_while_something_is_held(void **state)
{
    struct world *w = world(state);
    char discarded[900];

    snprintf(discarded, sizeof(discarded), "%s",
             of("o2", BY_NUMBER, "access-flow", 9300));
    feed(w, of("o1", BY_NAME, "access-flow", 9400));
    feed(w, discarded);
    feed(w, of("o3", BY_NAME, "QB1", 900));
    feed(w, of("o4", BY_NUMBER, "access-flow", 9200));
    assert_int_equal(held(w), 3);
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o1"), .as_sent = true), 200);
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = named("o2")), 200);
    assert_int_equal(world_put(w, "p-5", pat_json("p-5", "1005")), 201);
    assert_int_equal(
        world_count(w, "SELECT count(DISTINCT patient) FROM verdict"), 1);
    assert_int_equal(held(w), 1); /* o4 waits still, and nothing else */
    assert_int_equal(readings(w, "o1"), 1);
    feed(w, discarded);
    assert_int_equal(held(w), 1);
    assert_int_equal(readings(w, "o2"), 0);
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o3"), .target = "access-flow"), 200);
    assert_int_equal(readings(w, "o3"), 1);
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o4"), .as_sent = true), 200);
    assert_int_equal(readings(w, "o4"), 1);
    assert_int_equal(held(w), 0);
    /* all of it is of one access of one patient */
    assert_int_equal(
        world_count(w, "SELECT count(DISTINCT g.owner) FROM reading g JOIN"
                       " access a ON a.id = g.owner JOIN patient p ON p.id ="
                       " a.patient"),
        1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 3);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM held h WHERE NOT EXISTS (SELECT 1"
                       " FROM patient p WHERE p.id = h.patient)"),
        0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_word_is_of_one_patient),
        TEST(another_patient_is_not_bound_by_it),
        TEST(the_sender_says_otherwise_since),
        TEST(a_word_can_be_taken_back),
        TEST(a_word_follows_its_component),
        TEST(of_two_of_one_code_neither_is_guessed),
        TEST(united_while_something_is_held),
        TEST(which_code_is_meant_is_not_guessed),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

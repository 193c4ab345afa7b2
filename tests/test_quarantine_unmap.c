/* A mapping is taken back: what was read by it goes back to where it was, what
 * it had no part in stays, and what a person said is kept. */
#include "service/maps.h"
#include "service/quarantine_list.h"
#include "tests/quarantine_kit.h"

#define FLOW "urn:example:machine|QB1 is access-flow"

/* The number of the n-th mapping, as a person types it. */
static const char *mapping(struct world *w, int n)
{
    static char text[4][32];
    static size_t at;
    char *to = text[at++ % 4], sql[100];

    snprintf(sql, sizeof(sql),
             "SELECT id FROM mapping ORDER BY id LIMIT 1 OFFSET %d", n - 1);
    snprintf(to, sizeof(text[0]), "%lld", world_count(w, sql));
    return to;
}

static long long unmapped(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM unmapped");
}

static long long at_work(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM mapping WHERE looked >= 0");
}

static void what_it_settled_goes_back(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "QB1", "mL/min", 200));
    feed(w, machine("o2", "QB1", "mL/min", 100));
    feed(w, machine("o3", "access-flow", "mL/min", 300));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    feed(w, machine("o4", "QB1", "mL/min", 50)); /* came after it */
    world_review(w);
    /* 2300 is above 2000 mL/min, the limit of rule HF-1 in config/policy.ini */
    assert_int_equal(world_tasks(w, "refer-flow-review", "requested"), 1);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_true(says("Taken back: " FLOW));
    assert_int_equal(last.count.lost, 3);
    assert_int_equal(last.count.unread, 0);
    assert_int_equal(readings(w, "o1"), 0);
    assert_int_equal(readings(w, "o2"), 0);
    assert_int_equal(readings(w, "o4"), 0);
    assert_int_equal(readings(w, "o3"), 1); /* it had no part in this one */
    assert_int_equal(unmapped(w), 3);
    world_review(w);
    assert_int_equal(world_tasks(w, "refer-flow-review", "requested"), 0);
    assert_int_equal(at_work(w), 0);
    feed(w, machine("o5", "QB1", "mL/min", 20)); /* what comes from now on */
    assert_int_equal(readings(w, "o5"), 0);
    assert_int_equal(unmapped(w), 4);
}

static void it_can_be_mapped_anew(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "QB1", "mL/min", 200));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .target = "qb"),
                     200);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    assert_int_equal(last.count.settled, 1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM reading g JOIN access a ON a.id ="
                       " g.owner JOIN resource r ON r.id = a.resource WHERE"
                       " r.fid = 'acc-7'"),
        1);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 409);
    assert_true(says("taken back already"));
    assert_int_equal(readings(w, "o1"), 1);
}

static void who_and_why_are_kept(void **state)
{
    struct world *w = world(state);
    struct buf out;

    feed(w, machine("o1", "QB1", "mL/min", 200));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM deed d JOIN mapping m ON m.id ="
                       " d.item WHERE d.act = 8 AND d.who = 'A Nurse' AND"
                       " d.why = 'the unit was asked' AND d.settled = 1 AND"
                       " m.who = 'A Nurse' AND d.detail = '" FLOW "'"),
        1);
    buf_init(&out, 10000);
    assert_int_equal(quarantine_maps(w->db, false, w->zone, &out), ERR_OK);
    assert_non_null(strstr(out.data, FLOW));
    assert_non_null(strstr(out.data, "TAKEN BACK"));
    buf_empty(&out);
    assert_int_equal(quarantine_maps(w->db, true, w->zone, &out), ERR_OK);
    assert_non_null(strstr(out.data, "\"target\":\"access-flow\""));
    assert_non_null(strstr(out.data, "\"lost\":1"));
    buf_clear(&out);
}

static void what_is_no_mapping_is_refused(void **state)
{
    struct world *w = world(state);

    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = "all"), 400);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = "-4"), 400);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = "12x"), 400);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = "1"), 404);
    assert_int_equal(world_count(w, "SELECT count(*) FROM deed"), 0);
}

/* An earlier one of the same code, and a later one, stay what they were. */
static void only_that_one_is_taken_back(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "QB1", NULL, 200));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .unit = "mL/min"),
                     200);
    assert_int_equal(readings(w, "o1"), 1);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 2)), 200);
    assert_true(says("1 other mapping of it still counts"));
    assert_int_equal(readings(w, "o1"), 0);
    assert_int_equal(held(w), 1); /* its code is known, and its unit is not */
    assert_int_equal(unmapped(w), 0);
}

/* ---- units ----------------------------------------------------------------- */

static void a_word_for_a_unit_is_of_one_code(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "access-flow", "millis", 200));
    feed(w, machine("o2", "QB1", "millis", 200));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o2"), .target = "access-flow"), 200);
    assert_int_equal(held(w), 2);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .unit = "L/min"),
                     200);
    /* 2300 L/min is read, and is implausible; that of the other sender still
     * waits for its unit */
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM held h JOIN resource r ON r.id ="
                       " h.resource WHERE r.fid = 'o1' AND h.reason ="
                       " 'implausible'"),
        1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM held h JOIN resource r ON r.id ="
                       " h.resource WHERE r.fid = 'o2' AND h.reason = 'unit'"),
        1);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o2"), .unit = "mL/min"),
                     200);
    assert_int_equal(readings(w, "o2"), 1);
    assert_int_equal(readings(w, "o1"), 0);
}

static void a_unit_that_does_not_fit_is_refused(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "access-flow", "millis", 200));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .unit = "kg"),
                     400);
    assert_true(says("does not convert to mL/min"));
    assert_int_equal(world_count(w, "SELECT count(*) FROM mapping"), 0);
}

static void a_word_for_a_unit_is_taken_back(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "access-flow", "millis", 200));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .unit = "mL/min"),
                     200);
    feed(w, machine("o2", "access-flow", "millis", 100));
    feed(w, machine("o3", "access-flow", "mL/min", 50));
    assert_int_equal(held(w), 0);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_true(says("the unit 'millis' of "));
    assert_int_equal(last.count.lost, 2);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM held WHERE reason = 'unit'"), 2);
    assert_int_equal(readings(w, "o3"), 1);
}

/* One that an earlier version kept for every code still counts, and can be
 * taken back. */
static void a_word_of_every_code_is_taken_back(void **state)
{
    struct world *w = world(state);
    const struct codes_line line = { .system = CODES_UNIT,
                                     .code = "millis",
                                     .target = "mL/min",
                                     .unit = "",
                                     .arm = "",
                                     .from_s = INT64_MIN };
    struct buf why;
    int64_t id = 0;

    buf_init(&why, 1000);
    assert_int_equal(maps_store(w->db, &line, "A Nurse", "x", 1, &id), ERR_OK);
    assert_int_equal(maps_learn_stored(w->db, w->codes, &why), ERR_OK);
    buf_clear(&why);
    feed(w, machine("o1", "access-flow", "millis", 200));
    assert_int_equal(readings(w, "o1"), 1);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_true(says("the unit 'millis' of every code is mL/min"));
    assert_int_equal(readings(w, "o1"), 0);
    assert_int_equal(held(w), 1);
}

/* ---- wherever it may stand ------------------------------------------------- */

/* JSON may write any letter by its number (RFC 8259, section 7). */
static void an_escaped_code_is_found(void **state)
{
    struct world *w = world(state);
    char text[900];

    feed(w, machine("o1", "QB1", "mL/min", 200));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    snprintf(text, sizeof(text), "%s",
             machine("o2", "\\u0051B\\u0031", "mL/min", 100));
    feed(w, text);
    assert_int_equal(readings(w, "o2"), 1);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_int_equal(readings(w, "o2"), 0);
}

static void names_within_a_bundle_are_no_hindrance(void **state)
{
    struct world *w = world(state);
    const char *bundle =
        "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":["
        "{\"fullUrl\":\"urn:uuid:11111111-1111-4111-8111-111111111111\","
        "\"resource\":{\"resourceType\":\"Patient\",\"identifier\":[{\"system\""
        ":\"" IDS "patient\",\"value\":\"1009\"}]}},"
        "{\"resource\":{\"resourceType\":\"Observation\",\"id\":\"o9\","
        "\"status\":\"final\",\"code\":{\"coding\":[{\"system\":\"" LOCAL
        "\",\"code\":\"QB1\"}]},\"subject\":{\"reference\":"
        "\"urn:uuid:11111111-1111-4111-8111-111111111111\"},"
        "\"effectiveDateTime\":\"2026-03-05\",\"valueQuantity\":{\"value\":900,"
        "\"system\":\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}}}]}";

    feed(w, machine("o1", "QB1", "mL/min", 200));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    assert_true(world_bundle(w, bundle) < 300);
    assert_int_equal(readings(w, "o9"), 1);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_int_equal(readings(w, "o9"), 0);
    assert_int_equal(last.count.unread, 0);
}

/* More than are looked through at one step, in the order of their numbers. */
static void many_are_looked_through(void **state)
{
    struct world *w = world(state);
    char id[16];

    for (int n = 0; n < 450; n++) {
        snprintf(id, sizeof(id), "m%d", n);
        feed(w, machine(id, n % 3 == 0 ? "QB1" : "access-flow", "mL/min",
                        100 + n));
    }
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("m0"), .target = "access-flow"), 200);
    assert_int_equal(last.count.settled, 150);
    assert_int_equal(SAY(QUARANTINE_UNMAP, .item = mapping(w, 1)), 200);
    assert_int_equal(last.count.lost, 150);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 300);
}

/* ---- a stop in between ----------------------------------------------------- */

/* A start knows of it from the store, and goes on. */
static void a_stop_leaves_nothing_in_use(void **state)
{
    struct world *w = world(state);
    struct again_count count = { .looked = 0 };
    struct codes *after = NULL;
    struct fhir_reader reader = w->reader;
    struct buf why;
    bool more = true;

    feed(w, machine("o1", "QB1", "mL/min", 200));
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named("o1"), .target = "access-flow"), 200);
    prepare(w,
            &(struct word){ .verb = QUARANTINE_UNMAP, .item = mapping(w, 1) });
    assert_int_equal(world_step(w, step, &last), ERR_OK);
    assert_true(last.more); /* and here the process ends */
    assert_int_equal(readings(w, "o1"), 1);

    buf_init(&why, 1000);
    assert_int_equal(codes_new("https://headgate.example/fhir", &after),
                     ERR_OK);
    assert_int_equal(maps_learn_stored(w->db, after, &why), ERR_OK);
    assert_int_equal(codes_find(after, LOCAL, "QB1", CODES_NEWEST).meaning,
                     CODE_UNKNOWN);
    reader.codes = after;
    for (int n = 0; more && n < 10; n++)
        assert_int_equal(again_mapping(w->db, &reader, 0, &count, &more),
                         ERR_OK);
    assert_int_equal(readings(w, "o1"), 0);
    assert_int_equal(count.lost, 1);
    assert_int_equal(world_count(w, "SELECT settled FROM deed WHERE act = 8"),
                     1);
    codes_free(after);
    buf_clear(&why);
}

/* A mapping whose step was not kept is not read by. */
static void what_is_not_kept_is_not_known(void **state)
{
    struct world *w = world(state);

    feed(w, machine("o1", "QB1", "mL/min", 200));
    prepare(w, &(struct word){ .verb = QUARANTINE_MAP,
                               .item = named("o1"),
                               .target = "access-flow" });
    assert_int_equal(world_step(w, step, &last), ERR_OK);
    assert_int_equal(codes_find(w->codes, LOCAL, "QB1", CODES_NEWEST).meaning,
                     CODE_QUANTITY);
    quarantine_act_failed(&last); /* as if the disk had been full */
    assert_int_equal(codes_find(w->codes, LOCAL, "QB1", CODES_NEWEST).meaning,
                     CODE_UNKNOWN);
    /* what has been kept is not forgotten for a later step that fails */
    prepare(w, &(struct word){ .verb = QUARANTINE_MAP,
                               .item = named("o1"),
                               .target = "qb" });
    assert_int_equal(world_step(w, step, &last), ERR_OK);
    assert_int_equal(world_step(w, step, &last), ERR_OK);
    quarantine_act_failed(&last);
    assert_int_equal(codes_find(w->codes, LOCAL, "QB1", CODES_NEWEST).meaning,
                     CODE_QUANTITY);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(what_it_settled_goes_back),
        TEST(it_can_be_mapped_anew),
        TEST(who_and_why_are_kept),
        TEST(what_is_no_mapping_is_refused),
        TEST(only_that_one_is_taken_back),
        TEST(a_word_for_a_unit_is_of_one_code),
        TEST(a_unit_that_does_not_fit_is_refused),
        TEST(a_word_for_a_unit_is_taken_back),
        TEST(a_word_of_every_code_is_taken_back),
        TEST(an_escaped_code_is_found),
        TEST(names_within_a_bundle_are_no_hindrance),
        TEST(many_are_looked_through),
        TEST(a_stop_leaves_nothing_in_use),
        TEST(what_is_not_kept_is_not_known),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

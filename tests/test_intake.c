/* What comes in: whose identity it has, what it changes, what is answered. */
#include "tests/service_world.h"
#include "tests/test.h"

static long long resources(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM resource");
}

static long long readings(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM reading");
}

/* The value of the only reading; -1 if there is not exactly one. */
static long long only_value(struct world *w)
{
    return world_count(w, "SELECT CASE count(*) WHEN 1 THEN max(value) ELSE -1"
                          " END FROM reading WHERE status <> 3");
}

static int version(const struct world *w)
{
    return w->in.results[0].version;
}

/* ---- identities ----------------------------------------------------------- */

static void a_post_is_named_by_us(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.id = "theirs", .value = "900")), 201);
    assert_string_not_equal(world_fid(w, 0), "theirs");
    assert_true(fhir_is_id(world_fid(w, 0)));
    assert_int_equal(version(w), 1);
}

static void a_put_is_named_by_the_sender(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "900")), 201);
    assert_string_equal(world_fid(w, 0), "o1");
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "950")), 200);
    assert_int_equal(version(w), 2);
    assert_int_equal(only_value(w), 950);
    /* the same content again changes nothing */
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "950")), 200);
    assert_true(world_says(w, 0, "duplicate"));
    assert_int_equal(version(w), 2);
    /* back to what it was before is a change */
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "900")), 200);
    assert_int_equal(version(w), 3);
    assert_int_equal(only_value(w), 900);
    assert_int_equal(resources(w), 1);
}

/* In a collection the identifier tells, else the id. */
static void a_collection_is_known_by_identifier_or_id(void **state)
{
    struct world *w = world(state);
    const char *entry;

    entry = entry_json(NULL, NULL,
                       OBS(.id = "x1", .identifier = "1", .value = "900"));
    assert_int_equal(world_bundle(w, bundle_json("collection", entry, NULL)),
                     201);
    entry = entry_json(NULL, NULL,
                       OBS(.id = "x2", .identifier = "1", .value = "950",
                           .status = "corrected"));
    assert_int_equal(world_bundle(w, bundle_json("collection", entry, NULL)),
                     200);
    assert_string_equal(world_fid(w, 0), "x1");
    assert_int_equal(only_value(w), 950);

    entry =
        entry_json(NULL, NULL, OBS(.id = "x3", .value = "1000", .ago_h = 1));
    assert_int_equal(world_bundle(w, bundle_json("collection", entry, NULL)),
                     201);
    assert_string_equal(world_fid(w, 0), "x3");
    entry =
        entry_json(NULL, NULL, OBS(.id = "x3", .value = "1010", .ago_h = 1));
    assert_int_equal(world_bundle(w, bundle_json("collection", entry, NULL)),
                     200);
    assert_int_equal(resources(w), 2);
    assert_int_equal(readings(w), 2);
}

static void two_identities_of_one_sending_are_a_conflict(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_put(w, "o1", OBS(.id = "o1", .identifier = "1", .value = "900")),
        201);
    assert_int_equal(
        world_put(w, "o2", OBS(.id = "o2", .identifier = "1", .value = "950")),
        409);
    assert_true(world_says(w, 0, "identity"));
    assert_string_equal(world_fid(w, 0), "");
    assert_int_equal(resources(w), 1);
    assert_int_equal(only_value(w), 900);
}

/* ---- the same reading, or another (decision by identity) ------------------ */

static void a_repeat_by_identifier_changes_nothing(void **state)
{
    struct world *w = world(state);
    const char *json = OBS(.identifier = "1", .value = "900");
    char fid[FID_SIZE];

    assert_int_equal(world_post(w, json), 201);
    snprintf(fid, sizeof(fid), "%s", world_fid(w, 0));
    assert_int_equal(world_post(w, json), 200);
    assert_true(world_says(w, 0, "duplicate"));
    assert_string_equal(world_fid(w, 0), fid);
    assert_int_equal(version(w), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM journal"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM version"), 1);
}

/* One number for all results of a session: what is measured tells them apart. */
static void one_identifier_for_a_session_is_not_one_reading(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.identifier = "S-1", .value = "900")),
                     201);
    assert_int_equal(world_post(w, OBS(.identifier = "S-1", .value = "12",
                                       .code = "recirculation", .unit = "%")),
                     201);
    assert_int_equal(readings(w), 2);
}

static void without_identifier_equal_is_the_same(void **state)
{
    static const struct {
        const char *name;
        struct obs obs;
        int status;
    } cases[] = {
        { "equal in everything", { .value = "900" }, 200 },
        { "equal, other digits", { .value = "900.0" }, 200 },
        { "another value", { .value = "901" }, 201 },
        { "another time", { .value = "900", .ago_h = 1 }, 201 },
        { "another quantity",
          { .value = "900", .code = "uf-volume", .unit = "mL" },
          201 },
        { "another method",
          { .value = "900",
            .more = ",\"method\":{\"coding\":[{\"system\":\"" BASE
                    "/CodeSystem/av-method\",\"code\":\"duplex\"}]}" },
          201 },
        { "another patient",
          { .value = "900", .patient = "Patient/p-2" },
          201 },
        { "another access",
          { .value = "900", .access = "BodyStructure/other" },
          201 },
        { "the access named",
          { .value = "900", .access = "BodyStructure/acc-7" },
          200 },
        { "with an identifier", { .value = "900", .identifier = "9" }, 201 },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;
        int status;

        ROW(cases[i].name);
        world_start(state);
        w = world(state);
        assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
        assert_int_equal(world_post(w, OBS(.value = "900")), 201);
        status = world_post(w, obs_json(&cases[i].obs));
        assert_int_equal(status, cases[i].status);
        assert_int_equal(world_says(w, 0, "duplicate"), status == 200);
        world_stop(state);
    }
}

/* What is held is in no history; a repeat of it is found all the same. */
static void a_repeat_of_what_is_held_is_found(void **state)
{
    struct world *w = world(state);
    const char *json = OBS(.value = "20000");

    assert_int_equal(world_post(w, json), 201);
    assert_int_equal(world_post(w, json), 200);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
}

/* Replicates have identifiers of their own: both count. */
static void replicates_are_kept(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "900")),
                     201);
    assert_int_equal(world_post(w, OBS(.identifier = "2", .value = "900")),
                     201);
    assert_int_equal(readings(w), 2);
}

/* ---- corrections and withdrawals ------------------------------------------ */

static void a_correction_takes_the_place(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "2150")),
                     201);
    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "1250",
                                       .status = "corrected")),
                     200);
    assert_int_equal(version(w), 2);
    assert_int_equal(only_value(w), 1250);
    assert_int_equal(world_count(w, "SELECT ver FROM reading WHERE status = 1"),
                     2);
}

/* A withdrawal may be stripped to the bone: no value, no time, no code, no
 * subject (FHIR R4 Observation: they need not be repeated). */
static void a_withdrawal_takes_the_reading_out(void **state)
{
    static const struct {
        const char *name;
        const char *json; /* NULL: built */
        bool post;
    } cases[] = {
        { "put, with code and subject", NULL, false },
        { "posted, by identifier", NULL, true },
        { "put, without code",
          "{\"resourceType\":\"Observation\",\"id\":\"o1\",\"status\":"
          "\"entered-in-error\",\"subject\":{\"reference\":\"Patient/p-1\"}}",
          false },
        { "put, without subject",
          "{\"resourceType\":\"Observation\",\"id\":\"o1\",\"status\":"
          "\"entered-in-error\",\"code\":{\"text\":\"flow\"}}",
          false },
        { "put, status alone",
          "{\"resourceType\":\"Observation\",\"id\":\"o1\",\"status\":"
          "\"entered-in-error\"}",
          false },
        { "posted, identifier alone",
          "{\"resourceType\":\"Observation\",\"identifier\":[{\"system\":\"" IDS
          "obs\",\"value\":\"1\"}],\"status\":\"entered-in-error\",\"subject\":"
          "{\"reference\":\"Patient/p-1\"}}",
          true },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;
        const char *json = cases[i].json;

        ROW(cases[i].name);
        world_start(state);
        w = world(state);
        assert_int_equal(
            world_put(w, "o1",
                      OBS(.id = "o1", .identifier = "1", .value = "2150")),
            201);
        world_review(w);
        assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 0);
        if (json == NULL)
            json = OBS(.id = "o1", .identifier = "1", .bare = true,
                       .status = "entered-in-error");
        assert_int_equal(cases[i].post ? world_post(w, json)
                                       : world_put(w, "o1", json),
                         200);
        assert_int_equal(version(w), 2);
        assert_int_equal(readings(w), 0);
        assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 1);
        world_stop(state);
    }
}

static void a_withdrawal_of_the_unknown_needs_a_subject(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_put(w, "o9",
                               "{\"resourceType\":\"Observation\",\"id\":"
                               "\"o9\",\"status\":\"entered-in-error\"}"),
                     422);
    assert_true(world_says(w, 0, "no-subject"));
    assert_int_equal(
        world_put(w, "o9",
                  OBS(.id = "o9", .status = "entered-in-error", .bare = true)),
        201);
}

/* One number for a whole session does not tell which result is withdrawn;
 * afterwards the result is still known by its number and code. */
static void a_bare_withdrawal_is_not_guessed(void **state)
{
    static const char bare[] =
        "{\"resourceType\":\"Observation\",\"identifier\":[{\"system\":\"" IDS
        "obs\",\"value\":\"S-1\"}],\"status\":\"entered-in-error\","
        "\"subject\":{\"reference\":\"Patient/p-1\"}}";
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.identifier = "S-1", .value = "900",
                                       .more = ",\"issued\":"
                                               "\"2026-03-06T09:00:00Z\"")),
                     201);
    assert_int_equal(world_post(w, bare), 200);
    assert_int_equal(readings(w), 0);
    assert_int_equal(world_post(w, OBS(.identifier = "S-1", .value = "905",
                                       .more = ",\"issued\":"
                                               "\"2026-03-06T08:00:00Z\"")),
                     200);
    assert_true(world_says(w, 0, "out-of-order"));
    assert_int_equal(
        world_count(w, "SELECT sum(count) FROM tally WHERE class = 4 AND "
                       "reason = 'out-of-order'"),
        1);
    assert_int_equal(resources(w), 1);

    assert_int_equal(world_post(w, OBS(.identifier = "S-1", .value = "12",
                                       .code = "recirculation", .unit = "%")),
                     201);
    assert_int_equal(world_post(w, bare), 409);
    assert_true(world_says(w, 0, "identity"));
    assert_int_equal(readings(w), 1);
}

/* What was measured is not brought back by what came late. */
static void what_comes_out_of_order_does_not_undo(void **state)
{
    static const struct {
        const char *name, *first, *then;
        const char *issued_first, *issued_then;
        bool put, stands;
    } cases[] = {
        { "final after corrected", "corrected", "final", NULL, NULL, false,
          true },
        { "final after withdrawal", "entered-in-error", "final", NULL, NULL,
          false, true },
        { "preliminary after corrected", "amended", "preliminary", NULL, NULL,
          false, true },
        { "issued before the correction", "corrected", "final",
          "2026-03-05T10:00:00Z", "2026-03-05T09:00:00Z", false, true },
        { "issued after the correction", "corrected", "final",
          "2026-03-05T10:00:00Z", "2026-03-05T11:00:00Z", false, false },
        { "a second correction", "corrected", "corrected", NULL, NULL, false,
          false },
        { "a PUT is the owner's word", "corrected", "final", NULL, NULL, true,
          false },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;
        char first[64] = "", then[64] = "";
        const char *json;

        ROW(cases[i].name);
        world_start(state);
        w = world(state);
        if (cases[i].issued_first != NULL) {
            snprintf(first, sizeof(first), ",\"issued\":\"%s\"",
                     cases[i].issued_first);
            snprintf(then, sizeof(then), ",\"issued\":\"%s\"",
                     cases[i].issued_then);
        }
        assert_int_equal(
            world_put(w, "o1",
                      OBS(.id = "o1", .identifier = "1", .value = "1250",
                          .status = cases[i].first, .more = first)),
            201);
        json = OBS(.id = "o1", .identifier = "1", .value = "2150",
                   .status = cases[i].then, .more = then);
        assert_int_equal(
            cases[i].put ? world_put(w, "o1", json) : world_post(w, json), 200);
        assert_int_equal(world_says(w, 0, "out-of-order"), cases[i].stands);
        assert_int_equal(version(w), cases[i].stands ? 1 : 2);
        if (!cases[i].stands)
            assert_int_equal(only_value(w), 2150);
        else if (strcmp(cases[i].first, "entered-in-error") != 0)
            assert_int_equal(only_value(w), 1250);
        else
            assert_int_equal(readings(w), 0);
        world_stop(state);
    }
}

/* A derived value goes with the value it was calculated from, whichever of
 * the two came first. */
static void a_derived_value_goes_with_its_source(void **state)
{
    static const bool withdrawn_first[] = { false, true };

    for (size_t i = 0; i < COUNT(withdrawn_first); i++) {
        struct world *w;
        const char *gone = OBS(.id = "p", .code = "digital-pressure",
                               .bare = true, .status = "entered-in-error");
        const char *index =
            OBS(.id = "i", .code = "digital-brachial-index", .value = "0.35",
                .unit = "1", .access = "BodyStructure/acc-7",
                .more = ",\"derivedFrom\":[{\"reference\":\"Observation/p\"}]");

        ROW(withdrawn_first[i] ? "the withdrawal came first" : "in order");
        world_start(state);
        w = world(state);
        assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
        assert_int_equal(
            world_put(w, "p",
                      OBS(.id = "p", .code = "digital-pressure", .value = "45",
                          .unit = "mm[Hg]", .access = "BodyStructure/acc-7")),
            201);
        if (withdrawn_first[i])
            assert_int_equal(world_put(w, "p", gone), 200);
        assert_int_equal(world_put(w, "i", index), 201);
        world_review(w);
        if (!withdrawn_first[i]) {
            assert_int_equal(readings(w), 2);
            assert_int_equal(world_put(w, "p", gone), 200);
        }
        assert_int_equal(
            world_count(w, "SELECT count(*) FROM reading WHERE status <> 3"),
            0);
        if (!withdrawn_first[i])
            assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 1);
        world_stop(state);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(a_post_is_named_by_us),
        TEST(a_put_is_named_by_the_sender),
        TEST(a_collection_is_known_by_identifier_or_id),
        TEST(two_identities_of_one_sending_are_a_conflict),
        TEST(a_repeat_by_identifier_changes_nothing),
        TEST(one_identifier_for_a_session_is_not_one_reading),
        cmocka_unit_test(without_identifier_equal_is_the_same),
        TEST(a_repeat_of_what_is_held_is_found),
        TEST(replicates_are_kept),
        TEST(a_correction_takes_the_place),
        cmocka_unit_test(a_withdrawal_takes_the_reading_out),
        TEST(a_withdrawal_of_the_unknown_needs_a_subject),
        TEST(a_bare_withdrawal_is_not_guessed),
        cmocka_unit_test(what_comes_out_of_order_does_not_undo),
        cmocka_unit_test(a_derived_value_goes_with_its_source),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

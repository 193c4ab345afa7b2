/* Conditions, Bundles, and what is kept back. */
#include "tests/service_world.h"
#include "tests/test.h"

static long long resources(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM resource");
}

/* ---- conditions ----------------------------------------------------------- */

/* FHIR R4, http.html: the version is sent as a weak ETag. */
static void if_match_names_the_version(void **state)
{
    static const struct {
        const char *tag;
        int status;
    } cases[] = {
        { "W/\"1\"", 412 }, { "W/\"3\"", 412 }, { "junk", 412 },
        { "", 412 },        { "W/\"2\"", 200 },
    };
    struct world *w = world(state);

    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "900")), 201);
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "910")), 200);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].tag);
        assert_int_equal(world_put_if(w, "o1", OBS(.id = "o1", .value = "920"),
                                      cases[i].tag),
                         cases[i].status);
        assert_int_equal(world_says(w, 0, "precondition"),
                         cases[i].status == 412);
    }
    /* without the W/ some clients send it, and we take it */
    assert_int_equal(
        world_put_if(w, "o1", OBS(.id = "o1", .value = "930"), "\"3\""), 200);
    /* what is not there has no version */
    assert_int_equal(
        world_put_if(w, "o2", OBS(.id = "o2", .value = "930"), "W/\"1\""), 412);
    assert_int_equal(resources(w), 1);
}

static void if_none_exist_finds_what_is_there(void **state)
{
    static const char by_number[] = "identifier=" IDS "obs|1";
    struct world *w = world(state);
    char fid[FID_SIZE];

    assert_int_equal(
        world_post_if(w, OBS(.identifier = "1", .value = "900"), by_number),
        201);
    snprintf(fid, sizeof(fid), "%s", world_fid(w, 0));
    /* whatever the body says: the one that is there stays as it is */
    assert_int_equal(
        world_post_if(w, OBS(.identifier = "1", .value = "950"), by_number),
        200);
    assert_string_equal(world_fid(w, 0), fid);
    assert_int_equal(w->in.results[0].version, 1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM reading WHERE value = 950"), 0);
    /* as it is sent in a header (FHIR R4, http.html 3.1.0.8.1) */
    assert_int_equal(
        world_post_if(w, OBS(.identifier = "1", .value = "950"),
                      "identifier=https%3A%2F%2Fsite.example%2Fids%2Fobs%7C1"),
        200);
    /* one without a system is another one */
    assert_int_equal(world_post_if(w, OBS(.identifier = "2", .value = "950"),
                                   "identifier=|1"),
                     201);
    /* several */
    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "12",
                                       .code = "recirculation", .unit = "%")),
                     201);
    assert_int_equal(
        world_post_if(w, OBS(.identifier = "3", .value = "900"), by_number),
        412);
    assert_true(world_says(w, 0, "precondition"));
    /* a query that is not understood must not create anything */
    assert_int_equal(world_post_if(w, OBS(.identifier = "4", .value = "900"),
                                   "code=access-flow"),
                     412);
    assert_int_equal(world_post_if(w, OBS(.identifier = "4", .value = "900"),
                                   "identifier=1&status=final"),
                     412);
    assert_int_equal(world_post_if(w, OBS(.identifier = "4", .value = "900"),
                                   "identifier=1"),
                     412);
    assert_int_equal(resources(w), 3);
}

/* ---- Bundles -------------------------------------------------------------- */

static const char *posted(const char *json)
{
    return entry_json("POST", "Observation", json);
}

static void a_batch_takes_what_it_can(void **state)
{
    struct world *w = world(state);

    world_bundle(
        w, bundle_json(
               "batch", posted(OBS(.identifier = "1", .value = "900")),
               posted(OBS(.identifier = "2", .value = "9", .unit = "mmol/L")),
               entry_json("PUT", "BodyStructure/acc-7",
                          ACC(.id = "acc-7", .patient = "Patient/p-1")),
               entry_json("POST", "Device", "{\"resourceType\":\"Device\"}"),
               posted(OBS(.identifier = "1", .value = "900")),
               entry_json("PUT", "BodyStructure/acc-8",
                          ACC(.id = "acc-7", .patient = "Patient/p-1")),
               NULL));
    assert_int_equal(w->err, ERR_OK);
    assert_false(w->in.all_failed);
    assert_int_equal(world_status(w, 0), 201);
    assert_int_equal(world_status(w, 1), 422);
    assert_true(
        world_says_at(w, 1, "unit", "Observation.value.ofType(Quantity).code"));
    assert_int_equal(world_status(w, 2), 201);
    assert_int_equal(world_status(w, 3), 422);
    assert_true(world_says(w, 3, "not-supported"));
    assert_int_equal(world_status(w, 4), 200); /* the same as the first */
    assert_string_equal(world_fid(w, 4), world_fid(w, 0));
    assert_int_equal(world_status(w, 5), 400);
    assert_int_equal(resources(w), 2);
    assert_int_equal(world_count(w, "SELECT count(*) FROM journal"), 1);
}

/* The message is kept with the first entry that needs it; if that one is
 * undone, the next must keep it anew. */
static void an_entry_undone_takes_no_bytes_of_others_away(void **state)
{
    struct world *w = world(state);
    struct resource r;
    struct buf out;
    int64_t updated_ms;

    assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
    world_bundle(
        w, bundle_json("batch",
                       entry_json("PUT", "BodyStructure/acc-7",
                                  ACC(.id = "acc-7", .patient = "Patient/p-2")),
                       entry_json("PUT", "Observation/o1",
                                  OBS(.id = "o1", .value = "905")),
                       NULL));
    assert_int_equal(world_status(w, 0), 409);
    assert_int_equal(world_status(w, 1), 201);
    buf_init(&out, 1 << 16);
    assert_int_equal(resource_by_fid(w->db, FHIR_OBSERVATION, "o1", &r),
                     ERR_OK);
    assert_int_equal(resource_body(w->db, &r, 0, &out, &updated_ms), ERR_OK);
    assert_non_null(strstr(out.data, "\"value\":905"));
    buf_clear(&out);
    assert_int_equal(world_count(w, "SELECT count(*) FROM journal"), 2);
}

/* One entry that fails undoes all, wherever it stands and whoever finds the
 * fault: the reader, or the store. */
static void a_transaction_is_all_or_nothing(void **state)
{
    static const struct {
        const char *name, *word, *place;
        bool of_store;
        int status;
    } cases[] = {
        { "a unit that is not one of flow", "unit",
          "Observation.value.ofType(Quantity).code", false, 422 },
        { "an identifier that is another's", "identity", "", true, 409 },
        { "an access of another patient", "identity", "BodyStructure.patient",
          true, 409 },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        for (int at = 0; at < 3; at++) {
            const char *entries[3];
            struct world *w;
            long long before;

            ROW(cases[i].name);
            world_start(state);
            w = world(state);
            assert_int_equal(
                world_put(w, "o1",
                          OBS(.id = "o1", .identifier = "1", .value = "900")),
                201);
            assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
            before = world_count(w, "SELECT (SELECT count(*) FROM resource)"
                                    " + (SELECT count(*) FROM journal)"
                                    " + (SELECT count(*) FROM patient)"
                                    " + (SELECT count(*) FROM reading)");
            for (int k = 0; k < 3; k++) {
                char number[8];

                snprintf(number, sizeof(number), "t%d", k);
                entries[k] = posted(OBS(.identifier = number, .value = "800",
                                        .patient = "Patient/p-3"));
            }
            entries[at] =
                i == 0 ? posted(OBS(.identifier = "t", .value = "9",
                                    .unit = "mmol/L"))
                : i == 1
                    ? entry_json(
                          "PUT", "Observation/o2",
                          OBS(.id = "o2", .identifier = "1", .value = "900"))
                    : entry_json("PUT", "BodyStructure/acc-7",
                                 ACC(.id = "acc-7", .patient = "Patient/p-2"));
            world_bundle(w, bundle_json("transaction", entries[0], entries[1],
                                        entries[2], NULL));
            assert_int_equal(w->err, ERR_CONFLICT);
            assert_true(w->in.all_failed);
            assert_false(w->in.news);
            assert_int_equal(world_status(w, (size_t)at), cases[i].status);
            assert_true(
                world_says_at(w, (size_t)at, cases[i].word, cases[i].place));
            assert_int_equal(
                world_count(w, "SELECT (SELECT count(*) FROM resource)"
                               " + (SELECT count(*) FROM journal)"
                               " + (SELECT count(*) FROM patient)"
                               " + (SELECT count(*) FROM reading)"),
                before);
            world_stop(state);
        }
    }
}

/* People and accesses first, however the sender sorted them; entries may name
 * each other by fullUrl. */
static void the_order_of_entries_does_not_matter(void **state)
{
    static const char *const types[] = { "transaction", "batch", "collection" };
    static const char urn[] = "urn:uuid:0b0c7f6e-2f6a-4a0e-9d54-5d0f4a1d9f01";

    for (size_t i = 0; i < COUNT(types); i++) {
        bool request = strcmp(types[i], "collection") != 0;
        struct world *w;
        char access[1024];

        ROW(types[i]);
        world_start(state);
        w = world(state);
        snprintf(access, sizeof(access), "{\"fullUrl\":\"%s\",%s", urn,
                 entry_json(request ? "POST" : NULL, "BodyStructure",
                            ACC(.identifier = "A-7")) +
                     1);
        world_bundle(
            w, bundle_json(types[i],
                           entry_json(request ? "POST" : NULL, "Observation",
                                      OBS(.identifier = "1", .value = "900",
                                          .access = urn)),
                           access,
                           entry_json(request ? "PUT" : NULL, "Patient/p-1",
                                      pat_json("p-1", "1001")),
                           NULL));
        for (size_t k = 0; k < 3; k++)
            assert_int_equal(world_status(w, k), 201);
        assert_false(world_says(w, 0, "access-provisional"));
        assert_int_equal(world_count(w, "SELECT count(*) FROM access"), 1);
        assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 1);
        assert_int_equal(
            world_count(w, "SELECT count(*) FROM reading d JOIN access a"
                           " ON a.id = d.owner WHERE a.resource IS NOT NULL"),
            1);
        world_stop(state);
    }
}

/* ---- what is kept back ---------------------------------------------------- */

struct unclear {
    const char *name;
    struct obs obs;
    int direct; /* status of a direct POST */
    const char *reason;
    const char *hint; /* part of it; NULL none */
};

#define TWO_CODES                                                              \
    "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{"        \
    "\"coding\":[{\"system\":\"" OBS_CODES                                     \
    "\",\"code\":\"access-flow\"},{\"system\":\"" OBS_CODES                    \
    "\",\"code\":\"qb\"}]},\"subject\":{\"reference\":\"Patient/p-1\"},"       \
    "\"effectiveDateTime\":\"2026-03-05T08:00:00Z\",\"valueQuantity\":{"       \
    "\"value\":400,\"system\":\"http://unitsofmeasure.org\",\"code\":"         \
    "\"mL/min\"}}"

static const struct unclear unclears[] = {
    { "a unit of something else",
      { .value = "9", .unit = "mmol/L" },
      422,
      "unit",
      NULL },
    { "two codes", { .code = NULL }, 422, "code", NULL },
    { "not plausible", { .value = "20000" }, 201, "implausible", NULL },
    { "looks like litres", { .value = "2.24" }, 201, "implausible", "litres?" },
    { "in the future", { .value = "900", .ago_h = -48 }, 201, "time", NULL },
};

static const char *unclear_json(const struct unclear *u)
{
    return u->obs.value == NULL ? TWO_CODES : obs_json(&u->obs);
}

/* Decision for a direct POST: the sender is told and can mend it; a feed
 * cannot, so it is kept for a person, and never used. */
static void what_is_unclear_is_refused_or_held(void **state)
{
    for (size_t i = 0; i < COUNT(unclears); i++) {
        const struct unclear *u = &unclears[i];
        struct world *w;
        char reason[32], hint[80];

        ROW(u->name);
        world_start(state);
        w = world(state);
        assert_int_equal(world_post(w, unclear_json(u)), u->direct);
        assert_int_equal(world_count(w, "SELECT count(*) FROM held"),
                         u->direct == 201);
        assert_int_equal(resources(w), u->direct == 201);

        assert_int_equal(
            world_bundle(w, bundle_json("collection",
                                        entry_json(NULL, NULL, unclear_json(u)),
                                        NULL)),
            u->direct == 201 ? 200 : 201);
        assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
        world_text(w, "SELECT reason FROM held", reason, sizeof(reason));
        assert_string_equal(reason, u->reason);
        world_text(w, "SELECT coalesce(hint, '') FROM held", hint,
                   sizeof(hint));
        assert_true(u->hint == NULL || strstr(hint, u->hint) != NULL);
        assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 0);
        world_stop(state);
    }
}

/* A batch is direct as well: its sender reads the answer. */
static void a_batch_is_direct(void **state)
{
    struct world *w = world(state);

    world_bundle(w, bundle_json("batch",
                                posted(OBS(.identifier = "1", .value = "9",
                                           .unit = "mmol/L")),
                                NULL));
    assert_int_equal(world_status(w, 0), 422);
    assert_int_equal(resources(w), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM journal"), 0);
}

/* What is not of the form is refused from a feed too. */
static void a_feed_may_not_send_anything(void **state)
{
    struct world *w = world(state);

    world_bundle(w, bundle_json("collection",
                                entry_json(NULL, NULL,
                                           "{\"resourceType\":\"Observation\","
                                           "\"status\":\"final\"}"),
                                entry_json(NULL, NULL, OBS(.value = "900")),
                                NULL));
    assert_true(world_status(w, 0) >= 400);
    assert_int_equal(world_status(w, 1), 201);
    assert_int_equal(resources(w), 1);
}

static void a_correction_frees_what_was_held(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "2.24")),
                     201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "2240",
                                       .status = "corrected")),
                     200);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 0);
    assert_int_equal(world_count(w, "SELECT max(value) FROM reading"), 2240);
}

/* Only what rules look at is news. */
static void only_what_matters_is_news(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
    world_review(w);
    assert_int_equal(
        world_post(w, OBS(.code = "pre-weight", .value = "70", .unit = "kg")),
        201);
    assert_int_equal(world_post(w, OBS(.value = "20000")), 201); /* held */
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 0);
    assert_int_equal(world_post(w, OBS(.value = "900")), 201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 1);
    world_review(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 0);
    /* a reading of the patient is news for each access */
    assert_int_equal(
        world_put(w, "acc-8", ACC(.id = "acc-8", .site = "Right forearm")),
        201);
    world_review(w);
    assert_int_equal(world_post(w, OBS(.code = "cardiac-output", .value = "5",
                                       .unit = "L/min")),
                     201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(if_match_names_the_version),
        TEST(if_none_exist_finds_what_is_there),
        TEST(a_batch_takes_what_it_can),
        TEST(an_entry_undone_takes_no_bytes_of_others_away),
        cmocka_unit_test(a_transaction_is_all_or_nothing),
        cmocka_unit_test(the_order_of_entries_does_not_matter),
        cmocka_unit_test(what_is_unclear_is_refused_or_held),
        TEST(a_batch_is_direct),
        TEST(a_feed_may_not_send_anything),
        TEST(a_correction_frees_what_was_held),
        TEST(only_what_matters_is_news),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

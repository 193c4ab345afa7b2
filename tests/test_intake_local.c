/* References within a Bundle, and reports that come after newer ones. */
#include "tests/service_world.h"
#include "tests/test.h"

#define URN "urn:uuid:00000000-0000-4000-8000-00000000000"

/* An entry with this fullUrl; request: as a POST. */
static const char *local(const char *urn, const char *type, const char *json,
                         bool request, char out[2048])
{
    snprintf(out, 2048, "{\"fullUrl\":\"%s\",%s", urn,
             entry_json(request ? "POST" : NULL, type, json) + 1);
    return out;
}

/* The same urns twice are two people: they are names within one message. */
static void a_urn_is_a_name_within_one_bundle(void **state)
{
    static const char *const types[] = { "transaction", "batch", "collection" };
    static const char *const numbers[] = { "1001", "1002" };

    for (size_t i = 0; i < COUNT(types); i++) {
        bool request = strcmp(types[i], "collection") != 0;
        struct world *w;
        char text[5][2048];

        ROW(types[i]);
        world_start(state);
        w = world(state);
        for (size_t k = 0; k < COUNT(numbers); k++) {
            snprintf(text[4], sizeof(text[4]),
                     "{\"resourceType\":\"Patient\",\"identifier\":[{"
                     "\"system\":\"" IDS "patient\",\"value\":\"%s\"}]}",
                     numbers[k]);
            local(URN "1", "Patient", text[4], request, text[0]);
            local(URN "2", "BodyStructure", ACC(.patient = URN "1"), request,
                  text[1]);
            local(URN "3", "Observation",
                  OBS(.identifier = numbers[k], .value = "900",
                      .patient = URN "1", .access = URN "2"),
                  request, text[2]);
            local(
                URN "4", "Observation",
                OBS(.identifier = numbers[k], .code = "body-weight",
                    .unit = "kg", .value = "71", .patient = URN "1",
                    .access = URN "2",
                    .more = ",\"derivedFrom\":[{\"reference\":\"" URN "3\"}]"),
                request, text[3]);
            world_bundle(w, bundle_json(types[i], text[3], text[2], text[1],
                                        text[0], NULL));
            for (size_t n = 0; n < 4; n++)
                assert_int_equal(world_status(w, n), 201);
        }
        assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 2);
        assert_int_equal(world_count(w, "SELECT count(*) FROM access"), 2);
        assert_int_equal(
            world_count(w, "SELECT count(DISTINCT owner) FROM reading"), 4);
        assert_int_equal(
            world_count(w, "SELECT (SELECT count(*) FROM patient_alias"
                           " WHERE alias LIKE '%urn:uuid%') + (SELECT count(*)"
                           " FROM access_alias WHERE alias LIKE '%urn:uuid%')"
                           " + (SELECT count(*) FROM derived WHERE source LIKE"
                           " 'urn%')"),
            0);
        assert_int_equal(world_count(w, "SELECT count(*) FROM derived d JOIN"
                                        " resource r ON d.source ="
                                        " 'Observation/' || r.fid"),
                         2);
        world_stop(state);
    }
}

static void a_urn_of_nobody_is_refused(void **state)
{
    static const struct {
        const char *name, *patient, *access, *place;
    } cases[] = {
        { "subject", URN "9", NULL, "Observation.subject" },
        { "of the wrong type", URN "2", NULL, "Observation.subject" },
        { "oid", "urn:oid:2.999.1", NULL, "Observation.subject" },
        { "focus", "Patient/p-1", URN "9", "Observation.focus" },
    };
    static const char *const types[] = { "transaction", "batch", "collection" };

    for (size_t i = 0; i < COUNT(cases) * COUNT(types); i++) {
        const char *type = types[i % COUNT(types)];
        bool request = strcmp(type, "collection") != 0;
        bool all = strcmp(type, "transaction") == 0;
        struct world *w;
        char text[2048];

        ROW(cases[i / COUNT(types)].name);
        world_start(state);
        w = world(state);
        local(URN "2", "BodyStructure", ACC(.id = "x"), request, text);
        world_bundle(
            w, bundle_json(
                   type, text,
                   entry_json(request ? "POST" : NULL, "Observation",
                              OBS(.value = "900",
                                  .patient = cases[i / COUNT(types)].patient,
                                  .access = cases[i / COUNT(types)].access)),
                   NULL));
        assert_int_equal(world_status(w, 1), 400);
        assert_true(world_says_at(w, 1, "bad-reference",
                                  cases[i / COUNT(types)].place));
        assert_int_equal(w->in.all_failed, all);
        assert_int_equal(world_count(w, "SELECT count(*) FROM resource"),
                         all ? 0 : 1);
        world_stop(state);
    }
}

/* ---- order ---------------------------------------------------------------- */

static void an_older_report_does_not_replace_a_newer_one(void **state)
{
#define T(hour) "2026-03-05T" hour ":00:00Z"
    static const struct {
        const char *name;
        const char *first, *issued_first, *then, *issued_then;
        bool stands; /* the first one */
    } cases[] = {
        { "issued earlier", "final", T("11"), "final", T("10"), true },
        { "issued later", "final", T("10"), "final", T("11"), false },
        { "at the same time", "final", T("10"), "final", T("10"), false },
        { "preliminary, issued earlier", "final", T("11"), "preliminary",
          T("10"), true },
        { "preliminary, issued later", "final", T("10"), "preliminary", T("11"),
          true },
        { "preliminary, not said", "final", NULL, "preliminary", NULL, true },
        { "registered after a correction", "corrected", NULL, "registered",
          NULL, true },
        { "final after preliminary", "preliminary", NULL, "final", NULL,
          false },
        { "a correction that is not the last", "corrected", T("11"),
          "corrected", T("10"), true },
        { "withdrawn, one time not said", "entered-in-error", NULL, "final",
          T("11"), true },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;
        char first[80] = "", then[80] = "";

        ROW(cases[i].name);
        world_start(state);
        w = world(state);
        if (cases[i].issued_first != NULL)
            snprintf(first, sizeof(first), ",\"issued\":\"%s\"",
                     cases[i].issued_first);
        if (cases[i].issued_then != NULL)
            snprintf(then, sizeof(then), ",\"issued\":\"%s\"",
                     cases[i].issued_then);
        assert_int_equal(
            world_post(w, OBS(.identifier = "1", .value = "900",
                              .status = cases[i].first, .more = first)),
            201);
        assert_int_equal(
            world_post(w, OBS(.identifier = "1", .value = "950",
                              .status = cases[i].then, .more = then)),
            200);
        assert_int_equal(world_says(w, 0, "out-of-order"), cases[i].stands);
        assert_int_equal(w->in.results[0].version, cases[i].stands ? 1 : 2);
        assert_int_equal(
            world_count(w, "SELECT count(*) FROM reading WHERE value = 950"),
            cases[i].stands ? 0 : 1);
        world_stop(state);
    }
#undef T
}

/* Its code was not said; its number is enough to keep the original out. */
static void a_bare_withdrawal_waits_for_its_original(void **state)
{
    static const char bare[] =
        "{\"resourceType\":\"Observation\",\"status\":\"entered-in-error\","
        "\"identifier\":[{\"system\":\"" IDS "obs\",\"value\":\"1\"}],"
        "\"code\":{\"text\":\"withdrawn\"},"
        "\"subject\":{\"reference\":\"Patient/p-1\"}}";
    struct world *w = world(state);

    assert_int_equal(world_post(w, bare), 201);
    assert_int_equal(
        world_post(w, OBS(.identifier = "1", .value = "900",
                          .more = ",\"issued\":\"2026-03-05T10:00:00Z\"")),
        200);
    assert_true(world_says(w, 0, "out-of-order"));
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource"), 1);
    /* a correction is later than the withdrawal, and another result is not
     * meant by it */
    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "950",
                                       .status = "corrected")),
                     200);
    assert_int_equal(
        world_post(w, OBS(.identifier = "1", .value = "5",
                          .code = "cardiac-output", .unit = "L/min")),
        201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        cmocka_unit_test(a_urn_is_a_name_within_one_bundle),
        cmocka_unit_test(a_urn_of_nobody_is_refused),
        cmocka_unit_test(an_older_report_does_not_replace_a_newer_one),
        TEST(a_bare_withdrawal_waits_for_its_original),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Which access is meant: every way of naming one, and what stays unclear. */
#include "tests/service_world.h"
#include "tests/test.h"

#define EXT_R4 "http://hl7.org/fhir/StructureDefinition/bodySite"
#define EXT_R5                                                                 \
    "http://hl7.org/fhir/5.0/StructureDefinition/"                             \
    "extension-Observation.bodyStructure"
#define SYS_ACCESS "\"system\":\"" IDS "access\""

/* A patient with a fistula left and a graft right; p-2 has a fistula left,
 * p-3 one whose side is not known. */
static void people(struct world *w)
{
    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
    assert_int_equal(world_put(w, "acc-8",
                               ACC(.id = "acc-8", .identifier = "A-8",
                                   .type = "avg", .site = "Right forearm")),
                     201);
    assert_int_equal(world_put(w, "acc-2",
                               ACC(.id = "acc-2", .identifier = "A-2",
                                   .patient = "Patient/p-2")),
                     201);
    assert_int_equal(world_put(w, "acc-3",
                               ACC(.id = "acc-3", .patient = "Patient/p-3",
                                   .site = "not said")),
                     201);
}

/* "acc-7 how" of the reading of o1, "held reason", or "nothing". */
static void placed(struct world *w, char *out, size_t size)
{
    static const char sql[] =
        "SELECT coalesce("
        " (SELECT 'held ' || h.reason FROM held h JOIN resource r"
        "  ON r.id = h.resource WHERE r.fid = 'o1'),"
        " (SELECT coalesce(b.fid, a.anchor, 'patient') || ' ' || d.how"
        "  FROM reading d JOIN resource r ON r.id = d.resource"
        "  LEFT JOIN access a ON a.id = d.owner"
        "  LEFT JOIN resource b ON b.id = a.resource WHERE r.fid = 'o1'),"
        " 'nothing')";

    world_text(w, sql, out, size);
}

/* ---- the table of ways ---------------------------------------------------- */

struct way {
    const char *name;
    struct obs obs;
    const char *access; /* NULL: not placed, see held */
    enum access_how how;
    const char *held; /* reason; NULL: kept, of no access */
    const char *says; /* word of the outcome, NULL: none about an access */
};

#define FLOW   .value = "900"
#define FINGER .code = "digital-pressure", .value = "55", .unit = "mm[Hg]"
#define COLD   .code = "hand-symptom", .sign = "coldness"

/* Source of the order: FHIR R4 Observation.focus and bodySite; the rows are
 * those that this service documents. */
static const struct way ways[] = {
    { "focus by reference",
      { FLOW, .access = "BodyStructure/acc-8" },
      "acc-8",
      ACCESS_BY_FOCUS_REF,
      NULL,
      NULL },
    { "focus by absolute URL is another name",
      { FLOW, .access = "https://record.example/fhir/BodyStructure/acc-8" },
      "r:https://record.example/fhir/BodyStructure/acc-8",
      ACCESS_BY_FOCUS_REF,
      NULL,
      "access-provisional" },
    { "focus by identifier",
      { FLOW, .more = ",\"focus\":[{\"identifier\":{" SYS_ACCESS
                      ",\"value\":\"A-8\"}}]" },
      "acc-8",
      ACCESS_BY_FOCUS_ID,
      NULL,
      NULL },
    { "focus contained",
      { FLOW, .more = ",\"contained\":[{\"resourceType\":\"BodyStructure\","
                      "\"id\":\"acc\",\"identifier\":[{" SYS_ACCESS
                      ",\"value\":\"A-8\"}],\"patient\":{\"reference\":"
                      "\"Patient/p-1\"}}],\"focus\":[{\"reference\":"
                      "\"#acc\"}]" },
      "acc-8",
      ACCESS_BY_CONTAINED,
      NULL,
      NULL },
    { "extension bodySite on the Observation",
      { FLOW, .more = ",\"extension\":[{\"url\":\"" EXT_R4
                      "\",\"valueReference\":{\"reference\":"
                      "\"BodyStructure/acc-8\"}}]" },
      "acc-8",
      ACCESS_BY_BODYSITE_EXT,
      NULL,
      NULL },
    { "extension bodySite on the body site",
      { FLOW, .more = ",\"bodySite\":{\"extension\":[{\"url\":\"" EXT_R4
                      "\",\"valueReference\":{\"reference\":"
                      "\"BodyStructure/acc-8\"}}]}" },
      "acc-8",
      ACCESS_BY_BODYSITE_EXT,
      NULL,
      NULL },
    { "extension of R5",
      { FLOW, .more = ",\"extension\":[{\"url\":\"" EXT_R5
                      "\",\"valueReference\":{\"reference\":"
                      "\"BodyStructure/acc-8\"}}]" },
      "acc-8",
      ACCESS_BY_R5_EXT,
      NULL,
      NULL },
    { "focus wins over the extension",
      { FLOW, .access = "BodyStructure/acc-7",
        .more = ",\"extension\":[{\"url\":\"" EXT_R5
                "\",\"valueReference\":{\"reference\":"
                "\"BodyStructure/acc-8\"}}]" },
      "acc-7",
      ACCESS_BY_FOCUS_REF,
      NULL,
      NULL },
    { "the first that is known wins",
      { FLOW, .access = "BodyStructure/unknown",
        .more = ",\"extension\":[{\"url\":\"" EXT_R5
                "\",\"valueReference\":{\"reference\":"
                "\"BodyStructure/acc-8\"}}]" },
      "acc-8",
      ACCESS_BY_R5_EXT,
      NULL,
      NULL },
    { "a device is no access: the site tells",
      { FLOW, .access = "Device/d-1", .site = "left upper arm" },
      "acc-7",
      ACCESS_BY_SITE,
      NULL,
      "access-assumed" },
    { "an arm is any part of it",
      { FLOW, .site = "right arm" },
      "acc-8",
      ACCESS_BY_SITE,
      NULL,
      "access-assumed" },
    { "side and region match one",
      { FLOW, .site = "right forearm" },
      "acc-8",
      ACCESS_BY_SITE,
      NULL,
      "access-assumed" },
    { "side and region contradict",
      { FLOW, .site = "left forearm" },
      NULL,
      ACCESS_BY_SITE,
      "access",
      "access-ambiguous" },
    { "the only one",
      { FLOW, .patient = "Patient/p-2" },
      "acc-2",
      ACCESS_BY_SOLE,
      NULL,
      "access-assumed" },
    { "the only one is on the other side",
      { FLOW, .patient = "Patient/p-2", .site = "right forearm" },
      NULL,
      ACCESS_BY_SOLE,
      "access",
      "access-ambiguous" },
    { "one of two, not said which",
      { FLOW },
      NULL,
      ACCESS_BY_SOLE,
      "access",
      "access-ambiguous" },
    { "that of another patient",
      { FLOW, .access = "BodyStructure/acc-2" },
      NULL,
      ACCESS_BY_FOCUS_REF,
      "access",
      "access-ambiguous" },
    { "no access at all",
      { FLOW, .patient = "Patient/p-9", .site = "left forearm" },
      "implied",
      ACCESS_BY_IMPLIED,
      NULL,
      "access-assumed" },
    { "named and not come yet",
      { FLOW, .access = "BodyStructure/later" },
      "r:BodyStructure/later",
      ACCESS_BY_FOCUS_REF,
      NULL,
      "access-provisional" },

    /* the hand belongs to the access of its arm */
    { "finger: side said",
      { FINGER, .site = "right hand" },
      "acc-8",
      ACCESS_BY_SITE,
      NULL,
      "access-assumed" },
    { "finger: side not said, two arms",
      { FINGER },
      NULL,
      ACCESS_BY_SOLE,
      "access",
      "access-ambiguous" },
    { "finger: side not said, the only access arm",
      { FINGER, .patient = "Patient/p-2" },
      "acc-2",
      ACCESS_BY_SOLE,
      NULL,
      "access-assumed" },
    { "finger: of the other arm",
      { FINGER, .patient = "Patient/p-2", .site = "right hand" },
      NULL,
      ACCESS_BY_SITE,
      NULL,
      "access-side" },
    { "finger: the side of the access is not known",
      { FINGER, .patient = "Patient/p-3", .site = "right hand" },
      NULL,
      ACCESS_BY_SITE,
      "side",
      "access-side" },
    { "finger: named access is of the other side",
      { FINGER, .access = "BodyStructure/acc-7", .site = "right hand" },
      NULL,
      ACCESS_BY_FOCUS_REF,
      "side",
      "access-side" },
    { "finger: named access, side not said",
      { FINGER, .access = "BodyStructure/acc-7" },
      "acc-7",
      ACCESS_BY_FOCUS_REF,
      NULL,
      NULL },
    { "sign: side not said, the only access arm",
      { COLD, .patient = "Patient/p-2" },
      "acc-2",
      ACCESS_BY_SOLE,
      NULL,
      "access-assumed" },
    { "sign: side of the access not known",
      { COLD, .patient = "Patient/p-3", .site = "left hand" },
      "acc-3",
      ACCESS_BY_SITE,
      NULL,
      "access-assumed" },
    { "sign: side not said, two arms",
      { COLD },
      NULL,
      ACCESS_BY_SOLE,
      "access",
      "access-ambiguous" },
    { "sign: of the arm without access",
      { COLD, .patient = "Patient/p-2", .site = "right hand" },
      NULL,
      ACCESS_BY_SITE,
      "side",
      "access-side" },
    { "sign: named access is of the other side",
      { COLD, .access = "BodyStructure/acc-7", .site = "right hand" },
      NULL,
      ACCESS_BY_FOCUS_REF,
      "side",
      "access-side" },
    { "what is the patient's needs no access",
      { .code = "cardiac-output", .value = "5.1", .unit = "L/min" },
      "patient",
      0,
      NULL,
      NULL },
};

static void assert_placed(struct world *w, const struct way *way)
{
    char got[256], want[256];

    placed(w, got, sizeof(got));
    if (way->access != NULL)
        snprintf(want, sizeof(want), "%s %d", way->access, (int)way->how);
    else
        snprintf(want, sizeof(want), "%s%s",
                 way->held != NULL ? "held " : "nothing",
                 way->held != NULL ? way->held : "");
    if (way->access != NULL && strcmp(way->access, "implied") == 0) {
        assert_non_null(strstr(got, "i:implied|"));
        assert_int_equal(got[strlen(got) - 1] - '0', way->how);
        return;
    }
    assert_string_equal(got, want);
}

static void every_way(void **state)
{
    static const char *const words[] = { "access-assumed", "access-provisional",
                                         "access-ambiguous", "access-side" };

    for (size_t i = 0; i < COUNT(ways); i++) {
        struct world *w;
        struct obs obs = ways[i].obs;

        ROW(ways[i].name);
        world_start(state); /* each in a world of its own */
        w = world(state);
        people(w);
        obs.id = "o1";
        assert_int_equal(world_put(w, "o1", obs_json(&obs)), 201);
        for (size_t k = 0; k < COUNT(words); k++)
            assert_int_equal(world_says(w, 0, words[k]),
                             ways[i].says != NULL &&
                                 strcmp(ways[i].says, words[k]) == 0);
        assert_placed(w, &ways[i]);
        world_stop(state);
    }
}

/* With strict_access a direct sender is told to name the access; nothing is
 * kept.  A feed cannot be told: it is kept as ever. */
static void strict_access_refuses_what_is_unclear(void **state)
{
    struct world *w = world(state);
    long long before;

    people(w);
    w->strict_access = true;
    before = world_count(w, "SELECT count(*) FROM resource");
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", FLOW)), 422);
    assert_true(world_says(w, 0, "access-ambiguous"));
    assert_string_equal(world_fid(w, 0), "");
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource"), before);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM journal j WHERE NOT "
                                    "EXISTS (SELECT 1 FROM version v WHERE "
                                    "v.journal = j.seq)"),
                     0);

    assert_int_equal(
        world_bundle(w,
                     bundle_json("collection",
                                 entry_json(NULL, NULL, OBS(.id = "o1", FLOW)),
                                 NULL)),
        201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
    /* what is clear is taken as before */
    assert_int_equal(
        world_put(w, "o2",
                  OBS(.id = "o2", FLOW, .access = "BodyStructure/acc-7")),
        201);
}

/* Once a person has named the access in a correction, nothing is held. */
static void a_correction_that_names_the_access_frees_it(void **state)
{
    struct world *w = world(state);
    char got[256];

    people(w);
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", FLOW)), 201);
    placed(w, got, sizeof(got));
    assert_string_equal(got, "held access");
    assert_int_equal(world_put(w, "o1",
                               OBS(.id = "o1", FLOW, .status = "corrected",
                                   .access = "BodyStructure/acc-7")),
                     200);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 0);
    placed(w, got, sizeof(got));
    assert_string_equal(got, "acc-7 0");
}

/* Two symptoms of two hands in one panel go to two accesses. */
static void a_panel_is_told_apart_by_side(void **state)
{
    struct world *w = world(state);

    people(w);
    assert_int_equal(
        world_put(w, "o1",
                  OBS(.id = "o1", .code = "session-panel",
                      .more =
                          ",\"component\":["
                          "{\"code\":{\"coding\":[{\"system\":"
                          "\"http://loinc.org\",\"code\":\"8571-2\"}]},"
                          "\"valueQuantity\":{\"value\":48,\"system\":"
                          "\"http://unitsofmeasure.org\",\"code\":\"mm[Hg]\"}},"
                          "{\"code\":{\"coding\":[{\"system\":"
                          "\"http://loinc.org\",\"code\":\"8574-6\"}]},"
                          "\"valueQuantity\":{\"value\":110,\"system\":"
                          "\"http://unitsofmeasure.org\",\"code\":\"mm[Hg]\"}}"
                          "]")),
        201);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM reading d JOIN access a"
                       " ON a.id = d.owner JOIN resource b ON b.id = a.resource"
                       " WHERE b.fid = 'acc-7' AND d.value = 48"),
        1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM reading d JOIN access a"
                       " ON a.id = d.owner JOIN resource b ON b.id = a.resource"
                       " WHERE b.fid = 'acc-8' AND d.value = 110"),
        1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        cmocka_unit_test(every_way),
        TEST(strict_access_refuses_what_is_unclear),
        TEST(a_correction_that_names_the_access_frees_it),
        TEST(a_panel_is_told_apart_by_side),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

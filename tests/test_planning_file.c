/* A plan from a file alone: which files can be used, and what is said of those
 * that cannot. */
#include "service/plan_file.h"

#include "adapters/policy_file.h"
#include "tests/map_kit.h"
#include "tests/test.h"

#include <unistd.h>

#define BASE  "https://headgate.example/fhir"
#define CODES BASE "/CodeSystem/av-observation"
#define UCUM  "http://unitsofmeasure.org"
#define NOW_S INT64_C(1772784720) /* 6 March 2026, 08:12 UTC */

static struct policy policy;
static struct zone *zone;
static struct codes *codes;
static struct plan_file file;
static struct buf why;

static enum err open_path(const char *path, const char *access)
{
    const struct fhir_reader reader = { .codes = codes,
                                        .base = BASE,
                                        .zone = zone,
                                        .now_s = NOW_S,
                                        .entries_max = 500,
                                        .searches = true };
    const struct plan_file_options options = { .policy = &policy,
                                               .reader = &reader,
                                               .merge_implied = true,
                                               .access = access };

    buf_empty(&why);
    return plan_file_open(path, &options, &file, &why);
}

static enum err open_text(const char *text, const char *access)
{
    char path[] = "/tmp/headgate-plan-XXXXXX";
    int fd = mkstemp(path);
    size_t len = strlen(text);
    enum err e;

    assert_true(fd >= 0);
    assert_int_equal(write(fd, text, len), (ssize_t)len);
    close(fd);
    e = open_path(path, access);
    unlink(path);
    return e;
}

/* ---- resources --------------------------------------------------------------- */

#define ENTRY(resource) "{\"resource\":" resource "}"
#define BUNDLE(entries)                                                        \
    "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":[" entries \
    "]}"
#define PATIENT "{\"resourceType\":\"Patient\",\"id\":\"p-1\"}"
#define ACCESS(id)                                                             \
    "{\"resourceType\":\"BodyStructure\",\"id\":\"" id                         \
    "\",\"morphology\":{\"coding\":[{\"system\":\"" BASE                       \
    "/CodeSystem/av-access-type\",\"code\":\"avf\"}]},\"location\":{\"text\":" \
    "\"Left upper arm\"},\"patient\":{\"reference\":\"Patient/p-1\"}}"
#define OBSERVATION(code, access, value)                                       \
    "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":"         \
    "{\"coding\":[{\"system\":\"" CODES "\",\"code\":\"" code                  \
    "\"}]},\"subject\":{\"reference\":\"Patient/p-1\"},\"focus\":"             \
    "[{\"reference\":\"BodyStructure/" access                                  \
    "\"}],\"effectiveDateTime\":\"2026-03-02T09:00:00Z\"," value "}"
#define QUANTITY(value, unit)                                                  \
    "\"valueQuantity\":{\"value\":" value ",\"system\":\"" UCUM                \
    "\",\"code\":\"" unit "\"}"
#define CODED(code)                                                            \
    "\"valueCodeableConcept\":{\"coding\":[{\"system\":\"" CODES               \
    "\",\"code\":\"" code "\"}]}"
#define FLOW(access)                                                           \
    OBSERVATION("access-flow", access, QUANTITY("2400", "mL/min"))

/* ---- files that can be used ------------------------------------------------------ */

static void the_only_access_is_taken(void **state)
{
    (void)state;
    assert_int_equal(open_text(BUNDLE(ENTRY(PATIENT) "," ENTRY(
                                   ACCESS("a-1")) "," ENTRY(FLOW("a-1"))),
                               NULL),
                     ERR_OK);
    assert_int_equal(file.look.history.count, 1);
    assert_int_equal(file.look.history.access_type, SIGN_TYPE_AVF);
    /* as of its newest reading, whatever the clock says */
    assert_int_equal(file.look.history.now_s, 1772442000 + 1);
    assert_int_equal(file.passed_over, 0);
    assert_int_equal(file.unmapped, 0);
    plan_file_close(&file);
}

static void one_of_several_is_named(void **state)
{
    static const char two[] = BUNDLE(ENTRY(PATIENT) "," ENTRY(
        ACCESS("a-1")) "," ENTRY(ACCESS("a-2")) "," ENTRY(FLOW("a-2")));

    (void)state;
    assert_int_equal(open_text(two, NULL), ERR_AMBIGUOUS);
    assert_non_null(strstr(why.data, "more than one access: name one with "
                                     "--access"));
    assert_int_equal(open_text(two, "a-2"), ERR_OK);
    assert_int_equal(file.look.history.count, 1);
    plan_file_close(&file);
    assert_int_equal(open_text(two, "a-3"), ERR_ABSENT);
    assert_non_null(strstr(why.data, "No access is called \"a-3\""));
}

/* What says nothing here is passed over, and counted. */
static void what_is_of_another_kind_is_passed_over(void **state)
{
    static const char text[] =
        BUNDLE(ENTRY(PATIENT) "," ENTRY(ACCESS("a-1")) "," ENTRY(FLOW(
            "a-1")) "," ENTRY("{\"resourceType\":\"Device\",\"id\":\"d-"
                              "1\"}") "," ENTRY(OBSERVATION("something-"
                                                            "else",
                                                            "a-1",
                                                            QUANTITY("4",
                                                                     "mm"))));

    (void)state;
    assert_int_equal(open_text(text, NULL), ERR_OK);
    assert_int_equal(file.passed_over, 1);
    assert_int_equal(file.unmapped, 1);
    plan_file_close(&file);
}

#define SEARCH(more, entries)                                                  \
    "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"total\":2," more    \
    "\"entry\":[" entries "]}"
#define SELF                                                                   \
    "\"link\":[{\"relation\":\"self\",\"url\":\"" RECORD "/Observation\"}],"
#define NEXT                                                                   \
    "\"link\":[{\"relation\":\"self\",\"url\":\"" RECORD                       \
    "/Observation\"},{\"relation\":\"next\",\"url\":\"" RECORD                 \
    "/Observation?page=2\"}],"
#define RECORD "https://record.example/fhir"
#define FOUND(mode, place, resource)                                           \
    "{\"fullUrl\":\"" RECORD "/" place "\",\"resource\":" resource             \
    ",\"search\":{\"mode\":\"" mode "\"}}"
#define ISSUE                                                                  \
    "{\"resourceType\":\"OperationOutcome\",\"issue\":[{\"severity\":"         \
    "\"warning\",\"code\":\"processing\"}]}"

/* A search that a person saved: what was found and what goes with it. */
static void a_search_is_read(void **state)
{
    static const char text[] = SEARCH(
        SELF,
        FOUND("match", "Observation/o-1", FLOW("a-1")) "," FOUND(
            "include", "BodyStructure/a-1",
            ACCESS("a-1")) "," FOUND("include", "Patient/p-1",
                                     PATIENT) "," FOUND("outcome",
                                                        "OperationOutcome/x",
                                                        ISSUE));

    (void)state;
    if (open_text(text, NULL) != ERR_OK)
        fail_msg("%s", why.data);
    assert_int_equal(file.look.history.count, 1);
    assert_int_equal(file.look.history.access_type, SIGN_TYPE_AVF);
    assert_int_equal(file.passed_over + file.unmapped, 0);
    plan_file_close(&file);
}

/* ---- files that cannot ------------------------------------------------------------ */

static const struct {
    const char *name;
    enum err want;
    const char *says, *text;
} wrong[] = {
    { "nothing", ERR_FORM, "not", "" },
    { "no JSON", ERR_FORM, "json-syntax", "{\"resourceType\":" },
    { "no resource", ERR_FORM, "not-a-resource", "[1]" },
    { "an empty Bundle", ERR_FORM, "Bundle.entry", BUNDLE("") },
    { "only a Patient", ERR_ABSENT, "the file tells of no access",
      BUNDLE(ENTRY(PATIENT)) },
    { "no reading", ERR_ABSENT, "the file holds no reading",
      BUNDLE(ENTRY(PATIENT) "," ENTRY(ACCESS("a-1"))) },
    { "a search that found no reading", ERR_ABSENT, "tells of no access",
      SEARCH(SELF, FOUND("match", "Patient/p-1", PATIENT)) },
    /* a plan without the other pages might be another one */
    { "a page of a search", ERR_FORM, "Bundle.link: One page of a search",
      SEARCH(NEXT, FOUND("match", "Observation/o-1", FLOW("a-1"))) },
    { "a search that says it went wrong", ERR_ABSENT, "tells of no access",
      SEARCH("", FOUND("outcome", "OperationOutcome/x", ISSUE)) },
    { "a history", ERR_FORM, "Bundle.type",
      "{\"resourceType\":\"Bundle\",\"type\":\"history\",\"entry\":[" ENTRY(
          PATIENT) "]}" },
    { "a wrong unit", ERR_FORM, "entry[2] Observation.value",
      BUNDLE(ENTRY(PATIENT) "," ENTRY(ACCESS("a-1")) "," ENTRY(
          OBSERVATION("access-flow", "a-1", QUANTITY("2.4", "mm")))) },
    { "litres taken for millilitres", ERR_FORM, "entry[2] Observation.value",
      BUNDLE(ENTRY(PATIENT) "," ENTRY(ACCESS("a-1")) "," ENTRY(
          OBSERVATION("access-flow", "a-1", QUANTITY("2.4", "mL/min")))) },
    { "a dowel of centimetres taken for millimetres", ERR_FORM,
      "entry[3] Observation.value",
      BUNDLE(ENTRY(PATIENT) "," ENTRY(ACCESS("a-1")) "," ENTRY(
          FLOW("a-1")) "," ENTRY(OBSERVATION("dowel-diameter", "a-1",
                                             QUANTITY("40", "mm")))) },
    /* a plan without that sign might be another one */
    { "a grade that does not exist", ERR_FORM, "entry[3] Observation.value",
      BUNDLE(ENTRY(PATIENT) "," ENTRY(ACCESS("a-1")) "," ENTRY(
          FLOW("a-1")) "," ENTRY(OBSERVATION("hand-ischaemia-grade", "a-1",
                                             CODED("grade-3")))) },
    { "a number as text", ERR_FORM, "entry[3] Observation.value",
      BUNDLE(ENTRY(PATIENT) "," ENTRY(ACCESS("a-1")) "," ENTRY(
          FLOW("a-1")) "," ENTRY(OBSERVATION("dowel-diameter", "a-1",
                                             "\"valueString\":\"4 mm\""))) },
    { "no status", ERR_FORM, "entry[1] Observation.status",
      BUNDLE(ENTRY(PATIENT) "," ENTRY(
          "{\"resourceType\":\"Observation\","
          "\"code\":{\"text\":\"x\"},\"subject\":{\"reference\":"
          "\"Patient/p-1\"}}")) },
};

static void what_cannot_be_used_is_said_with_its_place(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(wrong); i++) {
        ROW(wrong[i].name);
        assert_int_equal(open_text(wrong[i].text, NULL), wrong[i].want);
        if (strstr(why.data, wrong[i].says) == NULL)
            fail_msg("%s is not in: %s", wrong[i].says, why.data);
    }
}

static void a_file_that_is_not_there_is_an_error(void **state)
{
    (void)state;
    assert_int_equal(open_path("/tmp/headgate-no-such-file", NULL), ERR_IO);
    assert_true(why.len > 0);
}

/* ---- the examples ------------------------------------------------------------------- */

static void the_examples_can_be_used(void **state)
{
    static const struct {
        const char *path;
        enum side side;
    } examples[] = {
        { SOURCE_DIR "/config/demo/plan.json", SIDE_LEFT },
        { SOURCE_DIR "/config/demo/plan-case.json", SIDE_LEFT },
        { SOURCE_DIR "/config/demo/plan-hand.json", SIDE_RIGHT },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(examples); i++) {
        if (open_path(examples[i].path, NULL) != ERR_OK)
            fail_msg("%s: %s", examples[i].path, why.data);
        assert_int_equal(file.look.history.side, examples[i].side);
        assert_int_equal(file.passed_over + file.unmapped, 0);
        plan_file_close(&file);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_only_access_is_taken),
        cmocka_unit_test(one_of_several_is_named),
        cmocka_unit_test(a_search_is_read),
        cmocka_unit_test(what_is_of_another_kind_is_passed_over),
        cmocka_unit_test(what_cannot_be_used_is_said_with_its_place),
        cmocka_unit_test(a_file_that_is_not_there_is_an_error),
        cmocka_unit_test(the_examples_can_be_used),
    };
    int failed;

    buf_init(&why, 1 << 16);
    if (policy_file_read(SOURCE_DIR "/config/policy.ini", &policy, &why) !=
            ERR_OK ||
        zone_load("UTC", &zone) != ERR_OK || codes_new(BASE, &codes) != ERR_OK)
        return 1;
    map_add(codes, "snomed-ct.csv"); /* as config/demo.ini has it */
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    codes_free(codes);
    zone_free(zone);
    buf_clear(&why);
    return failed;
}

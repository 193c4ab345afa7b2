#include "adapters/codes.h"
#include "tests/test.h"

#define BASE   "https://headgate.example/fhir"
#define OBS    BASE "/CodeSystem/av-observation"
#define NOW    CODES_NEWEST
#define SITE_B "https://site-b.example/codes"

static struct codes *fresh(void)
{
    struct codes *codes = NULL;

    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    return codes;
}

/*
 * LOINC and MDC: HL7 FHIR R4 (4.0.1) definitions and examples (vital signs),
 * public device guides; the marks stand beside the rows of codes_shipped.c.
 */
static const struct {
    const char *name, *system, *code;
    enum code_meaning meaning;
    enum quantity quantity;
    enum side side;
} finds[] = {
    { "own flow", OBS, "access-flow", CODE_QUANTITY, Q_ACCESS_FLOW, 0 },
    { "own stage", OBS, "steal-stage", CODE_STAGE, Q_HAND_ISCHAEMIA_GRADE, 0 },
    { "own question", OBS, "hand-ulcer", CODE_QUESTION, Q_HAND_SYMPTOM, 0 },
    { "own panel", OBS, "session-panel", CODE_QUANTITY, Q_PANEL, 0 },
    { "own value is no code", OBS, "banded", CODE_UNKNOWN, Q_NONE, 0 },
    { "case matters", OBS, "Access-Flow", CODE_UNKNOWN, Q_NONE, 0 },
    { "another base", "https://other.example/fhir/CodeSystem/av-observation",
      "access-flow", CODE_UNKNOWN, Q_NONE, 0 },
    { "systolic", CODES_LOINC, "8480-6", CODE_QUANTITY, Q_SYSTOLIC_PRESSURE,
      0 },
    { "diastolic, MDC", CODES_MDC, "150022", CODE_QUANTITY,
      Q_DIASTOLIC_PRESSURE, 0 },
    { "mean", CODES_LOINC, "8478-0", CODE_QUANTITY, Q_MEAN_PRESSURE, 0 },
    { "pressure panel", CODES_LOINC, "85354-9", CODE_QUANTITY, Q_PANEL, 0 },
    { "output", CODES_LOINC, "8741-1", CODE_QUANTITY, Q_CARDIAC_OUTPUT, 0 },
    { "cardiac index is no output", CODES_MDC, "149772", CODE_IGNORE, Q_NONE,
      0 },
    { "pump flow is never access flow", CODES_MDC, "158740", CODE_QUANTITY,
      Q_PUMP_FLOW, 0 },
    { "pump flow, mean", CODES_MDC, "158743", CODE_QUANTITY, Q_PUMP_FLOW, 0 },
    { "pump flow, set", CODES_MDC, "16935956", CODE_QUANTITY, Q_PUMP_FLOW, 0 },
    { "a number often copied wrongly", CODES_MDC, "152348", CODE_UNKNOWN,
      Q_NONE, 0 },
    { "index finger right", CODES_LOINC, "8560-5", CODE_QUANTITY,
      Q_DIGITAL_PRESSURE, SIDE_RIGHT },
    { "ring finger left", CODES_LOINC, "8571-2", CODE_QUANTITY,
      Q_DIGITAL_PRESSURE, SIDE_LEFT },
    { "thumb right", CODES_LOINC, "8574-6", CODE_QUANTITY, Q_DIGITAL_PRESSURE,
      SIDE_RIGHT },
    { "peritoneal Kt/V", CODES_LOINC, "70960-0", CODE_IGNORE, Q_NONE, 0 },
    { "urea nitrogen, time not said", CODES_LOINC, "3094-0", CODE_STORE,
      Q_BUN_PRE, 0 },
    { "weight", CODES_LOINC, "29463-7", CODE_QUANTITY, Q_BODY_WEIGHT, 0 },
    { "weight, measured", CODES_LOINC, "3141-9", CODE_QUANTITY, Q_BODY_WEIGHT,
      0 },
    { "symptom", CODES_LOINC, "75325-1", CODE_QUANTITY, Q_HAND_SYMPTOM, 0 },
    { "pre urea nitrogen", CODES_LOINC, "11065-0", CODE_QUANTITY, Q_BUN_PRE,
      0 },
    { "post urea nitrogen", CODES_LOINC, "11064-3", CODE_QUANTITY, Q_BUN_POST,
      0 },
    { "no system", NULL, "8480-6", CODE_UNKNOWN, Q_NONE, 0 },
    { "no code", CODES_LOINC, NULL, CODE_UNKNOWN, Q_NONE, 0 },
    { "a side is not measured", CODES_SCT, "419161000", CODE_UNKNOWN, Q_NONE,
      0 },
};

static void test_find(void **state)
{
    struct codes *codes = fresh();

    (void)state;
    for (size_t i = 0; i < COUNT(finds); i++) {
        struct code_entry e;

        ROW(finds[i].name);
        e = codes_find(codes, finds[i].system, finds[i].code, NOW);
        assert_int_equal(e.meaning, finds[i].meaning);
        assert_int_equal(e.quantity, finds[i].quantity);
        assert_int_equal(e.side, finds[i].side);
    }
    assert_true(codes_find(codes, CODES_LOINC, "59408-5", NOW).needs_hand);
    assert_true(codes_find(codes, CODES_MDC, "150456", NOW).needs_hand);
    assert_false(
        codes_find(codes, OBS, "finger-oxygen-saturation", NOW).needs_hand);
    assert_int_equal(codes_find(codes, OBS, "hand-ulcer", NOW).sign,
                     SIGN_HAND_ULCER);
    codes_free(codes);
}

static const struct {
    const char *name, *text;
    enum side side;
    const char *region;
} sites[] = {
    { "left", "left", SIDE_LEFT, "" },
    { "right arm", "right arm", SIDE_RIGHT, "arm" },
    { "capitals", "Left Upper ARM", SIDE_LEFT, "upper-arm" },
    { "finger", "left index finger", SIDE_LEFT, "finger" },
    { "region only", "forearm", SIDE_UNKNOWN, "forearm" },
    { "hand", "right hand", SIDE_RIGHT, "hand" },
    { "more words are not guessed", "AVF left arm", SIDE_UNKNOWN, "" },
    { "words after", "left arm, distal", SIDE_UNKNOWN, "" },
    { "joined words", "lefthand", SIDE_UNKNOWN, "" },
    { "trailing blank", "left ", SIDE_UNKNOWN, "" },
    { "empty", "", SIDE_UNKNOWN, "" },
    { "none", NULL, SIDE_UNKNOWN, "" },
};

static void test_site(void **state)
{
    struct codes *codes = fresh();
    struct body_site site;

    (void)state;
    for (size_t i = 0; i < COUNT(sites); i++) {
        ROW(sites[i].name);
        site = codes_site_text(codes, sites[i].text, NOW);
        assert_int_equal(site.side, sites[i].side);
        assert_string_equal(site.region, sites[i].region);
    }
    site = codes_site(codes, BASE "/CodeSystem/av-site", "left-upper-arm", NOW);
    assert_int_equal(site.side, SIDE_LEFT);
    assert_string_equal(site.region, "upper-arm");
    site = codes_site(codes, BASE "/CodeSystem/av-site", "right-hand", NOW);
    assert_int_equal(site.side, SIDE_RIGHT);
    assert_string_equal(site.region, "hand");
    site = codes_site(codes, CODES_LOINC, "8480-6", NOW);
    assert_int_equal(site.side, SIDE_UNKNOWN);
    codes_free(codes);
}

static void test_sign_and_method(void **state)
{
    struct codes *codes = fresh();

    (void)state;
    assert_int_equal(
        codes_sign(codes, Q_HAND_SYMPTOM, OBS, "pain-at-rest", NOW),
        SIGN_PAIN_AT_REST);
    assert_int_equal(codes_sign(codes, Q_THRILL, OBS, "pain-at-rest", NOW),
                     SIGN_NONE);
    assert_int_equal(codes_sign(codes, Q_THRILL, CODES_SCT, "weak", NOW),
                     SIGN_NONE);
    assert_int_equal(codes_sign(codes, Q_ACCESS_TYPE,
                                BASE "/CodeSystem/av-access-type", "avg", NOW),
                     SIGN_TYPE_AVG);
    assert_int_equal(codes_sign(codes, Q_BAND_FORM,
                                BASE "/CodeSystem/av-access-type", "cuff", NOW),
                     SIGN_NONE);
    assert_int_equal(
        codes_method(codes, BASE "/CodeSystem/av-method", "duplex", NOW),
        METHOD_DUPLEX);
    assert_int_equal(codes_method(codes, OBS, "duplex", NOW), METHOD_UNSTATED);
    assert_int_equal(codes_method_text(codes, "Ultrasound dilution", NOW),
                     METHOD_ULTRASOUND_DILUTION);
    assert_int_equal(codes_method_text(codes, "dilution", NOW),
                     METHOD_UNSTATED);
    assert_int_equal(codes_method_text(codes, "method not stated", NOW),
                     METHOD_UNSTATED);
    assert_int_equal(codes_method_text(codes, NULL, NOW), METHOD_UNSTATED);
    codes_free(codes);
}

/* One group from source to target, with these elements. */
#define MAP(source, target, elements)                                          \
    "{\"resourceType\":\"ConceptMap\",\"group\":[{\"source\":\"" source        \
    "\",\"target\":\"" target "\",\"element\":[" elements "]}]}"
#define EL(code, target, equivalence)                                          \
    "{\"code\":\"" code "\",\"target\":[{\"code\":\"" target                   \
    "\",\"equivalence\":\"" equivalence "\"}]}"

/* Equivalences: HL7 FHIR R4, value set concept-map-equivalence. */
static const struct {
    const char *name, *json;
    enum err want;
    const char *why;
} maps[] = {
    { "equal", MAP("u:s", OBS, EL("A", "access-flow", "equal")), ERR_OK, "" },
    { "a sign as target", MAP("u:s", OBS, EL("A", "nyha-3", "equal")), ERR_OK,
      "" },
    { "unknown target", MAP("u:s", OBS, EL("A", "flow", "equal")), ERR_UNKNOWN,
      "ConceptMap.group[0].element[0]: target code is not known" },
    { "unknown method",
      MAP("u:s", BASE "/CodeSystem/av-method", EL("A", "guess", "equal")),
      ERR_UNKNOWN, "ConceptMap.group[0].element[0]" },
    { "unknown site",
      MAP("u:s", BASE "/CodeSystem/av-site", EL("A", "left-ear", "equal")),
      ERR_UNKNOWN, "ConceptMap.group[0].element[0]" },
    { "unknown target, second row",
      MAP("u:s", OBS, EL("A", "spktv", "equal") "," EL("B", "ktv", "equal")),
      ERR_UNKNOWN, "element[1]" },
    { "target of another system", MAP("u:s", "u:t", EL("A", "spktv", "equal")),
      ERR_UNKNOWN, "not a CodeSystem of ours" },
    { "same source twice",
      MAP("u:s", OBS, EL("A", "spktv", "equal") "," EL("A", "ektv", "wider")),
      ERR_CONFLICT, "element[1]: this code is mapped already" },
    { "mapped from the start",
      MAP(CODES_LOINC, OBS, EL("8480-6", "spktv", "equal")), ERR_CONFLICT,
      "mapped already" },
    { "our own code", MAP(OBS, OBS, EL("qb", "access-flow", "equal")),
      ERR_CONFLICT, "mapped already" },
    { "texts differ by case only",
      MAP("urn:headgate:text", BASE "/CodeSystem/av-method",
          EL("Echo", "duplex", "equal") "," EL("ECHO", "duplex", "equal")),
      ERR_CONFLICT, "element[1]" },
    { "two targets",
      MAP("u:s", OBS,
          "{\"code\":\"A\",\"target\":[{\"code\":\"spktv\",\"equivalence\":"
          "\"equal\"},{\"code\":\"ektv\",\"equivalence\":\"equal\"}]}"),
      ERR_CONFLICT, "more than one target" },
    { "unknown equivalence", MAP("u:s", OBS, EL("A", "spktv", "same")),
      ERR_FORM, "equivalence" },
    { "no equivalence",
      MAP("u:s", OBS, "{\"code\":\"A\",\"target\":[{\"code\":\"spktv\"}]}"),
      ERR_FORM, "equivalence" },
    /* each of these would change what a row means (HL7 FHIR R4, ConceptMap) */
    { "depends on another value",
      MAP("u:s", OBS,
          "{\"code\":\"A\",\"target\":[{\"code\":\"spktv\",\"equivalence\":"
          "\"equal\",\"dependsOn\":[{\"property\":\"x\",\"value\":\"y\"}]}]}"),
      ERR_FORM, "element[0]: dependsOn and product are not supported" },
    { "a product",
      MAP("u:s", OBS,
          "{\"code\":\"A\",\"target\":[{\"code\":\"spktv\",\"equivalence\":"
          "\"equal\",\"product\":[{\"property\":\"x\",\"value\":\"y\"}]}]}"),
      ERR_FORM, "dependsOn and product are not supported" },
    { "a group for the rest",
      "{\"resourceType\":\"ConceptMap\",\"group\":[{\"source\":\"u:s\","
      "\"target\":\"" OBS "\",\"unmatched\":{\"mode\":\"fixed\",\"code\":"
      "\"qb\"},\"element\":[" EL("A", "spktv", "equal") "]}]}",
      ERR_FORM, "ConceptMap.group[0]: unmatched is not supported" },
    { "a modifier of a target",
      MAP("u:s", OBS,
          "{\"code\":\"A\",\"target\":[{\"code\":\"spktv\",\"equivalence\":"
          "\"equal\",\"modifierExtension\":[{\"url\":\"u:x\"}]}]}"),
      ERR_FORM, "element[0]: a modifierExtension is not understood" },
    { "a modifier of the map",
      "{\"resourceType\":\"ConceptMap\",\"modifierExtension\":[{\"url\":"
      "\"u:x\"}],\"group\":[{\"source\":\"u:s\",\"target\":\"" OBS
      "\",\"element\":[" EL("A", "spktv", "equal") "]}]}",
      ERR_FORM, "modifierExtension" },
    { "a retired map",
      "{\"resourceType\":\"ConceptMap\",\"status\":\"retired\",\"group\":[{"
      "\"source\":\"u:s\",\"target\":\"" OBS
      "\",\"element\":[" EL("A", "spktv", "equal") "]}]}",
      ERR_FORM, "ConceptMap.status: the map is retired" },
    { "units of the site",
      MAP("urn:headgate:unit", CODES_UCUM, EL("ccm/min", "mL/min", "equal")),
      ERR_OK, "" },
    { "a code to a unit", MAP("u:s", CODES_UCUM, EL("A", "mL/min", "equal")),
      ERR_UNKNOWN, "element[0]" },
    { "a text to a quantity",
      MAP("urn:headgate:text", OBS, EL("flow", "access-flow", "equal")),
      ERR_UNKNOWN, "a code alone" },
    { "a blank behind a code", MAP("u:s", OBS, EL("A ", "spktv", "equal")),
      ERR_FORM, "element[0]" },
    { "no target", MAP("u:s", OBS, "{\"code\":\"A\"}"), ERR_FORM,
      "target is missing" },
    { "no code", MAP("u:s", OBS, "{\"target\":[]}"), ERR_FORM,
      "code is missing" },
    { "no elements", MAP("u:s", OBS, ""), ERR_FORM, "element is missing" },
    { "no group", "{\"resourceType\":\"ConceptMap\"}", ERR_FORM, "group" },
    { "not a map", "{\"resourceType\":\"Patient\"}", ERR_FORM,
      "not a ConceptMap" },
    { "not JSON", "{\"resourceType\":", ERR_FORM, "line 1" },
    { "duplicate key", "{\"group\":[],\"group\":[]}", ERR_FORM, "not JSON" },
    { "a list", "[]", ERR_FORM, "not a ConceptMap" },
    { "types are wrong", "{\"resourceType\":\"ConceptMap\",\"group\":[7]}",
      ERR_FORM, "group[0]" },
};

static void test_map_refused(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(maps); i++) {
        struct codes *codes = fresh();
        struct buf why;

        ROW(maps[i].name);
        buf_init(&why, 1000);
        assert_int_equal(codes_add_concept_map(codes, maps[i].json,
                                               strlen(maps[i].json), &why),
                         maps[i].want);
        assert_non_null(strstr(why.data, maps[i].why));
        /* A refused file leaves no trace, not even of its good rows. */
        if (maps[i].want != ERR_OK)
            assert_int_equal(codes_find(codes, "u:s", "A", NOW).meaning,
                             CODE_UNKNOWN);
        assert_int_equal(codes_find(codes, CODES_LOINC, "8480-6", NOW).quantity,
                         Q_SYSTOLIC_PRESSURE);
        buf_clear(&why);
        codes_free(codes);
    }
}

static void add(struct codes *codes, const char *json)
{
    struct buf why;

    buf_init(&why, 1000);
    assert_int_equal(codes_add_concept_map(codes, json, strlen(json), &why),
                     ERR_OK);
    buf_clear(&why);
}

static void test_map_used(void **state)
{
    struct codes *codes = fresh();

    (void)state;
    add(codes,
        MAP("u:s", OBS,
            EL("flow", "access-flow", "equivalent") "," EL(
                "near", "spktv",
                "wider") "," EL("far", "spktv",
                                "unmatched") "," EL("ulcer", "hand-ulcer",
                                                    "equal")));
    add(codes, MAP("u:m", BASE "/CodeSystem/av-method",
                   EL("U", "ultrasound-dilution", "equal") "," EL("N", "duplex",
                                                                  "inexact")));
    add(codes, MAP("urn:headgate:text", BASE "/CodeSystem/av-site",
                   EL("Li. Oberarm", "left-upper-arm", "equal")));
    assert_int_equal(codes_find(codes, "u:s", "flow", NOW).meaning,
                     CODE_QUANTITY);
    assert_int_equal(codes_find(codes, "u:s", "near", NOW).meaning, CODE_STORE);
    assert_int_equal(codes_find(codes, "u:s", "far", NOW).meaning, CODE_IGNORE);
    assert_int_equal(codes_find(codes, "u:s", "ulcer", NOW).meaning,
                     CODE_QUESTION);
    assert_int_equal(codes_sign(codes, Q_HAND_SYMPTOM, "u:s", "ulcer", NOW),
                     SIGN_HAND_ULCER);
    assert_int_equal(codes_sign(codes, Q_HAND_SYMPTOM, "u:s", "near", NOW),
                     SIGN_NONE);
    assert_int_equal(codes_method(codes, "u:m", "U", NOW),
                     METHOD_ULTRASOUND_DILUTION);
    assert_int_equal(codes_method(codes, "u:m", "N", NOW), METHOD_UNSTATED);
    assert_int_equal(codes_site_text(codes, "LI. OBERARM", NOW).side,
                     SIDE_LEFT);
    assert_string_equal(codes_site_text(codes, "li. oberarm", NOW).region,
                        "upper-arm");
    /* Mapped once is mapped: a second file cannot say it again. */
    {
        const char *again = MAP("u:s", OBS, EL("flow", "qb", "equal"));
        struct buf why;

        buf_init(&why, 1000);
        assert_int_equal(
            codes_add_concept_map(codes, again, strlen(again), &why),
            ERR_CONFLICT);
        buf_clear(&why);
    }
    assert_int_equal(codes_find(codes, "u:s", "flow", NOW).quantity,
                     Q_ACCESS_FLOW);
    codes_free(codes);
}

static void test_map_of_a_site(void **state)
{
    struct codes *codes = fresh();
    FILE *f = fopen(TESTS_DIR "/corpus/fhir/conceptmap-site.json", "rb");
    char json[4096];
    size_t len;

    (void)state;
    assert_non_null(f);
    len = fread(json, 1, sizeof(json) - 1, f);
    fclose(f);
    json[len] = '\0';
    add(codes, json);
    assert_int_equal(codes_find(codes, SITE_B, "SHUNTFLOW", NOW).quantity,
                     Q_ACCESS_FLOW);
    assert_int_equal(codes_find(codes, SITE_B, "REZ%", NOW).quantity,
                     Q_RECIRCULATION);
    assert_int_equal(codes_find(codes, SITE_B, "KTV", NOW).meaning,
                     CODE_IGNORE);
    codes_free(codes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_find),
        cmocka_unit_test(test_site),
        cmocka_unit_test(test_sign_and_method),
        cmocka_unit_test(test_map_refused),
        cmocka_unit_test(test_map_used),
        cmocka_unit_test(test_map_of_a_site),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

/*
 * OperationOutcome, Bundles, meta, CapabilityStatement.  The documents in
 * tests/golden are also what the independent validators are given:
 *
 *     node tests/peers/validate.mjs tests/golden/[a-z]*.json
 *
 * Source of shapes, value sets and invariants: HL7 FHIR R4 (4.0.1).
 */
#include "tests/fhir_kit.h"

/* ---- outcome ------------------------------------------------------------------- */

#define ERROR_CODING(word)                                                     \
    "{\"coding\":[{\"system\":\"" BASE                                         \
    "/CodeSystem/av-error\",\"code\":\"" word "\"}],"

static void test_outcome(void **state)
{
    static const struct {
        const char *name, *place, *prefix, *want;
    } cases[] = {
        { "as it is", "Observation.status", NULL,
          "\"expression\":[\"Observation.status\"]" },
        { "in a Bundle", "Observation.status", "Bundle.entry[3].resource",
          "\"expression\":[\"Bundle.entry[3].resource.status\"]" },
        { "an item in a Bundle", "Observation.component[1].code",
          "Bundle.entry[3].resource",
          "\"expression\":[\"Bundle.entry[3].resource.component[1].code\"]" },
        { "the whole resource", "Observation", "Bundle.entry[0].resource",
          "\"expression\":[\"Bundle.entry[0].resource\"]" },
        { "the entry itself", "Bundle.entry[3].request.url",
          "Bundle.entry[3].resource",
          "\"expression\":[\"Bundle.entry[3].request.url\"]" },
        { "no place in a Bundle", "", "Bundle.entry[3].resource",
          "\"expression\":[\"Bundle.entry[3].resource\"]" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct outcome o;

        ROW(cases[i].name);
        outcome_init(&o);
        outcome_add(&o, SEV_ERROR, "missing-element", cases[i].place,
                    "Needed: \"%s\"", "status");
        buf_empty(&out);
        fhir_write_outcome(BASE, &o, cases[i].prefix, &out);
        check_out();
        assert_has(cases[i].want);
        assert_has(
            "{\"severity\":\"error\",\"code\":\"required\","
            "\"details\":" ERROR_CODING(
                "missing-element") "\"text\":\"Needed: \\\"status\\\"\"}");
    }
}

static void test_outcome_ends(void **state)
{
    struct outcome o;

    (void)state;
    outcome_init(&o);
    buf_empty(&out);
    fhir_write_outcome(BASE, &o, NULL, &out);
    assert_string_equal(out.data,
                        "{\"resourceType\":\"OperationOutcome\",\"issue\":[{"
                        "\"severity\":\"information\",\"code\":"
                        "\"informational\",\"details\":{\"text\":"
                        "\"Stored\"}}]}");
    /* without a place there is no expression */
    outcome_add(&o, SEV_WARNING, "held", "", "Kept");
    buf_empty(&out);
    fhir_write_outcome(BASE, &o, NULL, &out);
    check_out();
    assert_lacks("expression");
    assert_lacks("Stored");
    /* more than the list holds is said */
    for (int i = 0; i < OUTCOME_ISSUES_MAX; i++)
        outcome_add(&o, SEV_ERROR, "unit", "Observation", "Number %d", i);
    buf_empty(&out);
    fhir_write_outcome(BASE, &o, NULL, &out);
    check_out();
    assert_has("further issues");
    assert_golden_out("outcome.json");
}

/* Strings of FHIR hold no control character but a line feed. */
static const struct {
    const char *name, *text, *want;
} texts[] = {
    { "plain", "a", "\"text\":\"a\"" },
    { "quoted", "a\"b\\c", "\"text\":\"a\\\"b\\\\c\"" },
    { "line feed", "a\nb", "\"text\":\"a\\nb\"" },
    { "tab and return", "a\tb\rc", "\"text\":\"a b c\"" },
    { "bell, delete",
      "a\ab\x7f"
      "c",
      "\"text\":\"a b c\"" },
    { "C1 control",
      "a\xc2\x85"
      "b",
      "\"text\":\"a b\"" },
    { "two bytes", "\xc3\xa9", "\"text\":\"\xc3\xa9\"" },
    { "three bytes", "\xe2\x89\xa5", "\"text\":\"\xe2\x89\xa5\"" },
    { "four bytes", "\xf0\x9f\xa9\xb8", "\"text\":\"\xf0\x9f\xa9\xb8\"" },
    { "cut short", "a\xe2\x89", "\"text\":\"a\"" },
    { "overlong",
      "a\xc0\xaf"
      "b",
      "\"text\":\"ab\"" },
    { "overlong, three bytes",
      "a\xe0\x80\xaf"
      "b",
      "\"text\":\"ab\"" },
    { "surrogate",
      "a\xed\xa0\x80"
      "b",
      "\"text\":\"ab\"" },
    { "beyond U+10FFFF",
      "a\xf4\x90\x80\x80"
      "b",
      "\"text\":\"ab\"" },
    { "stray byte",
      "a\xff"
      "b",
      "\"text\":\"ab\"" },
};

static void test_text(void **state)
{

    (void)state;
    for (size_t i = 0; i < COUNT(texts); i++) {
        struct outcome o = { .count = 1 };

        ROW(texts[i].name);
        o.issues[0].word = "held";
        o.issues[0].code = "incomplete";
        snprintf(o.issues[0].text, OUTCOME_TEXT_SIZE, "%s", texts[i].text);
        buf_empty(&out);
        fhir_write_outcome(BASE, &o, NULL, &out);
        check_out();
        assert_has(texts[i].want);
        /* nothing to read: no member */
        snprintf(o.issues[0].text, OUTCOME_TEXT_SIZE, " \n\t\xff");
        buf_empty(&out);
        fhir_write_outcome(BASE, &o, NULL, &out);
        check_out();
        assert_lacks("\"text\"");
    }
}

/* ---- bundles --------------------------------------------------------------------- */

static void test_responses(void **state)
{
    struct outcome bad, none;
    struct fhir_response responses[] = {
        { .status = 201,
          .location = "Observation/o1/_history/1",
          .etag = "W/\"1\"",
          .modified_ms = AUTHORED_S * 1000 + 500,
          .outcome = &none },
        { .status = 422, .outcome = &bad },
    };

    (void)state;
    outcome_init(&none);
    outcome_init(&bad);
    outcome_add(&bad, SEV_ERROR, "unit", "Observation.value", "No unit");
    buf_empty(&out);
    fhir_write_bundle_response(BASE, true, responses, 1, &out);
    assert_string_equal(
        out.data,
        "{\"resourceType\":\"Bundle\",\"type\":\"transaction-response\","
        "\"entry\":[{\"response\":{\"status\":\"201\",\"location\":"
        "\"Observation/o1/_history/1\",\"etag\":\"W/\\\"1\\\"\","
        "\"lastModified\":\"2026-03-06T08:12:00.500Z\"}}]}");
    buf_empty(&out);
    fhir_write_bundle_response(BASE, false, responses, 2, &out);
    check_out();
    assert_golden_out("bundle-batch-response.json");
    buf_empty(&out);
    fhir_write_bundle_response(BASE, false, responses, 0, &out);
    assert_string_equal(
        out.data, "{\"resourceType\":\"Bundle\",\"type\":\"batch-response\"}");
}

static void test_searchset(void **state)
{
    static const char task[] =
        "{ \"resourceType\" : \"Task\", \"id\" : \"t1\",\n \"meta\": "
        "{\"versionId\":\"2\",\"lastUpdated\":\"2026-03-06T08:12:00Z\"},"
        "\"status\":\"requested\",\"intent\":\"proposal\","
        "\"description\":\"kept  as it \\\" is\" }";
    static const char patient[] = "{\"resourceType\":\"Patient\",\"id\":\"p1\","
                                  "\"active\":true}";

    (void)state;
    buf_empty(&out);
    fhir_write_searchset_begin("searchset", 0, BASE "/Task", NULL, &out);
    fhir_write_searchset_end(&out);
    assert_string_equal(out.data,
                        "{\"resourceType\":\"Bundle\",\"type\":\"searchset\","
                        "\"total\":0,\"link\":[{\"relation\":\"self\",\"url\":"
                        "\"" BASE "/Task\"}]}");
    buf_empty(&out);
    fhir_write_searchset_begin("searchset", -1, NULL, NULL, &out);
    fhir_write_searchset_end(&out);
    assert_string_equal(out.data,
                        "{\"resourceType\":\"Bundle\",\"type\":\"searchset\"}");
    buf_empty(&out);
    fhir_write_searchset_begin("searchset", 7, BASE "/Task?_count=2",
                               BASE "/Task?after=2", &out);
    fhir_write_searchset_entry(BASE "/Task/t1", task, strlen(task), "match",
                               true, &out);
    fhir_write_searchset_entry(BASE "/Patient/p1", patient, strlen(patient),
                               "include", false, &out);
    fhir_write_searchset_end(&out);
    check_out();
    assert_has("\"resource\":{\"resourceType\":\"Task\",\"id\":\"t1\",");
    assert_has("\"description\":\"kept  as it \\\" is\"}");
    assert_has("},\"search\":{\"mode\":\"match\"}},{\"fullUrl\":");
    assert_has("},\"search\":{\"mode\":\"include\"}}]}");
    assert_golden_out("bundle-searchset.json");
    buf_empty(&out);
    fhir_write_searchset_begin("history", 1, BASE "/Task/t1/_history", NULL,
                               &out);
    fhir_write_searchset_entry(BASE "/Task/t1", task, strlen(task), NULL, true,
                               &out);
    fhir_write_searchset_end(&out);
    check_out();
    assert_has("\"request\":{\"method\":\"PUT\",\"url\":\"Task/t1\"},"
               "\"response\":{\"status\":\"200\",\"etag\":\"W/\\\"2\\\"\","
               "\"lastModified\":\"2026-03-06T08:12:00Z\"}}]}");
    assert_golden_out("bundle-history.json");
}

static void test_meta(void **state)
{
    (void)state;
    buf_empty(&out);
    fhir_write_meta(BASE, 3, AUTHORED_S * 1000, NULL, &out);
    assert_string_equal(out.data, "{\"versionId\":\"3\",\"lastUpdated\":"
                                  "\"2026-03-06T08:12:00.000Z\"}");
    buf_empty(&out);
    fhir_write_meta(BASE, 0, 0, "machine-suggested", &out);
    assert_string_equal(out.data, "{\"tag\":[{\"system\":\"" BASE
                                  "/CodeSystem/av-task\",\"code\":"
                                  "\"machine-suggested\"}]}");
}

static void test_capability(void **state)
{
    struct fhir_capability c = { .base = BASE,
                                 .version = "0.0.0",
                                 .url = "http://127.0.0.1:8480/fhir",
                                 .date_s = AUTHORED_S,
                                 .needs_token = true };

    (void)state;
    buf_empty(&out);
    fhir_write_capability(&c, &out);
    check_out();
    assert_golden_out("capability.json");
    c.needs_token = false;
    buf_empty(&out);
    fhir_write_capability(&c, &out);
    check_out();
    assert_lacks("bearer");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_outcome),    cmocka_unit_test(test_outcome_ends),
        cmocka_unit_test(test_text),       cmocka_unit_test(test_responses),
        cmocka_unit_test(test_searchset),  cmocka_unit_test(test_meta),
        cmocka_unit_test(test_capability),
    };

    return cmocka_run_group_tests(tests, start, stop);
}

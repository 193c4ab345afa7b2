/* Looking into what a record sends, and references that it knows. */
#include "tests/task_kit.h"

static void test_view(void **state)
{
    static const struct {
        const char *name, *json;
        enum err want;
        const char *id, *status, *reason;
    } cases[] = {
        { "reason in words",
          "{\"resourceType\":\"Task\",\"id\":\"t1\",\"status\":\"rejected\","
          "\"statusReason\":{\"text\":\"under review\",\"coding\":[{"
          "\"display\":\"no\"}]}}",
          ERR_OK, "t1", "rejected", "under review" },
        { "reason coded",
          "{\"resourceType\":\"Task\",\"id\":\"t1\",\"status\":\"rejected\","
          "\"statusReason\":{\"coding\":[{\"code\":\"x\",\"display\":\"no\"}]}"
          "}",
          ERR_OK, "t1", "rejected", "no" },
        { "only a code",
          "{\"resourceType\":\"Task\",\"status\":\"new-word-of-another-kind\","
          "\"statusReason\":{\"coding\":[{\"code\":\"x\"}]}}",
          ERR_OK, "", "new-word-of-another-kin", "x" },
        { "no reason",
          "{\"resourceType\":\"Task\",\"id\":\"t1\",\"status\":\"accepted\","
          "\"priority\":\"asap\"}",
          ERR_OK, "t1", "accepted", "" },
        { "no status", "{\"resourceType\":\"Task\",\"id\":\"t1\"}", ERR_FORM,
          "", "", "" },
        { "not an id",
          "{\"resourceType\":\"Task\",\"id\":\"a/b\",\"status\":\"accepted\"}",
          ERR_FORM, "", "", "" },
        { "another resource",
          "{\"resourceType\":\"Patient\",\"id\":\"t1\",\"status\":\"x\"}",
          ERR_FORM, "", "", "" },
        { "not an object", "[1]", ERR_FORM, "", "", "" },
        { "twice",
          "{\"resourceType\":\"Task\",\"status\":\"a\",\"status\":\"b\"}",
          ERR_FORM, "", "", "" },
        { "nothing", "", ERR_FORM, "", "", "" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_task_view view = { "", "", "", "" };

        ROW(cases[i].name);
        assert_int_equal(
            fhir_task_view(cases[i].json, strlen(cases[i].json), &view),
            cases[i].want);
        assert_string_equal(view.id, cases[i].id);
        assert_string_equal(view.status, cases[i].status);
        assert_string_equal(view.reason, cases[i].reason);
        assert_string_equal(
            view.priority, strstr(cases[i].json, "asap") != NULL ? "asap" : "");
    }
}

/* A long reason is cut between characters. */
static void test_view_long(void **state)
{
    struct fhir_task_view view;
    char json[600] = "{\"resourceType\":\"Task\",\"status\":\"rejected\","
                     "\"statusReason\":{\"text\":\"";
    size_t len = strlen(json);

    (void)state;
    while (len < 500) {
        memcpy(json + len, "\xe2\x89\xa5", 3);
        len += 3;
    }
    memcpy(json + len, "\"}}", 4);
    assert_int_equal(fhir_task_view(json, len + 3, &view), ERR_OK);
    assert_int_equal(strlen(view.reason), 198); /* 66 of three bytes */
}

static void test_localise(void **state)
{
    static const struct {
        const char *name;
        struct mapped map;
        const char *json, *want;
    } cases[] = {
        { "literal",
          { "Patient/1", { .literal = "Patient/p-1001" } },
          "{\"resourceType\":\"Task\",\"for\":{\"reference\":\"Patient\\/1\","
          "\"display\":\"Wren\"}}",
          "{\"resourceType\":\"Task\",\"for\":{\"reference\":"
          "\"Patient/p-1001\",\"display\":\"Wren\"}}" },
        { "logical, its display given",
          { "Patient/1",
            { .system = "urn:s",
              .value = "9",
              .type = "Patient",
              .display = "W" } },
          "{\"resourceType\":\"Task\",\"for\":{\"reference\":\"Patient/1\"}}",
          "{\"resourceType\":\"Task\",\"for\":{\"identifier\":{\"system\":"
          "\"urn:s\",\"value\":\"9\"},\"type\":\"Patient\",\"display\":"
          "\"W\"}}" },
        { "logical, an older identifier goes",
          { "Patient/1", { .system = "urn:s", .value = "9" } },
          "{\"resourceType\":\"Task\",\"for\":{\"reference\":\"Patient/1\","
          "\"type\":\"Patient\",\"identifier\":{\"value\":\"old\"}}}",
          "{\"resourceType\":\"Task\",\"for\":{\"identifier\":{\"system\":"
          "\"urn:s\",\"value\":\"9\"},\"type\":\"Patient\"}}" },
        { "deep, all of them, decimals kept",
          { "Observation/5", { .literal = "Observation/abc" } },
          "{ \"resourceType\": \"Task\", \"input\": [ { \"valueReference\": { "
          "\"reference\": \"Observation/5\" } }, { \"valueDecimal\": 2.50 } ],"
          " \"reasonReference\": { \"reference\": \"Observation/5\" } }",
          "{\"resourceType\":\"Task\",\"input\":[{\"valueReference\":{"
          "\"reference\":\"Observation/abc\"}},{\"valueDecimal\":2.50}],"
          "\"reasonReference\":{\"reference\":\"Observation/abc\"}}" },
        { "a version, of any resource",
          { "Task/t1", { .literal = "Task/77", .version = "3" } },
          "{\"resourceType\":\"Provenance\",\"target\":[{\"reference\":"
          "\"Task/t1/_history/1\"},{\"reference\":\"Task/t1\"}]}",
          "{\"resourceType\":\"Provenance\",\"target\":[{\"reference\":"
          "\"Task/77/_history/3\"},{\"reference\":\"Task/77\"}]}" },
        { "a version that is not known there",
          { "Task/t1", { .literal = "Task/77" } },
          "{\"resourceType\":\"Provenance\",\"target\":[{\"reference\":"
          "\"Task/t1/_history/1\"}]}",
          "{\"resourceType\":\"Provenance\",\"target\":[{\"reference\":"
          "\"Task/77\"}]}" },
        { "a version of what is logical there",
          { "Observation/o1", { .system = "urn:s", .value = "9" } },
          "{\"resourceType\":\"Provenance\",\"entity\":[{\"what\":{"
          "\"reference\":\"Observation/o1/_history/2\"}}]}",
          "{\"resourceType\":\"Provenance\",\"entity\":[{\"what\":{"
          "\"identifier\":{\"system\":\"urn:s\",\"value\":\"9\"}}}]}" },
        { "a version, left as it is",
          { "Task/t1", { .literal = "Task/77" } },
          "{\"resourceType\":\"Flag\",\"x\":{\"reference\":"
          "\"Task/t2/_history/1\"}}",
          "{\"resourceType\":\"Flag\",\"x\":{\"reference\":"
          "\"Task/t2/_history/1\"}}" },
        { "not known to us: left",
          { "Patient/1", { .literal = "Patient/p" } },
          "{\"resourceType\":\"Task\",\"for\":{\"reference\":\"Patient/2\","
          "\"identifier\":{\"value\":\"x\"}}}",
          "{\"resourceType\":\"Task\",\"for\":{\"reference\":\"Patient/2\","
          "\"identifier\":{\"value\":\"x\"}}}" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct mapped map = cases[i].map;

        ROW(cases[i].name);
        buf_empty(&out);
        assert_int_equal(fhir_localise(cases[i].json, strlen(cases[i].json),
                                       map_one, &map, &out),
                         ERR_OK);
        assert_string_equal(out.data, cases[i].want);
    }
    buf_empty(&out);
    assert_int_equal(fhir_localise("{}", 2, map_one, NULL, &out), ERR_FORM);
}

#define HAS                                                                    \
    ",\"identifier\":[{\"value\":\"0\"},{\"system\":\"s\",\"value\":\"7\"}]"
#define SEARCH "{\"resourceType\":\"Bundle\",\"type\":\"searchset\""
#define FOUND(id, mode)                                                        \
    "{\"resource\":{\"resourceType\":\"Patient\",\"id\":\"" id "\"" HAS        \
    "},\"search\":{\"mode\":\"" mode "\"}}"
#define NEXT ",\"link\":[{\"relation\":\"next\",\"url\":\"u\"}]"

static void test_sole_match(void **state)
{
    static const struct {
        const char *name, *json;
        enum err want;
        const char *id;
    } cases[] = {
        { "one", SEARCH ",\"entry\":[" FOUND("p1", "match") "]}", ERR_OK,
          "p1" },
        { "no mode",
          SEARCH ",\"entry\":[{\"resource\":{\"resourceType\":\"Patient\","
                 "\"id\":\"p1\"" HAS "}}]}",
          ERR_OK, "p1" },
        { "none", SEARCH ",\"total\":0}", ERR_ABSENT, "" },
        { "two",
          SEARCH
          ",\"entry\":[" FOUND("p1", "match") "," FOUND("p2", "match") "]}",
          ERR_AMBIGUOUS, "" },
        { "the same twice",
          SEARCH
          ",\"entry\":[" FOUND("p1", "match") "," FOUND("p1", "match") "]}",
          ERR_OK, "p1" },
        { "one, and one that came with it",
          SEARCH
          ",\"entry\":[" FOUND("p1", "match") "," FOUND("o1", "include") "]}",
          ERR_OK, "p1" },
        { "a remark of the server",
          SEARCH ",\"entry\":[{\"resource\":{\"resourceType\":"
                 "\"OperationOutcome\",\"id\":\"x\"}}]}",
          ERR_ABSENT, "" },
        { "one here, more counted",
          SEARCH ",\"total\":2,\"entry\":[" FOUND("p1", "match") "]}",
          ERR_AMBIGUOUS, "" },
        { "one here, and a next page",
          SEARCH NEXT ",\"entry\":[" FOUND("p1", "match") "]}", ERR_AMBIGUOUS,
          "" },
        { "one counted, and a next page that must be empty",
          SEARCH NEXT ",\"total\":1,\"entry\":[" FOUND("p1", "match") "]}",
          ERR_OK, "p1" },
        { "not an id", SEARCH ",\"entry\":[" FOUND("a b", "match") "]}",
          ERR_FORM, "" },
        { "somebody else",
          SEARCH ",\"entry\":[{\"resource\":{\"resourceType\":\"Patient\","
                 "\"id\":\"p1\",\"identifier\":[{\"system\":\"s\","
                 "\"value\":\"8\"},{\"system\":\"t\",\"value\":\"7\"}]}}]}",
          ERR_CONFLICT, "" },
        { "nobody in particular",
          SEARCH ",\"entry\":[{\"resource\":{\"resourceType\":\"Patient\","
                 "\"id\":\"p1\"}}]}",
          ERR_CONFLICT, "" },
        { "not a Bundle", "{\"resourceType\":\"Patient\",\"id\":\"p1\"}",
          ERR_FORM, "" },
        { "not JSON", "<html>", ERR_FORM, "" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        char id[72] = "";

        ROW(cases[i].name);
        assert_int_equal(
            fhir_sole_match(cases[i].json, strlen(cases[i].json), "s", "7", id),
            cases[i].want);
        assert_string_equal(id, cases[i].id);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_view),
        cmocka_unit_test(test_view_long),
        cmocka_unit_test(test_localise),
        cmocka_unit_test(test_sole_match),
    };

    return cmocka_run_group_tests(tests, start, stop);
}

#include "adapters/error_lines.h"
#include "tests/test.h"

#include <jansson.h>
#include <string.h>

/* R4 itself is checked by tests/peers/load.mjs and drop.mjs, with validators
 * of others; here what stands where is read by jansson. */

#define BASE "https://headgate.example/fhir"

static json_t *one_line(const struct buf *out)
{
    json_t *root;

    assert_int_equal(buf_ok(out), ERR_OK);
    assert_true(out->len > 1 && out->data[out->len - 1] == '\n');
    assert_null(memchr(out->data, '\n', out->len - 1));
    root = json_loadb(out->data, out->len, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    assert_string_equal(
        json_string_value(json_object_get(root, "resourceType")),
        "OperationOutcome");
    return root;
}

static json_t *issue_of(json_t *root, size_t i)
{
    return json_array_get(json_object_get(root, "issue"), i);
}

static const char *first_of(json_t *issue, const char *key, size_t i)
{
    return json_string_value(json_array_get(json_object_get(issue, key), i));
}

static const char *word_of(json_t *issue)
{
    json_t *coding =
        json_object_get(json_object_get(issue, "details"), "coding");

    return json_string_value(
        json_object_get(json_array_get(coding, 0), "code"));
}

static void from_an_outcome(void **state)
{
    const struct error_place place = { "feed.ndjson", 12, 3456, 0 };
    struct outcome outcome;
    struct buf out;
    json_t *root, *issue;

    (void)state;
    outcome_init(&outcome);
    outcome_add(&outcome, SEV_ERROR, "no-time", "Observation.effective",
                "When it was measured is needed");
    outcome_add(&outcome, SEV_WARNING, "unit-assumed", "", "A \"unit\"");
    buf_init(&out, 1 << 16);
    error_line_write(BASE, &outcome, false, &place, &out);
    root = one_line(&out);
    issue = issue_of(root, 0);
    assert_string_equal(first_of(issue, "location", 0), "feed.ndjson:12");
    assert_string_equal(first_of(issue, "expression", 0),
                        "Observation.effective");
    assert_string_equal(
        json_string_value(json_object_get(issue, "diagnostics")),
        "feed.ndjson, line 12, byte 3456");
    assert_string_equal(word_of(issue), "no-time");
    assert_string_equal(json_string_value(json_object_get(issue, "code")),
                        "business-rule");
    assert_null(json_object_get(issue_of(root, 1), "expression"));
    assert_int_equal(json_array_size(json_object_get(root, "issue")), 2);
    json_decref(root);
    buf_clear(&out);
}

/* HL7 v2 has no FHIRPath: its place stands behind that in the file. */
static void from_an_outcome_of_v2(void **state)
{
    const struct error_place place = { "night.hl7", 5, 99, 0 };
    struct outcome outcome;
    struct buf out;
    json_t *root;

    (void)state;
    outcome_init(&outcome);
    outcome_add(&outcome, SEV_ERROR, "bad-value", "OBX[3]-5", "No number");
    buf_init(&out, 1 << 16);
    error_line_write(BASE, &outcome, true, &place, &out);
    root = one_line(&out);
    assert_string_equal(first_of(issue_of(root, 0), "location", 0),
                        "night.hl7:5");
    assert_string_equal(first_of(issue_of(root, 0), "location", 1), "OBX[3]-5");
    assert_null(json_object_get(issue_of(root, 0), "expression"));
    json_decref(root);
    buf_clear(&out);
}

/* An issue must stand there (R4: issue 1..*), and a name may be any bytes. */
static void odd_outcomes(void **state)
{
    static const char *const names[] = { "a\"b\\c\n.json", "M\xfcller.json", "",
                                         NULL };
    struct outcome outcome;

    (void)state;
    outcome_init(&outcome);
    for (size_t i = 0; i < COUNT(names); i++) {
        const struct error_place place = { names[i], 1, 0, i };
        struct buf out;
        json_t *root;

        buf_init(&out, 1 << 16);
        error_line_write(BASE, &outcome, false, &place, &out);
        root = one_line(&out);
        assert_int_equal(json_array_size(json_object_get(root, "issue")), 1);
        assert_non_null(first_of(issue_of(root, 0), "location", 0));
        assert_int_equal(strstr(json_string_value(json_object_get(
                                    issue_of(root, 0), "diagnostics")),
                                ", entry ") != NULL,
                         i > 0);
        json_decref(root);
        buf_clear(&out);
    }
}

static struct error_answer *answer_of(const char *json)
{
    struct error_answer *answer = NULL;

    assert_int_equal(error_answer_open(json, strlen(json), &answer), ERR_OK);
    return answer;
}

static void from_an_answer(void **state)
{
    static const char bundle[] =
        "{\"resourceType\":\"Bundle\",\"type\":\"batch-response\",\"entry\":["
        "{\"response\":{\"status\":\"201\"}},"
        "{\"response\":{\"status\":\"400\",\"outcome\":{\"resourceType\":"
        "\"OperationOutcome\",\"issue\":[{\"severity\":\"error\",\"code\":"
        "\"value\",\"details\":{\"text\":\"K\xc3\xbchl\"},\"expression\":["
        "\"Observation.status\"]},{\"severity\":\"warning\"}]}}}]}";
    const struct error_place place = { "f", 7, 70, 0 };
    struct error_answer *answer = answer_of(bundle);
    struct buf out;
    json_t *root;

    (void)state;
    buf_init(&out, 1 << 16);
    error_answer_write(answer, 1, &place, &out);
    root = one_line(&out);
    assert_int_equal(json_array_size(json_object_get(root, "issue")), 1);
    assert_string_equal(first_of(issue_of(root, 0), "expression", 0),
                        "Observation.status");
    assert_string_equal(first_of(issue_of(root, 0), "location", 0), "f:7");
    assert_string_equal(
        json_string_value(json_object_get(
            json_object_get(issue_of(root, 0), "details"), "text")),
        "K\xc3\xbchl");
    json_decref(root);
    for (size_t i = 0; i < 3; i += 2) { /* nothing was said; beyond the end */
        buf_empty(&out);
        error_answer_write(answer, i, &place, &out);
        root = one_line(&out);
        assert_string_equal(
            json_string_value(json_object_get(issue_of(root, 0), "severity")),
            "error");
        json_decref(root);
    }
    error_answer_close(answer);
    error_answer_close(NULL);
    buf_clear(&out);
}

static void from_an_answer_of_v2(void **state)
{
    static const char json[] =
        "{\"answer\":\"AE\",\"repeated\":false,\"quarantined\":true,"
        "\"stored\":2,\"there\":1,\"held\":0,\"refused\":3,\"issues\":["
        "{\"severity\":\"warning\",\"code\":\"103\",\"word\":\"unit\","
        "\"place\":\"OBX[1]-6\",\"text\":\"first\"},"
        "{\"severity\":\"error\",\"code\":\"102\",\"word\":\"bad-value\","
        "\"place\":\"OBX[2]-5\",\"text\":\"second\"},"
        "{\"severity\":\"error\",\"code\":\"102\",\"word\":\"not ours\","
        "\"place\":\"\",\"text\":\"third\"}],\"dropped\":0}";
    const struct error_place place = { "f.hl7", 7, 70, 0 };
    struct error_answer *answer = answer_of(json);
    struct error_hl7 a;
    struct buf out;
    json_t *root;

    (void)state;
    assert_int_equal(error_answer_hl7(answer, &a), ERR_OK);
    assert_string_equal(a.answer, "AE");
    assert_true(a.quarantined && !a.repeated);
    assert_int_equal(a.stored, 2);
    assert_int_equal(a.there, 1);
    assert_int_equal(a.refused, 3);
    assert_string_equal(a.word, "bad-value");
    assert_string_equal(a.place, "OBX[2]-5");
    buf_init(&out, 1 << 16);
    error_answer_hl7_write(answer, BASE, &place, &out);
    root = one_line(&out);
    assert_int_equal(json_array_size(json_object_get(root, "issue")), 3);
    assert_string_equal(first_of(issue_of(root, 1), "location", 1), "OBX[2]-5");
    assert_string_equal(word_of(issue_of(root, 2)), "bad-request");
    json_decref(root);
    buf_clear(&out);
    error_answer_close(answer);
}

static void answers_that_are_none(void **state)
{
    static const char *const texts[] = { "", "[]", "{", "null", "{}x" };
    static const char *const others[] = {
        "{}", "{\"answer\":\"AA\"}", "{\"answer\":1,\"issues\":[]}",
        "{\"resourceType\":\"OperationOutcome\"}"
    };
    struct error_answer *answer;
    struct error_hl7 a;

    (void)state;
    for (size_t i = 0; i < COUNT(texts); i++) {
        answer = NULL;
        if (error_answer_open(texts[i], strlen(texts[i]), &answer) == ERR_OK)
            assert_int_equal(error_answer_hl7(answer, &a), ERR_FORM);
        error_answer_close(answer);
    }
    for (size_t i = 0; i < COUNT(others); i++) {
        answer = answer_of(others[i]);
        assert_int_equal(error_answer_hl7(answer, &a), ERR_FORM);
        error_answer_close(answer);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(from_an_outcome),
        cmocka_unit_test(from_an_outcome_of_v2),
        cmocka_unit_test(odd_outcomes),
        cmocka_unit_test(from_an_answer),
        cmocka_unit_test(from_an_answer_of_v2),
        cmocka_unit_test(answers_that_are_none),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

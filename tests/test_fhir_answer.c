#include "adapters/fhir_answer.h"
#include "adapters/fhir_write.h"
#include "tests/test.h"

#include <stdbool.h>

#define BASE "https://headgate.example/fhir"

enum { MOST = 8 };

/* ---- what our own service writes ------------------------------------------ */

static const struct {
    const char *name;
    int status;
    enum severity severity;
    const char *word, *place; /* of one issue; NULL: none */
    enum answer_fate want;
} fates[] = {
    { "new", 201, SEV_ERROR, NULL, NULL, FATE_STORED },
    { "changed", 200, SEV_ERROR, NULL, NULL, FATE_STORED },
    { "there", 200, SEV_INFORMATION, "duplicate", "", FATE_THERE },
    { "a value that is there twice", 201, SEV_INFORMATION, "duplicate",
      "Observation.component[0]", FATE_STORED },
    { "overtaken", 200, SEV_WARNING, "out-of-order", "", FATE_THERE },
    { "held", 201, SEV_WARNING, "held", "", FATE_HELD },
    { "implausible", 201, SEV_WARNING, "implausible", "Observation",
      FATE_HELD },
    { "access not clear", 201, SEV_WARNING, "access-ambiguous",
      "Observation.focus", FATE_HELD },
    { "side not clear", 201, SEV_WARNING, "access-side", "Observation.focus",
      FATE_HELD },
    { "of the other arm", 201, SEV_INFORMATION, "access-side",
      "Observation.focus", FATE_STORED },
    { "unit, in a feed", 201, SEV_ERROR, "unit", "Observation", FATE_HELD },
    { "unit, sent directly", 422, SEV_ERROR, "unit", "Observation",
      FATE_REFUSED },
    { "code not clear", 201, SEV_ERROR, "code-unclear", "Observation.code",
      FATE_HELD },
    { "codes contradict", 201, SEV_ERROR, "code-conflict", "Observation.code",
      FATE_HELD },
    { "in the future", 201, SEV_WARNING, "future-time", "Observation",
      FATE_HELD },
    { "unusual only", 201, SEV_WARNING, "unusual-value", "Observation",
      FATE_STORED },
    { "refused", 400, SEV_ERROR, "bad-value", "Observation.status",
      FATE_REFUSED },
    { "least of success", 200, SEV_ERROR, NULL, NULL, FATE_STORED },
    { "below it", 199, SEV_ERROR, NULL, NULL, FATE_REFUSED },
    { "most of success", 299, SEV_ERROR, NULL, NULL, FATE_STORED },
    { "above it", 300, SEV_ERROR, NULL, NULL, FATE_REFUSED },
};

static void tells_the_fate(void **state)
{
    struct fhir_answer answers[MOST];
    size_t count;
    bool lone;
    struct buf body;

    (void)state;
    buf_init(&body, 1 << 16);
    for (size_t i = 0; i < COUNT(fates); i++) {
        const struct fhir_answer *a = &answers[1];
        struct outcome o;
        struct fhir_response r[2] = {
            { .status = 201 }, { .status = fates[i].status, .outcome = &o }
        };
        bool error = fates[i].word != NULL && fates[i].severity >= SEV_ERROR;

        ROW(fates[i].name);
        outcome_init(&o);
        if (fates[i].word != NULL)
            outcome_add(&o, fates[i].severity, fates[i].word, fates[i].place,
                        "Text of %s", fates[i].word);
        buf_empty(&body);
        fhir_write_bundle_response(BASE, false, r, 2, &body);
        assert_int_equal(fhir_answer_read(body.data, body.len, 200, answers,
                                          MOST, &count, &lone),
                         ERR_OK);
        assert_false(lone);
        assert_int_equal(count, 2);
        assert_int_equal(answers[0].fate, FATE_STORED);
        assert_int_equal(answers[0].words, 0);
        assert_int_equal(a->status, fates[i].status);
        assert_int_equal(a->fate, fates[i].want);
        assert_string_equal(a->word, error ? fates[i].word : "");
        assert_string_equal(a->place, error ? fates[i].place : "");
        assert_int_equal(a->text[0] != '\0', error);
    }
    buf_clear(&body);
}

static void finds_every_word(void **state)
{
    (void)state;
    for (unsigned w = 0; w < ANSWER_WORD_COUNT; w++) {
        struct fhir_answer answer;
        struct outcome o;
        struct buf body;
        size_t count;
        bool lone;

        ROW(answer_word((enum answer_word)w));
        outcome_init(&o);
        outcome_add(&o, SEV_INFORMATION, answer_word((enum answer_word)w), "",
                    "one");
        outcome_add(&o, SEV_WARNING, "unusual-value", "", "other");
        /* A word without a row in outcome.c would come back as "error". */
        assert_string_equal(o.issues[0].word, answer_word((enum answer_word)w));
        buf_init(&body, 1 << 16);
        fhir_write_outcome(BASE, &o, NULL, &body);
        assert_int_equal(fhir_answer_read(body.data, body.len, 200, &answer, 1,
                                          &count, &lone),
                         ERR_OK);
        assert_true(lone);
        assert_int_equal(answer.words, 1U << w);
        buf_clear(&body);
    }
    assert_string_equal(answer_word(ANSWER_WORD_COUNT), "?");
}

/* The first error, not the first issue. */
static void first_error(void **state)
{
    struct fhir_answer answer;
    struct outcome o;
    struct buf body;
    size_t count;
    bool lone;

    (void)state;
    outcome_init(&o);
    outcome_add(&o, SEV_WARNING, "unusual-value", "Observation", "a warning");
    outcome_add(&o, SEV_ERROR, "bad-value", "Observation.status", "the first");
    outcome_add(&o, SEV_FATAL, "json-syntax", "", "the second");
    buf_init(&body, 1 << 16);
    fhir_write_outcome(BASE, &o, "Bundle.entry[3].resource", &body);
    assert_int_equal(
        fhir_answer_read(body.data, body.len, 400, &answer, 1, &count, &lone),
        ERR_OK);
    assert_true(lone);
    assert_int_equal(count, 1);
    assert_int_equal(answer.status, 400);
    assert_int_equal(answer.fate, FATE_REFUSED);
    assert_string_equal(answer.word, "bad-value");
    assert_string_equal(answer.text, "the first");
    assert_string_equal(answer.place, "Bundle.entry[3].resource.status");
    buf_clear(&body);
}

/* ---- what others write ---------------------------------------------------- */

#define ISSUE(more)                                                            \
    "{\"resourceType\":\"OperationOutcome\",\"issue\":[{\"severity\":"         \
    "\"error\",\"code\":\"processing\"" more "}]}"
#define ANSWERS(entry)                                                         \
    "{\"resourceType\":\"Bundle\",\"type\":\"batch-response\",\"entry\":"      \
    "[" entry "]}"

static const struct {
    const char *name, *json;
    int status; /* of the first answer */
    const char *word, *text, *place;
} others[] = {
    /* HL7 FHIR R4, operationoutcome-example-validationfail.json, without its
     * narrative. */
    { "example of the standard",
      "{\"resourceType\":\"OperationOutcome\",\"id\":\"validationfail\","
      "\"issue\":[{\"severity\":\"error\",\"code\":\"structure\",\"details\":{"
      "\"text\":\"Error parsing resource XML (Unknown Content \\\"label\\\"\"},"
      "\"location\":[\"/f:Patient/f:identifier\"],\"expression\":["
      "\"Patient.identifier\"]}]}",
      422, "structure", "Error parsing resource XML (Unknown Content \"label\"",
      "Patient.identifier" },
    { "location only", ISSUE(",\"location\":[\"/f:Patient\"]"), 422,
      "processing", "", "/f:Patient" },
    { "diagnostics", ISSUE(",\"diagnostics\":\"no room\""), 422, "processing",
      "no room", "" },
    { "ours among the codings",
      ISSUE(",\"details\":{\"coding\":[{\"code\":\"other\"},{\"system\":\"" BASE
            "/CodeSystem/av-error\",\"code\":\"unit\"}]}"),
      422, "unit", "", "" },
    { "another's coding",
      ISSUE(",\"details\":{\"coding\":[{\"system\":\"urn:x\",\"code\":"
            "\"other\"}]}"),
      422, "other", "", "" },
    /* HL7 FHIR R4, bundle.html: status starts with the 3 digit HTTP code and
     * may contain the description of the standard. */
    { "status with its words",
      ANSWERS("{\"response\":{\"status\":\"404 Not Found\"}}"), 404, "", "",
      "" },
    { "status as a number", ANSWERS("{\"response\":{\"status\":201}}"), 0, "",
      "", "" },
    { "status of two digits", ANSWERS("{\"response\":{\"status\":\"20\"}}"), 0,
      "", "", "" },
    { "status of four", ANSWERS("{\"response\":{\"status\":\"2011\"}}"), 0, "",
      "", "" },
    { "status and a word joined",
      ANSWERS("{\"response\":{\"status\":\"201x\"}}"), 0, "", "", "" },
    { "no status", ANSWERS("{\"response\":{}}"), 0, "", "", "" },
    { "no response", ANSWERS("{}"), 0, "", "", "" },
    { "entry of another kind", ANSWERS("7"), 0, "", "", "" },
    { "issue of another kind",
      ANSWERS("{\"response\":{\"status\":\"400\",\"outcome\":{\"issue\":[7,"
              "{\"severity\":7,\"details\":[],\"expression\":{}},{\"severity\":"
              "\"fatal\",\"details\":{\"coding\":{},\"text\":1},"
              "\"expression\":[2]}]}}}"),
      400, "", "", "" },
};

static void reads_others(void **state)
{
    struct fhir_answer answers[MOST];
    size_t count;
    bool lone;

    (void)state;
    for (size_t i = 0; i < COUNT(others); i++) {
        ROW(others[i].name);
        assert_int_equal(fhir_answer_read(others[i].json,
                                          strlen(others[i].json), 422, answers,
                                          MOST, &count, &lone),
                         ERR_OK);
        assert_int_equal(count, 1);
        assert_int_equal(answers[0].status, others[i].status);
        assert_int_equal(answers[0].fate, FATE_REFUSED);
        assert_string_equal(answers[0].word, others[i].word);
        assert_string_equal(answers[0].text, others[i].text);
        assert_string_equal(answers[0].place, others[i].place);
    }
}

static const struct {
    const char *name, *json;
    size_t most;
    enum err want;
} bodies[] = {
    { "no entries", ANSWERS(""), 1, ERR_OK },
    { "entry left out",
      "{\"resourceType\":\"Bundle\",\"type\":\"batch-response\"}", 1, ERR_OK },
    { "transaction-response",
      "{\"resourceType\":\"Bundle\",\"type\":\"transaction-response\"}", 1,
      ERR_OK },
    { "as many as there is room", ANSWERS("{},{}"), 2, ERR_OK },
    { "one more", ANSWERS("{},{},{}"), 2, ERR_LIMIT },
    { "another Bundle", "{\"resourceType\":\"Bundle\",\"type\":\"searchset\"}",
      1, ERR_FORM },
    { "entry no array",
      "{\"resourceType\":\"Bundle\",\"type\":\"batch-response\",\"entry\":{}}",
      1, ERR_FORM },
    { "another resource", "{\"resourceType\":\"Patient\"}", 1, ERR_FORM },
    { "no resource", "{}", 1, ERR_FORM },
    { "array", "[]", 1, ERR_FORM },
    { "not JSON", "<html>", 1, ERR_FORM },
    { "nothing", "", 1, ERR_FORM },
};

static void judges_the_body(void **state)
{
    struct fhir_answer answers[MOST];

    (void)state;
    for (size_t i = 0; i < COUNT(bodies); i++) {
        size_t count = 77;
        bool lone = true;

        ROW(bodies[i].name);
        assert_int_equal(fhir_answer_read(bodies[i].json,
                                          strlen(bodies[i].json), 200, answers,
                                          bodies[i].most, &count, &lone),
                         bodies[i].want);
        assert_int_equal(lone, bodies[i].want != ERR_OK);
        if (bodies[i].want != ERR_OK)
            assert_int_equal(count, 77);
        else
            assert_true(count <= bodies[i].most);
    }
}

/* No proper beginning of an answer is an answer. */
static void every_truncation(void **state)
{
    static const char json[] =
        ANSWERS("{\"response\":{\"status\":\"201\",\"location\":"
                "\"Observation/o1/_history/1\"}},{\"response\":{\"status\":"
                "\"422\",\"outcome\":" ISSUE(
                    ",\"details\":{\"text\":\"K\xc3\xbchl\"}") "}}");
    struct fhir_answer answers[MOST];
    size_t count;
    bool lone;

    (void)state;
    for (size_t len = 0; len < sizeof(json) - 1; len++) {
        char *copy = malloc(len + 1); /* so that reading on is seen */

        assert_non_null(copy);
        memcpy(copy, json, len);
        assert_int_equal(
            fhir_answer_read(copy, len, 200, answers, MOST, &count, &lone),
            ERR_FORM);
        free(copy);
    }
    assert_int_equal(fhir_answer_read(json, sizeof(json) - 1, 200, answers,
                                      MOST, &count, &lone),
                     ERR_OK);
    assert_int_equal(count, 2);
}

/* Texts are cut between characters. */
static void long_texts(void **state)
{
    for (size_t shift = 0; shift < 3; shift++) {
        struct fhir_answer answer;
        struct buf body;
        size_t count, len;
        bool lone;

        (void)state;
        buf_init(&body, 1 << 16);
        buf_puts(&body, "{\"resourceType\":\"OperationOutcome\",\"issue\":[{"
                        "\"severity\":\"error\",\"details\":{\"text\":\"");
        for (size_t i = 0; i < shift; i++)
            buf_puts(&body, "x");
        for (size_t i = 0; i < 200; i++)
            buf_puts(&body, "\xe2\x82\xac");
        buf_puts(&body, "\"}}]}");
        assert_int_equal(fhir_answer_read(body.data, body.len, 400, &answer, 1,
                                          &count, &lone),
                         ERR_OK);
        len = strlen(answer.text);
        assert_in_range(len, sizeof(answer.text) - 3, sizeof(answer.text) - 1);
        assert_int_equal((len - shift) % 3, 0);
        buf_clear(&body);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tells_the_fate),  cmocka_unit_test(finds_every_word),
        cmocka_unit_test(first_error),     cmocka_unit_test(reads_others),
        cmocka_unit_test(judges_the_body), cmocka_unit_test(every_truncation),
        cmocka_unit_test(long_texts),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

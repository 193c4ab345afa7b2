/*
 * fhir_record, record_check: what a CapabilityStatement says, and in words
 *
 * Source: HL7 FHIR R4 (4.0.1), capabilitystatement.html: elements and their
 * value sets (restful-interactions, versioning-policy).
 */
#include "adapters/fhir_record.h"

#include "service/record_check.h"
#include "tests/test.h"

static struct fhir_record_says says_of(const char *json)
{
    struct fhir_record_says says;

    assert_int_equal(fhir_record_read(json, strlen(json), &says), ERR_OK);
    return says;
}

#define HEAD                                                                   \
    "{\"resourceType\":\"CapabilityStatement\",\"fhirVersion\":\"4.0.1\","     \
    "\"software\":{\"name\":\"Ledger\",\"version\":\"3\"},"

static const char full[] = HEAD
    "\"format\":[\"application/fhir+xml\",\"application/fhir+json\"],"
    "\"patchFormat\":[\"application/json-patch+json\"],"
    "\"rest\":[{\"mode\":\"client\"},{\"mode\":\"server\","
    "\"security\":{\"service\":[{\"coding\":[{\"code\":\"SMART-on-FHIR\"}]}]},"
    "\"interaction\":[{\"code\":\"transaction\"},{\"code\":\"batch\"}],"
    "\"operation\":[{\"name\":\"export\",\"definition\":\"x\"}],"
    "\"searchParam\":[{\"name\":\"_lastUpdated\",\"type\":\"date\"}],"
    "\"resource\":[{\"type\":\"Task\",\"versioning\":\"versioned-update\","
    "\"conditionalCreate\":true,\"updateCreate\":false,"
    "\"interaction\":[{\"code\":\"create\"},{\"code\":\"read\"},"
    "{\"code\":\"update\"},{\"code\":\"patch\"},{\"code\":\"search-type\"}],"
    "\"searchParam\":[{\"name\":\"identifier\",\"type\":\"token\"}]},"
    "{\"type\":\"Patient\",\"interaction\":[{\"code\":\"read\"}]}]}]}";

static void test_full(void **state)
{
    struct fhir_record_says s = says_of(full);

    (void)state;
    assert_string_equal(s.fhir_version, "4.0.1");
    assert_string_equal(s.software, "Ledger 3");
    assert_int_equal(s.json, SAYS_YES);
    assert_int_equal(s.json_patch, SAYS_YES);
    assert_int_equal(s.batch, SAYS_YES);
    assert_int_equal(s.transaction, SAYS_YES);
    assert_int_equal(s.bulk_export, SAYS_YES);
    assert_true(s.smart);
    assert_int_equal(s.types[RECORD_TASK].conditional_create, SAYS_YES);
    assert_int_equal(s.types[RECORD_TASK].update_create, SAYS_NO);
    assert_int_equal(s.types[RECORD_TASK].versioned, SAYS_YES);
    assert_int_equal(fhir_record_can(&s, RECORD_TASK, RECORD_PATCH), SAYS_YES);
    assert_int_equal(fhir_record_can(&s, RECORD_TASK, RECORD_VREAD), SAYS_NO);
    assert_int_equal(fhir_record_can(&s, RECORD_FLAG, RECORD_READ), SAYS_NO);
    assert_int_equal(fhir_record_finds(&s, RECORD_TASK, SEARCH_IDENTIFIER),
                     SAYS_YES);
    assert_int_equal(fhir_record_finds(&s, RECORD_TASK, SEARCH_LAST_UPDATED),
                     SAYS_YES);
    assert_int_equal(fhir_record_finds(&s, RECORD_TASK, SEARCH_PATIENT),
                     SAYS_NO);
    assert_int_equal(fhir_record_finds(&s, RECORD_PATIENT, SEARCH_IDENTIFIER),
                     SAYS_NO);
}

/* A statement may say very little. */
static void test_little(void **state)
{
    struct fhir_record_says s =
        says_of(HEAD "\"rest\":[{\"mode\":\"server\"}]}");

    (void)state;
    assert_int_equal(s.json, SAYS_NOTHING);
    assert_int_equal(s.transaction, SAYS_NOTHING);
    assert_int_equal(fhir_record_can(&s, RECORD_TASK, RECORD_CREATE),
                     SAYS_NOTHING);
    s = says_of(HEAD "\"rest\":[{\"mode\":\"server\",\"resource\":[{\"type\":"
                     "\"Task\",\"versioning\":\"no-version\"}]}]}");
    assert_int_equal(fhir_record_can(&s, RECORD_TASK, RECORD_CREATE),
                     SAYS_NOTHING);
    assert_int_equal(s.types[RECORD_TASK].versioned, SAYS_NO);
    assert_int_equal(fhir_record_can(&s, RECORD_PATIENT, RECORD_READ), SAYS_NO);
}

static void test_no_statement(void **state)
{
    static const char *const texts[] = {
        "",
        "{",
        "[]",
        "\"x\"",
        "<html>",
        "{\"resourceType\":\"Patient\"}",
        "{\"resourceType\":\"CapabilityStatement\"}",
        HEAD "\"rest\":[{\"mode\":\"client\"}]}",
        HEAD "\"rest\":{}}",
        HEAD "\"rest\":[7,null,\"server\"]}"
    };
    struct fhir_record_says s;

    (void)state;
    for (size_t i = 0; i < COUNT(texts); i++) {
        ROW(texts[i]);
        assert_int_equal(fhir_record_read(texts[i], strlen(texts[i]), &s),
                         ERR_FORM);
    }
}

/* Elements of the wrong kind are as good as not there. */
static void test_wrong_kinds(void **state)
{
    struct fhir_record_says s = says_of(
        HEAD "\"format\":\"json\",\"patchFormat\":[1],\"rest\":[{\"mode\":"
             "\"server\",\"interaction\":[1,{\"code\":2}],\"resource\":[3,"
             "{\"type\":\"Task\",\"interaction\":{},\"searchParam\":\"x\","
             "\"conditionalCreate\":\"true\"}]}]}");

    (void)state;
    assert_int_equal(s.types[RECORD_TASK].conditional_create, SAYS_NOTHING);
    assert_int_equal(s.batch, SAYS_NO);
    assert_int_equal(fhir_record_can(&s, RECORD_TASK, RECORD_CREATE),
                     SAYS_NOTHING);
}

/* ---- in words ------------------------------------------------------------ */

static const struct record_wants all = { true, true, true, true,
                                         true, true, true, true };

static void check(const char *json, const struct record_wants *wants,
                  struct buf *out, bool *works)
{
    struct fhir_record_says s = says_of(json);

    buf_init(out, 65536);
    record_check_write(&s, wants, out, works);
    assert_int_equal(buf_ok(out), ERR_OK);
}

static void test_words_of_full(void **state)
{
    static const struct record_wants none = { 0 };
    struct buf out;
    bool works;

    (void)state;
    check(full, &none, &out, &works);
    assert_true(works);
    assert_non_null(strstr(out.data, "  yes  Suggestions and reminders can be "
                                     "posted as Tasks.\n"));
    assert_non_null(strstr(out.data, "  no   Patients are not found"));
    assert_null(strstr(out.data, "Observation"));
    buf_clear(&out);
    check(full, &all, &out, &works);
    assert_false(works); /* readings are to be fetched, and cannot be */
    assert_non_null(strstr(out.data, "  no   Observations cannot be searched"));
    buf_clear(&out);
}

static void test_words_of_others(void **state)
{
    static const struct record_wants none = { 0 };
    struct buf out;
    bool works;

    (void)state;
    ROW("another version");
    check("{\"resourceType\":\"CapabilityStatement\",\"fhirVersion\":\"5.0.0\","
          "\"rest\":[{\"mode\":\"server\"}]}",
          &none, &out, &works);
    assert_false(works);
    assert_non_null(strstr(out.data, "  no   It speaks another version"));
    buf_clear(&out);
    ROW("nothing is said: nothing is denied");
    check(HEAD "\"rest\":[{\"mode\":\"server\"}]}", &all, &out, &works);
    assert_true(works);
    assert_non_null(strstr(out.data, "  ?    Whether Tasks can be created"));
    assert_null(strstr(out.data, "  no "));
    buf_clear(&out);
    ROW("XML alone");
    check(HEAD "\"format\":[\"xml\"],\"rest\":[{\"mode\":\"server\"}]}", &none,
          &out, &works);
    assert_false(works);
    buf_clear(&out);
}

/* One thing taken away from a statement is one more line that says no. */
static void test_read_only_record(void **state)
{
    struct buf out;
    bool works;

    (void)state;
    check(HEAD "\"rest\":[{\"mode\":\"server\",\"interaction\":[{\"code\":"
               "\"batch\"}],\"resource\":[{\"type\":\"Task\",\"interaction\":"
               "[{\"code\":\"read\"}]}]}]}",
          &all, &out, &works);
    assert_false(works);
    assert_non_null(strstr(out.data, "  no   Tasks cannot be created"));
    assert_non_null(strstr(out.data, "  no   Posted Tasks cannot be changed"));
    assert_non_null(strstr(out.data, "  no   JSON Patch is not offered"));
    assert_non_null(strstr(out.data, "  no   Transactions are not offered"));
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_full),
        cmocka_unit_test(test_little),
        cmocka_unit_test(test_no_statement),
        cmocka_unit_test(test_wrong_kinds),
        cmocka_unit_test(test_words_of_full),
        cmocka_unit_test(test_words_of_others),
        cmocka_unit_test(test_read_only_record),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

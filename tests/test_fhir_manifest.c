/*
 * What an export has come to: the example of the guide (HL7 FHIR Bulk Data
 * Access 2.0.0, export.html, "Example manifest", shortened; addresses from
 * memory) and what is wrong with others.
 */
#include "adapters/fhir_manifest.h"
#include "tests/test.h"

#define TIME    "\"transactionTime\":\"2021-01-01T00:00:00Z\","
#define REQUEST "\"request\":\"https://example.com/fhir/Patient/$export\","
#define TOKEN   "\"requiresAccessToken\":true,"

static void the_example(void **state)
{
    static const char json[] =
        "{" TIME REQUEST TOKEN "\"output\":["
        "{\"type\":\"Patient\",\"url\":\"https://example.com/output/"
        "p.ndjson\"},"
        "{\"type\":\"Observation\",\"url\":\"https://example.com/o.ndjson\","
        "\"count\":2}],"
        "\"deleted\":[{\"type\":\"Bundle\","
        "\"url\":\"https://example.com/output/del_file_1.ndjson\"}],"
        "\"error\":[{\"type\":\"OperationOutcome\","
        "\"url\":\"https://example.com/output/err_file_1.ndjson\"}],"
        "\"extension\":{\"https://example.com/extra-property\":true}}";
    struct fhir_manifest m;

    (void)state;
    assert_int_equal(fhir_manifest_read(json, sizeof(json) - 1, &m), ERR_OK);
    assert_string_equal(m.time, "2021-01-01T00:00:00Z");
    assert_true(m.needs_token);
    assert_int_equal(m.errors, 1);
    assert_int_equal(m.count, 3);
    assert_string_equal(m.files[0].type, "Patient");
    assert_string_equal(m.files[1].url, "https://example.com/o.ndjson");
    assert_false(m.files[1].deletions);
    assert_true(m.files[2].deletions);
    fhir_manifest_clear(&m);
}

static const struct {
    const char *name, *json;
    enum err want;
    bool token;
} cases[] = {
    { "nothing changed", "{" TIME TOKEN "\"output\":[]}", ERR_OK, true },
    { "no token needed",
      "{" TIME "\"requiresAccessToken\":false,\"output\":[]}", ERR_OK, false },
    { "it does not say: a token", "{" TIME "\"output\":[]}", ERR_OK, true },
    { "a word for false: a token",
      "{" TIME "\"requiresAccessToken\":\"false\",\"output\":[]}", ERR_OK,
      true },
    { "no time", "{\"output\":[]}", ERR_FORM, true },
    { "a time without a zone",
      "{\"transactionTime\":\"2021-01-01T00:00:00\",\"output\":[]}", ERR_FORM,
      true },
    { "no output", "{" TIME TOKEN "\"error\":[]}", ERR_FORM, true },
    { "output that is no list", "{" TIME "\"output\":{}}", ERR_FORM, true },
    { "a file without an address",
      "{" TIME "\"output\":[{\"type\":\"Patient\"}]}", ERR_FORM, true },
    { "no JSON", "accepted", ERR_FORM, true },
    { "a list", "[]", ERR_FORM, true },
    { "nothing", "", ERR_FORM, true },
};

static void forms(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_manifest m;

        ROW(cases[i].name);
        assert_int_equal(
            fhir_manifest_read(cases[i].json, strlen(cases[i].json), &m),
            cases[i].want);
        if (cases[i].want != ERR_OK)
            continue;
        assert_int_equal(m.needs_token, cases[i].token);
        assert_int_equal(m.count, 0);
        fhir_manifest_clear(&m);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_example),
        cmocka_unit_test(forms),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

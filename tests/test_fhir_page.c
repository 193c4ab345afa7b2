/* One page of what a server found, taken apart. */
#include "adapters/fhir_page.h"
#include "tests/test.h"

#define SYSTEM "https://headgate.example/fhir/NamingSystem/task-key"

/*
 * The form of a searchset is that of R4 (http.html, 3.1.0.10.1, paging;
 * bundle-example.json of the specification): links, total, fullUrl, search.
 */
static const char search[] =
    "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"total\":3,"
    "\"link\":[{\"relation\":\"self\",\"url\":\"https://r.example/fhir/x\"},"
    "{\"relation\":\"next\",\"url\":\"https://r.example/fhir?page=2\"}],"
    "\"entry\":[ {\"fullUrl\":\"https://r.example/fhir/Observation/1\","
    "\"resource\": {\"resourceType\":\"Observation\",\"id\":\"1\",\"meta\":{"
    "\"versionId\":\"4\",\"lastUpdated\":\"2026-03-06T08:12:00.125+01:00\"}},"
    "\"search\":{\"mode\":\"match\"}},"
    "{\"resource\":{\"resourceType\":\"Patient\",\"id\":\"p\"},"
    "\"search\":{\"mode\":\"include\"}},"
    "{\"resource\":{\"resourceType\":\"OperationOutcome\",\"issue\":[]},"
    "\"search\":{\"mode\":\"outcome\"}}]}";

static void a_search(void **state)
{
    struct fhir_page p;

    (void)state;
    assert_int_equal(fhir_page_read(search, strlen(search), &p), ERR_OK);
    assert_int_equal(p.kind, PAGE_SEARCH);
    assert_string_equal(p.next, "https://r.example/fhir?page=2");
    assert_int_equal(p.count, 3);
    assert_int_equal(p.entries[0].type, FHIR_OBSERVATION);
    assert_string_equal(p.entries[0].id, "1");
    assert_string_equal(p.entries[0].version, "4");
    /* 6 March 2026, 07:12 UTC, and 125 ms; date(1) says 1772781120 */
    assert_true(p.entries[0].updated_ms == INT64_C(1772781120125));
    assert_true(p.entries[0].matched && !p.entries[0].outcome);
    assert_int_equal(strncmp(search + p.entries[0].offset,
                             "{\"resourceType\":\"Observation\"", 29),
                     0);
    assert_int_equal(search[p.entries[0].offset + p.entries[0].len - 1], '}');
    assert_false(p.entries[1].matched);
    assert_null(p.entries[1].version);
    assert_true(p.entries[1].updated_ms == INT64_MIN);
    assert_true(p.entries[2].outcome);
    fhir_page_clear(&p);
}

/*
 * Deletions as R4 has them (http.html, history: "DELETE", a url, no resource),
 * and as a HAPI FHIR JPA server 8.8.0 writes them: the version behind.
 */
static void a_history(void **state)
{
    static const char json[] =
        "{\"resourceType\":\"Bundle\",\"type\":\"history\",\"entry\":["
        "{\"request\":{\"method\":\"DELETE\",\"url\":\"Observation/7\"},"
        "\"response\":{\"status\":\"204\","
        "\"lastModified\":\"2026-03-06T08:00:00Z\"}},"
        "{\"fullUrl\":\"http://h.example/fhir/Observation/"
        "s34-o-3\",\"request\":"
        "{\"method\":\"DELETE\",\"url\":\"Observation/s34-o-3/_history/2\"},"
        "\"response\":{\"status\":\"200 OK\",\"etag\":\"W/\\\"2\\\"\"}},"
        "{\"request\":{\"method\":\"DELETE\","
        "\"url\":\"https://r.example/fhir/Patient/9\"}},"
        "{\"request\":{\"method\":\"PUT\",\"url\":\"Observation/8\"}},"
        "{\"request\":{\"method\":\"DELETE\",\"url\":\"Observation\"}}]}";
    struct fhir_page p;

    (void)state;
    assert_int_equal(fhir_page_read(json, sizeof(json) - 1, &p), ERR_OK);
    assert_int_equal(p.kind, PAGE_HISTORY);
    assert_null(p.next);
    assert_true(p.entries[0].deleted);
    assert_int_equal(p.entries[0].type, FHIR_OBSERVATION);
    assert_string_equal(p.entries[0].id, "7");
    assert_true(p.entries[0].updated_ms == INT64_C(1772784000000));
    assert_true(p.entries[1].deleted);
    assert_string_equal(p.entries[1].id, "s34-o-3");
    assert_string_equal(p.entries[1].version, "2");
    assert_int_equal(p.entries[2].type, FHIR_PATIENT);
    assert_string_equal(p.entries[2].id, "9");
    assert_false(p.entries[3].deleted);
    assert_false(p.entries[4].deleted);
    fhir_page_clear(&p);
}

static void one_resource(void **state)
{
    static const char json[] =
        "  {\"resourceType\":\"Task\",\"id\":\"t\",\"identifier\":["
        "{\"system\":\"urn:x\",\"value\":\"no\"},"
        "{\"system\":\"" SYSTEM "\",\"value\":\"key\"}]}";
    struct fhir_page p;

    (void)state;
    assert_int_equal(fhir_page_read(json, sizeof(json) - 1, &p), ERR_OK);
    assert_int_equal(p.kind, PAGE_RESOURCE);
    assert_int_equal(p.entries[0].type, FHIR_TASK);
    assert_int_equal(p.entries[0].offset, 2);
    assert_string_equal(fhir_page_identifier(&p, 0, SYSTEM), "key");
    assert_null(fhir_page_identifier(&p, 0, "urn:y"));
    fhir_page_clear(&p);
}

static const struct {
    const char *name, *json;
    enum err want;
} forms[] = {
    { "an empty page", "{\"resourceType\":\"Bundle\",\"type\":\"searchset\"}",
      ERR_OK },
    { "a page of HTML", "<html></html>", ERR_FORM },
    { "cut", "{\"resourceType\":\"Bundle\",\"type\":\"sea", ERR_FORM },
    { "no object", "[]", ERR_FORM },
    { "no resource", "{\"a\":1}", ERR_FORM },
    { "entries that are no list",
      "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"entry\":{}}",
      ERR_FORM },
    { "an entry that is no object",
      "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"entry\":[1,null]}",
      ERR_OK },
    { "a name twice",
      "{\"resourceType\":\"Patient\",\"id\":\"a\",\"id\":\"b\"}", ERR_FORM },
    { "nothing", "", ERR_FORM },
};

static void forms_of_pages(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(forms); i++) {
        struct fhir_page p;

        ROW(forms[i].name);
        assert_int_equal(
            fhir_page_read(forms[i].json, strlen(forms[i].json), &p),
            forms[i].want);
        if (forms[i].want == ERR_OK)
            fhir_page_clear(&p);
    }
}

/* An id that could lead elsewhere is none. */
static void an_id_that_is_none(void **state)
{
    static const char json[] =
        "{\"resourceType\":\"Patient\",\"id\":\"../Task/1\"}";
    struct fhir_page p;

    (void)state;
    assert_int_equal(fhir_page_read(json, sizeof(json) - 1, &p), ERR_OK);
    assert_null(p.entries[0].id);
    fhir_page_clear(&p);
}

static void instants(void **state)
{
    (void)state;
    assert_true(fhir_instant_ms("2026-03-06T08:12:00Z") ==
                INT64_C(1772784720000));
    assert_true(fhir_instant_ms("2026-03-06T08:12:00.1234567Z") ==
                INT64_C(1772784720123));
    assert_true(fhir_instant_ms("2026-03-06T08:12:00.5-05:00") ==
                INT64_C(1772802720500));
    assert_true(fhir_instant_ms("2026-03-06") == INT64_MIN);
    assert_true(fhir_instant_ms("2026-03-06T08:12:00") == INT64_MIN);
    assert_true(fhir_instant_ms(NULL) == INT64_MIN);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_search),           cmocka_unit_test(a_history),
        cmocka_unit_test(one_resource),       cmocka_unit_test(forms_of_pages),
        cmocka_unit_test(an_id_that_is_none), cmocka_unit_test(instants),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

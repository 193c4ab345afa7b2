/*
 * Bundles for a record, and what it answers.
 *
 * Source of shapes: HL7 FHIR R4 (4.0.1), Bundle, its example
 * bundle-transaction, and http.html, batch and transaction; etags: RFC 9110, 8.8.3.
 */
#include "adapters/fhir_bundle_out.h"
#include "tests/fhir_kit.h"

static void what_is_sent(void **state)
{
    static const char document[] =
        "{ \"resourceType\": \"DocumentReference\", \"x\": 2.50 }";
    static const char task[] = "{\"resourceType\":\"Task\"}";
    const struct fhir_entry entries[] = {
        { .full_url = "urn:uuid:01234567-89ab-cdef-0123-456789abcdef",
          .method = "POST",
          .url = "DocumentReference",
          .if_none_exist = "identifier=urn:a%7C1",
          .json = document,
          .len = strlen(document) },
        { .method = "PUT",
          .url = "Task/77",
          .if_match = "W/\"3\"",
          .json = task,
          .len = strlen(task) },
    };

    (void)state;
    buf_empty(&out);
    assert_int_equal(fhir_bundle_write(true, entries, 2, &out), ERR_OK);
    check_out();
    assert_string_equal(
        out.data,
        "{\"resourceType\":\"Bundle\",\"type\":\"transaction\",\"entry\":[{"
        "\"fullUrl\":\"urn:uuid:01234567-89ab-cdef-0123-456789abcdef\","
        "\"resource\":{\"resourceType\":\"DocumentReference\",\"x\":2.50},"
        "\"request\":{\"method\":\"POST\",\"url\":\"DocumentReference\","
        "\"ifNoneExist\":\"identifier=urn:a%7C1\"}},{\"resource\":{"
        "\"resourceType\":\"Task\"},\"request\":{\"method\":\"PUT\",\"url\":"
        "\"Task/77\",\"ifMatch\":\"W/\\\"3\\\"\"}}]}");
    buf_empty(&out);
    assert_int_equal(fhir_bundle_write(false, NULL, 0, &out), ERR_OK);
    assert_string_equal(out.data,
                        "{\"resourceType\":\"Bundle\",\"type\":\"batch\"}");
}

/* ---- answers ------------------------------------------------------------------ */

#define ANSWERS(type, entries)                                                 \
    "{\"resourceType\":\"Bundle\",\"type\":\"" type "\",\"entry\":[" entries   \
    "]}"
#define RESPONSE(members) "{\"response\":{" members "}}"

static void what_an_entry_says(void **state)
{
    static const struct {
        const char *name, *entry;
        struct fhir_entry_answer want;
    } cases[] = {
        /* "Patient/12423/_history/1" and its etag are those of R4's example */
        { "relative, with a version",
          RESPONSE("\"status\":\"201 Created\",\"location\":"
                   "\"Patient/12423/_history/1\",\"etag\":\"W/\\\"1\\\"\""),
          { .status = 201, .id = "12423", .version = "1", .etag = "W/\"1\"" } },
        { "absolute",
          RESPONSE("\"status\":\"200\",\"location\":"
                   "\"https://record.example/r4/Task/a-7.b/_history/12\""),
          { .status = 200, .id = "a-7.b", .version = "12" } },
        { "without a version",
          RESPONSE("\"status\":\"201\",\"location\":\"Task/77\",\"etag\":"
                   "\"W/\\\"5\\\"\""),
          { .status = 201, .id = "77", .version = "5", .etag = "W/\"5\"" } },
        { "from the root of the host, a slash behind",
          RESPONSE("\"status\":\"201\",\"location\":\"/r4/Task/77/\""),
          { .status = 201, .id = "77" } },
        { "an etag alone, strong",
          RESPONSE("\"status\":\"200\",\"etag\":\"\\\"abc\\\"\""),
          { .status = 200, .version = "abc", .etag = "\"abc\"" } },
        { "the resource, no location",
          "{\"resource\":{\"resourceType\":\"Task\",\"id\":\"77\",\"meta\":{"
          "\"versionId\":\"2\"}},\"response\":{\"status\":\"200 OK\"}}",
          { .status = 200, .id = "77", .version = "2" } },
        { "the location counts more",
          "{\"resource\":{\"resourceType\":\"Task\",\"id\":\"8\"},\"response\":"
          "{"
          "\"status\":\"201\",\"location\":\"Task/77/_history/1\"}}",
          { .status = 201, .id = "77", .version = "1" } },
        { "refused",
          RESPONSE("\"status\":\"412 Precondition Failed\""),
          { .status = 412 } },
        { "no status", RESPONSE("\"location\":\"Task/77\""), { .id = "77" } },
        { "no number", RESPONSE("\"status\":\"OK\""), { .status = 0 } },
        { "too many digits", RESPONSE("\"status\":\"2011\""), { .status = 0 } },
        { "an id that leads elsewhere",
          RESPONSE("\"status\":\"201\",\"location\":\"Task/..\""),
          { .status = 201 } },
        { "an id that is none",
          RESPONSE("\"status\":\"201\",\"location\":\"Task/a b/_history/1\""),
          { .status = 201 } },
        { "a bare id",
          RESPONSE("\"status\":\"201\",\"location\":\"77\""),
          { .status = 201 } },
        { "a number for a text",
          "{\"response\":{\"status\":201}}",
          { .status = 0 } },
        { "nothing", "{}", { .status = 0 } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_entry_answer got = { .status = -1 };
        size_t count = 0;
        bool transaction = true;

        ROW(cases[i].name);
        buf_empty(&out);
        buf_printf(&out, ANSWERS("batch-response", "%s"), cases[i].entry);
        assert_int_equal(fhir_bundle_answers(out.data, out.len, &got, 1, &count,
                                             &transaction),
                         ERR_OK);
        assert_false(transaction);
        assert_int_equal(count, 1);
        assert_int_equal(got.status, cases[i].want.status);
        assert_string_equal(got.id, cases[i].want.id);
        assert_string_equal(got.version, cases[i].want.version);
        assert_string_equal(got.etag, cases[i].want.etag);
        assert_null(got.outcome);
    }
}

#define OUTCOME                                                                \
    "{\"resourceType\":\"OperationOutcome\",\"issue\":[{\"severity\":"         \
    "\"error\",\"code\":\"duplicate\"}]}"

static void why_an_entry_was_refused(void **state)
{
    static const char json[] = ANSWERS(
        "batch-response",
        RESPONSE(
            "\"status\":\"412\",\"outcome\":" OUTCOME) ",{\"resource\":" OUTCOME
                                                       ",\"response\":{"
                                                       "\"status\":\"422\"}}");
    struct fhir_entry_answer got[2];
    size_t count;
    bool transaction;

    (void)state;
    assert_int_equal(
        fhir_bundle_answers(json, strlen(json), got, 2, &count, &transaction),
        ERR_OK);
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(got[i].outcome_len, strlen(OUTCOME));
        assert_memory_equal(got[i].outcome, OUTCOME, strlen(OUTCOME));
        assert_string_equal(got[i].id, "");
    }
}

static void how_many_there_are(void **state)
{
    static const char two[] = ANSWERS(
        "transaction-response",
        RESPONSE("\"status\":\"201\"") "," RESPONSE("\"status\":\"200\""));
    static const char none[] =
        "{\"resourceType\":\"Bundle\",\"type\":\"transaction-response\"}";
    static const char *const others[] = {
        "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"entry\":[]}",
        "{\"resourceType\":\"OperationOutcome\"}",
        "<html>",
        "",
    };
    struct fhir_entry_answer got[2] = { { .status = -1 }, { .status = -1 } };
    size_t count;
    bool transaction = false;

    (void)state;
    assert_int_equal(
        fhir_bundle_answers(two, strlen(two), got, 1, &count, &transaction),
        ERR_OK);
    assert_true(transaction);
    assert_int_equal(count, 2);
    assert_int_equal(got[0].status, 201);
    assert_int_equal(got[1].status, -1); /* no room was given */
    assert_int_equal(
        fhir_bundle_answers(none, strlen(none), got, 2, &count, &transaction),
        ERR_OK);
    assert_int_equal(count, 0);
    for (size_t i = 0; i < COUNT(others); i++)
        assert_int_equal(fhir_bundle_answers(others[i], strlen(others[i]), got,
                                             2, &count, &transaction),
                         ERR_FORM);
}

/* ---- a search --------------------------------------------------------------------- */

#define FOUND(type, members, mode)                                             \
    "{\"resource\":{\"resourceType\":\"" type "\"" members                     \
    "},\"search\":{\"mode\":\"" mode "\"}}"
#define META                                                                   \
    ",\"meta\":{\"versionId\":\"3\",\"lastUpdated\":"                          \
    "\"2026-03-06T09:12:00.250+01:00\"}"

static const char search_head[] =
    "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"total\":9,\"link\":["
    "{\"relation\":\"self\",\"url\":\"u\"},{\"relation\":\"next\",\"url\":"
    "\"v\"}],\"entry\":[";
static const char *const search_entries[] = {
    FOUND("Task", ",\"id\":\"t1\"" META ",\"status\":\"requested\"", "match"),
    "{\"resource\":{\"resourceType\":\"Task\",\"id\":\"t2\"}}",
    FOUND("Task", ",\"id\":\"t3\"", "include"),
    FOUND("OperationOutcome", ",\"id\":\"x\"", "outcome"),
    FOUND("Task", "", "match"),
    FOUND("Task", ",\"id\":\"..\"", "match"),
};

static void what_a_search_found(void **state)
{
    static const char batch[] =
        "{\"resourceType\":\"Bundle\",\"type\":\"batch-response\"}";
    struct fhir_found found[2];
    size_t count;
    bool more;

    (void)state;
    buf_empty(&out);
    buf_puts(&out, search_head);
    for (size_t i = 0; i < COUNT(search_entries); i++)
        buf_printf(&out, "%s%s", i > 0 ? "," : "", search_entries[i]);
    buf_puts(&out, "]}");
    check_out();
    assert_int_equal(fhir_search_found("Task", "", NULL, out.data, out.len,
                                       found, 2, &count, &more),
                     ERR_OK);
    assert_int_equal(count, 2);
    assert_true(more);
    assert_string_equal(found[0].id, "t1");
    assert_string_equal(found[0].version, "3");
    assert_string_equal(found[0].status, "requested");
    assert_int_equal(found[0].updated_ms, AUTHORED_S * 1000 + 250);
    assert_string_equal(found[1].id, "t2");
    assert_string_equal(found[1].status, "");
    assert_int_equal(found[1].updated_ms, 0);
    assert_int_equal(fhir_search_found("Task", "", NULL, out.data, out.len,
                                       found, 1, &count, &more),
                     ERR_OK);
    assert_int_equal(count, 2);
    /* searched by an identifier that a match has not: the server passes over
     * what it is asked, as R4 (search.html) lets it */
    assert_int_equal(fhir_search_found("Task", "urn:s", "k", out.data, out.len,
                                       found, 2, &count, &more),
                     ERR_CONFLICT);
    assert_int_equal(fhir_search_found("Task", "", NULL, batch, strlen(batch),
                                       found, 2, &count, &more),
                     ERR_FORM);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_sent),
        cmocka_unit_test(what_an_entry_says),
        cmocka_unit_test(why_an_entry_was_refused),
        cmocka_unit_test(how_many_there_are),
        cmocka_unit_test(what_a_search_found),
    };

    return cmocka_run_group_tests(tests, start, stop);
}

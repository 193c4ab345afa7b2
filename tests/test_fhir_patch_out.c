/*
 * The difference of two resources as a JSON Patch; that it does what it says is
 * judged by an independent library on many more pairs (tests/peers/patch.mjs).
 *
 * Source: RFC 6902 (operations), RFC 6901 (escapes ~0 and ~1), HL7 FHIR R4
 * (4.0.1), http.html, patch.
 */
#include "adapters/fhir_patch_out.h"
#include "tests/fhir_kit.h"

#define TASK "{\"resourceType\":\"Task\","
#define SAME "{\"op\":\"test\",\"path\":\"/status\",\"value\":\"requested\"}"

static const struct {
    const char *name, *theirs, *merged, *want;
} cases[] = {
    { "nothing", TASK "\"id\":\"7\",\"status\":\"requested\"}",
      TASK "\"status\":\"requested\",\"id\":\"7\"}", "" },
    { "replaced, added, removed",
      TASK "\"status\":\"requested\",\"priority\":\"routine\",\"text\":{}}",
      TASK "\"status\":\"requested\",\"priority\":\"urgent\",\"owner\":{"
           "\"display\": \"W\"}}",
      "[" SAME ",{\"op\":\"remove\",\"path\":\"/text\"},{\"op\":\"replace\","
      "\"path\":\"/priority\",\"value\":\"urgent\"},{\"op\":\"add\",\"path\":"
      "\"/owner\",\"value\":{\"display\":\"W\"}}]" },
    { "cancelled: tested, then replaced", TASK "\"status\":\"requested\"}",
      TASK "\"status\":\"cancelled\"}",
      "[" SAME ",{\"op\":\"replace\",\"path\":\"/status\",\"value\":"
      "\"cancelled\"}]" },
    { "notes are added behind theirs",
      TASK "\"status\":\"requested\",\"note\":[{\"text\":\"a\"}]}",
      TASK
      "\"status\":\"requested\",\"note\":[{\"text\":\"a\"},{\"text\":\"b\"}"
      ",{\"text\":\"c\"}]}",
      "[" SAME
      ",{\"op\":\"add\",\"path\":\"/note/-\",\"value\":{\"text\":\"b\"}}"
      ",{\"op\":\"add\",\"path\":\"/note/-\",\"value\":{\"text\":\"c\"}}]" },
    { "inputs that differ are replaced",
      TASK "\"status\":\"requested\",\"input\":[1,2]}",
      TASK "\"status\":\"requested\",\"input\":[1,3,4]}",
      "[" SAME ",{\"op\":\"replace\",\"path\":\"/input\",\"value\":[1,3,4]}]" },
    { "other lists are replaced",
      TASK "\"status\":\"requested\",\"output\":[1]}",
      TASK "\"status\":\"requested\",\"output\":[1,2]}",
      "[" SAME ",{\"op\":\"replace\",\"path\":\"/output\",\"value\":[1,2]}]" },
    { "what is the server's stays",
      TASK "\"id\":\"7\",\"meta\":{\"versionId\":\"2\"},\"status\":"
           "\"requested\"}",
      TASK "\"id\":\"8\",\"status\":\"requested\",\"x\":2.50}",
      "[" SAME ",{\"op\":\"add\",\"path\":\"/x\",\"value\":2.50}]" },
    { "a name to be escaped", TASK "\"status\":\"requested\"}",
      TASK "\"status\":\"requested\",\"a\\/b~c\":1}",
      "[" SAME ",{\"op\":\"add\",\"path\":\"/a~1b~0c\",\"value\":1}]" },
    { "no status, no test", "{\"resourceType\":\"Patient\"}",
      "{\"resourceType\":\"Patient\",\"active\":true}",
      "[{\"op\":\"add\",\"path\":\"/active\",\"value\":true}]" },
};

static void a_patch(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const char *theirs = cases[i].theirs, *merged = cases[i].merged;

        ROW(cases[i].name);
        buf_empty(&out);
        assert_int_equal(fhir_patch_write(theirs, strlen(theirs), merged,
                                          strlen(merged), &out),
                         ERR_OK);
        assert_string_equal(out.data, cases[i].want);
    }
    assert_int_equal(fhir_patch_write("[]", 2, "{}", 2, &out), ERR_FORM);
    assert_int_equal(fhir_patch_write(cases[0].theirs, strlen(cases[0].theirs),
                                      "x", 1, &out),
                     ERR_FORM);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(a_patch) };

    return cmocka_run_group_tests(tests, start, stop);
}

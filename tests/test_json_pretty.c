/* JSON with a line for each member; the form is that of Python's json.dumps
 * with an indent of two (no source says how "pretty" looks). */
#include "adapters/json_pretty.h"

#include "tests/test.h"

#include <string.h>

static void test_forms(void **state)
{
    static const struct {
        const char *json, *want;
    } cases[] = {
        { "{}", "{}\n" },
        { "[ ]", "[]\n" },
        { "7", "7\n" },
        { "{\"a\":1.10,\"b\":[true,null]}",
          "{\n  \"a\": 1.10,\n  \"b\": [\n    true,\n    null\n  ]\n}\n" },
        { "{\"a\" : {\"b\":{} , \"c\":[]}}",
          "{\n  \"a\": {\n    \"b\": {},\n    \"c\": []\n  }\n}\n" },
        { "{\"a\":\"{,:[\\\"]} \\\\\"}",
          "{\n  \"a\": \"{,:[\\\"]} \\\\\"\n}\n" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct buf out;

        buf_init(&out, 4096);
        json_pretty(cases[i].json, strlen(cases[i].json), &out);
        assert_string_equal(out.data, cases[i].want);
        buf_clear(&out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(test_forms) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

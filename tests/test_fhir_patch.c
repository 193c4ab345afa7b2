/*
 * JSON Patch.  The cases named A.n are the examples of RFC 6902, appendix A,
 * with the numbers of that appendix; those named 6901 the pointers of RFC
 * 6901, section 5; the others follow the sections named beside them.
 */
#include "adapters/fhir_patch.h"

#include "tests/test.h"

#include <string.h>

static enum err apply(const char *json, const char *patch, struct outcome *o,
                      struct buf *out)
{
    outcome_init(o);
    buf_init(out, 1 << 20);
    return fhir_patch_apply(json, strlen(json), patch, strlen(patch), o, out);
}

static const struct {
    const char *name, *json, *patch;
    enum err want;
    const char *result; /* NULL: none */
} cases[] = {
    { "A.1 adding an object member", "{\"foo\":\"bar\"}",
      "[{\"op\":\"add\",\"path\":\"/baz\",\"value\":\"qux\"}]", ERR_OK,
      "{\"foo\":\"bar\",\"baz\":\"qux\"}" },
    { "A.2 adding an array element", "{\"foo\":[\"bar\",\"baz\"]}",
      "[{\"op\":\"add\",\"path\":\"/foo/1\",\"value\":\"qux\"}]", ERR_OK,
      "{\"foo\":[\"bar\",\"qux\",\"baz\"]}" },
    { "A.3 removing an object member", "{\"baz\":\"qux\",\"foo\":\"bar\"}",
      "[{\"op\":\"remove\",\"path\":\"/baz\"}]", ERR_OK, "{\"foo\":\"bar\"}" },
    { "A.4 removing an array element", "{\"foo\":[\"bar\",\"qux\",\"baz\"]}",
      "[{\"op\":\"remove\",\"path\":\"/foo/1\"}]", ERR_OK,
      "{\"foo\":[\"bar\",\"baz\"]}" },
    { "A.5 replacing a value", "{\"baz\":\"qux\",\"foo\":\"bar\"}",
      "[{\"op\":\"replace\",\"path\":\"/baz\",\"value\":\"boo\"}]", ERR_OK,
      "{\"baz\":\"boo\",\"foo\":\"bar\"}" },
    { "A.6 moving a value",
      "{\"foo\":{\"bar\":\"baz\",\"waldo\":\"fred\"},"
      "\"qux\":{\"corge\":\"grault\"}}",
      "[{\"op\":\"move\",\"from\":\"/foo/waldo\",\"path\":\"/qux/thud\"}]",
      ERR_OK,
      "{\"foo\":{\"bar\":\"baz\"},\"qux\":{\"corge\":\"grault\","
      "\"thud\":\"fred\"}}" },
    { "A.7 moving an array element",
      "{\"foo\":[\"all\",\"grass\",\"cows\",\"eat\"]}",
      "[{\"op\":\"move\",\"from\":\"/foo/1\",\"path\":\"/foo/3\"}]", ERR_OK,
      "{\"foo\":[\"all\",\"cows\",\"eat\",\"grass\"]}" },
    { "A.8 testing a value: success",
      "{\"baz\":\"qux\",\"foo\":[\"a\",2,\"c\"]}",
      "[{\"op\":\"test\",\"path\":\"/baz\",\"value\":\"qux\"},"
      "{\"op\":\"test\",\"path\":\"/foo/1\",\"value\":2}]",
      ERR_OK, "{\"baz\":\"qux\",\"foo\":[\"a\",2,\"c\"]}" },
    { "A.9 testing a value: error", "{\"baz\":\"qux\"}",
      "[{\"op\":\"test\",\"path\":\"/baz\",\"value\":\"bar\"}]", ERR_CONFLICT,
      NULL },
    { "A.10 adding a nested member object", "{\"foo\":\"bar\"}",
      "[{\"op\":\"add\",\"path\":\"/child\",\"value\":{\"grandchild\":{}}}]",
      ERR_OK, "{\"foo\":\"bar\",\"child\":{\"grandchild\":{}}}" },
    { "A.11 ignoring unrecognized elements", "{\"foo\":\"bar\"}",
      "[{\"op\":\"add\",\"path\":\"/baz\",\"value\":\"qux\",\"xyz\":123}]",
      ERR_OK, "{\"foo\":\"bar\",\"baz\":\"qux\"}" },
    { "A.12 adding to a nonexistent target", "{\"foo\":\"bar\"}",
      "[{\"op\":\"add\",\"path\":\"/baz/bat\",\"value\":\"qux\"}]",
      ERR_CONFLICT, NULL },
    { "A.13 invalid JSON Patch document", "{\"foo\":\"bar\"}",
      "[{\"op\":\"add\",\"path\":\"/baz\",\"value\":\"qux\","
      "\"op\":\"remove\"}]",
      ERR_FORM, NULL },
    { "A.14 ~ escape ordering", "{\"/\":9,\"~1\":10}",
      "[{\"op\":\"test\",\"path\":\"/~01\",\"value\":10}]", ERR_OK,
      "{\"/\":9,\"~1\":10}" },
    { "A.15 comparing strings and numbers", "{\"/\":9,\"~1\":10}",
      "[{\"op\":\"test\",\"path\":\"/~01\",\"value\":\"10\"}]", ERR_CONFLICT,
      NULL },
    { "A.16 adding an array value", "{\"foo\":[\"bar\"]}",
      "[{\"op\":\"add\",\"path\":\"/foo/-\",\"value\":[\"abc\",\"def\"]}]",
      ERR_OK, "{\"foo\":[\"bar\",[\"abc\",\"def\"]]}" },

    { "4.1 the member exists: it is replaced", "{\"a\":1,\"b\":2}",
      "[{\"op\":\"add\",\"path\":\"/a\",\"value\":3}]", ERR_OK,
      "{\"a\":3,\"b\":2}" },
    { "4.1 the whole document", "{\"a\":1}",
      "[{\"op\":\"add\",\"path\":\"\",\"value\":{\"b\":2}}]", ERR_OK,
      "{\"b\":2}" },
    { "4.1 at the end", "{\"a\":[1]}",
      "[{\"op\":\"add\",\"path\":\"/a/1\",\"value\":2}]", ERR_OK,
      "{\"a\":[1,2]}" },
    { "4.1 beyond the end", "{\"a\":[1]}",
      "[{\"op\":\"add\",\"path\":\"/a/2\",\"value\":2}]", ERR_CONFLICT, NULL },
    { "4.1 null is a value", "{\"a\":[1]}",
      "[{\"op\":\"add\",\"path\":\"/b\",\"value\":null}]", ERR_OK,
      "{\"a\":[1],\"b\":null}" },
    { "4.2 it must exist", "{\"a\":1}", "[{\"op\":\"remove\",\"path\":\"/b\"}]",
      ERR_CONFLICT, NULL },
    { "4.2 not one past the end", "{\"a\":[1]}",
      "[{\"op\":\"remove\",\"path\":\"/a/-\"}]", ERR_CONFLICT, NULL },
    { "4.3 it must exist", "{\"a\":1}",
      "[{\"op\":\"replace\",\"path\":\"/b\",\"value\":1}]", ERR_CONFLICT,
      NULL },
    { "4.3 in an array", "{\"a\":[1,2,3]}",
      "[{\"op\":\"replace\",\"path\":\"/a/1\",\"value\":9}]", ERR_OK,
      "{\"a\":[1,9,3]}" },
    { "4.4 not into itself", "{\"a\":{\"b\":{}}}",
      "[{\"op\":\"move\",\"from\":\"/a\",\"path\":\"/a/b/c\"}]", ERR_CONFLICT,
      NULL },
    { "4.4 to where it is", "{\"a\":1}",
      "[{\"op\":\"move\",\"from\":\"/a\",\"path\":\"/a\"}]", ERR_OK,
      "{\"a\":1}" },
    { "4.4 from must exist", "{\"a\":1}",
      "[{\"op\":\"move\",\"from\":\"/b\",\"path\":\"/a\"}]", ERR_CONFLICT,
      NULL },
    { "4.5 copy", "{\"a\":{\"b\":[1]},\"c\":{}}",
      "[{\"op\":\"copy\",\"from\":\"/a/b\",\"path\":\"/c/d\"},"
      "{\"op\":\"add\",\"path\":\"/c/d/0\",\"value\":0}]",
      ERR_OK, "{\"a\":{\"b\":[1]},\"c\":{\"d\":[0,1]}}" },
    { "4.6 numbers are equal by value",
      "{\"a\":10.0,\"b\":{\"x\":1,\"y\":[2]}}",
      "[{\"op\":\"test\",\"path\":\"/a\",\"value\":1e1},"
      "{\"op\":\"test\",\"path\":\"/b\",\"value\":{\"y\":[2.0],\"x\":1}}]",
      ERR_OK, "{\"a\":10.0,\"b\":{\"x\":1,\"y\":[2]}}" },
    { "4.6 of arrays the order counts", "{\"a\":[1,2]}",
      "[{\"op\":\"test\",\"path\":\"/a\",\"value\":[2,1]}]", ERR_CONFLICT,
      NULL },
    { "4.6 a member more", "{\"a\":{\"x\":1,\"y\":2}}",
      "[{\"op\":\"test\",\"path\":\"/a\",\"value\":{\"x\":1}}]", ERR_CONFLICT,
      NULL },
    { "4.6 null is not false", "{\"a\":null}",
      "[{\"op\":\"test\",\"path\":\"/a\",\"value\":false}]", ERR_CONFLICT,
      NULL },
    { "5 all or nothing, in order", "{\"a\":1}",
      "[{\"op\":\"add\",\"path\":\"/b\",\"value\":2},"
      "{\"op\":\"test\",\"path\":\"/a\",\"value\":2}]",
      ERR_CONFLICT, NULL },
    { "3 an empty patch", "{\"a\":1}", "[]", ERR_OK, "{\"a\":1}" },
    { "3 not a list", "{\"a\":1}", "{\"op\":\"remove\",\"path\":\"/a\"}",
      ERR_FORM, NULL },
    { "3 not a list of objects", "{\"a\":1}", "[7]", ERR_FORM, NULL },
    { "4 an unknown op", "{\"a\":1}", "[{\"op\":\"spam\",\"path\":\"/a\"}]",
      ERR_FORM, NULL },
    { "4 no path", "{\"a\":1}", "[{\"op\":\"remove\"}]", ERR_FORM, NULL },
    { "4 no value", "{\"a\":1}", "[{\"op\":\"add\",\"path\":\"/b\"}]", ERR_FORM,
      NULL },
    { "4 no from", "{\"a\":1}", "[{\"op\":\"copy\",\"path\":\"/b\"}]", ERR_FORM,
      NULL },
    { "not JSON", "{\"a\":1}", "[", ERR_FORM, NULL },

    { "6901 not a pointer", "{\"a\":1}", "[{\"op\":\"remove\",\"path\":\"a\"}]",
      ERR_FORM, NULL },
    { "6901 half an escape", "{\"a\":1}",
      "[{\"op\":\"remove\",\"path\":\"/a~\"}]", ERR_FORM, NULL },
    { "6901 another escape", "{\"a\":1}",
      "[{\"op\":\"remove\",\"path\":\"/a~2\"}]", ERR_FORM, NULL },
    { "6901 a leading zero", "{\"a\":[1,2]}",
      "[{\"op\":\"remove\",\"path\":\"/a/01\"}]", ERR_CONFLICT, NULL },
    { "6901 no index", "{\"a\":[1,2]}",
      "[{\"op\":\"remove\",\"path\":\"/a/1e0\"}]", ERR_CONFLICT, NULL },
    { "6901 the examples of section 5",
      "{\"foo\":[\"bar\",\"baz\"],\"\":0,\"a/b\":1,\"c%d\":2,\"e^f\":3,"
      "\"g|h\":4,\"i\\\\j\":5,\"k\\\"l\":6,\" \":7,\"m~n\":8}",
      "[{\"op\":\"test\",\"path\":\"/foo/0\",\"value\":\"bar\"},"
      "{\"op\":\"remove\",\"path\":\"/foo\"},"
      "{\"op\":\"test\",\"path\":\"/\",\"value\":0},"
      "{\"op\":\"remove\",\"path\":\"/\"},"
      "{\"op\":\"test\",\"path\":\"/a~1b\",\"value\":1},"
      "{\"op\":\"remove\",\"path\":\"/a~1b\"},"
      "{\"op\":\"test\",\"path\":\"/c%d\",\"value\":2},"
      "{\"op\":\"remove\",\"path\":\"/c%d\"},"
      "{\"op\":\"test\",\"path\":\"/e^f\",\"value\":3},"
      "{\"op\":\"remove\",\"path\":\"/e^f\"},"
      "{\"op\":\"test\",\"path\":\"/g|h\",\"value\":4},"
      "{\"op\":\"remove\",\"path\":\"/g|h\"},"
      "{\"op\":\"test\",\"path\":\"/i\\\\j\",\"value\":5},"
      "{\"op\":\"remove\",\"path\":\"/i\\\\j\"},"
      "{\"op\":\"test\",\"path\":\"/k\\\"l\",\"value\":6},"
      "{\"op\":\"remove\",\"path\":\"/k\\\"l\"},"
      "{\"op\":\"test\",\"path\":\"/ \",\"value\":7},"
      "{\"op\":\"remove\",\"path\":\"/ \"},"
      "{\"op\":\"test\",\"path\":\"/m~0n\",\"value\":8}]",
      ERR_OK, "{\"m~n\":8}" },

    /* FHIR R4, datatypes.html, decimal: the precision of a number is part of
     * it */
    { "digits are kept",
      "{\"a\":1.10,\"b\":-2E+3,\"c\":[0.000,1],\"d\":\"1.10\"}",
      "[{\"op\":\"add\",\"path\":\"/e\",\"value\":5.00},"
      "{\"op\":\"copy\",\"from\":\"/a\",\"path\":\"/c/-\"}]",
      ERR_OK,
      "{\"a\":1.10,\"b\":-2E+3,\"c\":[0.000,1,1.10],\"d\":\"1.10\","
      "\"e\":5.00}" },
    { "strings are kept", "{\"a\":\"\\u00e4 \\\"7\\\" \\\\ -1\",\"7\":\"7\"}",
      "[{\"op\":\"add\",\"path\":\"/b\",\"value\":true}]", ERR_OK,
      "{\"a\":\"\xc3\xa4 \\\"7\\\" \\\\ -1\",\"7\":\"7\",\"b\":true}" },
};

static void test_cases(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct outcome o;
        struct buf out;

        print_message("%s\n", cases[i].name);
        assert_int_equal(apply(cases[i].json, cases[i].patch, &o, &out),
                         cases[i].want);
        if (cases[i].result != NULL)
            assert_string_equal(out.data, cases[i].result);
        else
            assert_int_equal(out.len, 0);
        /* RFC 5789, 2.2: a malformed document is 400, one that does not fit
         * what is stored 409 */
        assert_int_equal(o.status, cases[i].want == ERR_OK     ? 0
                                   : cases[i].want == ERR_FORM ? 400
                                                               : 409);
        buf_clear(&out);
    }
}

/* Copies of copies would grow without end. */
static void test_ceilings(void **state)
{
    struct buf patch, out;
    struct outcome o;

    (void)state;
    buf_init(&patch, 1 << 20);
    buf_puts(&patch, "[");
    for (int i = 0; i < 50; i++) /* one level deeper each time */
        buf_printf(&patch, "%s{\"op\":\"copy\",\"from\":\"\",\"path\":\"/a\"}",
                   i > 0 ? "," : "");
    buf_puts(&patch, "]");
    assert_int_equal(apply("{\"b\":[1,2,3,4]}", patch.data, &o, &out), ERR_OK);
    buf_clear(&out);
    buf_empty(&patch);
    buf_puts(&patch, "[");
    for (int i = 0; i < 40; i++)
        buf_printf(&patch,
                   "%s{\"op\":\"copy\",\"from\":\"\",\"path\":\"/a%d\"}",
                   i > 0 ? "," : "", i);
    buf_puts(&patch, "]");
    assert_int_equal(apply("{\"b\":1}", patch.data, &o, &out), ERR_LIMIT);
    assert_int_equal(o.status, 422);
    buf_clear(&out);
    buf_empty(&patch);
    buf_puts(&patch, "[");
    for (int i = 0; i <= PATCH_OPERATIONS_MAX; i++)
        buf_printf(&patch, "%s{\"op\":\"test\",\"path\":\"/b\",\"value\":1}",
                   i > 0 ? "," : "");
    buf_puts(&patch, "]");
    assert_int_equal(apply("{\"b\":1}", patch.data, &o, &out), ERR_LIMIT);
    buf_clear(&out);
    buf_clear(&patch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cases),
        cmocka_unit_test(test_ceilings),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

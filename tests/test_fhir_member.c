/* fhir_member: one member looked at or replaced, the rest byte for byte */
#include "adapters/fhir_member.h"

#include "tests/test.h"

static const struct {
    const char *json, *name;
    enum err err;
    const char *text;
} texts[] = {
    { "{\"status\":\"ready\"}", "status", ERR_OK, "ready" },
    { " {\"a\":{\"status\":\"x\"},\"status\" : \"y\"}", "status", ERR_OK, "y" },
    { "{\"st\\u0061tus\":\"ready\"}", "status", ERR_OK, "ready" },
    { "{}", "status", ERR_ABSENT, NULL },
    { "{\"status\":7}", "status", ERR_ABSENT, NULL },
    { "{\"status\":\"0123456789\"}", "status", ERR_LIMIT, NULL },
    { "[\"status\"]", "status", ERR_FORM, NULL },
    { "{\"status\":\"a\",\"status\":\"b\"}", "status", ERR_FORM, NULL },
    { "<a>", "status", ERR_FORM, NULL },
};

static void test_text(void **state)
{
    char out[10];

    (void)state;
    for (size_t i = 0; i < COUNT(texts); i++) {
        ROW(texts[i].json);
        assert_int_equal(fhir_member_text(texts[i].json, strlen(texts[i].json),
                                          texts[i].name, out, sizeof(out)),
                         texts[i].err);
        if (texts[i].err == ERR_OK)
            assert_string_equal(out, texts[i].text);
    }
}

static const struct {
    const char *json, *want;
} puts_[] = {
    { "{\"id\":\"1\",\"status\":\"draft\",\"v\":1.50}",
      "{\"id\":\"1\",\"status\":\"revoked\",\"v\":1.50}" },
    { "{\"status\":\"draft\"}", "{\"status\":\"revoked\"}" },
    { "{}", "{\"status\":\"revoked\"}" },
    { " { \"v\" : [ 1 , 2 ] } ", "{\"v\":[ 1 , 2 ],\"status\":\"revoked\"}" },
};

static void test_put(void **state)
{
    struct buf out;

    (void)state;
    for (size_t i = 0; i < COUNT(puts_); i++) {
        ROW(puts_[i].json);
        buf_init(&out, 200);
        assert_int_equal(fhir_member_put(puts_[i].json, strlen(puts_[i].json),
                                         "status", "revoked", &out),
                         ERR_OK);
        assert_string_equal(out.data, puts_[i].want);
        buf_clear(&out);
    }
    buf_init(&out, 200);
    assert_int_equal(fhir_member_put("[1]", 3, "status", "x", &out), ERR_FORM);
    buf_clear(&out);
    buf_init(&out, 10);
    assert_int_equal(fhir_member_put("{}", 2, "status", "revoked", &out),
                     ERR_LIMIT);
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(test_text),
                                        cmocka_unit_test(test_put) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

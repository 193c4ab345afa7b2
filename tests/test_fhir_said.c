/*
 * What is the same value and what is another: HL7 FHIR R4, Quantity ("the unit
 * is for display where there is a code"), Coding (system and code identify),
 * CodeableConcept, and JSON's numbers (RFC 8259, 6).
 */
#include "adapters/fhir_said.h"

#include "tests/test.h"

#include <string.h>

#define Q(value) "{\"status\":\"final\",\"valueQuantity\":" value "}"
#define C(value) "{\"valueCodeableConcept\":" value ",\"note\":[{\"text\":1}]}"

static void compares(void **state)
{
    static const struct {
        const char *name, *a, *b;
        bool same;
    } rows[] = {
        { "digits", Q("{\"value\":900}"), Q("{\"value\":900.0}"), true },
        { "exponent", Q("{\"value\":900}"), Q("{\"value\":9e2}"), true },
        { "order of members", Q("{\"value\":1,\"code\":\"%\"}"),
          Q("{\"code\":\"%\",\"value\":1}"), true },
        { "unit beside its code",
          Q("{\"value\":1,\"unit\":\"a\",\"code\":\"%\"}"),
          Q("{\"value\":1,\"unit\":\"b\",\"code\":\"%\"}"), true },
        { "unit without a code", Q("{\"value\":1,\"unit\":\"a\"}"),
          Q("{\"value\":1,\"unit\":\"b\"}"), false },
        { "number", Q("{\"value\":900}"), Q("{\"value\":901}"), false },
        { "a small part of it", Q("{\"value\":0.123456}"),
          Q("{\"value\":0.123457}"), false },
        { "comparator", Q("{\"value\":1}"),
          Q("{\"value\":1,\"comparator\":\">\"}"), false },
        { "code of the unit", Q("{\"value\":1,\"code\":\"mL/min\"}"),
          Q("{\"value\":1,\"code\":\"L/min\"}"), false },
        { "display and text",
          C("{\"coding\":[{\"code\":\"Y\",\"display\":\"Yes\"}],\"text\":"
            "\"J\"}"),
          C("{\"coding\":[{\"code\":\"Y\"}]}"), true },
        { "code", C("{\"coding\":[{\"code\":\"Y\"}]}"),
          C("{\"coding\":[{\"code\":\"N\"}]}"), false },
        { "system", C("{\"coding\":[{\"system\":\"urn:a:b\",\"code\":\"Y\"}]}"),
          C("{\"coding\":[{\"system\":\"urn:a:c\",\"code\":\"Y\"}]}"), false },
        { "text without a code", C("{\"text\":\"pain\"}"),
          C("{\"text\":\"none\"}"), false },
        { "a value and none", Q("{\"value\":1}"), "{\"status\":\"final\"}",
          false },
        { "what is not the value", "{\"status\":\"final\",\"issued\":\"a\"}",
          "{\"status\":\"corrected\",\"issued\":\"b\"}", true },
        { "type", "{\"valueString\":\"1\"}", "{\"valueInteger\":1}", false },
        { "texts that run together", "{\"valueString\":\"a\"}",
          "{\"valueString\":\"a1:b\"}", false },
        { "yes and no", "{\"valueBoolean\":true}", "{\"valueBoolean\":false}",
          false },
        { "components", "{\"component\":[{\"valueString\":\"a\"}]}",
          "{\"component\":[{\"valueString\":\"b\"}]}", false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct buf a, b;

        ROW(rows[i].name);
        buf_init(&a, 4096);
        buf_init(&b, 4096);
        assert_int_equal(fhir_said_value(rows[i].a, strlen(rows[i].a), &a),
                         ERR_OK);
        assert_int_equal(fhir_said_value(rows[i].b, strlen(rows[i].b), &b),
                         ERR_OK);
        assert_int_equal(strcmp(a.data, b.data) == 0, rows[i].same);
        buf_clear(&a);
        buf_clear(&b);
    }
}

static void has_its_limits(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 8);
    assert_int_equal(fhir_said_value("{", 1, &out), ERR_FORM);
    assert_int_equal(out.len, 0);
    assert_int_equal(
        fhir_said_value(Q("{\"value\":1}"), strlen(Q("{\"value\":1}")), &out),
        ERR_LIMIT);
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(compares),
                                        cmocka_unit_test(has_its_limits) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

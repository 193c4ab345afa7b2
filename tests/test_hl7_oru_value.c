#include "tests/hl7_oru_kit.h"

/* ---- numbers and units ------------------------------------------------- */

static void take_value(const char *type, const char *value, const char *unit)
{
    char obx[4096];

    snprintf(obx, sizeof(obx), "OBX|1|%s|FLOW^Flow^L|A|%s|%s|||||F", type,
             value, unit);
    take_obx(obx);
}

/* Digits are kept as FHIR R4's decimal has them: no float in between. */
static void test_number(void **state)
{
    static const struct {
        const char *text, *json;
    } rows[] = {
        { "2150", "{\"value\":2150," },
        { "+2150.0", "{\"value\":2150.0," },
        { "01.20", "{\"value\":1.20," },
        { "-.5", "{\"value\":-0.5," },
        { "70.", "{\"value\":70," },
        { "0.10000", "{\"value\":0.10000," },
        { "123456789012345678", "{\"value\":123456789012345678," },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].text);
        take_value("NM", rows[i].text, "mL/min^^UCUM");
        assert_int_equal(oru.issues.count, 0);
        assert_bytes(rows[i].json);
    }
}

static void test_no_number(void **state)
{
    static const struct {
        const char *text;
        enum hl7_error code;
        const char *place;
    } rows[] = {
        { "about 2000", HL7_DATA_TYPE, "OBX[1]-5" },
        { "2,150", HL7_DATA_TYPE, "OBX[1]-5" },
        { ">3000", HL7_DATA_TYPE, "OBX[1]-5" },
        { "2150^mL", HL7_DATA_TYPE, "OBX[1]-5" },
        { "2150&5", HL7_DATA_TYPE, "OBX[1]-5" },
        { "2150~2160", HL7_DATA_TYPE, "OBX[1]-5" },
        { "2150\\T\\5", HL7_DATA_TYPE, "OBX[1]-5" },
        { "1234567890123456789", HL7_TOO_LONG, "OBX[1]-5" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].text);
        take_value("NM", rows[i].text, "mL/min^^UCUM");
        assert_int_equal(oru.entry_count, 0);
        assert_int_equal(oru.issues.errors, 1);
        assert_issue(0, HL7_ERROR, rows[i].code, rows[i].place);
        /* a text for a person never repeats the value */
        assert_null(strstr(oru.issues.list[0].text, "2150"));
    }
}

/*
 * A unit is a UCUM code where the sender says so, or where nothing is said and
 * the text is one exactly; else it stays a text, and the reader of FHIR judges
 * it as he judges that of any sender.
 */
static void test_unit(void **state)
{
    static const struct {
        const char *six, *code, *unit;
    } rows[] = {
        { "mL/min^millilitre per minute^UCUM", "mL/min", "mL/min" },
        { "L/min", "L/min", "L/min" },
        { "%", "%", "%" },
        { "furlong^^UCUM", "furlong", "furlong" },
        { "265266^MDC_DIM_MILLI_L_PER_MIN^MDC^mL/min^mL/min^UCUM", "mL/min",
          "mL/min" },
        { "mmHg", "", "mmHg" },
        { "mL/min^^L", "", "mL/min" },
        { "ML^mL/min^L", "", "mL/min" },
        { "mL/min^millilitres^L", "", "mL/min" },
        { "265266^MDC_DIM_MILLI_L_PER_MIN^MDC", "", "MDC_DIM_MILLI_L_PER_MIN" },
        { "m L^^UCUM", "", "m L" },
        { "L/min^mL/min", "", "L/min / mL/min" },
        { "L/min^mL/min^UCUM", "", "L/min / mL/min" },
        { "mL/min^ml/min^UCUM", "mL/min", "mL/min" },
        { "mm[Hg]^mmHg^UCUM", "mm[Hg]", "mm[Hg]" },
        { "1^ratio^UCUM", "1", "1" },
        { "L/min^mL/min^L", "", "L/min / mL/min" },
        { "ml/min^mL/min^ISO+", "", "ml/min" },
        { "", "", "" },
        { "^^UCUM", "", "" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].six);
        take_value("NM", "900", rows[i].six);
        assert_text(1, "valueQuantity.code", rows[i].code);
        assert_text(1, "valueQuantity.unit", rows[i].unit);
        assert_text(1, "valueQuantity.system",
                    rows[i].code[0] != '\0' ? CODES_UCUM : "");
    }
}

/* SN, by HL7's maps (v2-to-FHIR 1.0.0, OBX to Observation). */
static void test_structured(void **state)
{
    (void)state;
    take_value("SN", ">^3000", "mL/min^^UCUM");
    assert_bytes("\"valueQuantity\":{\"value\":3000,\"comparator\":\">\","
                 "\"unit\":\"mL/min\",\"system\":\"" CODES_UCUM
                 "\",\"code\":\"mL/min\"}");
    take_value("SN", "=^5.0", "%");
    assert_bytes("\"valueQuantity\":{\"value\":5.0,\"unit\":\"%\"");
    take_value("SN", "^10^-^20", "mL/min^^UCUM");
    assert_bytes("\"valueRange\":{\"low\":{\"value\":10,\"unit\":\"mL/min\"");
    assert_bytes("\"high\":{\"value\":20,\"unit\":\"mL/min\"");
    take_value("SN", "^1^:^128", "");
    assert_bytes("\"valueRatio\":{\"numerator\":{\"value\":1},"
                 "\"denominator\":{\"value\":128}}");
    take_value("SN", "^2^+", "");
    assert_text(1, "valueString", "2+");
    take_value("SN", "^^", "");
    assert_text(1, "dataAbsentReason.coding.0.code", "unknown");
    take_value("SN", "<>^3", "");
    assert_issue(0, HL7_ERROR, HL7_DATA_TYPE, "OBX[1]-5.1");
    take_value("SN", "^5^-^many", "");
    assert_issue(0, HL7_ERROR, HL7_DATA_TYPE, "OBX[1]-5.4");
    assert_int_equal(oru.entry_count, 0);
}

/* ---- texts, times, and what is not there ------------------------------- */

static void test_texts(void **state)
{
    (void)state;
    take_value("FT", "first\\.br\\second~third", "");
    assert_text(1, "valueString", "first\nsecond\nthird");
    take_value("ST", "a^b&c \\F\\ d", "");
    assert_text(1, "valueString", "a^b&c | d");
    take_value("TX", "2150", "mL/min^^UCUM");
    assert_text(1, "valueString", "2150");
    take_value("ST", " ", "");
    assert_text(1, "dataAbsentReason.coding.0.code", "unknown");
    assert_absent(1, "valueString");
}

static void test_long_text(void **state)
{
    static char text[40000];
    int len = snprintf(text, sizeof(text), MSH PID OBR "OBX|1|FT|N^^L||");

    (void)state;
    memset(text + len, 'x', 16384);
    snprintf(text + len + 16384, 64, "||||||F\r");
    take(text);
    assert_int_equal(strlen(text_at(1, "valueString")), 16384);
    memset(text + len, 'x', 16385);
    snprintf(text + len + 16385, 64, "||||||F\r");
    take(text);
    assert_issue(0, HL7_ERROR, HL7_TOO_LONG, "OBX[1]-5");
    assert_int_equal(oru.entry_count, 0);
}

static void test_numbers_in_text(void **state)
{
    (void)state;
    profile.numbers_in_text = true;
    take_value("ST", "2150", "mL/min^^UCUM");
    assert_bytes("\"valueQuantity\":{\"value\":2150,\"unit\":\"mL/min\"");
    take_value("TX", "2150.0 mL/min", "");
    assert_bytes("\"valueQuantity\":{\"value\":2150.0,\"unit\":\"mL/min\"");
    take_value("ST", "138 mmHg", "");
    assert_text(1, "valueQuantity.code", "mm[Hg]");
    /* no unit, two units, two lines, more than a number: a text */
    take_value("ST", "2150", "");
    assert_text(1, "valueString", "2150");
    take_value("ST", "2150 mL/min", "L/min");
    assert_text(1, "valueString", "2150 mL/min");
    take_value("ST", "2150~2160", "mL/min");
    assert_text(1, "valueString", "2150\n2160");
    take_value("ST", "about 2150", "mL/min");
    assert_text(1, "valueString", "about 2150");
    take_value("FT", "2150", "mL/min");
    assert_text(1, "valueString", "2150");
}

static void test_time_values(void **state)
{
    (void)state;
    take_value("DT", "20260401", "");
    assert_text(1, "valueDateTime", "2026-04-01");
    take_value("DT", "202604", "");
    assert_text(1, "valueDateTime", "2026-04");
    take_value("TS", "202603040830^M", "");
    assert_text(1, "valueDateTime", "2026-03-04T08:30:00+01:00");
    take_value("DTM", "20260304083015.25-0000", "");
    assert_text(1, "valueDateTime", "2026-03-04T08:30:15.25Z");
    take_value("DTM", "2026030408", "");
    assert_text(1, "valuePeriod.start", "2026-03-04T08:00:00+01:00");
    assert_text(1, "valuePeriod.end", "2026-03-04T08:59:59+01:00");
    take_value("TM", "0815", "");
    assert_text(1, "valueTime", "08:15:00");
    take_value("TM", "08", "");
    assert_text(1, "valueString", "08");
    assert_issue(0, HL7_WARNING, HL7_DATA_TYPE, "OBX[1]-5");
    take_value("DT", "20260231", "");
    assert_issue(0, HL7_ERROR, HL7_DATA_TYPE, "OBX[1]-5");
    take_value("DTM", "20261025023000", "");
    assert_issue(0, HL7_WARNING, HL7_DATA_TYPE, "OBX[1]-5");
    assert_text(1, "valueDateTime", "2026-10-25T02:30:00+02:00");
}

static void test_absent(void **state)
{
    (void)state;
    take_value("NM", "\"\"", "mL/min^^UCUM");
    assert_int_equal(oru.issues.count, 0);
    assert_absent(1, "valueQuantity");
    assert_text(1, "dataAbsentReason.coding.0.code", "unknown");
    assert_text(1, "dataAbsentReason.text", "The sender has deleted the value");
    take_value("NM", "", "mL/min^^UCUM");
    assert_text(1, "dataAbsentReason.text", "No value was sent");
    /* without a value no data type is needed */
    take_value("", "", "");
    assert_int_equal(oru.issues.count, 0);
    take_value("", "5", "");
    assert_issue(0, HL7_ERROR, HL7_MISSING, "OBX[1]-2");
    take_value("QQ", "5", "");
    assert_issue(0, HL7_ERROR, HL7_TABLE_VALUE, "OBX[1]-2");
    take_value("ED", "^IM^PNG^Base64^AAAA", "");
    assert_issue(0, HL7_WARNING, HL7_DATA_TYPE, "OBX[1]-2");
    assert_int_equal(oru.issues.errors, 0);
    assert_text(1, "dataAbsentReason.coding.0.code", "unknown");
    /* of what is withdrawn the value does not matter */
    take_obx("OBX|1|NM|FLOW^^L||not a number||||||D");
    assert_int_equal(oru.issues.count, 0);
    assert_text(1, "status", "entered-in-error");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_number, fresh),
        cmocka_unit_test_setup(test_no_number, fresh),
        cmocka_unit_test_setup(test_unit, fresh),
        cmocka_unit_test_setup(test_structured, fresh),
        cmocka_unit_test_setup(test_texts, fresh),
        cmocka_unit_test_setup(test_long_text, fresh),
        cmocka_unit_test_setup(test_numbers_in_text, fresh),
        cmocka_unit_test_setup(test_time_values, fresh),
        cmocka_unit_test_setup(test_absent, fresh),
    };

    return cmocka_run_group_tests(tests, start, stop);
}

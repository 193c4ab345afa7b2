#include "adapters/units.h"
#include "tests/test.h"

/* Factors: UCUM 2.1 definitions; by hand where a comment shows the sum. */
static const struct {
    const char *name;
    enum quantity q;
    const char *code;
    double value;
    enum err want;
    double result;
} cases[] = {
    { "flow as used inside", Q_ACCESS_FLOW, "mL/min", 2150.1, ERR_OK, 2150.1 },
    { "flow, other litre", Q_ACCESS_FLOW, "ml/min", 2150, ERR_OK, 2150 },
    { "flow, L/min", Q_ACCESS_FLOW, "L/min", 2.15, ERR_OK, 2150 },
    { "flow, l/min", Q_ACCESS_FLOW, "l/min", 2.15, ERR_OK, 2150 },
    { "flow, dL/min", Q_ACCESS_FLOW, "dL/min", 21.5, ERR_OK, 2150 },
    { "flow, L/h", Q_ACCESS_FLOW, "L/h", 129, ERR_OK, 2150 }, /* 129000/60 */
    { "flow, mL/h", Q_ACCESS_FLOW, "mL/h", 129000, ERR_OK, 2150 },
    { "flow, m3/min", Q_ACCESS_FLOW, "m3/min", 0.00215, ERR_OK, 2150 },
    { "flow, mL/s", Q_ACCESS_FLOW, "mL/s", 35.833333, ERR_OK, 2149.99998 },
    { "flow, exponent", Q_ACCESS_FLOW, "mL.min-1", 2150, ERR_OK, 2150 },
    { "flow, power of ten", Q_ACCESS_FLOW, "10*3.mL/min", 2.15, ERR_OK, 2150 },
    { "flow, other inside", Q_CARDIAC_OUTPUT, "mL/min", 5400, ERR_OK, 5.4 },
    { "flow, mL/s to L/min", Q_CARDIAC_OUTPUT, "mL/s", 90, ERR_OK, 5.4 },
    { "flow, cardiac index", Q_CARDIAC_OUTPUT, "L/min/m2", 3, ERR_CONFLICT, 0 },
    { "flow, by weight", Q_PUMP_FLOW, "mL/kg/h", 10, ERR_CONFLICT, 0 },
    { "flow, by surface", Q_RESIDUAL_UREA_CLEARANCE, "mL/min/{1.73_m2}", 3,
      ERR_UNKNOWN, 0 },
    { "flow is no volume", Q_UF_VOLUME, "mL/min", 2000, ERR_CONFLICT, 0 },

    { "time, week", Q_TREATMENT_TIME, "wk", 1, ERR_OK, 10080 },  /* 7*24*60 */
    { "time, month", Q_TREATMENT_TIME, "mo", 1, ERR_OK, 43830 }, /* 30.4375 d */
    { "time, year", Q_TREATMENT_TIME, "a", 1, ERR_OK, 525960 },  /* 365.25 d */
    { "time is no temperature", Q_TREATMENT_TIME, "Cel", 1, ERR_CONFLICT, 0 },
    { "a temperature, other scale", Q_TREATMENT_TIME, "[degF]", 1, ERR_CONFLICT,
      0 },

    { "pressure, kPa", Q_SYSTOLIC_PRESSURE, "kPa", 18.398436, ERR_OK, 138 },
    { "pressure, Pa", Q_MEAN_PRESSURE, "Pa", 13332.2, ERR_OK, 100 },
    { "pressure, hPa", Q_MEAN_PRESSURE, "hPa", 133.322, ERR_OK, 100 },
    { "pressure, mbar", Q_MEAN_PRESSURE, "mbar", 133.322, ERR_OK, 100 },
    { "pressure, water", Q_CENTRAL_VENOUS_PRESSURE, "cm[H2O]", 13.3322, ERR_OK,
      9.80665 }, /* 13.3322 * 98.0665 / 133.322 */
    { "pressure, negative", Q_ARTERIAL_LINE_PRESSURE, "mm[Hg]", -180, ERR_OK,
      -180 },
    { "pressure, text", Q_SYSTOLIC_PRESSURE, "mmHg", 138, ERR_UNKNOWN, 0 },
    { "pressure, blank", Q_SYSTOLIC_PRESSURE, "mm Hg", 138, ERR_UNKNOWN, 0 },
    { "pressure, length", Q_SYSTOLIC_PRESSURE, "mm", 138, ERR_CONFLICT, 0 },

    { "per cent as 1", Q_RECIRCULATION, "1", 0.04, ERR_OK, 4 },
    { "per cent as %", Q_RECIRCULATION, "%", 4.1, ERR_OK, 4.1 },
    { "1 as per cent", Q_DIGITAL_BRACHIAL_INDEX, "%", 45, ERR_OK, 0.45 },
    { "1 as 1", Q_SPKTV, "1", 1.43, ERR_OK, 1.43 },
    { "annotation", Q_SPKTV, "{Kt/V}", 1.43, ERR_OK, 1.43 },
    { "annotation to %", Q_URR, "{ratio}", 0.7, ERR_OK, 70 },
    { "haematocrit, L/L", Q_HAEMATOCRIT, "L/L", 0.36, ERR_OK, 0.36 },
    { "haematocrit, %", Q_HAEMATOCRIT, "%", 36, ERR_OK, 0.36 },
    { "annotation on a flow", Q_ACCESS_FLOW, "{ratio}", 2, ERR_CONFLICT, 0 },
    { "annotation, digit", Q_SPKTV, "{Kt/V_2}", 1.4, ERR_UNKNOWN, 0 },
    { "annotation, blank", Q_SPKTV, "{Kt V}", 1.4, ERR_UNKNOWN, 0 },
    { "annotation, empty", Q_SPKTV, "{}", 1.4, ERR_UNKNOWN, 0 },
    { "annotation, open", Q_SPKTV, "{ratio", 1.4, ERR_UNKNOWN, 0 },
    { "annotation, twice", Q_SPKTV, "{a}{b}", 1.4, ERR_UNKNOWN, 0 },
    { "annotation, not ASCII", Q_SPKTV, "{\xc3\xa9t}", 1.4, ERR_UNKNOWN, 0 },
    { "1 on a flow", Q_ACCESS_FLOW, "1", 900, ERR_CONFLICT, 0 },
    { "% on a weight", Q_BODY_WEIGHT, "%", 70, ERR_CONFLICT, 0 },

    /* 22.8462 * 28.0134 / 10 = 64; 137 * 10 / 60.056 = 22.812 */
    { "BUN, mg/dL", Q_BUN_PRE, "mg/dL", 64, ERR_OK, 64 },
    { "BUN, mmol/L", Q_BUN_PRE, "mmol/L", 22.846209, ERR_OK, 64 },
    { "BUN, g/L", Q_BUN_POST, "g/L", 0.64, ERR_OK, 64 },
    { "BUN, mg/L", Q_BUN_POST, "mg/L", 640, ERR_OK, 64 },
    { "BUN, umol/L", Q_BUN_POST, "umol/L", 22846.209, ERR_OK, 64 },
    { "urea, mmol/L", Q_UREA_PRE, "mmol/L", 22.8, ERR_OK, 22.8 },
    { "urea, mg/dL", Q_UREA_PRE, "mg/dL", 137, ERR_OK, 22.812042 },
    { "urea, g/L", Q_UREA_POST, "g/L", 1.37, ERR_OK, 22.812042 },
    { "urea, mol/m3", Q_UREA_POST, "mol/m3", 7.5, ERR_OK, 7.5 },
    { "urea, equivalents", Q_UREA_PRE, "mEq/L", 20, ERR_UNKNOWN, 0 },
    { "urea, activity", Q_UREA_PRE, "[iU]/L", 20, ERR_UNKNOWN, 0 },
    { "moles of no species", Q_SYSTOLIC_PRESSURE, "mmol/L", 5, ERR_CONFLICT,
      0 },

    { "time, h", Q_TREATMENT_TIME, "h", 4, ERR_OK, 240 },
    { "time, s", Q_TREATMENT_TIME, "s", 14400, ERR_OK, 240 },
    { "time, d", Q_TREATMENT_TIME, "d", 0.5, ERR_OK, 720 },
    { "time, metre", Q_TREATMENT_TIME, "m", 240, ERR_CONFLICT, 0 },
    { "volume, L", Q_UF_VOLUME, "L", 2.4, ERR_OK, 2400 },
    { "volume, cm3", Q_UF_VOLUME, "cm3", 2400, ERR_OK, 2400 },
    { "volume, cc", Q_UF_VOLUME, "cc", 2400, ERR_UNKNOWN, 0 },
    { "volume, weight", Q_UF_VOLUME, "kg", 2.4, ERR_CONFLICT, 0 },
    { "weight, g", Q_PRE_WEIGHT, "g", 72500, ERR_OK, 72.5 },
    { "weight, pounds", Q_POST_WEIGHT, "[lb_av]", 160, ERR_OK, 72.5747792 },
    { "weight, volume", Q_PRE_WEIGHT, "L", 72, ERR_CONFLICT, 0 },
    { "height, cm", Q_HEIGHT, "cm", 172, ERR_OK, 1.72 },
    { "height, inches", Q_HEIGHT, "[in_i]", 68, ERR_OK, 1.7272 },
    { "diameter, cm", Q_CONDUIT_DIAMETER, "cm", 0.62, ERR_OK, 6.2 },
    { "diameter, m", Q_DOWEL_DIAMETER, "m", 0.004, ERR_OK, 4 },

    { "wrong case", Q_ACCESS_FLOW, "ML/MIN", 900, ERR_UNKNOWN, 0 },
    { "two strokes", Q_ACCESS_FLOW, "mL//min", 900, ERR_UNKNOWN, 0 },
    { "blank after", Q_ACCESS_FLOW, "mL/min ", 900, ERR_UNKNOWN, 0 },
    { "blank before", Q_ACCESS_FLOW, " mL/min", 900, ERR_UNKNOWN, 0 },
    { "start of a code", Q_ACCESS_FLOW, "mL/mi", 900, ERR_UNKNOWN, 0 },
    { "not ASCII", Q_ACCESS_FLOW, "\xc2\xb5L/min", 900, ERR_UNKNOWN, 0 },
    { "no such unit", Q_HEIGHT, "furlong", 1, ERR_UNKNOWN, 0 },
    { "acidity", Q_SPKTV, "[pH]", 7, ERR_UNKNOWN, 0 },
    { "empty", Q_SPKTV, "", 1, ERR_UNKNOWN, 0 },
    { "a coded quantity", Q_HAND_SYMPTOM, "1", 1, ERR_CONFLICT, 0 },
    { "a flag", Q_BAND_RELEASED, "1", 1, ERR_CONFLICT, 0 },
    { "no quantity", Q_NONE, "mL/min", 1, ERR_CONFLICT, 0 },
    { "no quantity, no unit", Q_NONE, "cc", 1, ERR_UNKNOWN, 0 },

    { "not a number", Q_ACCESS_FLOW, "mL/min", NAN, ERR_RANGE, 0 },
    { "not a number, converted", Q_ACCESS_FLOW, "L/min", NAN, ERR_RANGE, 0 },
    { "infinite", Q_ACCESS_FLOW, "mL/min", INFINITY, ERR_RANGE, 0 },
    { "becomes infinite", Q_ACCESS_FLOW, "L/min", 1e306, ERR_RANGE, 0 },
    { "large enough still", Q_ACCESS_FLOW, "L/min", 1e304, ERR_OK, 1e307 },
};

static void converts(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        double got = -77;
        enum err e = units_convert(cases[i].q, cases[i].code,
                                   strlen(cases[i].code), cases[i].value, &got);

        ROW(cases[i].name);
        assert_int_equal(e, cases[i].want);
        if (e == ERR_OK)
            assert_near(got, cases[i].result, 1e-7 * fabs(cases[i].result));
        else
            assert_true(got == -77);
    }
}

/* What is in the inside unit already must not change by a single bit. */
static void inside_is_exact(void **state)
{
    static const double values[] = { 0.1, 1.0 / 3.0, 2150.1, -180.7, 5e-324 };

    (void)state;
    for (unsigned q = 1; q < QUANTITY_COUNT; q++) {
        const char *unit = quantity_info((enum quantity)q)->unit;

        for (size_t i = 0; unit[0] != '\0' && i < COUNT(values); i++) {
            double got = 0;

            assert_int_equal(units_convert((enum quantity)q, unit, strlen(unit),
                                           values[i], &got),
                             ERR_OK);
            assert_true(got == values[i]);
        }
    }
}

/* The length counts, not a NUL: codes come out of the middle of a message. */
static void length_counts(void **state)
{
    double got;

    (void)state;
    assert_int_equal(units_convert(Q_ACCESS_FLOW, "L/min^x", 5, 2, &got),
                     ERR_OK);
    assert_near(got, 2000, 0);
    assert_int_equal(units_convert(Q_ACCESS_FLOW, "L/min\0", 6, 2, &got),
                     ERR_UNKNOWN);
    assert_int_equal(units_convert(Q_ACCESS_FLOW, NULL, 0, 2, &got),
                     ERR_UNKNOWN);
}

static void codes_are_unique(void **state)
{
    size_t n = 0;

    (void)state;
    for (; units_code(n) != NULL; n++) {
        for (size_t i = 0; i < n; i++)
            assert_string_not_equal(units_code(i), units_code(n));
    }
    assert_true(n >= 40);
    assert_null(units_code(n + 1));
}

static const struct {
    const char *text;
    const char *code; /* NULL: not understood */
} text_cases[] = {
    { "ml/min", "ml/min" },
    { "mL/min", "mL/min" },
    { "L/min", "L/min" },
    { "l/min", "l/min" },
    { "mmHg", "mm[Hg]" },
    { "mm Hg", "mm[Hg]" },
    { "mm[Hg]", "mm[Hg]" },
    { "kPa", "kPa" },
    { "cmH2O", "cm[H2O]" },
    { "%", "%" },
    { "mg/dL", "mg/dL" },
    { "mg/dl", "mg/dl" },
    { "mmol/L", "mmol/L" },
    { "mmol/l", "mmol/l" },
    { "min", "min" },
    { "minutes", "min" },
    { "h", "h" },
    { "hours", "h" },
    { "kg", "kg" },
    { "lbs", "[lb_av]" },
    { "mL", "mL" },
    { "ml", "ml" },
    { "L", "L" },
    { "mm", "mm" },
    { "cm", "cm" },
    { "{ratio}", "1" },
    { "ratio", "1" },
    { "1", "1" },
    { "", NULL },
    { "ML/MIN", NULL },
    { "mmhg", NULL },
    { "mmHg ", NULL },
    { "cc/min", NULL },
    { "mEq/L", NULL },
    { "mL/min/1.73m2", NULL },
    { "M", NULL },
};

static void reads_texts(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(text_cases); i++) {
        const char *code = "untouched";
        enum err e = units_of_text(text_cases[i].text,
                                   strlen(text_cases[i].text), &code);

        ROW(text_cases[i].text);
        if (text_cases[i].code == NULL) {
            assert_int_equal(e, ERR_UNKNOWN);
            assert_string_equal(code, "untouched");
        } else {
            assert_int_equal(e, ERR_OK);
            assert_string_equal(code, text_cases[i].code);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(converts),      cmocka_unit_test(inside_is_exact),
        cmocka_unit_test(length_counts), cmocka_unit_test(codes_are_unique),
        cmocka_unit_test(reads_texts),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

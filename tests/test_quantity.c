#include "planner/quantity.h"
#include "planner/reading.h"
#include "planner/sign.h"
#include "tests/test.h"

#include <stdbool.h>

/* Ranges as the clinical owner's table of plausible values lists them:
 * proposals by clinical judgement, none of them published. */
static const struct {
    enum quantity q;
    const char *code, *unit;
    double soft_low, soft_high, hard_low, hard_high;
} ranges[] = {
    { Q_ACCESS_FLOW, "access-flow", "mL/min", 150, 4000, 0, 8000 },
    { Q_CARDIAC_OUTPUT, "cardiac-output", "L/min", 3, 12, 1, 20 },
    { Q_SYSTOLIC_PRESSURE, "systolic-pressure", "mm[Hg]", 80, 220, 40, 300 },
    { Q_DIASTOLIC_PRESSURE, "diastolic-pressure", "mm[Hg]", 40, 120, 15, 200 },
    { Q_MEAN_PRESSURE, "mean-pressure", "mm[Hg]", 55, 140, 20, 220 },
    { Q_PUMP_FLOW, "qb", "mL/min", 150, 500, 50, 650 },
    { Q_STATIC_VENOUS_PRESSURE, "static-venous-pressure", "mm[Hg]", -20, 120,
      -50, 250 },
    { Q_VENOUS_LINE_PRESSURE, "venous-line-pressure", "mm[Hg]", 50, 250, -20,
      500 },
    { Q_ARTERIAL_LINE_PRESSURE, "arterial-line-pressure", "mm[Hg]", -250, 0,
      -450, 100 },
    { Q_RECIRCULATION, "recirculation", "%", 0, 30, 0, 95 },
    { Q_UREA_PRE, "urea-pre", "mmol/L", 8, 50, 2, 90 },
    { Q_UREA_POST, "urea-post", "mmol/L", 2, 25, 0.5, 70 },
    { Q_BUN_PRE, "bun-pre", "mg/dL", 20, 140, 5, 250 },
    { Q_BUN_POST, "bun-post", "mg/dL", 5, 70, 1, 200 },
    { Q_TREATMENT_TIME, "treatment-time", "min", 120, 480, 30, 720 },
    { Q_UF_VOLUME, "uf-volume", "mL", 0, 5000, -1000, 8000 },
    { Q_POST_WEIGHT, "post-weight", "kg", 30, 180, 3, 300 },
    { Q_SPKTV, "spktv", "1", 0.8, 2.2, 0.1, 4 },
    { Q_STDKTV, "stdktv", "1", 1.4, 3.5, 0.3, 8 },
    { Q_DIGITAL_PRESSURE, "digital-pressure", "mm[Hg]", 20, 180, 0, 300 },
    { Q_DIGITAL_BRACHIAL_INDEX, "digital-brachial-index", "1", 0.2, 1.2, 0, 2 },
    { Q_HEIGHT, "height", "m", 1.3, 2.1, 0.5, 2.4 },
    { Q_HAEMATOCRIT, "haematocrit", "1", 0.2, 0.5, 0.1, 0.7 },
    { Q_DOWEL_DIAMETER, "dowel-diameter", "mm", 3, 5, 2, 8 },
    { Q_RESIDUAL_UREA_CLEARANCE, "residual-urea-clearance", "mL/min", 0, 6, 0,
      20 },
};

static void judges_ranges(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(ranges); i++) {
        enum quantity q = ranges[i].q;
        double step = 1e-6;

        ROW(ranges[i].code);
        assert_string_equal(quantity_info(q)->unit, ranges[i].unit);
        assert_int_equal(quantity_judge(q, ranges[i].soft_low), PLAUSIBLE);
        assert_int_equal(quantity_judge(q, ranges[i].soft_high), PLAUSIBLE);
        assert_int_equal(quantity_judge(q, ranges[i].soft_high + step),
                         PLAUSIBLE_UNUSUAL);
        if (ranges[i].soft_low > ranges[i].hard_low) {
            assert_int_equal(quantity_judge(q, ranges[i].soft_low - step),
                             PLAUSIBLE_UNUSUAL);
            assert_int_equal(quantity_judge(q, ranges[i].hard_low),
                             PLAUSIBLE_UNUSUAL);
        }
        assert_int_equal(quantity_judge(q, ranges[i].hard_high),
                         PLAUSIBLE_UNUSUAL);
        assert_int_equal(quantity_judge(q, ranges[i].hard_low - step),
                         PLAUSIBLE_NOT);
        assert_int_equal(quantity_judge(q, ranges[i].hard_high + step),
                         PLAUSIBLE_NOT);
        assert_int_equal(quantity_judge(q, NAN), PLAUSIBLE_NOT);
        assert_int_equal(quantity_judge(q, INFINITY), PLAUSIBLE_NOT);
        assert_int_equal(quantity_judge(q, -INFINITY), PLAUSIBLE_NOT);
    }
}

static const struct {
    const char *name;
    enum quantity q;
    double value;
    enum plausible want;
    const char *hint;
} suspects[] = {
    { "flow in litres", Q_ACCESS_FLOW, 1.2, PLAUSIBLE_WRONG_UNIT, "litres?" },
    { "flow, lowest in litres", Q_ACCESS_FLOW, 0.2, PLAUSIBLE_WRONG_UNIT,
      "litres?" },
    { "flow, highest in litres", Q_ACCESS_FLOW, 8, PLAUSIBLE_WRONG_UNIT,
      "litres?" },
    { "flow, above that", Q_ACCESS_FLOW, 8.01, PLAUSIBLE_UNUSUAL, "litres?" },
    { "flow, below that", Q_ACCESS_FLOW, 0.19, PLAUSIBLE_UNUSUAL, "litres?" },
    { "no flow at all", Q_ACCESS_FLOW, 0, PLAUSIBLE_UNUSUAL, "litres?" },
    { "output in millilitres", Q_CARDIAC_OUTPUT, 6800, PLAUSIBLE_WRONG_UNIT,
      "millilitres?" },
    { "output, between", Q_CARDIAC_OUTPUT, 50, PLAUSIBLE_NOT, "millilitres?" },
    { "time in hours", Q_TREATMENT_TIME, 4, PLAUSIBLE_WRONG_UNIT, "hours?" },
    { "height in centimetres", Q_HEIGHT, 172, PLAUSIBLE_WRONG_UNIT,
      "centimetres?" },
    { "haematocrit in per cent", Q_HAEMATOCRIT, 36, PLAUSIBLE_WRONG_UNIT,
      "per cent?" },
    { "reduction as a fraction", Q_URR, 0.7, PLAUSIBLE_WRONG_UNIT,
      "a fraction?" },
    { "finger without pressure", Q_DIGITAL_PRESSURE, 0, PLAUSIBLE_UNUSUAL, "" },
    { "a flag", Q_BLEEDING_ACTIVE, 1, PLAUSIBLE, "" },
    { "not a flag", Q_BLEEDING_ACTIVE, 2, PLAUSIBLE_NOT, "" },
    { "a code has no number", Q_THRILL, NAN, PLAUSIBLE, "" },
};

/* Bounds of this project: no negative flow, no share above the whole, nothing
 * beyond twice the range. */
static void a_person_cannot_say_everything(void **state)
{
    (void)state;
    assert_true(quantity_can_be(Q_ACCESS_FLOW, 0));
    assert_true(quantity_can_be(Q_ACCESS_FLOW, 16000));
    assert_false(quantity_can_be(Q_ACCESS_FLOW, -1e-9));
    assert_false(quantity_can_be(Q_ACCESS_FLOW, 16000.1));
    assert_true(quantity_can_be(Q_PUMP_FLOW, 20));
    assert_true(quantity_can_be(Q_ARTERIAL_LINE_PRESSURE, -900));
    assert_false(quantity_can_be(Q_ARTERIAL_LINE_PRESSURE, -901));
    assert_true(quantity_can_be(Q_URR, 100));
    assert_false(quantity_can_be(Q_URR, 101));
    assert_false(quantity_can_be(Q_SPKTV, (double)NAN));
    assert_true(quantity_can_be(Q_HAND_SYMPTOM, (double)NAN));
    for (unsigned q = 1; q < QUANTITY_COUNT; q++) {
        const struct quantity_info *info = quantity_info((enum quantity)q);

        ROW(info->code);
        if (info->kind != VALUE_NUMBER)
            continue;
        assert_true(quantity_can_be((enum quantity)q, info->hard_low));
        assert_true(quantity_can_be((enum quantity)q, info->hard_high));
    }
}

static void suspects_units(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(suspects); i++) {
        ROW(suspects[i].name);
        assert_int_equal(quantity_judge(suspects[i].q, suspects[i].value),
                         suspects[i].want);
        assert_string_equal(quantity_info(suspects[i].q)->suspect_hint,
                            suspects[i].hint);
    }
}

/* The table is whole: every row filled, every code found again, once. */
static void quantities_are_whole(void **state)
{
    (void)state;
    for (unsigned i = 1; i < QUANTITY_COUNT; i++) {
        const struct quantity_info *info = quantity_info((enum quantity)i);
        enum quantity found = Q_NONE;

        assert_non_null(info->code);
        assert_true(info->code[0] != '\0' && info->display[0] != '\0');
        assert_int_equal(
            quantity_by_code(info->code, strlen(info->code), &found), ERR_OK);
        assert_int_equal(found, i);
        if (info->kind == VALUE_CODE)
            continue;
        assert_true(info->hard_low <= info->soft_low &&
                    info->soft_low < info->soft_high &&
                    info->soft_high <= info->hard_high);
        assert_int_equal(info->kind == VALUE_NUMBER, info->unit[0] != '\0');
    }
    assert_string_equal(quantity_info(QUANTITY_COUNT)->code, "");
}

static void unknown_codes(void **state)
{
    static const char *const bad[] = { "", "access", "access-flows",
                                       "Access-Flow", "access-flow " };
    enum quantity q = Q_HEIGHT;

    (void)state;
    for (size_t i = 0; i < COUNT(bad); i++) {
        assert_int_equal(quantity_by_code(bad[i], strlen(bad[i]), &q),
                         ERR_UNKNOWN);
        assert_int_equal(q, Q_HEIGHT);
    }
    assert_int_equal(quantity_by_code("access-flow-x", 11, &q), ERR_OK);
    assert_int_equal(q, Q_ACCESS_FLOW); /* by length, not by a NUL */
}

static void signs_are_whole(void **state)
{
    (void)state;
    for (unsigned i = 1; i < SIGN_COUNT; i++) {
        const struct sign_info *info = sign_info((enum sign)i);
        enum sign found = SIGN_NONE;

        assert_non_null(info->code);
        assert_int_equal(quantity_info(info->quantity)->kind, VALUE_CODE);
        assert_int_equal(sign_by_code(info->quantity, info->code,
                                      strlen(info->code), &found),
                         ERR_OK);
        assert_int_equal(found, i);
        assert_int_equal(sign_by_question(info->code, strlen(info->code),
                                          &found) == ERR_OK &&
                             found == (enum sign)i,
                         info->as_question);
        if (info->grade != GRADE_NONE)
            assert_true(info->quantity == Q_HAND_SYMPTOM ||
                        info->quantity == Q_HAND_ISCHAEMIA_GRADE);
    }
}

/* Grades by sign: Mickley, Nephrol Dial Transplant 2008;23:19 (I cool or
 * pale, II pain or numbness, III rest pain, IV tissue loss), motor
 * dysfunction with III as in Inston et al., J Vasc Access 2017;18:3. */
static const struct {
    enum sign sign;
    enum grade grade;
} grades[] = {
    { SIGN_NO_COMPLAINT, GRADE_NONE },
    { SIGN_COLDNESS, GRADE_1 },
    { SIGN_PAIN_ON_DIALYSIS, GRADE_2A },
    { SIGN_NUMBNESS, GRADE_2A },
    { SIGN_NUMBNESS_ULNAR, GRADE_2A },
    { SIGN_PAIN_ON_DIALYSIS_INTOLERABLE, GRADE_2B },
    { SIGN_PAIN_AT_REST, GRADE_3 },
    { SIGN_MOTOR_WEAKNESS, GRADE_3 },
    { SIGN_HAND_ULCER, GRADE_4A },
    { SIGN_GRADE_0, GRADE_NONE },
    { SIGN_GRADE_1, GRADE_1 },
    { SIGN_GRADE_2A, GRADE_2A },
    { SIGN_GRADE_2B, GRADE_2B },
    { SIGN_GRADE_3, GRADE_3 },
    { SIGN_GRADE_4A, GRADE_4A },
    { SIGN_GRADE_4B, GRADE_4B },
    { SIGN_ARM_SWELLING, GRADE_NONE },
};

static void signs_have_grades(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(grades); i++) {
        ROW(sign_info(grades[i].sign)->code);
        assert_int_equal(sign_info(grades[i].sign)->grade, grades[i].grade);
    }
}

/* An integer stage is read as the more urgent half. */
static void stages_are_signs(void **state)
{
    static const enum sign want[] = { SIGN_GRADE_0, SIGN_GRADE_1, SIGN_GRADE_2B,
                                      SIGN_GRADE_3, SIGN_GRADE_4A };
    enum sign s = SIGN_COLDNESS;

    (void)state;
    for (size_t i = 0; i < COUNT(want); i++) {
        assert_int_equal(sign_of_stage((long long)i, &s), ERR_OK);
        assert_int_equal(s, want[i]);
    }
    assert_int_equal(sign_of_stage(-1, &s), ERR_RANGE);
    assert_int_equal(sign_of_stage(5, &s), ERR_RANGE);
    assert_int_equal(s, SIGN_GRADE_4A);
}

static const struct {
    const char *name;
    enum bound bound;
    double value, limit;
    bool at_least, below;
} bounds[] = {
    { "on the limit", BOUND_NONE, 2000, 2000, true, false },
    { "just below", BOUND_NONE, 1999.999, 2000, false, true },
    { "not a number", BOUND_NONE, NAN, 2000, false, false },
    { "> the limit", BOUND_ABOVE, 2000, 2000, true, false },
    { "> less", BOUND_ABOVE, 1999, 2000, false, false },
    { ">= the limit", BOUND_AT_LEAST, 2000, 2000, true, false },
    { ">= less", BOUND_AT_LEAST, 1000, 2000, false, false },
    { "< the limit", BOUND_BELOW, 2000, 2000, false, true },
    { "< more", BOUND_BELOW, 2001, 2000, false, false },
    { "<= the limit", BOUND_AT_MOST, 2000, 2000, false, false },
    { "<= less", BOUND_AT_MOST, 1999, 2000, false, true },
    { "> not a number", BOUND_ABOVE, NAN, 2000, false, false },
    { "< not a number", BOUND_BELOW, NAN, 2000, false, false },
};

static void bounds_are_certain(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(bounds); i++) {
        struct reading r = { .value = bounds[i].value,
                             .bound = bounds[i].bound };

        ROW(bounds[i].name);
        assert_int_equal(reading_at_least(&r, bounds[i].limit),
                         bounds[i].at_least);
        assert_int_equal(reading_below(&r, bounds[i].limit), bounds[i].below);
    }
}

static void statuses_count(void **state)
{
    static const struct {
        enum reading_status status;
        bool counts;
    } rows[] = { { READING_FINAL, true },
                 { READING_CORRECTED, true },
                 { READING_PRELIMINARY, false },
                 { READING_WITHDRAWN, false } };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct reading r = { .status = rows[i].status };

        assert_int_equal(reading_counts(&r), rows[i].counts);
    }
}

static void methods_have_codes(void **state)
{
    enum method m = METHOD_DUPLEX;

    (void)state;
    for (int i = 1; i < METHOD_COUNT; i++) {
        const char *code = method_code((enum method)i);

        assert_int_equal(method_by_code(code, strlen(code), &m), ERR_OK);
        assert_int_equal(m, i);
        assert_true(method_display(m)[0] != '\0');
    }
    assert_int_equal(method_by_code("", 0, &m), ERR_UNKNOWN);
    assert_int_equal(method_by_code("doppler", 7, &m), ERR_UNKNOWN);
    assert_string_equal(method_code(METHOD_UNSTATED), "");
    assert_string_equal(method_code(METHOD_COUNT), "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(judges_ranges),
        cmocka_unit_test(a_person_cannot_say_everything),
        cmocka_unit_test(suspects_units),
        cmocka_unit_test(quantities_are_whole),
        cmocka_unit_test(unknown_codes),
        cmocka_unit_test(signs_are_whole),
        cmocka_unit_test(signs_have_grades),
        cmocka_unit_test(stages_are_signs),
        cmocka_unit_test(bounds_are_certain),
        cmocka_unit_test(statuses_count),
        cmocka_unit_test(methods_have_codes),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}

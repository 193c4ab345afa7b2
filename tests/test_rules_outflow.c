/*
 * Static pressure ratio (LF-4) and recirculation (LF-5).  Limits come from
 * the policy as shipped; the cases stand on both sides of each.
 */
#include "tests/test.h"

#include "tests/history_kit.h"

static struct policy policy;

#define RATIO(d, v, ...)  NUMBER(d, Q_STATIC_PRESSURE_RATIO, v, __VA_ARGS__)
#define RECIRC(d, v, ...) NUMBER(d, Q_RECIRCULATION, v, __VA_ARGS__)
#define KTV(d, v, ...)    NUMBER(d, Q_SPKTV, v, __VA_ARGS__)
#define WEEK(d, v, ...)   NUMBER(d, Q_SESSIONS_PER_WEEK, v, __VA_ARGS__)
#define THERMAL           .method = METHOD_THERMODILUTION
#define URR(d, v, ...)    NUMBER(d, Q_URR, v, __VA_ARGS__)

/* clang-format off */
static const struct rule_case ratio[] = {
    /* Published: above 0.35 of fistulas, static pressure table of KDOQI 2006
     * as summarised; three in a row, dynamic pressure ratio test, Am J Kidney
     * Dis 2002 */
    { "fistula, the third is inside", AVF, 21, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.34) } },
    { "fistula, three", AVF, 21, "LF-4:routine",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37) } },
    { "fistula, on the limit", AVF, 21, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.35) } },
    { "fistula, just above", AVF, 21, "LF-4:routine",
      { RATIO(0, 0.351), RATIO(10, 0.351), RATIO(20, 0.351) } },
    { "fistula, two", AVF, 21, "", { RATIO(10, 0.40), RATIO(20, 0.37) } },
    /* Published: above 0.5 of grafts, table of pressure protocols */
    { "graft, high for a fistula only", AVG, 21, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.50) } },
    { "graft, on the limit", AVG, 21, "",
      { RATIO(0, 0.51), RATIO(10, 0.51), RATIO(20, 0.50) } },
    { "graft, three", AVG, 21, "LF-4:routine",
      { RATIO(0, 0.51), RATIO(10, 0.51), RATIO(20, 0.51) } },
    /* above the limit that both types share */
    { "type not known", SIGN_TYPE_UNKNOWN, 21, "LF-4:routine",
      { RATIO(0, 0.51), RATIO(10, 0.51), RATIO(20, 0.51) } },
    { "type not known, on the higher limit", SIGN_TYPE_UNKNOWN, 21, "",
      { RATIO(0, 0.51), RATIO(10, 0.51), RATIO(20, 0.50) } },
    /* three within 30 days, from the first to the last: common practice, no
     * source */
    { "end of the window", AVF, 31, "LF-4:routine",
      { RATIO(0, 0.36), RATIO(15, 0.40), RATIO(30, 0.37) } },
    { "hours after it", AVF, 31, "LF-4:routine",
      { RATIO(0, 0.36), RATIO(15, 0.40), RATIO(30.25, 0.37) } },
    { "after the window", AVF, 32, "",
      { RATIO(0, 0.36), RATIO(15, 0.40), RATIO(31, 0.37) } },
    { "a month between two", AVF, 61, "",
      { RATIO(0, 0.36), RATIO(30, 0.40), RATIO(60, 0.37) } },
    { "of five, the last three within the window", AVF, 61, "LF-4:routine",
      { RATIO(0, 0.36), RATIO(28, 0.40), RATIO(40, 0.37), RATIO(56, 0.37) } },
    { "withdrawn", AVF, 21, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37, WITHDRAWN) } },
    { "preliminary", AVF, 21, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37, EARLY) } },
    { "of one session", AVF, 21, "",
      { RATIO(0, 0.36), RATIO(20, 0.40), RATIO(20 + HOURS(1), 0.40) } },
    { "twice well inside", AVF, 41, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37), RATIO(30, 0.31),
        RATIO(40, 0.31) } },
    { "twice not well inside", AVF, 41, "LF-4:routine",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37), RATIO(30, 0.32),
        RATIO(40, 0.32) } },
    { "more than a month old", AVF, 50 + SECOND, "LF-4:routine~",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37) } },
    { "an intervention between", AVF, 41, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), SIGN(12, SIGN_ANGIOPLASTY_OUTFLOW),
        RATIO(20, 0.37) } },
    { "an intervention after", AVF, 41, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37),
        SIGN(25, SIGN_ANGIOPLASTY_OUTFLOW) } },
    { "blanked", AVF, 31, "",
      { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), RATIO(7 - SECOND, 0.36),
        RATIO(15, 0.40), RATIO(30, 0.37) } },
    { "after blanking", AVF, 31, "LF-4:routine",
      { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), RATIO(7, 0.36), RATIO(15, 0.40),
        RATIO(30, 0.37) } },
    /* (30 + 0.35 * 30 + 3.4) / 93 = 0.472: high of a fistula, not of a graft
     * (table of pressure protocols) */
    { "computed, fistula", AVF, 21, "LF-4:routine",
      { RATIO(0, 0.36), RATIO(10, 0.40),
        NUMBER(20, Q_STATIC_VENOUS_PRESSURE, 30),
        NUMBER(20, Q_CHAMBER_HEIGHT, 30), NUMBER(20, Q_MEAN_PRESSURE, 93) } },
    { "computed, graft", AVG, 21, "",
      { RATIO(0, 0.6), RATIO(10, 0.6),
        NUMBER(20, Q_STATIC_VENOUS_PRESSURE, 30),
        NUMBER(20, Q_CHAMBER_HEIGHT, 30), NUMBER(20, Q_MEAN_PRESSURE, 93) } },
    /* 0.42 or 0.472: beyond, whichever is right; of a limit between the two
     * neither is used */
    { "computed and contradicted, both high", AVF, 21, "LF-4:routine",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.42),
        NUMBER(20, Q_STATIC_VENOUS_PRESSURE, 30),
        NUMBER(20, Q_CHAMBER_HEIGHT, 30), NUMBER(20, Q_MEAN_PRESSURE, 93) } },
    { "computed and contradicted", AVF, 21, "",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.34),
        NUMBER(20, Q_STATIC_VENOUS_PRESSURE, 30),
        NUMBER(20, Q_CHAMBER_HEIGHT, 30), NUMBER(20, Q_MEAN_PRESSURE, 93) } },
    /* beside a high flow: the picture of an outflow stenosis */
    { "beside a high flow", AVF, 21, "HF-1:routine LF-4:routine",
      { RATIO(0, 0.36), RATIO(10, 0.40), RATIO(20, 0.37), FLOW(0, 2100),
        FLOW(20, 2100) } },
};

static const struct rule_case recirculation[] = {
    /* Published: above 10 % by urea, review of access recirculation */
    { "not stated, twice", AVF, 21, "LF-5:routine",
      { RECIRC(0, 12), RECIRC(20, 11) } },
    { "not stated, on the limit", AVF, 21, "",
      { RECIRC(0, 12), RECIRC(20, 10) } },
    { "not stated, just above", AVF, 21, "LF-5:routine",
      { RECIRC(0, 10.1), RECIRC(20, 10.1) } },
    { "not stated, once", AVF, 21, "", { RECIRC(20, 12) } },
    { "not stated, high for dilution only", AVF, 21, "",
      { RECIRC(0, 8), RECIRC(20, 8) } },
    { "dialysance, high for dilution only", AVF, 21, "",
      { RECIRC(0, 8, .method = METHOD_IONIC_DIALYSANCE),
        RECIRC(20, 8, .method = METHOD_IONIC_DIALYSANCE) } },
    /* Published: above 5 % by dilution, cephalic-arch review, J Vasc Access
     * 2014;15:157-62 */
    { "dilution, on the limit", AVF, 21, "",
      { RECIRC(0, 8, DILUTION), RECIRC(20, 5, DILUTION) } },
    { "dilution, just above", AVF, 21, "LF-5:routine",
      { RECIRC(0, 8, DILUTION), RECIRC(20, 5.1, DILUTION) } },
    /* thermodilution measures the recirculation of heart and lungs too: it has
     * the limit of urea; common practice, no source */
    { "thermodilution, on the limit", AVF, 21, "",
      { RECIRC(0, 12, THERMAL), RECIRC(20, 10, THERMAL) } },
    { "thermodilution, just above", AVF, 21, "LF-5:routine",
      { RECIRC(0, 12, THERMAL), RECIRC(20, 10.1, THERMAL) } },
    { "thermodilution, high for ultrasound dilution only", AVF, 21, "",
      { RECIRC(0, 8, THERMAL), RECIRC(20, 9, THERMAL) } },
    /* 9 and 11 of a limit of 10; 11 and 14 */
    { "replicates disagree about the limit", AVF, 21, "",
      { RECIRC(0, 9), RECIRC(HOURS(1), 14), RECIRC(20, 12) } },
    { "replicates disagree, all high", AVF, 21, "LF-5:routine",
      { RECIRC(0, 11), RECIRC(HOURS(1), 14), RECIRC(20, 12) } },
    { "two methods", AVF, 21, "",
      { RECIRC(0, 12), RECIRC(20, 12, DILUTION) } },
    { "the other method is fine since", AVF, 41, "",
      { RECIRC(0, 12), RECIRC(10, 12), RECIRC(20, 4, DILUTION),
        RECIRC(40, 4, DILUTION) } },
    { "the other method is not well inside its limit", AVF, 40,
      "LF-5:routine",
      { RECIRC(0, 12), RECIRC(10, 12), RECIRC(20, 4.6, DILUTION),
        RECIRC(39, 4.6, DILUTION) } },
    { "not in a row", AVF, 21, "",
      { RECIRC(0, 12), RECIRC(10, 2), RECIRC(20, 12) } },
    { "end of the window", AVF, 31, "LF-5:routine",
      { RECIRC(0, 12), RECIRC(30, 12) } },
    { "after the window", AVF, 31, "",
      { RECIRC(0, 12), RECIRC(31, 12) } },
    { "withdrawn", AVF, 21, "", { RECIRC(0, 12), RECIRC(20, 12, WITHDRAWN) } },
    { "preliminary", AVF, 21, "", { RECIRC(0, 12), RECIRC(20, 12, EARLY) } },
    { "twice well inside", AVF, 41, "",
      { RECIRC(0, 12), RECIRC(10, 12), RECIRC(20, 8.9), RECIRC(30, 8.9) } },
    { "twice not well inside", AVF, 31, "LF-5:routine",
      { RECIRC(0, 12), RECIRC(10, 12), RECIRC(20, 9.1), RECIRC(30, 9.1) } },
    { "more than a month old", AVF, 50 + SECOND, "LF-5:routine~",
      { RECIRC(0, 12), RECIRC(20, 12) } },
    { "blanked", AVF, 21, "",
      { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), RECIRC(7 - SECOND, 12),
        RECIRC(20, 12) } },
    { "after blanking", AVF, 21, "LF-5:routine",
      { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), RECIRC(7, 12), RECIRC(20, 12) } },
    { "an intervention after", AVF, 21, "",
      { RECIRC(0, 12), RECIRC(10, 12), SIGN(15, SIGN_ANGIOPLASTY_OUTFLOW) } },
    { "type not known", SIGN_TYPE_UNKNOWN, 21, "LF-5:routine",
      { RECIRC(0, 12), RECIRC(20, 12) } },
    { "with reversed lines it is meant", AVF, 21, "",
      { NUMBER(0, Q_RECIRCULATION_REVERSED, 30),
        NUMBER(20, Q_RECIRCULATION_REVERSED, 30) } },

    /* urgent with a low dose: common practice, no source */
    { "with a low Kt/V", AVF, 21, "LF-5:urgent",
      { RECIRC(0, 12), RECIRC(20, 12), KTV(15, 1.19) } },
    { "with a Kt/V on the limit", AVF, 21, "LF-5:routine",
      { RECIRC(0, 12), RECIRC(20, 12), KTV(15, 1.2) } },
    { "with a low Kt/V, and a better one since", AVF, 21, "LF-5:routine",
      { RECIRC(0, 12), RECIRC(20, 12), KTV(10, 1.1), KTV(15, 1.4) } },
    { "with a low Kt/V of the window", AVF, 91, "LF-5:urgent",
      { KTV(21, 1.1), RECIRC(70, 12), RECIRC(90, 12) } },
    { "with a low Kt/V of before", AVF, 91 + SECOND, "LF-5:routine",
      { KTV(21, 1.1), RECIRC(70, 12), RECIRC(90, 12) } },
    { "with a low Kt/V that is no measure", AVF, 21, "LF-5:routine",
      { WEEK(0, 5), RECIRC(0, 12), RECIRC(20, 12), KTV(15, 1.1) } },
    { "with a low dose found", AVF, 21, "LF-5:urgent AD-1:routine",
      { RECIRC(0, 12), RECIRC(20, 12), KTV(0, 1.1), KTV(15, 1.1) } },
    { "with a low reduction", AVF, 21, "LF-5:urgent AD-1:routine",
      { WEEK(0, 3), RECIRC(0, 12), RECIRC(20, 12), URR(0, 60), URR(15, 60) } },
    { "with a low dose of long ago", AVF, 101, "LF-5:routine AD-1:routine~",
      { KTV(0, 1.1), KTV(15, 1.1), RECIRC(80, 12), RECIRC(100, 12) } },
    { "a low dose does not make it new", AVF, 60, "LF-5:urgent~",
      { RECIRC(0, 12), RECIRC(20, 12), KTV(59, 1.1) } },
};
/* clang-format on */

static void finds_high_ratio(void **state)
{
    (void)state;
    kit_run(ratio, sizeof(ratio) / sizeof(ratio[0]), &policy);
}

static void finds_recirculation(void **state)
{
    (void)state;
    kit_run(recirculation, sizeof(recirculation) / sizeof(recirculation[0]),
            &policy);
}

static void fills_ratio(void **state)
{
    static const struct rule_case c = {
        "", AVG, 21, "", { RATIO(0, 0.7), RATIO(10, 0.6), RATIO(20, 0.55) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *f;
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    f = kit_find(&found, RULE_LF_4);
    assert_int_equal(f->quantity, Q_STATIC_PRESSURE_RATIO);
    assert_int_equal(f->limit, P_LF4_RATIO_GRAFT);
    assert_near(f->measured, 0.55, 0);
    assert_near(f->peak, 0.7, 0);
    assert_int_equal(f->evidence_count, 3);
    assert_int_equal(f->at_s, kit_s(20));
}

static void fills_recirculation(void **state)
{
    static const struct rule_case c = {
        "",
        AVF,
        21,
        "",
        { RECIRC(0, 9, DILUTION), RECIRC(20, 6, DILUTION), KTV(21, 1.1) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *f;
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    f = kit_find(&found, RULE_LF_5);
    assert_int_equal(f->quantity, Q_RECIRCULATION);
    assert_int_equal(f->limit, P_LF5_DILUTION_PCT);
    assert_near(f->measured, 6, 0);
    assert_near(f->peak, 9, 0);
    assert_int_equal(f->evidence_count, 3); /* the Kt/V too */
    assert_int_equal(f->at_s, kit_s(20));
}

static void says_why_not(void **state)
{
    static const struct {
        enum rule rule;
        enum why why;
        struct rule_case c;
    } cases[] = {
        { RULE_LF_4,
          WHY_NO_READING,
          { "nothing", AVF, 9, "", { { .day = 0 } } } },
        { RULE_LF_4,
          WHY_TYPE_UNKNOWN,
          { "between the limits",
            SIGN_TYPE_UNKNOWN,
            9,
            "",
            { RATIO(0, 0.4) } } },
        { RULE_LF_4,
          WHY_TYPE_UNKNOWN,
          { "three, once between the limits",
            SIGN_TYPE_UNKNOWN,
            21,
            "",
            { RATIO(0, 0.6), RATIO(10, 0.4), RATIO(20, 0.6) } } },
        { RULE_LF_4,
          WHY_TOO_FEW,
          { "above both, once", SIGN_TYPE_UNKNOWN, 9, "", { RATIO(0, 0.6) } } },
        { RULE_LF_4,
          WHY_INSIDE,
          { "below both", SIGN_TYPE_UNKNOWN, 9, "", { RATIO(0, 0.35) } } },
        { RULE_LF_4,
          WHY_STAGE,
          { "between, and treated since",
            SIGN_TYPE_UNKNOWN,
            9,
            "",
            { RATIO(0, 0.4), SIGN(1, SIGN_ANGIOPLASTY_OUTFLOW) } } },
        { RULE_LF_4, WHY_INSIDE, { "inside", AVF, 9, "", { RATIO(0, 0.3) } } },
        { RULE_LF_4, WHY_TOO_FEW, { "once", AVF, 9, "", { RATIO(0, 0.6) } } },
        { RULE_LF_4,
          WHY_STAGE,
          { "blanked",
            AVF,
            9,
            "",
            { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), RATIO(3, 0.6) } } },
        { RULE_LF_4,
          WHY_NO_READING,
          { "flow only",
            AVF,
            9,
            "",
            { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(3, 900) } } },
        { RULE_LF_5,
          WHY_NO_READING,
          { "nothing", AVF, 9, "", { { .day = 0 } } } },
        { RULE_LF_5, WHY_INSIDE, { "inside", AVF, 9, "", { RECIRC(0, 3) } } },
        { RULE_LF_5, WHY_TOO_FEW, { "once", AVF, 9, "", { RECIRC(0, 12) } } },
        { RULE_LF_5,
          WHY_STAGE,
          { "treated since",
            AVF,
            9,
            "",
            { RECIRC(0, 12), RECIRC(4, 12),
              SIGN(6, SIGN_ANGIOPLASTY_OUTFLOW) } } },
    };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings found;
    struct history h;

    (void)state;
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        kit_evaluate(&cases[i].c, &policy, readings, &h, &found);
        if (found.why[cases[i].rule] != cases[i].why)
            fail_msg("%s: why %d, not %d", cases[i].c.name,
                     (int)found.why[cases[i].rule], (int)cases[i].why);
    }
}

static int read_limits(void **state)
{
    (void)state;
    kit_plain_policy(&policy);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_high_ratio),
        cmocka_unit_test(finds_recirculation),
        cmocka_unit_test(fills_ratio),
        cmocka_unit_test(fills_recirculation),
        cmocka_unit_test(says_why_not),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

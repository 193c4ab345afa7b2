/*
 * The heart: the share that an access takes of its output, and its signs
 * beside a high flow.  "Published" cases name their source.
 */
#include "tests/test.h"

#include "tests/flow_kit.h"

static struct policy policy;

/* One case, a few lines. */
/* clang-format off */
static const struct rule_case share[] = {
    /* Published: 1455 mL/min of 6.8 L/min, 21 %, Pandeya, ASAIO J
     * 1999;45:135; at least 20 % of Laranjinha, J Bras Nefrol 2018 */
    { "a fifth, twice", AVF, 30, "HF-3:note",
      { FLOW(0, 1455), OUTPUT(0, 6.8), FLOW(28, 1455), OUTPUT(28, 6.8) } },
    { "a fifth, once", AVF, 30, "", { FLOW(0, 1455), OUTPUT(0, 6.8) } },
    { "on the limit", AVF, 30, "HF-3:note",
      { FLOW(0, 1200), OUTPUT(0, 6), FLOW(28, 1200), OUTPUT(28, 6) } },
    { "just below", AVF, 30, "",
      { FLOW(0, 1200), OUTPUT(0, 6), FLOW(28, 1200), OUTPUT(28, 6.01) } },
    { "with the least flow", AVF, 30, "HF-3:note",
      { FLOW(0, 1000), OUTPUT(0, 4), FLOW(28, 1000), OUTPUT(28, 4) } },
    { "with too little flow", AVF, 30, "",
      { FLOW(0, 1000), OUTPUT(0, 4), FLOW(28, 999.9), OUTPUT(28, 4) } },
    { "at the end of the window", AVF, 181, "HF-3:note",
      { FLOW(0, 1455), OUTPUT(0, 6.8), FLOW(180, 1455), OUTPUT(180, 6.8) } },
    { "after the window", AVF, 181, "",
      { FLOW(0, 1455), OUTPUT(0, 6.8), FLOW(181, 1455), OUTPUT(181, 6.8) } },
    { "severe, once", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(0, 4.6) } },
    { "severe, on the limit", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 1200), OUTPUT(0, 4) } },
    { "severe, just below", AVF, 1, "", { FLOW(0, 1200), OUTPUT(0, 4.01) } },
    { "severe, repeated", AVF, 31, "HF-3:urgent!",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(30, 1450), OUTPUT(30, 4.6) } },
    { "severe, normal between", AVF, 31, "HF-3:urgent!?",
      { FLOW(0, 1900), OUTPUT(0, 6), FLOW(10, 1000), OUTPUT(10, 6),
        FLOW(20, 1900), OUTPUT(20, 6) } },
    { "severe, then normal", AVF, 31, "",
      { FLOW(0, 1900), OUTPUT(0, 6), FLOW(10, 1000), OUTPUT(10, 6) } },
    { "more than runs through any access", AVF, 31, "HF-1:routine",
      { FLOW(0, 2500), OUTPUT(0, 2), FLOW(20, 2500), OUTPUT(20, 2) } },
    /* late, but before the first is of long ago */
    { "severe, repeated late", AVF, 32, "HF-3:urgent!",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(31, 1450), OUTPUT(31, 4.6) } },
    { "severe, repeated as late as counts", AVF, 61, "HF-3:urgent!",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(60, 1450), OUTPUT(60, 4.6) } },
    { "severe, repeated too late", AVF, 61, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(61, 1450), OUTPUT(61, 4.6) } },
    /* shares of 0.16 and 0.25, 0.22 and 0.35, 0.31 and 0.5 */
    { "replicates disagree about the limit", AVF, 30, "",
      { FLOW(0, 1000), FLOW(HOURS(1), 1450), OUTPUT(0, 6), FLOW(28, 1450),
        OUTPUT(28, 6) } },
    { "replicates disagree, all a fifth", AVF, 30, "HF-3:note",
      { FLOW(0, 1000), FLOW(HOURS(1), 1450), OUTPUT(0, 4.6), FLOW(28, 1200),
        OUTPUT(28, 4.6) } },
    { "replicates disagree, all severe", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 900), FLOW(HOURS(1), 1450), OUTPUT(0, 2.9) } },
    { "outputs disagree, all severe", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(0, 3.5), OUTPUT(HOURS(1), 4.6) } },
    { "outputs disagree about the limit", AVF, 1, "",
      { FLOW(0, 1450), OUTPUT(0, 3.5), OUTPUT(HOURS(1), 5.0) } },
    { "severe, least flow", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 800), OUTPUT(0, 2.6) } },
    { "severe, too little flow", AVF, 1, "", { FLOW(0, 799), OUTPUT(0, 2.6) } },
    { "severe, twice in one session", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 1450), FLOW(HOURS(1), 1450), OUTPUT(0, 4.6),
        OUTPUT(HOURS(1), 4.6) } },
    { "output after four hours", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(HOURS(4), 4.6) } },
    { "output later", AVF, 1, "",
      { FLOW(0, 1450), OUTPUT(HOURS(4) + SECOND, 4.6) } },
    { "output known to the day", AVF, 1, "HF-3:urgent!?",
      { FLOW(0.6, 1450), OUTPUT(0, 4.6, .precision = AT_DAY) } },
    { "output on another day", AVF, 2, "",
      { FLOW(1, 1450), OUTPUT(0, 4.6, .precision = AT_DAY) } },
    { "output is zero", AVF, 1, "", { FLOW(0, 1450), OUTPUT(0, 0) } },
    { "output is not a number", AVF, 1, "", { FLOW(0, 1450), OUTPUT(0, NAN) } },
    { "output is a bound", AVF, 1, "",
      { FLOW(0, 1450), OUTPUT(0, 4.6, .bound = BOUND_BELOW) } },
    { "flow is a bound", AVF, 1, "",
      { FLOW(0, 1450, .bound = BOUND_ABOVE), OUTPUT(0, 4.6) } },
    { "output is preliminary", AVF, 1, "",
      { FLOW(0, 1450), OUTPUT(0, 4.6, EARLY) } },
    { "replicates disagree", AVF, 1, "HF-2:routine?",
      { FLOW(0, 1200), FLOW(HOURS(1), 1700), OUTPUT(0, 4.6) } },
    { "an intervention between", AVF, 31, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(0, 4.6), SIGN(5, SIGN_ANGIOPLASTY_OUTFLOW),
        FLOW(20, 1450), OUTPUT(20, 4.6) } },
    /* the flow without an output must not hide the intervention */
    { "an intervention between, more flows", AVF, 31, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(0, 4.6), SIGN(5, SIGN_ANGIOPLASTY_OUTFLOW),
        FLOW(15, 1450), FLOW(20, 1450), OUTPUT(20, 4.6) } },
    { "an intervention after", AVF, 31, "",
      { FLOW(0, 1450), OUTPUT(0, 4.6), SIGN(5, SIGN_BANDED) } },
    { "cleared by lower shares", AVF, 70, "",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(20, 1450), OUTPUT(20, 4.6),
        FLOW(40, 1000), OUTPUT(40, 6), FLOW(60, 1000), OUTPUT(60, 6) } },
    /* a flow below the least is inside the limits too */
    { "cleared by low flows", AVF, 70, "LF-3:routine",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(20, 1450), OUTPUT(20, 4.6),
        FLOW(40, 700), OUTPUT(40, 6), FLOW(60, 700), OUTPUT(60, 6) } },
    { "both, very high", AVF, 30, "HF-1:routine HF-3:urgent!",
      { FLOW(0, 2100), OUTPUT(0, 6), FLOW(28, 2100), OUTPUT(28, 6) } },
};


/* Signs of the heart beside a high flow.  Published: above 1.5 L/min is high,
 * a share above 0.30 asks for cardiac testing, Adv Chronic Kidney Dis
 * 2020;27:214; a flow is too high where failure develops, G Ital Nefrol
 * 2023;40(1).  The windows: common practice, no source. */
#define ADMITTED(d, ...) SIGN(d, SIGN_HF_ADMISSION, __VA_ARGS__)
#define NYHA_3(d, ...) SIGN(d, SIGN_HF_NYHA_3, __VA_ARGS__)
static const struct rule_case signs[] = {
    { "admitted, one flow is enough", AVF, 30, "HF-4:asap+",
      { FLOW(20, 1600), ADMITTED(25) } },
    { "NYHA III", AVF, 30, "HF-4:urgent", { FLOW(20, 1600), NYHA_3(25) } },
    { "NYHA IV", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), SIGN(25, SIGN_HF_NYHA_4) } },
    { "NYHA II", AVF, 30, "", { FLOW(20, 1600), SIGN(25, SIGN_HF_NYHA_2) } },
    { "pulmonary hypertension", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), SIGN(25, SIGN_HF_PULMONARY_HYPERTENSION) } },
    { "ejection fraction has fallen", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), SIGN(25, SIGN_HF_EJECTION_FRACTION_FALL) } },
    { "the sign before the flow", AVF, 30, "HF-4:urgent",
      { NYHA_3(5), FLOW(20, 1600) } },
    { "no sign", AVF, 30, "", { FLOW(20, 1600) } },
    { "no flow", AVF, 30, "", { NYHA_3(5) } },
    { "a graft", AVG, 30, "HF-4:urgent", { FLOW(20, 1600), NYHA_3(25) } },
    { "type not known", SIGN_TYPE_UNKNOWN, 30, "HF-4:urgent",
      { FLOW(20, 1600), NYHA_3(25) } },

    { "flow on the limit", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1500), NYHA_3(25) } },
    { "flow just below", AVF, 30, "", { FLOW(20, 1499.9), NYHA_3(25) } },
    { "a share of a fifth", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1200), OUTPUT(20, 6), NYHA_3(25) } },
    { "a share just below", AVF, 30, "",
      { FLOW(20, 1200), OUTPUT(20, 6.01), NYHA_3(25) } },
    { "a share of too little flow", AVF, 30, "",
      { FLOW(20, 999), OUTPUT(20, 4), NYHA_3(25) } },
    { "a severe share", AVF, 30, "HF-3:urgent!? HF-4:urgent",
      { FLOW(20, 800), OUTPUT(20, 2.6), NYHA_3(25) } },
    { "a severe share of too little flow", AVF, 30, "",
      { FLOW(20, 799), OUTPUT(20, 2.6), NYHA_3(25) } },

    { "flow of 90 days", AVF, 110, "HF-4:urgent",
      { FLOW(20, 1600), NYHA_3(100) } },
    { "older flow", AVF, 111, "", { FLOW(20, 1600), NYHA_3(100) } },
    { "sign of 90 days", AVF, 110, "HF-4:urgent",
      { NYHA_3(20), FLOW(100, 1600) } },
    { "older sign", AVF, 111, "", { NYHA_3(20), FLOW(100, 1600) } },
    { "a new sign makes it live", AVF, 100, "HF-4:urgent",
      { FLOW(20, 1600), NYHA_3(99) } },
    { "both more than a month old", AVF, 100, "HF-4:urgent~",
      { FLOW(20, 1600), NYHA_3(69) } },

    { "a sign that is preliminary", AVF, 30, "",
      { FLOW(20, 1600), NYHA_3(25, EARLY) } },
    { "a sign that was withdrawn", AVF, 30, "",
      { FLOW(20, 1600), NYHA_3(25, WITHDRAWN) } },
    { "a flow that is preliminary", AVF, 30, "",
      { FLOW(20, 1600, EARLY), NYHA_3(25) } },
    { "a flow that was withdrawn", AVF, 30, "",
      { FLOW(20, 1600, WITHDRAWN), NYHA_3(25) } },
    { "looked for and not found", AVF, 30, "",
      { FLOW(20, 1600),
        SIGN(25, SIGN_HF_PULMONARY_HYPERTENSION, .absent = true) } },

    /* taken back */
    { "NYHA II later", AVF, 30, "",
      { FLOW(20, 1600), NYHA_3(22), SIGN(25, SIGN_HF_NYHA_2) } },
    { "NYHA I later, of IV", AVF, 30, "",
      { FLOW(20, 1600), SIGN(22, SIGN_HF_NYHA_4), SIGN(25, SIGN_HF_NYHA_1) } },
    { "NYHA II before", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), SIGN(22, SIGN_HF_NYHA_2), NYHA_3(25) } },
    { "NYHA II of the same time", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), NYHA_3(25), SIGN(25, SIGN_HF_NYHA_2) } },
    { "NYHA II later, preliminary", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), NYHA_3(22), SIGN(25, SIGN_HF_NYHA_2, EARLY) } },
    { "NYHA III later, of IV", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), SIGN(22, SIGN_HF_NYHA_4), NYHA_3(25) } },
    { "NYHA II says nothing of the lungs", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), SIGN(22, SIGN_HF_PULMONARY_HYPERTENSION),
        SIGN(25, SIGN_HF_NYHA_2) } },
    { "not found later", AVF, 30, "",
      { FLOW(20, 1600), SIGN(22, SIGN_HF_PULMONARY_HYPERTENSION),
        SIGN(25, SIGN_HF_PULMONARY_HYPERTENSION, .absent = true) } },
    { "another not found later", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1600), SIGN(22, SIGN_HF_PULMONARY_HYPERTENSION),
        SIGN(25, SIGN_HF_EJECTION_FRACTION_FALL, .absent = true) } },
    { "an admission has happened", AVF, 30, "HF-4:asap+",
      { FLOW(20, 1600), ADMITTED(22), ADMITTED(25, .absent = true) } },

    /* the newest value of a method counts */
    { "clearly less since", AVF, 30, "",
      { FLOW(10, 1600), FLOW(20, 1349), NYHA_3(25) } },
    { "not clearly less since", AVF, 30, "HF-4:urgent",
      { FLOW(10, 1600), FLOW(20, 1350), NYHA_3(25) } },
    { "less before", AVF, 30, "HF-4:urgent",
      { FLOW(10, 900), FLOW(20, 1600), NYHA_3(25) } },
    { "less since by another method, once", AVF, 30, "HF-4:urgent",
      { FLOW(10, 1600, DILUTION), FLOW(20, 900, DUPLEX), NYHA_3(25) } },
    { "less since by another method, twice", AVF, 30, "",
      { FLOW(10, 1600, DILUTION), FLOW(15, 900, DUPLEX),
        FLOW(20, 900, DUPLEX), NYHA_3(25) } },
    { "replicates disagree", AVF, 30, "HF-2:routine?",
      { FLOW(20, 1499), FLOW(20 + HOURS(1), 2000), NYHA_3(25) } },
    { "replicates disagree, all are high", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1500), FLOW(20 + HOURS(1), 2000), NYHA_3(25) } },
    { "less since, but replicates disagree", AVF, 30, "HF-2:routine? HF-4:urgent",
      { FLOW(10, 1600), FLOW(20, 900), FLOW(20 + HOURS(1), 1500),
        NYHA_3(25) } },
    { "less since, replicates disagree, not all well inside", AVF, 30,
      "HF-4:urgent",
      { FLOW(10, 1600), FLOW(20, 900), FLOW(20 + HOURS(1), 1350),
        NYHA_3(25) } },
    { "less since, all of them", AVF, 30, "",
      { FLOW(10, 1600), FLOW(20, 900), FLOW(20 + HOURS(1), 1300),
        NYHA_3(25) } },
    { "> the limit", AVF, 30, "HF-4:urgent",
      { FLOW(20, 1500, .bound = BOUND_ABOVE), NYHA_3(25) } },
    { "> less than the limit", AVF, 30, "",
      { FLOW(20, 1400, .bound = BOUND_ABOVE), NYHA_3(25) } },
    { "a smaller share since", AVF, 30, "",
      { FLOW(10, 1200), OUTPUT(10, 5.5), FLOW(20, 1200), OUTPUT(20, 7),
        NYHA_3(25) } },
    { "banded since", AVF, 30, "",
      { FLOW(10, 1600), SIGN(15, SIGN_BANDED), NYHA_3(25) } },
    { "blanked", AVF, 30, "",
      { SIGN(10, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(16, 1600), NYHA_3(25) } },
    { "low since", AVF, 60, "LF-2:routine",
      { FLOW(10, 1600, DILUTION), FLOW(20, 480, DUPLEX),
        FLOW(50, 480, DUPLEX), NYHA_3(55) } },
    { "low before and since", AVF, 60, "LF-2:routine",
      { FLOW(5, 480, DUPLEX), FLOW(10, 1600, DILUTION), FLOW(50, 480, DUPLEX),
        NYHA_3(55) } },
    { "low before", AVF, 60, "HF-4:urgent LF-2:routine",
      { FLOW(5, 480, DUPLEX), FLOW(40, 480, DUPLEX), FLOW(45, 1600, DILUTION),
        NYHA_3(55) } },
    { "beside HF-1", AVF, 30, "HF-1:urgent+ HF-4:asap+",
      { FLOW(0, 2100), FLOW(20, 2050), ADMITTED(25) } },
    { "beside HF-2", AVF, 30, "HF-2:routine HF-4:urgent",
      { FLOW(0, 1600), FLOW(20, 1600), NYHA_3(25) } },
};

/* Why a rule does not hold. */
static const struct {
    enum rule rule;
    enum why why;
    struct rule_case c;
} whys[] = {
    { RULE_HF_3, WHY_NO_READING, { "no output", AVF, 1, "", { FLOW(0, 1450) } } },
    { RULE_HF_3, WHY_NO_PAIR,
      { "another day", AVF, 9, "", { FLOW(0, 1450), OUTPUT(5, 4.6) } } },
    { RULE_HF_3, WHY_INSIDE,
      { "small", AVF, 1, "", { FLOW(0, 900), OUTPUT(0, 6) } } },
    { RULE_HF_3, WHY_TOO_FEW,
      { "once", AVF, 1, "", { FLOW(0, 1455), OUTPUT(0, 6.8) } } },
    { RULE_HF_3, WHY_STAGE,
      { "banded since", AVF, 9, "",
        { FLOW(0, 1450), OUTPUT(0, 4.6), SIGN(5, SIGN_BANDED) } } },
    { RULE_HF_3, WHY_HOLDS,
      { "holds", AVF, 1, "", { FLOW(0, 1450), OUTPUT(0, 4.6) } } },
    { RULE_HF_4, WHY_NO_READING, { "no sign", AVF, 30, "", { FLOW(20, 1600) } } },
    { RULE_HF_4, WHY_TAKEN_BACK,
      { "taken back", AVF, 30, "",
        { FLOW(20, 1600), NYHA_3(22), SIGN(25, SIGN_HF_NYHA_2) } } },
    { RULE_HF_4, WHY_FLOW_UNKNOWN,
      { "old flow", AVF, 130, "", { FLOW(20, 1600), NYHA_3(122) } } },
    { RULE_HF_4, WHY_INSIDE,
      { "flow not high", AVF, 30, "", { FLOW(20, 900), NYHA_3(22) } } },
    { RULE_HF_4, WHY_STAGE,
      { "banded since", AVF, 30, "",
        { FLOW(20, 1600), SIGN(21, SIGN_BANDED), NYHA_3(22) } } },
    { RULE_HF_4, WHY_OPPOSITE,
      { "low since", AVF, 60, "",
        { FLOW(5, 480, DUPLEX), FLOW(10, 1600, DILUTION),
          FLOW(50, 480, DUPLEX), NYHA_3(55) } } },
    { RULE_HF_4, WHY_INSIDE,
      { "twice less since", AVF, 60, "",
        { FLOW(10, 1600, DILUTION), FLOW(20, 900, DUPLEX),
          FLOW(50, 900, DUPLEX), NYHA_3(55) } } },
    { RULE_HF_4, WHY_HOLDS,
      { "holds", AVF, 30, "", { FLOW(20, 1600), NYHA_3(22) } } },
};
/* clang-format on */

static void finds_share(void **state)
{
    (void)state;
    flow_kit_run(share, COUNT(share), &policy);
}

static void finds_cardiac_signs(void **state)
{
    (void)state;
    flow_kit_run(signs, COUNT(signs), &policy);
}

static void says_why_not(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    for (size_t i = 0; i < COUNT(whys); i++) {
        ROW(whys[i].c.name);
        kit_evaluate(&whys[i].c, &policy, readings, &h, &f);
        assert_int_equal(f.why[whys[i].rule], whys[i].why);
    }
}

/* What it rests on, and which of the limits was crossed. */
static const struct {
    enum param limit;
    double measured;
    size_t evidence_count;
    bool stenosis;
    double at_day;
    struct rule_case c;
} told[] = {
    { P_HF2_FLOW,
      1700,
      3,
      false,
      28,
      { "flow",
        AVF,
        30,
        "",
        { FLOW(10, 1600), FLOW(20, 1700), NYHA_3(25), ADMITTED(28) } } },
    { P_HF2_FLOW,
      1700,
      2,
      true,
      25,
      { "flow, and a stenosis",
        AVF,
        30,
        "",
        { FLOW(20, 1700), NYHA_3(25), NUMBER(21, Q_OUTFLOW_STENOSIS, 60) } } },
    { P_HF3_RATIO,
      0.2,
      3,
      false,
      25,
      { "share", AVF, 30, "", { FLOW(20, 1200), OUTPUT(20, 6), NYHA_3(25) } } },
    { P_HF3_RATIO_SEVERE,
      0.4,
      3,
      false,
      25,
      { "severe share",
        AVF,
        30,
        "",
        { FLOW(20, 1200), OUTPUT(20, 3), NYHA_3(25) } } },
};

static void tells_values(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    for (size_t i = 0; i < COUNT(told); i++) {
        const struct finding *x;

        ROW(told[i].c.name);
        kit_evaluate(&told[i].c, &policy, readings, &h, &f);
        x = kit_find(&f, RULE_HF_4);
        assert_int_equal(x->limit, told[i].limit);
        assert_near(x->measured, told[i].measured, 1e-12);
        assert_int_equal(x->evidence_count, told[i].evidence_count);
        assert_int_equal(x->stenosis, told[i].stenosis);
        assert_true(x->at_s == kit_s(told[i].at_day));
        assert_true(x->confirmed);
    }
}

/* The repeat is asked for within its days, though a later one confirms too. */
static void asks_for_a_repeat(void **state)
{
    static const struct rule_case c = {
        "once", AVF, 1, "", { FLOW(0, 1450), OUTPUT(0, 4.6) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *x;
    struct findings f;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &f);
    x = kit_find(&f, RULE_HF_3);
    assert_false(x->confirmed);
    assert_int_equal(x->repeat_of, Q_CARDIAC_OUTPUT);
    assert_true(x->repeat_by_s == kit_s(30));
}

/* An admission of some time ago is not crowded out by what came since. */
static void keeps_the_admission(void **state)
{
    struct event events[KIT_EVENTS_MAX] = { FLOW(20, 1600), ADMITTED(21) };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h = { .access_type = SIGN_TYPE_AVF, .now_s = kit_s(60) };
    const struct finding *x;
    bool found = false;

    (void)state;
    for (int i = 0; i < 20; i++)
        events[i + 2] = (struct event)NYHA_3(22 + i);
    h.readings = readings;
    h.count = kit_readings(events, readings);
    rules_evaluate(&h, &policy, &f);
    x = kit_find(&f, RULE_HF_4);
    assert_int_equal(x->urgency, URGENCY_ASAP);
    for (size_t i = 0; i < x->evidence_count; i++)
        found = found || readings[x->evidence[i]].sign == SIGN_HF_ADMISSION;
    assert_true(found);
    assert_true(readings[x->evidence[0]].quantity == Q_ACCESS_FLOW);
}

/* Where a site refers plain shares too, one severe share does not hide the
 * two that confirm. */
static void one_severe_hides_no_other(void **state)
{
    static const struct rule_case c = { "plain, plain, severe once",
                                        AVF,
                                        60,
                                        "HF-3:routine",
                                        { FLOW(0, 1100), OUTPUT(0, 5),
                                          FLOW(28, 1100), OUTPUT(28, 5),
                                          FLOW(56, 1600), OUTPUT(56, 5) } };
    double shipped = policy.values[P_HF3_URGENCY].value;

    (void)state;
    policy.values[P_HF3_URGENCY].value = URGENCY_ROUTINE;
    flow_kit_run(&c, 1, &policy);
    policy.values[P_HF3_URGENCY].value = shipped;
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
        cmocka_unit_test(one_severe_hides_no_other),
        cmocka_unit_test(finds_share),
        cmocka_unit_test(finds_cardiac_signs),
        cmocka_unit_test(says_why_not),
        cmocka_unit_test(tells_values),
        cmocka_unit_test(asks_for_a_repeat),
        cmocka_unit_test(keeps_the_admission),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

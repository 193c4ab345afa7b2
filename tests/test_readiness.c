/* What stands between an access and a band plan. */
#include "tests/test.h"

#include "planner/readiness.h"
#include "tests/history_kit.h"

static struct policy policy;

enum { CENTRAL = 1, NO_AGE = 2, AGE_17 = 4, AGE_18 = 8 };

static void assess(const struct event *events, int type, double now_day,
                   int how, struct readiness *out)
{
    struct reading readings[KIT_EVENTS_MAX];
    struct findings findings;
    struct history h = { .access_type = (enum sign)type,
                         .is_central = (how & CENTRAL) != 0,
                         .now_s = kit_s(now_day),
                         .readings = readings };

    if ((how & NO_AGE) != 0)
        h.born_s = INT64_MIN;
    /* the mean year may be a day out */
    if ((how & AGE_17) != 0)
        h.born_s = h.now_s - (18 * 365 + 3) * (int64_t)DAY_S;
    if ((how & AGE_18) != 0)
        h.born_s = h.now_s - (18 * 365 + 6) * (int64_t)DAY_S;
    h.count = kit_readings(events, readings);
    rules_evaluate(&h, &policy, &findings);
    readiness_assess(&h, &policy, &findings, out);
}

/* ---- the conditions --------------------------------------------------------- */

/* Each condition as a letter: met, missing, not needed, by the operator. */
static const char *conditions_text(const struct readiness *r, char *text)
{
    static const char letters[] = { [CONDITION_MET] = 'm',
                                    [CONDITION_MISSING] = '-',
                                    [CONDITION_NOT_NEEDED] = 'n',
                                    [CONDITION_BY_OPERATOR] = 'o' };

    for (int i = 0; i < CONDITION_COUNT; i++)
        text[i] = letters[r->conditions[i]];
    text[CONDITION_COUNT] = '\0';
    return text;
}

#define INFLOW(d, v, ...)  NUMBER(d, Q_INFLOW_IMAGED_CLEAR, v, __VA_ARGS__)
#define OUTFLOW(d, v, ...) NUMBER(d, Q_OUTFLOW_IMAGED_CLEAR, v, __VA_ARGS__)
#define STENOSIS(d, v)     NUMBER(d, Q_OUTFLOW_STENOSIS, v)
#define NEEDED(d, v, ...)  NUMBER(d, Q_PRESCRIBED_PUMP_FLOW, v, __VA_ARGS__)
#define PRESSED(d, v, ...)                                                     \
    NUMBER(d, Q_DIGITAL_PRESSURE_COMPRESSED, v, __VA_ARGS__)
#define PRESSED_INDEX(d, v) NUMBER(d, Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED, v)

/* Flow pair, inflow, outflow, finger, indication, target, operator. */
/* clang-format off */
static const struct {
    const char *name;
    double now_day;
    int type;
    const char *want;
    struct event events[14];
} conditions[] = {
    { "nothing known", 100, AVF, "---n--o", { FLOW(99, 900) } },
    { "flows agree", 100, AVF, "m--n--o", { FLOW(60, 900), FLOW(99, 1099) } },
    /* spread of a fifth: Huisman, Nephrol Dial Transplant 2005 */
    { "flows differ by a fifth", 100, AVF, "m--n--o",
      { FLOW(60, 900), FLOW(99, 1100) } },
    { "flows differ by more", 100, AVF, "---n--o",
      { FLOW(60, 900), FLOW(99, 1101) } },
    { "the newest two differ", 100, AVF, "---n--o",
      { FLOW(60, 900), FLOW(80, 900), FLOW(99, 1300) } },
    { "one of them long ago", 100, AVF, "---n--o",
      { FLOW(40 - SECOND, 900), FLOW(99, 900) } },
    { "just not long ago", 100, AVF, "m--n--o",
      { FLOW(40, 900), FLOW(99, 900) } },
    { "two methods", 100, AVF, "---n--o",
      { FLOW(60, 900, DILUTION), FLOW(99, 900, DUPLEX) } },
    { "one method of two", 100, AVF, "m--n--o",
      { FLOW(60, 900, DILUTION), FLOW(70, 1300, DUPLEX),
        FLOW(80, 900, DILUTION) } },
    { "one session", 100, AVF, "---n--o",
      { FLOW(99, 900), FLOW(99 + HOURS(5), 900) } },
    { "treated between", 100, AVF, "---n--o",
      { FLOW(60, 900), SIGN(70, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(99, 900) } },
    { "treated since", 100, AVF, "---n--o",
      { FLOW(60, 900), FLOW(80, 900), SIGN(85, SIGN_ANGIOPLASTY_OUTFLOW) } },
    { "soon after a treatment", 100, AVF, "---n--o",
      { SIGN(80, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(86.9, 900), FLOW(99, 900) } },
    { "not so soon", 100, AVF, "m--n--o",
      { SIGN(80, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(87, 900), FLOW(99, 900) } },
    { "a bound", 100, AVF, "---n--o",
      { FLOW(60, 900), FLOW(99, 900, .bound = BOUND_ABOVE) } },
    { "preliminary", 100, AVF, "---n--o",
      { FLOW(60, 900), FLOW(99, 900, EARLY) } },
    { "withdrawn", 100, AVF, "---n--o",
      { FLOW(60, 900), FLOW(99, 900, WITHDRAWN) } },

    { "inflow clear", 100, AVF, "-m-n--o", { INFLOW(50, 1) } },
    { "inflow not clear", 100, AVF, "---n--o", { INFLOW(50, 0) } },
    { "inflow no longer clear", 100, AVF, "---n--o",
      { INFLOW(50, 1), INFLOW(60, 0) } },
    { "inflow, preliminary", 100, AVF, "---n--o", { INFLOW(50, 1, EARLY) } },
    { "inflow, withdrawn", 100, AVF, "---n--o", { INFLOW(50, 1, WITHDRAWN) } },
    { "outflow clear", 100, AVF, "--mn--o", { OUTFLOW(50, 1) } },
    { "outflow clear, but a stenosis since", 100, AVF, "---n--o",
      { OUTFLOW(50, 1), STENOSIS(60, 51) } },
    { "outflow clear, a slight stenosis since", 100, AVF, "--mn--o",
      { OUTFLOW(50, 1), STENOSIS(60, 50) } },
    { "stenosis, treated, imaged", 100, AVF, "--mn--o",
      { STENOSIS(40, 70), SIGN(45, SIGN_ANGIOPLASTY_OUTFLOW),
        OUTFLOW(45, 1) } },
    { "stenosis, treated, not imaged", 100, AVF, "---n--o",
      { STENOSIS(40, 70), SIGN(45, SIGN_ANGIOPLASTY_OUTFLOW) } },

    { "complaint, finger not tested", 100, AVF, "------o",
      { SIGN(90, SIGN_GRADE_1) } },
    { "preliminary complaint", 100, AVF, "------o",
      { SIGN(90, SIGN_GRADE_1, EARLY) } },
    { "complaint taken back", 100, AVF, "---n--o",
      { SIGN(80, SIGN_GRADE_1), SIGN(85, SIGN_GRADE_0),
        SIGN(90, SIGN_GRADE_0) } },
    { "complaint, finger tested", 100, AVF, "---m--o",
      { SIGN(90, SIGN_GRADE_1), FINGER(91, 70), PRESSED(91, 110) } },
    { "complaint, tested on two days", 100, AVF, "------o",
      { SIGN(90, SIGN_GRADE_1), FINGER(91, 70), PRESSED(93, 110) } },
    { "complaint, tested by index", 100, AVF, "---m--o",
      { SIGN(90, SIGN_GRADE_1), INDEX(91, 0.7), PRESSED_INDEX(91, 0.9) } },
    { "complaint, tested too long ago", 100, AVF, "------o",
      { SIGN(90, SIGN_GRADE_1), FINGER(9, 70), PRESSED(9, 110) } },
    { "complaint, tested before the band", 100, AVF, "------o",
      { SIGN(90, SIGN_GRADE_1), FINGER(50, 70), PRESSED(50, 110),
        SIGN(60, SIGN_BANDED) } },

    { "indication: hand", 100, AVF, "----m-o", { SIGN(99, SIGN_GRADE_2B) } },
    { "indication: heart", 100, AVF, "m--nm-o",
      { FLOW(60, 1700), FLOW(99, 1700), SIGN(98, SIGN_HF_NYHA_3) } },
    { "high flow alone is none", 100, AVF, "m--n--o",
      { FLOW(60, 1700), FLOW(99, 1700) } },
    { "low finger pressure alone is none", 100, AVF, "---n--o",
      { INDEX(99, 0.3) } },

    { "target", 100, AVF, "---n-mo", { NEEDED(50, 350) } },
    { "target, type not known", 100, SIGN_TYPE_UNKNOWN, "---n--o",
      { NEEDED(50, 350) } },
    { "target, withdrawn", 100, AVF, "---n--o", { NEEDED(50, 350, WITHDRAWN) } },

    { "complete, without a complaint", 100, AVF, "mmmnmmo",
      { FLOW(60, 1700), FLOW(95, 1700), SIGN(98, SIGN_HF_NYHA_3),
        INFLOW(90, 1), OUTFLOW(90, 1), NEEDED(50, 350) } },
    { "complete, with a complaint", 100, AVF, "mmmmmmo",
      { FLOW(60, 1700), FLOW(95, 1700), SIGN(98, SIGN_GRADE_2B),
        INFLOW(90, 1), OUTFLOW(90, 1), NEEDED(50, 350), FINGER(98, 61),
        PRESSED(98, 118) } },
};
/* clang-format on */

static void checks_conditions(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(conditions); i++) {
        char text[CONDITION_COUNT + 1];
        struct readiness r;

        ROW(conditions[i].name);
        assess(conditions[i].events, conditions[i].type, conditions[i].now_day,
               0, &r);
        assert_string_equal(conditions_text(&r, text), conditions[i].want);
        assert_int_equal(r.complete, strchr(text, '-') == NULL);
    }
}

/* ---- exclusions, cautions, candidates --------------------------------------- */

/* clang-format off */
static const struct {
    const char *name;
    int type, how;
    enum candidate candidate;
    unsigned exclusions, cautions;
    struct event events[10];
} judged[] = {
    { "nothing", AVF, 0, CANDIDATE_NO_GROUND, 0, 0, { FLOW(99, 900) } },
    /* which remedy fits which flow: J Clin Med 2018;7:128 */
    { "high flow", AVF, 0, CANDIDATE_YES, 0, 0,
      { FLOW(80, 1600), FLOW(99, 1600) } },
    { "high flow once", AVF, 0, CANDIDATE_NO_GROUND, 0, 0, { FLOW(99, 1600) } },
    { "very high flow", AVF, 0, CANDIDATE_YES, 0, 0,
      { FLOW(80, 2100), FLOW(99, 2100) } },
    { "share of the output, severe, twice", AVF, 0, CANDIDATE_YES, 0, 0,
      { FLOW(80, 1450), OUTPUT(80, 4.6), FLOW(99, 1450), OUTPUT(99, 4.6) } },
    { "share of the output, severe, once", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { FLOW(99, 1450), OUTPUT(99, 4.6) } },
    { "share of the output, not severe", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { FLOW(80, 1455), OUTPUT(80, 6.8), FLOW(99, 1455), OUTPUT(99, 6.8) } },
    { "ischaemia, high flow", AVF, 0, CANDIDATE_YES, 0, 0,
      { FLOW(90, 1600), SIGN(99, SIGN_GRADE_3) } },
    { "ischaemia, low flow", AVF, 0, CANDIDATE_NO, EXCLUDE_LOW_FLOW_HAND, 0,
      { FLOW(90, 650), SIGN(99, SIGN_GRADE_3) } },
    { "ischaemia, no flow", AVF, 0, CANDIDATE_UNKNOWN, 0, 0,
      { SIGN(99, SIGN_GRADE_3) } },
    { "ischaemia, a flow of long ago", AVF, 0, CANDIDATE_UNKNOWN, 0, 0,
      { FLOW(10, 1600), FLOW(20, 1600), SIGN(99, SIGN_GRADE_3) } },
    { "low index without complaint", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { FLOW(90, 650), INDEX(99, 0.3) } },

    { "child", AVF, AGE_17, CANDIDATE_NO, EXCLUDE_CHILD, 0,
      { FLOW(80, 1600), FLOW(99, 1600) } },
    { "grown up", AVF, AGE_18, CANDIDATE_YES, 0, 0,
      { FLOW(80, 1600), FLOW(99, 1600) } },
    { "age not known", AVF, NO_AGE, CANDIDATE_YES, 0, CAUTION_AGE_UNKNOWN,
      { FLOW(80, 1600), FLOW(99, 1600) } },
    { "thigh", AVF, CENTRAL, CANDIDATE_NO, EXCLUDE_SITE, 0,
      { FLOW(80, 1600), FLOW(99, 1600) } },
    { "infection", AVF, 0, CANDIDATE_NO, EXCLUDE_INFECTION, 0,
      { FLOW(80, 1600), FLOW(99, 1600), SIGN(98, SIGN_INFECTION_LOCAL) } },
    { "nerves", AVF, 0, CANDIDATE_NO, EXCLUDE_NERVES, 0,
      { SIGN(97, SIGN_CREATED), SIGN(97 + HOURS(3), SIGN_MOTOR_WEAKNESS) } },
    { "tissue lost, limited", AVF, 0, CANDIDATE_YES, 0, 0,
      { FLOW(90, 1600), SIGN(99, SIGN_GRADE_4A) } },
    { "tissue lost, extended", AVF, 0, CANDIDATE_NO, EXCLUDE_TISSUE, 0,
      { FLOW(90, 1600), SIGN(99, SIGN_GRADE_4B) } },
    { "tissue lost, extended, later a lesser grade", AVF, 0, CANDIDATE_NO,
      EXCLUDE_TISSUE, 0,
      { SIGN(60, SIGN_GRADE_4B), FLOW(90, 1600), SIGN(99, SIGN_HAND_ULCER) } },
    { "tissue lost, extended, later none twice", AVF, 0, CANDIDATE_NO,
      EXCLUDE_TISSUE, 0,
      { SIGN(60, SIGN_GRADE_4B), FLOW(80, 1600), SIGN(90, SIGN_GRADE_0),
        SIGN(95, SIGN_GRADE_0), FLOW(99, 1600) } },
    { "tissue lost, withdrawn", AVF, 0, CANDIDATE_YES, 0, 0,
      { SIGN(60, SIGN_GRADE_4B, WITHDRAWN), FLOW(80, 1600),
        FLOW(99, 1600) } },
    { "tissue lost, looked for and not found", AVF, 0, CANDIDATE_YES, 0, 0,
      { SIGN(60, SIGN_GRADE_4B, .absent = true), FLOW(80, 1600),
        FLOW(99, 1600) } },
    { "tissue lost on the first day of the look-back", AVF, 0, CANDIDATE_NO,
      EXCLUDE_TISSUE, 0,
      { SIGN(100 - 730, SIGN_GRADE_4B), FLOW(80, 1600), FLOW(99, 1600) } },
    { "tissue lost before the look-back", AVF, 0, CANDIDATE_YES, 0, 0,
      { SIGN(100 - 730 - SECOND, SIGN_GRADE_4B), FLOW(80, 1600),
        FLOW(99, 1600) } },
    { "bleeding", AVF, 0, CANDIDATE_NO, EXCLUDE_BLEEDING, 0,
      { FLOW(80, 1600), FLOW(99, 1600), NUMBER(99, Q_BLEEDING_ACTIVE, 1) } },
    { "catheter", SIGN_TYPE_CVC, 0, CANDIDATE_NO, EXCLUDE_CATHETER, 0,
      { FLOW(99, 1600) } },
    { "several", AVF, CENTRAL | AGE_17, CANDIDATE_NO,
      EXCLUDE_SITE | EXCLUDE_CHILD | EXCLUDE_LOW_FLOW_HAND, 0,
      { FLOW(90, 650), SIGN(99, SIGN_GRADE_3) } },

    { "graft", AVG, 0, CANDIDATE_YES, 0, CAUTION_GRAFT,
      { FLOW(80, 1600), FLOW(99, 1600) } },
    { "banded before", AVF, 0, CANDIDATE_NO_GROUND, 0, CAUTION_BAND_BEFORE,
      { NUMBER(10, Q_DOWEL_DIAMETER, 4), NUMBER(20, Q_BAND_RELEASED, 1),
        FLOW(99, 900) } },
    { "band withdrawn", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { SIGN(10, SIGN_BANDED, WITHDRAWN), FLOW(99, 900) } },
    { "pulmonary hypertension", AVF, 0, CANDIDATE_NO_GROUND, 0,
      CAUTION_PULMONARY,
      { SIGN(50, SIGN_HF_PULMONARY_HYPERTENSION), FLOW(99, 900) } },
    { "pulmonary hypertension, no longer", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { SIGN(50, SIGN_HF_PULMONARY_HYPERTENSION),
        SIGN(60, SIGN_HF_PULMONARY_HYPERTENSION, .absent = true),
        FLOW(99, 900) } },
    { "outflow stenosis", AVF, 0, CANDIDATE_NO_GROUND, 0, CAUTION_OUTFLOW,
      { STENOSIS(50, 51), FLOW(99, 900) } },
    { "outflow stenosis, on the limit", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { STENOSIS(50, 50), FLOW(99, 900) } },
    { "outflow stenosis, treated", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { STENOSIS(50, 70), SIGN(55, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(99, 900) } },
    { "outflow stenosis, inflow treated", AVF, 0, CANDIDATE_NO_GROUND, 0,
      CAUTION_OUTFLOW,
      { STENOSIS(50, 70), SIGN(55, SIGN_ANGIOPLASTY_INFLOW), FLOW(99, 900) } },
    { "outflow stenosis, and back", AVF, 0, CANDIDATE_NO_GROUND, 0,
      CAUTION_OUTFLOW,
      { STENOSIS(50, 70), SIGN(55, SIGN_ANGIOPLASTY_OUTFLOW), STENOSIS(80, 60),
        FLOW(99, 900) } },
    { "thrill weak", AVF, 0, CANDIDATE_NO_GROUND, 0, CAUTION_THRILL,
      { SIGN(90, SIGN_THRILL_WEAK), FLOW(99, 900) } },
    { "thrill weak, then present", AVF, 0, CANDIDATE_NO_GROUND, 0, 0,
      { SIGN(90, SIGN_THRILL_WEAK), SIGN(95, SIGN_THRILL_PRESENT),
        FLOW(99, 900) } },
    { "thrill lost", AVF, 0, CANDIDATE_NO_GROUND, 0, CAUTION_THRILL,
      { SIGN(95, SIGN_THRILL_PRESENT), SIGN(98, SIGN_THRILL_ABSENT),
        FLOW(99, 900) } },
};
/* clang-format on */

static void judges(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(judged); i++) {
        struct readiness r;

        ROW(judged[i].name);
        assess(judged[i].events, judged[i].type, 100, judged[i].how, &r);
        assert_int_equal(r.exclusions, judged[i].exclusions);
        assert_int_equal(r.cautions, judged[i].cautions);
        assert_int_equal(r.candidate, judged[i].candidate);
    }
}

static void names_indications(void **state)
{
    static const struct event hand[] = { FLOW(90, 1600),
                                         SIGN(99, SIGN_GRADE_2B),
                                         { .day = 0 } };
    static const struct event heart[] = { FLOW(80, 1600),
                                          FLOW(99, 1600),
                                          SIGN(98, SIGN_HF_ADMISSION),
                                          { .day = 0 } };
    /* more than three treatments of the outflow in a year: series of recurrent
     * cephalic-arch stenosis, 220 patients */
    static const struct event outflow[] = {
        SIGN(-200, SIGN_ANGIOPLASTY_OUTFLOW),
        SIGN(-120, SIGN_ANGIOPLASTY_OUTFLOW),
        SIGN(-40, SIGN_ANGIOPLASTY_OUTFLOW),
        SIGN(40, SIGN_ANGIOPLASTY_OUTFLOW),
        FLOW(80, 1600),
        FLOW(99, 1600),
        { .day = 0 }
    };
    struct readiness r;

    (void)state;
    assess(hand, AVF, 100, 0, &r);
    assert_true(r.hand && !r.heart && !r.outflow_pressure);
    assess(heart, AVF, 100, 0, &r);
    assert_true(!r.hand && r.heart && !r.outflow_pressure);
    assess(outflow, AVF, 100, 0, &r);
    assert_true(!r.hand && !r.heart && r.outflow_pressure);
    assert_int_equal(r.candidate, CANDIDATE_YES);
}

/* ---- both arms --------------------------------------------------------------- */

static const struct {
    const char *name;
    double left_mmhg, right_mmhg, right_day;
    enum side left, right;
    bool want;
} arms[] = {
    /* 20 mmHg between the arms: common practice, no source */
    { "on the limit", 140, 120, 50, SIDE_LEFT, SIDE_RIGHT, true },
    { "either way", 120, 140, 50, SIDE_LEFT, SIDE_RIGHT, true },
    { "less", 140, 121, 50, SIDE_LEFT, SIDE_RIGHT, false },
    { "one arm twice", 140, 110, 50, SIDE_LEFT, SIDE_LEFT, false },
    { "side not known", 140, 110, 50, SIDE_LEFT, SIDE_UNKNOWN, false },
    { "another day", 140, 110, 52, SIDE_LEFT, SIDE_RIGHT, false },
};

static void compares_arms(void **state)
{
    static const struct findings none;

    (void)state;
    for (size_t i = 0; i < COUNT(arms); i++) {
        struct event a = NUMBER(50, Q_SYSTOLIC_PRESSURE, arms[i].left_mmhg);
        struct event b =
            NUMBER(arms[i].right_day, Q_SYSTOLIC_PRESSURE, arms[i].right_mmhg);
        struct reading readings[] = { kit_reading(&a, 1), kit_reading(&b, 2) };
        struct history h = { .access_type = SIGN_TYPE_AVF,
                             .now_s = kit_s(100),
                             .readings = readings,
                             .count = 2 };
        struct readiness r;

        ROW(arms[i].name);
        readings[0].side = arms[i].left;
        readings[1].side = arms[i].right;
        readiness_assess(&h, &policy, &none, &r);
        assert_int_equal((r.cautions & CAUTION_ARM_DIFFERENCE) != 0,
                         arms[i].want);
    }
}

/* ---- the finger -------------------------------------------------------------- */

/* clang-format off */
static const struct {
    const char *name;
    enum compression want;
    double open_mmhg, compressed_mmhg;
    struct event events[6];
} fingers[] = {
    { "not tested", COMPRESSION_UNKNOWN, NAN, NAN, { FINGER(99, 61) } },
    /* Published: 61 to 118 mmHg in cases, 114 to 133 in controls, Modaghegh,
     * digital pressure and oxygen saturation in chronic distal ischaemia */
    { "published case", COMPRESSION_CONTRIBUTES, 61, 118,
      { FINGER(99, 61), PRESSED(99, 118) } },
    { "published control", COMPRESSION_SMALL, 114, 133,
      { FINGER(99, 114), PRESSED(99, 133) } },
    { "on the limit", COMPRESSION_CONTRIBUTES, 61, 81,
      { FINGER(99, 61), PRESSED(99, 81) } },
    { "just below", COMPRESSION_SMALL, 61, 80.9,
      { FINGER(99, 61), PRESSED(99, 80.9) } },
    /* below 60 mmHg, below 0.6: Schanzer, Vasc Med 2006; Gerrickens, J Vasc
     * Access 2021;22:194 */
    { "stays low", COMPRESSION_DISTAL, 30, 59,
      { FINGER(99, 30), PRESSED(99, 59) } },
    { "just not low", COMPRESSION_CONTRIBUTES, 30, 60,
      { FINGER(99, 30), PRESSED(99, 60) } },
    { "index stays low", COMPRESSION_DISTAL, NAN, NAN,
      { INDEX(99, 0.3), PRESSED_INDEX(99, 0.59) } },
    { "index rises out of the low range", COMPRESSION_CONTRIBUTES, NAN, NAN,
      { INDEX(99, 0.3), PRESSED_INDEX(99, 0.6) } },
    { "an index that was not low tells no rise", COMPRESSION_UNKNOWN, NAN, NAN,
      { INDEX(99, 0.6), PRESSED_INDEX(99, 0.9) } },
    { "pressure fair, index low", COMPRESSION_DISTAL, 61, 90,
      { FINGER(99, 61), PRESSED(99, 90), INDEX(99, 0.4),
        PRESSED_INDEX(99, 0.55) } },
    { "an earlier index", COMPRESSION_CONTRIBUTES, 61, 90,
      { INDEX(90, 0.4), PRESSED_INDEX(90, 0.55), FINGER(99, 61),
        PRESSED(99, 90) } },
    { "the newest session counts", COMPRESSION_SMALL, 100, 110,
      { FINGER(90, 61), PRESSED(90, 118), FINGER(99, 100),
        PRESSED(99, 110) } },
    { "within one session", COMPRESSION_CONTRIBUTES, 61, 118,
      { FINGER(99, 61), PRESSED(99 + HOURS(4), 118) } },
    { "of two sessions", COMPRESSION_UNKNOWN, NAN, NAN,
      { FINGER(99, 61), PRESSED(99 + HOURS(4) + SECOND, 118) } },
    { "withdrawn", COMPRESSION_UNKNOWN, NAN, NAN,
      { FINGER(99, 61), PRESSED(99, 118, WITHDRAWN) } },
    { "preliminary", COMPRESSION_UNKNOWN, NAN, NAN,
      { FINGER(99, 61, EARLY), PRESSED(99, 118) } },
};
/* clang-format on */

static void assert_same(double got, double want)
{
    if (isnan(want))
        assert_true(isnan(got));
    else
        assert_near(got, want, 1e-9);
}

static void reads_the_finger(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(fingers); i++) {
        bool distal = fingers[i].want == COMPRESSION_DISTAL;
        struct readiness r;

        ROW(fingers[i].name);
        assess(fingers[i].events, AVF, 100, 0, &r);
        assert_int_equal(r.compression, fingers[i].want);
        assert_same(r.finger_open_mmhg, fingers[i].open_mmhg);
        assert_same(r.finger_compressed_mmhg, fingers[i].compressed_mmhg);
        assert_int_equal((r.exclusions & EXCLUDE_DISTAL) != 0, distal);
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
        cmocka_unit_test(checks_conditions), cmocka_unit_test(judges),
        cmocka_unit_test(names_indications), cmocka_unit_test(compares_arms),
        cmocka_unit_test(reads_the_finger),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

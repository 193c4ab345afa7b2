/*
 * Rules on made-up histories.  Limits come from the policy as shipped; the
 * cases stand on both sides of each.  "Published" cases name their source.
 */
#include "tests/test.h"

#include "tests/flow_kit.h"

static struct policy policy;

/* One case, a few lines. */
/* clang-format off */
static const struct rule_case high_flow[] = {
    /* Published: two consecutive above 2 L/min, Gerrickens, three-year
     * results of revision using distal inflow (entry criterion) */
    { "twice very high", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050) } },
    /* Published: Vaes, J Vasc Surg 2015, mean before banding */
    { "as before banding", AVF, 30, "HF-1:routine",
      { FLOW(0, 3070), FLOW(28, 3070) } },
    /* Published: mean flow of 18 patients, Pandeya, ASAIO J 1999;45:135:
     * ordinary, must not be flagged */
    { "ordinary", AVF, 30, "", { FLOW(0, 1455), FLOW(28, 1455) } },
    { "a third is appended", AVF, 43, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), FLOW(42, 2200) } },
    { "once", AVF, 1, "", { FLOW(0, 2100) } },
    { "on the limit", AVF, 30, "HF-1:routine",
      { FLOW(0, 2000), FLOW(28, 2000) } },
    { "just below the limit", AVF, 30, "HF-2:routine",
      { FLOW(0, 2000), FLOW(28, 1999.9) } },
    { "high, on the limit", AVF, 30, "HF-2:routine",
      { FLOW(0, 1500), FLOW(28, 1500) } },
    { "high, just below", AVF, 30, "", { FLOW(0, 1500), FLOW(28, 1499.9) } },
    { "at the end of the window", AVF, 91, "HF-1:routine",
      { FLOW(0, 2100), FLOW(90, 2050) } },
    { "after the window", AVF, 91, "",
      { FLOW(0, 2100), FLOW(91, 2050) } },
    { "hours after the window", AVF, 91, "HF-1:routine",
      { FLOW(0, 2100), FLOW(90.25, 2050) } },
    { "late, then again", AVF, 130, "HF-1:routine",
      { FLOW(0, 2100), FLOW(100, 2050), FLOW(120, 2050) } },
    { "one between is lower", AVF, 60, "HF-2:routine",
      { FLOW(0, 2100), FLOW(28, 1700), FLOW(56, 2050) } },
    { "two methods", AVF, 30, "",
      { FLOW(0, 2100, DILUTION), FLOW(28, 2300, DUPLEX) } },
    { "unstated and stated", AVF, 30, "",
      { FLOW(0, 2100), FLOW(28, 2300, DUPLEX) } },
    { "one method, another between", AVF, 60, "HF-1:routine",
      { FLOW(0, 2100, DILUTION), FLOW(28, 1000, DUPLEX),
        FLOW(56, 2050, DILUTION) } },
    { "another method since, twice normal", AVF, 60, "",
      { FLOW(0, 2100, DILUTION), FLOW(14, 2050, DILUTION),
        FLOW(28, 1000, DUPLEX), FLOW(42, 1000, DUPLEX) } },
    { "another method since, once normal", AVF, 43, "HF-1:routine",
      { FLOW(0, 2100, DILUTION), FLOW(14, 2050, DILUTION),
        FLOW(28, 1000, DUPLEX) } },

    { "not a number between", AVF, 60, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, NAN), FLOW(56, 2050) } },
    { "not a number", AVF, 30, "", { FLOW(0, 2100), FLOW(28, NAN) } },
    { "infinite", AVF, 30, "", { FLOW(0, 2100), FLOW(28, INFINITY) } },
    { "> the limit, twice", AVF, 30, "HF-1:routine",
      { FLOW(0, 2000, .bound = BOUND_ABOVE),
        FLOW(28, 2000, .bound = BOUND_ABOVE) } },
    { "> less than the limit", AVF, 30, "",
      { FLOW(0, 1400, .bound = BOUND_ABOVE),
        FLOW(28, 1400, .bound = BOUND_ABOVE) } },
    { "< far more than the limit", AVF, 30, "",
      { FLOW(0, 4000, .bound = BOUND_BELOW),
        FLOW(28, 4000, .bound = BOUND_BELOW) } },
    { "two bounds in one session", AVF, 30, "",
      { FLOW(0, 4000, .bound = BOUND_ABOVE),
        FLOW(HOURS(1), 4000, .bound = BOUND_ABOVE) } },
    { "bound and value in one session", AVF, 30, "",
      { FLOW(0, 4000, .bound = BOUND_ABOVE), FLOW(HOURS(1), 3900) } },
    { "two bounds in one session, then another", AVF, 30, "HF-1:routine",
      { FLOW(0, 4000, .bound = BOUND_ABOVE),
        FLOW(HOURS(1), 4000, .bound = BOUND_ABOVE), FLOW(28, 2100) } },

    { "replicates are one", AVF, 1, "",
      { FLOW(0, 2100), FLOW(HOURS(1), 2050), FLOW(HOURS(2), 2080) } },
    { "seven replicates are one", AVF, 1, "",
      { FLOW(0, 2100), FLOW(HOURS(0.1), 2050), FLOW(HOURS(0.2), 2080),
        FLOW(HOURS(0.3), 2100), FLOW(HOURS(0.4), 2050),
        FLOW(HOURS(0.5), 2080), FLOW(HOURS(0.6), 2100) } },
    { "at the end of the session", AVF, 1, "",
      { FLOW(0, 2100), FLOW(HOURS(4), 2050) } },
    { "a long night's session", AVF, 1, "",
      { FLOW(0, 2100), FLOW(HOURS(12) - SECOND, 2050) } },
    { "half a day apart", AVF, 1, "HF-1:routine",
      { FLOW(0, 2100), FLOW(HOURS(12), 2050) } },
    { "replicates are averaged", AVF, 30, "HF-1:routine",
      { FLOW(0, 1950), FLOW(HOURS(1), 2050), FLOW(28, 2000) } },
    { "averaged, below", AVF, 30, "HF-2:routine",
      { FLOW(0, 1940), FLOW(HOURS(1), 2050), FLOW(28, 2000) } },
    { "replicates differ by a fifth", AVF, 30, "HF-1:routine",
      { FLOW(0, 1800), FLOW(HOURS(1), 2200), FLOW(28, 2050) } },
    /* not known to be very high; known to be high */
    { "replicates differ by more", AVF, 30, "HF-2:routine",
      { FLOW(0, 1790), FLOW(HOURS(1), 2210), FLOW(28, 2050) } },
    { "replicates differ by more, all very high", AVF, 30, "HF-1:routine",
      { FLOW(0, 2000), FLOW(HOURS(1), 2600), FLOW(28, 2050) } },
    { "replicates differ about high", AVF, 30, "",
      { FLOW(0, 1499), FLOW(HOURS(1), 2210), FLOW(28, 2050) } },
    { "replicates of two methods", AVF, 30, "",
      { FLOW(0, 2100, DILUTION), FLOW(HOURS(1), 2100, DUPLEX) } },
    { "one day, time unknown", AVF, 30, "",
      { FLOW(0, 2100, .precision = AT_DAY),
        FLOW(0.9, 2050, .precision = AT_DAY) } },
    { "one day, one time unknown", AVF, 30, "",
      { FLOW(0, 2100, .precision = AT_DAY), FLOW(0.9, 2050) } },
    { "two days", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100, .precision = AT_DAY),
        FLOW(1, 2050, .precision = AT_DAY) } },
    { "month only", AVF, 60, "",
      { FLOW(0, 2100, .precision = AT_MONTH), FLOW(31, 2050) } },
    { "year only", AVF, 60, "",
      { FLOW(0, 2100), FLOW(31, 2050, .precision = AT_YEAR) } },

    { "preliminary does not confirm", AVF, 30, "",
      { FLOW(0, 2100), FLOW(28, 2050, EARLY) } },
    { "preliminary does not break", AVF, 60, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 900, EARLY), FLOW(56, 2050) } },
    { "corrected counts", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100, .status = READING_CORRECTED), FLOW(28, 2050) } },
    { "the first was withdrawn", AVF, 30, "",
      { FLOW(0, 2100, WITHDRAWN), FLOW(28, 2050) } },
    { "a lower one was withdrawn", AVF, 60, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 900, WITHDRAWN), FLOW(56, 2050) } },

    /* clears when two are 10 % inside: below 1800 */
    { "once inside", AVF, 43, "HF-1:routine",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(28, 1000) } },
    { "twice inside", AVF, 60, "",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(28, 1000), FLOW(42, 1000) } },
    { "twice, just inside", AVF, 60, "HF-2:routine",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(28, 1799.9), FLOW(42, 1799.9) } },
    { "twice, not inside", AVF, 43, "HF-1:routine",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(28, 1800), FLOW(42, 1800) } },
    { "inside, near, inside", AVF, 43, "HF-1:routine",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(21, 1700), FLOW(28, 1900),
        FLOW(42, 1700) } },
    { "inside in one session", AVF, 43, "HF-1:routine",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(28, 1000, .bound = BOUND_AT_MOST),
        FLOW(28 + HOURS(1), 1000, .bound = BOUND_AT_MOST) } },
    { "clear, and back", AVF, 90, "HF-1:routine",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(28, 1000), FLOW(42, 1000),
        FLOW(56, 2100), FLOW(70, 2100) } },

    { "a month old", AVF, 58, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050) } },
    { "more than a month old", AVF, 58 + SECOND, "HF-1:routine~",
      { FLOW(0, 2100), FLOW(28, 2050) } },

    { "an intervention between", AVF, 60, "",
      { FLOW(0, 2100), SIGN(20, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(40, 2050) } },
    { "an intervention after", AVF, 60, "",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(40, SIGN_BANDED) } },
    { "a withdrawn intervention after", AVF, 58, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(40, SIGN_BANDED, WITHDRAWN) } },
    { "an intervention before", AVF, 60, "HF-1:routine",
      { SIGN(0, SIGN_ANGIOPLASTY_INFLOW), FLOW(20, 2100), FLOW(40, 2050) } },
    { "at the end of blanking", AVF, 60, "HF-1:routine",
      { SIGN(0, SIGN_ANGIOPLASTY_INFLOW), FLOW(7, 2100), FLOW(40, 2050) } },
    { "blanked", AVF, 60, "",
      { SIGN(0, SIGN_ANGIOPLASTY_INFLOW), FLOW(7 - SECOND, 2100),
        FLOW(40, 2050) } },
    { "a band stretched after", AVF, 60, "",
      { FLOW(0, 2100), FLOW(28, 2050), NUMBER(40, Q_BAND_STRETCHED, 5) } },
    { "a band released after", AVF, 60, "",
      { FLOW(0, 2100), FLOW(28, 2050), NUMBER(40, Q_BAND_RELEASED, 1) } },
    { "a band not released", AVF, 58, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), NUMBER(40, Q_BAND_RELEASED, 0) } },
    { "an intervention on the day of the second, told first", AVF, 30, "",
      { FLOW(0, 2100), SIGN(20, SIGN_BANDED, .precision = AT_DAY),
        FLOW(20, 2050, .precision = AT_DAY) } },
    { "an intervention on the day of the second, told later", AVF, 30, "",
      { FLOW(0, 2100), FLOW(20, 2050, .precision = AT_DAY),
        SIGN(20, SIGN_BANDED, .precision = AT_DAY) } },
    { "replicates around a dowel", AVF, 60, "",
      { FLOW(0, 2100), NUMBER(HOURS(1), Q_DOWEL_DIAMETER, 4),
        FLOW(HOURS(2), 2050) } },
    { "an intervention on the day, told first", AVF, 60, "",
      { SIGN(20, SIGN_BANDED, .precision = AT_DAY),
        FLOW(20, 2050, .precision = AT_DAY), FLOW(40, 2050) } },
    { "an intervention on the day, told later", AVF, 60, "",
      { FLOW(20, 2050, .precision = AT_DAY),
        SIGN(20, SIGN_BANDED, .precision = AT_DAY), FLOW(40, 2050) } },

    /* a heart or hand sign in 90 days */
    { "with an admission", AVF, 30, "HF-1:urgent+ HF-4:asap+",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_ADMISSION) } },
    { "with NYHA III", AVF, 30, "HF-1:urgent+ HF-4:urgent",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_NYHA_3) } },
    { "with NYHA II", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_NYHA_2) } },
    { "no pulmonary hypertension", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050),
        SIGN(10, SIGN_HF_PULMONARY_HYPERTENSION, .absent = true) } },
    { "with a preliminary sign", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_ADMISSION, EARLY) } },
    { "with a sign of 90 days", AVF, 100, "HF-1:urgent+ HF-4:asap+",
      { SIGN(10, SIGN_HF_ADMISSION), FLOW(80, 2100), FLOW(98, 2050) } },
    { "with an older sign", AVF, 101, "HF-1:routine",
      { SIGN(10, SIGN_HF_ADMISSION), FLOW(80, 2100), FLOW(98, 2050) } },
    { "with NYHA III, better since", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_NYHA_3),
        SIGN(20, SIGN_HF_NYHA_2) } },
    { "with NYHA III after it was better", AVF, 30,
      "HF-1:urgent+ HF-4:urgent",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_NYHA_2),
        SIGN(20, SIGN_HF_NYHA_3) } },
    { "with a sign not found later", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050),
        SIGN(10, SIGN_HF_PULMONARY_HYPERTENSION),
        SIGN(20, SIGN_HF_PULMONARY_HYPERTENSION, .absent = true) } },
    { "an admission has happened", AVF, 30, "HF-1:urgent+ HF-4:asap+",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_ADMISSION),
        SIGN(20, SIGN_HF_NYHA_1) } },
    { "with a cold hand", AVF, 30, "HF-1:urgent+",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_COLDNESS) } },
    { "with a hand without complaint", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_NO_COMPLAINT) } },
    { "high, with a cold hand", AVF, 30, "HF-2:routine",
      { FLOW(0, 1600), FLOW(28, 1600), SIGN(10, SIGN_COLDNESS) } },
    { "a sign within its window makes it live", AVF, 90,
      "HF-1:urgent+ HF-4:asap+",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(89, SIGN_HF_ADMISSION) } },
    { "a flow of before the sign's window stays old", AVF, 120,
      "HF-1:urgent+~",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(119, SIGN_HF_ADMISSION) } },
    { "one of long ago does not hide what is high now", AVF, 110,
      "HF-1:routine~ HF-2:routine",
      { FLOW(0, 2100), FLOW(14, 2050), FLOW(44, 1850), FLOW(74, 1900),
        FLOW(104, 1950) } },

    { "a graft", AVG, 30, "HF-1:routine", { FLOW(0, 2100), FLOW(28, 2050) } },
    { "type not known", SIGN_TYPE_UNKNOWN, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050) } },
    { "a catheter", SIGN_TYPE_CVC, 30, "",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(29, SIGN_HAND_ULCER) } },
    { "nothing known", AVF, 30, "", { { .day = 0 } } },
};

/* What is later, high or low; and a third measurement. */
static const struct rule_case settled[] = {
    { "a complaint that was taken back is no sign", AVF, 400, "HF-1:routine",
      { SIGN(0, SIGN_COLDNESS), SIGN(340, SIGN_PAIN_AT_REST),
        SIGN(360, SIGN_PAIN_AT_REST, .absent = true),
        SIGN(370, SIGN_PAIN_AT_REST, .absent = true), FLOW(380, 2100),
        FLOW(395, 2100) } },
    { "one that stands is", AVF, 400, "HF-1:urgent+",
      { SIGN(340, SIGN_PAIN_AT_REST), FLOW(380, 2100), FLOW(395, 2100) } },
    { "a sign does not make a high flow later", AVF, 36, "LF-2:routine",
      { FLOW(10, 2100, DILUTION), FLOW(20, 2100, DILUTION),
        FLOW(5, 450, DUPLEX), FLOW(30, 440, DUPLEX),
        SIGN(35, SIGN_COLDNESS) } },
    { "the flow for the body goes with the high flow", AVF, 36, "LF-2:routine",
      { FLOW(10, 2100, DILUTION), FLOW(20, 2100, DILUTION),
        FLOW(5, 450, DUPLEX), FLOW(30, 440, DUPLEX),
        NUMBER(1, Q_HEIGHT, 1.5) } },
    { "two of a session contradict each other: a third", AVF, 10,
      "HF-2:routine?", { FLOW(10, 1200), FLOW(10 + HOURS(1), 1600) } },
    { "neither is beyond a limit", AVF, 10, "",
      { FLOW(10, 900), FLOW(10 + HOURS(1), 1300) } },
    { "low for a graft", AVG, 10, "LF-1:routine?",
      { FLOW(10, 560), FLOW(10 + HOURS(1), 760) } },
    { "low for a fistula", AVF, 10, "LF-2:routine?",
      { FLOW(10, 480), FLOW(10 + HOURS(1), 660) } },
    { "they contradict each other, all high", AVF, 10, "",
      { FLOW(10, 1500), FLOW(10 + HOURS(1), 2000) } },
    { "they contradict each other, all low", AVF, 10, "",
      { FLOW(10, 300), FLOW(10 + HOURS(1), 499) } },
    { "twice, all low", AVF, 31, "LF-2:routine",
      { FLOW(10, 300), FLOW(10 + HOURS(1), 499), FLOW(30, 300),
        FLOW(30 + HOURS(1), 499) } },
    { "the type is not known, low for both", SIGN_TYPE_UNKNOWN, 10,
      "LF-2:routine?", { FLOW(10, 480), FLOW(10 + HOURS(1), 660) } },
    { "the type is not known, low for a graft", SIGN_TYPE_UNKNOWN, 10, "",
      { FLOW(10, 560), FLOW(10 + HOURS(1), 760) } },
    { "a young fistula", AVF, 10, "",
      { SIGN(1, SIGN_CREATED), FLOW(10, 480), FLOW(10 + HOURS(1), 660) } },
    { "they agree within a fifth", AVF, 10, "",
      { FLOW(10, 1400), FLOW(10 + HOURS(1), 1600) } },
    { "measured again since", AVF, 18, "",
      { FLOW(10, 1200), FLOW(10 + HOURS(1), 1600), FLOW(17, 1300) } },
    { "the high flow holds already", AVF, 50, "HF-1:routine",
      { FLOW(10, 2100), FLOW(30, 2100), FLOW(50, 1600),
        FLOW(50 + HOURS(1), 2200) } },
};

static const struct rule_case low_flow[] = {
    { "graft", AVG, 21, "LF-1:routine", { FLOW(0, 560), FLOW(20, 540) } },
    { "graft, with arm swelling", AVG, 21, "LF-1:urgent+",
      { FLOW(0, 560), FLOW(20, 540), SIGN(15, SIGN_ARM_SWELLING) } },
    { "graft, on the limit", AVG, 21, "", { FLOW(0, 560), FLOW(20, 600) } },
    { "graft, just below", AVG, 21, "LF-1:routine",
      { FLOW(0, 560), FLOW(20, 599.9) } },
    { "graft, end of the window", AVG, 31, "LF-1:routine",
      { FLOW(0, 560), FLOW(30, 540) } },
    { "graft, after the window", AVG, 31, "",
      { FLOW(0, 560), FLOW(31, 540) } },
    { "graft, hours after the window", AVG, 31, "LF-1:routine",
      { FLOW(0, 560), FLOW(30.25, 540) } },
    { "fistula", AVF, 46, "LF-2:routine", { FLOW(0, 499.9), FLOW(45, 499.9) } },
    { "fistula, on the limit", AVF, 46, "", { FLOW(0, 499), FLOW(45, 500) } },
    { "fistula, after the window", AVF, 46, "",
      { FLOW(0, 480), FLOW(46, 480) } },
    { "low for a graft only", AVF, 21, "", { FLOW(0, 560), FLOW(20, 540) } },
    /* below the limit that both types share */
    { "type not known", SIGN_TYPE_UNKNOWN, 21, "LF-2:routine",
      { FLOW(0, 300), FLOW(20, 499.9) } },
    { "type not known, on the limit of both", SIGN_TYPE_UNKNOWN, 21, "",
      { FLOW(0, 300), FLOW(20, 500) } },
    { "type not known, low for a graft only", SIGN_TYPE_UNKNOWN, 21, "",
      { FLOW(0, 560), FLOW(20, 540) } },
    { "type not known, young", SIGN_TYPE_UNKNOWN, 52, "",
      { SIGN(0, SIGN_CREATED), FLOW(30, 480), FLOW(50, 480) } },
    { "type not known, with a sign", SIGN_TYPE_UNKNOWN, 21, "LF-2:urgent+",
      { FLOW(0, 300), FLOW(20, 300), SIGN(15, SIGN_ARM_SWELLING) } },
    /* methods differ by a litre (common practice, no source): one does not
     * end what another saw fall */
    { "another method reads higher", AVF, 41, "LF-2:routine",
      { FLOW(0, 450, DILUTION), FLOW(20, 440, DILUTION),
        FLOW(25, 1100, DUPLEX), FLOW(40, 1200, DUPLEX) } },
    { "a graft, another method reads higher", AVG, 41, "LF-1:routine",
      { FLOW(0, 550, DILUTION), FLOW(20, 540, DILUTION),
        FLOW(25, 1100, DUPLEX), FLOW(40, 1200, DUPLEX) } },
    { "its own method ends it", AVF, 61, "",
      { FLOW(0, 450, DILUTION), FLOW(20, 440, DILUTION),
        FLOW(40, 550, DILUTION), FLOW(60, 550, DILUTION) } },
    { "once", AVF, 21, "", { FLOW(20, 300) } },
    { "one between", AVF, 41, "",
      { FLOW(0, 480), FLOW(20, 510), FLOW(40, 480) } },
    { "two methods", AVF, 21, "",
      { FLOW(0, 480, DILUTION), FLOW(20, 480, DUPLEX) } },
    { "no flow at all", AVF, 21, "LF-2:routine", { FLOW(0, 0), FLOW(20, 0) } },
    { "< the limit", AVF, 21, "LF-2:routine",
      { FLOW(0, 500, .bound = BOUND_BELOW),
        FLOW(20, 500, .bound = BOUND_BELOW) } },
    { "> a lower value", AVF, 21, "",
      { FLOW(0, 100, .bound = BOUND_ABOVE),
        FLOW(20, 100, .bound = BOUND_ABOVE) } },
    { "not a number", AVF, 21, "", { FLOW(0, 480), FLOW(20, NAN) } },
    { "preliminary", AVF, 21, "", { FLOW(0, 480), FLOW(20, 480, EARLY) } },

    { "twice inside", AVF, 59, "",
      { FLOW(0, 480), FLOW(14, 480), FLOW(28, 550), FLOW(42, 550) } },
    { "twice, not inside", AVF, 44, "LF-2:routine",
      { FLOW(0, 480), FLOW(14, 480), FLOW(28, 549.9), FLOW(42, 549.9) } },

    { "signs: thrill weak", AVF, 21, "LF-2:urgent+",
      { FLOW(0, 480), FLOW(20, 480), SIGN(15, SIGN_THRILL_WEAK) } },
    { "signs: thrill present", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), SIGN(15, SIGN_THRILL_PRESENT) } },
    { "signs: thrill lost", AVF, 21, "LF-2:immediate+",
      { FLOW(0, 480), FLOW(19, 470), SIGN(20, SIGN_THRILL_ABSENT) } },
    { "signs: thrill lost, and felt again", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(19, 470), SIGN(15, SIGN_THRILL_ABSENT),
        SIGN(20, SIGN_THRILL_PRESENT) } },
    { "signs: thrill lost, and said not to be", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(19, 470), SIGN(15, SIGN_THRILL_ABSENT),
        SIGN(20, SIGN_THRILL_ABSENT, .absent = true) } },
    { "signs: thrill lost, and weak since", AVF, 21, "LF-2:immediate+",
      { FLOW(0, 480), FLOW(19, 470), SIGN(15, SIGN_THRILL_ABSENT),
        SIGN(20, SIGN_THRILL_WEAK) } },
    { "signs: thrill weak, and lost since", AVF, 21, "LF-2:immediate+",
      { FLOW(0, 480), FLOW(19, 470), SIGN(15, SIGN_THRILL_WEAK),
        SIGN(20, SIGN_THRILL_ABSENT) } },
    { "signs: felt, and lost since", AVF, 21, "LF-2:immediate+",
      { FLOW(0, 480), FLOW(19, 470), SIGN(15, SIGN_THRILL_PRESENT),
        SIGN(20, SIGN_THRILL_ABSENT) } },
    { "signs: swelling, and gone", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), SIGN(10, SIGN_ARM_SWELLING),
        SIGN(15, SIGN_ARM_SWELLING, .absent = true) } },
    { "signs: swelling, and another gone", AVF, 21, "LF-2:urgent+",
      { FLOW(0, 480), FLOW(20, 480), SIGN(10, SIGN_ARM_SWELLING),
        SIGN(15, SIGN_CLOT_ASPIRATION, .absent = true) } },
    { "signs: swelling gone, and back", AVF, 21, "LF-2:urgent+",
      { FLOW(0, 480), FLOW(20, 480), SIGN(10, SIGN_ARM_SWELLING),
        SIGN(13, SIGN_ARM_SWELLING, .absent = true),
        SIGN(16, SIGN_ARM_SWELLING) } },
    { "signs: swelling, not found in the same session", AVF, 21,
      "LF-2:urgent+",
      { FLOW(0, 480), FLOW(20, 480), SIGN(10, SIGN_ARM_SWELLING),
        SIGN(10 + HOURS(1), SIGN_ARM_SWELLING, .absent = true) } },
    /* three in a row: KDOQI 2019 (from memory) */
    { "signs: long bleeding, three in a row", AVF, 21, "LF-2:urgent+",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(13, Q_BLEEDING_PROLONGED, 1),
        NUMBER(15, Q_BLEEDING_PROLONGED, 1),
        NUMBER(18, Q_BLEEDING_PROLONGED, 1) } },
    { "signs: long bleeding, twice", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(15, Q_BLEEDING_PROLONGED, 1),
        NUMBER(18, Q_BLEEDING_PROLONGED, 1) } },
    { "signs: long bleeding, three, not in a row", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(11, Q_BLEEDING_PROLONGED, 1),
        NUMBER(13, Q_BLEEDING_PROLONGED, 1),
        NUMBER(15, Q_BLEEDING_PROLONGED, 0),
        NUMBER(18, Q_BLEEDING_PROLONGED, 1) } },
    { "signs: long bleeding, three, and then not", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(11, Q_BLEEDING_PROLONGED, 1),
        NUMBER(13, Q_BLEEDING_PROLONGED, 1),
        NUMBER(15, Q_BLEEDING_PROLONGED, 1),
        NUMBER(18, Q_BLEEDING_PROLONGED, 0) } },
    { "signs: long bleeding, thrice in a session", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(15, Q_BLEEDING_PROLONGED, 1),
        NUMBER(15 + HOURS(1), Q_BLEEDING_PROLONGED, 1),
        NUMBER(15 + HOURS(2), Q_BLEEDING_PROLONGED, 1) } },
    { "signs: no long bleeding", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(15, Q_BLEEDING_PROLONGED, 0) } },
    { "signs: of 30 days", AVF, 45, "LF-2:urgent+",
      { FLOW(10, 480), FLOW(40, 480), SIGN(15, SIGN_CLOT_ASPIRATION) } },
    { "signs: older", AVF, 46, "LF-2:routine",
      { FLOW(10, 480), FLOW(40, 480), SIGN(15, SIGN_CLOT_ASPIRATION) } },

    /* not before 8 weeks */
    { "young fistula", AVF, 56 - SECOND, "",
      { SIGN(0, SIGN_CREATED), FLOW(30, 480), FLOW(50, 480) } },
    { "fistula of 8 weeks", AVF, 56, "LF-2:routine",
      { SIGN(0, SIGN_CREATED), FLOW(30, 480), FLOW(50, 480) } },
    { "young graft", AVG, 52, "LF-1:routine",
      { SIGN(0, SIGN_CREATED), FLOW(30, 480), FLOW(50, 480) } },
    { "young fistula, very high", AVF, 52, "HF-1:routine",
      { SIGN(0, SIGN_CREATED), FLOW(30, 2100), FLOW(50, 2100) } },
    { "blanked after angioplasty", AVF, 21, "",
      { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), FLOW(6, 480), FLOW(20, 480) } },
    /* Published: 477 to 825 mL/min by inflow angioplasty, Duijm, Am J
     * Kidney Dis 2006 */
    { "treated", AVF, 41, "",
      { FLOW(0, 477), FLOW(14, 477), SIGN(20, SIGN_ANGIOPLASTY_INFLOW),
        FLOW(40, 825) } },

    /* only seen from outside: not cannulated, so no loss yet */
    { "only duplex", AVF, 21, "", { FLOW(0, 480, DUPLEX), FLOW(20, 480, DUPLEX) } },
    { "only duplex, a graft", AVG, 21, "LF-1:routine",
      { FLOW(0, 560, DUPLEX), FLOW(20, 540, DUPLEX) } },
    { "duplex, and a pump flow", AVF, 21, "LF-2:routine",
      { FLOW(0, 480, DUPLEX), FLOW(20, 480, DUPLEX),
        NUMBER(10, Q_PUMP_FLOW, 300) } },
    { "duplex, and a pump flow that was withdrawn", AVF, 21, "",
      { FLOW(0, 480, DUPLEX), FLOW(20, 480, DUPLEX),
        NUMBER(10, Q_PUMP_FLOW, 300, WITHDRAWN) } },
    { "duplex, and a pressure before the pump", AVF, 21, "LF-2:routine",
      { FLOW(0, 480, DUPLEX), FLOW(20, 480, DUPLEX),
        NUMBER(10, Q_ARTERIAL_LINE_PRESSURE, -150) } },
    { "duplex, and no long bleeding", AVF, 21, "",
      { FLOW(0, 480, DUPLEX), FLOW(20, 480, DUPLEX),
        NUMBER(10, Q_BLEEDING_PROLONGED, 0) } },
    { "duplex, and one flow by dilution", AVF, 21, "LF-2:routine",
      { FLOW(0, 480, DUPLEX), FLOW(20, 480, DUPLEX),
        FLOW(10, 900, DILUTION) } },

    /* measured at low pressure: Park, Kidney Res Clin Pract 2013;32(1): a
     * fall of the mean pressure lowers the flow; 15 % is common practice, no
     * source */
    { "low pressure does not confirm", AVF, 31, "LF-2:routine?",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(10, 480), FLOW(30, 470),
        NUMBER(30, Q_MEAN_PRESSURE, 84.9) } },
    { "low pressure, twice", AVF, 31, "LF-2:routine?",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(10, 200),
        NUMBER(10, Q_MEAN_PRESSURE, 70), FLOW(30, 190),
        NUMBER(30, Q_MEAN_PRESSURE, 70) } },
    { "low pressure, on the limit", AVF, 31, "",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(30, 500),
        NUMBER(30, Q_MEAN_PRESSURE, 84.9) } },
    { "low pressure, a graft", AVG, 31, "LF-1:routine?",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(30, 599),
        NUMBER(30, Q_MEAN_PRESSURE, 84.9) } },
    { "low pressure, a young fistula", AVF, 31, "",
      { SIGN(0, SIGN_CREATED), NUMBER(0, Q_MEAN_PRESSURE, 100),
        NUMBER(3, Q_MEAN_PRESSURE, 100), NUMBER(5, Q_MEAN_PRESSURE, 100),
        FLOW(30, 470), NUMBER(30, Q_MEAN_PRESSURE, 84.9) } },
    { "low pressure, measured again since", AVF, 41, "",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(30, 470),
        NUMBER(30, Q_MEAN_PRESSURE, 84.9), FLOW(40, 700) } },
    { "low pressure, low already", AVF, 41, "LF-2:routine",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(10, 480), FLOW(20, 470),
        FLOW(30, 470), NUMBER(30, Q_MEAN_PRESSURE, 84.9) } },
    { "low pressure, of before an intervention", AVF, 41, "",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(30, 470),
        NUMBER(30, Q_MEAN_PRESSURE, 84.9),
        SIGN(35, SIGN_ANGIOPLASTY_INFLOW) } },
    { "pressure just not low", AVF, 31, "LF-2:routine",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(10, 480), FLOW(30, 470),
        NUMBER(30, Q_MEAN_PRESSURE, 85) } },
    { "pressure not known", AVF, 31, "LF-2:routine",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(10, 480), FLOW(30, 470) } },
    { "usual pressure not known", AVF, 31, "LF-2:routine",
      { NUMBER(3, Q_MEAN_PRESSURE, 100), NUMBER(5, Q_MEAN_PRESSURE, 100),
        FLOW(10, 480), FLOW(30, 470), NUMBER(30, Q_MEAN_PRESSURE, 60) } },
    { "low pressure does not deny", AVF, 41, "LF-2:routine",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(10, 480), FLOW(30, 560),
        NUMBER(30, Q_MEAN_PRESSURE, 70), FLOW(40, 480) } },
    /* the pressure explains and does not raise: nothing is scaled */
    { "high at low pressure", AVF, 31, "HF-1:routine",
      { NUMBER(0, Q_MEAN_PRESSURE, 100), NUMBER(3, Q_MEAN_PRESSURE, 100),
        NUMBER(5, Q_MEAN_PRESSURE, 100), FLOW(10, 2050), FLOW(30, 2050),
        NUMBER(30, Q_MEAN_PRESSURE, 70) } },

    /* high and low are never open together: the later stays */
    { "high was later", AVF, 41, "HF-1:routine",
      { FLOW(10, 480, DUPLEX), FLOW(20, 480, DUPLEX),
        FLOW(5, 2100, DILUTION), FLOW(30, 2050, DILUTION) } },
    { "low was later", AVF, 41, "LF-2:routine",
      { FLOW(5, 480, DUPLEX), FLOW(30, 480, DUPLEX),
        FLOW(10, 2100, DILUTION), FLOW(20, 2050, DILUTION) } },
    { "a note closes nothing", AVF, 41, "LF-2:routine",
      { FLOW(5, 480, DUPLEX), FLOW(25, 480, DUPLEX),
        FLOW(10, 1455, DILUTION), OUTPUT(10, 6.8), FLOW(30, 1455, DILUTION),
        OUTPUT(30, 6.8) } },
    { "one reading closes nothing", AVF, 41, "LF-2:routine",
      { FLOW(5, 480, DUPLEX), FLOW(25, 480, DUPLEX),
        FLOW(30, 1450, DILUTION), OUTPUT(30, 4.6) } },
    { "share of the output, then low", AVF, 81, "LF-2:routine LF-3:routine",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(20, 1450), OUTPUT(20, 4.6),
        FLOW(60, 450), FLOW(80, 440) } },
};

/* Published: more than three treatments a year of the cephalic arch and a
 * flow above 1.5 L/min, series of 220 patients with recurrent stenosis. */
#define TREATED(d, ...) SIGN(d, SIGN_ANGIOPLASTY_OUTFLOW, __VA_ARGS__)
static const struct rule_case treated[] = {
    { "four, and high", AVF, 330, "HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(320, 1600) } },
    { "three", AVF, 330, "",
      { TREATED(100), TREATED(200), TREATED(300), FLOW(320, 1600) } },
    { "on the limit", AVF, 330, "",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(320, 1500) } },
    { "just above", AVF, 330, "HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(320, 1500.1) } },
    { "two of one day are one", AVF, 330, "",
      { TREATED(100), TREATED(200), TREATED(300), TREATED(300 + HOURS(3)),
        FLOW(320, 1600) } },
    { "two of one day, one known to the day", AVF, 330, "",
      { TREATED(100), TREATED(200), TREATED(300, .precision = AT_DAY),
        TREATED(300 + HOURS(15)), FLOW(320, 1600) } },
    { "treatments of the inflow are others", AVF, 330, "",
      { SIGN(0, SIGN_ANGIOPLASTY_INFLOW), TREATED(100), TREATED(200),
        TREATED(300), FLOW(320, 1600) } },
    { "one was withdrawn", AVF, 330, "",
      { TREATED(0), TREATED(100), TREATED(200, WITHDRAWN), TREATED(300),
        FLOW(320, 1600) } },
    { "one is preliminary", AVF, 330, "",
      { TREATED(0), TREATED(100), TREATED(200, EARLY), TREATED(300),
        FLOW(320, 1600) } },
    { "one was not done", AVF, 330, "",
      { TREATED(0), TREATED(100), TREATED(200, .absent = true), TREATED(300),
        FLOW(320, 1600) } },
    { "high before the last only", AVF, 330, "",
      { TREATED(0), TREATED(100), TREATED(200), FLOW(280, 1600),
        TREATED(300) } },
    { "blanked", AVF, 330, "",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(307 - SECOND, 1600) } },
    { "at the end of blanking", AVF, 330, "HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(307, 1600) } },
    { "the first at the end of the period", AVF, 365, "HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(350, 1600) } },
    { "the first has left the period", AVF, 366, "",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(350, 1600) } },
    /* ends when two are 10 % inside: below 1350 */
    { "once inside", AVF, 345, "HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300), FLOW(320, 1600),
        FLOW(340, 1000) } },
    { "twice inside", AVF, 365, "",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300), FLOW(320, 1600),
        FLOW(340, 1349), FLOW(360, 1349) } },
    { "twice, not inside", AVF, 345, "HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300), FLOW(320, 1600),
        FLOW(330, 1350), FLOW(340, 1350) } },
    { "a month old", AVF, 350 + SECOND, "HF-5:routine~",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
        FLOW(320, 1600) } },
    { "beside HF-2", AVF, 345, "HF-2:routine HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300), FLOW(320, 1600),
        FLOW(340, 1700) } },
    { "replicates disagree", AVF, 330, "HF-2:routine?",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300), FLOW(320, 1400),
        FLOW(320 + HOURS(1), 2000) } },
    { "replicates disagree, all above", AVF, 330, "HF-5:routine",
      { TREATED(0), TREATED(100), TREATED(200), TREATED(300), FLOW(320, 1501),
        FLOW(320 + HOURS(1), 2000) } },
};

/* Published: 603 mL/min/m^2.7 among flows of at least 2 L/min, indexation of
 * flow, J Nephrol 2018.  At 1.70 m that is 2526.56 mL/min. */
#define HEIGHT(d, v, ...) NUMBER(d, Q_HEIGHT, v, __VA_ARGS__)
static const struct rule_case sized[] = {
    { "small body", AVF, 30, "HF-1:routine HF-6:note",
      { HEIGHT(0, 1.55), FLOW(0, 2100), FLOW(28, 2000) } },
    { "at 1.70 m, just beyond", AVF, 30, "HF-1:routine HF-6:note",
      { HEIGHT(0, 1.70), FLOW(0, 2600), FLOW(28, 2526.57) } },
    { "at 1.70 m, just short", AVF, 30, "HF-1:routine",
      { HEIGHT(0, 1.70), FLOW(0, 2600), FLOW(28, 2526.55) } },
    { "height not known", AVF, 30, "HF-1:routine",
      { FLOW(0, 3000), FLOW(28, 3000) } },
    { "the newest height", AVF, 30, "HF-1:routine",
      { HEIGHT(0, 1.50), HEIGHT(5, 1.95), FLOW(0, 2100), FLOW(28, 2100) } },
    { "a height that was withdrawn", AVF, 30, "HF-1:routine HF-6:note",
      { HEIGHT(0, 1.50), HEIGHT(5, 1.95, WITHDRAWN), FLOW(0, 2100),
        FLOW(28, 2100) } },
    { "not without HF-1", AVF, 30, "HF-2:routine",
      { HEIGHT(0, 1.40), FLOW(0, 2000), FLOW(28, 1990) } },
    { "a new height makes nothing new", AVF, 60, "HF-1:routine~ HF-6:note~",
      { FLOW(0, 2100), FLOW(28, 2050), HEIGHT(59, 1.55) } },
};

/* Two of the last three: a setting. */
static const struct rule_case two_of_three[] = {
    { "one between is lower", AVF, 60, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 1700), FLOW(56, 2050) } },
    { "two between are lower", AVF, 90, "HF-2:routine",
      { FLOW(0, 2100), FLOW(28, 1700), FLOW(56, 1700), FLOW(80, 2050) } },
    { "two in a row", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050) } },
    { "too far apart", AVF, 100, "HF-2:routine",
      { FLOW(0, 2100), FLOW(45, 1700), FLOW(91, 2050) } },
    { "ends by hysteresis as before", AVF, 90, "",
      { FLOW(0, 2100), FLOW(14, 1700), FLOW(28, 2050), FLOW(42, 1000),
        FLOW(56, 1000) } },
};

/* Why a rule does not hold. */
static const struct {
    enum rule rule;
    enum why why;
    struct rule_case c;
} whys[] = {
    { RULE_HF_1, WHY_NO_READING, { "nothing", AVF, 1, "", { { .day = 0 } } } },
    { RULE_HF_1, WHY_HOLDS,
      { "holds", AVF, 30, "", { FLOW(0, 2100), FLOW(28, 2100) } } },
    { RULE_HF_1, WHY_INSIDE,
      { "inside", AVF, 30, "", { FLOW(0, 900), FLOW(28, 900) } } },
    { RULE_HF_1, WHY_TOO_FEW, { "once", AVF, 30, "", { FLOW(28, 2100) } } },
    { RULE_HF_1, WHY_STAGE,
      { "before a band", AVF, 60, "",
        { FLOW(0, 2100), FLOW(28, 2100), SIGN(40, SIGN_BANDED) } } },
    { RULE_HF_1, WHY_STAGE,
      { "too near to a band", AVF, 45, "",
        { SIGN(40, SIGN_BANDED), FLOW(42, 2100) } } },
    { RULE_HF_1, WHY_INSIDE,
      { "after a band", AVF, 60, "",
        { FLOW(0, 2100), FLOW(28, 2100), SIGN(40, SIGN_BANDED),
          FLOW(50, 900) } } },
    { RULE_HF_1, WHY_CATHETER,
      { "catheter", SIGN_TYPE_CVC, 30, "", { FLOW(0, 2100) } } },
    { RULE_HF_1, WHY_OPPOSITE,
      { "low since", AVF, 41, "",
        { FLOW(5, 480, DUPLEX), FLOW(30, 480, DUPLEX),
          FLOW(10, 2100, DILUTION), FLOW(20, 2050, DILUTION) } } },
    { RULE_HF_2, WHY_STRONGER,
      { "very high", AVF, 30, "", { FLOW(0, 2100), FLOW(28, 2100) } } },
    { RULE_HF_5, WHY_NO_READING,
      { "never treated", AVF, 30, "", { FLOW(0, 2100) } } },
    { RULE_HF_5, WHY_TOO_FEW,
      { "treated once", AVF, 30, "", { TREATED(0), FLOW(20, 2100) } } },
    { RULE_HF_5, WHY_STAGE,
      { "not measured since", AVF, 330, "",
        { TREATED(0), TREATED(100), TREATED(200), FLOW(280, 1600),
          TREATED(300) } } },
    { RULE_HF_5, WHY_INSIDE,
      { "treated, not high", AVF, 330, "",
        { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
          FLOW(320, 900) } } },
    { RULE_HF_6, WHY_NO_READING,
      { "no height", AVF, 30, "", { FLOW(0, 2100), FLOW(28, 2100) } } },
    { RULE_HF_6, WHY_INSIDE,
      { "tall", AVF, 30, "",
        { HEIGHT(0, 1.9), FLOW(0, 2100), FLOW(28, 2100) } } },
    { RULE_HF_6, WHY_TOO_FEW,
      { "as HF-1", AVF, 30, "", { HEIGHT(0, 1.5), FLOW(28, 2100) } } },
    { RULE_LF_1, WHY_OTHER_TYPE,
      { "fistula", AVF, 30, "", { FLOW(0, 400) } } },
    { RULE_LF_2, WHY_OTHER_TYPE, { "graft", AVG, 30, "", { FLOW(0, 400) } } },
    { RULE_LF_1, WHY_TYPE_UNKNOWN,
      { "between the limits", SIGN_TYPE_UNKNOWN, 30, "", { FLOW(0, 550) } } },
    { RULE_LF_1, WHY_TYPE_UNKNOWN,
      { "twice, once between the limits", SIGN_TYPE_UNKNOWN, 30, "",
        { FLOW(0, 550), FLOW(20, 450) } } },
    { RULE_LF_2, WHY_INSIDE,
      { "between the limits", SIGN_TYPE_UNKNOWN, 30, "", { FLOW(0, 550) } } },
    { RULE_LF_1, WHY_TOO_FEW,
      { "below both", SIGN_TYPE_UNKNOWN, 30, "", { FLOW(0, 400) } } },
    { RULE_LF_2, WHY_TOO_FEW,
      { "below both", SIGN_TYPE_UNKNOWN, 30, "", { FLOW(0, 400) } } },
    { RULE_LF_1, WHY_INSIDE,
      { "above both", SIGN_TYPE_UNKNOWN, 30, "", { FLOW(0, 600) } } },
    { RULE_LF_1, WHY_STRONGER,
      { "low for both", SIGN_TYPE_UNKNOWN, 30, "",
        { FLOW(0, 400), FLOW(20, 400) } } },
    { RULE_LF_1, WHY_NO_READING,
      { "no flow", SIGN_TYPE_UNKNOWN, 30, "",
        { SIGN(0, SIGN_THRILL_PRESENT) } } },
    { RULE_LF_1, WHY_STAGE,
      { "treated since", SIGN_TYPE_UNKNOWN, 30, "",
        { FLOW(0, 550), SIGN(20, SIGN_ANGIOPLASTY_INFLOW) } } },
    { RULE_LF_1, WHY_YOUNG,
      { "young", SIGN_TYPE_UNKNOWN, 30, "",
        { SIGN(0, SIGN_CREATED), FLOW(20, 550) } } },
    { RULE_LF_2, WHY_YOUNG,
      { "young", AVF, 52, "",
        { SIGN(0, SIGN_CREATED), FLOW(30, 480), FLOW(50, 480) } } },
    { RULE_LF_2, WHY_NOT_CANNULATED,
      { "duplex", AVF, 52, "",
        { FLOW(30, 480, DUPLEX), FLOW(50, 480, DUPLEX) } } },
    { RULE_LF_2, WHY_NO_READING,
      { "no flow", AVF, 52, "", { SIGN(0, SIGN_THRILL_PRESENT) } } },
    { RULE_LF_2, WHY_TOO_FEW, { "once", AVF, 21, "", { FLOW(20, 300) } } },
    { RULE_LF_2, WHY_INSIDE, { "ample", AVF, 21, "", { FLOW(20, 900) } } },
    { RULE_LF_2, WHY_OPPOSITE,
      { "high since", AVF, 41, "",
        { FLOW(10, 480, DUPLEX), FLOW(20, 480, DUPLEX),
          FLOW(5, 2100, DILUTION), FLOW(30, 2050, DILUTION) } } },
};

/* A stenosis of more than half, not treated since: K/DOQI vascular access
 * guideline of 2006, Am J Kidney Dis 2006;48(Suppl 1). */
#define STENOSIS(d, v, ...) NUMBER(d, Q_OUTFLOW_STENOSIS, v, __VA_ARGS__)
static const struct {
    bool stenosis;
    struct rule_case c;
} stenoses[] = {
    { true, { "known", AVF, 30, "", { STENOSIS(1, 60) } } },
    { false, { "on the limit", AVF, 30, "", { STENOSIS(1, 50) } } },
    { true, { "just beyond", AVF, 30, "", { STENOSIS(1, 50.1) } } },
    { false, { "less later", AVF, 30, "", { STENOSIS(1, 60), STENOSIS(9, 30) } } },
    { true, { "more later", AVF, 30, "", { STENOSIS(1, 30), STENOSIS(9, 60) } } },
    { true,
      { "less later, withdrawn", AVF, 30, "",
        { STENOSIS(1, 60), STENOSIS(9, 30, WITHDRAWN) } } },
    { false, { "treated since", AVF, 60, "", { STENOSIS(-9, 60), TREATED(-8) } } },
    { false,
      { "treated on the day", AVF, 60, "",
        { STENOSIS(-9, 60), TREATED(-9, .precision = AT_DAY) } } },
    { true,
      { "found after treatment", AVF, 60, "", { TREATED(-9), STENOSIS(2, 60) } } },
    { true,
      { "the inflow was treated", AVF, 60, "",
        { STENOSIS(-9, 60), SIGN(-8, SIGN_ANGIOPLASTY_INFLOW) } } },
    { false, { "none known", AVF, 30, "", { { .day = 0 } } } },
};
/* clang-format on */

static void finds_high_flow(void **state)
{
    (void)state;
    flow_kit_run(high_flow, COUNT(high_flow), &policy);
}

static void settles_flow(void **state)
{
    (void)state;
    flow_kit_run(settled, COUNT(settled), &policy);
}

static void finds_low_flow(void **state)
{
    (void)state;
    flow_kit_run(low_flow, COUNT(low_flow), &policy);
}

static void finds_repeated_treatment(void **state)
{
    (void)state;
    flow_kit_run(treated, COUNT(treated), &policy);
}

static void finds_flow_for_size(void **state)
{
    (void)state;
    flow_kit_run(sized, COUNT(sized), &policy);
}

static void confirms_two_of_three(void **state)
{
    struct policy other = policy;

    (void)state;
    other.values[P_HF1_OF_LAST].value = 3;
    flow_kit_run(two_of_three, COUNT(two_of_three), &other);
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

/* Each of the rules on high flow says whether a stenosis is known. */
static void knows_a_stenosis(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    for (size_t i = 0; i < COUNT(stenoses); i++) {
        struct rule_case c = stenoses[i].c;
        size_t n = 0;

        ROW(c.name);
        while (!kit_is_end(&c.events[n]))
            n++;
        c.events[n++] = (struct event)FLOW(5, 2100);
        c.events[n++] = (struct event)FLOW(28, 2100);
        kit_evaluate(&c, &policy, readings, &h, &f);
        assert_int_equal(kit_find(&f, RULE_HF_1)->stenosis,
                         stenoses[i].stenosis);
        c.events[n - 1].value = c.events[n - 2].value = 1600;
        kit_evaluate(&c, &policy, readings, &h, &f);
        assert_int_equal(kit_find(&f, RULE_HF_2)->stenosis,
                         stenoses[i].stenosis);
    }
}

/* What the findings say beside their rule. */
static void tells_values(void **state)
{
    static const struct rule_case c = {
        "values",
        AVF,
        330,
        "",
        { TREATED(0), TREATED(100), TREATED(200), TREATED(300),
          TREATED(300 + HOURS(1)), FLOW(310, 2600), FLOW(320, 2600),
          NUMBER(1, Q_HEIGHT, 1.70) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *x;
    struct findings f;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &f);
    x = kit_find(&f, RULE_HF_5);
    assert_int_equal(x->limit, P_HF5_FLOW);
    assert_near(x->measured, 2600, 0);
    assert_int_equal(x->evidence_count, 6); /* every treatment, the flow */
    assert_true(x->at_s == kit_s(320));
    x = kit_find(&f, RULE_HF_6);
    assert_int_equal(x->limit, P_HF6_INDEX);
    assert_near(x->measured, 620.528, 5e-4); /* 2600 / 1.70^2.7 */
    assert_int_equal(x->evidence_count, 2);  /* the height, the flow */
    assert_true(x->at_s == kit_s(320));
}

/* The pressure explains a low flow. */
static void tells_the_pressure(void **state)
{
    static const struct rule_case c = {
        "pressure",
        AVF,
        31,
        "LF-2:routine",
        { NUMBER(0, Q_MEAN_PRESSURE, 101), NUMBER(3, Q_MEAN_PRESSURE, 100),
          NUMBER(5, Q_MEAN_PRESSURE, 99), FLOW(10, 480), FLOW(30, 470),
          NUMBER(30, Q_MEAN_PRESSURE, 90) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *x;
    struct findings f;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &f);
    x = kit_find(&f, RULE_LF_2);
    assert_near(x->mean_pressure_mmhg, 90, 1e-9);
    assert_near(x->usual_pressure_mmhg, 100, 1e-9);
    assert_near(x->measured, 470, 0); /* as measured, not scaled */
}

/* A site may put the limit of fistulas above that of grafts. */
static void shares_the_lower_limit(void **state)
{
    static const struct rule_case cases[] = {
        { "low for both",
          SIGN_TYPE_UNKNOWN,
          21,
          "LF-1:routine",
          { FLOW(0, 590), FLOW(20, 590) } },
        { "low for a fistula only",
          SIGN_TYPE_UNKNOWN,
          21,
          "",
          { FLOW(0, 610), FLOW(20, 610) } },
        { "may be a young fistula",
          SIGN_TYPE_UNKNOWN,
          21,
          "",
          { SIGN(0, SIGN_CREATED), FLOW(0, 590), FLOW(20, 590) } },
    };
    struct policy other = policy;

    (void)state;
    other.values[P_LF2_FLOW].value = 650;
    flow_kit_run(cases, COUNT(cases), &other);
}

/* A low flow at a low pressure asks for a repeat, and says why. */
static void asks_again_at_low_pressure(void **state)
{
    static const struct rule_case c = {
        "low pressure",
        AVF,
        31,
        "",
        { NUMBER(0, Q_MEAN_PRESSURE, 101), NUMBER(3, Q_MEAN_PRESSURE, 100),
          NUMBER(5, Q_MEAN_PRESSURE, 99), FLOW(30, 470),
          NUMBER(30, Q_MEAN_PRESSURE, 80) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *x;
    struct findings f;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &f);
    x = kit_find(&f, RULE_LF_2);
    assert_false(x->confirmed);
    assert_false(x->disagree);
    assert_true(x->low_pressure);
    assert_int_equal(x->repeat_of, Q_ACCESS_FLOW);
    assert_true(x->repeat_by_s == kit_s(44));
    assert_int_equal(x->limit, P_LF2_FLOW);
    assert_near(x->measured, 470, 0);
    assert_near(x->mean_pressure_mmhg, 80, 1e-9);
    assert_near(x->usual_pressure_mmhg, 100, 1e-9);
    assert_int_equal(x->evidence_count, 1);
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
        cmocka_unit_test(finds_high_flow),
        cmocka_unit_test(settles_flow),
        cmocka_unit_test(finds_low_flow),
        cmocka_unit_test(finds_repeated_treatment),
        cmocka_unit_test(finds_flow_for_size),
        cmocka_unit_test(confirms_two_of_three),
        cmocka_unit_test(says_why_not),
        cmocka_unit_test(knows_a_stenosis),
        cmocka_unit_test(tells_values),
        cmocka_unit_test(tells_the_pressure),
        cmocka_unit_test(shares_the_lower_limit),
        cmocka_unit_test(asks_again_at_low_pressure),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

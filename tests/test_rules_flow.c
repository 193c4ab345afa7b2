/*
 * Rules on made-up histories.  Limits come from the policy as shipped; the
 * cases stand on both sides of each.  "Published" cases name their source.
 */
#include "tests/test.h"

#include "tests/history_kit.h"

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
      { FLOW(0, 2100), FLOW(90 + SECOND, 2050) } },
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
    { "after the session", AVF, 1, "HF-1:routine",
      { FLOW(0, 2100), FLOW(HOURS(4) + SECOND, 2050) } },
    { "replicates are averaged", AVF, 30, "HF-1:routine",
      { FLOW(0, 1950), FLOW(HOURS(1), 2050), FLOW(28, 2000) } },
    { "averaged, below", AVF, 30, "HF-2:routine",
      { FLOW(0, 1940), FLOW(HOURS(1), 2050), FLOW(28, 2000) } },
    { "replicates differ by a fifth", AVF, 30, "HF-1:routine",
      { FLOW(0, 1800), FLOW(HOURS(1), 2200), FLOW(28, 2050) } },
    { "replicates differ by more", AVF, 30, "",
      { FLOW(0, 1790), FLOW(HOURS(1), 2210), FLOW(28, 2050) } },
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
    { "with an admission", AVF, 30, "HF-1:urgent+",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_ADMISSION) } },
    { "with NYHA III", AVF, 30, "HF-1:urgent+",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_NYHA_3) } },
    { "with NYHA II", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_NYHA_2) } },
    { "no pulmonary hypertension", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050),
        SIGN(10, SIGN_HF_PULMONARY_HYPERTENSION, .absent = true) } },
    { "with a preliminary sign", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_HF_ADMISSION, EARLY) } },
    { "with a sign of 90 days", AVF, 100, "HF-1:urgent+",
      { SIGN(10, SIGN_HF_ADMISSION), FLOW(80, 2100), FLOW(98, 2050) } },
    { "with an older sign", AVF, 100 + SECOND, "HF-1:routine",
      { SIGN(10, SIGN_HF_ADMISSION), FLOW(80, 2100), FLOW(98, 2050) } },
    { "with a cold hand", AVF, 30, "HF-1:urgent+",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_COLDNESS) } },
    { "with a hand without complaint", AVF, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(10, SIGN_NO_COMPLAINT) } },
    { "high, with a cold hand", AVF, 30, "HF-2:routine",
      { FLOW(0, 1600), FLOW(28, 1600), SIGN(10, SIGN_COLDNESS) } },
    { "a sign does not make it new", AVF, 90, "HF-1:urgent+~",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(89, SIGN_HF_ADMISSION) } },

    { "a graft", AVG, 30, "HF-1:routine", { FLOW(0, 2100), FLOW(28, 2050) } },
    { "type not known", SIGN_TYPE_UNKNOWN, 30, "HF-1:routine",
      { FLOW(0, 2100), FLOW(28, 2050) } },
    { "a catheter", SIGN_TYPE_CVC, 30, "",
      { FLOW(0, 2100), FLOW(28, 2050), SIGN(29, SIGN_HAND_ULCER) } },
    { "nothing known", AVF, 30, "", { { .day = 0 } } },
};

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
      { FLOW(0, 1455), OUTPUT(0, 6.8), FLOW(180 + SECOND, 1455),
        OUTPUT(180 + SECOND, 6.8) } },
    { "severe, once", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(0, 4.6) } },
    { "severe, on the limit", AVF, 1, "HF-3:urgent!?",
      { FLOW(0, 1200), OUTPUT(0, 4) } },
    { "severe, just below", AVF, 1, "", { FLOW(0, 1200), OUTPUT(0, 4.01) } },
    { "severe, repeated", AVF, 31, "HF-3:urgent!",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(30, 1450), OUTPUT(30, 4.6) } },
    { "severe, repeated late", AVF, 31, "HF-3:urgent!?",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(30 + SECOND, 1450),
        OUTPUT(30 + SECOND, 4.6) } },
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
    { "replicates disagree", AVF, 1, "",
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
    { "cleared by low flows", AVF, 70, "",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(20, 1450), OUTPUT(20, 4.6),
        FLOW(40, 700), OUTPUT(40, 6), FLOW(60, 700), OUTPUT(60, 6) } },
    { "both, very high", AVF, 30, "HF-1:routine HF-3:urgent!",
      { FLOW(0, 2100), OUTPUT(0, 6), FLOW(28, 2100), OUTPUT(28, 6) } },
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
      { FLOW(0, 560), FLOW(30 + SECOND, 540) } },
    { "fistula", AVF, 46, "LF-2:routine", { FLOW(0, 499.9), FLOW(45, 499.9) } },
    { "fistula, on the limit", AVF, 46, "", { FLOW(0, 499), FLOW(45, 500) } },
    { "fistula, after the window", AVF, 46, "",
      { FLOW(0, 480), FLOW(45 + SECOND, 480) } },
    { "low for a graft only", AVF, 21, "", { FLOW(0, 560), FLOW(20, 540) } },
    { "type not known", SIGN_TYPE_UNKNOWN, 21, "",
      { FLOW(0, 300), FLOW(20, 300) } },
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
    { "signs: long bleeding", AVF, 21, "LF-2:urgent+",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(15, Q_BLEEDING_PROLONGED, 1) } },
    { "signs: no long bleeding", AVF, 21, "LF-2:routine",
      { FLOW(0, 480), FLOW(20, 480), NUMBER(15, Q_BLEEDING_PROLONGED, 0) } },
    { "signs: of 30 days", AVF, 45, "LF-2:urgent+",
      { FLOW(10, 480), FLOW(40, 480), SIGN(15, SIGN_CLOT_ASPIRATION) } },
    { "signs: older", AVF, 45 + SECOND, "LF-2:routine",
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
    { "share of the output, then low", AVF, 81, "LF-2:routine",
      { FLOW(0, 1450), OUTPUT(0, 4.6), FLOW(20, 1450), OUTPUT(20, 4.6),
        FLOW(60, 450), FLOW(80, 440) } },
};
/* clang-format on */

static void finds_high_flow(void **state)
{
    (void)state;
    kit_run(high_flow, COUNT(high_flow), &policy);
}

static void finds_share(void **state)
{
    (void)state;
    kit_run(share, COUNT(share), &policy);
}

static void finds_low_flow(void **state)
{
    (void)state;
    kit_run(low_flow, COUNT(low_flow), &policy);
}

static int read_limits(void **state)
{
    (void)state;
    kit_policy(&policy);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_high_flow),
        cmocka_unit_test(finds_share),
        cmocka_unit_test(finds_low_flow),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

/*
 * Dose below the minimum (AD-1), and falling (AD-2).  Limits come from the
 * policy as shipped; the cases stand on both sides of each.
 */
#include "tests/test.h"

#include "tests/history_kit.h"

static struct policy policy;

#define KTV(d, v, ...)  NUMBER(d, Q_SPKTV, v, __VA_ARGS__)
#define STD(d, v, ...)  NUMBER(d, Q_STDKTV, v, __VA_ARGS__)
#define URR(d, v, ...)  NUMBER(d, Q_URR, v, __VA_ARGS__)
#define WEEK(d, v, ...) NUMBER(d, Q_SESSIONS_PER_WEEK, v, __VA_ARGS__)
#define KRU(d, v, ...)  NUMBER(d, Q_RESIDUAL_UREA_CLEARANCE, v, __VA_ARGS__)
#define TIME(d, v, ...) NUMBER(d, Q_TREATMENT_TIME, v, __VA_ARGS__)
#define PUMP(d, v, ...) NUMBER(d, Q_PRESCRIBED_PUMP_FLOW, v, __VA_ARGS__)
#define AT_MOST         .bound = BOUND_AT_MOST
#define BELOW           .bound = BOUND_BELOW

/* clang-format off */
static const struct rule_case low[] = {
    /* Published: single-pool Kt/V of 1.2 as the least, KDOQI 2006; two
     * monthly samples in a row: common practice, no source */
    { "two months in a row", AVF, 29, "AD-1:routine",
      { KTV(0, 1.1), KTV(28, 1.15) } },
    { "on the limit", AVF, 29, "", { KTV(0, 1.1), KTV(28, 1.2) } },
    { "just below", AVF, 29, "AD-1:routine", { KTV(0, 1.1), KTV(28, 1.199) } },
    { "once", AVF, 29, "", { KTV(28, 1.1) } },
    { "far enough apart", AVF, 15, "AD-1:routine",
      { KTV(0, 1.1), KTV(14, 1.15) } },
    { "too near", AVF, 15, "", { KTV(0, 1.1), KTV(14 - SECOND, 1.15) } },
    { "the third is far enough", AVF, 29, "AD-1:routine",
      { KTV(0, 1.1), KTV(7, 1.15), KTV(14, 1.1) } },
    { "end of the window", AVF, 71, "AD-1:routine",
      { KTV(0, 1.1), KTV(70, 1.15) } },
    { "its last hours", AVF, 71, "AD-1:routine",
      { KTV(0, 1.1), KTV(71 - SECOND, 1.15) } },
    { "after the window", AVF, 72, "", { KTV(0, 1.1), KTV(71, 1.15) } },
    { "one between", AVF, 57, "",
      { KTV(0, 1.1), KTV(28, 1.25), KTV(56, 1.1) } },
    { "withdrawn", AVF, 29, "", { KTV(0, 1.1), KTV(28, 1.15, WITHDRAWN) } },
    { "preliminary", AVF, 29, "", { KTV(0, 1.1), KTV(28, 1.15, EARLY) } },
    { "corrected", AVF, 29, "AD-1:routine",
      { KTV(0, 1.1), KTV(28, 1.15, .status = READING_CORRECTED) } },
    { "two methods", AVF, 29, "",
      { KTV(0, 1.1), KTV(28, 1.15, .method = METHOD_IONIC_DIALYSANCE) } },
    { "less than the limit", AVF, 29, "AD-1:routine",
      { KTV(0, 1.2, BELOW), KTV(28, 1.2, BELOW) } },
    { "at most the limit", AVF, 29, "",
      { KTV(0, 1.2, AT_MOST), KTV(28, 1.2, AT_MOST) } },
    { "replicates disagree", AVF, 29, "",
      { KTV(0, 1.1), KTV(28, 1.0), KTV(28 + HOURS(1), 1.3) } },
    { "a month old", AVF, 58, "AD-1:routine", { KTV(0, 1.1), KTV(28, 1.15) } },
    { "more than a month old", AVF, 58 + SECOND, "AD-1:routine~",
      { KTV(0, 1.1), KTV(28, 1.15) } },
    { "twice well inside", AVF, 57, "",
      { KTV(0, 1.1), KTV(14, 1.15), KTV(28, 1.32), KTV(42, 1.32) } },
    { "twice not well inside", AVF, 43, "AD-1:routine",
      { KTV(0, 1.1), KTV(14, 1.15), KTV(28, 1.31), KTV(42, 1.31) } },
    { "an intervention between", AVF, 29, "",
      { KTV(0, 1.1), SIGN(10, SIGN_ANGIOPLASTY_OUTFLOW), KTV(28, 1.15) } },
    { "an intervention after", AVF, 29, "",
      { KTV(0, 1.1), KTV(20, 1.15), SIGN(25, SIGN_ANGIOPLASTY_OUTFLOW) } },
    { "a graft", AVG, 29, "AD-1:routine", { KTV(0, 1.1), KTV(28, 1.15) } },
    { "type not known", SIGN_TYPE_UNKNOWN, 29, "AD-1:routine",
      { KTV(0, 1.1), KTV(28, 1.15) } },
    { "not said which", AVF, 29, "",
      { NUMBER(0, Q_KTV_UNSPECIFIED, 0.5),
        NUMBER(28, Q_KTV_UNSPECIFIED, 0.5) } },
    { "equilibrated", AVF, 29, "",
      { NUMBER(0, Q_EKTV, 0.8), NUMBER(28, Q_EKTV, 0.8) } },

    /* very low, once: no source */
    { "very low", AVF, 1, "AD-1:urgent!", { KTV(0, 0.89) } },
    { "on the lower limit", AVF, 1, "", { KTV(0, 0.9) } },
    { "very low, then one well inside", AVF, 29, "AD-1:urgent!",
      { KTV(0, 0.89), KTV(28, 1.4) } },
    { "very low, then two well inside", AVF, 29, "",
      { KTV(0, 0.89), KTV(14, 1.4), KTV(28, 1.4) } },
    { "very low, then two not inside", AVF, 29, "AD-1:urgent!",
      { KTV(0, 0.89), KTV(7, 0.98), KTV(13, 0.98) } },
    { "very low, then low", AVF, 29, "AD-1:routine",
      { KTV(0, 0.85), KTV(14, 1.1), KTV(28, 1.15) } },
    { "low, then very low", AVF, 29, "AD-1:urgent!",
      { KTV(0, 1.1), KTV(28, 0.85) } },
    { "very low, preliminary", AVF, 1, "", { KTV(0, 0.5, EARLY) } },
    { "very low, then treated", AVF, 10, "",
      { KTV(0, 0.85), SIGN(5, SIGN_ANGIOPLASTY_INFLOW) } },
    { "very low, of long ago", AVF, 31, "AD-1:urgent!~", { KTV(0, 0.85) } },

    /* Published: the limit presumes a residual clearance below 2 mL/min,
     * KDOQI 2006 */
    { "with residual clearance", AVF, 29, "",
      { KRU(0, 2), KTV(0, 1.1), KTV(28, 1.15) } },
    { "with little residual clearance", AVF, 29, "AD-1:routine",
      { KRU(0, 1.9), KTV(0, 1.1), KTV(28, 1.15) } },
    /* but that a session gave very little is said: no source */
    { "very low, with residual clearance", AVF, 29, "AD-1:urgent!",
      { KRU(0, 2), KTV(28, 0.899) } },
    { "on the lower limit, with residual clearance", AVF, 29, "",
      { KRU(0, 2), KTV(28, 0.9) } },
    { "very low, residual clearance, three a week", AVF, 29, "AD-1:urgent!",
      { KRU(0, 2), WEEK(0, 3), KTV(28, 0.5) } },
    { "very low, residual clearance, four a week", AVF, 29, "",
      { KRU(0, 2), WEEK(0, 4), KTV(28, 0.5) } },
    { "very low, with residual clearance, then two well inside", AVF, 29, "",
      { KRU(0, 2), KTV(0, 0.5), KTV(14, 0.99), KTV(28, 0.99) } },
    { "very low of two a week", AVF, 29, "AD-1:urgent!",
      { WEEK(0, 2), KTV(28, 0.899) } },
    { "two a week, on the lower limit", AVF, 29, "",
      { WEEK(0, 2), KTV(28, 0.9) } },
    { "two a week, standard low, and very low", AVF, 29, "AD-1:urgent!",
      { WEEK(0, 2), STD(0, 1.9), STD(28, 1.9), KTV(28, 0.6) } },
    { "very low of three and a half a week", AVF, 29, "",
      { WEEK(0, 3.5), KTV(28, 0.6) } },
    { "residual clearance of half a year", AVF, 180, "",
      { KRU(0, 2), KTV(150, 1.1), KTV(178, 1.15) } },
    { "residual clearance of before", AVF, 180 + SECOND, "AD-1:routine",
      { KRU(0, 2), KTV(150, 1.1), KTV(178, 1.15) } },
    { "residual clearance lost since", AVF, 29, "AD-1:routine",
      { KRU(0, 3), KRU(20, 1), KTV(0, 1.1), KTV(28, 1.15) } },
    { "residual clearance, standard low", AVF, 29, "AD-1:routine",
      { KRU(0, 3), STD(0, 1.9), STD(28, 1.9) } },

    /* Published: weekly standard Kt/V of 2.1 for other schedules, KDOQI
     * 2015 */
    { "three a week", AVF, 29, "AD-1:routine",
      { WEEK(0, 3), KTV(0, 1.1), KTV(28, 1.15) } },
    { "four a week", AVF, 29, "",
      { WEEK(0, 4), KTV(0, 1.1), KTV(28, 1.15) } },
    { "very low of six a week", AVF, 29, "", { WEEK(0, 6), KTV(28, 0.6) } },
    { "three a week, standard low", AVF, 29, "",
      { WEEK(0, 3), STD(0, 1.9), STD(28, 1.9) } },
    { "schedule not known, standard low", AVF, 29, "",
      { STD(0, 1.9), STD(28, 1.9) } },
    { "two a week, standard low", AVF, 29, "AD-1:routine",
      { WEEK(0, 2), STD(0, 2.099), STD(28, 2.099) } },
    { "two a week, on the limit", AVF, 29, "",
      { WEEK(0, 2), STD(0, 2.099), STD(28, 2.1) } },
    /* eKt/V 1.135, 240 min: standard Kt/V 1.4 of two sessions */
    { "two a week, computed", AVF, 29, "AD-1:routine",
      { WEEK(0, 2), KTV(0, 1.3), TIME(0, 240), KTV(28, 1.3),
        TIME(28, 240) } },
    { "two a week, with residual clearance of unknown volume", AVF, 29, "",
      { WEEK(0, 2), KRU(0, 3), KTV(0, 1.3), TIME(0, 240), KTV(28, 1.3),
        TIME(28, 240) } },
    /* Published: 0.5 of eKt/V six times is 2.4, Gotch, quoted in the
     * literature on standard Kt/V; a single pool of 0.55 here */
    { "six a week, computed", AVF, 29, "",
      { WEEK(0, 6), KTV(0, 0.55), TIME(0, 150), KTV(28, 0.55),
        TIME(28, 150) } },

    /* Published: urea reduction of 65 %, three a week, KDOQI 2006 */
    { "reduction", AVF, 29, "AD-1:routine",
      { WEEK(0, 3), URR(0, 60), URR(28, 64.9) } },
    { "reduction on the limit", AVF, 29, "",
      { WEEK(0, 3), URR(0, 60), URR(28, 65) } },
    { "reduction, schedule not known", AVF, 29, "AD-1:routine",
      { URR(0, 60), URR(28, 60) } },
    { "reduction of four a week", AVF, 29, "",
      { WEEK(0, 4), URR(0, 60), URR(28, 60) } },
    { "reduction with residual clearance", AVF, 29, "",
      { WEEK(0, 3), KRU(0, 2), URR(0, 60), URR(28, 60) } },
    { "reduction, but Kt/V is known", AVF, 29, "",
      { WEEK(0, 3), URR(0, 60), URR(28, 60), KTV(10, 1.4) } },
    { "reduction, Kt/V of the window", AVF, 170, "",
      { WEEK(0, 3), KTV(100, 1.4), URR(140, 60), URR(168, 60) } },
    { "reduction, Kt/V of before", AVF, 170 + SECOND, "AD-1:routine",
      { WEEK(0, 3), KTV(100, 1.4), URR(140, 60), URR(168, 60) } },

    /* from urea: 50 and 30, 4 h, 2 L, 68 kg is 0.62, Daugirdas, J Am Soc
     * Nephrol 1993;4:1205-13 */
    { "computed", AVF, 1, "AD-1:urgent!",
      { NUMBER(0, Q_BUN_PRE, 50), NUMBER(HOURS(4), Q_BUN_POST, 30),
        TIME(0, 240), NUMBER(0, Q_UF_VOLUME, 2000),
        NUMBER(0, Q_POST_WEIGHT, 68) } },
    { "more urea after than before", AVF, 1, "",
      { NUMBER(0, Q_BUN_PRE, 30), NUMBER(HOURS(4), Q_BUN_POST, 50),
        TIME(0, 240), NUMBER(0, Q_UF_VOLUME, 2000),
        NUMBER(0, Q_POST_WEIGHT, 68) } },
    { "computed, and contradicted by one that is not so low", AVF, 1, "",
      { NUMBER(0, Q_BUN_PRE, 50), NUMBER(HOURS(4), Q_BUN_POST, 30),
        TIME(0, 240), NUMBER(0, Q_UF_VOLUME, 2000),
        NUMBER(0, Q_POST_WEIGHT, 68), KTV(HOURS(4), 0.9) } },
    { "computed, and contradicted by one as low", AVF, 1, "AD-1:urgent!",
      { NUMBER(0, Q_BUN_PRE, 50), NUMBER(HOURS(4), Q_BUN_POST, 30),
        TIME(0, 240), NUMBER(0, Q_UF_VOLUME, 2000),
        NUMBER(0, Q_POST_WEIGHT, 68), KTV(HOURS(4), 0.8) } },
};

#define BEFORE KTV(0, 1.5), KTV(28, 1.5), KTV(56, 1.5)

static const struct rule_case fall[] = {
    /* Published: a fall of more than 0.2 on a constant prescription, KDOQI
     * vascular access 2019 (from memory) */
    { "twice", AVF, 113, "AD-2:routine",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25) } },
    { "by as much", AVF, 113, "", { BEFORE, KTV(84, 1.3), KTV(112, 1.3) } },
    { "by more", AVF, 113, "AD-2:routine",
      { BEFORE, KTV(84, 1.299), KTV(112, 1.299) } },
    { "by as much as what is left, twice", AVF, 113, "",
      { KTV(0, 1.6), KTV(28, 1.6), KTV(56, 1.6), KTV(84, 1.4),
        KTV(112, 1.33333333333) } },
    /* 1.6 less 1.4 is above 0.2 in binary fractions */
    { "by as much, to the last digit", AVF, 113, "",
      { KTV(0, 1.6), KTV(28, 1.6), KTV(56, 1.6), KTV(84, 1.4),
        KTV(112, 1.4) } },
    { "once", AVF, 85, "", { BEFORE, KTV(84, 1.25) } },
    { "not in a row", AVF, 113, "",
      { BEFORE, KTV(70, 1.25), KTV(84, 1.5), KTV(112, 1.25) } },
    { "end of the window", AVF, 130, "AD-2:routine",
      { BEFORE, KTV(84, 1.25), KTV(129, 1.25) } },
    { "its last hours", AVF, 130, "AD-2:routine",
      { BEFORE, KTV(84, 1.25), KTV(130 - SECOND, 1.25) } },
    { "after the window", AVF, 131, "",
      { BEFORE, KTV(84, 1.25), KTV(130, 1.25) } },
    { "withdrawn", AVF, 113, "",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25, WITHDRAWN) } },
    { "preliminary", AVF, 113, "",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25, EARLY) } },
    { "two before", AVF, 113, "AD-2:routine",
      { KTV(28, 1.5), KTV(56, 1.5), KTV(84, 1.25), KTV(112, 1.25) } },
    { "one before", AVF, 113, "",
      { KTV(56, 1.5), KTV(84, 1.25), KTV(112, 1.25) } },
    { "two before, of one day", AVF, 113, "",
      { KTV(56, 1.5), KTV(56 + HOURS(6), 1.5), KTV(84, 1.25),
        KTV(112, 1.25) } },
    { "two before, one contradicted", AVF, 113, "",
      { KTV(28, 1.5), KTV(56, 1.8), KTV(56 + HOURS(1), 1.4), KTV(84, 1.25),
        KTV(112, 1.25) } },
    { "of two methods", AVF, 113, "",
      { KTV(28, 1.5), KTV(56, 1.5, .method = METHOD_IONIC_DIALYSANCE),
        KTV(84, 1.25), KTV(112, 1.25) } },
    /* with the fourth it would be a fall of 0.215 */
    { "three are compared with", AVF, 141, "",
      { KTV(0, 1.68), KTV(28, 1.5), KTV(56, 1.5), KTV(84, 1.5),
        KTV(112, 1.33), KTV(140, 1.33) } },
    { "of half a year", AVF, 181, "AD-2:routine",
      { KTV(0, 1.5), KTV(28, 1.5), KTV(140, 1.25), KTV(180, 1.25) } },
    { "of before", AVF, 181, "",
      { KTV(0, 1.5), KTV(28, 1.5), KTV(140, 1.25),
        KTV(180 + SECOND, 1.25) } },
    { "lower for long", AVF, 253, "",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), KTV(140, 1.25), KTV(168, 1.25),
        KTV(196, 1.25), KTV(224, 1.25), KTV(231, 1.25), KTV(238, 1.25),
        KTV(245, 1.25), KTV(252, 1.25) } },
    { "what has fallen is not compared with", AVF, 169, "AD-2:routine",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), KTV(140, 1.25),
        KTV(168, 1.25) } },
    { "up again", AVF, 141, "",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), KTV(126, 1.4),
        KTV(140, 1.4) } },
    { "up again, once", AVF, 141, "AD-2:routine",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), KTV(140, 1.5) } },
    { "a bound", AVF, 113, "",
      { BEFORE, KTV(84, 1.25, BELOW), KTV(112, 1.25, BELOW) } },
    { "more than a month old", AVF, 143, "AD-2:routine~",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25) } },
    { "below the minimum too", AVF, 113, "AD-1:routine AD-2:routine",
      { BEFORE, KTV(84, 1.15), KTV(112, 1.15) } },

    { "shorter", AVF, 113, "",
      { BEFORE, TIME(28, 240), TIME(56, 240), KTV(84, 1.25), TIME(84, 215.9),
        KTV(112, 1.25), TIME(112, 215.9) } },
    { "hardly shorter", AVF, 113, "AD-2:routine",
      { KTV(0, 1.5), TIME(0, 240), KTV(28, 1.5), TIME(28, 240), KTV(84, 1.25),
        TIME(84, 216), KTV(112, 1.25), TIME(112, 216) } },
    { "much shorter", AVF, 113, "",
      { KTV(0, 1.5), TIME(0, 240), KTV(28, 1.5), TIME(28, 240), KTV(84, 1.25),
        TIME(84, 215.9), KTV(112, 1.25), TIME(112, 215.9) } },
    { "time not always known", AVF, 113, "AD-2:routine",
      { BEFORE, TIME(0, 240), KTV(84, 1.25), TIME(84, 215), KTV(112, 1.25) } },
    { "a slower pump was prescribed", AVF, 113, "",
      { PUMP(0, 300), BEFORE, PUMP(80, 269), KTV(84, 1.25), KTV(112, 1.25) } },
    { "hardly slower", AVF, 113, "AD-2:routine",
      { PUMP(0, 300), BEFORE, PUMP(80, 270), KTV(84, 1.25), KTV(112, 1.25) } },
    { "the same after a time of slower ones", AVF, 141, "AD-2:routine",
      { PUMP(0, 300), BEFORE, PUMP(80, 200), KTV(84, 1.1), PUMP(90, 300),
        KTV(112, 1.25), KTV(140, 1.25) } },

    { "an intervention between", AVF, 113, "",
      { BEFORE, SIGN(70, SIGN_ANGIOPLASTY_OUTFLOW), KTV(84, 1.25),
        KTV(112, 1.25) } },
    { "an intervention between the two", AVF, 113, "",
      { BEFORE, KTV(84, 1.25), SIGN(90, SIGN_ANGIOPLASTY_OUTFLOW),
        KTV(112, 1.25) } },
    { "one before an intervention and one after", AVF, 43, "",
      { KTV(0, 1.5), KTV(7, 1.5), KTV(14, 1.25),
        SIGN(20, SIGN_ANGIOPLASTY_OUTFLOW), KTV(28, 1.6), KTV(35, 1.6),
        KTV(42, 1.3) } },
    { "an intervention after", AVF, 113, "",
      { BEFORE, KTV(84, 1.25), KTV(110, 1.25),
        SIGN(112, SIGN_ANGIOPLASTY_OUTFLOW) } },
    { "an intervention before all", AVF, 113, "AD-2:routine",
      { SIGN(0, SIGN_ANGIOPLASTY_OUTFLOW), KTV(28, 1.5), KTV(56, 1.5),
        KTV(84, 1.25), KTV(112, 1.25) } },

    /* with a low flow it is a clinical indicator of the access */
    { "with a low flow of a fistula", AVF, 113, "LF-2:urgent+ AD-2:note+",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), FLOW(90, 450),
        FLOW(111, 450) } },
    { "with a low flow of a graft", AVG, 113, "LF-1:urgent+ AD-2:note+",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), FLOW(90, 550),
        FLOW(111, 550) } },
    { "with a falling flow", AVF, 113, "LF-3:urgent+ AD-2:note+",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), FLOW(10, 900), FLOW(40, 880),
        FLOW(70, 910), FLOW(90, 640), FLOW(111, 650) } },
    { "with one low flow", AVF, 113, "AD-2:routine",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), FLOW(111, 450) } },
    { "with a low flow of long ago", AVF, 113, "LF-2:routine~ AD-2:routine",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), FLOW(60, 450),
        FLOW(80, 450) } },
    { "a fall of long ago with a low flow", AVF, 150,
      "LF-2:routine AD-2:routine~",
      { BEFORE, KTV(84, 1.25), KTV(112, 1.25), FLOW(130, 450),
        FLOW(149, 450) } },
    { "with a low flow, below the minimum too", AVF, 113,
      "LF-2:urgent+ AD-1:routine AD-2:note+",
      { BEFORE, KTV(84, 1.15), KTV(112, 1.15), FLOW(90, 450),
        FLOW(111, 450) } },
};
/* clang-format on */

static void finds_low_dose(void **state)
{
    (void)state;
    kit_run(low, sizeof(low) / sizeof(low[0]), &policy);
}

static void finds_falling_dose(void **state)
{
    (void)state;
    kit_run(fall, sizeof(fall) / sizeof(fall[0]), &policy);
}

/* What findings say of numbers and readings. */
static void fills_low_dose(void **state)
{
    static const struct rule_case c = {
        "", AVF, 29, "", { KTV(0, 0.8), KTV(14, 1.15), KTV(28, 1.1) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *f;
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    f = kit_find(&found, RULE_AD_1);
    assert_int_equal(f->quantity, Q_SPKTV);
    assert_int_equal(f->limit, P_AD1_SPKTV);
    assert_near(f->measured, 1.1, 0);
    assert_near(f->peak, 0.8, 0);
    assert_true(isnan(f->baseline));
    assert_int_equal(f->evidence_count, 3);
    assert_int_equal(f->at_s, kit_s(28));
    assert_true(f->confirmed);
}

static void fills_very_low_dose(void **state)
{
    static const struct rule_case c = {
        "", AVF, 29, "", { KTV(0, 1.1), KTV(28, 0.85) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *f;
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    f = kit_find(&found, RULE_AD_1);
    assert_true(f->severe);
    assert_int_equal(f->limit, P_AD1_SPKTV_SEVERE);
    assert_near(f->measured, 0.85, 0);
    assert_int_equal(f->evidence_count, 2);
}

static void fills_other_measures(void **state)
{
    static const struct rule_case cases[] = {
        { "", AVF, 29, "", { WEEK(0, 3), URR(1, 60), URR(28, 62) } },
        { "", AVF, 29, "", { WEEK(0, 2), STD(1, 1.8), STD(28, 1.9) } },
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *f;
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&cases[0], &policy, readings, &h, &found);
    f = kit_find(&found, RULE_AD_1);
    assert_int_equal(f->quantity, Q_URR);
    assert_int_equal(f->limit, P_AD1_URR_PCT);
    kit_evaluate(&cases[1], &policy, readings, &h, &found);
    f = kit_find(&found, RULE_AD_1);
    assert_int_equal(f->quantity, Q_STDKTV);
    assert_int_equal(f->limit, P_AD1_STDKTV);
    assert_near(f->measured, 1.9, 0);
}

static void fills_a_fall(void **state)
{
    static const struct rule_case c = { "",
                                        AVF,
                                        113,
                                        "",
                                        { KTV(0, 1.4), KTV(28, 1.5),
                                          KTV(56, 1.6), KTV(84, 1.2),
                                          KTV(112, 1.25) } };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *f;
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    f = kit_find(&found, RULE_AD_2);
    assert_near(f->baseline, 1.5, 1e-9);
    assert_near(f->measured, 0.25, 1e-9);
    assert_near(f->peak, 0.3, 1e-9);
    assert_int_equal(f->limit, P_AD2_FALL);
    assert_int_equal(f->quantity, Q_SPKTV);
    assert_int_equal(f->evidence_count, 2);
    assert_false(f->elsewhere);
}

static void joins_a_low_flow(void **state)
{
    static const struct rule_case c = {
        "",
        AVF,
        113,
        "",
        { KTV(28, 1.5), KTV(56, 1.5), KTV(84, 1.25), KTV(112, 1.25),
          FLOW(90, 450), FLOW(110, 440), SIGN(111, SIGN_THRILL_ABSENT) }
    };
    struct reading readings[KIT_EVENTS_MAX];
    const struct finding *f;
    struct findings found;
    struct history h;
    size_t values = 0;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    f = kit_find(&found, RULE_LF_2);
    assert_int_equal(f->urgency, URGENCY_IMMEDIATE); /* not made less */
    assert_true(f->with_sign);
    for (size_t i = 0; i < f->evidence_count; i++)
        values += readings[f->evidence[i]].quantity == Q_SPKTV;
    assert_int_equal(values, 2);
    f = kit_find(&found, RULE_AD_2);
    assert_int_equal(f->urgency, URGENCY_NOTE);
    assert_true(f->elsewhere);
}

/* Where a low flow is a note, it makes no Task to join. */
static void stays_alone_beside_a_note(void **state)
{
    static const struct rule_case c = { "",
                                        AVF,
                                        113,
                                        "",
                                        { KTV(28, 1.5), KTV(56, 1.5),
                                          KTV(84, 1.25), KTV(112, 1.25),
                                          FLOW(90, 450), FLOW(110, 440) } };
    struct reading readings[KIT_EVENTS_MAX];
    struct policy other = policy;
    char text[KIT_TEXT_SIZE];
    struct findings found;
    struct history h;

    (void)state;
    other.values[P_LF2_URGENCY].value = URGENCY_NOTE;
    kit_evaluate(&c, &other, readings, &h, &found);
    assert_string_equal(kit_line(&found, text), "LF-2:note AD-2:routine");
}

/* The Kt/V does not make the flow newer than it is. */
static void leaves_the_time_of_a_low_flow(void **state)
{
    static const struct rule_case c = { "",
                                        AVF,
                                        113,
                                        "",
                                        { KTV(28, 1.5), KTV(56, 1.5),
                                          KTV(84, 1.25), KTV(112, 1.25),
                                          FLOW(70, 450), FLOW(84, 440) } };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    assert_int_equal(kit_find(&found, RULE_LF_2)->at_s, kit_s(84));
}

static void says_why_not(void **state)
{
    static const struct {
        enum rule rule;
        enum why why;
        struct rule_case c;
    } cases[] = {
        { RULE_AD_1,
          WHY_NO_READING,
          { "nothing", AVF, 29, "", { { .day = 0 } } } },
        { RULE_AD_1, WHY_INSIDE, { "inside", AVF, 29, "", { KTV(28, 1.4) } } },
        { RULE_AD_1, WHY_TOO_FEW, { "once", AVF, 29, "", { KTV(28, 1.1) } } },
        { RULE_AD_1,
          WHY_STAGE,
          { "treated since",
            AVF,
            29,
            "",
            { KTV(0, 1.1), KTV(20, 1.1),
              SIGN(25, SIGN_ANGIOPLASTY_INFLOW) } } },
        { RULE_AD_1,
          WHY_SCHEDULE,
          { "four", AVF, 29, "", { WEEK(0, 4), KTV(28, 1.1) } } },
        { RULE_AD_1,
          WHY_SCHEDULE,
          { "residual", AVF, 29, "", { KRU(0, 3), KTV(28, 1.1) } } },
        { RULE_AD_1,
          WHY_SCHEDULE,
          { "more than what is known",
            AVF,
            29,
            "",
            { WEEK(0, 2), KRU(0, 3), KTV(28, 1.1), TIME(28, 240) } } },
        { RULE_AD_1,
          WHY_INSIDE,
          { "standard inside", AVF, 29, "", { WEEK(0, 4), STD(28, 2.4) } } },
        { RULE_AD_1,
          WHY_SCHEDULE,
          { "reduction, four a week",
            AVF,
            29,
            "",
            { WEEK(0, 4), URR(0, 60), URR(28, 60) } } },
        { RULE_AD_2,
          WHY_NO_READING,
          { "nothing", AVF, 29, "", { { .day = 0 } } } },
        { RULE_AD_2,
          WHY_NO_BASELINE,
          { "first", AVF, 29, "", { KTV(0, 1.4), KTV(28, 1.4) } } },
        { RULE_AD_2,
          WHY_INSIDE,
          { "steady",
            AVF,
            85,
            "",
            { KTV(0, 1.4), KTV(28, 1.4), KTV(56, 1.4) } } },
        { RULE_AD_2,
          WHY_TOO_FEW,
          { "once",
            AVF,
            85,
            "",
            { KTV(0, 1.5), KTV(28, 1.5), KTV(56, 1.25) } } },
        { RULE_AD_2,
          WHY_STAGE,
          { "treated since",
            AVF,
            85,
            "",
            { KTV(0, 1.5), KTV(14, 1.5), KTV(28, 1.25), KTV(42, 1.25),
              SIGN(50, SIGN_ANGIOPLASTY_INFLOW) } } },
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

static void is_said_at_one_access(void **state)
{
    static const struct rule_case c = { "",
                                        AVF,
                                        113,
                                        "",
                                        { KTV(0, 1.5), KTV(28, 1.5),
                                          KTV(84, 0.8), KTV(112, 0.8) } };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    assert_int_equal(found.count, 2);
    h.other_leads = true;
    rules_evaluate(&h, &policy, &found);
    assert_int_equal(found.count, 0);
    assert_int_equal(found.why[RULE_AD_1], WHY_OTHER_ACCESS);
    assert_int_equal(found.why[RULE_AD_2], WHY_OTHER_ACCESS);
}

/* But a low flow of this access is worth more beside a dose that falls. */
static void joins_a_low_flow_beside_another(void **state)
{
    static const struct rule_case c = { "",
                                        AVF,
                                        113,
                                        "",
                                        { BEFORE, KTV(84, 1.25), KTV(112, 1.25),
                                          FLOW(90, 450), FLOW(111, 450) } };
    struct reading readings[KIT_EVENTS_MAX];
    char text[KIT_TEXT_SIZE];
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    h.other_leads = true;
    rules_evaluate(&h, &policy, &found);
    assert_string_equal(kit_line(&found, text), "LF-2:urgent+");
    assert_int_equal(kit_find(&found, RULE_LF_2)->evidence_count, 4);
    assert_int_equal(kit_find(&found, RULE_LF_2)->at_s, kit_s(111));
    assert_int_equal(found.why[RULE_AD_1], WHY_OTHER_ACCESS);
    assert_int_equal(found.why[RULE_AD_2], WHY_OTHER_ACCESS);

    h.count--; /* one fall only */
    h.now_s = kit_s(111.5);
    rules_evaluate(&h, &policy, &found);
    assert_string_equal(kit_line(&found, text), "LF-2:routine");
}

/* A dose of before a band is not what one of after it is compared with. */
static void starts_anew_with_a_band(void **state)
{
    static const struct rule_case c = { "",
                                        AVF,
                                        113,
                                        "",
                                        { KTV(0, 1.5), KTV(28, 1.5),
                                          KTV(56, 1.5), SIGN(70, SIGN_BANDED),
                                          KTV(84, 1.25), KTV(112, 1.25) } };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings found;
    struct history h;

    (void)state;
    kit_evaluate(&c, &policy, readings, &h, &found);
    assert_null(rules_find(&found, RULE_AD_2));
    assert_int_equal(found.why[RULE_AD_2], WHY_NO_BASELINE);
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
        cmocka_unit_test(finds_low_dose),
        cmocka_unit_test(finds_falling_dose),
        cmocka_unit_test(fills_low_dose),
        cmocka_unit_test(fills_very_low_dose),
        cmocka_unit_test(fills_other_measures),
        cmocka_unit_test(fills_a_fall),
        cmocka_unit_test(joins_a_low_flow),
        cmocka_unit_test(stays_alone_beside_a_note),
        cmocka_unit_test(leaves_the_time_of_a_low_flow),
        cmocka_unit_test(says_why_not),
        cmocka_unit_test(is_said_at_one_access),
        cmocka_unit_test(joins_a_low_flow_beside_another),
        cmocka_unit_test(starts_anew_with_a_band),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

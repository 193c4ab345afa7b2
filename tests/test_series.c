/*
 * Points that were sent and points that can be computed.  Formulas are tested
 * with their own module; here it is what goes together, and what does not.
 */
#include "tests/test.h"

#include "planner/adequacy.h"
#include "planner/series.h"
#include "tests/history_kit.h"

static struct policy policy;

struct series_case {
    const char *name;
    enum quantity quantity;
    bool blank;
    enum side side; /* of the access */
    /* "1200c3": value, readings; c computed, ! disagree, a again, r restart,
     * >= at least; one point after another */
    const char *want;
    struct event events[16];
};

/* The same where it matters of which arm the first two events are. */
struct sided_case {
    enum side sides[2];
    struct series_case plain;
};

#define RECIRC(d, v, ...)  NUMBER(d, Q_RECIRCULATION_REVERSED, v, __VA_ARGS__)
#define PUMP(d, v, ...)    NUMBER(d, Q_PUMP_FLOW, v, __VA_ARGS__)
#define UF(d, v, ...)      NUMBER(d, Q_UF_RATE, v, __VA_ARGS__)
#define DIAL(d, v, ...)    NUMBER(d, Q_DIALYSANCE, v, __VA_ARGS__)
#define DIALX(d, v, ...)   NUMBER(d, Q_DIALYSANCE_REVERSED, v, __VA_ARGS__)
#define SYS(d, v, ...)     NUMBER(d, Q_SYSTOLIC_PRESSURE, v, __VA_ARGS__)
#define DIA(d, v, ...)     NUMBER(d, Q_DIASTOLIC_PRESSURE, v, __VA_ARGS__)
#define MEAN(d, v, ...)    NUMBER(d, Q_MEAN_PRESSURE, v, __VA_ARGS__)
#define STATIC(d, v, ...)  NUMBER(d, Q_STATIC_ACCESS_PRESSURE, v, __VA_ARGS__)
#define VENOUS(d, v, ...)  NUMBER(d, Q_STATIC_VENOUS_PRESSURE, v, __VA_ARGS__)
#define CHAMBER(d, v, ...) NUMBER(d, Q_CHAMBER_HEIGHT, v, __VA_ARGS__)
#define PRE(d, v, ...)     NUMBER(d, Q_BUN_PRE, v, __VA_ARGS__)
#define POST(d, v, ...)    NUMBER(d, Q_BUN_POST, v, __VA_ARGS__)
#define UREA(d, v, ...)    NUMBER(d, Q_UREA_PRE, v, __VA_ARGS__)
#define UREAX(d, v, ...)   NUMBER(d, Q_UREA_POST, v, __VA_ARGS__)
#define TIME(d, v, ...)    NUMBER(d, Q_TREATMENT_TIME, v, __VA_ARGS__)
#define GONE(d, v, ...)    NUMBER(d, Q_UF_VOLUME, v, __VA_ARGS__)
#define WEIGHT(d, v, ...)  NUMBER(d, Q_POST_WEIGHT, v, __VA_ARGS__)
#define KTV(d, v, ...)     NUMBER(d, Q_SPKTV, v, __VA_ARGS__)
#define WEEK(d, v, ...)    NUMBER(d, Q_SESSIONS_PER_WEEK, v, __VA_ARGS__)
#define KRU(d, v, ...)     NUMBER(d, Q_RESIDUAL_UREA_CLEARANCE, v, __VA_ARGS__)

/* clang-format off */
static const struct series_case cases[] = {
    /* ---- flow: Qb 300, R 20 %: 300 (1/0.2 - 1) = 1200, by the formula of
     * Krivitski, Kidney Int 1995;48:244-250 */
    { "lines reversed", Q_ACCESS_FLOW, false, 0, "1200c2",
      { RECIRC(0, 20), PUMP(0, 300) } },
    /* (300 - 10) * 0.8 / 0.2 = 1160, Mercadal, Kidney Int 1999;56:1560-5 */
    { "with ultrafiltration", Q_ACCESS_FLOW, false, 0, "1160c3",
      { RECIRC(0, 20), PUMP(0, 300), UF(0, 10) } },
    { "no pump flow", Q_ACCESS_FLOW, false, 0, "", { RECIRC(0, 20) } },
    { "the usual recirculation is another thing", Q_ACCESS_FLOW, false, 0, "",
      { NUMBER(0, Q_RECIRCULATION, 20), PUMP(0, 300) } },
    { "the pump before rather than after", Q_ACCESS_FLOW, false, 0, "1200c2",
      { PUMP(0, 300), RECIRC(HOURS(1), 20), PUMP(HOURS(1.1), 200) } },
    { "the nearest before", Q_ACCESS_FLOW, false, 0, "1200c2",
      { PUMP(0, 200), PUMP(HOURS(0.5), 300), RECIRC(HOURS(1), 20) } },
    { "that of its own resource", Q_ACCESS_FLOW, false, 0, "1200c2",
      { PUMP(HOURS(1), 300, .id = 9), RECIRC(HOURS(1), 20, .id = 9),
        PUMP(HOURS(1), 200, .id = 7), PUMP(HOURS(1), 200, .id = 12) } },
    { "the pump after, if none is before", Q_ACCESS_FLOW, false, 0, "1200c2",
      { RECIRC(0, 20), PUMP(HOURS(1), 300), PUMP(HOURS(2), 200) } },
    { "at the end of the session", Q_ACCESS_FLOW, false, 0, "1200c2",
      { PUMP(0, 300), RECIRC(HOURS(4), 20) } },
    { "another session", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300), RECIRC(HOURS(4) + SECOND, 20) } },
    { "known to the day", Q_ACCESS_FLOW, false, 0, "1200c2",
      { PUMP(0, 300, .precision = AT_DAY), RECIRC(0.6, 20) } },
    { "known to the month", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300, .precision = AT_MONTH), RECIRC(0.1, 20) } },
    { "withdrawn", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300, WITHDRAWN), RECIRC(0, 20) } },
    { "preliminary", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300), RECIRC(0, 20, EARLY) } },
    { "a bound", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300), RECIRC(0, 20, .bound = BOUND_BELOW) } },
    { "a pump flow that is a bound", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300, .bound = BOUND_AT_LEAST), RECIRC(0, 20) } },
    { "not a number", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, NAN), RECIRC(0, 20) } },
    { "no recirculation", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300), RECIRC(0, 0) } },
    /* 300 (1/0.02 - 1) = 14700 */
    { "more than any access", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300), RECIRC(0, 2) } },
    { "an intervention between", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300), NUMBER(HOURS(1), Q_DOWEL_DIAMETER, 4),
        RECIRC(HOURS(2), 20) } },
    { "an intervention between, the pump after", Q_ACCESS_FLOW, false, 0, "",
      { RECIRC(0, 20), NUMBER(HOURS(1), Q_DOWEL_DIAMETER, 4),
        PUMP(HOURS(2), 300) } },
    { "an intervention before both", Q_ACCESS_FLOW, false, 0, "1200c2r",
      { NUMBER(0, Q_DOWEL_DIAMETER, 4), PUMP(HOURS(1), 300),
        RECIRC(HOURS(2), 20) } },
    { "an intervention at the time of the later", Q_ACCESS_FLOW, false, 0, "",
      { PUMP(0, 300), RECIRC(HOURS(2), 20),
        NUMBER(HOURS(2), Q_DOWEL_DIAMETER, 4) } },
    /* 300 (1/0.25 - 1) = 900 */
    { "replicates", Q_ACCESS_FLOW, false, 0, "1050c3!",
      { PUMP(0, 300), RECIRC(HOURS(1), 20), RECIRC(HOURS(2), 25) } },
    /* 300 (1/0.21 - 1) = 1128.57 */
    { "replicates that agree", Q_ACCESS_FLOW, false, 0, "1164.29c3",
      { PUMP(0, 300), RECIRC(HOURS(1), 20), RECIRC(HOURS(2), 21) } },
    { "replicates of two stages", Q_ACCESS_FLOW, false, 0,
      "1200c2 900c2r",
      { PUMP(0, 300), RECIRC(0, 20), NUMBER(HOURS(1), Q_DOWEL_DIAMETER, 4),
        PUMP(HOURS(2), 300), RECIRC(HOURS(2), 25) } },
    { "two sessions", Q_ACCESS_FLOW, false, 0, "1200c2 900c2",
      { PUMP(0, 300), RECIRC(0, 20), PUMP(14, 300), RECIRC(14, 25) } },
    { "blanked", Q_ACCESS_FLOW, true, 0, "900c2r",
      { SIGN(0, SIGN_ANGIOPLASTY_INFLOW), PUMP(7 - SECOND, 300),
        RECIRC(7 - SECOND, 20), PUMP(14, 300), RECIRC(14, 25) } },
    { "at the end of blanking", Q_ACCESS_FLOW, true, 0, "1200c2r",
      { SIGN(0, SIGN_ANGIOPLASTY_INFLOW), PUMP(7, 300), RECIRC(7, 20) } },

    /* ---- flow from dialysance: (200 - 10) * 160 / (200 - 160) = 760, and
     * 800 without ultrafiltration, Mercadal as above */
    { "dialysance", Q_ACCESS_FLOW, false, 0, "760c3",
      { DIAL(0, 200), UF(0, 10), DIALX(HOURS(1), 160) } },
    { "dialysance, ultrafiltration not known", Q_ACCESS_FLOW, false, 0,
      "800c2", { DIAL(0, 200), DIALX(HOURS(1), 160) } },
    { "dialysance of two methods", Q_ACCESS_FLOW, false, 0, "",
      { DIAL(0, 200), DIALX(HOURS(1), 160, DILUTION) } },
    { "dialysance not less with reversed lines", Q_ACCESS_FLOW, false, 0, "",
      { DIAL(0, 160), DIALX(HOURS(1), 160) } },

    /* ---- sent and computed: 10 % of the one that was sent */
    { "both, agree", Q_ACCESS_FLOW, false, 0, "1091 3",
      { FLOW(0, 1091), RECIRC(0, 20), PUMP(0, 300) } },
    { "both, contradict", Q_ACCESS_FLOW, false, 0, "1090 3!",
      { FLOW(0, 1090), RECIRC(0, 20), PUMP(0, 300) } },
    { "both, the computed one less", Q_ACCESS_FLOW, false, 0, "1334 3!",
      { FLOW(0, 1334), RECIRC(0, 20), PUMP(0, 300) } },
    { "both, just so", Q_ACCESS_FLOW, false, 0, "1333 3",
      { FLOW(0, 1333), RECIRC(0, 20), PUMP(0, 300) } },
    { "sent later in the session", Q_ACCESS_FLOW, false, 0, "1180 3",
      { RECIRC(0, 20), PUMP(0, 300), FLOW(HOURS(4), 1180) } },
    { "sent later", Q_ACCESS_FLOW, false, 0, "1200c2 1180 1a",
      { RECIRC(0, 20), PUMP(0, 300), FLOW(HOURS(4) + SECOND, 1180) } },
    { "computed later", Q_ACCESS_FLOW, false, 0, "1180 1 1200c2a",
      { FLOW(0, 1180), RECIRC(HOURS(6), 20), PUMP(HOURS(6), 300) } },
    { "computed the day after", Q_ACCESS_FLOW, false, 0, "1180 1 1200c2",
      { FLOW(0, 1180), RECIRC(HOURS(12), 20), PUMP(HOURS(12), 300) } },
    { "two methods", Q_ACCESS_FLOW, false, 0, "900 1 1200c2",
      { FLOW(0, 900, DUPLEX), RECIRC(HOURS(1), 20, DILUTION),
        PUMP(HOURS(1), 300) } },
    { "the method of the recirculation", Q_ACCESS_FLOW, false, 0, "1180 3",
      { FLOW(0, 1180, DILUTION), RECIRC(HOURS(1), 20, DILUTION),
        PUMP(HOURS(1), 300) } },
    { "withdrawn, and computed", Q_ACCESS_FLOW, false, 0, "1200c2",
      { FLOW(0, 900, WITHDRAWN), RECIRC(0, 20), PUMP(0, 300) } },
    { "a bound that agrees", Q_ACCESS_FLOW, false, 0, "<1300 3",
      { FLOW(0, 1300, .bound = BOUND_BELOW), RECIRC(0, 20), PUMP(0, 300) } },
    { "a bound that contradicts", Q_ACCESS_FLOW, false, 0, "<1000 3!",
      { FLOW(0, 1000, .bound = BOUND_BELOW), RECIRC(0, 20), PUMP(0, 300) } },
    { "an intervention between sent and computed", Q_ACCESS_FLOW, false, 0,
      "900 1 1200c2r",
      { FLOW(0, 900), NUMBER(HOURS(1), Q_DOWEL_DIAMETER, 4),
        RECIRC(HOURS(2), 20), PUMP(HOURS(2), 300) } },
    { "in order of time", Q_ACCESS_FLOW, false, 0, "1000 1 1200c2 1100 1",
      { FLOW(0, 1000), RECIRC(14, 20), PUMP(14, 300), FLOW(28, 1100) } },
    { "restart of a sent one after a computed one", Q_ACCESS_FLOW, false, 0,
      "1000 1 1200c2r 1100 1",
      { FLOW(0, 1000), SIGN(10, SIGN_BANDED), RECIRC(14, 20), PUMP(14, 300),
        FLOW(28, 1100) } },

    /* ---- mean pressure: (140 + 2 * 80) / 3 = 100 */
    { "a cuff", Q_MEAN_PRESSURE, false, 0, "100c2", { SYS(0, 140), DIA(0, 80) } },
    { "a systolic pressure without its own", Q_MEAN_PRESSURE, false, 0,
      "100c2", { SYS(0, 140), DIA(0, 80), SYS(HOURS(0.5), 120) } },
    { "two cuffs of one session", Q_MEAN_PRESSURE, false, 0, "90c4!",
      { SYS(0, 140), DIA(0, 80), SYS(HOURS(3), 110), DIA(HOURS(3), 65) } },
    { "diastolic above systolic", Q_MEAN_PRESSURE, false, 0, "",
      { SYS(0, 80), DIA(0, 140) } },

    /* ---- static ratio: (30 + 0.35 * 30 + 3.4) / 93 = 0.472043, by the table
     * of pressure protocols */
    { "ratio by the chamber", Q_STATIC_PRESSURE_RATIO, false, 0, "0.472043c3",
      { VENOUS(0, 30), CHAMBER(0, 30), MEAN(0, 93) } },
    { "ratio, height not known", Q_STATIC_PRESSURE_RATIO, false, 0, "",
      { VENOUS(0, 30), MEAN(0, 93) } },
    { "ratio, pressure not known", Q_STATIC_PRESSURE_RATIO, false, 0, "",
      { VENOUS(0, 30), CHAMBER(0, 30) } },
    { "ratio by the cuff", Q_STATIC_PRESSURE_RATIO, false, 0, "0.45c3",
      { STATIC(0, 45), SYS(0, 140), DIA(0, 80) } },
    { "ratio, the nearest pressure", Q_STATIC_PRESSURE_RATIO, false, 0,
      "0.45c2", { MEAN(0, 60), MEAN(HOURS(2), 100), STATIC(HOURS(1.5), 45) } },
    { "ratio, pressures contradict", Q_STATIC_PRESSURE_RATIO, false, 0, "",
      { STATIC(0, 45), MEAN(0, 80), SYS(0, 140), DIA(0, 80) } },
    { "ratio, sent and computed", Q_STATIC_PRESSURE_RATIO, false, 0, "0.44 3",
      { NUMBER(0, Q_STATIC_PRESSURE_RATIO, 0.44), STATIC(0, 45),
        MEAN(0, 100) } },

    /* ---- urea: R 0.3, 4 h, 3 L, 70 kg:
     * -ln(0.3 - 0.032) + (4 - 3.5 * 0.3) * 3 / 70 = 1.443197, by the formula
     * of Daugirdas, J Am Soc Nephrol 1993;4:1205-13 */
    { "single pool", Q_SPKTV, false, 0, "1.4432c5",
      { PRE(0, 100), POST(HOURS(4.2), 30), TIME(HOURS(0.1), 240),
        GONE(HOURS(4.1), 3000), WEIGHT(HOURS(4.3), 70) } },
    /* 25 and 7.5 mmol/L, 2.8 L, 68 kg: 1.438239 */
    { "single pool by urea", Q_SPKTV, false, 0, "1.43824c5",
      { UREA(0, 25), UREAX(HOURS(4.2), 7.5), TIME(0, 240), GONE(0, 2800),
        WEIGHT(0, 68) } },
    { "urea and nitrogen mixed", Q_SPKTV, false, 0, "",
      { PRE(0, 70), UREAX(HOURS(4), 7.5), TIME(0, 240), GONE(0, 3000),
        WEIGHT(0, 70) } },
    { "body weight of the session", Q_SPKTV, false, 0, "1.4432c5",
      { PRE(0, 100), POST(HOURS(4), 30), TIME(0, 240), GONE(0, 3000),
        NUMBER(HOURS(4), Q_BODY_WEIGHT, 70) } },
    { "body weight of the week", Q_SPKTV, false, 0, "",
      { PRE(0, 100), POST(HOURS(4), 30), TIME(0, 240), GONE(0, 3000),
        NUMBER(2, Q_BODY_WEIGHT, 70) } },
    { "volume removed not known", Q_SPKTV, false, 0, "",
      { PRE(0, 100), POST(HOURS(4), 30), TIME(0, 240), WEIGHT(0, 70) } },
    { "time not known", Q_SPKTV, false, 0, "",
      { PRE(0, 100), POST(HOURS(4), 30), GONE(0, 3000), WEIGHT(0, 70) } },
    { "after is more than before", Q_SPKTV, false, 0, "",
      { PRE(0, 30), POST(HOURS(4), 100), TIME(0, 240), GONE(0, 3000),
        WEIGHT(0, 70) } },
    { "before was taken later", Q_SPKTV, false, 0, "",
      { POST(0, 30), PRE(HOURS(4), 100), TIME(0, 240), GONE(0, 3000),
        WEIGHT(0, 70) } },
    { "single pool, both", Q_SPKTV, false, 0, "1.4 6",
      { PRE(0, 100), POST(HOURS(4.2), 30), TIME(HOURS(0.1), 240),
        GONE(HOURS(4.1), 3000), WEIGHT(HOURS(4.3), 70), KTV(HOURS(4.3), 1.4) } },
    { "single pool, contradicted", Q_SPKTV, false, 0, "1.2 6!",
      { PRE(0, 100), POST(HOURS(4.2), 30), TIME(HOURS(0.1), 240),
        GONE(HOURS(4.1), 3000), WEIGHT(HOURS(4.3), 70), KTV(HOURS(4.3), 1.2) } },
    { "reduction", Q_URR, false, 0, "66.6667c2",
      { PRE(0, 60), POST(HOURS(4.2), 20) } },
    { "reduction, within half a day", Q_URR, false, 0, "66.6667c2",
      { PRE(0, 60), POST(HOURS(12) - SECOND, 20) } },
    { "reduction, after half a day", Q_URR, false, 0, "",
      { PRE(0, 60), POST(HOURS(12), 20) } },
    { "reduction, known to the day", Q_URR, false, 0, "66.6667c2",
      { POST(0, 20, .precision = AT_DAY), PRE(0, 60, .precision = AT_DAY) } },
    { "reduction, two days", Q_URR, false, 0, "",
      { PRE(0, 60, .precision = AT_DAY), POST(1, 20, .precision = AT_DAY) } },
    { "reduction of both substances", Q_URR, false, 0, "66.6667c4",
      { PRE(0, 60), POST(HOURS(4), 20), UREA(0, 21), UREAX(HOURS(4), 7) } },

    /* ---- standard: 2.0047 for 1.2 of 240 min three times, the rate
     * equation and Leypoldt 2004; "about 2.0" in KDOQI 2006 */
    { "standard", Q_STDKTV, false, 0, "2.00473c3",
      { KTV(10, 1.2), TIME(10, 240), WEEK(0, 3) } },
    { "standard, schedule not known", Q_STDKTV, false, 0, "",
      { KTV(10, 1.2), TIME(10, 240) } },
    { "standard, time not known", Q_STDKTV, false, 0, "",
      { KTV(10, 1.2), TIME(8, 240), WEEK(0, 3) } },
    { "standard, schedule of half a year", Q_STDKTV, false, 0, "2.00473c3",
      { KTV(180, 1.2), TIME(180, 240), WEEK(0, 3) } },
    { "standard, schedule of long ago", Q_STDKTV, false, 0, "",
      { KTV(180 + SECOND, 1.2), TIME(180 + SECOND, 240), WEEK(0, 3) } },
    { "standard, every other day", Q_STDKTV, false, 0, "",
      { KTV(10, 1.2), TIME(10, 240), WEEK(0, 3.5) } },
    { "standard, a later schedule is not that of before", Q_STDKTV, false, 0,
      "2.00473c3",
      { KTV(10, 1.2), TIME(10, 240), WEEK(0, 3), WEEK(20, 2) } },
    { "standard, with residual clearance", Q_STDKTV, false, 0, ">=2.00473c4",
      { KTV(10, 1.2), TIME(10, 240), WEEK(0, 3), KRU(5, 3) } },
    { "standard, no residual clearance", Q_STDKTV, false, 0, "2.00473c3",
      { KTV(10, 1.2), TIME(10, 240), WEEK(0, 3), KRU(5, 0) } },
    { "standard, sent", Q_STDKTV, false, 0, "2.1 4",
      { KTV(10, 1.2), TIME(10, 240), WEEK(0, 3), NUMBER(10, Q_STDKTV, 2.1) } },
    { "standard, more than at least", Q_STDKTV, false, 0, "2.6 5",
      { KTV(10, 1.2), TIME(10, 240), WEEK(0, 3), KRU(5, 3),
        NUMBER(10, Q_STDKTV, 2.6) } },
    { "standard, of a bound", Q_STDKTV, false, 0, "",
      { KTV(0, 1.2, .bound = BOUND_BELOW), TIME(0, 240), WEEK(0, 3) } },
    { "standard, of a contradicted one", Q_STDKTV, false, 0, "",
      { KTV(0, 1.2), KTV(HOURS(1), 1.6), TIME(0, 240), WEEK(0, 3) } },

    /* ---- what is only sent */
    { "recirculation", Q_RECIRCULATION, false, 0, "12 1",
      { NUMBER(0, Q_RECIRCULATION, 12), RECIRC(0, 20), PUMP(0, 300) } },
    { "nothing", Q_ACCESS_FLOW, false, 0, "", { { .day = 0 } } },
};
static const struct sided_case sided[] = {
    { { SIDE_LEFT, SIDE_RIGHT },
      { "two arms", Q_MEAN_PRESSURE, false, 0, "",
        { SYS(0, 140), DIA(0, 80) } } },
    { { SIDE_LEFT, SIDE_LEFT },
      { "one arm", Q_MEAN_PRESSURE, false, 0, "100c2",
        { SYS(0, 140), DIA(0, 80) } } },
    /* 60 / 150 */
    { { SIDE_LEFT, SIDE_RIGHT },
      { "finger", Q_DIGITAL_BRACHIAL_INDEX, false, SIDE_LEFT, "0.4c2",
        { FINGER(0, 60), SYS(0, 150) } } },
    { { SIDE_UNKNOWN, SIDE_RIGHT },
      { "finger of the access arm", Q_DIGITAL_BRACHIAL_INDEX, false, SIDE_LEFT, "0.4c2",
        { FINGER(0, 60), SYS(0, 150) } } },
    { { SIDE_LEFT, SIDE_LEFT },
      { "pressure of the same arm", Q_DIGITAL_BRACHIAL_INDEX, false, SIDE_LEFT, "",
        { FINGER(0, 60), SYS(0, 150) } } },
    { { SIDE_LEFT, SIDE_UNKNOWN },
      { "pressure of some arm", Q_DIGITAL_BRACHIAL_INDEX, false, SIDE_LEFT, "",
        { FINGER(0, 60), SYS(0, 150) } } },
    { { SIDE_RIGHT, SIDE_LEFT },
      { "finger of the other arm", Q_DIGITAL_BRACHIAL_INDEX, false, SIDE_LEFT, "",
        { FINGER(0, 60), SYS(0, 150) } } },
    { { SIDE_UNKNOWN, SIDE_RIGHT },
      { "no side known", Q_DIGITAL_BRACHIAL_INDEX, false, SIDE_UNKNOWN, "",
        { FINGER(0, 60), SYS(0, 150) } } },
};
/* clang-format on */

static struct history load(const struct event *events, struct reading *readings)
{
    return (struct history){ .access_type = SIGN_TYPE_AVF,
                             .now_s = kit_s(400),
                             .readings = readings,
                             .count = kit_readings(events, readings) };
}

static const char *line(const struct point *p, size_t count, char *text)
{
    static const char *const bounds[] = { "", "<", "<=", ">=", ">" };
    size_t len = 0;

    text[0] = '\0';
    for (size_t i = 0; i < count; i++)
        len += (size_t)snprintf(text + len, KIT_TEXT_SIZE - len,
                                "%s%s%.6g%s%zu%s%s%s", i > 0 ? " " : "",
                                bounds[p[i].bound], p[i].value,
                                p[i].computed ? "c" : " ", p[i].reading_count,
                                p[i].disagree ? "!" : "", p[i].again ? "a" : "",
                                p[i].restart ? "r" : "");
    return text;
}

static int is_wrong(const struct series_case *c, const struct history *h)
{
    struct point points[POINTS_MAX];
    char text[KIT_TEXT_SIZE];
    size_t n =
        series_collect(h, &policy, c->quantity, c->blank, points, POINTS_MAX);

    if (strcmp(line(points, n, text), c->want) == 0)
        return 0;
    print_error("%s: got \"%s\", not \"%s\"\n", c->name, text, c->want);
    return 1;
}

static void goes_together(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];
    int wrong = 0;

    (void)state;
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        struct history h = load(cases[i].events, readings);

        wrong += is_wrong(&cases[i], &h);
    }
    assert_int_equal(wrong, 0);
}

static void keeps_the_arms_apart(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];
    int wrong = 0;

    (void)state;
    for (size_t i = 0; i < sizeof(sided) / sizeof(sided[0]); i++) {
        struct history h = load(sided[i].plain.events, readings);

        h.side = sided[i].plain.side;
        readings[0].side = sided[i].sides[0];
        readings[1].side = sided[i].sides[1];
        wrong += is_wrong(&sided[i].plain, &h);
    }
    assert_int_equal(wrong, 0);
}

/* A result and its raw values, and replicates: what is said of them. */
static void tells_contradictions(void **state)
{
    /* Case A of the table of computed doses: R = 20/70, 4 h, 2.5 L, 75 kg
     * gives 1.471547. */
    static const struct event events[KIT_EVENTS_MAX] = {
        PRE(0, 70),
        POST(HOURS(4), 20),
        TIME(HOURS(4), 240),
        GONE(HOURS(4), 2500),
        WEIGHT(HOURS(4), 75),
        KTV(HOURS(4), 1.1),
        FLOW(30, 1000),
        FLOW(30 + HOURS(1), 1500),
        PRE(40, 70),
        POST(40 + HOURS(4), 20),
        TIME(40 + HOURS(4), 240),
        GONE(40 + HOURS(4), 2500),
        WEIGHT(40 + HOURS(4), 75),
        KTV(40 + HOURS(4), 1.47)
    };
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = { .access_type = SIGN_TYPE_AVF,
                         .now_s = kit_s(50),
                         .readings = readings };
    static const struct event rising[] = { UREA(0, 20),
                                           UREAX(HOURS(4), 20),
                                           { .day = 0 } };
    struct contradiction list[4];

    (void)state;
    h.count = kit_readings(events, readings);
    assert_int_equal(series_contradictions(&h, &policy, kit_s(0), list, 4), 2);
    assert_int_equal(list[0].quantity, Q_ACCESS_FLOW);
    assert_true(isnan(list[0].computed));
    assert_int_equal(list[0].sent.reading_count, 2);
    assert_int_equal(list[1].quantity, Q_SPKTV);
    assert_near(list[1].sent.value, 1.1, 1e-12);
    assert_near(list[1].computed, 1.471547, 1e-6);
    assert_int_equal(list[1].raw_count, 5);
    assert_int_equal(series_contradictions(&h, &policy, kit_s(1), list, 4), 1);
    assert_int_equal(series_contradictions(&h, &policy, kit_s(0), list, 1), 1);
    /* urea that rises during a treatment */
    h.count = kit_readings(rising, readings);
    assert_int_equal(series_contradictions(&h, &policy, kit_s(0), list, 4), 1);
    assert_true(list[0].impossible);
    assert_int_equal(list[0].quantity, Q_UREA_POST);
    assert_int_equal(readings[list[0].raw[0]].quantity, Q_UREA_PRE);
}

/* The key raw value names the method; dialysance is a method by itself. */
static void names_the_method(void **state)
{
    const struct event events[] = {
        RECIRC(0, 20, DILUTION), PUMP(0, 300, DUPLEX), DIAL(14, 200),
        DIALX(14, 160),          { .day = 0 },
    };
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = load(events, readings);
    struct point points[4];

    (void)state;
    assert_int_equal(
        series_collect(&h, &policy, Q_ACCESS_FLOW, false, points, 4), 2);
    assert_int_equal(points[0].method, METHOD_ULTRASOUND_DILUTION);
    assert_int_equal(points[1].method, METHOD_IONIC_DIALYSANCE);
}

/* The time is that of the first raw value, but not of what stands for long. */
static void has_the_time_of_its_session(void **state)
{
    const struct event events[] = {
        WEEK(0, 3),
        TIME(10, 240),
        KTV(10 + HOURS(1), 1.2),
        { .day = 0 },
    };
    const struct event urea[] = { PRE(3, 60),
                                  POST(3 + HOURS(4), 20),
                                  { .day = 0 } };
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = load(events, readings);
    struct point points[4];

    (void)state;
    assert_int_equal(series_collect(&h, &policy, Q_STDKTV, false, points, 4),
                     1);
    assert_int_equal(points[0].at_s, kit_s(10 + HOURS(1)));
    h = load(urea, readings);
    assert_int_equal(series_collect(&h, &policy, Q_URR, false, points, 4), 1);
    assert_int_equal(points[0].at_s, kit_s(3));
    assert_int_equal(points[0].readings[0], 0);
    assert_int_equal(points[0].readings[1], 1);
}

/* Published: 2.18 for 1.4 of 240 min three times, by Tattersall's equation
 * and Leypoldt's, in the code that goes with Semin Dial 2004;17:142. */
static void uses_the_form_of_the_site(void **state)
{
    const struct event events[] = {
        KTV(0, 1.4), TIME(0, 240), WEEK(0, 3), { .day = 0 }
    };
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = load(events, readings);
    struct policy other = policy;
    struct point p;

    (void)state;
    other.values[P_AD1_EKTV].value = EKTV_TATTERSALL;
    assert_int_equal(series_collect(&h, &other, Q_STDKTV, false, &p, 1), 1);
    assert_near(p.value, 2.18, 0.005);
    other.values[P_AD1_EKTV].value = EKTV_RATE;
    assert_int_equal(series_collect(&h, &other, Q_STDKTV, false, &p, 1), 1);
    assert_true(fabs(p.value - 2.1818) > 0.001);
}

static void keeps_the_newest(void **state)
{
    struct event events[KIT_EVENTS_MAX + 1] = { 0 };
    struct reading readings[KIT_EVENTS_MAX];
    struct point points[5];
    struct history h;
    size_t n = 0;

    (void)state;
    for (int i = 0; i < 10; i++) {
        events[n++] = (struct event)RECIRC(7 * i, 20);
        events[n++] = (struct event)PUMP(7 * i, 300);
        events[n++] = (struct event)FLOW(7 * i + 3, 1000 + i);
    }
    h = load(events, readings);
    assert_int_equal(
        series_collect(&h, &policy, Q_ACCESS_FLOW, false, points, 5), 5);
    assert_near(points[0].value, 1007, 0);
    assert_near(points[1].value, 1200, 1e-9);
    assert_near(points[4].value, 1009, 0);
}

/* As many raw values as a history holds. */
static void takes_any_number(void **state)
{
    static struct reading readings[HISTORY_READINGS_MAX];
    static struct point points[POINTS_MAX];
    struct history h = { .readings = readings, .count = HISTORY_READINGS_MAX };

    (void)state;
    for (size_t i = 0; i < HISTORY_READINGS_MAX; i++)
        readings[i] =
            (struct reading){ .id = (int64_t)(i / 2),
                              .quantity = i % 2 == 0 ? Q_SYSTOLIC_PRESSURE
                                                     : Q_DIASTOLIC_PRESSURE,
                              .start_s = kit_s((double)(i / 2) * HOURS(2)),
                              .end_s = kit_s((double)(i / 2) * HOURS(2)) + 1,
                              .value = i % 2 == 0 ? 140 : 80 };
    assert_int_equal(
        series_collect(&h, &policy, Q_MEAN_PRESSURE, false, points, POINTS_MAX),
        1024 / 3 + 1);
}

static const struct {
    const char *name;
    bool low;
    double mean, usual; /* at the flow; NAN not known */
    struct event events[16];
} pressures[] = {
    /* clang-format off */
    { "15 % lower", false, 85, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), MEAN(6, 85), FLOW(6, 450) } },
    { "lower still", true, 84.9, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), MEAN(6, 84.9),
        FLOW(6, 450) } },
    { "the middle one is usual", true, 84.9, 100,
      { MEAN(0, 100), MEAN(2, 60), MEAN(4, 140), MEAN(6, 84.9),
        FLOW(6, 450) } },
    { "of four, between the middle two", false, 85, 95,
      { MEAN(0, 100), MEAN(2, 60), MEAN(3, 90), MEAN(4, 140), MEAN(6, 85),
        FLOW(6, 450) } },
    { "two sessions are too few", false, 60, NAN,
      { MEAN(0, 100), MEAN(2, 100), MEAN(6, 60), FLOW(6, 450) } },
    { "one session is one", false, 60, NAN,
      { MEAN(0, 100), MEAN(HOURS(1), 100), MEAN(HOURS(5), 100), MEAN(2, 100),
        MEAN(6, 60), FLOW(6, 450) } },
    { "not known now", false, NAN, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), MEAN(5, 60), FLOW(6, 450) } },
    { "later sessions are not usual yet", false, 60, NAN,
      { MEAN(6, 60), FLOW(6, 450), MEAN(8, 100), MEAN(10, 100),
        MEAN(12, 100) } },
    { "the nearest of the session", true, 70, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), MEAN(6, 100),
        FLOW(6 + HOURS(3), 450), MEAN(6 + HOURS(3.5), 70) } },
    { "early in the session", false, 100, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), MEAN(6, 100),
        FLOW(6 + HOURS(0.5), 450), MEAN(6 + HOURS(3.5), 70) } },
    { "by the cuff", true, 80, 100,
      { SYS(0, 140), DIA(0, 80), SYS(2, 140), DIA(2, 80), SYS(4, 140),
        DIA(4, 80), SYS(6, 120), DIA(6, 60), FLOW(6, 450) } },
    { "a systolic pressure alone is nearer", true, 80, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), SYS(6, 120), DIA(6, 60),
        SYS(6 + HOURS(1), 110), FLOW(6 + HOURS(1), 450) } },
    { "pressures that swing are usual too", true, 70, 85,
      { MEAN(0, 100), MEAN(HOURS(3), 70), MEAN(2, 100), MEAN(2 + HOURS(3), 70),
        MEAN(4, 100), MEAN(4 + HOURS(3), 70), MEAN(6, 70), FLOW(6, 450) } },
    { "by the cuff too", true, 70, 85,
      { SYS(0, 140), DIA(0, 80), SYS(HOURS(3), 90), DIA(HOURS(3), 60),
        SYS(2, 140), DIA(2, 80), SYS(2 + HOURS(3), 90), DIA(2 + HOURS(3), 60),
        SYS(4, 140), DIA(4, 80), SYS(4 + HOURS(3), 90), DIA(4 + HOURS(3), 60),
        MEAN(6, 70), FLOW(6, 450) } },
    { "contradicted ones are not", false, 70, NAN,
      { MEAN(0, 100), SYS(0, 200), DIA(0, 80), MEAN(2, 100), MEAN(4, 100),
        MEAN(6, 70), FLOW(6, 450) } },
    { "contradicted now", false, NAN, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), MEAN(6, 70), SYS(6, 140),
        DIA(6, 80), FLOW(6, 450) } },
    { "withdrawn", false, NAN, 100,
      { MEAN(0, 100), MEAN(2, 100), MEAN(4, 100), MEAN(6, 70, WITHDRAWN),
        FLOW(6, 450) } },
    /* clang-format on */
};

static void assert_pressure(const char *name, double got, double want)
{
    if (isnan(want) ? !isnan(got) : !(fabs(got - want) < 1e-9))
        fail_msg("%s: pressure %g, not %g", name, got, want);
}

static void marks_low_pressure(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];
    double mean, usual;
    struct point p;

    (void)state;
    for (size_t i = 0; i < sizeof(pressures) / sizeof(pressures[0]); i++) {
        struct history h = load(pressures[i].events, readings);

        assert_int_equal(
            series_collect(&h, &policy, Q_ACCESS_FLOW, true, &p, 1), 1);
        series_mark_low_pressure(&h, &policy, &p, 1);
        series_pressure_at(&h, &policy, p.readings[0], &mean, &usual);
        if (p.low_pressure != pressures[i].low)
            fail_msg("%s", pressures[i].name);
        assert_pressure(pressures[i].name, mean, pressures[i].mean);
        assert_pressure(pressures[i].name, usual, pressures[i].usual);
    }
}

/* Only the newest twelve sessions are usual. */
static void forgets_what_was_usual(void **state)
{
    struct event events[KIT_EVENTS_MAX + 1] = { 0 };
    struct reading readings[KIT_EVENTS_MAX];
    double mean, usual;
    struct history h;
    size_t n = 0;

    (void)state;
    for (int i = 0; i < 20; i++)
        events[n++] = (struct event)MEAN(2 * i, i < 8 ? 140 : 90);
    events[n++] = (struct event)FLOW(42, 450);
    h = load(events, readings);
    series_pressure_at(&h, &policy, 20, &mean, &usual);
    assert_near(usual, 90, 0);
    assert_true(isnan(mean));
}

static void finds_the_newest(void **state)
{
    const struct event events[] = {
        WEEK(0, 2),
        WEEK(10, 3),
        WEEK(20, 4, EARLY),
        WEEK(21, 5, WITHDRAWN),
        WEEK(22, 6, .bound = BOUND_AT_LEAST),
        WEEK(23, NAN),
        WEEK(24, 7, .precision = AT_MONTH),
        { .day = 0 },
    };
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = load(events, readings);
    size_t index = 99;

    (void)state;
    assert_near(series_newest(&h, Q_SESSIONS_PER_WEEK, kit_s(30), 20, &index),
                3, 0);
    assert_int_equal(index, 1);
    assert_true(
        isnan(series_newest(&h, Q_SESSIONS_PER_WEEK, kit_s(30) + 1, 20, NULL)));
    assert_near(series_newest(&h, Q_SESSIONS_PER_WEEK, kit_s(10), 1, NULL), 3,
                0);
    assert_near(series_newest(&h, Q_SESSIONS_PER_WEEK, kit_s(10) - 1, 20, NULL),
                2, 0);
    assert_true(
        isnan(series_newest(&h, Q_KTV_UNSPECIFIED, kit_s(30), 99, NULL)));
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
        cmocka_unit_test(goes_together),
        cmocka_unit_test(keeps_the_arms_apart),
        cmocka_unit_test(tells_contradictions),
        cmocka_unit_test(names_the_method),
        cmocka_unit_test(has_the_time_of_its_session),
        cmocka_unit_test(uses_the_form_of_the_site),
        cmocka_unit_test(keeps_the_newest),
        cmocka_unit_test(takes_any_number),
        cmocka_unit_test(marks_low_pressure),
        cmocka_unit_test(forgets_what_was_usual),
        cmocka_unit_test(finds_the_newest),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}

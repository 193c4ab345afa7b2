/*
 * flow - formulas of access flow, of what the heart gives, and of pressures
 *
 * Pure arithmetic: each function turns measured numbers into one more number
 * and writes it only on ERR_OK.  Every one answers ERR_RANGE if an input is
 * outside the range stated or is not a number, and if the result would not be
 * finite; what else can go wrong is said where it can.
 *
 * "hard range of Q_..." is the range of that row in planner/quantity.h, the
 * one place where plausible limits stand.  Only inputs are judged here; what
 * comes out is judged by whoever keeps it, with quantity_judge().
 *
 * Marks behind a source, so that a reader sees how far to trust a line:
 *   F   found in the published source named
 *   F2  found on a secondary page
 *   M   standard or from memory; to be checked before clinical use
 *   C   follows by arithmetic from what is stated beside it
 *   P   proposed default without a direct source
 */
#ifndef HEADGATE_PLANNER_FLOW_H
#define HEADGATE_PLANNER_FLOW_H

#include "planner/err.h"
#include "planner/reading.h"
#include <stdbool.h>
#include <stddef.h>

/* ---- access flow --------------------------------------------------------- */

/*
 * flow_reversed - access flow from recirculation with reversed lines
 *
 *     Qa = Qb * (1/R - 1)
 *
 * qb_ml_min    pump flow as measured, not as set; hard range of Q_PUMP_FLOW
 * recirc_frac  recirculation as a fraction, not per cent; 0 < R < 1
 *
 * Small R is a poor measurement: dQa/Qa = dR / (R (1 - R)), so one percentage
 * point of R is 11 % of Qa at R = 0.10 and 4 % at R = 0.50 (C).
 *
 * Source: Krivitski, Kidney Int 1995;48:244-250 (F).
 */
MUST_CHECK enum err flow_reversed(double qb_ml_min, double recirc_frac,
                                  double *qa_ml_min);

/*
 * flow_reversed_uf - the same while ultrafiltration goes on
 *
 *     Qa = (Qb - Quf) * (1 - R) / R
 *
 * quf_ml_min  ultrafiltration rate; 0 <= Quf < Qb
 *
 * Source: Mercadal et al., Kidney Int 1999;56:1560-5 (F).
 */
MUST_CHECK enum err flow_reversed_uf(double qb_ml_min, double quf_ml_min,
                                     double recirc_frac, double *qa_ml_min);

/*
 * flow_reversed_cpr - access flow by constant infusion, with the part of the
 * indicator that returns through heart and lungs
 *
 *     Qa = (1 - Rx) / (Rx (1 - CPR)) * (Qb,x - Quf)
 *
 * reversed_qb_ml_min    pump flow with reversed lines; Q_PUMP_FLOW
 * quf_ml_min            ultrafiltration rate; 0 <= Quf < Qb
 * reversed_recirc_frac  recirculation with reversed lines; 0 < Rx < 1
 * cpr_frac              cardiopulmonary recirculation, Qa/CO;
 *                       0 <= CPR <= FLOW_SHARE_MOST
 *
 * Source: Access flow by constant infusion, ASAIO J 1998 (F; citation M).
 */
MUST_CHECK enum err flow_reversed_cpr(double reversed_qb_ml_min,
                                      double quf_ml_min,
                                      double reversed_recirc_frac,
                                      double cpr_frac, double *qa_ml_min);

/*
 * flow_cpr - cardiopulmonary recirculation from both positions of the lines
 *
 *     CPR = [Rn (1 - Rx)] / [Rx (1 - Rn)] * (Qb,x - Quf) / Qb,n
 *
 * normal_qb_ml_min, reversed_qb_ml_min  pump flows; Q_PUMP_FLOW
 * quf_ml_min            ultrafiltration rate; 0 <= Quf < Qb,x
 * normal_recirc_frac    with the lines as usual; 0 <= Rn < 1
 * reversed_recirc_frac  with reversed lines; 0 < Rx < 1
 * cpr_frac              out: Qa/CO, below 1
 *
 * ERR_RANGE  also if the result is 1 or more: the two measurements contradict
 *            each other
 *
 * Source: as flow_reversed_cpr.
 */
MUST_CHECK enum err flow_cpr(double normal_qb_ml_min, double normal_recirc_frac,
                             double reversed_qb_ml_min, double quf_ml_min,
                             double reversed_recirc_frac, double *cpr_frac);

/*
 * flow_dialysance - access flow from ionic dialysance in both positions
 *
 *     Qa = (D - Quf) * Drev / (D - Drev)
 *
 * dialysance_ml_min  D, lines as usual; above 0
 * reversed_ml_min    Drev, lines reversed; 0 < Drev < D
 * quf_ml_min         ultrafiltration rate; 0 <= Quf < D
 *
 * Source: Mercadal et al., Kidney Int 1999;56:1560-5 (F).
 */
MUST_CHECK enum err flow_dialysance(double dialysance_ml_min,
                                    double reversed_ml_min, double quf_ml_min,
                                    double *qa_ml_min);

/* ---- the heart ----------------------------------------------------------- */

/*
 * flow_output_dilution - cardiac output from one bolus (Stewart-Hamilton)
 *
 *     CO = m / area        area: integral of the indicator over one passage
 *
 * indicator_ml  amount of indicator, as volume; above 0
 * area_frac_s   area under the concentration, as a volume fraction, times
 *               seconds, without recirculated indicator; above 0
 * co_l_min      out: litres per minute
 *
 * Source: Stewart-Hamilton equation, standard (M).
 */
MUST_CHECK enum err flow_output_dilution(double indicator_ml,
                                         double area_frac_s, double *co_l_min);

/* Temperatures of living blood (P): another scale is found out. */
#define FLOW_BLOOD_C_LEAST 25.0
#define FLOW_BLOOD_C_MOST  45.0

/* What is known of an injection of cold fluid. */
struct flow_injection {
    double volume_ml;   /* above 0 */
    double blood_c;     /* before it; FLOW_BLOOD_C_LEAST..MOST */
    double injectate_c; /* 0 or more, below the blood */
    double k1;          /* densities and heats, rho_i c_i / (rho_b c_b); above
                           0, about 1.08 */
    double k2;          /* what the catheter leaves of the cold; 0 < K2 <= 1 */
    double area_c_s;    /* integral of the fall of temperature; above 0 */
};

/*
 * flow_output_thermal - cardiac output by thermodilution
 *
 *     CO = Vi (Tb - Ti) K1 K2 / area
 *
 * Source: standard (M).
 */
MUST_CHECK enum err flow_output_thermal(const struct flow_injection *injection,
                                        double *co_l_min);

/*
 * flow_share - the part of the cardiac output that runs through the access
 *
 *     share = Qa / CO
 *
 * qa_ml_min   hard range of Q_ACCESS_FLOW
 * co_l_min    hard range of Q_CARDIAC_OUTPUT: litres, not millilitres
 * share_frac  out: 0..FLOW_SHARE_MOST, a fraction
 *
 * ERR_RANGE  also if the share is above FLOW_SHARE_MOST: one of the two was
 *            measured wrongly
 *
 * Source: Pandeya and Lindsay, ASAIO J 1999;45:135-8 (F); the limit is P.
 */
MUST_CHECK enum err flow_share(double qa_ml_min, double co_l_min,
                               double *share_frac);

/*
 * flow_mean_pressure - mean arterial pressure from a cuff
 *
 *     MAP = (systolic + 2 * diastolic) / 3
 *
 * systolic_mmhg, diastolic_mmhg  hard ranges of Q_SYSTOLIC_PRESSURE and
 *                                Q_DIASTOLIC_PRESSURE; diastolic < systolic
 *
 * Source: standard (M).
 */
MUST_CHECK enum err flow_mean_pressure(double systolic_mmhg,
                                       double diastolic_mmhg, double *map_mmhg);

/*
 * flow_at_100 - the flow that a mean pressure of 100 mmHg would have driven
 *
 *     Qa * 100 / MAP
 *
 * It explains a change; it must not trigger anything: scaled flow predicted
 * graft thrombosis worse (area under the curve 0.78) than flow itself (0.84;
 * Paulson et al., AJKD 2000;35:1089-95, F).
 *
 * qa_ml_min  hard range of Q_ACCESS_FLOW
 * map_mmhg   hard range of Q_MEAN_PRESSURE
 *
 * Source: Variation of intra-access flow early and late into haemodialysis,
 * ASAIO J 2000 (F; citation M).
 */
MUST_CHECK enum err flow_at_100(double qa_ml_min, double map_mmhg,
                                double *scaled_ml_min);

/* ---- pressure in the access, recirculation, the hand ---------------------- */

/* Height of the chamber above the chair arm (P); metres are not found out. */
#define FLOW_CHAMBER_CM_LEAST 0.0
#define FLOW_CHAMBER_CM_MOST  100.0

/*
 * flow_static_pressure - pressure inside the access from a venous chamber
 *
 *     eIAP = Pv + 0.35 * H + 3.4
 *
 * venous_mmhg  pump off and line clamped for 30 s; hard range of
 *              Q_STATIC_VENOUS_PRESSURE
 * chamber_cm   height of the blood level in the drip chamber above the arm of
 *              the chair; FLOW_CHAMBER_CM_LEAST..MOST
 *
 * Source: table of pressure protocols of the JASN review (F).
 */
MUST_CHECK enum err flow_static_pressure(double venous_mmhg, double chamber_cm,
                                         double *eiap_mmhg);

/*
 * flow_static_ratio - the same as a part of the mean arterial pressure
 *
 *     ratio = eIAP / MAP
 *
 * eiap_mmhg  hard range of Q_STATIC_ACCESS_PRESSURE
 * map_mmhg   hard range of Q_MEAN_PRESSURE
 *
 * Source: as flow_static_pressure.
 */
MUST_CHECK enum err flow_static_ratio(double eiap_mmhg, double map_mmhg,
                                      double *ratio);

/*
 * flow_recirc_urea - access recirculation from three samples of urea
 *
 *     R % = 100 * (P - A) / (P - V)
 *
 * peripheral, arterial, venous  systemic, arterial line, venous line; in one
 *                               unit, whichever; 0 <= V <= A <= P and V < P
 * recirc_pct                    out: per cent, 0..100
 *
 * An arterial sample above the systemic one is noise or a mixed-up tube; it
 * is refused and not called "no recirculation".
 *
 * Source: widely printed (M).
 */
MUST_CHECK enum err flow_recirc_urea(double peripheral, double arterial,
                                     double venous, double *recirc_pct);

/*
 * flow_finger_index - digital-brachial index
 *
 *     DBI = finger systolic / brachial systolic of the other arm
 *
 * finger_mmhg    hard range of Q_DIGITAL_PRESSURE; 0 is a real result
 * brachial_mmhg  the arm without the access; hard range of
 *                Q_SYSTOLIC_PRESSURE
 *
 * Source: Schanzer et al., Vasc Med 2006 (F; citation M).
 */
MUST_CHECK enum err flow_finger_index(double finger_mmhg, double brachial_mmhg,
                                      double *dbi);

/* ---- size of the body ----------------------------------------------------- */

/*
 * flow_height_index - flow for the height of a person
 *
 *     index = Qa / h^2.7        mL/min/m^2.7
 *
 * qa_ml_min  hard range of Q_ACCESS_FLOW
 * height_m   metres; hard range of Q_HEIGHT
 *
 * Source: indexation of flow, high-flow fistulas and heart failure, J Nephrol
 * 2018 (F; citation M).
 */
MUST_CHECK enum err flow_height_index(double qa_ml_min, double height_m,
                                      double *index);

/*
 * flow_bsa_du_bois, flow_bsa_mosteller - body surface; shown, never decided on
 *
 *     Du Bois    0.007184 * W^0.425 * H^0.725
 *     Mosteller  sqrt(H * W / 3600)              H in centimetres
 *
 * height_m   metres; hard range of Q_HEIGHT
 * weight_kg  hard range of Q_BODY_WEIGHT
 *
 * Source: Du Bois, Arch Intern Med 1916;17:863-71; Mosteller, N Engl J Med
 * 1987;317:1098 (M).
 */
MUST_CHECK enum err flow_bsa_du_bois(double height_m, double weight_kg,
                                     double *bsa_m2);
MUST_CHECK enum err flow_bsa_mosteller(double height_m, double weight_kg,
                                       double *bsa_m2);

/* ---- change and repetition ------------------------------------------------ */

/*
 * flow_fall - fall in per cent of what was before; a rise is negative
 *
 *     fall % = 100 * (before - after) / before
 *
 * before  above 0
 * after   0 or more, in the same unit
 */
MUST_CHECK enum err flow_fall(double before, double after, double *fall_pct);

/* Two of one session are expected this near, in per cent of their mean.
 * Source: KDOQI 2006, "two within 10 %" (M). */
#define FLOW_AGREE_PCT 10.0

struct flow_repeat {
    double mean_ml_min;
    double spread_pct; /* largest less smallest, per cent of the mean */
    bool agree;        /* two of them differ by no more than the limit */
    bool again;        /* of two: a third is wanted; of three: all are */
};

/*
 * flow_pair - two measurements of one session as one result
 *
 * first_ml_min, second_ml_min  hard range of Q_ACCESS_FLOW, not both 0
 * agree_pct                    limit of the spread; above 0 to 100, per cent
 * repeat                       out
 */
MUST_CHECK enum err flow_pair(double first_ml_min, double second_ml_min,
                              double agree_pct, struct flow_repeat *repeat);

/*
 * flow_triple - a third measurement joined to a pair that did not agree
 *
 * The mean is that of all three, also when two lie close together.  The mean
 * of the closest two looks more precise and is less so: with normal errors
 * its variance is 0.638 of that of one reading, that of all three 0.333 (C,
 * simulated).  The three agree if the closest two do; if not, the session is
 * to be measured afresh.
 *
 * flow_ml_min  three flows; hard range of Q_ACCESS_FLOW, not all 0
 * agree_pct    as flow_pair; the closest two are held against their own mean
 *
 * Source: mean of three, earlier KDOQI text (F2); the closest pair judged:
 * Lieblein, J Res Natl Bur Stand 1952;48(3), paper 2311 (F); to accept on
 * the closest two is this project's choice (P).
 */
MUST_CHECK enum err flow_triple(const double flow_ml_min[3], double agree_pct,
                                struct flow_repeat *repeat);

/* ---- precision ------------------------------------------------------------ */

/* Coefficients of variation, per cent.  Below the least a fraction was meant:
 * no flow is measured that well (P). */
#define FLOW_CV_PCT_LEAST 0.5
#define FLOW_CV_PCT_MOST  100.0

/*
 * flow_mdc - least change between two single readings that is not noise
 *
 *     MDC % = 1.96 * sqrt(2) * CV        95 %, normal errors
 *
 * cv_pct  per cent, not a fraction; FLOW_CV_PCT_LEAST..MOST
 *
 * Source: arithmetic (C).
 */
MUST_CHECK enum err flow_mdc(double cv_pct, double *mdc_pct);

/* Most sessions, and most measurements in each, that a mean is taken of. */
enum { FLOW_MEAN_MOST = 100 };

/*
 * flow_mdc_means - the same between two means
 *
 * Each mean is of `sessions` sessions with `each` measurements in every one.
 * A reading is taken as truth + session error + measurement error, all errors
 * independent.  A published between-session CV is of single readings and so
 * holds the error of measurement too:
 *
 *     session^2 = between^2 - within^2
 *     MDC % = 1.96 * sqrt(2 * (session^2 + within^2 / each) / sessions)
 *
 * More measurements in one session therefore cannot help below the session
 * part: 14.2 and 7.7 % give 39 % for single readings, 35 % for means of three
 * of one session, 28 % for single readings of two sessions (C).
 *
 * within_cv_pct   repeatability inside one session; FLOW_CV_PCT_LEAST..MOST
 * between_cv_pct  single readings of different sessions; not below within
 * sessions, each  1..FLOW_MEAN_MOST
 *
 * Source: arithmetic (C).
 */
MUST_CHECK enum err flow_mdc_means(double within_cv_pct, double between_cv_pct,
                                   int sessions, int each, double *mdc_pct);

/* How well a method repeats itself, as published. */
struct flow_precision {
    enum method method;
    const char *when;      /* part of the dialysis, "" if not stated */
    double within_cv_pct;  /* NAN: not published as such */
    double between_cv_pct; /* of single readings; NAN: not published */
    const char *source;
    const char *mark; /* F, F2, M, C, P as above */
};

/* The i-th row, NULL past the last. */
const struct flow_precision *flow_precision(size_t i);

/*
 * flow_precision_of - the first row of a method
 *
 * ERR_ABSENT  nothing is known of the method
 */
MUST_CHECK enum err flow_precision_of(enum method method,
                                      const struct flow_precision **row);

#endif

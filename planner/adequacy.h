/*
 * adequacy - dose of dialysis from urea: what a session and a week removed
 *
 * Pure arithmetic: each function writes its result only on ERR_OK.  Every one
 * answers ERR_RANGE if an input is outside the range stated or is not a
 * number, and if the result would not be finite; what else can go wrong is
 * said where it can.
 *
 * "hard range of Q_..." is the range of that row in planner/quantity.h.
 * Times are minutes and volumes of fluid removed are millilitres here, as
 * everywhere inside; the formulas are printed as published, in hours (t) and
 * litres (UF).
 *
 * Marks behind a source: F found in the source named, F2 found on a secondary
 * page or in public code, M standard or from memory, C follows by arithmetic,
 * P proposed default.
 */
#ifndef HEADGATE_PLANNER_ADEQUACY_H
#define HEADGATE_PLANNER_ADEQUACY_H

#include "planner/err.h"
#include <stddef.h>

/*
 * adequacy_urr - urea reduction ratio
 *
 *     URR % = 100 * (1 - post / pre)
 *
 * pre, post  urea or urea nitrogen in one unit, whichever; 0 <= post < pre
 * urr_pct    out: per cent
 *
 * Source: standard (M).
 */
MUST_CHECK enum err adequacy_urr(double pre, double post, double *urr_pct);

/* Generation of urea during dialysis for three sessions a week, as part of
 * what is there before dialysis, per hour.  Source: Daugirdas, J Am Soc
 * Nephrol 1993;4:1205-13 (F). */
#define ADEQUACY_G_PER_H 0.008

/* The interval before a session, from start to start, days (P). */
#define ADEQUACY_PIDI_D_LEAST 0.5
#define ADEQUACY_PIDI_D_MOST  7.0

/*
 * adequacy_generation - the same factor for any schedule
 *
 *     g = 0.0174 / (PIDI - t / 24)
 *
 * pidi_d    preceding interval in days; ADEQUACY_PIDI_D_LEAST..MOST, longer
 *           than the session
 * time_min  hard range of Q_TREATMENT_TIME
 *
 * For the midweek session of three the constant above is nearer: in one
 * simulated pool spKt/V comes out -0.7 to 1.2 % off with it and 0.2 to 3.6 %
 * with this; one day apart at low doses this is up to 11 % high (C, measured
 * by tests/peers/kinetics.py).
 *
 * Source: Daugirdas et al., NDT 2013;28:2156-60 (M; in public code F2).
 */
MUST_CHECK enum err adequacy_generation(double pidi_d, double time_min,
                                        double *g_per_h);

/* One session, measured. */
struct adequacy_session {
    double pre, post;      /* urea in one unit; pre above 0, 0 <= post < pre */
    double time_min;       /* hard range of Q_TREATMENT_TIME */
    double uf_ml;          /* hard range of Q_UF_VOLUME */
    double post_weight_kg; /* hard range of Q_POST_WEIGHT */
    double g_per_h;        /* ADEQUACY_G_PER_H, or of adequacy_generation;
                              0..ADEQUACY_G_PER_H_MOST */
};

/* More than any schedule gives (P). */
#define ADEQUACY_G_PER_H_MOST 0.1

/*
 * adequacy_spktv - single-pool Kt/V (second generation)
 *
 *     spKt/V = -ln(R - g t) + (4 - 3.5 R) UF / W        R = post / pre
 *
 * spktv  out: above 0
 *
 * ERR_RANGE  also if R - g t <= 0: the post sample cannot be of this session;
 *            also if the result is not above 0
 *
 * Source: Daugirdas, J Am Soc Nephrol 1993;4:1205-13 (F).
 */
MUST_CHECK enum err adequacy_spktv(const struct adequacy_session *session,
                                   double *spktv);

/* ---- equilibrated Kt/V --------------------------------------------------- */

/*
 * The four published forms differ by up to 0.06 for one session: a site keeps
 * to one and prints its name.  sp is spKt/V, t hours, m minutes.
 *
 *                               arteriovenous                venous
 *     EKTV_RATE                 sp - 0.6 sp / t + 0.03       sp - 0.47 sp / t
 *                                                               + 0.02
 *     EKTV_TATTERSALL           sp m / (m + 35)              sp m / (m + 22)
 *     EKTV_TATTERSALL_MODIFIED  sp m / (m + 30.7)            not published
 *     EKTV_HEMO                 0.924 sp - 0.395 sp / t      not published
 *                                  + 0.056
 *
 * Sources: rate: Daugirdas and Schneditz, ASAIO J 1995;41:M719-24, both lines
 * quoted in J Am Soc Nephrol 2004;15:194-203 (F); Tattersall et al., Kidney
 * Int 1996;50:2094-102 (35 F, 22 F2); modified and HEMO: public code (F2, M).
 */
enum ektv_form {
    EKTV_RATE,
    EKTV_TATTERSALL,
    EKTV_TATTERSALL_MODIFIED,
    EKTV_HEMO
};
enum { EKTV_FORM_COUNT = EKTV_HEMO + 1 };

/* Where the blood is drawn from: a fistula or graft, or a catheter. */
enum ektv_blood { EKTV_ARTERIOVENOUS, EKTV_VENOUS };

/* "rate", "tattersall", "tattersall-modified", "hemo"; "" for none. */
const char *ektv_form_code(enum ektv_form form);

/* The published name, for print; "" for none. */
const char *ektv_form_display(enum ektv_form form);

/* Look a form up by its code (len bytes); ERR_UNKNOWN if there is none. */
MUST_CHECK enum err ektv_form_by_code(const char *code, size_t len,
                                      enum ektv_form *form);

/* No session delivers more.  Source: hard range of Kt/V (P). */
#define ADEQUACY_KTV_MOST 4.0

/*
 * adequacy_ektv - equilibrated Kt/V
 *
 * spktv     0..ADEQUACY_KTV_MOST
 * time_min  hard range of Q_TREATMENT_TIME
 *
 * ERR_ABSENT  the form is not published for this access
 * ERR_RANGE   also if the result is negative, as in a very short session
 *
 * Source: see enum ektv_form.
 */
MUST_CHECK enum err adequacy_ektv(enum ektv_form form, enum ektv_blood blood,
                                  double spktv, double time_min, double *ektv);

/* ---- standard Kt/V ------------------------------------------------------- */

/*
 * adequacy_stdktv_fixed - standard Kt/V of a week, volume taken as fixed
 *
 *     S = [10080 (1 - e^-x) / m] / [(1 - e^-x) / x + 10080 / (N m) - 1]
 *
 * ektv      x, equilibrated Kt/V of one session; 0..ADEQUACY_KTV_MOST; at 0
 *           (1 - e^-x)/x is taken as its limit, 1
 * time_min  m, hard range of Q_TREATMENT_TIME
 * sessions  N in a week; 1 or more, and N m below the 10080 min of a week
 *
 * Source: Leypoldt et al., Hemodial Int 2003; Semin Dial 2004;17:142 (F2).
 */
MUST_CHECK enum err adequacy_stdktv_fixed(double ektv, double time_min,
                                          int sessions, double *stdktv);

/* Volume of distribution of urea, litres (P): millilitres are found out. */
#define ADEQUACY_VOLUME_L_MOST 200.0

/* One week, of equal sessions. */
struct adequacy_week {
    double ektv, spktv; /* of each session; 0..ADEQUACY_KTV_MOST */
    double time_min;    /* hard range of Q_TREATMENT_TIME */
    int sessions;       /* as adequacy_stdktv_fixed */
    double uf_week_ml;  /* fluid removed in the whole week; 0 or more */
    double volume_l;    /* of urea, 0.90 of the Watson volume; above 0 to
                            ADEQUACY_VOLUME_L_MOST */
    double kru_ml_min;  /* hard range of Q_RESIDUAL_UREA_CLEARANCE */
};

/*
 * adequacy_stdktv - standard Kt/V with fluid removal and residual clearance
 *
 *     S / [1 - (0.74 / N) UFw / V]
 *         + Kru [0.974 / (spKt/V + 1.62) + 0.4] 10080 / V
 *
 * One secondary page prints 0.947 for 0.974.  The factor must be 1 where
 * there is no dialysis: 0.974 / 1.62 + 0.4 is 1.001, the misprint gives 0.985.
 *
 * ERR_RANGE  also if (0.74 / N) UFw / V >= 1: more fluid than there is
 *
 * Source: Daugirdas et al., Kidney Int 2010;77:637-44 (M; F2).
 */
MUST_CHECK enum err adequacy_stdktv(const struct adequacy_week *week,
                                    double *stdktv);

/* ---- protein, fluid, units ----------------------------------------------- */

/*
 * adequacy_npcr - normalised protein catabolic rate from the rise of urea
 *
 *     nPCR = 0.22 + 0.036 * 24 * (next pre - post) / hours      g/kg/day
 *
 * post_bun_mg_dl      after a session; hard range of Q_BUN_POST
 * next_pre_bun_mg_dl  before the next; hard range of Q_BUN_PRE; above post
 * interval_h          from the one sample to the other; 4..168
 *
 * Holds in a steady state and without much residual function.
 *
 * Source: public code (F2).
 */
MUST_CHECK enum err adequacy_npcr(double post_bun_mg_dl,
                                  double next_pre_bun_mg_dl, double interval_h,
                                  double *npcr_g_kg_d);

/*
 * adequacy_uf_rate - fluid removed per hour and kilogram
 *
 * uf_ml           hard range of Q_UF_VOLUME
 * time_min        hard range of Q_TREATMENT_TIME
 * post_weight_kg  hard range of Q_POST_WEIGHT
 *
 * Source: standard (M).
 */
MUST_CHECK enum err adequacy_uf_rate(double uf_ml, double time_min,
                                     double post_weight_kg,
                                     double *rate_ml_kg_h);

/*
 * adequacy_urea_from_bun, adequacy_bun_from_urea - one substance, two units
 *
 *     urea mmol/L = BUN mg/dL * 10 / 28.0134      (printed as 0.357)
 *
 * Urea nitrogen counts the two nitrogens of urea, 28.0134 g/mol.
 *
 * bun_mg_dl, urea_mmol_l  0 or more
 *
 * Source: standard atomic weights (C).
 */
MUST_CHECK enum err adequacy_urea_from_bun(double bun_mg_dl,
                                           double *urea_mmol_l);
MUST_CHECK enum err adequacy_bun_from_urea(double urea_mmol_l,
                                           double *bun_mg_dl);

#endif

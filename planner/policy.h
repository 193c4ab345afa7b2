/*
 * policy - the limits in force, each with its source and the mark of it
 *
 * No clinical limit stands in the code.  They come from one policy file that
 * a site approves; here is the list of what such a file must say, and the
 * form in which the rules read it.
 *
 * Marks say how strong a source is:
 *     F   found in the published source named
 *     F2  found on a secondary page
 *     M   from memory, to be checked against the paper
 *     C   computed from the formulas
 *     P   a proposed default without direct source, for local approval
 */
#ifndef HEADGATE_PLANNER_POLICY_H
#define HEADGATE_PLANNER_POLICY_H

#include "planner/err.h"

#include <stddef.h>

/* In rising order. */
enum urgency {
    URGENCY_NOTE,     /* no referral: a remark on what else is open */
    URGENCY_ROUTINE,  /* within 30 days */
    URGENCY_URGENT,   /* within 7 to 14 days */
    URGENCY_ASAP,     /* within 24 to 48 hours */
    URGENCY_IMMEDIATE /* minutes to hours: phone now */
};
const char *urgency_word(enum urgency u);

enum param_kind {
    PARAM_NUMBER,  /* any number in [least, most] */
    PARAM_COUNT,   /* a whole number */
    PARAM_URGENCY, /* note routine urgent asap immediate */
    PARAM_GRADE,   /* 0 1 2a 2b 3 4a 4b */
    PARAM_EKTV     /* a form of the equilibrated Kt/V, see adequacy.h */
};

/* X(name, section, key, kind, least, most) */
/* clang-format off */
#define PARAM_LIST(X) \
    X(P_SESSION_H, "general", "session_h", PARAM_NUMBER, 1, 12) \
    X(P_APART_H, "general", "apart_h", PARAM_NUMBER, 1, 48) \
    X(P_REPLICATE_SPREAD_PCT, "general", "replicate_spread_pct", PARAM_NUMBER, 1, 100) \
    X(P_THIRD_D, "general", "third_d", PARAM_COUNT, 1, 90) \
    X(P_HYSTERESIS_PCT, "general", "hysteresis_pct", PARAM_NUMBER, 0, 50) \
    X(P_COMPUTED_DIFFERENCE_PCT, "general", "computed_difference_pct", PARAM_NUMBER, 1, 50) \
    X(P_PRESSURE_FALL_PCT, "general", "pressure_fall_pct", PARAM_NUMBER, 5, 50) \
    X(P_PRESSURE_USUAL_READINGS, "general", "pressure_usual_readings", PARAM_COUNT, 1, 20) \
    X(P_BLANKING_D, "general", "blanking_d", PARAM_COUNT, 0, 60) \
    X(P_HISTORIC_D, "general", "historic_d", PARAM_COUNT, 1, 365) \
    X(P_LOOKBACK_D, "general", "lookback_d", PARAM_COUNT, 180, 3650) \
    X(P_YOUNG_ACCESS_D, "general", "young_access_d", PARAM_COUNT, 0, 365) \
    X(P_OUTFLOW_STENOSIS_PCT, "general", "outflow_stenosis_pct", PARAM_NUMBER, 20, 90) \
    X(P_ARM_DIFFERENCE_MMHG, "general", "arm_difference_mmhg", PARAM_NUMBER, 5, 60) \
    X(P_COMPRESSION_RISE_MMHG, "general", "compression_rise_mmhg", PARAM_NUMBER, 5, 100) \
    X(P_WORSENING_FLOW_PCT, "general", "worsening_flow_pct", PARAM_NUMBER, 1, 100) \
    X(P_UNANSWERED_D, "general", "unanswered_d", PARAM_COUNT, 1, 365) \
    X(P_ESCALATE_IMMEDIATE_H, "general", "escalate_immediate_h", PARAM_COUNT, 1, 72) \
    X(P_ESCALATE_ASAP_H, "general", "escalate_asap_h", PARAM_COUNT, 1, 336) \
    X(P_PUT_OFF_ASAP_D, "general", "put_off_asap_d", PARAM_COUNT, 1, 60) \
    X(P_PUT_OFF_URGENT_D, "general", "put_off_urgent_d", PARAM_COUNT, 1, 366) \
    X(P_PUT_OFF_ROUTINE_D, "general", "put_off_routine_d", PARAM_COUNT, 1, 366) \
    X(P_QUIET_FLOW_D, "general", "quiet_flow_d", PARAM_COUNT, 1, 730) \
    X(P_QUIET_HAND_D, "general", "quiet_hand_d", PARAM_COUNT, 1, 730) \
    X(P_QUIET_LOW_FLOW_D, "general", "quiet_low_flow_d", PARAM_COUNT, 1, 730) \
    X(P_QUIET_DOSE_D, "general", "quiet_dose_d", PARAM_COUNT, 1, 730) \
    X(P_QUIET_AFTER_BAND_D, "general", "quiet_after_band_d", PARAM_COUNT, 1, 730) \
    X(P_QUIET_FOLLOW_UP_D, "general", "quiet_follow_up_d", PARAM_COUNT, 1, 730) \
    X(P_QUIET_BLEEDING_D, "general", "quiet_bleeding_d", PARAM_COUNT, 1, 730) \
    X(P_QUIET_INFECTION_D, "general", "quiet_infection_d", PARAM_COUNT, 1, 730) \
    X(P_DUE_ROUTINE_D, "general", "due_routine_d", PARAM_COUNT, 1, 365) \
    X(P_DUE_URGENT_D, "general", "due_urgent_d", PARAM_COUNT, 1, 60) \
    X(P_DUE_EXAMINE_D, "general", "due_examine_d", PARAM_COUNT, 1, 60) \
    X(P_DUE_LOW_DOSE_D, "general", "due_low_dose_d", PARAM_COUNT, 1, 60) \
    X(P_DUE_ASAP_D, "general", "due_asap_d", PARAM_COUNT, 1, 14) \
    X(P_HF1_FLOW, "HF-1", "flow_ml_min", PARAM_NUMBER, 500, 8000) \
    X(P_HF1_READINGS, "HF-1", "readings", PARAM_COUNT, 1, 3) \
    X(P_HF1_OF_LAST, "HF-1", "of_last", PARAM_COUNT, 1, 5) \
    X(P_HF1_WINDOW_D, "HF-1", "window_d", PARAM_COUNT, 1, 365) \
    X(P_HF1_URGENCY, "HF-1", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_HF1_URGENCY_SIGN, "HF-1", "urgency_with_sign", PARAM_URGENCY, 0, 4) \
    X(P_HF1_SIGN_WINDOW_D, "HF-1", "sign_window_d", PARAM_COUNT, 1, 365) \
    X(P_HF2_FLOW, "HF-2", "flow_ml_min", PARAM_NUMBER, 500, 8000) \
    X(P_HF2_READINGS, "HF-2", "readings", PARAM_COUNT, 1, 3) \
    X(P_HF2_OF_LAST, "HF-2", "of_last", PARAM_COUNT, 1, 5) \
    X(P_HF2_WINDOW_D, "HF-2", "window_d", PARAM_COUNT, 1, 365) \
    X(P_HF2_URGENCY, "HF-2", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_HF3_RATIO, "HF-3", "ratio", PARAM_NUMBER, 0.05, 0.8) \
    X(P_HF3_FLOW, "HF-3", "flow_ml_min", PARAM_NUMBER, 200, 4000) \
    X(P_HF3_READINGS, "HF-3", "readings", PARAM_COUNT, 1, 3) \
    X(P_HF3_WINDOW_D, "HF-3", "window_d", PARAM_COUNT, 1, 730) \
    X(P_HF3_URGENCY, "HF-3", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_HF3_RATIO_SEVERE, "HF-3", "ratio_severe", PARAM_NUMBER, 0.05, 0.8) \
    X(P_HF3_FLOW_SEVERE, "HF-3", "flow_severe_ml_min", PARAM_NUMBER, 200, 4000) \
    X(P_HF3_REPEAT_D, "HF-3", "repeat_d", PARAM_COUNT, 1, 180) \
    X(P_HF3_URGENCY_SEVERE, "HF-3", "urgency_severe", PARAM_URGENCY, 0, 4) \
    X(P_HF4_WINDOW_D, "HF-4", "window_d", PARAM_COUNT, 1, 365) \
    X(P_HF4_SIGN_WINDOW_D, "HF-4", "sign_window_d", PARAM_COUNT, 1, 365) \
    X(P_HF4_URGENCY, "HF-4", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_HF4_URGENCY_ADMITTED, "HF-4", "urgency_admitted", PARAM_URGENCY, 0, 4) \
    X(P_HF5_TREATMENTS, "HF-5", "treatments", PARAM_COUNT, 2, 12) \
    X(P_HF5_PERIOD_D, "HF-5", "period_d", PARAM_COUNT, 30, 730) \
    X(P_HF5_FLOW, "HF-5", "flow_ml_min", PARAM_NUMBER, 500, 8000) \
    X(P_HF5_URGENCY, "HF-5", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_HF6_INDEX, "HF-6", "flow_per_height", PARAM_NUMBER, 100, 2000) \
    X(P_HF6_FLOW, "HF-6", "flow_ml_min", PARAM_NUMBER, 500, 8000) \
    X(P_HF6_URGENCY, "HF-6", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IS1_ONSET_H, "IS-1", "onset_h", PARAM_NUMBER, 1, 720) \
    X(P_IS1_TERRITORIES, "IS-1", "territories", PARAM_COUNT, 1, 3) \
    X(P_IS1_URGENCY, "IS-1", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IS2_GRADE, "IS-2", "grade", PARAM_GRADE, 1, 6) \
    X(P_IS2_URGENCY, "IS-2", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IS3_GRADE, "IS-3", "grade", PARAM_GRADE, 1, 6) \
    X(P_IS3_URGENCY, "IS-3", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IS3_URGENCY_MOTOR, "IS-3", "urgency_motor_loss", PARAM_URGENCY, 0, 4) \
    X(P_IS4_GRADE, "IS-4", "grade", PARAM_GRADE, 1, 6) \
    X(P_IS4_URGENCY, "IS-4", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IS4_GRADE_MILD, "IS-4", "grade_mild", PARAM_GRADE, 1, 6) \
    X(P_IS4_READINGS_MILD, "IS-4", "readings_mild", PARAM_COUNT, 1, 3) \
    X(P_IS4_WINDOW_D, "IS-4", "window_d", PARAM_COUNT, 1, 180) \
    X(P_IS4_URGENCY_MILD, "IS-4", "urgency_mild", PARAM_URGENCY, 0, 4) \
    X(P_IS5_PRESSURE, "IS-5", "pressure_mmhg", PARAM_NUMBER, 20, 120) \
    X(P_IS5_INDEX, "IS-5", "index", PARAM_NUMBER, 0.1, 1.0) \
    X(P_IS5_INDEX_SEVERE, "IS-5", "index_severe", PARAM_NUMBER, 0.1, 1.0) \
    X(P_IS5_REPEAT_D, "IS-5", "repeat_d", PARAM_COUNT, 1, 180) \
    X(P_IS5_SYMPTOM_WINDOW_D, "IS-5", "symptom_window_d", PARAM_COUNT, 1, 365) \
    X(P_IS5_URGENCY, "IS-5", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IS5_URGENCY_SEVERE, "IS-5", "urgency_severe", PARAM_URGENCY, 0, 4) \
    X(P_IS5_PRESSURE_SEVERE, "IS-5", "pressure_severe_mmhg", PARAM_NUMBER, 5, 60) \
    X(P_IS6_FLOW, "IS-6", "flow_ml_min", PARAM_NUMBER, 400, 3000) \
    X(P_IS6_WINDOW_D, "IS-6", "window_d", PARAM_COUNT, 1, 365) \
    X(P_IS7_FLOW, "IS-7", "flow_ml_min", PARAM_NUMBER, 400, 3000) \
    X(P_IS7_WINDOW_D, "IS-7", "window_d", PARAM_COUNT, 1, 365) \
    X(P_LF1_FLOW, "LF-1", "flow_ml_min", PARAM_NUMBER, 200, 1500) \
    X(P_LF1_READINGS, "LF-1", "readings", PARAM_COUNT, 1, 3) \
    X(P_LF1_OF_LAST, "LF-1", "of_last", PARAM_COUNT, 1, 5) \
    X(P_LF1_WINDOW_D, "LF-1", "window_d", PARAM_COUNT, 1, 365) \
    X(P_LF1_URGENCY, "LF-1", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_LF1_URGENCY_SIGN, "LF-1", "urgency_with_sign", PARAM_URGENCY, 0, 4) \
    X(P_LF1_SIGN_WINDOW_D, "LF-1", "sign_window_d", PARAM_COUNT, 1, 365) \
    X(P_LF2_FLOW, "LF-2", "flow_ml_min", PARAM_NUMBER, 200, 1500) \
    X(P_LF2_READINGS, "LF-2", "readings", PARAM_COUNT, 1, 3) \
    X(P_LF2_OF_LAST, "LF-2", "of_last", PARAM_COUNT, 1, 5) \
    X(P_LF2_WINDOW_D, "LF-2", "window_d", PARAM_COUNT, 1, 365) \
    X(P_LF2_URGENCY, "LF-2", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_LF2_URGENCY_SIGN, "LF-2", "urgency_with_sign", PARAM_URGENCY, 0, 4) \
    X(P_LF2_SIGN_WINDOW_D, "LF-2", "sign_window_d", PARAM_COUNT, 1, 365) \
    X(P_LF3_FALL_PCT, "LF-3", "fall_pct", PARAM_NUMBER, 10, 80) \
    X(P_LF3_FLOW, "LF-3", "flow_ml_min", PARAM_NUMBER, 200, 3000) \
    X(P_LF3_BASELINE_LEAST, "LF-3", "baseline_least", PARAM_COUNT, 1, 6) \
    X(P_LF3_BASELINE_MOST, "LF-3", "baseline_most", PARAM_COUNT, 1, 6) \
    X(P_LF3_BASELINE_D, "LF-3", "baseline_d", PARAM_COUNT, 30, 730) \
    X(P_LF3_READINGS, "LF-3", "readings", PARAM_COUNT, 1, 3) \
    X(P_LF3_OF_LAST, "LF-3", "of_last", PARAM_COUNT, 1, 5) \
    X(P_LF3_WINDOW_D, "LF-3", "window_d", PARAM_COUNT, 1, 365) \
    X(P_LF3_URGENCY, "LF-3", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_LF3_URGENCY_SIGN, "LF-3", "urgency_with_sign", PARAM_URGENCY, 0, 4) \
    X(P_LF3_SIGN_WINDOW_D, "LF-3", "sign_window_d", PARAM_COUNT, 1, 365) \
    X(P_LF4_RATIO_GRAFT, "LF-4", "ratio_graft", PARAM_NUMBER, 0.1, 1.2) \
    X(P_LF4_RATIO_FISTULA, "LF-4", "ratio_fistula", PARAM_NUMBER, 0.1, 1.2) \
    X(P_LF4_READINGS, "LF-4", "readings", PARAM_COUNT, 1, 5) \
    X(P_LF4_WINDOW_D, "LF-4", "window_d", PARAM_COUNT, 1, 365) \
    X(P_LF4_URGENCY, "LF-4", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_LF5_PCT, "LF-5", "recirculation_pct", PARAM_NUMBER, 1, 50) \
    X(P_LF5_DILUTION_PCT, "LF-5", "recirculation_dilution_pct", PARAM_NUMBER, 1, 50) \
    X(P_LF5_READINGS, "LF-5", "readings", PARAM_COUNT, 1, 3) \
    X(P_LF5_WINDOW_D, "LF-5", "window_d", PARAM_COUNT, 1, 365) \
    X(P_LF5_URGENCY, "LF-5", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_LF5_URGENCY_DOSE, "LF-5", "urgency_low_dose", PARAM_URGENCY, 0, 4) \
    X(P_LF6_URGENCY_THRILL_LOST, "LF-6", "urgency_thrill_lost", PARAM_URGENCY, 0, 4) \
    X(P_LF6_BLEEDING_SESSIONS, "LF-6", "bleeding_sessions", PARAM_COUNT, 1, 6) \
    X(P_LF6_PUMP_PCT, "LF-6", "pump_share_pct", PARAM_NUMBER, 50, 100) \
    X(P_LF6_PRESSURE, "LF-6", "pressure_mmhg", PARAM_NUMBER, -400, -100) \
    X(P_LF6_SESSIONS, "LF-6", "sessions", PARAM_COUNT, 1, 6) \
    X(P_LF6_SIGN_SESSIONS, "LF-6", "sign_sessions", PARAM_COUNT, 1, 6) \
    X(P_LF6_WINDOW_D, "LF-6", "window_d", PARAM_COUNT, 1, 365) \
    X(P_LF6_URGENCY, "LF-6", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_AD1_SPKTV, "AD-1", "spktv", PARAM_NUMBER, 0.5, 2) \
    X(P_AD1_SPKTV_SEVERE, "AD-1", "spktv_severe", PARAM_NUMBER, 0.3, 2) \
    X(P_AD1_STDKTV, "AD-1", "stdktv", PARAM_NUMBER, 1, 4) \
    X(P_AD1_URR_PCT, "AD-1", "urr_pct", PARAM_NUMBER, 30, 90) \
    X(P_AD1_KRU, "AD-1", "kru_ml_min", PARAM_NUMBER, 0, 10) \
    X(P_AD1_EKTV, "AD-1", "ektv", PARAM_EKTV, 0, 3) \
    X(P_AD1_READINGS, "AD-1", "readings", PARAM_COUNT, 1, 3) \
    X(P_AD1_APART_D, "AD-1", "apart_d", PARAM_COUNT, 0, 60) \
    X(P_AD1_WINDOW_D, "AD-1", "window_d", PARAM_COUNT, 1, 365) \
    X(P_AD1_URGENCY, "AD-1", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_AD1_URGENCY_SEVERE, "AD-1", "urgency_severe", PARAM_URGENCY, 0, 4) \
    X(P_AD2_FALL, "AD-2", "fall", PARAM_NUMBER, 0.05, 1) \
    X(P_AD2_BASELINE_LEAST, "AD-2", "baseline_least", PARAM_COUNT, 1, 6) \
    X(P_AD2_BASELINE_MOST, "AD-2", "baseline_most", PARAM_COUNT, 1, 6) \
    X(P_AD2_SAME_PCT, "AD-2", "same_pct", PARAM_NUMBER, 1, 50) \
    X(P_AD2_READINGS, "AD-2", "readings", PARAM_COUNT, 1, 3) \
    X(P_AD2_WINDOW_D, "AD-2", "window_d", PARAM_COUNT, 1, 365) \
    X(P_AD2_URGENCY, "AD-2", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_PB1_SESSION_D, "PB-1", "first_session_d", PARAM_NUMBER, 1, 14) \
    X(P_PB1_EARLY_D, "PB-1", "early_d", PARAM_NUMBER, 3, 60) \
    X(P_PB1_MONTH_D, "PB-1", "month_d", PARAM_NUMBER, 14, 90) \
    X(P_PB1_QUARTER_D, "PB-1", "quarter_d", PARAM_NUMBER, 45, 180) \
    X(P_PB1_HALF_YEAR_D, "PB-1", "half_year_d", PARAM_NUMBER, 100, 365) \
    X(P_PB1_INTERVAL_D, "PB-1", "interval_d", PARAM_NUMBER, 30, 730) \
    X(P_PB1_INTERVAL_CLOSE_D, "PB-1", "interval_close_d", PARAM_NUMBER, 30, 730) \
    X(P_PB1_CLOSE_FLOW, "PB-1", "close_flow_ml_min", PARAM_NUMBER, 300, 3000) \
    X(P_PB1_CLOSE_AGE, "PB-1", "close_age_y", PARAM_NUMBER, 0, 120) \
    X(P_PB1_WINDOW_PCT, "PB-1", "window_pct", PARAM_NUMBER, 1, 50) \
    X(P_PB1_URGENCY, "PB-1", "urgency_overdue", PARAM_URGENCY, 0, 4) \
    X(P_PB2_FLOW_FISTULA, "PB-2", "flow_fistula_ml_min", PARAM_NUMBER, 200, 1500) \
    X(P_PB2_FLOW_GRAFT, "PB-2", "flow_graft_ml_min", PARAM_NUMBER, 200, 1500) \
    X(P_PB2_MARGIN, "PB-2", "margin_ml_min", PARAM_NUMBER, 0, 500) \
    X(P_PB2_PRESSURE, "PB-2", "pressure_mmhg", PARAM_NUMBER, -400, -100) \
    X(P_PB2_DOSE_FALL, "PB-2", "dose_fall", PARAM_NUMBER, 0.05, 1) \
    X(P_PB2_EARLY_D, "PB-2", "early_d", PARAM_COUNT, 1, 180) \
    X(P_PB2_READINGS_LATER, "PB-2", "readings_later", PARAM_COUNT, 1, 3) \
    X(P_PB2_WINDOW_D, "PB-2", "window_d", PARAM_COUNT, 1, 365) \
    X(P_PB2_URGENCY, "PB-2", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_PB3_HAND_WINDOW_D, "PB-3", "hand_window_d", PARAM_COUNT, 1, 365) \
    X(P_PB3_AFTER_D, "PB-3", "after_d", PARAM_NUMBER, 0, 60) \
    X(P_PB3_FALL_PCT, "PB-3", "fall_pct", PARAM_NUMBER, 1, 90) \
    X(P_PB3_REPEAT_D, "PB-3", "repeat_d", PARAM_COUNT, 1, 180) \
    X(P_PB3_URGENCY, "PB-3", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_PB3_URGENCY_SEVERE, "PB-3", "urgency_severe", PARAM_URGENCY, 0, 4) \
    X(P_PB4_RISE_PCT, "PB-4", "rise_pct", PARAM_NUMBER, 1, 300) \
    X(P_PB4_RISE_FLOW, "PB-4", "rise_flow_ml_min", PARAM_NUMBER, 300, 5000) \
    X(P_PB4_FLOW, "PB-4", "flow_ml_min", PARAM_NUMBER, 500, 8000) \
    X(P_PB4_RISE_LEAST_PCT, "PB-4", "rise_least_pct", PARAM_NUMBER, 1, 300) \
    X(P_PB4_READINGS, "PB-4", "readings", PARAM_COUNT, 1, 3) \
    X(P_PB4_WINDOW_D, "PB-4", "window_d", PARAM_COUNT, 1, 365) \
    X(P_PB4_URGENCY, "PB-4", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_PB4_URGENCY_SIGN, "PB-4", "urgency_with_sign", PARAM_URGENCY, 0, 4) \
    X(P_BL1_URGENCY, "BL-1", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IN1_URGENCY, "IN-1", "urgency", PARAM_URGENCY, 0, 4) \
    X(P_IN1_URGENCY_SEVERE, "IN-1", "urgency_severe", PARAM_URGENCY, 0, 4) \
    X(P_PLAN_FLOOR_FISTULA, "plan", "floor_fistula_ml_min", PARAM_NUMBER, 300, 1200) \
    X(P_PLAN_FLOOR_GRAFT, "plan", "floor_graft_ml_min", PARAM_NUMBER, 300, 1500) \
    X(P_PLAN_PUMP_MARGIN, "plan", "pump_margin_ml_min", PARAM_NUMBER, 0, 500) \
    X(P_PLAN_SHARE_LOW_PCT, "plan", "share_low_pct", PARAM_NUMBER, 10, 90) \
    X(P_PLAN_SHARE_HIGH_PCT, "plan", "share_high_pct", PARAM_NUMBER, 10, 90) \
    X(P_PLAN_CAP, "plan", "cap_ml_min", PARAM_NUMBER, 600, 4000) \
    X(P_PLAN_CAP_LOW, "plan", "cap_low_ml_min", PARAM_NUMBER, 500, 4000) \
    X(P_PLAN_WINDOW_LOW_FISTULA, "plan", "window_low_fistula_ml_min", PARAM_NUMBER, 300, 2000) \
    X(P_PLAN_WINDOW_LOW_GRAFT, "plan", "window_low_graft_ml_min", PARAM_NUMBER, 300, 2000) \
    X(P_PLAN_WINDOW_HIGH, "plan", "window_high_ml_min", PARAM_NUMBER, 500, 3000) \
    X(P_PLAN_INDEX_LEAST, "plan", "index_least", PARAM_NUMBER, 0.2, 1) \
    X(P_PLAN_PRESSURE_LEAST, "plan", "pressure_least_mmhg", PARAM_NUMBER, 20, 120) \
    X(P_PLAN_TIGHT_MOST_PCT, "plan", "tight_most_pct", PARAM_NUMBER, 1, 50) \
    X(P_PLAN_FLOOR_FIRST_MOST_PCT, "plan", "floor_first_most_pct", PARAM_NUMBER, 0.1, 20) \
    X(P_PLAN_FLOOR_MOST_PCT, "plan", "floor_most_pct", PARAM_NUMBER, 0.1, 20) \
    X(P_PLAN_RISK_INDEX, "plan", "risk_index", PARAM_NUMBER, 0.1, 0.8) \
    X(P_PLAN_RISK_INDEX_MOST_PCT, "plan", "risk_index_most_pct", PARAM_NUMBER, 1, 50) \
    X(P_PLAN_RISK_FALL, "plan", "risk_fall", PARAM_NUMBER, 0.02, 0.5) \
    X(P_PLAN_RISK_FALL_MOST_PCT, "plan", "risk_fall_most_pct", PARAM_NUMBER, 1, 90) \
    X(P_PLAN_VALID_D, "plan", "valid_d", PARAM_COUNT, 1, 365) \
    X(P_PLAN_CASE_H, "plan", "case_h", PARAM_NUMBER, 1, 72) \
    X(P_IS8_URGENCY_OPENING, "IS-8", "urgency_opening", PARAM_URGENCY, 0, 4) \
    X(P_IS8_URGENCY_RISE, "IS-8", "urgency_rise", PARAM_URGENCY, 0, 4) \
    X(P_IS8_URGENCY_UNMEASURED, "IS-8", "urgency_unmeasured", PARAM_URGENCY, 0, 4) \
    X(P_IS8_READINGS, "IS-8", "readings", PARAM_COUNT, 1, 3) \
    X(P_IS8_PAIR_D, "IS-8", "pair_d", PARAM_COUNT, 1, 120) \
    X(P_IS8_INDEX_D, "IS-8", "index_d", PARAM_COUNT, 1, 730)
/* clang-format on */

enum param {
#define PARAM_ENUM(name, section, key, kind, least, most) name,
    PARAM_LIST(PARAM_ENUM)
#undef PARAM_ENUM
        PARAM_TOTAL
};

struct param_info {
    const char *section, *key;
    enum param_kind kind;
    double least, most;
};
const struct param_info *param_info(enum param p);

/* Find a row by section and key; ERR_UNKNOWN if there is none. */
MUST_CHECK enum err param_by_name(const char *section, const char *key,
                                  enum param *p);

/* Read a value of a row's kind from text; ERR_FORM, ERR_RANGE. */
MUST_CHECK enum err param_read(enum param p, const char *text, double *value);

enum { POLICY_SOURCES_MAX = 64 };

struct policy_source {
    char key[16];       /* "BAS08" */
    char citation[240]; /* for a person */
};

struct policy_value {
    double value;    /* urgency and grade: the number of the enum */
    char mark[4];    /* F, F2, M, C or P */
    char source[64]; /* source keys, blank-separated; "" for mark P alone */
};

struct policy {
    char version[24];  /* as its approver numbers it */
    char approver[80]; /* a role, not a person's name */
    char date[11];     /* YYYY-MM-DD */
    struct policy_value values[PARAM_TOTAL];
    struct policy_source sources[POLICY_SOURCES_MAX];
    size_t source_count;
};

static inline double policy_get(const struct policy *p, enum param name)
{
    return p->values[name].value;
}
static inline int policy_count(const struct policy *p, enum param name)
{
    return (int)p->values[name].value;
}
static inline enum urgency policy_urgency(const struct policy *p,
                                          enum param name)
{
    return (enum urgency)p->values[name].value;
}

/* The citation of a source key; NULL if the policy has none. */
const char *policy_citation(const struct policy *p, const char *key,
                            size_t len);

/*
 * The rows must also agree with each other: a severe limit lies beyond the
 * plain one, HF-1 above HF-2 above LF.  ERR_CONFIG, with the first two rows
 * that do not fit: *at must not be above *beside.
 */
MUST_CHECK enum err policy_check(const struct policy *p, enum param *at,
                                 enum param *beside);

#endif

/* What each rule looks at, and what it takes to hold. */
#include "adapters/wording_work.h"

static const struct takes takes[RULE_COUNT] = {
    [RULE_HF_1] = { "usable access flow",
                    { Q_ACCESS_FLOW },
                    "a flow of {} or more, {}, at most {} days apart",
                    { P_HF1_FLOW, P_HF1_READINGS, P_HF1_WINDOW_D } },
    [RULE_HF_2] = { "usable access flow",
                    { Q_ACCESS_FLOW },
                    "a flow of {} or more, {}, at most {} days apart",
                    { P_HF2_FLOW, P_HF2_READINGS, P_HF2_WINDOW_D } },
    [RULE_HF_3] = { "cardiac output",
                    { Q_ACCESS_FLOW, Q_CARDIAC_OUTPUT },
                    "a share of {} or more at a flow of at least {}, {} "
                    "times in a row, or one of {} or more at a flow of at "
                    "least {}",
                    { P_HF3_RATIO, P_HF3_FLOW, P_HF3_READINGS,
                      P_HF3_RATIO_SEVERE, P_HF3_FLOW_SEVERE } },
    [RULE_HF_4] = { "sign of the heart",
                    { Q_HEART_FAILURE_SIGN, Q_ACCESS_FLOW },
                    "a sign of the heart of the last {} days, and of the last "
                    "{} days a flow of {} or more, or a share of {} or more",
                    { P_HF4_SIGN_WINDOW_D, P_HF4_WINDOW_D, P_HF2_FLOW,
                      P_HF3_RATIO } },
    [RULE_HF_5] = { "treatment of the outflow within the period",
                    { Q_ACCESS_INTERVENTION, Q_ACCESS_FLOW },
                    "{} treatments of the outflow or more within {} days, and "
                    "a flow after them of more than {}",
                    { P_HF5_TREATMENTS, P_HF5_PERIOD_D, P_HF5_FLOW } },
    [RULE_HF_6] = { "flow, or no height,",
                    { Q_ACCESS_FLOW, Q_HEIGHT },
                    "HF-1, and {} or more at a flow of at least {}",
                    { P_HF6_INDEX, P_HF6_FLOW } },
    [RULE_IS_1] = { "sign of the hand",
                    { Q_HAND_SYMPTOM },
                    "new weakness of the hand, or numbness in {} nerve "
                    "territories, that began within {} hours of the creation "
                    "of the access or of a procedure that raises its flow",
                    { P_IS1_TERRITORIES, P_IS1_ONSET_H } },
    [RULE_IS_2] = { "sign of the hand",
                    { Q_HAND_SYMPTOM, Q_HAND_ISCHAEMIA_GRADE },
                    "{} or worse, or a pale, cold, pulseless hand",
                    { P_IS2_GRADE } },
    [RULE_IS_3] = { "sign of the hand",
                    { Q_HAND_SYMPTOM, Q_HAND_ISCHAEMIA_GRADE },
                    "{} or worse, or new weakness of the hand",
                    { P_IS3_GRADE } },
    [RULE_IS_4] = { "sign of the hand",
                    { Q_HAND_SYMPTOM, Q_HAND_ISCHAEMIA_GRADE },
                    "{} once, or {} in {} sessions within {} days",
                    { P_IS4_GRADE, P_IS4_GRADE_MILD, P_IS4_READINGS_MILD,
                      P_IS4_WINDOW_D } },
    [RULE_IS_5] = { "finger pressure or index",
                    { Q_DIGITAL_PRESSURE, Q_DIGITAL_BRACHIAL_INDEX },
                    "a finger pressure below {} or an index below {}, twice "
                    "within {} days, with symptoms, or once a finger pressure "
                    "below {} or an index below {}",
                    { P_IS5_PRESSURE, P_IS5_INDEX, P_IS5_REPEAT_D,
                      P_IS5_PRESSURE_SEVERE, P_IS5_INDEX_SEVERE } },
    [RULE_IS_6] = { "usable access flow",
                    { Q_ACCESS_FLOW },
                    "ischaemia of the hand (IS-2 to IS-5), and a flow of {} "
                    "or more of the last {} days",
                    { P_IS6_FLOW, P_IS6_WINDOW_D } },
    [RULE_IS_7] = { "usable access flow",
                    { Q_ACCESS_FLOW },
                    "ischaemia of the hand (IS-2 to IS-5), and a flow below {} "
                    "of the last {} days",
                    { P_IS7_FLOW, P_IS7_WINDOW_D } },
    [RULE_IS_8] = { "outflow stenosis that is untreated, and no index of the "
                    "finger at an earlier flow that has risen since beyond "
                    "chance,",
                    { Q_DIGITAL_BRACHIAL_INDEX, Q_OUTFLOW_STENOSIS,
                      Q_ACCESS_FLOW },
                    "an outflow stenosis above {}, untreated, with flow and "
                    "static pressure of the last {} days, or an index of the "
                    "last {} days at a flow that has risen since by more than "
                    "chance, {} times in a row; and by prediction a chance of "
                    "more than {} of an "
                    "index below {}, or of more than {} of a fall by {}",
                    { P_OUTFLOW_STENOSIS_PCT, P_PLAN_VALID_D, P_IS8_INDEX_D,
                      P_IS8_READINGS, P_PLAN_RISK_INDEX_MOST_PCT,
                      P_PLAN_RISK_INDEX, P_PLAN_RISK_FALL_MOST_PCT,
                      P_PLAN_RISK_FALL } },
    [RULE_LF_1] = { "usable access flow",
                    { Q_ACCESS_FLOW },
                    "a flow below {}, {}, at most {} days apart",
                    { P_LF1_FLOW, P_LF1_READINGS, P_LF1_WINDOW_D } },
    [RULE_LF_2] = { "usable access flow",
                    { Q_ACCESS_FLOW },
                    "a flow below {}, {}, at most {} days apart",
                    { P_LF2_FLOW, P_LF2_READINGS, P_LF2_WINDOW_D } },
    [RULE_LF_3] = { "usable access flow",
                    { Q_ACCESS_FLOW },
                    "a fall of more than {} to below {}, {}, at most {} days "
                    "apart, against the mean of at least {} before",
                    { P_LF3_FALL_PCT, P_LF3_FLOW, P_LF3_READINGS,
                      P_LF3_WINDOW_D, P_LF3_BASELINE_LEAST } },
    [RULE_LF_4] = { "static pressure ratio",
                    { Q_STATIC_PRESSURE_RATIO },
                    "a ratio of more than {} in a graft or {} in a fistula, "
                    "{} readings in a row within {} days",
                    { P_LF4_RATIO_GRAFT, P_LF4_RATIO_FISTULA, P_LF4_READINGS,
                      P_LF4_WINDOW_D } },
    [RULE_LF_5] = { "recirculation",
                    { Q_RECIRCULATION },
                    "more than {} by urea, thermodilution or an unstated "
                    "method, or {} by ultrasound dilution, {} readings in a "
                    "row within {} days",
                    { P_LF5_PCT, P_LF5_DILUTION_PCT, P_LF5_READINGS,
                      P_LF5_WINDOW_D } },
    [RULE_LF_6] = { "sign of dysfunction",
                    { Q_THRILL, Q_ACCESS_SIGN, Q_BLEEDING_PROLONGED },
                    "a lost thrill or a swollen arm or face once; longer "
                    "bleeding in {} sessions in a row; in {} sessions in a row "
                    "a pump flow below {} of the prescribed one, or a pressure "
                    "before the pump below {}; or another sign in {} sessions "
                    "within {} days",
                    { P_LF6_BLEEDING_SESSIONS, P_LF6_SESSIONS, P_LF6_PUMP_PCT,
                      P_LF6_PRESSURE, P_LF6_SIGN_SESSIONS, P_LF6_WINDOW_D } },
    [RULE_AD_1] = { "Kt/V or urea reduction",
                    { Q_SPKTV, Q_STDKTV, Q_URR },
                    "a single-pool Kt/V below {}, {} samples in a row at least "
                    "{} days apart, or once below {}; a urea reduction below "
                    "{} where there is no Kt/V; and a standard Kt/V below {} "
                    "for schedules other than three sessions a week",
                    { P_AD1_SPKTV, P_AD1_READINGS, P_AD1_APART_D,
                      P_AD1_SPKTV_SEVERE, P_AD1_URR_PCT, P_AD1_STDKTV } },
    [RULE_AD_2] = { "single-pool Kt/V",
                    { Q_SPKTV },
                    "a Kt/V more than {} below the mean of at least {} before "
                    "on the same prescription, {} samples in a row",
                    { P_AD2_FALL, P_AD2_BASELINE_LEAST, P_AD2_READINGS } },
    [RULE_PB_1] = { "band",
                    { Q_ACCESS_INTERVENTION },
                    "a visit that is due and not recorded: {}, {}, {}, {} and "
                    "{} days after the band, and later every {} days, or every "
                    "{} where the flow or the age asks for it",
                    { P_PB1_SESSION_D, P_PB1_EARLY_D, P_PB1_MONTH_D,
                      P_PB1_QUARTER_D, P_PB1_HALF_YEAR_D, P_PB1_INTERVAL_D,
                      P_PB1_INTERVAL_CLOSE_D } },
    [RULE_PB_2] = { "flow, dose, pressure or thrill since the band",
                    { Q_ACCESS_FLOW, Q_ARTERIAL_LINE_PRESSURE, Q_THRILL },
                    "a lost thrill; or a flow below {} in a fistula or {} in a "
                    "graft, or below the prescribed pump flow and {}; or a "
                    "pressure before the pump below {}; or a Kt/V down by more "
                    "than {} with the pump flow not reached; once in the first "
                    "{} days, {} times in a row later",
                    { P_PB2_FLOW_FISTULA, P_PB2_FLOW_GRAFT, P_PB2_MARGIN,
                      P_PB2_PRESSURE, P_PB2_DOSE_FALL, P_PB2_EARLY_D,
                      P_PB2_READINGS_LATER } },
    [RULE_PB_3] = { "flow or sign of the hand since the band",
                    { Q_ACCESS_FLOW, Q_HAND_SYMPTOM, Q_DIGITAL_BRACHIAL_INDEX },
                    "from {} days after the band on a fall of the flow of less "
                    "than {}, or, where the band was for the hand, complaints "
                    "that persist or an index below {} that does not rise",
                    { P_PB3_AFTER_D, P_PB3_FALL_PCT, P_IS5_INDEX } },
    [RULE_PB_4] = { "usable access flow since the band",
                    { Q_ACCESS_FLOW },
                    "more than {} above the first flow after the band and more "
                    "than {}, or {} or more, {} readings in a row at most {} "
                    "days apart",
                    { P_PB4_RISE_PCT, P_PB4_RISE_FLOW, P_PB4_FLOW,
                      P_PB4_READINGS, P_PB4_WINDOW_D } },
    [RULE_BL_1] = { "bleeding, and no threatened rupture,",
                    { Q_BLEEDING_ACTIVE, Q_RUPTURE_THREAT },
                    "bleeding that does not stop, or a threatened rupture, "
                    "once",
                    { 0 } },
    [RULE_IN_1] = { "sign of infection",
                    { Q_INFECTION_SIGN },
                    "redness, warmth, discharge, signs of sepsis or an exposed "
                    "graft, once",
                    { 0 } },
};

const struct takes *rule_takes(enum rule rule)
{
    return &takes[rule];
}

/* What each rule looks at, and what it takes to hold. */
#include "adapters/wording_work.h"

static const struct takes takes[RULE_COUNT] = {
    [RULE_HF_1] = { N_("No: no usable access flow has been recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes a flow of {1} or more, {2}, at most {3} "
                       "days apart."),
                    { P_HF1_FLOW, P_HF1_READINGS, P_HF1_WINDOW_D } },
    [RULE_HF_2] = { N_("No: no usable access flow has been recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes a flow of {1} or more, {2}, at most {3} "
                       "days apart."),
                    { P_HF2_FLOW, P_HF2_READINGS, P_HF2_WINDOW_D } },
    [RULE_HF_3] = { N_("No: no cardiac output has been recorded."),
                    { Q_ACCESS_FLOW, Q_CARDIAC_OUTPUT },
                    N_("It takes a share of {1} or more at a flow of at "
                       "least {2}, {3} times in a row, or one of {4} or "
                       "more at a flow of at least {5}."),
                    { P_HF3_RATIO, P_HF3_FLOW, P_HF3_READINGS,
                      P_HF3_RATIO_SEVERE, P_HF3_FLOW_SEVERE } },
    [RULE_HF_4] = { N_("No: no sign of the heart has been recorded."),
                    { Q_HEART_FAILURE_SIGN, Q_ACCESS_FLOW },
                    N_("It takes a sign of the heart of the last {1} days, "
                       "and of the last {2} days a flow of {3} or more, or "
                       "a share of {4} or more."),
                    { P_HF4_SIGN_WINDOW_D, P_HF4_WINDOW_D, P_HF2_FLOW,
                      P_HF3_RATIO } },
    [RULE_HF_5] = { N_("No: no treatment of the outflow within the period "
                       "has been recorded."),
                    { Q_ACCESS_INTERVENTION, Q_ACCESS_FLOW },
                    N_("It takes {1} treatments of the outflow or more "
                       "within {2} days, and a flow after them of more than "
                       "{3}."),
                    { P_HF5_TREATMENTS, P_HF5_PERIOD_D, P_HF5_FLOW } },
    [RULE_HF_6] = { N_("No: no flow, or no height, has been recorded."),
                    { Q_ACCESS_FLOW, Q_HEIGHT },
                    N_("It takes HF-1, and {1} or more at a flow of at "
                       "least {2}."),
                    { P_HF6_INDEX, P_HF6_FLOW } },
    [RULE_IS_1] = { N_("No: no sign of the hand has been recorded."),
                    { Q_HAND_SYMPTOM },
                    N_("It takes new weakness of the hand, or numbness in "
                       "{1} nerve territories, that began within {2} hours "
                       "of the creation of the access or of a procedure "
                       "that raises its flow."),
                    { P_IS1_TERRITORIES, P_IS1_ONSET_H } },
    [RULE_IS_2] = { N_("No: no sign of the hand has been recorded."),
                    { Q_HAND_SYMPTOM, Q_HAND_ISCHAEMIA_GRADE },
                    N_("It takes {1} or worse, or a pale, cold, pulseless "
                       "hand."),
                    { P_IS2_GRADE } },
    [RULE_IS_3] = { N_("No: no sign of the hand has been recorded."),
                    { Q_HAND_SYMPTOM, Q_HAND_ISCHAEMIA_GRADE },
                    N_("It takes {1} or worse, or new weakness of the hand."),
                    { P_IS3_GRADE } },
    [RULE_IS_4] = { N_("No: no sign of the hand has been recorded."),
                    { Q_HAND_SYMPTOM, Q_HAND_ISCHAEMIA_GRADE },
                    N_("It takes {1} once, or {2} in {3} sessions within "
                       "{4} days."),
                    { P_IS4_GRADE, P_IS4_GRADE_MILD, P_IS4_READINGS_MILD,
                      P_IS4_WINDOW_D } },
    [RULE_IS_5] = { N_("No: no finger pressure or index has been recorded."),
                    { Q_DIGITAL_PRESSURE, Q_DIGITAL_BRACHIAL_INDEX },
                    N_("It takes a finger pressure below {1} or an index "
                       "below {2}, twice within {3} days, with symptoms, or "
                       "once a finger pressure below {4} or an index below "
                       "{5}."),
                    { P_IS5_PRESSURE, P_IS5_INDEX, P_IS5_REPEAT_D,
                      P_IS5_PRESSURE_SEVERE, P_IS5_INDEX_SEVERE } },
    [RULE_IS_6] = { N_("No: no usable access flow has been recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes ischaemia of the hand (IS-2 to IS-5), and "
                       "a flow of {1} or more of the last {2} days."),
                    { P_IS6_FLOW, P_IS6_WINDOW_D } },
    [RULE_IS_7] = { N_("No: no usable access flow has been recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes ischaemia of the hand (IS-2 to IS-5), and "
                       "a flow below {1} of the last {2} days."),
                    { P_IS7_FLOW, P_IS7_WINDOW_D } },
    [RULE_IS_8] = { N_("No: no outflow stenosis that is untreated, and no "
                       "index of the finger at an earlier flow that has "
                       "risen since beyond chance, has been recorded."),
                    { Q_DIGITAL_BRACHIAL_INDEX, Q_OUTFLOW_STENOSIS,
                      Q_ACCESS_FLOW },
                    N_("It takes an outflow stenosis above {1}, untreated, "
                       "with flow and static pressure of the last {2} days, "
                       "or an index of the last {3} days at a flow that has "
                       "risen since by more than chance, {4} times in a "
                       "row; and by prediction a chance of more than {5} of "
                       "an index below {6}, or of more than {7} of a fall "
                       "by {8}."),
                    { P_OUTFLOW_STENOSIS_PCT, P_PLAN_VALID_D, P_IS8_INDEX_D,
                      P_IS8_READINGS, P_PLAN_RISK_INDEX_MOST_PCT,
                      P_PLAN_RISK_INDEX, P_PLAN_RISK_FALL_MOST_PCT,
                      P_PLAN_RISK_FALL } },
    [RULE_LF_1] = { N_("No: no usable access flow has been recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes a flow below {1}, {2}, at most {3} days "
                       "apart."),
                    { P_LF1_FLOW, P_LF1_READINGS, P_LF1_WINDOW_D } },
    [RULE_LF_2] = { N_("No: no usable access flow has been recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes a flow below {1}, {2}, at most {3} days "
                       "apart."),
                    { P_LF2_FLOW, P_LF2_READINGS, P_LF2_WINDOW_D } },
    [RULE_LF_3] = { N_("No: no usable access flow has been recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes a fall of more than {1} to below {2}, {3}, "
                       "at most {4} days apart, against the mean of at "
                       "least {5} before."),
                    { P_LF3_FALL_PCT, P_LF3_FLOW, P_LF3_READINGS,
                      P_LF3_WINDOW_D, P_LF3_BASELINE_LEAST } },
    [RULE_LF_4] = { N_("No: no static pressure ratio has been recorded."),
                    { Q_STATIC_PRESSURE_RATIO },
                    N_("It takes a ratio of more than {1} in a graft or {2} "
                       "in a fistula, {3} readings in a row within {4} days."),
                    { P_LF4_RATIO_GRAFT, P_LF4_RATIO_FISTULA, P_LF4_READINGS,
                      P_LF4_WINDOW_D } },
    [RULE_LF_5] = { N_("No: no recirculation has been recorded."),
                    { Q_RECIRCULATION },
                    N_("It takes more than {1} by urea, thermodilution or "
                       "an unstated method, or {2} by ultrasound dilution, "
                       "{3} readings in a row within {4} days."),
                    { P_LF5_PCT, P_LF5_DILUTION_PCT, P_LF5_READINGS,
                      P_LF5_WINDOW_D } },
    [RULE_LF_6] = { N_("No: no sign of dysfunction has been recorded."),
                    { Q_THRILL, Q_ACCESS_SIGN, Q_BLEEDING_PROLONGED },
                    N_("It takes a lost thrill or a swollen arm or face "
                       "once; longer bleeding in {1} sessions in a row; in "
                       "{2} sessions in a row a pump flow below {3} of the "
                       "prescribed one, or a pressure before the pump below "
                       "{4}; or another sign in {5} sessions within {6} "
                       "days."),
                    { P_LF6_BLEEDING_SESSIONS, P_LF6_SESSIONS, P_LF6_PUMP_PCT,
                      P_LF6_PRESSURE, P_LF6_SIGN_SESSIONS, P_LF6_WINDOW_D } },
    [RULE_AD_1] = { N_("No: no Kt/V or urea reduction has been recorded."),
                    { Q_SPKTV, Q_STDKTV, Q_URR },
                    N_("It takes a single-pool Kt/V below {1}, {2} samples "
                       "in a row at least {3} days apart, or once below "
                       "{4}; a urea reduction below {5} where there is no "
                       "Kt/V; and a standard Kt/V below {6} for schedules "
                       "other than three sessions a week."),
                    { P_AD1_SPKTV, P_AD1_READINGS, P_AD1_APART_D,
                      P_AD1_SPKTV_SEVERE, P_AD1_URR_PCT, P_AD1_STDKTV } },
    [RULE_AD_2] = { N_("No: no single-pool Kt/V has been recorded."),
                    { Q_SPKTV },
                    N_("It takes a Kt/V more than {1} below the mean of at "
                       "least {2} before on the same prescription, {3} "
                       "samples in a row."),
                    { P_AD2_FALL, P_AD2_BASELINE_LEAST, P_AD2_READINGS } },
    [RULE_PB_1] = { N_("No: no band has been recorded."),
                    { Q_ACCESS_INTERVENTION },
                    N_("It takes a visit that is due and not recorded: {1}, "
                       "{2}, {3}, {4} and {5} days after the band, and "
                       "later every {6} days, or every {7} where the flow "
                       "or the age asks for it."),
                    { P_PB1_SESSION_D, P_PB1_EARLY_D, P_PB1_MONTH_D,
                      P_PB1_QUARTER_D, P_PB1_HALF_YEAR_D, P_PB1_INTERVAL_D,
                      P_PB1_INTERVAL_CLOSE_D } },
    [RULE_PB_2] = { N_("No: no flow, dose, pressure or thrill since the "
                       "band has been recorded."),
                    { Q_ACCESS_FLOW, Q_ARTERIAL_LINE_PRESSURE, Q_THRILL },
                    N_("It takes a lost thrill; or a flow below {1} in a "
                       "fistula or {2} in a graft, or below the prescribed "
                       "pump flow and {3}; or a pressure before the pump "
                       "below {4}; or a Kt/V down by more than {5} with the "
                       "pump flow not reached; once in the first {6} days, "
                       "{7} times in a row later."),
                    { P_PB2_FLOW_FISTULA, P_PB2_FLOW_GRAFT, P_PB2_MARGIN,
                      P_PB2_PRESSURE, P_PB2_DOSE_FALL, P_PB2_EARLY_D,
                      P_PB2_READINGS_LATER } },
    [RULE_PB_3] = { N_("No: no flow or sign of the hand since the band has "
                       "been recorded."),
                    { Q_ACCESS_FLOW, Q_HAND_SYMPTOM, Q_DIGITAL_BRACHIAL_INDEX },
                    N_("It takes from {1} days after the band on a fall of "
                       "the flow of less than {2}, or, where the band was "
                       "for the hand, complaints that persist or an index "
                       "below {3} that does not rise."),
                    { P_PB3_AFTER_D, P_PB3_FALL_PCT, P_IS5_INDEX } },
    [RULE_PB_4] = { N_("No: no usable access flow since the band has been "
                       "recorded."),
                    { Q_ACCESS_FLOW },
                    N_("It takes more than {1} above the first flow after "
                       "the band and more than {2}, or {3} or more, {4} "
                       "readings in a row at most {5} days apart."),
                    { P_PB4_RISE_PCT, P_PB4_RISE_FLOW, P_PB4_FLOW,
                      P_PB4_READINGS, P_PB4_WINDOW_D } },
    [RULE_BL_1] = { N_("No: no bleeding, and no threatened rupture, has "
                       "been recorded."),
                    { Q_BLEEDING_ACTIVE, Q_RUPTURE_THREAT },
                    N_("It takes bleeding that does not stop, or a "
                       "threatened rupture, once."),
                    { 0 } },
    [RULE_IN_1] = { N_("No: no sign of infection has been recorded."),
                    { Q_INFECTION_SIGN },
                    N_("It takes redness, warmth, discharge, signs of "
                       "sepsis or an exposed graft, once."),
                    { 0 } },
};

const struct takes *rule_takes(enum rule rule)
{
    return &takes[rule];
}

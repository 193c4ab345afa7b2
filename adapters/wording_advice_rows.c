/* The sentences of what is suggested: for when a rule leads, and for what it
 * adds to another of its group. */
#include "adapters/wording_work.h"

#define IMAGE                                                                  \
    N_("Imaging of the access, because clinical signs accompany the low "      \
       "flow.")
#define IMAGE_WITH_VEINS                                                       \
    N_("Imaging of the access including the central veins, because clinical "  \
       "signs accompany the low flow.")
#define IMAGE_FOR_DOSE                                                         \
    N_("Examine the access {within}, and image it: the dose of dialysis "      \
       "falls as well, on the same prescription.")
#define EXAMINE                                                                \
    N_("Examine the access {within}: look, feel, listen, and check needles "   \
       "and blood pressure at the measurement. A low flow without clinical "   \
       "signs is not by itself a reason for a procedure.")
#define THRILL_LOST                                                            \
    N_("Phone now: the thrill is lost: suspected thrombosis of the access; "   \
       "same-day assessment.")
#define MEASURE_FIRST                                                          \
    N_("Measure the index of the finger, with and without compression of the " \
       "access: it was never measured, and the prediction rests on what is "   \
       "usual.")
#define OPENING_WITHOUT_BAND                                                   \
    N_("Tell whoever opens the outflow before it is opened, {within}, and "    \
       "measure {compressed}. No band is to be planned on this prediction: "   \
       "vascular assessment of the hand comes first.")
#define BEFORE_OPENING                                                         \
    N_("Tell whoever opens the outflow before it is opened, {within}, and "    \
       "measure {compressed}. The order is: image, open, measure a pair of "   \
       "flows, then size a band if one is needed; no size is tied because it " \
       "was predicted.")
#define ONLY_PREDICTED                                                         \
    N_("Examine the hand and measure {compressed} and the digital-brachial "   \
       "index {within}: this is a prediction from an earlier index, and only " \
       "measuring tells.")
#define REVIEW_OF_FLOW                                                         \
    N_("Review by the access team, together with cardiology if the heart is "  \
       "affected, of whether the flow should be reduced: measure the cardiac " \
       "output in the same session as the flow, arrange echocardiography, "    \
       "and examine the heart and the hand.")
#define SEE_BAND N_("See the Task on the band, which tells of this as well.")

static const struct advice rows[] = {
    /* ---- flow high ---- */
    { RULE_HF_1, ELSEWHERE, SEE_BAND, NULL },
    { RULE_HF_1, WITH_SIGN, REVIEW_OF_FLOW,
      N_("Examine the hand as well, and review whether the flow should be "
         "reduced.") },
    { RULE_HF_1, BESIDE_SIGNS, REVIEW_OF_FLOW,
      N_("Examine the hand as well.") },
    { RULE_HF_1, ANY,
      N_("Review of the access: measure the cardiac output in the same "
         "session as the flow, arrange echocardiography, and examine the "
         "heart and the hand. {disputed}"),
      N_("Examine the hand as well. {disputed}") },
    { RULE_HF_2, CONTRADICTORY, NULL, NULL }, /* a repeat only */
    { RULE_HF_2, ELSEWHERE, SEE_BAND, NULL },
    { RULE_HF_2, BESIDE_SIGNS,
      N_("Measure the cardiac output in the same session as the flow, "
         "examine the heart and the hand, and review the flow together with "
         "the signs."),
      N_("Examine the hand as well.") },
    { RULE_HF_2, ANY,
      N_("Measure the cardiac output in the same session as the flow, "
         "examine the heart and the hand, and repeat the flow in 3 months. "
         "{disputed}"),
      N_("Examine the hand as well, and repeat the flow in 3 months. "
         "{disputed}") },
    { RULE_HF_3, ONE_SO_FAR, N_("Cardiac assessment."), NULL },
    { RULE_HF_3, SEVERE,
      N_("Cardiac assessment with echocardiography; repeat flow and cardiac "
         "output, measured in the same session."),
      N_("Cardiac assessment as well: the share of the cardiac output is "
         "raised.") },
    { RULE_HF_3, ANY,
      N_("Assess the heart at the next review; repeat flow and cardiac "
         "output, measured in the same session, in 6 to 12 months."),
      N_("The share of the cardiac output is a remark: repeat it in 6 to 12 "
         "months.") },
    { RULE_HF_4, ANY,
      N_("Joint review {within}, by cardiology and the access team, of "
         "whether the flow should be reduced, with cardiac output measured "
         "in the same session as the flow, and echocardiography."),
      N_("Joint review {within}, by cardiology and the access team, of "
         "whether the flow should be reduced.") },
    { RULE_HF_5, ANY,
      N_("Consider at the next review of the access whether its flow should "
         "be reduced: an outflow that narrows again and again may go with a "
         "high flow."),
      N_("Consider at the next review whether the flow should be reduced: "
         "the outflow narrows again and again.") },
    { RULE_HF_6, ANY,
      N_("No referral of its own: a remark beside a high flow."),
      N_("The flow is also high for the size of the body: a remark, not a "
         "ground by itself.") },

    /* ---- the hand ---- */
    { RULE_IS_1, ANY,
      N_("Phone the access surgeon now: same-day assessment. A warm hand or "
         "a pulse at the wrist does not exclude it, and the loss can become "
         "permanent if treatment is delayed. Whether the access is closed is "
         "the surgeon's decision; no band is to be planned."),
      N_("Suspected neuropathy: whether the access is closed is the "
         "surgeon's decision; no band is to be planned.") },
    { RULE_IS_2, EXTENDED_NOW,
      N_("Phone now: assessment {within} by a vascular or access surgeon. "
         "With extended tissue loss no band is to be planned: what is done "
         "with the access is the surgeon's decision."),
      NULL },
    { RULE_IS_2, EXTENDED,
      N_("Assessment {within} by a vascular or access surgeon. With extended "
         "tissue loss no band is to be planned: what is done with the access "
         "is the surgeon's decision."),
      NULL },
    { RULE_IS_2, NOW,
      N_("Phone now: assessment {within} by a vascular or access surgeon."),
      NULL },
    { RULE_IS_2, ANY,
      N_("Assessment {within} by a vascular or access surgeon."), NULL },
    { RULE_IS_3, NERVES_NOW,
      N_("Phone now: assessment {within} by a vascular or access surgeon."),
      NULL },
    { RULE_IS_3, NERVES,
      N_("Assessment {within} by a vascular or access surgeon."), NULL },
    { RULE_IS_3, SIGN_NOW,
      N_("Phone now: assessment {within} by a vascular or access surgeon: "
         "new weakness of the hand can become permanent if treatment is "
         "delayed, and a warm hand or a pulse at the wrist does not exclude "
         "it."),
      N_("The hand is newly weak: that can become permanent if treatment is "
         "delayed, and a warm hand or a pulse at the wrist does not exclude "
         "it.") },
    { RULE_IS_3, WITH_SIGN,
      N_("Assessment {within} by a vascular or access surgeon: new weakness "
         "of the hand can become permanent if treatment is delayed, and a "
         "warm hand or a pulse at the wrist does not exclude it."),
      N_("The hand is newly weak: that can become permanent if treatment is "
         "delayed, and a warm hand or a pulse at the wrist does not exclude "
         "it.") },
    { RULE_IS_3, GRADED,
      N_("Vascular assessment {within}, with {flow_last}. If the hand is "
         "weak, phone now: weakness can become permanent if treatment is "
         "delayed."),
      NULL },
    { RULE_IS_3, ANY, N_("Vascular assessment {within}, with {flow_last}."),
      NULL },
    { RULE_IS_4, SEVERE,
      N_("Vascular review {within}: measure {flow_first} and "
         "digital-brachial index, and examine the inflow arteries of the arm."),
      NULL },
    { RULE_IS_4, ANY,
      N_("Review {within}: measure {flow_first} and digital-brachial index, "
         "examine the inflow arteries of the arm, and ask about the hand at "
         "every session."),
      N_("Ask about the hand at every session.") },
    { RULE_IS_5, A_NOTE,
      N_("Ask about the hand at every session and repeat the finger pressure "
         "in 3 months. A low finger pressure without symptoms is common "
         "after access creation and is not by itself a reason to treat."),
      NULL },
    { RULE_IS_5, ONE_SO_FAR, N_("Examine the hand."), NULL },
    { RULE_IS_5, ANY,
      N_("Vascular assessment {within}: examine the hand, and measure "
         "{compressed}."),
      NULL },
    { RULE_IS_6, EMERGENCY, NULL,
      N_("The flow counts as high at this site (one reading: chance alone "
         "can move it by a third): image inflow and outflow of the access. "
         "Do not wait for imaging or a flow measurement. No band is to be "
         "planned from this message.") },
    { RULE_IS_6, ANY, NULL,
      N_("The flow counts as high at this site (one reading: chance alone "
         "can move it by a third): image inflow and outflow of the access; "
         "if both are clear, reducing the flow can be considered.") },
    { RULE_IS_7, TOLERABLE, NULL,
      N_("The flow is normal or low: image the inflow artery of the access. "
         "{not_suited}") },
    { RULE_IS_7, ANY, NULL,
      N_("The flow is normal or low: image the artery from the chest to the "
         "hand, and consider repair of the inflow or revascularisation. "
         "{not_suited}") },

    { RULE_IS_8, A_NOTE, MEASURE_FIRST, MEASURE_FIRST },
    { RULE_IS_8, NO_SIZE, OPENING_WITHOUT_BAND, OPENING_WITHOUT_BAND },
    { RULE_IS_8, OPENING, BEFORE_OPENING, BEFORE_OPENING },
    { RULE_IS_8, ANY, ONLY_PREDICTED, ONLY_PREDICTED },

    /* ---- flow low, dysfunction ---- */
    { RULE_LF_1, ONE_SO_FAR, NULL, NULL }, /* a repeat only */
    { RULE_LF_1, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_1, LOST, THRILL_LOST, THRILL_LOST },
    { RULE_LF_1, SWELLING, IMAGE_WITH_VEINS, NULL },
    { RULE_LF_1, FOR_DOSE, IMAGE_FOR_DOSE, NULL },
    { RULE_LF_1, WITH_SIGN, IMAGE, NULL },
    { RULE_LF_1, ANY, EXAMINE, NULL },
    { RULE_LF_2, ONE_SO_FAR, NULL, NULL }, /* a repeat only */
    { RULE_LF_2, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_2, LOST, THRILL_LOST, THRILL_LOST },
    { RULE_LF_2, SWELLING, IMAGE_WITH_VEINS, NULL },
    { RULE_LF_2, FOR_DOSE, IMAGE_FOR_DOSE, NULL },
    { RULE_LF_2, WITH_SIGN, IMAGE, NULL },
    { RULE_LF_2, ANY, EXAMINE, NULL },
    { RULE_LF_3, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_3, LOST, THRILL_LOST, THRILL_LOST },
    { RULE_LF_3, SWELLING,
      N_("Imaging of the access including the central veins, because "
         "clinical signs accompany the falling flow."),
      NULL },
    { RULE_LF_3, FOR_DOSE, IMAGE_FOR_DOSE, NULL },
    { RULE_LF_3, WITH_SIGN,
      N_("Imaging of the access, because clinical signs accompany the "
         "falling flow."),
      NULL },
    { RULE_LF_3, ANY,
      N_("Examine the access {within}: look, feel, listen, and check blood "
         "pressure, needles and method of the measurement against those "
         "before. Imaging only if a clinical sign is found. {no_procedure}"),
      N_("The flow falls as well: check blood pressure, needles and method "
         "of the measurement against those before.") },
    { RULE_LF_4, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_4, ANY,
      N_("Examine the outflow of the access {within}: swelling, pulsation, "
         "and whether the access collapses when the arm is raised. Imaging "
         "only if a clinical sign is found. {no_procedure}"),
      N_("Examine the outflow too: swelling, pulsation, and whether the "
         "access collapses when the arm is raised.") },
    { RULE_LF_5, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_5, PRESSING,
      N_("The dose of dialysis is low as well: check direction and place of "
         "the needles, examine the access, and measure its flow, {within}. "
         "Imaging only if a clinical sign is found."),
      N_("Check direction and place of the needles; the dose of dialysis is "
         "low as well.") },
    { RULE_LF_5, ANY,
      N_("Check direction and place of the needles, examine the access, and "
         "measure its flow, {within}. Imaging only if a clinical sign is "
         "found. {no_procedure}"),
      N_("Check direction and place of the needles.") },
    { RULE_LF_6, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_6, LOST, THRILL_LOST, THRILL_LOST },
    { RULE_LF_6, SWELLING,
      N_("Examine the access {within}, and image it including the central "
         "veins: the arm or face is swollen."),
      N_("Imaging includes the central veins: the arm or face is swollen.") },
    { RULE_LF_6, ANY,
      N_("Examine the access {within}: look, feel, listen, and check the "
         "needles; then image it if the examination bears the signs out."),
      N_("Examine the access for the cause of these signs.") },

    /* ---- dose ---- */
    { RULE_AD_1, SEVERE,
      N_("Repeat the sample {within}. Check how the samples were taken, the "
         "treatment time given, the pump flow reached, recirculation and the "
         "access flow; then review the prescription."),
      N_("Repeat the sample {within}.") },
    { RULE_AD_1, ANY,
      N_("Check how the samples were taken, the treatment time given, the "
         "pump flow reached, recirculation and the access flow; then review "
         "the prescription {within}."),
      N_("Check how the samples were taken, the treatment time given, the "
         "pump flow reached, recirculation and the access flow.") },
    { RULE_AD_2, ELSEWHERE,
      N_("See the Task on the access, which tells of the dose as well."),
      NULL },
    { RULE_AD_2, ANY,
      N_("Check how the samples were taken, the treatment time given, the "
         "pump flow reached, recirculation and the access flow, and examine "
         "the access, {within}. A clinical sign is the ground for imaging."),
      N_("The dose falls on the same prescription: examine the access as "
         "well.") },

    /* ---- after a band ---- */
    { RULE_PB_1, ANY,
      N_("Make the follow-up visit, or record it if it was made: {items}."),
      NULL },
    { RULE_PB_2, LOST,
      N_("Phone now: the thrill is lost after a band: suspected thrombosis "
         "of the access; same-day assessment by the operator who placed the "
         "band."),
      N_("Phone now: the thrill is lost after a band: suspected thrombosis "
         "of the access.") },
    { RULE_PB_2, OF_DOSE,
      N_("Review {within} by the operator who placed the band, or the access "
         "team: check how the sample was taken and the treatment time first; "
         "if the band is too tight, releasing or dilating the band can be "
         "considered."),
      N_("The band may be too tight: releasing or dilating the band can be "
         "considered.") },
    { RULE_PB_2, ANY,
      N_("Review {within} by the operator who placed the band, or the access "
         "team, with an examination: the band may be too tight; releasing or "
         "dilating the band can be considered."),
      N_("The band may be too tight: releasing or dilating the band can be "
         "considered.") },
    { RULE_PB_3, ONE_SO_FAR,
      N_("Examine the hand and the access after the band."), NULL },
    { RULE_PB_3, LOW_FLOW_HAND,
      N_("Review {within} by the operator who placed the band, or the access "
         "team: examine the hand, measure {compressed}, and image the artery "
         "from the chest to the hand. At a normal or low flow a tighter band "
         "is not suited to the hand; releasing or dilating the band can be "
         "considered."),
      N_("At a normal or low flow a tighter band is not suited to the hand: "
         "image the artery from the chest to the hand.") },
    { RULE_PB_3, OF_FLOW,
      N_("Review {within} by the operator who placed the band, or the access "
         "team: image the inflow artery again; the band may not be tight "
         "enough."),
      N_("Image the inflow artery again: the band may not be tight enough.") },
    { RULE_PB_3, ANY,
      N_("Review {within} by the operator who placed the band, or the access "
         "team: examine the hand, measure {compressed}, and image the inflow "
         "artery again; the band may not be tight enough, or the arteries "
         "may be diseased."),
      N_("Image the inflow artery again, and measure {compressed}.") },
    { RULE_PB_4, STILL_HIGH,
      N_("Review {within} by the operator who placed the band, or the access "
         "team, and repeat the flow in 4 to 6 weeks: it is high as before, "
         "and has not risen."),
      N_("Repeat the flow in 4 to 6 weeks.") },
    { RULE_PB_4, ANY,
      N_("Review {within} by the operator who placed the band, or the access "
         "team, and repeat the flow in 4 to 6 weeks: the band may have given "
         "way, or the vein have widened."),
      N_("Repeat the flow in 4 to 6 weeks.") },

    /* ---- bleeding, infection ---- */
    { RULE_BL_1, BLEEDS,
      N_("Phone now: firm direct pressure, call the emergency number, then "
         "the access surgeon."),
      NULL },
    { RULE_BL_1, ANY,
      N_("Phone now: the access surgeon, for assessment today, before "
         "needles are placed. If it bleeds: firm direct pressure, call the "
         "emergency number."),
      NULL },
    { RULE_IN_1, SEVERE,
      N_("Phone now: examine the patient, take cultures, follow the local "
         "sepsis pathway, and call the access surgeon. No band is to be "
         "planned."),
      NULL },
    { RULE_IN_1, ANY,
      N_("Examine the access {within}, take cultures, and ask the access "
         "surgeon. No band is to be planned while infection is suspected."),
      NULL },
};

const struct advice *advice_row(size_t n)
{
    return n < COUNT(rows) ? &rows[n] : NULL;
}

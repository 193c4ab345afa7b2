/* The sentences of what is suggested: for when a rule leads, and for what it
 * adds to another of its group. */
#include "adapters/wording_work.h"

#define DISPUTED                                                               \
    "Whether a high flow without signs should be treated is disputed; this "   \
    "site's limit is {limit}."
#define IMAGE                                                                  \
    "Imaging of the access, because clinical signs accompany the low flow."
#define IMAGE_WITH_VEINS                                                       \
    "Imaging of the access including the central veins, because clinical "     \
    "signs accompany the low flow."
#define IMAGE_FOR_DOSE                                                         \
    "Examine the access {within}, and image it: the dose of dialysis falls "   \
    "as "                                                                      \
    "well, on the same prescription."
#define NO_PROCEDURE                                                           \
    "A surveillance finding without clinical signs is not by itself a reason " \
    "for angioplasty."
#define EXAMINE                                                                \
    "Examine the access {within}: look, feel, listen, and check "              \
    "needles and blood pressure at the measurement. A low flow without "       \
    "clinical signs is not by itself a reason for a procedure."
#define THRILL_LOST                                                            \
    "Phone now: the thrill is lost: suspected thrombosis of the access; "      \
    "same-day assessment."
#define COUNTS_AS_HIGH                                                         \
    "The flow counts as high at this site (one reading: chance alone can "     \
    "move it by a third): image inflow and outflow of the access"
#define COMPRESSED "finger pressure with and without compression of the access"
#define WEAK_HAND                                                              \
    "new weakness of the hand can become permanent if treatment is delayed, "  \
    "and a warm hand or a pulse at the wrist does not exclude it."
#define NOT_SUITED                                                             \
    "Reducing the flow, for example with a band, is not suited to ischaemia "  \
    "of the hand at a normal or low access flow."
#define MEASURE_FIRST                                                          \
    "Measure the index of the finger, with and without compression of the "    \
    "access: it was never measured, and the prediction rests on what is "      \
    "usual."
#define OPENING_WITHOUT_BAND                                                   \
    "Tell whoever opens the outflow before it is opened, {within}, and "       \
    "measure " COMPRESSED                                                      \
    ". No band is to be planned on this prediction: vascular assessment of "   \
    "the hand comes first."
#define BEFORE_OPENING                                                         \
    "Tell whoever opens the outflow before it is opened, {within}, and "       \
    "measure " COMPRESSED                                                      \
    ". The order is: image, open, measure a pair of flows, then size a band "  \
    "if one is needed; no size is tied because it was predicted."
#define ONLY_PREDICTED                                                         \
    "Examine the hand and measure " COMPRESSED                                 \
    " and the digital-brachial index {within}: this is a prediction from an "  \
    "earlier index, and only measuring tells."
#define REVIEW_OF_FLOW                                                         \
    "Review by the access team, together with cardiology if the heart is "     \
    "affected, of whether the flow should be reduced: measure the cardiac "    \
    "output in the same session as the flow, arrange echocardiography, and "   \
    "examine the heart and the hand."
#define SEE_BAND "See the Task on the band, which tells of this as well."
#define CHECK_DOSE                                                             \
    "Check how the samples were taken, the treatment time given, the pump "    \
    "flow reached, recirculation and the access flow"
#define BY_OPERATOR                                                            \
    "Review {within} by the operator who placed the band, or the access team"
#define RELEASE "releasing or dilating the band can be considered."

static const struct advice rows[] = {
    /* ---- flow high ---- */
    { RULE_HF_1, ELSEWHERE, SEE_BAND, NULL },
    { RULE_HF_1, WITH_SIGN, REVIEW_OF_FLOW,
      "Examine the hand as well, and review whether the flow should be "
      "reduced." },
    { RULE_HF_1, BESIDE_SIGNS, REVIEW_OF_FLOW, "Examine the hand as well." },
    { RULE_HF_1, ANY,
      "Review of the access: measure the cardiac output in the same session "
      "as the flow, arrange echocardiography, and examine the heart and the "
      "hand. " DISPUTED,
      "Examine the hand as well. " DISPUTED },
    { RULE_HF_2, CONTRADICTORY, NULL, NULL }, /* a repeat only */
    { RULE_HF_2, ELSEWHERE, SEE_BAND, NULL },
    { RULE_HF_2, BESIDE_SIGNS,
      "Measure the cardiac output in the same session as the flow, examine "
      "the heart and the hand, and review the flow together with the signs.",
      "Examine the hand as well." },
    { RULE_HF_2, ANY,
      "Measure the cardiac output in the same session as the flow, examine "
      "the heart and the hand, and repeat the flow in 3 months. " DISPUTED,
      "Examine the hand as well, and repeat the flow in 3 months. " DISPUTED },
    { RULE_HF_3, ONE_SO_FAR, "Cardiac assessment.", NULL },
    { RULE_HF_3, SEVERE,
      "Cardiac assessment with echocardiography; repeat flow and cardiac "
      "output, measured in the same session.",
      "Cardiac assessment as well: the share of the cardiac output is "
      "raised." },
    { RULE_HF_3, ANY,
      "Assess the heart at the next review; repeat flow and cardiac output, "
      "measured in the same session, in 6 to 12 months.",
      "The share of the cardiac output is a remark: repeat it in 6 to 12 "
      "months." },
    { RULE_HF_4, ANY,
      "Joint review {within}, by cardiology and the access team, of whether "
      "the flow should be reduced, with cardiac output measured in the same "
      "session as the flow, and echocardiography.",
      "Joint review {within}, by cardiology and the access team, of whether "
      "the flow should be reduced." },
    { RULE_HF_5, ANY,
      "Consider at the next review of the access whether its flow should be "
      "reduced: an outflow that narrows again and again may go with a high "
      "flow.",
      "Consider at the next review whether the flow should be reduced: the "
      "outflow narrows again and again." },
    { RULE_HF_6, ANY, "No referral of its own: a remark beside a high flow.",
      "The flow is also high for the size of the body: a remark, not a ground "
      "by itself." },

    /* ---- the hand ---- */
    { RULE_IS_1, ANY,
      "Phone the access surgeon now: same-day assessment. A warm hand or a "
      "pulse at the wrist does not exclude it, and the loss can become "
      "permanent if treatment is delayed. Whether the access is closed is the "
      "surgeon's decision; no band is to be planned.",
      "Suspected neuropathy: whether the access is closed is the surgeon's "
      "decision; no band is to be planned." },
    { RULE_IS_2, EXTENDED,
      "{call} by a vascular or access surgeon. With extended tissue "
      "loss no band is to be planned: what is done with the access is the "
      "surgeon's decision.",
      NULL },
    { RULE_IS_2, ANY, "{call} by a vascular or access surgeon.", NULL },
    { RULE_IS_3, NERVES, "{call} by a vascular or access surgeon.", NULL },
    { RULE_IS_3, WITH_SIGN,
      "{call} by a vascular or access surgeon: " WEAK_HAND,
      "The hand is newly weak: that can become permanent if treatment is "
      "delayed, and a warm hand or a pulse at the wrist does not exclude it." },
    { RULE_IS_3, GRADED,
      "Vascular assessment {within}, with " COMPRESSED
      "{flow_last}. If the hand is weak, phone now: weakness can become "
      "permanent if treatment is delayed.",
      NULL },
    { RULE_IS_3, ANY,
      "Vascular assessment {within}, with " COMPRESSED "{flow_last}.", NULL },
    { RULE_IS_4, SEVERE,
      "Vascular review {within}: measure {flow_first}" COMPRESSED
      " and digital-brachial index, and examine the inflow arteries of the "
      "arm.",
      NULL },
    { RULE_IS_4, ANY,
      "Review {within}: measure {flow_first}" COMPRESSED
      " and digital-brachial index, examine the inflow arteries of the arm, "
      "and ask about the hand at every session.",
      "Ask about the hand at every session." },
    { RULE_IS_5, A_NOTE,
      "Ask about the hand at every session and repeat the finger pressure in "
      "3 months. A low finger pressure without symptoms is common after "
      "access creation and is not by itself a reason to treat.",
      NULL },
    { RULE_IS_5, ONE_SO_FAR, "Examine the hand.", NULL },
    { RULE_IS_5, ANY,
      "Vascular assessment {within}: examine the hand, and measure " COMPRESSED
      ".",
      NULL },
    { RULE_IS_6, EMERGENCY, NULL,
      COUNTS_AS_HIGH
      ". Do not wait for imaging or a flow measurement. No band is to be "
      "planned from this message." },
    { RULE_IS_6, ANY, NULL,
      COUNTS_AS_HIGH
      "; if both are clear, reducing the flow can be considered." },
    { RULE_IS_7, TOLERABLE, NULL,
      "The flow is normal or low: image the inflow artery of the "
      "access. " NOT_SUITED },
    { RULE_IS_7, ANY, NULL,
      "The flow is normal or low: image the artery from the chest to the hand, "
      "and consider repair of the inflow or revascularisation. " NOT_SUITED },

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
      "Imaging of the access including the central veins, because clinical "
      "signs accompany the falling flow.",
      NULL },
    { RULE_LF_3, FOR_DOSE, IMAGE_FOR_DOSE, NULL },
    { RULE_LF_3, WITH_SIGN,
      "Imaging of the access, because clinical signs accompany the falling "
      "flow.",
      NULL },
    { RULE_LF_3, ANY,
      "Examine the access {within}: look, feel, listen, and check blood "
      "pressure, needles and method of the measurement against those before. "
      "Imaging only if a clinical sign is found. " NO_PROCEDURE,
      "The flow falls as well: check blood pressure, needles and method of "
      "the measurement against those before." },
    { RULE_LF_4, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_4, ANY,
      "Examine the outflow of the access {within}: swelling, pulsation, and "
      "whether the access collapses when the arm is raised. Imaging only if a "
      "clinical sign is found. " NO_PROCEDURE,
      "Examine the outflow too: swelling, pulsation, and whether the access "
      "collapses when the arm is raised." },
    { RULE_LF_5, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_5, PRESSING,
      "The dose of dialysis is low as well: check direction and place of the "
      "needles, examine the access, and measure its flow, {within}. Imaging "
      "only if a clinical sign is found.",
      "Check direction and place of the needles; the dose of dialysis is low "
      "as well." },
    { RULE_LF_5, ANY,
      "Check direction and place of the needles, examine the access, and "
      "measure its flow, {within}. Imaging only if a clinical sign is "
      "found. " NO_PROCEDURE,
      "Check direction and place of the needles." },
    { RULE_LF_6, ELSEWHERE, SEE_BAND, NULL },
    { RULE_LF_6, LOST, THRILL_LOST, THRILL_LOST },
    { RULE_LF_6, SWELLING,
      "Examine the access {within}, and image it including the central veins: "
      "the arm or face is swollen.",
      "Imaging includes the central veins: the arm or face is swollen." },
    { RULE_LF_6, ANY,
      "Examine the access {within}: look, feel, listen, and check the "
      "needles; then image it if the examination bears the signs out.",
      "Examine the access for the cause of these signs." },

    /* ---- dose ---- */
    { RULE_AD_1, SEVERE,
      "Repeat the sample {within}. " CHECK_DOSE
      "; then review the prescription.",
      "Repeat the sample {within}." },
    { RULE_AD_1, ANY, CHECK_DOSE "; then review the prescription {within}.",
      CHECK_DOSE "." },
    { RULE_AD_2, ELSEWHERE,
      "See the Task on the access, which tells of the dose as well.", NULL },
    { RULE_AD_2, ANY,
      CHECK_DOSE ", and examine the access, {within}. A clinical sign is the "
                 "ground for imaging.",
      "The dose falls on the same prescription: examine the access as well." },

    /* ---- after a band ---- */
    { RULE_PB_1, ANY,
      "Make the follow-up visit, or record it if it was made: {items}.", NULL },
    { RULE_PB_2, LOST,
      "Phone now: the thrill is lost after a band: suspected thrombosis of "
      "the access; same-day assessment by the operator who placed the band.",
      "Phone now: the thrill is lost after a band: suspected thrombosis of "
      "the access." },
    { RULE_PB_2, OF_DOSE,
      BY_OPERATOR
      ": check how the sample was taken and the treatment time first; if the "
      "band is too tight, " RELEASE,
      "The band may be too tight: " RELEASE },
    { RULE_PB_2, ANY,
      BY_OPERATOR ", with an examination: the band may be too tight; " RELEASE,
      "The band may be too tight: " RELEASE },
    { RULE_PB_3, ONE_SO_FAR, "Examine the hand and the access after the band.",
      NULL },
    { RULE_PB_3, LOW_FLOW_HAND,
      BY_OPERATOR ": examine the hand, measure " COMPRESSED
                  ", and image the artery from the chest to the hand. At a "
                  "normal or low flow a tighter band is not suited to the "
                  "hand; " RELEASE,
      "At a normal or low flow a tighter band is not suited to the hand: image "
      "the artery from the chest to the hand." },
    { RULE_PB_3, OF_FLOW,
      BY_OPERATOR ": image the inflow artery again; the band may not be tight "
                  "enough.",
      "Image the inflow artery again: the band may not be tight enough." },
    { RULE_PB_3, ANY,
      BY_OPERATOR ": examine the hand, measure " COMPRESSED
                  ", and image the inflow artery again; the band may not be "
                  "tight enough, or the arteries may be diseased.",
      "Image the inflow artery again, and measure " COMPRESSED "." },
    { RULE_PB_4, STILL_HIGH,
      BY_OPERATOR ", and repeat the flow in 4 to 6 weeks: it is high as "
                  "before, and has not risen.",
      "Repeat the flow in 4 to 6 weeks." },
    { RULE_PB_4, ANY,
      BY_OPERATOR ", and repeat the flow in 4 to 6 weeks: the band may have "
                  "given way, or the vein have widened.",
      "Repeat the flow in 4 to 6 weeks." },

    /* ---- bleeding, infection ---- */
    { RULE_BL_1, BLEEDS,
      "Phone now: firm direct pressure, call the emergency number, then the "
      "access surgeon.",
      NULL },
    { RULE_BL_1, ANY,
      "Phone now: the access surgeon, for assessment today, before needles "
      "are placed. If it bleeds: firm direct pressure, call the emergency "
      "number.",
      NULL },
    { RULE_IN_1, SEVERE,
      "Phone now: examine the patient, take cultures, follow the local sepsis "
      "pathway, and call the access surgeon. No band is to be planned.",
      NULL },
    { RULE_IN_1, ANY,
      "Examine the access {within}, take cultures, and ask the access "
      "surgeon. No band is to be planned while infection is suspected.",
      NULL },
};

const struct advice *advice_row(size_t n)
{
    return n < COUNT(rows) ? &rows[n] : NULL;
}

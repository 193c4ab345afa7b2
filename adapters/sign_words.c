/* The names of signs as marked for the catalogue; the planner, which knows no
 * language, holds the same words. */
#include "adapters/sign_words.h"

#include "adapters/catalogue.h"

/* TRANSLATORS: names of signs, as an examiner would say them */
static const char *const sign_names[SIGN_COUNT] = {
    [SIGN_COLDNESS] = N_("Cold or pale hand"),
    [SIGN_PAIN_ON_DIALYSIS] = N_("Hand pain during dialysis"),
    [SIGN_PAIN_ON_DIALYSIS_INTOLERABLE] =
        N_("Hand pain during dialysis that is not tolerable"),
    [SIGN_NUMBNESS] = N_("Numb hand"),
    [SIGN_NUMBNESS_MEDIAN] = N_("Numbness in the median nerve territory"),
    [SIGN_NUMBNESS_ULNAR] = N_("Numbness in the ulnar nerve territory"),
    [SIGN_NUMBNESS_RADIAL] = N_("Numbness in the radial nerve territory"),
    [SIGN_PAIN_AT_REST] = N_("Hand pain at rest"),
    [SIGN_MOTOR_WEAKNESS] = N_("New weakness of the hand"),
    [SIGN_HAND_ULCER] = N_("Finger ulcer or tissue loss"),
    [SIGN_COLD_PULSELESS_HAND] = N_("Pale, cold, pulseless hand"),
    [SIGN_GRADE_1] = N_("Grade 1: cool or pale, no pain"),
    [SIGN_GRADE_2A] =
        N_("Grade 2a: tolerable complaints during dialysis or exercise"),
    [SIGN_GRADE_2B] = N_("Grade 2b: complaints that are not tolerable"),
    [SIGN_GRADE_3] = N_("Grade 3: rest pain or motor loss"),
    [SIGN_GRADE_4A] = N_("Grade 4a: limited tissue loss"),
    [SIGN_GRADE_4B] = N_("Grade 4b: extended tissue loss"),
    [SIGN_THRILL_WEAK] = N_("Thrill weak"),
    [SIGN_THRILL_ABSENT] = N_("Thrill lost"),
    [SIGN_ARM_SWELLING] = N_("Swelling of arm or face"),
    [SIGN_PULSATILE] = N_("Pulsatile access"),
    [SIGN_NO_COLLAPSE_ON_ELEVATION] =
        N_("Access does not collapse when the arm is raised"),
    [SIGN_DIFFICULT_CANNULATION] = N_("Difficult cannulation"),
    [SIGN_CLOT_ASPIRATION] = N_("Clots aspirated"),
    [SIGN_INFECTION_LOCAL] = N_("Redness, warmth or discharge"),
    [SIGN_INFECTION_SEPSIS] = N_("Signs of sepsis"),
    [SIGN_GRAFT_EXPOSED] = N_("Exposed graft"),
    [SIGN_HF_ADMISSION] = N_("New admission for heart failure"),
    [SIGN_HF_NYHA_1] = N_("NYHA class I"),
    [SIGN_HF_NYHA_2] = N_("NYHA class II"),
    [SIGN_HF_NYHA_3] = N_("NYHA class III"),
    [SIGN_HF_NYHA_4] = N_("NYHA class IV"),
    [SIGN_HF_PULMONARY_HYPERTENSION] = N_("Pulmonary hypertension"),
    [SIGN_HF_EJECTION_FRACTION_FALL] = N_("Fall of the ejection fraction"),
};

static const char *const flag_names[QUANTITY_COUNT] = {
    [Q_BLEEDING_PROLONGED] =
        N_("Bleeding after needle removal longer than usual"),
    [Q_BLEEDING_ACTIVE] = N_("Bleeding that does not stop"),
    [Q_RUPTURE_THREAT] = N_("Threatened rupture of the access"),
};

const char *sign_words(enum quantity quantity, enum sign sign)
{
    const char *name =
        sign != SIGN_NONE ? sign_names[sign] : flag_names[quantity];

    if (name != NULL)
        return _(name);
    return sign != SIGN_NONE ? sign_info(sign)->display
                             : quantity_info(quantity)->display;
}

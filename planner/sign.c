#include "planner/sign.h"

#include <string.h>

static const char *const grade_words[GRADE_COUNT] = { "0", "1",  "2a", "2b",
                                                      "3", "4a", "4b" };

const char *grade_word(enum grade g)
{
    return (unsigned)g < GRADE_COUNT ? grade_words[g] : "?";
}

/* One row, one line. */
/* clang-format off */
static const struct sign_info table[SIGN_COUNT] = {
[SIGN_NONE] = { "", "nothing", Q_NONE, GRADE_NONE, false },
[SIGN_NO_COMPLAINT] = { "no-complaint", "No hand complaint", Q_HAND_SYMPTOM, GRADE_NONE, false },
[SIGN_COLDNESS] = { "coldness", "Cold or pale hand", Q_HAND_SYMPTOM, GRADE_1, true },
[SIGN_PAIN_ON_DIALYSIS] = { "pain-on-dialysis", "Hand pain during dialysis", Q_HAND_SYMPTOM, GRADE_2A, true },
[SIGN_PAIN_ON_DIALYSIS_INTOLERABLE] = { "pain-on-dialysis-intolerable", "Hand pain during dialysis that is " "not tolerable", Q_HAND_SYMPTOM, GRADE_2B, true },
[SIGN_NUMBNESS] = { "numbness", "Numb hand", Q_HAND_SYMPTOM, GRADE_2A, true },
[SIGN_NUMBNESS_MEDIAN] = { "numbness-median", "Numbness in the median nerve territory", Q_HAND_SYMPTOM, GRADE_2A, true },
[SIGN_NUMBNESS_ULNAR] = { "numbness-ulnar", "Numbness in the ulnar nerve territory", Q_HAND_SYMPTOM, GRADE_2A, true },
[SIGN_NUMBNESS_RADIAL] = { "numbness-radial", "Numbness in the radial nerve territory", Q_HAND_SYMPTOM, GRADE_2A, true },
[SIGN_PAIN_AT_REST] = { "pain-at-rest", "Hand pain at rest", Q_HAND_SYMPTOM, GRADE_3, true },
[SIGN_MOTOR_WEAKNESS] = { "motor-weakness", "New weakness of the hand", Q_HAND_SYMPTOM, GRADE_3, true },
[SIGN_HAND_ULCER] = { "hand-ulcer", "Finger ulcer or tissue loss", Q_HAND_SYMPTOM, GRADE_4A, true },
[SIGN_COLD_PULSELESS_HAND] = { "cold-pulseless-hand", "Pale, cold, pulseless hand", Q_HAND_SYMPTOM, GRADE_3, true },
[SIGN_GRADE_0] = { "0", "Grade 0: none", Q_HAND_ISCHAEMIA_GRADE, GRADE_NONE, false },
[SIGN_GRADE_1] = { "1", "Grade 1: cool or pale, no pain", Q_HAND_ISCHAEMIA_GRADE, GRADE_1, false },
[SIGN_GRADE_2A] = { "2a", "Grade 2a: tolerable complaints during dialysis or " "exercise", Q_HAND_ISCHAEMIA_GRADE, GRADE_2A, false },
[SIGN_GRADE_2B] = { "2b", "Grade 2b: complaints that are not tolerable", Q_HAND_ISCHAEMIA_GRADE, GRADE_2B, false },
[SIGN_GRADE_3] = { "3", "Grade 3: rest pain or motor loss", Q_HAND_ISCHAEMIA_GRADE, GRADE_3, false },
[SIGN_GRADE_4A] = { "4a", "Grade 4a: limited tissue loss", Q_HAND_ISCHAEMIA_GRADE, GRADE_4A, false },
[SIGN_GRADE_4B] = { "4b", "Grade 4b: extended tissue loss", Q_HAND_ISCHAEMIA_GRADE, GRADE_4B, false },
[SIGN_THRILL_PRESENT] = { "present", "Thrill present", Q_THRILL, GRADE_NONE, false },
[SIGN_THRILL_WEAK] = { "weak", "Thrill weak", Q_THRILL, GRADE_NONE, false },
[SIGN_THRILL_ABSENT] = { "absent", "Thrill lost", Q_THRILL, GRADE_NONE, false },
[SIGN_ARM_SWELLING] = { "arm-swelling", "Swelling of arm or face", Q_ACCESS_SIGN, GRADE_NONE, true },
[SIGN_PULSATILE] = { "pulsatile", "Pulsatile access", Q_ACCESS_SIGN, GRADE_NONE, true },
[SIGN_NO_COLLAPSE_ON_ELEVATION] = { "no-collapse-on-elevation", "Access does not collapse when the arm " "is raised", Q_ACCESS_SIGN, GRADE_NONE, true },
[SIGN_DIFFICULT_CANNULATION] = { "difficult-cannulation", "Difficult cannulation", Q_ACCESS_SIGN, GRADE_NONE, true },
[SIGN_CLOT_ASPIRATION] = { "clot-aspiration", "Clots aspirated", Q_ACCESS_SIGN, GRADE_NONE, true },
[SIGN_INFECTION_LOCAL] = { "infection-local", "Redness, warmth or discharge", Q_INFECTION_SIGN, GRADE_NONE, true },
[SIGN_INFECTION_SEPSIS] = { "infection-sepsis", "Signs of sepsis", Q_INFECTION_SIGN, GRADE_NONE, true },
[SIGN_GRAFT_EXPOSED] = { "graft-exposed", "Exposed graft", Q_INFECTION_SIGN, GRADE_NONE, true },
[SIGN_HF_ADMISSION] = { "heart-failure-admission", "New admission for heart failure", Q_HEART_FAILURE_SIGN, GRADE_NONE, true },
[SIGN_HF_NYHA_1] = { "nyha-1", "NYHA class I", Q_HEART_FAILURE_SIGN, GRADE_NONE, false },
[SIGN_HF_NYHA_2] = { "nyha-2", "NYHA class II", Q_HEART_FAILURE_SIGN, GRADE_NONE, false },
[SIGN_HF_NYHA_3] = { "nyha-3", "NYHA class III", Q_HEART_FAILURE_SIGN, GRADE_NONE, false },
[SIGN_HF_NYHA_4] = { "nyha-4", "NYHA class IV", Q_HEART_FAILURE_SIGN, GRADE_NONE, false },
[SIGN_HF_PULMONARY_HYPERTENSION] = { "pulmonary-hypertension", "Pulmonary hypertension", Q_HEART_FAILURE_SIGN, GRADE_NONE, true },
[SIGN_HF_EJECTION_FRACTION_FALL] = { "ejection-fraction-fall", "Fall of the ejection fraction", Q_HEART_FAILURE_SIGN, GRADE_NONE, true },
[SIGN_CREATED] = { "created", "Access created", Q_ACCESS_INTERVENTION, GRADE_NONE, false },
[SIGN_ANGIOPLASTY_OUTFLOW] = { "angioplasty-outflow", "Outflow angioplasty", Q_ACCESS_INTERVENTION, GRADE_NONE, false },
[SIGN_ANGIOPLASTY_INFLOW] = { "angioplasty-inflow", "Inflow angioplasty", Q_ACCESS_INTERVENTION, GRADE_NONE, false },
[SIGN_BANDED] = { "banded", "Band placed", Q_ACCESS_INTERVENTION, GRADE_NONE, false },
[SIGN_CLOSED] = { "closed", "Access closed", Q_ACCESS_INTERVENTION, GRADE_NONE, false },
[SIGN_BAND_LIGATURE] = { "ligature", "Narrow ligature", Q_BAND_FORM, GRADE_NONE, false },
[SIGN_BAND_CUFF] = { "cuff", "Cuff", Q_BAND_FORM, GRADE_NONE, false },
[SIGN_TYPE_AVF] = { "avf", "Arteriovenous fistula", Q_ACCESS_TYPE, GRADE_NONE, false },
[SIGN_TYPE_AVG] = { "avg", "Arteriovenous graft", Q_ACCESS_TYPE, GRADE_NONE, false },
[SIGN_TYPE_CVC] = { "cvc", "Central venous catheter", Q_ACCESS_TYPE, GRADE_NONE, false },
[SIGN_TYPE_UNKNOWN] = { "unknown", "Type not known", Q_ACCESS_TYPE, GRADE_NONE, false },
};
/* clang-format on */

const struct sign_info *sign_info(enum sign s)
{
    return &table[(unsigned)s < SIGN_COUNT ? s : SIGN_NONE];
}

static bool equal(const char *code, const char *text, size_t len)
{
    return strlen(code) == len && memcmp(code, text, len) == 0;
}

enum err sign_by_code(enum quantity q, const char *code, size_t len,
                      enum sign *s)
{
    for (unsigned i = 1; i < SIGN_COUNT; i++) {
        if (table[i].quantity == q && equal(table[i].code, code, len)) {
            *s = (enum sign)i;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

enum err sign_by_question(const char *code, size_t len, enum sign *s)
{
    for (unsigned i = 1; i < SIGN_COUNT; i++) {
        if (table[i].as_question && equal(table[i].code, code, len)) {
            *s = (enum sign)i;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

enum err sign_of_stage(long long stage, enum sign *s)
{
    static const enum sign by_stage[] = { SIGN_GRADE_0, SIGN_GRADE_1,
                                          SIGN_GRADE_2B, SIGN_GRADE_3,
                                          SIGN_GRADE_4A };

    if (stage < 0 || stage >= (long long)COUNT(by_stage))
        return ERR_RANGE;
    *s = by_stage[stage];
    return ERR_OK;
}

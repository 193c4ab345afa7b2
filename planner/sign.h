/*
 * sign - the coded values: what an examiner saw, what was done
 *
 * A coded reading carries one of these as its value.  Each belongs to one
 * quantity.  Hand signs carry the grade of ischaemia that they mean when
 * nothing else is said, in the service's own order of grades:
 *
 *     0 none, 1 cool or pale, 2a tolerable pain or numbness during dialysis
 *     or exercise, 2b not tolerable, 3 rest pain or motor loss, 4a limited
 *     tissue loss, 4b extended tissue loss
 *
 * Source of the grades: Mickley, Nephrol Dial Transplant 2008;23:19, with
 * the a/b split of Inston et al., J Vasc Access 2017;18:3-12.
 */
#ifndef HEADGATE_PLANNER_SIGN_H
#define HEADGATE_PLANNER_SIGN_H

#include "planner/quantity.h"

enum grade {
    GRADE_NONE = 0,
    GRADE_1,
    GRADE_2A,
    GRADE_2B,
    GRADE_3,
    GRADE_4A,
    GRADE_4B,
    GRADE_COUNT
};

/* The grade as people write it: "2a". */
const char *grade_word(enum grade g);

enum sign {
    SIGN_NONE = 0,
    /* hand symptoms and signs */
    SIGN_NO_COMPLAINT,
    SIGN_COLDNESS,
    SIGN_PAIN_ON_DIALYSIS,
    SIGN_PAIN_ON_DIALYSIS_INTOLERABLE,
    SIGN_NUMBNESS,
    SIGN_NUMBNESS_MEDIAN,
    SIGN_NUMBNESS_ULNAR,
    SIGN_NUMBNESS_RADIAL,
    SIGN_PAIN_AT_REST,
    SIGN_MOTOR_WEAKNESS,
    SIGN_HAND_ULCER,
    SIGN_COLD_PULSELESS_HAND,
    /* grades of hand ischaemia */
    SIGN_GRADE_0,
    SIGN_GRADE_1,
    SIGN_GRADE_2A,
    SIGN_GRADE_2B,
    SIGN_GRADE_3,
    SIGN_GRADE_4A,
    SIGN_GRADE_4B,
    /* thrill */
    SIGN_THRILL_PRESENT,
    SIGN_THRILL_WEAK,
    SIGN_THRILL_ABSENT,
    /* dysfunction of the access */
    SIGN_ARM_SWELLING,
    SIGN_PULSATILE,
    SIGN_NO_COLLAPSE_ON_ELEVATION,
    SIGN_DIFFICULT_CANNULATION,
    SIGN_CLOT_ASPIRATION,
    /* infection */
    SIGN_INFECTION_LOCAL,
    SIGN_INFECTION_SEPSIS,
    SIGN_GRAFT_EXPOSED,
    /* heart */
    SIGN_HF_ADMISSION,
    SIGN_HF_NYHA_1,
    SIGN_HF_NYHA_2,
    SIGN_HF_NYHA_3,
    SIGN_HF_NYHA_4,
    SIGN_HF_PULMONARY_HYPERTENSION,
    SIGN_HF_EJECTION_FRACTION_FALL,
    /* interventions */
    SIGN_CREATED,
    SIGN_ANGIOPLASTY_OUTFLOW,
    SIGN_ANGIOPLASTY_INFLOW,
    SIGN_BANDED,
    SIGN_CLOSED,
    /* form of a band */
    SIGN_BAND_LIGATURE,
    SIGN_BAND_CUFF,
    /* types of access */
    SIGN_TYPE_AVF,
    SIGN_TYPE_AVG,
    SIGN_TYPE_CVC,
    SIGN_TYPE_UNKNOWN,
    SIGN_COUNT
};

struct sign_info {
    const char *code;    /* in CodeSystem av-observation */
    const char *display; /* for people */
    enum quantity quantity;
    enum grade grade; /* hand signs only */
    /* a hand sign that may stand as Observation.code with a boolean value */
    bool as_question;
};

const struct sign_info *sign_info(enum sign s);

/* The sign with this code within a quantity; ERR_UNKNOWN if there is none. */
MUST_CHECK enum err sign_by_code(enum quantity q, const char *code, size_t len,
                                 enum sign *s);

/* The sign that a yes-or-no question of this code asks for. */
MUST_CHECK enum err sign_by_question(const char *code, size_t len,
                                     enum sign *s);

/*
 * An integer steal stage 0..4 as a sign.  Stages 2 and 4 are split in the
 * grades; the more urgent half of 2 is taken and the lesser of 4, and the
 * caller names the assumption.  ERR_RANGE outside 0..4.
 */
MUST_CHECK enum err sign_of_stage(long long stage, enum sign *s);

#endif

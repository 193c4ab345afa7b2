/*
 * quantity - what can be measured: names, units, scope, plausible ranges
 *
 * One row per quantity.  Everything that depends on the quantity alone stands
 * in its row: the code of our CodeSystem, the one unit used inside, whose
 * reading it is, and the ranges outside which a value is asked about (soft)
 * or held back (hard).
 *
 * Ranges: proposed defaults without a direct source, clinical judgement, to
 * be approved by a site's clinical owner, unless a row says otherwise.
 */
#ifndef HEADGATE_PLANNER_QUANTITY_H
#define HEADGATE_PLANNER_QUANTITY_H

#include "planner/err.h"
#include <stdbool.h>
#include <stddef.h>

/* The numbers stand in stores: new ones come last. */
enum quantity {
    Q_NONE = 0,
    /* per access: flow and dialysis */
    Q_ACCESS_FLOW,
    Q_RECIRCULATION,
    Q_ARTERIAL_LINE_PRESSURE,
    Q_VENOUS_LINE_PRESSURE,
    Q_STATIC_VENOUS_PRESSURE,
    Q_STATIC_ACCESS_PRESSURE,
    Q_PUMP_FLOW,
    Q_PRESCRIBED_PUMP_FLOW,
    Q_DOWEL_DIAMETER,
    Q_BAND_RELEASED,
    Q_BAND_STRETCHED,
    Q_BAND_FORM,
    Q_FEEDING_ARTERY_DIAMETER,
    Q_CONDUIT_DIAMETER,
    Q_OUTFLOW_STENOSIS,
    Q_INFLOW_IMAGED_CLEAR,
    Q_OUTFLOW_IMAGED_CLEAR,
    Q_THRILL,
    Q_BLEEDING_PROLONGED,
    Q_BLEEDING_ACTIVE,
    Q_RUPTURE_THREAT,
    Q_INFECTION_SIGN,
    Q_ACCESS_SIGN,
    Q_ACCESS_INTERVENTION,
    Q_ACCESS_TYPE,
    /* per arm: the hand */
    Q_DIGITAL_PRESSURE,
    Q_DIGITAL_PRESSURE_COMPRESSED,
    Q_DIGITAL_BRACHIAL_INDEX,
    Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED,
    Q_FINGER_SPO2,
    Q_HAND_SYMPTOM,
    Q_HAND_ISCHAEMIA_GRADE,
    /* per patient */
    Q_SYSTOLIC_PRESSURE,
    Q_DIASTOLIC_PRESSURE,
    Q_MEAN_PRESSURE,
    Q_CARDIAC_OUTPUT,
    Q_CENTRAL_VENOUS_PRESSURE,
    Q_HEART_FAILURE_SIGN,
    Q_SPKTV,
    Q_EKTV,
    Q_STDKTV,
    Q_KTV_UNSPECIFIED,
    Q_URR,
    Q_BUN_PRE,
    Q_BUN_POST,
    Q_UREA_PRE,
    Q_UREA_POST,
    Q_TREATMENT_TIME,
    Q_UF_VOLUME,
    Q_BODY_WEIGHT,
    Q_PRE_WEIGHT,
    Q_POST_WEIGHT,
    Q_HEIGHT,
    Q_HAEMATOCRIT,
    Q_RESIDUAL_UREA_CLEARANCE,
    /* carries components only */
    Q_PANEL,
    /* raw values that results are computed from, and what goes with them */
    Q_RECIRCULATION_REVERSED,
    Q_DIALYSANCE,
    Q_DIALYSANCE_REVERSED,
    Q_UF_RATE,
    Q_CHAMBER_HEIGHT,
    Q_STATIC_PRESSURE_RATIO,
    Q_SESSIONS_PER_WEEK,
    QUANTITY_COUNT
};

enum scope {
    SCOPE_ACCESS,  /* one access */
    SCOPE_ARM,     /* the arm, hence the access of that arm */
    SCOPE_PATIENT, /* every access of the patient */
    SCOPE_NONE     /* not a reading by itself */
};

enum value_kind {
    VALUE_NUMBER, /* double in .unit */
    VALUE_CODE,   /* one of the codes of the quantity, see sign.h */
    VALUE_FLAG    /* 0 or 1 */
};

struct quantity_info {
    const char *code;    /* in CodeSystem av-observation */
    const char *display; /* for people */
    const char *unit;    /* UCUM code of the unit used inside; "" if none */
    enum scope scope;
    enum value_kind kind;
    double soft_low, soft_high; /* outside: used, and asked about */
    double hard_low, hard_high; /* outside: held as implausible */
    /* a value in this band is probably in another unit; NAN: no such band */
    double suspect_low, suspect_high;
    const char *suspect_hint; /* "litres?" */
};

/* The row of a quantity; q must be below QUANTITY_COUNT. */
const struct quantity_info *quantity_info(enum quantity q);

/* Look a quantity up by its code (len bytes); ERR_UNKNOWN if there is none. */
MUST_CHECK enum err quantity_by_code(const char *code, size_t len,
                                     enum quantity *q);

/* More of a cardiac output than this cannot run through an access: one of the
 * two was measured wrongly.  Proposed default, clinical judgement. */
#define FLOW_SHARE_MOST 0.8

enum plausible {
    PLAUSIBLE,
    PLAUSIBLE_UNUSUAL,    /* outside the soft range */
    PLAUSIBLE_WRONG_UNIT, /* inside the suspect band */
    PLAUSIBLE_NOT         /* outside the hard range, or not a number */
};

/*
 * quantity_can_be - can a person be right who says that it was so?
 *
 * Wider than the hard range, in which a value is believed without asking, and
 * not without end: nothing below 0 where the hard range has nothing below 0,
 * no more than twice what the range goes to, no share above 100 %.  Proposed
 * default without a direct source, clinical judgement.
 */
bool quantity_can_be(enum quantity q, double value);

/* Judge a value in the unit used inside. */
enum plausible quantity_judge(enum quantity q, double value);

#endif

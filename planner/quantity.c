#include "planner/quantity.h"

#include <math.h>
#include <string.h>

/* A quantity with soft and hard range, and nothing suspicious. */
#define NUMBER(code, text, unit, scope, soft_lo, soft_hi, hard_lo, hard_hi)    \
    {                                                                          \
        code, text, unit, scope, VALUE_NUMBER, soft_lo, soft_hi, hard_lo,      \
            hard_hi, NAN, NAN, ""                                              \
    }
/* The same with a band of values that look like another unit. */
#define SUSPECT(code, text, unit, scope, soft_lo, soft_hi, hard_lo, hard_hi,   \
                sus_lo, sus_hi, hint)                                          \
    {                                                                          \
        code, text, unit, scope, VALUE_NUMBER, soft_lo, soft_hi, hard_lo,      \
            hard_hi, sus_lo, sus_hi, hint                                      \
    }
#define CODED(code, text, scope)                                               \
    {                                                                          \
        code, text, "", scope, VALUE_CODE, NAN, NAN, NAN, NAN, NAN, NAN, ""    \
    }
#define FLAG(code, text, scope)                                                \
    {                                                                          \
        code, text, "", scope, VALUE_FLAG, 0, 1, 0, 1, NAN, NAN, ""            \
    }

/* One row, one line. */
/* clang-format off */
static const struct quantity_info table[QUANTITY_COUNT] = {
[Q_NONE] = { "", "nothing", "", SCOPE_NONE, VALUE_NUMBER, NAN, NAN, NAN, NAN, NAN, NAN, "" },
[Q_ACCESS_FLOW] = SUSPECT("access-flow", "Access blood flow (Qa)", "mL/min", SCOPE_ACCESS, 150, 4000, 0, 8000, 0.2, 8, "litres?"),
[Q_RECIRCULATION] = SUSPECT("recirculation", "Access recirculation", "%", SCOPE_ACCESS, 0, 30, 0, 95, NAN, NAN, ""),
[Q_ARTERIAL_LINE_PRESSURE] = NUMBER("arterial-line-pressure", "Arterial line pressure before the pump", "mm[Hg]", SCOPE_ACCESS, -250, 0, -450, 100),
[Q_VENOUS_LINE_PRESSURE] = NUMBER("venous-line-pressure", "Venous line pressure", "mm[Hg]", SCOPE_ACCESS, 50, 250, -20, 500),
[Q_STATIC_VENOUS_PRESSURE] = NUMBER("static-venous-pressure", "Static venous pressure, pump off", "mm[Hg]", SCOPE_ACCESS, -20, 120, -50, 250),
[Q_STATIC_ACCESS_PRESSURE] = NUMBER("static-access-pressure", "Static pressure inside the access", "mm[Hg]", SCOPE_ACCESS, 5, 150, -10, 250),
[Q_PUMP_FLOW] = SUSPECT("qb", "Blood pump flow (Qb)", "mL/min", SCOPE_ACCESS, 150, 500, 50, 650, 0.1, 0.65, "litres?"),
[Q_PRESCRIBED_PUMP_FLOW] = SUSPECT("prescribed-pump-flow", "Prescribed blood pump flow", "mL/min", SCOPE_ACCESS, 150, 500, 50, 650, 0.1, 0.65, "litres?"),
[Q_DOWEL_DIAMETER] = NUMBER("dowel-diameter", "Diameter of the dowel the band was tied over", "mm", SCOPE_ACCESS, 3, 5, 2, 8),
[Q_BAND_RELEASED] = FLAG("band-released", "Band released", SCOPE_ACCESS),
[Q_BAND_STRETCHED] = NUMBER("band-stretched", "Band stretched with a balloon of this diameter", "mm", SCOPE_ACCESS, 3, 8, 2, 12),
[Q_BAND_FORM] = CODED("band-form", "Form of the band", SCOPE_ACCESS),
[Q_FEEDING_ARTERY_DIAMETER] = SUSPECT("feeding-artery-diameter", "Diameter of the feeding artery", "mm", SCOPE_ACCESS, 1.5, 8, 1, 15, 0.1, 0.9, "centimetres?"),
[Q_CONDUIT_DIAMETER] = SUSPECT("conduit-diameter", "Diameter of the access where a band would lie", "mm", SCOPE_ACCESS, 4, 20, 2, 50, 0.2, 1.9, "centimetres?"),
[Q_OUTFLOW_STENOSIS] = NUMBER("outflow-stenosis", "Outflow stenosis, per cent of diameter", "%", SCOPE_ACCESS, 0, 100, 0, 100),
[Q_INFLOW_IMAGED_CLEAR] = FLAG("inflow-imaged-clear", "Inflow artery imaged, no significant stenosis", SCOPE_ACCESS),
[Q_OUTFLOW_IMAGED_CLEAR] = FLAG("outflow-imaged-clear", "Outflow imaged, no significant stenosis", SCOPE_ACCESS),
[Q_THRILL] = CODED("thrill", "Thrill over the access", SCOPE_ACCESS),
[Q_BLEEDING_PROLONGED] = FLAG("bleeding-prolonged", "Bleeding after needle removal longer than usual", SCOPE_ACCESS),
[Q_BLEEDING_ACTIVE] = FLAG("bleeding-active", "Bleeding that does not stop", SCOPE_ACCESS),
[Q_RUPTURE_THREAT] = FLAG("rupture-threat", "Threatened rupture of the access", SCOPE_ACCESS),
[Q_INFECTION_SIGN] = CODED("infection-sign", "Sign of infection of the access", SCOPE_ACCESS),
[Q_ACCESS_SIGN] = CODED("access-sign", "Clinical sign of access dysfunction", SCOPE_ACCESS),
[Q_ACCESS_INTERVENTION] = CODED("access-intervention", "Intervention on the access", SCOPE_ACCESS),
[Q_ACCESS_TYPE] = CODED("access-type", "Type of access", SCOPE_ACCESS),
[Q_DIGITAL_PRESSURE] = NUMBER("digital-pressure", "Finger systolic pressure", "mm[Hg]", SCOPE_ARM, 20, 180, 0, 300),
[Q_DIGITAL_PRESSURE_COMPRESSED] = NUMBER("digital-pressure-compressed", "Finger systolic pressure, access compressed", "mm[Hg]", SCOPE_ARM, 20, 200, 0, 300),
[Q_DIGITAL_BRACHIAL_INDEX] = NUMBER("digital-brachial-index", "Digital-brachial index", "1", SCOPE_ARM, 0.2, 1.2, 0, 2),
[Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED] = NUMBER("digital-brachial-index-compressed", "Digital-brachial index, access compressed", "1", SCOPE_ARM, 0.2, 1.3, 0, 2),
[Q_FINGER_SPO2] = NUMBER("finger-oxygen-saturation", "Oxygen saturation of a finger", "%", SCOPE_ARM, 60, 100, 20, 100),
[Q_HAND_SYMPTOM] = CODED("hand-symptom", "Ischaemic hand symptom or sign", SCOPE_ARM),
[Q_HAND_ISCHAEMIA_GRADE] = CODED("hand-ischaemia-grade", "Grade of hand ischaemia", SCOPE_ARM),
[Q_SYSTOLIC_PRESSURE] = NUMBER("systolic-pressure", "Systolic blood pressure", "mm[Hg]", SCOPE_PATIENT, 80, 220, 40, 300),
[Q_DIASTOLIC_PRESSURE] = NUMBER("diastolic-pressure", "Diastolic blood pressure", "mm[Hg]", SCOPE_PATIENT, 40, 120, 15, 200),
[Q_MEAN_PRESSURE] = NUMBER("mean-pressure", "Mean arterial pressure", "mm[Hg]", SCOPE_PATIENT, 55, 140, 20, 220),
[Q_CARDIAC_OUTPUT] = SUSPECT("cardiac-output", "Cardiac output", "L/min", SCOPE_PATIENT, 3, 12, 1, 20, 100, 20000, "millilitres?"),
[Q_CENTRAL_VENOUS_PRESSURE] = NUMBER("central-venous-pressure", "Central venous pressure", "mm[Hg]", SCOPE_PATIENT, 0, 20, -10, 50),
[Q_HEART_FAILURE_SIGN] = CODED("heart-failure-sign", "Sign of heart failure", SCOPE_PATIENT),
[Q_SPKTV] = NUMBER("spktv", "Single-pool Kt/V", "1", SCOPE_PATIENT, 0.8, 2.2, 0.1, 4),
[Q_EKTV] = NUMBER("ektv", "Equilibrated Kt/V", "1", SCOPE_PATIENT, 0.7, 2.1, 0.1, 4),
[Q_STDKTV] = NUMBER("stdktv", "Standard weekly Kt/V", "1", SCOPE_PATIENT, 1.4, 3.5, 0.3, 8),
[Q_KTV_UNSPECIFIED] = NUMBER("ktv-unspecified", "Kt/V, method not stated", "1", SCOPE_PATIENT, 0.7, 3.5, 0.1, 8),
[Q_URR] = SUSPECT("urr", "Urea reduction ratio", "%", SCOPE_PATIENT, 40, 85, 5, 95, 0.05, 0.95, "a fraction?"),
[Q_BUN_PRE] = NUMBER("bun-pre", "Blood urea nitrogen before dialysis", "mg/dL", SCOPE_PATIENT, 20, 140, 5, 250),
[Q_BUN_POST] = NUMBER("bun-post", "Blood urea nitrogen after dialysis", "mg/dL", SCOPE_PATIENT, 5, 70, 1, 200),
[Q_UREA_PRE] = NUMBER("urea-pre", "Urea before dialysis", "mmol/L", SCOPE_PATIENT, 8, 50, 2, 90),
[Q_UREA_POST] = NUMBER("urea-post", "Urea after dialysis", "mmol/L", SCOPE_PATIENT, 2, 25, 0.5, 70),
[Q_TREATMENT_TIME] = SUSPECT("treatment-time", "Dialysis time", "min", SCOPE_PATIENT, 120, 480, 30, 720, 2, 12, "hours?"),
[Q_UF_VOLUME] = NUMBER("uf-volume", "Volume removed by ultrafiltration", "mL", SCOPE_PATIENT, 0, 5000, -1000, 8000),
[Q_BODY_WEIGHT] = NUMBER("body-weight", "Body weight", "kg", SCOPE_PATIENT, 30, 180, 3, 300),
[Q_PRE_WEIGHT] = NUMBER("pre-weight", "Weight before dialysis", "kg", SCOPE_PATIENT, 30, 180, 3, 300),
[Q_POST_WEIGHT] = NUMBER("post-weight", "Weight after dialysis", "kg", SCOPE_PATIENT, 30, 180, 3, 300),
[Q_HEIGHT] = SUSPECT("height", "Height", "m", SCOPE_PATIENT, 1.3, 2.1, 0.5, 2.4, 50, 240, "centimetres?"),
[Q_HAEMATOCRIT] = SUSPECT("haematocrit", "Haematocrit", "1", SCOPE_PATIENT, 0.20, 0.50, 0.10, 0.70, 10, 70, "per cent?"),
[Q_RESIDUAL_UREA_CLEARANCE] = NUMBER("residual-urea-clearance", "Residual urea clearance", "mL/min", SCOPE_PATIENT, 0, 6, 0, 20),
[Q_PANEL] = CODED("session-panel", "Dialysis session panel", SCOPE_NONE),
[Q_RECIRCULATION_REVERSED] = SUSPECT("recirculation-reversed", "Recirculation with the blood lines reversed", "%", SCOPE_ACCESS, 5, 60, 0, 95, 0.01, 0.95, "a fraction?"),
[Q_DIALYSANCE] = NUMBER("dialysance", "Ionic dialysance", "mL/min", SCOPE_ACCESS, 80, 350, 10, 600),
[Q_DIALYSANCE_REVERSED] = NUMBER("dialysance-reversed", "Ionic dialysance with the blood lines reversed", "mL/min", SCOPE_ACCESS, 60, 330, 5, 600),
[Q_UF_RATE] = NUMBER("uf-rate", "Ultrafiltration rate", "mL/min", SCOPE_ACCESS, 0, 25, 0, 60),
[Q_CHAMBER_HEIGHT] = NUMBER("venous-chamber-height", "Height of the venous chamber above the chair arm", "cm", SCOPE_ACCESS, 0, 60, -50, 120),
[Q_STATIC_PRESSURE_RATIO] = NUMBER("static-pressure-ratio", "Static pressure inside the access, share of the mean arterial pressure", "1", SCOPE_ACCESS, 0.05, 1.0, 0, 1.5),
[Q_SESSIONS_PER_WEEK] = NUMBER("sessions-per-week", "Dialysis sessions a week", "1", SCOPE_PATIENT, 2, 6, 1, 14),
};
/* clang-format on */

const struct quantity_info *quantity_info(enum quantity q)
{
    return &table[(unsigned)q < QUANTITY_COUNT ? q : Q_NONE];
}

enum err quantity_by_code(const char *code, size_t len, enum quantity *q)
{
    for (unsigned i = 1; i < QUANTITY_COUNT; i++) {
        if (strlen(table[i].code) == len &&
            memcmp(table[i].code, code, len) == 0) {
            *q = (enum quantity)i;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

enum plausible quantity_judge(enum quantity q, double value)
{
    const struct quantity_info *info = quantity_info(q);

    if (info->kind == VALUE_CODE)
        return PLAUSIBLE;
    /* Before the hard range: some such bands lie outside it. */
    if (value >= info->suspect_low && value <= info->suspect_high)
        return PLAUSIBLE_WRONG_UNIT;
    if (!(value >= info->hard_low && value <= info->hard_high))
        return PLAUSIBLE_NOT;
    if (value < info->soft_low || value > info->soft_high)
        return PLAUSIBLE_UNUSUAL;
    return PLAUSIBLE;
}

bool quantity_can_be(enum quantity q, double value)
{
    const struct quantity_info *info = quantity_info(q);
    double low = info->hard_low < 0 ? 2 * info->hard_low : 0;
    double high = 2 * info->hard_high;

    if (info->kind == VALUE_CODE)
        return true;
    if (info->unit[0] == '%')
        high = 100;
    return value >= low && value <= high;
}

#include "planner/flow.h"
#include "planner/quantity.h"

#include <math.h>

#define SECONDS_PER_MINUTE 60.0
#define ML_PER_L           1000.0
#define CM_PER_M           100.0
/* Two-sided 95 % of a normal distribution. */
#define NORMAL_95 1.96

/* clang-format off */
static const struct flow_precision precisions[] = {
    { METHOD_ULTRASOUND_DILUTION, "", 7.7, 14.2, "Huisman, NDT 2005", "F" },
    { METHOD_DUPLEX, "", 11.6, NAN, "Huisman, NDT 2005", "F" },
    { METHOD_CONSTANT_INFUSION, "early", 7.3, NAN, "constant infusion, ASAIO J 1998", "F" },
    { METHOD_CONSTANT_INFUSION, "late", 8.6, NAN, "constant infusion, ASAIO J 1998", "F" },
    /* Published as a median difference of 3.4 %, -17 to 13: not a CV. */
    { METHOD_THERMODILUTION, "", NAN, NAN, "Nefrologia 2022;42:56-64", "F" },
};
/* clang-format on */

/* Comparisons are written so that NaN fails: each of them is then false. */

static bool within(double value, double least, double most)
{
    return value >= least && value <= most;
}

static bool fits(enum quantity q, double value)
{
    const struct quantity_info *info = quantity_info(q);

    return within(value, info->hard_low, info->hard_high);
}

static bool above_zero(double value)
{
    return value > 0.0 && isfinite(value);
}

/* Between 0 and 1, without either. */
static bool proper(double frac)
{
    return frac > 0.0 && frac < 1.0;
}

static bool below(double value, double most)
{
    return value >= 0.0 && value < most;
}

static enum err give(double value, double *out)
{
    if (!isfinite(value))
        return ERR_RANGE;

    *out = value;
    return ERR_OK;
}

enum err flow_reversed(double qb_ml_min, double recirc_frac, double *qa_ml_min)
{
    if (!fits(Q_PUMP_FLOW, qb_ml_min) || !proper(recirc_frac))
        return ERR_RANGE;

    return give(qb_ml_min * (1.0 / recirc_frac - 1.0), qa_ml_min);
}

enum err flow_reversed_uf(double qb_ml_min, double quf_ml_min,
                          double recirc_frac, double *qa_ml_min)
{
    if (!fits(Q_PUMP_FLOW, qb_ml_min) || !below(quf_ml_min, qb_ml_min) ||
        !proper(recirc_frac))
        return ERR_RANGE;

    return give((qb_ml_min - quf_ml_min) * (1.0 - recirc_frac) / recirc_frac,
                qa_ml_min);
}

enum err flow_reversed_cpr(double reversed_qb_ml_min, double quf_ml_min,
                           double reversed_recirc_frac, double cpr_frac,
                           double *qa_ml_min)
{
    double rx = reversed_recirc_frac;

    if (!fits(Q_PUMP_FLOW, reversed_qb_ml_min) ||
        !below(quf_ml_min, reversed_qb_ml_min) || !proper(rx) ||
        !within(cpr_frac, 0.0, FLOW_SHARE_MOST))
        return ERR_RANGE;

    return give((1.0 - rx) / (rx * (1.0 - cpr_frac)) *
                    (reversed_qb_ml_min - quf_ml_min),
                qa_ml_min);
}

enum err flow_cpr(double normal_qb_ml_min, double normal_recirc_frac,
                  double reversed_qb_ml_min, double quf_ml_min,
                  double reversed_recirc_frac, double *cpr_frac)
{
    double rn = normal_recirc_frac, rx = reversed_recirc_frac, cpr;

    if (!fits(Q_PUMP_FLOW, normal_qb_ml_min) || !below(rn, 1.0) ||
        !fits(Q_PUMP_FLOW, reversed_qb_ml_min) ||
        !below(quf_ml_min, reversed_qb_ml_min) || !proper(rx))
        return ERR_RANGE;

    cpr = rn * (1.0 - rx) / (rx * (1.0 - rn)) *
          (reversed_qb_ml_min - quf_ml_min) / normal_qb_ml_min;
    if (!below(cpr, 1.0))
        return ERR_RANGE;

    return give(cpr, cpr_frac);
}

enum err flow_dialysance(double dialysance_ml_min, double reversed_ml_min,
                         double quf_ml_min, double *qa_ml_min)
{
    double d = dialysance_ml_min, drev = reversed_ml_min;

    if (!above_zero(d) || !(drev > 0.0 && drev < d) || !below(quf_ml_min, d))
        return ERR_RANGE;

    return give((d - quf_ml_min) * drev / (d - drev), qa_ml_min);
}

enum err flow_output_dilution(double indicator_ml, double area_frac_s,
                              double *co_l_min)
{
    if (!above_zero(indicator_ml) || !above_zero(area_frac_s))
        return ERR_RANGE;

    return give(indicator_ml / area_frac_s * SECONDS_PER_MINUTE / ML_PER_L,
                co_l_min);
}

enum err flow_output_thermal(const struct flow_injection *injection,
                             double *co_l_min)
{
    const struct flow_injection *i = injection;
    double ml_s;

    if (!above_zero(i->volume_ml) ||
        !within(i->blood_c, FLOW_BLOOD_C_LEAST, FLOW_BLOOD_C_MOST) ||
        !below(i->injectate_c, i->blood_c) || !above_zero(i->k1) ||
        !(i->k2 > 0.0 && i->k2 <= 1.0) || !above_zero(i->area_c_s))
        return ERR_RANGE;

    ml_s = i->volume_ml * (i->blood_c - i->injectate_c) * i->k1 * i->k2 /
           i->area_c_s;
    return give(ml_s * SECONDS_PER_MINUTE / ML_PER_L, co_l_min);
}

enum err flow_share(double qa_ml_min, double co_l_min, double *share_frac)
{
    double share;

    if (!fits(Q_ACCESS_FLOW, qa_ml_min) || !fits(Q_CARDIAC_OUTPUT, co_l_min))
        return ERR_RANGE;

    share = qa_ml_min / (co_l_min * ML_PER_L);
    if (!(share <= FLOW_SHARE_MOST))
        return ERR_RANGE;

    return give(share, share_frac);
}

enum err flow_mean_pressure(double systolic_mmhg, double diastolic_mmhg,
                            double *map_mmhg)
{
    if (!fits(Q_SYSTOLIC_PRESSURE, systolic_mmhg) ||
        !fits(Q_DIASTOLIC_PRESSURE, diastolic_mmhg) ||
        !(diastolic_mmhg < systolic_mmhg))
        return ERR_RANGE;

    return give((systolic_mmhg + 2.0 * diastolic_mmhg) / 3.0, map_mmhg);
}

enum err flow_at_100(double qa_ml_min, double map_mmhg, double *scaled_ml_min)
{
    if (!fits(Q_ACCESS_FLOW, qa_ml_min) || !fits(Q_MEAN_PRESSURE, map_mmhg))
        return ERR_RANGE;

    return give(qa_ml_min * 100.0 / map_mmhg, scaled_ml_min);
}

enum err flow_static_pressure(double venous_mmhg, double chamber_cm,
                              double *eiap_mmhg)
{
    if (!fits(Q_STATIC_VENOUS_PRESSURE, venous_mmhg) ||
        !within(chamber_cm, FLOW_CHAMBER_CM_LEAST, FLOW_CHAMBER_CM_MOST))
        return ERR_RANGE;

    return give(venous_mmhg + (0.35 * chamber_cm + 3.4), eiap_mmhg);
}

enum err flow_static_ratio(double eiap_mmhg, double map_mmhg, double *ratio)
{
    if (!fits(Q_STATIC_ACCESS_PRESSURE, eiap_mmhg) ||
        !fits(Q_MEAN_PRESSURE, map_mmhg))
        return ERR_RANGE;

    return give(eiap_mmhg / map_mmhg, ratio);
}

enum err flow_recirc_urea(double peripheral, double arterial, double venous,
                          double *recirc_pct)
{
    if (!above_zero(peripheral) || !below(venous, peripheral) ||
        !within(arterial, venous, peripheral))
        return ERR_RANGE;

    return give(100.0 * (peripheral - arterial) / (peripheral - venous),
                recirc_pct);
}

enum err flow_finger_index(double finger_mmhg, double brachial_mmhg,
                           double *dbi)
{
    if (!fits(Q_DIGITAL_PRESSURE, finger_mmhg) ||
        !fits(Q_SYSTOLIC_PRESSURE, brachial_mmhg))
        return ERR_RANGE;

    return give(finger_mmhg / brachial_mmhg, dbi);
}

enum err flow_height_index(double qa_ml_min, double height_m, double *index)
{
    if (!fits(Q_ACCESS_FLOW, qa_ml_min) || !fits(Q_HEIGHT, height_m))
        return ERR_RANGE;

    return give(qa_ml_min / pow(height_m, 2.7), index);
}

enum err flow_bsa_du_bois(double height_m, double weight_kg, double *bsa_m2)
{
    if (!fits(Q_HEIGHT, height_m) || !fits(Q_BODY_WEIGHT, weight_kg))
        return ERR_RANGE;

    return give(0.007184 * pow(weight_kg, 0.425) *
                    pow(height_m * CM_PER_M, 0.725),
                bsa_m2);
}

enum err flow_bsa_mosteller(double height_m, double weight_kg, double *bsa_m2)
{
    if (!fits(Q_HEIGHT, height_m) || !fits(Q_BODY_WEIGHT, weight_kg))
        return ERR_RANGE;

    return give(sqrt(height_m * CM_PER_M * weight_kg / 3600.0), bsa_m2);
}

enum err flow_fall(double before, double after, double *fall_pct)
{
    if (!above_zero(before) || !(after >= 0.0))
        return ERR_RANGE;

    return give(100.0 * (before - after) / before, fall_pct);
}

/* Difference of two in per cent of their mean; two zeros do not differ. */
static double apart_pct(double a, double b)
{
    return a + b > 0.0 ? 100.0 * fabs(a - b) / ((a + b) / 2.0) : 0.0;
}

static bool is_limit_pct(double pct)
{
    return pct > 0.0 && pct <= 100.0;
}

enum err flow_pair(double first_ml_min, double second_ml_min, double agree_pct,
                   struct flow_repeat *repeat)
{
    if (!fits(Q_ACCESS_FLOW, first_ml_min) ||
        !fits(Q_ACCESS_FLOW, second_ml_min) || !is_limit_pct(agree_pct) ||
        !(first_ml_min + second_ml_min > 0.0))
        return ERR_RANGE;

    repeat->mean_ml_min = (first_ml_min + second_ml_min) / 2.0;
    repeat->spread_pct = apart_pct(first_ml_min, second_ml_min);
    repeat->agree = repeat->spread_pct <= agree_pct;
    repeat->again = !repeat->agree;
    return ERR_OK;
}

enum err flow_triple(const double flow_ml_min[3], double agree_pct,
                     struct flow_repeat *repeat)
{
    const double *q = flow_ml_min;
    double sum, least, most;

    if (!fits(Q_ACCESS_FLOW, q[0]) || !fits(Q_ACCESS_FLOW, q[1]) ||
        !fits(Q_ACCESS_FLOW, q[2]) || !is_limit_pct(agree_pct))
        return ERR_RANGE;
    sum = q[0] + q[1] + q[2];
    if (!(sum > 0.0))
        return ERR_RANGE;

    least = fmin(q[0], fmin(q[1], q[2]));
    most = fmax(q[0], fmax(q[1], q[2]));
    repeat->mean_ml_min = sum / 3.0;
    repeat->spread_pct = 100.0 * (most - least) / repeat->mean_ml_min;
    repeat->agree = apart_pct(q[0], q[1]) <= agree_pct ||
                    apart_pct(q[0], q[2]) <= agree_pct ||
                    apart_pct(q[1], q[2]) <= agree_pct;
    repeat->again = !repeat->agree;
    return ERR_OK;
}

enum err flow_mdc(double cv_pct, double *mdc_pct)
{
    if (!within(cv_pct, FLOW_CV_PCT_LEAST, FLOW_CV_PCT_MOST))
        return ERR_RANGE;

    return give(NORMAL_95 * sqrt(2.0) * cv_pct, mdc_pct);
}

enum err flow_mdc_means(double within_cv_pct, double between_cv_pct,
                        int sessions, int each, double *mdc_pct)
{
    double within_2, session_2;

    if (!within(within_cv_pct, FLOW_CV_PCT_LEAST, FLOW_CV_PCT_MOST) ||
        !within(between_cv_pct, within_cv_pct, FLOW_CV_PCT_MOST) ||
        sessions < 1 || sessions > FLOW_MEAN_MOST || each < 1 ||
        each > FLOW_MEAN_MOST)
        return ERR_RANGE;

    within_2 = within_cv_pct * within_cv_pct;
    session_2 = between_cv_pct * between_cv_pct - within_2;
    return give(NORMAL_95 *
                    sqrt(2.0 * (session_2 + within_2 / each) / sessions),
                mdc_pct);
}

const struct flow_precision *flow_precision(size_t i)
{
    return i < COUNT(precisions) ? &precisions[i] : NULL;
}

enum err flow_precision_of(enum method method,
                           const struct flow_precision **row)
{
    for (size_t i = 0; i < COUNT(precisions); i++) {
        if (precisions[i].method == method) {
            *row = &precisions[i];
            return ERR_OK;
        }
    }
    return ERR_ABSENT;
}

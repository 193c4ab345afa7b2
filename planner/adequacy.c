#include "planner/adequacy.h"
#include "planner/quantity.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#define MIN_PER_H    60.0
#define MIN_PER_WEEK 10080.0
#define H_PER_DAY    24.0
#define ML_PER_L     1000.0
/* Grams of nitrogen in a mole of urea, over ten decilitres in a litre. */
#define BUN_MG_DL_PER_UREA_MMOL_L (28.0134 / 10.0)

#define NPCR_INTERVAL_H_LEAST 4.0
#define NPCR_INTERVAL_H_MOST  168.0

/* Every form is slope * sp - rate * sp / t + offset, or sp m / (m + delay);
 * a form that is not published for an access has no row there. */
struct ektv_row {
    bool published;
    double slope, rate_h, offset, delay_min;
};

/* clang-format off */
static const struct {
    const char *code, *display;
    struct ektv_row row[2]; /* by enum ektv_blood */
} forms[EKTV_FORM_COUNT] = {
    [EKTV_RATE] = { "rate", "Daugirdas-Schneditz rate equation", {
        [EKTV_ARTERIOVENOUS] = { true, 1.0, 0.6, 0.03, 0.0 },
        [EKTV_VENOUS] = { true, 1.0, 0.47, 0.02, 0.0 } } },
    [EKTV_TATTERSALL] = { "tattersall", "Tattersall equation", {
        [EKTV_ARTERIOVENOUS] = { .published = true, .delay_min = 35.0 },
        [EKTV_VENOUS] = { .published = true, .delay_min = 22.0 } } },
    [EKTV_TATTERSALL_MODIFIED] = { "tattersall-modified", "modified Tattersall equation", {
        [EKTV_ARTERIOVENOUS] = { .published = true, .delay_min = 30.7 } } },
    [EKTV_HEMO] = { "hemo", "HEMO-type rate equation", {
        [EKTV_ARTERIOVENOUS] = { true, 0.924, 0.395, 0.056, 0.0 } } },
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

static bool is_pair(double pre, double post)
{
    return isfinite(pre) && pre > 0.0 && post >= 0.0 && post < pre;
}

static enum err give(double value, double *out)
{
    if (!isfinite(value))
        return ERR_RANGE;

    *out = value;
    return ERR_OK;
}

enum err adequacy_urr(double pre, double post, double *urr_pct)
{
    if (!is_pair(pre, post))
        return ERR_RANGE;

    return give(100.0 * (1.0 - post / pre), urr_pct);
}

enum err adequacy_generation(double pidi_d, double time_min, double *g_per_h)
{
    double free_d;

    if (!within(pidi_d, ADEQUACY_PIDI_D_LEAST, ADEQUACY_PIDI_D_MOST) ||
        !fits(Q_TREATMENT_TIME, time_min))
        return ERR_RANGE;
    free_d = pidi_d - time_min / MIN_PER_H / H_PER_DAY;
    if (!(free_d > 0.0))
        return ERR_RANGE;

    return give(0.0174 / free_d, g_per_h);
}

enum err adequacy_spktv(const struct adequacy_session *session, double *spktv)
{
    const struct adequacy_session *s = session;
    double ratio, left, uf_l, result;

    if (!is_pair(s->pre, s->post) || !fits(Q_TREATMENT_TIME, s->time_min) ||
        !fits(Q_UF_VOLUME, s->uf_ml) ||
        !fits(Q_POST_WEIGHT, s->post_weight_kg) ||
        !within(s->g_per_h, 0.0, ADEQUACY_G_PER_H_MOST))
        return ERR_RANGE;

    ratio = s->post / s->pre;
    left = ratio - s->g_per_h * (s->time_min / MIN_PER_H);
    if (!(left > 0.0))
        return ERR_RANGE;
    uf_l = s->uf_ml / ML_PER_L;
    result = -log(left) + (4.0 - 3.5 * ratio) * uf_l / s->post_weight_kg;
    if (!(result > 0.0))
        return ERR_RANGE;

    return give(result, spktv);
}

static bool is_form(enum ektv_form form)
{
    return (unsigned)form < EKTV_FORM_COUNT;
}

const char *ektv_form_code(enum ektv_form form)
{
    return is_form(form) ? forms[form].code : "";
}

const char *ektv_form_display(enum ektv_form form)
{
    return is_form(form) ? forms[form].display : "";
}

enum err ektv_form_by_code(const char *code, size_t len, enum ektv_form *form)
{
    for (unsigned i = 0; i < EKTV_FORM_COUNT; i++) {
        if (strlen(forms[i].code) == len &&
            memcmp(forms[i].code, code, len) == 0) {
            *form = (enum ektv_form)i;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

enum err adequacy_ektv(enum ektv_form form, enum ektv_blood blood, double spktv,
                       double time_min, double *ektv)
{
    const struct ektv_row *row;
    double result;

    if (!is_form(form) || (unsigned)blood > EKTV_VENOUS ||
        !within(spktv, 0.0, ADEQUACY_KTV_MOST) ||
        !fits(Q_TREATMENT_TIME, time_min))
        return ERR_RANGE;
    row = &forms[form].row[blood];
    if (!row->published)
        return ERR_ABSENT;

    if (row->delay_min > 0.0)
        result = spktv * time_min / (time_min + row->delay_min);
    else
        result = row->slope * spktv -
                 row->rate_h * spktv / (time_min / MIN_PER_H) + row->offset;
    if (!(result >= 0.0))
        return ERR_RANGE;

    return give(result, ektv);
}

enum err adequacy_stdktv_fixed(double ektv, double time_min, int sessions,
                               double *stdktv)
{
    double removed, slope, weeks;

    if (!within(ektv, 0.0, ADEQUACY_KTV_MOST) ||
        !fits(Q_TREATMENT_TIME, time_min) || sessions < 1 ||
        !(sessions * time_min < MIN_PER_WEEK))
        return ERR_RANGE;

    removed = -expm1(-ektv); /* 1 - e^-x, also where x is tiny */
    slope = ektv > 0.0 ? removed / ektv : 1.0;
    weeks = MIN_PER_WEEK / (sessions * time_min);
    return give(MIN_PER_WEEK * removed / time_min / (slope + weeks - 1.0),
                stdktv);
}

enum err adequacy_stdktv(const struct adequacy_week *week, double *stdktv)
{
    const struct adequacy_week *w = week;
    double fixed, fluid, credit, residual;
    enum err e;

    if (!within(w->spktv, 0.0, ADEQUACY_KTV_MOST) || !(w->uf_week_ml >= 0.0) ||
        !(w->volume_l > 0.0 && w->volume_l <= ADEQUACY_VOLUME_L_MOST) ||
        !fits(Q_RESIDUAL_UREA_CLEARANCE, w->kru_ml_min))
        return ERR_RANGE;
    e = adequacy_stdktv_fixed(w->ektv, w->time_min, w->sessions, &fixed);
    if (e != ERR_OK)
        return e;

    fluid = 0.74 / w->sessions * (w->uf_week_ml / ML_PER_L) / w->volume_l;
    if (!(fluid < 1.0))
        return ERR_RANGE;
    credit = 0.974 / (w->spktv + 1.62) + 0.4;
    residual = w->kru_ml_min / ML_PER_L * credit * MIN_PER_WEEK / w->volume_l;
    return give(fixed / (1.0 - fluid) + residual, stdktv);
}

enum err adequacy_npcr(double post_bun_mg_dl, double next_pre_bun_mg_dl,
                       double interval_h, double *npcr_g_kg_d)
{
    double rise_mg_dl = next_pre_bun_mg_dl - post_bun_mg_dl;

    if (!fits(Q_BUN_POST, post_bun_mg_dl) ||
        !fits(Q_BUN_PRE, next_pre_bun_mg_dl) || !(rise_mg_dl > 0.0) ||
        !within(interval_h, NPCR_INTERVAL_H_LEAST, NPCR_INTERVAL_H_MOST))
        return ERR_RANGE;

    return give(0.22 + 0.036 * H_PER_DAY * rise_mg_dl / interval_h,
                npcr_g_kg_d);
}

enum err adequacy_uf_rate(double uf_ml, double time_min, double post_weight_kg,
                          double *rate_ml_kg_h)
{
    if (!fits(Q_UF_VOLUME, uf_ml) || !fits(Q_TREATMENT_TIME, time_min) ||
        !fits(Q_POST_WEIGHT, post_weight_kg))
        return ERR_RANGE;

    return give(uf_ml / (time_min / MIN_PER_H) / post_weight_kg, rate_ml_kg_h);
}

enum err adequacy_urea_from_bun(double bun_mg_dl, double *urea_mmol_l)
{
    if (!(bun_mg_dl >= 0.0))
        return ERR_RANGE;

    return give(bun_mg_dl / BUN_MG_DL_PER_UREA_MMOL_L, urea_mmol_l);
}

enum err adequacy_bun_from_urea(double urea_mmol_l, double *bun_mg_dl)
{
    if (!(urea_mmol_l >= 0.0))
        return ERR_RANGE;

    return give(urea_mmol_l * BUN_MG_DL_PER_UREA_MMOL_L, bun_mg_dl);
}

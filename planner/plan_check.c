/* What a plan can be made from, and the words of a plan. */
#include "planner/plan.h"

#include "planner/blood.h"
#include "planner/quantity.h"
#include "planner/words.h"

#include <math.h>
#include <string.h>

#define DOWEL_LEAST_MM      1.5
#define DOWEL_MOST_MM       8.0
#define FLOW_LEAST_ML_MIN   50.0
#define FLOW_MOST_ML_MIN    8000.0
#define PRESSURE_LEAST_MMHG 25.0 /* (A) */

void plan_input_init(struct plan_input *in)
{
    memset(in, 0, sizeof(*in));
    in->prior = &prior_default;
    in->map_mmhg = in->map_lowest_mmhg = in->cvp_mmhg = NAN;
    in->haematocrit_frac = in->conduit_mm = in->artery_mm = NAN;
    in->index_open = in->index_compressed = in->static_mmhg = NAN;
    in->finger_mmhg = NAN;
    in->stenosis_frac = in->stenosis_after_frac = NAN;
    in->reduction_low_frac = 0.5;
    in->reduction_high_frac = 0.6;
    in->prescribed_pump_ml_min = NAN;
    in->limits = (struct plan_limits){
        .floor_ml_min = 500.0,
        .pump_margin_ml_min = 100.0,
        .share_low = 0.4,
        .share_high = 0.5,
        .cap_ml_min = 1500.0,
        .cap_low_ml_min = 1300.0,
        .window_low_ml_min = 600.0,
        .window_high_ml_min = 1000.0,
        .index_least = 0.6,
        .pressure_least_mmhg = 60.0,
        .tight_most = 0.25,
        .floor_first_most = 0.02,
        .floor_most = 0.05,
        .risk_index = 0.4,
        .risk_index_most = 0.1,
        .risk_fall = 0.1,
        .risk_fall_most = 0.5,
    };
}

static bool is_within(double x, double least, double most)
{
    return x >= least && x <= most;
}

struct check {
    const char *field;
    double value, least, most;
    bool needed; /* else NAN will do */
    const char *why;
};

static enum err check_numbers(const struct check *rows, size_t count,
                              struct plan_fault *fault)
{
    for (size_t i = 0; i < count; i++) {
        const struct check *r = &rows[i];

        if ((!r->needed && isnan(r->value)) ||
            is_within(r->value, r->least, r->most))
            continue;
        *fault = (struct plan_fault){ r->field, r->why };
        return ERR_RANGE;
    }
    return ERR_OK;
}

static enum err check_flows(const double *read, size_t count, const char *field,
                            struct plan_fault *fault)
{
    *fault =
        (struct plan_fault){ field, WORDS("a flow is not within 50 to 8000 "
                                          "mL/min, or there are more than 8") };
    if (count > PLAN_READS_MAX)
        return ERR_RANGE;
    for (size_t i = 0; i < count; i++) {
        if (!is_within(read[i], FLOW_LEAST_ML_MIN, FLOW_MOST_ML_MIN))
            return ERR_RANGE;
    }
    return ERR_OK;
}

static enum err check_stage(const struct plan_stage *s, bool banded,
                            struct plan_fault *fault)
{
    const struct check rows[] = {
        { "stages.map_mmhg", s->map_mmhg, 40, 180, false,
          WORDS("mean pressure is not within 40 to 180 mmHg") },
        { "stages.index", s->index, 0, 1.5, false,
          WORDS("index is not within 0 to 1.5") },
        { "stages.dowel_mm", s->step == PLAN_TIED ? s->dowel_mm : NAN,
          DOWEL_LEAST_MM, DOWEL_MOST_MM, s->step == PLAN_TIED,
          "dowel is not within 1.5 to 8 mm" },
    };
    enum err e =
        check_flows(s->flow_ml_min, s->flow_count, "stages.flow_ml_min", fault);

    if (e == ERR_OK)
        e = check_numbers(rows, COUNT(rows), fault);
    if (e == ERR_OK && s->step != PLAN_TIED && !banded) {
        *fault =
            (struct plan_fault){ "stages", WORDS("stretched or released before "
                                                 "any band was tied") };
        e = ERR_RANGE;
    }
    return e;
}

/* A pressure that is not well above that of the veins drives no flow. */
static bool drives(const struct plan_input *in, double map_mmhg)
{
    double cvp = isfinite(in->cvp_mmhg) ? in->cvp_mmhg : 0.0;

    return isnan(map_mmhg) || map_mmhg - cvp >= PRESSURE_LEAST_MMHG;
}

static enum err check_pressures(const struct plan_input *in,
                                struct plan_fault *fault)
{
    bool fine = drives(in, in->map_mmhg) && drives(in, in->map_lowest_mmhg);

    for (size_t i = 0; i < in->stage_count; i++)
        fine = fine && drives(in, in->stages[i].map_mmhg);
    if (fine)
        return ERR_OK;
    *fault =
        (struct plan_fault){ "map_mmhg",
                             WORDS("a mean pressure is not 25 mmHg above the "
                                   "central venous pressure") };
    return ERR_RANGE;
}

static enum err check_kinds(const struct plan_input *in,
                            struct plan_fault *fault)
{
    *fault =
        (struct plan_fault){ "prior", WORDS("not one that a band can have") };
    if (in->prior == NULL || prior_check(in->prior) != ERR_OK)
        return ERR_RANGE;
    *fault = (struct plan_fault){ "lead", WORDS("not a word of plan.h") };
    if ((unsigned)in->lead > PLAN_BY_HAND)
        return ERR_RANGE;
    *fault = (struct plan_fault){ "region", WORDS("not a word of plan.h") };
    return (unsigned)in->region > PLAN_WRIST ? ERR_RANGE : ERR_OK;
}

static enum err check_stages(const struct plan_input *in,
                             struct plan_fault *fault)
{
    bool banded = false;
    size_t stretched = 0;

    if (in->stage_count > PLAN_STAGES_MAX) {
        *fault = (struct plan_fault){ "stages", WORDS("more than 8") };
        return ERR_RANGE;
    }
    for (size_t i = 0; i < in->stage_count; i++) {
        enum err e = check_stage(&in->stages[i], banded, fault);

        if (e != ERR_OK)
            return e;
        banded = in->stages[i].step == PLAN_TIED ||
                 (banded && in->stages[i].step != PLAN_RELEASED);
        stretched += in->stages[i].step == PLAN_STRETCHED;
    }
    if (stretched <= PLAN_STRETCHES_MAX)
        return ERR_OK;
    *fault =
        (struct plan_fault){ "stages", WORDS("stretched more than 3 times") };
    return ERR_RANGE;
}

static enum err check_ladder(const struct plan_input *in,
                             struct plan_fault *fault)
{
    *fault =
        (struct plan_fault){ "dowels_mm",
                             WORDS("more than 11 sizes, one twice, or one not "
                                   "within 1.5 to 8 mm") };
    if (in->dowel_count >= PLAN_DOWELS_MAX)
        return ERR_RANGE;
    for (size_t i = 0; i < in->dowel_count; i++) {
        if (!is_within(in->dowels_mm[i], DOWEL_LEAST_MM, DOWEL_MOST_MM))
            return ERR_RANGE;
        for (size_t k = 0; k < i; k++) {
            if (in->dowels_mm[k] == in->dowels_mm[i])
                return ERR_RANGE;
        }
    }
    return ERR_OK;
}

static enum err check_target(const struct plan_input *in,
                             struct plan_fault *fault)
{
    const struct plan_limits *l = &in->limits;

    *fault =
        (struct plan_fault){ "limits", WORDS("limits contradict each other") };
    if (!(l->floor_ml_min > 0.0 && l->share_low < l->share_high &&
          l->share_low > 0.0 && l->share_high < 1.0 &&
          l->cap_low_ml_min < l->cap_ml_min &&
          l->window_low_ml_min < l->window_high_ml_min))
        return ERR_RANGE;
    *fault =
        (struct plan_fault){ "reduction", WORDS("the reduction wanted is not "
                                                "two rising numbers between 0 "
                                                "and 1") };
    return in->lead != PLAN_BY_REDUCTION ||
                   (in->reduction_low_frac > 0.0 &&
                    in->reduction_low_frac < in->reduction_high_frac &&
                    in->reduction_high_frac < 1.0)
               ? ERR_OK
               : ERR_RANGE;
}

enum err plan_check(const struct plan_input *in, struct plan_fault *fault)
{
    const struct check rows[] = {
        { "flow_count", (double)in->flow_count, 1, PLAN_READS_MAX, true,
          WORDS("no flow was measured before the band, or more than 8") },
        { "map_mmhg", in->map_mmhg, 40, 180, false,
          WORDS("mean pressure is not within 40 to 180 mmHg") },
        { "map_lowest_mmhg", in->map_lowest_mmhg, 30, 180, false,
          WORDS("lowest mean pressure is not within 30 to 180 mmHg") },
        { "cvp_mmhg", in->cvp_mmhg, -5, 30, false,
          WORDS("central venous pressure is not within -5 to 30 mmHg") },
        { "haematocrit_frac", in->haematocrit_frac, BLOOD_HAEMATOCRIT_LEAST,
          BLOOD_HAEMATOCRIT_MOST, false,
          WORDS("haematocrit is not within 0.15 to 0.65") },
        { "conduit_mm", in->conduit_mm, 3, 30, false,
          WORDS("conduit is not within 3 to 30 mm") },
        { "artery_mm", in->artery_mm, 1, 15, false,
          WORDS("artery is not within 1 to 15 mm") },
        { "index_open", in->index_open, 0, 1.5, false,
          WORDS("index is not within 0 to 1.5") },
        { "index_compressed", in->index_compressed, 0, 1.5, false,
          WORDS("compressed index is not within 0 to 1.5") },
        { "static_mmhg", in->static_mmhg, 0, 180, false,
          WORDS("static pressure is not within 0 to 180 mmHg") },
        { "stenosis_frac", in->stenosis_frac, 0, 0.99, false,
          WORDS("stenosis is not within 0 to 99 %") },
        { "stenosis_after_frac", in->stenosis_after_frac, 0.0,
          in->stenosis_frac >= 0.0 ? in->stenosis_frac : 0.99, false,
          WORDS("stenosis after opening is not below that before") },
        { "prescribed_pump_ml_min", in->prescribed_pump_ml_min, 50, 800, false,
          WORDS("prescribed pump flow is not within 50 to 800 mL/min") },
    };
    enum err e = check_numbers(rows, COUNT(rows), fault);

    if (e == ERR_OK)
        e = check_kinds(in, fault);
    if (e == ERR_OK)
        e = check_flows(in->flow_ml_min, in->flow_count, "flow_ml_min", fault);
    if (e == ERR_OK)
        e = check_ladder(in, fault);
    if (e == ERR_OK)
        e = check_target(in, fault);
    if (e == ERR_OK)
        e = check_stages(in, fault);
    return e == ERR_OK ? check_pressures(in, fault) : e;
}

const char *plan_action_word(enum plan_action a)
{
    static const char *const words[] = { "accept", "tighten", "loosen",
                                         "stretch", "remeasure" };

    return a < PLAN_ACTION_COUNT ? words[a] : "";
}

const char *plan_lead_word(enum plan_lead lead)
{
    static const char *const words[] = { "share", "window", "reduction",
                                         "hand" };

    return (size_t)lead < COUNT(words) ? words[lead] : "";
}

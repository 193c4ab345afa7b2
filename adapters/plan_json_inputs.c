/* What a plan was made from, as JSON: values, limits, stages, and the readings
 * behind them. */
#include "adapters/plan_json.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"

#include <math.h>

static const char *type_word(enum sign type)
{
    return type == SIGN_TYPE_AVF   ? "fistula"
           : type == SIGN_TYPE_AVG ? "graft"
           : type == SIGN_TYPE_CVC ? "catheter"
                                   : NULL;
}

static const char *side_word(enum side side)
{
    return side == SIDE_LEFT ? "left" : side == SIDE_RIGHT ? "right" : NULL;
}

static const char *status_word(enum reading_status s)
{
    static const char *const words[] = { "final", "corrected", "preliminary",
                                         "withdrawn" };

    return words[s];
}

static void out_flows(const double *flow_ml_min, size_t count, struct buf *out)
{
    fhir_out_open(out, "flow_ml_min", '[');
    for (size_t i = 0; i < count; i++)
        plan_out_number(out, NULL, flow_ml_min[i], 0);
    fhir_out_close(out, ']');
}

static double mean_of(const double *values, size_t count)
{
    double sum = 0;

    for (size_t i = 0; i < count; i++)
        sum += values[i];
    return count > 0 ? sum / (double)count : NAN;
}

static void out_baseline(const struct plan_from *from, struct buf *out)
{
    const struct plan_input *in = &from->in;

    if (in->flow_count == 0) {
        plan_out_null(out, "baseline");
        return;
    }
    fhir_out_open(out, "baseline", '{');
    out_flows(in->flow_ml_min, in->flow_count, out);
    plan_out_number(out, "mean_ml_min",
                    mean_of(in->flow_ml_min, in->flow_count), 0);
    plan_out_time(out, "at", from->baseline_s);
    fhir_out_bool(out, "on_table", in->on_table);
    fhir_out_close(out, '}');
}

static void out_limits(const struct plan_limits *l, struct buf *out)
{
    const struct {
        const char *key;
        double value;
        int decimals;
    } rows[] = {
        { "floor_ml_min", l->floor_ml_min, 0 },
        { "pump_margin_ml_min", l->pump_margin_ml_min, 0 },
        { "share_low_pct", 100.0 * l->share_low, 1 },
        { "share_high_pct", 100.0 * l->share_high, 1 },
        { "cap_ml_min", l->cap_ml_min, 0 },
        { "cap_low_ml_min", l->cap_low_ml_min, 0 },
        { "window_low_ml_min", l->window_low_ml_min, 0 },
        { "window_high_ml_min", l->window_high_ml_min, 0 },
        { "index_least", l->index_least, 2 },
        { "pressure_least_mmhg", l->pressure_least_mmhg, 1 },
        { "tight_most_pct", 100.0 * l->tight_most, 1 },
        { "floor_first_most_pct", 100.0 * l->floor_first_most, 1 },
        { "floor_most_pct", 100.0 * l->floor_most, 1 },
        { "risk_index", l->risk_index, 2 },
        { "risk_index_most_pct", 100.0 * l->risk_index_most, 1 },
        { "risk_fall", l->risk_fall, 2 },
        { "risk_fall_most_pct", 100.0 * l->risk_fall_most, 1 },
    };

    fhir_out_open(out, "limits", '{');
    for (size_t i = 0; i < COUNT(rows); i++)
        plan_out_number(out, rows[i].key, rows[i].value, rows[i].decimals);
    fhir_out_close(out, '}');
}

/* As much of the time as is known. */
static void out_when(const struct reading *r, const struct zone *zone,
                     struct buf *out)
{
    char text[FHIR_TIME_SIZE];

    if (r->precision == AT_SECOND || r->precision == AT_PERIOD)
        fhir_time_write(r->start_s, text);
    else
        fhir_date_write(r->start_s, zone, text);
    if (r->precision == AT_MONTH)
        text[7] = '\0';
    else if (r->precision == AT_YEAR)
        text[4] = '\0';
    fhir_out_text(out, "at", text);
}

static void out_value(const struct reading *r, struct buf *out)
{
    const struct quantity_info *info = quantity_info(r->quantity);

    if (info->kind == VALUE_CODE) {
        plan_out_text(out, "value", sign_info(r->sign)->code);
        plan_out_null(out, "unit");
        return;
    }
    plan_out_number(out, "value", r->value, 3);
    plan_out_text(out, "unit", info->unit);
}

static void out_reading(const struct plan_document *d, size_t ground,
                        struct buf *out)
{
    const struct plan_ground *g = &d->from->grounds[ground];
    const struct reading *r = &d->history->readings[g->reading];

    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "use", plan_use_word(g->use));
    plan_out_number(out, "stage", g->stage >= 0 ? (double)g->stage + 1 : NAN,
                    0);
    plan_out_text(out, "quantity", quantity_info(r->quantity)->code);
    out_value(r, out);
    out_when(r, d->zone, out);
    plan_out_text(out, "status", status_word(r->status));
    plan_out_text(out, "method", method_code(r->method));
    plan_out_text(out, "reference",
                  d->references != NULL ? d->references[ground] : NULL);
    fhir_out_close(out, '}');
}

static void out_readings(const struct plan_document *d, struct buf *out)
{
    fhir_out_open(out, "readings", '[');
    for (size_t i = 0; i < d->from->ground_count; i++)
        out_reading(d, i, out);
    fhir_out_close(out, ']');
}

/* Not known: 0 or NAN. */
static void out_finger(struct buf *out, double finger_mmhg)
{
    plan_out_number(out, "finger_mmhg", finger_mmhg > 0.0 ? finger_mmhg : NAN,
                    0);
}

static void out_numbers(const struct plan_input *in, struct buf *out)
{
    plan_out_number(out, "map_mmhg", in->map_mmhg, 1);
    plan_out_number(out, "map_lowest_mmhg", in->map_lowest_mmhg, 1);
    plan_out_number(out, "cvp_mmhg", in->cvp_mmhg, 1);
    plan_out_number(out, "haematocrit_frac", in->haematocrit_frac, 3);
    plan_out_number(out, "conduit_mm", in->conduit_mm, 2);
    plan_out_number(out, "artery_mm", in->artery_mm, 2);
    plan_out_number(out, "index_open", in->index_open, 2);
    plan_out_number(out, "index_compressed", in->index_compressed, 2);
    out_finger(out, in->finger_mmhg);
    plan_out_number(out, "static_mmhg", in->static_mmhg, 1);
    plan_out_number(out, "stenosis_pct", 100.0 * in->stenosis_frac, 0);
    plan_out_number(out, "stenosis_after_pct", 100.0 * in->stenosis_after_frac,
                    0);
    plan_out_number(out, "prescribed_pump_ml_min", in->prescribed_pump_ml_min,
                    0);
}

void plan_out_inputs(const struct plan_document *d, struct buf *out)
{
    const struct plan_from *from = d->from;
    const struct plan_input *in = &from->in;

    fhir_out_open(out, "inputs", '{');
    plan_out_text(out, "access", d->access);
    plan_out_text(out, "access_type", type_word(from->access_type));
    plan_out_text(out, "side", side_word(from->side));
    fhir_out_text(out, "region", from->forearm ? "wrist" : "elbow");
    plan_out_text(out, "method",
                  in->flow_count > 0 ? method_code(in->method) : NULL);
    out_baseline(from, out);
    plan_out_number(out, "other_method_flows", (double)from->other_flow_count,
                    0);
    out_numbers(in, out);
    fhir_out_bool(out, "ischaemia", in->ischaemia);
    fhir_out_text(out, "lead", plan_lead_word(in->lead));
    fhir_out_open(out, "dowels_mm", '[');
    for (size_t i = 0; i < in->dowel_count; i++)
        plan_out_number(out, NULL, in->dowels_mm[i], 2);
    fhir_out_close(out, ']');
    out_limits(&in->limits, out);
    out_readings(d, out);
    fhir_out_close(out, '}');
}

/* ---- stages ------------------------------------------------------------------ */

static const char *step_word(enum plan_step s)
{
    return s == PLAN_TIED        ? "tied"
           : s == PLAN_STRETCHED ? "stretched"
                                 : "released";
}

static void out_stage(const struct plan_document *d, size_t i, struct buf *out)
{
    const struct plan_stage *s = &d->from->in.stages[i];
    const struct plan_seen *seen =
        d->plan != NULL && i < d->plan->seen_count ? &d->plan->seen[i] : NULL;
    static const struct plan_range unknown = { NAN, NAN, NAN };

    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "step", step_word(s->step));
    plan_out_number(out, "dowel_mm", s->dowel_mm, 2);
    plan_out_number(out, "balloon_mm", d->from->balloon_mm[i], 2);
    plan_out_time(out, "at", d->from->stage_s[i]);
    out_flows(s->flow_ml_min, s->flow_count, out);
    plan_out_number(out, "map_mmhg", s->map_mmhg, 1);
    plan_out_number(out, "digital_brachial_index", s->index, 2);
    out_finger(out, s->finger_mmhg);
    fhir_out_bool(out, "weak_thrill", s->weak_thrill);
    plan_out_number(out, "measured_ml_min",
                    seen != NULL ? seen->measured_ml_min : NAN, 0);
    plan_out_number(out, "reduction_pct",
                    seen != NULL ? seen->reduction_pct : NAN, 1);
    plan_out_range(out, "predicted_ml_min",
                   seen != NULL ? &seen->predicted_ml_min : &unknown, 0);
    plan_out_number(out, "tail", seen != NULL ? seen->tail : NAN, 3);
    fhir_out_close(out, '}');
}

void plan_out_stages(const struct plan_document *d, struct buf *out)
{
    fhir_out_open(out, "stages", '[');
    for (size_t i = 0; i < d->from->in.stage_count; i++)
        out_stage(d, i, out);
    fhir_out_close(out, ']');
}

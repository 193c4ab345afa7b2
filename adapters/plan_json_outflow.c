/* What opening an outflow stenosis would do, as JSON. */
#include "adapters/plan_json.h"

#include "adapters/fhir_out.h"

#include <math.h>

static const struct plan_range unknown = { NAN, NAN, NAN };

/* Only the static pressure tells what opening does. */
static void out_opened(const struct plan_outflow *o, struct buf *out)
{
    bool known = o->by_pressure;

    plan_out_range(out, "surge", known ? &o->surge : &unknown, 2);
    plan_out_range(out, "flow_ml_min", known ? &o->flow_ml_min : &unknown, 0);
    plan_out_range(out, "hand_pressure_mmhg",
                   known ? &o->hand_pressure_mmhg : &unknown, 1);
    plan_out_range(out, "index_before", &o->index_before, 2);
    plan_out_range(out, "digital_brachial_index", known ? &o->index : &unknown,
                   2);
    plan_out_number(out, "p_index_low", known ? o->p_index_low : NAN, 3);
    plan_out_number(out, "p_index_falls", known ? o->p_index_falls : NAN, 3);
    fhir_out_bool(out, "flagged", o->flagged);
}

static void out_holding(const struct plan_outflow *o, struct buf *out)
{
    bool known = isfinite(o->holding_dowel_mm);

    plan_out_number(out, "holding_dowel_mm", o->holding_dowel_mm, 2);
    plan_out_range(out, "holding_flow_ml_min",
                   known ? &o->holding_flow_ml_min : &unknown, 0);
    plan_out_range(out, "holding_index", known ? &o->holding_index : &unknown,
                   2);
    plan_out_number(out, "holding_p_index_low",
                    known ? o->holding_p_index_low : NAN, 3);
    plan_out_number(out, "holding_p_index_falls",
                    known ? o->holding_p_index_falls : NAN, 3);
}

void plan_out_outflow(const struct plan *plan, struct buf *out)
{
    const struct plan_outflow *o;

    if (plan == NULL || !plan->outflow.known) {
        plan_out_null(out, "outflow");
        return;
    }
    o = &plan->outflow;
    fhir_out_open(out, "outflow", '{');
    fhir_out_bool(out, "by_pressure", o->by_pressure);
    plan_out_number(out, "lesion_frac", o->lesion_frac, 3);
    plan_out_number(out, "surge_least", o->surge_least, 2);
    plan_out_number(out, "surge_most", o->surge_most, 2);
    out_opened(o, out);
    out_holding(o, out);
    plan_out_number(out, "zone_dowel_mm", o->zone_dowel_mm, 2);
    fhir_out_close(out, '}');
}

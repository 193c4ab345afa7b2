/*
 * prediction - what is foreseen of the hand, with what it rests on
 *
 *     opening  an outflow stenosis is known and untreated: opening it lets the
 *              flow surge (plan_opening() of a plan)
 *     rise     the finger was measured at a flow that has since risen by more
 *              than chance (plan_rise())
 *
 * Numbers of the planner (plan.h), not of rules: fractions, mL/min, mm.
 */
#ifndef HEADGATE_PLANNER_PREDICTION_H
#define HEADGATE_PLANNER_PREDICTION_H

#include "planner/plan.h"

enum prediction_of { PREDICT_OPENING, PREDICT_RISE, PREDICTIONS };

enum prediction_state {
    PREDICTION_NO_GROUND, /* nothing to predict from */
    PREDICTION_MISSING,   /* a ground, but a value that it cannot do without
                             is not known: see missing */
    PREDICTION_CONFLICT,  /* the values contradict each other */
    PREDICTION_SMALL,     /* predicted: no more than the rule allows */
    PREDICTION_AT_RISK    /* predicted: beyond the rule */
};

struct prediction {
    enum prediction_state state;
    bool index_known;    /* the finger was measured; else what is usual stands
                            in its place */
    double index;        /* as it was measured; NAN */
    int64_t index_s;     /* when; INT64_MIN */
    bool flow_known;     /* a flow of the access as it is now */
    enum method method;  /* of all flows */
    double flow_ml_min;  /* mean of the readings that it is predicted from */
    int64_t flow_s;      /* when; INT64_MIN */
    double stenosis_pct; /* opening; NAN */
    double static_mmhg;
    struct plan_range flow_after_ml_min; /* opening: foreseen; rise: as it is
                                            now, one value */
    int64_t flow_after_s;                /* rise */
    double least_change_pct;             /* rise: what chance alone does */
    struct plan_range index_before, index_after;
    double p_index_low, p_index_falls;
    unsigned missing;     /* enum plan_missing */
    bool distal;          /* the index is low with the access pressed shut */
    bool excluded;        /* another ground refuses any band; of both no size */
    double zone_dowel_mm; /* opening, provisional; NAN: none */
    double holding_dowel_mm; /* the same: holds the flow as it was */
};

#endif

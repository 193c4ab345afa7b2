/*
 * plan_write_kit - invented plans for the tests of their writers
 *
 * Every number is made up here and none comes from the engine: what these
 * tests are about is how a plan is written down, and that shall not change
 * when the engine is tuned.
 */
#ifndef HEADGATE_TESTS_PLAN_WRITE_KIT_H
#define HEADGATE_TESTS_PLAN_WRITE_KIT_H

#include "adapters/plan_words.h"
#include "tests/plan_from_kit.h"

struct write_kit {
    struct from_kit kit; /* what was measured: real */
    struct plan plan;    /* what follows from it: invented */
    struct plan_fault fault;
    struct zone *zone;
    const char *references[PLAN_GROUNDS_MAX];
    struct plan_document d;
};

static const struct event write_kit_before[] = {
    MEAN(70, 88),                                   /* 1 */
    MEAN(75, 84),                                   /* 2 */
    MEAN(80, 91),                                   /* 3 */
    NUMBER(90, Q_HAEMATOCRIT, 0.333),               /* 4 */
    NUMBER(90, Q_CONDUIT_DIAMETER, 9.25),           /* 5 */
    NUMBER(90, Q_PRESCRIBED_PUMP_FLOW, 350),        /* 6 */
    NUMBER(90, Q_OUTFLOW_STENOSIS, 70),             /* 7 */
    INDEX(98, 0.456),                               /* 8 */
    PRESSED_INDEX(98.01, 0.85),                     /* 9 */
    NUMBER(98.02, Q_STATIC_ACCESS_PRESSURE, 36.44), /* 10 */
    FLOW(99, 2450.4, DILUTION),                     /* 11 */
    FLOW(99.01, 2550, DILUTION),                    /* 12 */
    MEAN(99, 93.04),                                /* 13 */
    { .day = 0 }
};

static const struct event write_kit_case[] = { MEAN(99, 93),
                                               FLOW(99, 2450, DILUTION),
                                               FLOW(99.01, 2550, DILUTION),
                                               DOWEL(99.1, 4),
                                               FLOW(99.11, 1700, DILUTION),
                                               FLOW(99.115, 1760, DILUTION),
                                               MEAN(99.11, 91),
                                               INDEX(99.12, 0.84),
                                               STRETCH(99.2, 5),
                                               SIGN(99.21, SIGN_THRILL_WEAK),
                                               { .day = 0 } };

/* Not one of the planner's, which are tuned. */
static const struct prior write_kit_prior = {
    .name = "default",
    .offset_mm = { 0.55, 0.275, -0.4, 1.5 },
    .contraction = { 0.75, 0.155, 0.5, 1 },
    .knot_sd_mm = 0.1,
    .stretch_mm = { 0.61, 0.25, 0, 1.45 },
};

static inline struct plan_range write_kit_range(double low, double mid,
                                                double high)
{
    return (struct plan_range){ low, mid, high };
}

static inline struct plan_rung write_kit_rung(double dowel_mm, double flow,
                                              double tight, double floor)
{
    return (struct plan_rung){
        .dowel_mm = dowel_mm,
        .flow_ml_min = write_kit_range(0.7 * flow, flow, 1.2 * flow),
        .reduction_pct = write_kit_range(27.04, 100 - flow / 25, 58.96),
        .hand_pressure_mmhg = write_kit_range(44.04, 54.55, 64.96),
        .index = write_kit_range(0.504, 0.616, 0.7161),
        .hand_lowest_mmhg = write_kit_range(40.04, 50.05, 60.06),
        .p_in_zone = 0.1894,
        .p_too_tight = tight,
        .p_below_floor = floor,
        .p_index_low = 0.0004,
        .fourth_power_ml_min = 2500 * pow(dowel_mm / 9.25, 4)
    };
}

static inline struct plan_row write_kit_row(double from, double to,
                                            enum plan_action action,
                                            double dowel_mm)
{
    return (struct plan_row){ .from_ml_min = from,
                              .to_ml_min = to,
                              .action = action,
                              .dowel_mm = dowel_mm };
}

static inline void write_kit_card(struct plan *plan)
{
    const struct plan_row rows[] = {
        write_kit_row(0, 500, PLAN_LOOSEN, 4.5),
        write_kit_row(500, 700, PLAN_REMEASURE, NAN),
        write_kit_row(700, 875, PLAN_LOOSEN, NAN),
        write_kit_row(875, 1000, PLAN_STRETCH, NAN),
        write_kit_row(1000, 1250, PLAN_ACCEPT, NAN),
        write_kit_row(1250, 1600, PLAN_TIGHTEN, 3.5),
        write_kit_row(1600, 2000, PLAN_ACCEPT, NAN),
        write_kit_row(2000, INFINITY, PLAN_REMEASURE, NAN),
    };

    memcpy(plan->rows, rows, sizeof(rows));
    plan->row_count = COUNT(rows);
    plan->rows[0].emergency = true;
    plan->rows[6].above_target = plan->rows[6].ladder_ends = true;
}

static inline void write_kit_plan(struct plan *plan)
{
    *plan = (struct plan){ .baseline_ml_min = 2500.2,
                           .first_dowel_mm = 4,
                           .card_dowel_mm = 4,
                           .readings_advised = 2,
                           .readings_advised_baseline = 3,
                           .next = PLAN_TIGHTEN,
                           .next_dowel_mm = 3.25,
                           .lowest_ml_min = 700,
                           .highest_ml_min = 2000,
                           .sample_share = 0.26249,
                           .sample_count = 4096 };
    plan->target = (struct plan_target){ .lead = PLAN_BY_SHARE,
                                         .low_ml_min = 1000.08,
                                         .high_ml_min = 1250.1,
                                         .low_frac = 0.5,
                                         .high_frac = 0.6,
                                         .relative = true,
                                         .floor_ml_min = 500,
                                         .index_least = 0.6,
                                         .pressure_least_mmhg = 60 };
    plan->rung_count = 3;
    plan->rungs[0] = write_kit_rung(4.5, 1713, 0.0004, 0);
    plan->rungs[1] = write_kit_rung(4, 1432, 0.0412, 0.0004);
    plan->rungs[2] = write_kit_rung(3.25, 980, 0.4, 0.021);
    write_kit_card(plan);
    plan->hand_now_mmhg = write_kit_range(35.04, 43.21, 52.6);
    plan->index_now = write_kit_range(0.421, 0.502, 0.584);
    plan->outflow = (struct plan_outflow){
        .known = false,
        .lesion_frac = NAN,
        .holding_dowel_mm = NAN,
        .zone_dowel_mm = NAN,
    };
}

static inline void write_kit_outflow(struct plan_outflow *o)
{
    *o = (struct plan_outflow){
        .known = true,
        .by_pressure = true,
        .lesion_frac = 0.3014,
        .surge_least = 1.171,
        .surge_most = 1.372,
        .flow_ml_min = write_kit_range(2113.2, 2433.4, 2792.2),
        .surge = write_kit_range(1.184, 1.243, 1.314),
        .hand_pressure_mmhg = write_kit_range(21.04, 31.06, 43.01),
        .index = write_kit_range(0.241, 0.352, 0.483),
        .index_before = write_kit_range(0.421, 0.502, 0.584),
        .p_index_low = 0.7214,
        .p_index_falls = 0.9004,
        .flagged = true,
        .holding_dowel_mm = 5,
        .zone_dowel_mm = 3.5,
        .holding_flow_ml_min = write_kit_range(1534, 1893, 2253),
        .holding_index = write_kit_range(0.391, 0.524, 0.633),
        .holding_p_index_low = 0.0702,
        .holding_p_index_falls = 0.11
    };
}

static inline void write_kit_stages(struct plan *plan)
{
    plan->seen_count = 2;
    plan->seen[0] = (struct plan_seen){ .measured_ml_min = 1729.7,
                                        .reduction_pct = 30.81,
                                        .predicted_ml_min = write_kit_range(
                                            985.4, 1388.2, 1760.1),
                                        .tail = 0.9321 };
    plan->seen[1] = (struct plan_seen){ .measured_ml_min = NAN,
                                        .reduction_pct = NAN,
                                        .predicted_ml_min =
                                            write_kit_range(1800, 1950, 2100),
                                        .tail = NAN };
}

/* A plan of these events; the document may be changed after it. */
static inline void write_kit_set(struct write_kit *w,
                                 const struct event *events)
{
    from_kit_set(&w->kit, events, AVF, 100);
    w->kit.h.side = SIDE_LEFT;
    from_kit_run(&w->kit, &from_kit_asked);
    assert_int_equal(w->kit.from.offer, PLAN_OFFERED);
    w->kit.from.in.prior = &write_kit_prior;
    write_kit_plan(&w->plan);
    w->fault = (struct plan_fault){ "map_mmhg",
                                    "mean pressure is not within 40 to 180 "
                                    "mmHg" };
    w->d = (struct plan_document){ .from = &w->kit.from,
                                   .plan = &w->plan,
                                   .history = &w->kit.h,
                                   .policy = &w->kit.policy,
                                   .zone = w->zone,
                                   .access = "Fistula A-0901 (left upper arm)",
                                   .patient = "Fictional, Wren (0901)" };
}

static inline void write_kit_start(struct write_kit *w)
{
    kit_policy(&w->kit.policy);
    assert_int_equal(zone_load("Europe/Berlin", &w->zone), ERR_OK);
}

#endif

/*
 * worksheet_kit - invented plans and histories on a page, for the tests of the
 * worksheet
 *
 * Plans are those of plan_write_kit.h: no number comes from the engine, so
 * that a page changes only when the way it is drawn does.
 */
#ifndef HEADGATE_TESTS_WORKSHEET_KIT_H
#define HEADGATE_TESTS_WORKSHEET_KIT_H

#include "adapters/worksheet.h"
#include "tests/plan_write_kit.h"

enum { SHEET_READINGS_MAX = 256 };

struct sheet_kit {
    struct write_kit w;
    struct findings findings;
    struct worksheet sheet;
    struct reading many[SHEET_READINGS_MAX]; /* in place of w's */
};

/* Right to left: "Ploni Almoni", the John Doe of Hebrew, and "Fulan al-Fulani",
 * that of Arabic. */
#define SHEET_HEBREW                                                           \
    "\u05e4\u05dc\u05d5\u05e0\u05d9 \u05d0\u05dc\u05de\u05d5\u05e0\u05d9"
#define SHEET_ARABIC                                                           \
    "\u0641\u0644\u0627\u0646 \u0627\u0644\u0641\u0644\u0627\u0646\u064a"

static inline void sheet_kit_set(struct sheet_kit *k,
                                 const struct event *events)
{
    write_kit_set(&k->w, events);
    rules_evaluate(&k->w.kit.h, &k->w.kit.policy, &k->findings);
    k->sheet = (struct worksheet){
        .plan = &k->w.d,
        .findings = &k->findings,
        .patient_name = "Fictional, Wren",
        .patient_number = "0901",
        .born = "1957-03-02",
        .unit = "Hall D, Dialysis Unit Northgate",
        .access = "A-0901",
        .seen = "HF-1: access flow 2500 mL/min on 2025-01-11, limit 2000 "
                "(common practice, P); urgent, within 14 days",
        .made_s = kit_s(100) + 33720,
        .paper = CANVAS_A4,
    };
}

static inline void sheet_kit_before(struct sheet_kit *k)
{
    sheet_kit_set(k, write_kit_before);
    write_kit_outflow(&k->w.plan.outflow);
    k->w.plan.missing =
        PLAN_NO_CVP | PLAN_NO_TABLE | PLAN_NO_ARTERY | PLAN_NO_LOWEST_MAP;
    k->w.plan.warnings = PLAN_PROVISIONAL | PLAN_OUTFLOW_FIRST;
}

static inline void sheet_kit_case(struct sheet_kit *k)
{
    sheet_kit_set(k, write_kit_case);
    write_kit_stages(&k->w.plan);
    k->w.plan.missing = PLAN_NO_CVP | PLAN_NO_STAGE_MAP;
}

static inline void sheet_kit_complete(struct sheet_kit *k)
{
    sheet_kit_set(k, write_kit_before);
    for (size_t i = 0; i < CONDITION_COUNT; i++)
        k->w.kit.from.readiness.conditions[i] = CONDITION_MET;
    k->w.kit.from.readiness.conditions[CONDITION_OPERATOR] =
        CONDITION_BY_OPERATOR;
    k->w.kit.from.readiness.complete = true;
    k->w.kit.from.in.on_table = true;
    k->w.kit.from.in.prescribed_pump_ml_min = 350;
}

static inline void sheet_kit_refused(struct sheet_kit *k)
{
    sheet_kit_set(k, write_kit_before);
    k->w.kit.from.offer = PLAN_EXCLUDED;
    k->w.kit.from.readiness.exclusions = EXCLUDE_LOW_FLOW_HAND | EXCLUDE_CHILD;
    k->w.kit.from.cautions = CAUTION_GRAFT;
    k->w.d.plan = NULL;
}

/* No reading at all: nothing is planned. */
static inline void sheet_kit_empty(struct sheet_kit *k)
{
    sheet_kit_set(k, write_kit_before);
    k->w.kit.h.count = 0;
    from_kit_run(&k->w.kit, NULL);
    k->w.kit.from.in.prior = &write_kit_prior;
    k->w.d.plan = NULL;
    k->sheet.findings = NULL;
    k->sheet.patient_name = k->sheet.patient_number = NULL;
    k->sheet.born = k->sheet.unit = k->sheet.seen = NULL;
}

/* A plan of one reading. */
static inline void sheet_kit_one(struct sheet_kit *k)
{
    static const struct event one[] = { FLOW(99, 2450.4, DILUTION),
                                        { .day = 0 } };

    sheet_kit_set(k, one);
    k->w.plan.missing = (1U << PLAN_MISSING_COUNT) - 1;
    k->w.plan.missing &=
        ~(unsigned)(PLAN_NO_METHOD | PLAN_NO_STATIC | PLAN_NO_STAGE_MAP);
    k->w.plan.warnings = PLAN_PROVISIONAL;
    for (size_t i = 0; i < k->w.plan.rung_count; i++)
        k->w.plan.rungs[i].hand_lowest_mmhg =
            (struct plan_range){ NAN, NAN, NAN };
}

static inline struct reading sheet_kit_reading(int64_t id, double day,
                                               enum quantity quantity,
                                               double value)
{
    const struct event e = { .day = day,
                             .quantity = quantity,
                             .value = value,
                             .method = quantity == Q_ACCESS_FLOW
                                           ? id % 3 == 0
                                                 ? METHOD_DUPLEX
                                                 : METHOD_ULTRASOUND_DILUTION
                                           : METHOD_UNSTATED };

    return kit_reading(&e, id);
}

/* Two hundred readings over three years, with two bands, on the page of a
 * plan. */
static inline void sheet_kit_many(struct sheet_kit *k)
{
    static const enum quantity quantities[] = { Q_ACCESS_FLOW, Q_MEAN_PRESSURE,
                                                Q_SPKTV };
    static const double levels[] = { 1700, 92, 1.42 };
    size_t n = 0;

    sheet_kit_before(k);
    for (int i = 0; n < 198; i++) {
        double day = -990 + 5.5 * i;
        double wave = 1 + 0.25 * sin(i * 0.23) + 0.05 * sin(i * 1.9);

        k->many[n] = sheet_kit_reading((int64_t)n + 1, day, quantities[i % 3],
                                       levels[i % 3] * wave);
        n++;
        if (i == 80 || i == 150) {
            const struct event band = { .day = day + 1,
                                        .sign = SIGN_BANDED,
                                        .value = NAN };

            k->many[n] = kit_reading(&band, (int64_t)n + 1);
            n++;
        }
    }
    k->w.kit.h.readings = k->many;
    k->w.kit.h.count = n;
    k->w.kit.from.ground_count = 0;
    k->w.kit.from.in.flow_count = 2;
}

/* More than any page will have to hold: each list is as long as it can be. */
static inline void sheet_kit_full(struct sheet_kit *k)
{
    struct plan *plan = &k->w.plan;
    struct plan_input *in = &k->w.kit.from.in;

    sheet_kit_case(k);
    write_kit_outflow(&plan->outflow);
    plan->missing = (1U << PLAN_MISSING_COUNT) - 1;
    plan->warnings = PLAN_READS_APART | PLAN_OUTSIDE | PLAN_OUTFLOW_FIRST |
                     PLAN_HAND_AT_RISK | PLAN_PROVISIONAL | PLAN_STRAINED |
                     PLAN_LADDER_ENDS | PLAN_GRAFT_PRIOR | PLAN_MANY_STAGES;
    plan->rung_count = PLAN_DOWELS_MAX;
    for (size_t i = 0; i < PLAN_DOWELS_MAX; i++)
        plan->rungs[i] =
            write_kit_rung(6.25 - 0.25 * (double)i, 2300 - 120 * (double)i,
                           0.08 * (double)i, 0.01 * (double)i);
    in->stage_count = PLAN_STAGES_MAX;
    plan->seen_count = PLAN_STAGES_MAX;
    for (size_t i = 2; i < PLAN_STAGES_MAX; i++) {
        in->stages[i] = in->stages[0];
        in->stages[i].dowel_mm = 5.0 - 0.25 * (double)i;
        plan->seen[i] = plan->seen[0];
        k->w.kit.from.balloon_mm[i] = NAN;
    }
    plan->row_count = PLAN_CARD_MAX;
    for (size_t i = 0; i < PLAN_CARD_MAX; i++)
        plan->rows[i] = write_kit_row(
            i == 0 ? 0 : 400 + 75 * (double)i,
            i + 1 == PLAN_CARD_MAX ? INFINITY : 475 + 75 * (double)i,
            (enum plan_action)(i % PLAN_ACTION_COUNT),
            i % PLAN_ACTION_COUNT == PLAN_TIGHTEN ||
                    i % PLAN_ACTION_COUNT == PLAN_LOOSEN
                ? 3.25
                : NAN);
    plan->rows[0].emergency = true;
    plan->rows[0].action = PLAN_LOOSEN;
    plan->rows[0].dowel_mm = 4.5;
}

static inline void sheet_kit_long_names(struct sheet_kit *k)
{
    sheet_kit_case(k);
    k->sheet.patient_name =
        "Fictional-Improbable-Featherstonehaugh, Bartholomew Maximilian "
        "Wolfeschlegelsteinhausenbergerdorff the Younger of Northgate, "
        "formerly Longname";
    k->sheet.unit = "Dialysis Unit of the Very Long Name, Second Floor, East "
                    "Wing, Northgate General, Building 17";
    k->sheet.access = "Brachiocephalic fistula of the left upper arm after "
                      "transposition, second access, number A-0901-2021-B";
    k->sheet.seen =
        "HF-1: access flow 2500 mL/min on 2025-01-11, limit 2000; HF-3: share "
        "of the cardiac output 33 %, limit 30 %; IS-6: pain of the hand on "
        "dialysis with a high flow; urgent, within 14 days, since 2024-11-20; "
        "and one more sentence that nobody would have thought of";
}

static inline void sheet_kit_right_to_left(struct sheet_kit *k)
{
    sheet_kit_before(k);
    k->sheet.patient_name = SHEET_HEBREW ", " SHEET_ARABIC;
    k->sheet.unit = SHEET_ARABIC;
}

static inline void sheet_kit_hand(struct sheet_kit *k)
{
    sheet_kit_set(k, write_kit_before);
    k->w.plan.target.lead = PLAN_BY_HAND;
    k->w.plan.target.low_ml_min = 500;
    k->w.plan.missing = PLAN_NO_INDEX;
    k->w.plan.first_dowel_mm = NAN;
    k->w.plan.readings_advised = 0;
    k->w.plan.row_count = 0;
    k->w.plan.warnings = PLAN_NO_DOWEL | PLAN_HAND_SHORT;
}

static inline void sheet_kit_draw(struct sheet_kit *k, enum canvas_form form,
                                  struct buf *out)
{
    buf_empty(out);
    assert_int_equal(worksheet_draw(&k->sheet, form, out), ERR_OK);
}

/* The situations that pages are looked at in. */
static const struct sheet_situation {
    const char *name;
    void (*set)(struct sheet_kit *k);
} sheet_situations[] = {
    { "before", sheet_kit_before },
    { "case", sheet_kit_case },
    { "complete", sheet_kit_complete },
    { "refused", sheet_kit_refused },
    { "empty", sheet_kit_empty },
    { "one", sheet_kit_one },
    { "many", sheet_kit_many },
    { "full", sheet_kit_full },
    { "long-names", sheet_kit_long_names },
    { "right-to-left", sheet_kit_right_to_left },
    { "hand", sheet_kit_hand },
};

#endif

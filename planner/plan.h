/*
 * plan - the band plan of an access: which dowel first, what to do at each
 * measured flow, what to expect of the hand, what opening the outflow would do
 *
 * From what was measured the circuit of the arm is put together 4096 times,
 * each with another guess of what was not measured (particles.h); what is
 * measured on the way weighs the guesses.  The decision looks ahead over the
 * ties that may follow (look_ahead.h).
 *
 * No clock, no randomness, no heap: the caller brings a struct plan_work.
 * Equal input gives equal output, bit for bit, on every build that has the
 * same libm.
 *
 * Decision support: what a plan rests on and what it cannot know is printed
 * with it (missing, warnings); the operator measures and decides.
 *
 * Units: mL/min, mmHg, mm, fractions 0..1 unless a name says otherwise.  NAN:
 * not known.  Marks of sources as in element.h.
 */
#ifndef HEADGATE_PLANNER_PLAN_H
#define HEADGATE_PLANNER_PLAN_H

#include "planner/prior.h"
#include "planner/reading.h"

#include <stdbool.h>
#include <stddef.h>

#define PLAN_MODEL_VERSION "1"

enum {
    PLAN_READS_MAX = 8,
    PLAN_STAGES_MAX = 8,
    PLAN_STRETCHES_MAX = 3,
    PLAN_DOWELS_MAX = 12,
    PLAN_CARD_MAX = 24,
    PLAN_READINGS_MOST = 4 /* readings of one measurement, at most */
};

/* ---- what goes in --------------------------------------------------------- */

/* Where the artery that feeds the access lies. */
enum plan_region {
    PLAN_ELBOW, /* upper arm or elbow; also where it is not known */
    PLAN_WRIST  /* forearm */
};

/* What the plan steers to. */
enum plan_lead {
    PLAN_BY_SHARE,     /* a share of the baseline, with a cap; the default */
    PLAN_BY_WINDOW,    /* a window of flow: fistula 600-1000, graft 800-1000 */
    PLAN_BY_REDUCTION, /* a plain reduction, lo..hi per cent */
    PLAN_BY_HAND       /* the finger pressure or index, above the floor */
};

enum plan_step {
    PLAN_TIED,      /* tied, or tied anew, over a dowel */
    PLAN_STRETCHED, /* the band in place stretched with a balloon */
    PLAN_RELEASED   /* cut: no band in place */
};

/* The limits of a plan, from the policy; plan_input_init() sets the shipped
 * ones, which the policy file repeats with their sources. */
struct plan_limits {
    double floor_ml_min; /* least flow to leave: by type of access */
    double
        pump_margin_ml_min; /* and at least the prescribed pump flow + this */
    double share_low, share_high; /* zone as share of the baseline: .4, .5 */
    double cap_ml_min;            /* but the zone ends here at most ... */
    double cap_low_ml_min;        /* ... and then begins here */
    double window_low_ml_min, window_high_ml_min; /* PLAN_BY_WINDOW */
    double index_least, pressure_least_mmhg;      /* hand: enough */
    double tight_most;       /* chance of too tight, first dowel */
    double floor_first_most; /* chance of below the floor, first dowel */
    double floor_most;       /* the same at every later stage */
    double risk_index;       /* outflow: index below this ... */
    double risk_index_most;  /* ... with more than this chance, or ... */
    double risk_fall;        /* ... a fall of the index by more than this */
    double risk_fall_most;   /* ... with more than this chance */
};

/* What was done on the table, and what was measured after it. */
struct plan_stage {
    enum plan_step step;
    double dowel_mm; /* of a tie: measured outer diameter */
    double flow_ml_min[PLAN_READS_MAX];
    size_t flow_count;
    double map_mmhg;    /* of that moment */
    double index;       /* digital-brachial index of that moment */
    double finger_mmhg; /* systolic pressure of the finger; 0, NAN: not known */
    bool weak_thrill;
};

struct plan_input {
    const struct prior *prior; /* borrowed */
    bool graft;
    enum plan_region region;
    enum method method; /* of all flows: they are never mixed */

    /* Baseline. */
    double flow_ml_min[PLAN_READS_MAX];
    size_t flow_count; /* at least 1 */
    bool on_table;     /* measured on the table, just before */
    bool other_method; /* flows by another were there and are left out */
    double map_mmhg, map_lowest_mmhg; /* now; lowest usual on dialysis */
    double cvp_mmhg, haematocrit_frac;
    double conduit_mm; /* inner diameter where the band goes */
    double artery_mm;  /* feeding artery */
    double index_open, index_compressed; /* digital-brachial */
    double finger_mmhg; /* systolic pressure of the finger; 0, NAN: not known */
    double static_mmhg; /* inside the access, pump off, zero at heart height */
    double stenosis_frac, stenosis_after_frac; /* outflow, by diameter: now,
                                                   and after opening it */
    bool ischaemia; /* the hand is a ground of the plan */

    /* What is wanted. */
    struct plan_limits limits;
    enum plan_lead lead;
    double reduction_low_frac, reduction_high_frac; /* PLAN_BY_REDUCTION */
    double prescribed_pump_ml_min;
    double dowels_mm[PLAN_DOWELS_MAX]; /* any order, no two equal */
    size_t dowel_count;                /* 0: the usual ladder */

    struct plan_stage stages[PLAN_STAGES_MAX]; /* oldest first */
    size_t stage_count;
};

/* All unknown, the default prior, the usual ladder and target. */
void plan_input_init(struct plan_input *in);

/* What was not given and widens the answer; bits of a set. */
enum plan_missing {
    PLAN_NO_MAP = 1,
    PLAN_NO_CVP = 2,
    PLAN_NO_HAEMATOCRIT = 4,
    PLAN_NO_CONDUIT = 8,
    PLAN_NO_ARTERY = 16,
    PLAN_NO_INDEX = 32,
    PLAN_NO_INDEX_COMPRESSED = 64,
    PLAN_NO_STATIC = 128, /* only where an outflow lesion is known */
    PLAN_NO_REPEAT = 256, /* one flow only */
    PLAN_NO_TABLE = 512,  /* baseline not measured on the table */
    PLAN_NO_LOWEST_MAP = 1024,
    PLAN_NO_STAGE_MAP = 2048,
    PLAN_NO_METHOD = 4096,
    PLAN_MISSING_COUNT = 13
};

/* What the numbers themselves say against relying on them; bits of a set. */
enum plan_warning {
    PLAN_READS_APART = 1,      /* readings of one measurement differ by more
                                  than chance: take a third */
    PLAN_OUTSIDE = 2,          /* a measured flow lies outside what was
                                  predicted: measure again, look at the knot */
    PLAN_CONFLICT = 4,         /* the data contradict each other: no advice */
    PLAN_ZONE_EMPTY = 8,       /* the zone lies below the floor: no plan by
                                  flow */
    PLAN_NO_DOWEL = 16,        /* no size keeps to the limits of chance */
    PLAN_DISTAL = 32,          /* index low with the access pressed shut:
                                  disease further down; a band cannot mend it */
    PLAN_HAND_AT_RISK = 64,    /* opening the outflow: flag rule */
    PLAN_OUTFLOW_FIRST = 128,  /* a lesion is known: open, measure, then size */
    PLAN_HAND_SHORT = 256,     /* no size brings the hand to its limit */
    PLAN_PROVISIONAL = 512,    /* not from the table */
    PLAN_LADDER_ENDS = 1024,   /* accepted only because no smaller size is left
                                  */
    PLAN_GRAFT_PRIOR = 2048,   /* a graft: the offset is too large a guess */
    PLAN_MANY_STAGES = 4096,   /* more ties than the model has seen */
    PLAN_HAND_BY_FLOW = 8192,  /* the hand is the ground, its index is not
                                  known: steered by flow */
    PLAN_STRAINED = 16384,     /* the index measured and the pressures hardly go
                                  together: check both */
    PLAN_OTHER_METHOD = 32768, /* flows by another method are not used */
    PLAN_HAND_WORSE = 65536,   /* finger or index fell after a tie: loosen, look
                                  at the inflow */
    PLAN_HAND_LOW = 131072,    /* below its limit after a tie, and no better
                                  than at the baseline: the same */
    PLAN_PRESSURE_OFF = 262144, /* the mean pressure after the last step is not
                                   that of the baseline */
    PLAN_BASELINE_APART = 524288, /* three or more readings of the baseline
                                     differ by more than chance */
    PLAN_WARNING_COUNT = 20
};

/* ---- what comes out ------------------------------------------------------- */

struct plan_range {
    double p05, p50, p95;
};

struct plan_target {
    enum plan_lead lead;
    double low_ml_min, high_ml_min; /* zone in flow as measured; of a hand that
                                       leads: floor and baseline */
    double low_frac, high_frac;     /* the same as reduction; low < high */
    bool relative; /* judged as a reduction of the true baseline */
    double floor_ml_min;
    double index_least, pressure_least_mmhg;
};

/* One size of the ladder, if it were tied next. */
struct plan_rung {
    double dowel_mm;
    struct plan_range flow_ml_min; /* as the same method will read it */
    struct plan_range reduction_pct;
    struct plan_range hand_pressure_mmhg; /* mean, of the hand */
    struct plan_range index;
    struct plan_range hand_lowest_mmhg; /* at the lowest usual pressure; NAN */
    double p_in_zone, p_too_tight, p_below_floor, p_index_low;
    double loss;                /* expected, with the best that may follow */
    bool allowed;               /* by the limits of chance */
    double fourth_power_ml_min; /* the textbook figure: flow if the access were
                                   nothing but the band (Poiseuille) */
};

enum plan_action {
    PLAN_ACCEPT,
    PLAN_TIGHTEN,   /* tie over dowel_mm */
    PLAN_LOOSEN,    /* cut, and tie over dowel_mm; NAN: cut, no band */
    PLAN_STRETCH,   /* with a balloon 1 mm larger than the dowel */
    PLAN_REMEASURE, /* before anything else */
    PLAN_ACTION_COUNT
};

/* Why the next step is what it is. */
enum plan_reason {
    PLAN_REASON_FLOW,        /* by the flow measured, and what is expected */
    PLAN_REASON_FLOOR,       /* the flow is below the floor */
    PLAN_REASON_THRILL,      /* weak or lost */
    PLAN_REASON_HAND_WORSE,  /* PLAN_HAND_WORSE */
    PLAN_REASON_HAND_LOW,    /* PLAN_HAND_LOW */
    PLAN_REASON_PRESSURE,    /* PLAN_PRESSURE_OFF */
    PLAN_REASON_UNMEASURED,  /* nothing was measured after the last step */
    PLAN_REASON_OUTSIDE,     /* the flow after the last step is not one that was
                               predicted */
    PLAN_REASON_LADDER_ENDS, /* accepted above the target: no smaller size */
    PLAN_REASON_COUNT
};

/* What to do if the flow measured is from <= flow < to. */
struct plan_row {
    double from_ml_min, to_ml_min; /* to: INFINITY in the highest row */
    enum plan_action action;
    double dowel_mm;   /* NAN: none */
    bool emergency;    /* the lowest row: below it loosen now, then measure */
    bool above_target; /* accepted though too loose ... */
    bool ladder_ends;  /* ... because no smaller size keeps to the floor */
};

/* Opening the outflow lesion. */
struct plan_outflow {
    bool known;         /* a lesion is known */
    bool by_pressure;   /* static pressure known: a prediction, not only
                               bounds */
    double lesion_frac; /* of the pressure from artery to vein; NAN */
    double surge_least, surge_most; /* bounds: flow after over flow before */
    struct plan_range flow_ml_min, surge, hand_pressure_mmhg, index;
    struct plan_range index_before;
    double p_index_low, p_index_falls; /* index < 0.4; falls by > 0.1 */
    bool flagged;
    /* Provisional sizes: the one that holds the flow nearest to what it was,
     * and the first one for the zone after opening; NAN: none. */
    double holding_dowel_mm, zone_dowel_mm;
    struct plan_range holding_flow_ml_min, holding_index;
    double holding_p_index_low, holding_p_index_falls;
};

/* What the model had predicted for a stage, and what was found. */
struct plan_seen {
    double measured_ml_min; /* mean of the readings; NAN: none */
    double reduction_pct;
    struct plan_range predicted_ml_min;
    double tail; /* part of the prediction at or below what was measured */
};

struct plan {
    struct plan_target target;
    unsigned missing, warnings;
    double baseline_ml_min; /* mean of the readings */
    size_t rung_count;
    struct plan_rung rungs[PLAN_DOWELS_MAX]; /* loosest first; of a hand that is
                                                worse only those that are looser
                                                than what stands */
    double first_dowel_mm;                   /* NAN: none is named */
    double card_dowel_mm; /* the dowel that the card is for */
    int readings_advised; /* of each measurement after a tie */
    int readings_advised_baseline;
    enum plan_action next; /* what now; PLAN_REMEASURE also where the warnings
                              say that there is no advice */
    double next_dowel_mm;
    enum plan_reason next_reason;
    size_t row_count;
    struct plan_row rows[PLAN_CARD_MAX];        /* lowest flow first */
    double lowest_ml_min, highest_ml_min;       /* the card holds between these;
                                             beyond: measure again */
    struct plan_range hand_now_mmhg, index_now; /* without a band, as it is */
    struct plan_outflow outflow;
    size_t seen_count;
    struct plan_seen seen[PLAN_STAGES_MAX];
    double sample_share; /* effective part of the sample, 0..1 */
    size_t sample_count;
};

/* Opaque to callers: some 30 MB, no pointers; the caller's memory, used again
 * from plan to plan. */
struct plan_work;
size_t plan_work_size(void);
/* Before the first plan; once. */
void plan_work_init(struct plan_work *work);

/* Where an input cannot be used; for a message. */
struct plan_fault {
    const char *field; /* as named in struct plan_input */
    const char *why;   /* static text */
};

/* ERR_RANGE: fault says which and why. */
MUST_CHECK enum err plan_check(const struct plan_input *in,
                               struct plan_fault *fault);

/*
 * plan_make
 *
 * ERR_RANGE  plan_check() would have said so
 */
MUST_CHECK enum err plan_make(const struct plan_input *in,
                              struct plan_work *work, struct plan *plan);

/*
 * What speaks after the last step against a tighter band, or against judging
 * it, whatever its flow is.  Less flow through the access should leave the hand
 * more pressure (circuit.h); where finger or index fall after a tie the inflow
 * may be narrowed, or the band lie at a wrong place.
 *
 * The margins are own proposals, no source: an index or a pressure of the
 * finger differs by so much from one measurement to the next.  A pressure that
 * is within a tenth of that at the baseline is the same (common practice, no
 * source).
 */
#define PLAN_INDEX_FALL    0.10
#define PLAN_INDEX_RISE    0.05
#define PLAN_FINGER_FALL   15.0 /* mmHg */
#define PLAN_FINGER_RISE   10.0 /* mmHg */
#define PLAN_SAME_PRESSURE 0.10 /* of that at the baseline */

struct plan_alarm {
    bool hand_worse; /* fell by more than the margin */
    bool hand_low;   /* with a band in place: below its limit, and not risen by
                          more than the margin since the baseline, or that is
                          not known */
    bool by_finger;  /* it was its pressure that said so; else the index */
    size_t hand_stage; /* measured after this one, index into in->stages */
    bool pressure_off; /* after the last step */
};

/* A hand stays worse while ties get no looser and nobody measures it anew. */
struct plan_alarm plan_alarm_of(const struct plan_input *in);

/* Stable words: "flow", "floor", "thrill", "hand-worse", ... */
const char *plan_reason_word(enum plan_reason r);

/* Stable words: "accept", "tighten", ...; "share", "window", ... */
const char *plan_action_word(enum plan_action a);
const char *plan_lead_word(enum plan_lead lead);

#endif

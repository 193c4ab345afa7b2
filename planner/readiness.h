/*
 * readiness - what stands between an access and a band plan
 *
 * The pre-conditions of a plan, each met, missing, or left to the operator;
 * the grounds on which no plan is made at all; and whether reducing the flow
 * is a candidate treatment at all, which the flow beside an ischaemia decides.
 */
#ifndef HEADGATE_PLANNER_READINESS_H
#define HEADGATE_PLANNER_READINESS_H

#include "planner/rules.h"

/* Bands have not been studied in children; a proposed default without direct
 * source. */
enum { READINESS_ADULT_Y = 18 };

enum condition {
    CONDITION_FLOW_PAIR,      /* two concordant flows by one method */
    CONDITION_INFLOW_IMAGED,  /* inflow artery from chest to hand, clear */
    CONDITION_OUTFLOW_IMAGED, /* outflow, clear */
    CONDITION_FINGER,         /* finger pressure or index, with and without
                                 compression; only with a complaint */
    CONDITION_INDICATION,     /* hand, heart or outflow pressure */
    CONDITION_TARGET,         /* target window of the flow, and its floor */
    CONDITION_OPERATOR,       /* anticoagulation and infection checked */
    CONDITION_COUNT
};

enum condition_state {
    CONDITION_MET,
    CONDITION_MISSING,
    CONDITION_NOT_NEEDED,
    CONDITION_BY_OPERATOR /* cannot be known from readings */
};

/* Bits of a set: each refuses the plan. */
enum exclusion {
    EXCLUDE_CHILD = 1,         /* under 18 years */
    EXCLUDE_SITE = 2,          /* thigh or chest wall */
    EXCLUDE_INFECTION = 4,     /* IN-1 */
    EXCLUDE_LOW_FLOW_HAND = 8, /* IS-7 */
    EXCLUDE_NERVES = 16,       /* IS-1 */
    EXCLUDE_TISSUE = 32,       /* grade 4b, ever within the look-back */
    EXCLUDE_DISTAL = 64,       /* compressed index low: disease further down */
    EXCLUDE_BLEEDING = 128,    /* BL-1 */
    EXCLUDE_CATHETER = 256
};

/* Bits of a set: each is printed with a plan. */
enum caution {
    CAUTION_GRAFT = 1,
    CAUTION_BAND_BEFORE = 2,    /* ever */
    CAUTION_PULMONARY = 4,      /* pulmonary hypertension */
    CAUTION_ARM_DIFFERENCE = 8, /* systolic pressures of the arms differ */
    CAUTION_OUTFLOW = 16,       /* a known outflow stenosis is untreated */
    CAUTION_AGE_UNKNOWN = 32,
    CAUTION_THRILL = 64 /* weak or lost at the last examination */
};

/* What pressing the access shut did to the finger. */
enum compression {
    COMPRESSION_UNKNOWN,     /* not tested with and without in one session */
    COMPRESSION_CONTRIBUTES, /* rises: the access takes the blood */
    COMPRESSION_SMALL,       /* hardly rises */
    COMPRESSION_DISTAL       /* stays low: suggests arterial disease */
};

enum candidate {
    CANDIDATE_NO_GROUND, /* no high flow and no ischaemia: nothing to plan */
    CANDIDATE_YES,       /* high flow, with or without ischaemia */
    CANDIDATE_NO,        /* excluded */
    CANDIDATE_UNKNOWN    /* ischaemia without a usable flow */
};

struct readiness {
    enum candidate candidate;
    unsigned exclusions, cautions;
    enum condition_state conditions[CONDITION_COUNT];
    enum compression compression;
    double finger_open_mmhg, finger_compressed_mmhg; /* NAN if not known */
    bool hand, heart, outflow_pressure;              /* indications found */
    bool complete; /* nothing is missing (the operator's part left aside) */
};

/* findings: of the same history, date and policy. */
void readiness_assess(const struct history *h, const struct policy *policy,
                      const struct findings *findings, struct readiness *out);

#endif

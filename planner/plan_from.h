/*
 * plan_from - what is planned from: the readings of an access become the
 * input of the band planner
 *
 * Which flows are the baseline, what was tied, stretched or cut since and
 * what was measured after each of these; pressures, index, diameters; the
 * limits of the policy.  Each number remembers the readings it comes from.
 * And whether a plan is offered at all.
 *
 * A case is what was done to the band within plan.case_h before its newest
 * step.  While it is that new the plan goes on from it: the last flows of its
 * method before the first step are the baseline, and each step is a stage.
 * Later the case is finished, and the band in place.
 *
 * While a band is in place that is not of the case none is offered, of all
 * that can be said: target, resistances and priors are those of an access
 * without a band (its flow before is not known any more, the split of its
 * resistance is another, and whether a further band adds to the one in place,
 * replaces it or lies beside it is not known); no published series tells what
 * a second band leaves.  Cut, it is a caution, and the flows since are a
 * baseline like any other.
 *
 * Nothing is assumed: what no reading says is NAN, and the planner lists it.
 */
#ifndef HEADGATE_PLANNER_PLAN_FROM_H
#define HEADGATE_PLANNER_PLAN_FROM_H

#include "planner/history.h"
#include "planner/plan.h"
#include "planner/readiness.h"

/* Is a plan made?  The first that applies, from the top. */
enum plan_offer {
    PLAN_OFFERED,
    PLAN_EXCLUDED,    /* readiness: on these grounds none is made */
    PLAN_INACTIVE,    /* the access is no longer in use */
    PLAN_OTHER_FORM,  /* a band that is no narrow ligature is recorded */
    PLAN_NO_GROUND,   /* nobody asked, and neither a high flow nor an
                         ischaemia with one is confirmed */
    PLAN_NO_FLOW,     /* no flow of the access as it is now */
    PLAN_FLOW_UNFIT,  /* the newest is a bound, or contradicts the raw values
                         of its session */
    PLAN_FLOW_OLD,    /* the newest is older than plan.valid_d */
    PLAN_ORDER,       /* of a step of the case only the day is known, or two
                         of one time differ: what was measured before it and
                         what after cannot be told */
    PLAN_SIZE,        /* a band of this case, and no dowel of it */
    PLAN_STAGES_FULL, /* more steps in one case than PLAN_STAGES_MAX */
    PLAN_BANDED,      /* all would be there, but a band is in place that is
                         not of this case: band tells of it */
    PLAN_DECEASED,    /* the patient is recorded as deceased; set by whoever
                         called it, as is PLAN_UNFIT */
    PLAN_UNFIT,       /* plan_check() refused; set by whoever called it */
    PLAN_OFFER_COUNT
};

/* What a reading was used for. */
enum plan_use {
    PLAN_USE_FLOW,
    PLAN_USE_MAP,
    PLAN_USE_MAP_LOWEST,
    PLAN_USE_CVP,
    PLAN_USE_HAEMATOCRIT,
    PLAN_USE_CONDUIT,
    PLAN_USE_ARTERY,
    PLAN_USE_INDEX,
    PLAN_USE_INDEX_COMPRESSED,
    PLAN_USE_FINGER,
    PLAN_USE_STATIC,
    PLAN_USE_STENOSIS,
    PLAN_USE_PUMP,
    PLAN_USE_FORM,
    PLAN_USE_STEP, /* of a stage: the step itself, and what follows */
    PLAN_USE_STAGE_FLOW,
    PLAN_USE_STAGE_MAP,
    PLAN_USE_STAGE_INDEX,
    PLAN_USE_STAGE_FINGER,
    PLAN_USE_STAGE_THRILL,
    PLAN_USE_COUNT
};

/* Stable words: the members of the JSON that they stand behind. */
const char *plan_use_word(enum plan_use u);

enum { PLAN_GROUNDS_MAX = 256 };

struct plan_ground {
    enum plan_use use;
    int stage;      /* index into in.stages; -1: none */
    size_t reading; /* index into history.readings */
};

/* What a person wants; NULL: nobody asked, all as usual. */
struct plan_wish {
    const struct prior *prior; /* borrowed; NULL: the default one */
    bool lead_given;           /* else: the hand leads where it is the ground,
                                  the share of the baseline elsewhere */
    enum plan_lead lead;
    double reduction_low_frac, reduction_high_frac; /* PLAN_BY_REDUCTION */
    size_t dowel_count;                             /* 0: the usual ladder */
    double dowels_mm[PLAN_DOWELS_MAX];
    bool on_table; /* a person says that the newest session of flows, of the
                      last plan.case_h, is on the table; no step needs to be
                      recorded yet */
};

/* A band in place that is not of the case that goes on. */
struct plan_band {
    bool placed;     /* else nothing below is set */
    size_t reading;  /* that says when: index into history.readings */
    double dowel_mm; /* NAN: not recorded */
    bool stretched;  /* with a balloon, since */
};

struct plan_from {
    enum plan_offer offer;
    struct plan_band band; /* said whatever else refuses the plan */
    struct readiness readiness;
    unsigned cautions;    /* of readiness, but that a band of this very case is
                          not an earlier one */
    struct plan_input in; /* to be read if offered */
    enum sign access_type;
    enum side side;
    bool forearm;
    int64_t baseline_s; /* of the first flow of the baseline; INT64_MIN */
    int64_t expires_s;  /* INT64_MIN if there is no baseline */
    int64_t case_s;     /* first step of the case; INT64_MIN: none goes on */
    int64_t stage_s[PLAN_STAGES_MAX];   /* when, of in.stages */
    double balloon_mm[PLAN_STAGES_MAX]; /* of one that stretched; else NAN */
    size_t other_flow_count;  /* flows of the baseline's session and of the case
                                by another method: not used */
    enum method other_method; /* of the newest of them */
    size_t ground_count;
    struct plan_ground grounds[PLAN_GROUNDS_MAX];
};

/*
 * plan_from
 *
 * readiness  of the same history, date and policy
 * wish       NULL: nobody asked
 * out        plan_check() is left to whoever plans
 */
void plan_from(const struct history *h, const struct policy *policy,
               const struct readiness *readiness, const struct plan_wish *wish,
               struct plan_from *out);

#endif

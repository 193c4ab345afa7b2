/*
 * policy - the limits in force, each with its source and the mark of it
 *
 * No clinical limit stands in the code.  They come from one policy file that
 * a site approves; here is the list of what such a file must say, and the
 * form in which the rules read it.
 *
 * Marks say how strong a source is:
 *     F   found in the published source named
 *     F2  found on a secondary page
 *     M   from memory, to be checked against the paper
 *     C   computed from the formulas
 *     P   a proposed default without direct source, for local approval
 */
#ifndef HEADGATE_PLANNER_POLICY_H
#define HEADGATE_PLANNER_POLICY_H

#include "planner/err.h"

#include <stddef.h>

/* In rising order. */
enum urgency {
    URGENCY_NOTE,     /* no referral: a remark on what else is open */
    URGENCY_ROUTINE,  /* within 30 days */
    URGENCY_URGENT,   /* within 7 to 14 days */
    URGENCY_ASAP,     /* within 24 to 48 hours */
    URGENCY_IMMEDIATE /* minutes to hours: phone now */
};
const char *urgency_word(enum urgency u);

enum param_kind {
    PARAM_NUMBER,  /* any number in [least, most] */
    PARAM_COUNT,   /* a whole number */
    PARAM_URGENCY, /* note routine urgent asap immediate */
    PARAM_GRADE    /* 0 1 2a 2b 3 4a 4b */
};

/* X(name, section, key, kind, least, most) */
#define PARAM_LIST(X)                                                          \
    X(P_SESSION_H, "general", "session_h", PARAM_NUMBER, 1, 12)                \
    X(P_APART_H, "general", "apart_h", PARAM_NUMBER, 1, 48)                    \
    X(P_REPLICATE_SPREAD_PCT, "general", "replicate_spread_pct", PARAM_NUMBER, \
      1, 100)                                                                  \
    X(P_HYSTERESIS_PCT, "general", "hysteresis_pct", PARAM_NUMBER, 0, 50)      \
    X(P_BLANKING_D, "general", "blanking_d", PARAM_COUNT, 0, 60)               \
    X(P_HISTORIC_D, "general", "historic_d", PARAM_COUNT, 1, 365)              \
    X(P_LOOKBACK_D, "general", "lookback_d", PARAM_COUNT, 180, 3650)           \
    X(P_YOUNG_ACCESS_D, "general", "young_access_d", PARAM_COUNT, 0, 365)      \
    X(P_WORSENING_FLOW_PCT, "general", "worsening_flow_pct", PARAM_NUMBER, 1,  \
      100)                                                                     \
    X(P_QUIET_FLOW_D, "general", "quiet_flow_d", PARAM_COUNT, 1, 730)          \
    X(P_QUIET_HAND_D, "general", "quiet_hand_d", PARAM_COUNT, 1, 730)          \
    X(P_QUIET_LOW_FLOW_D, "general", "quiet_low_flow_d", PARAM_COUNT, 1, 730)  \
    X(P_DUE_ROUTINE_D, "general", "due_routine_d", PARAM_COUNT, 1, 365)        \
    X(P_DUE_URGENT_D, "general", "due_urgent_d", PARAM_COUNT, 1, 60)           \
    X(P_DUE_EXAMINE_D, "general", "due_examine_d", PARAM_COUNT, 1, 60)         \
    X(P_DUE_ASAP_D, "general", "due_asap_d", PARAM_COUNT, 1, 14)               \
    X(P_HF1_FLOW, "HF-1", "flow_ml_min", PARAM_NUMBER, 500, 8000)              \
    X(P_HF1_READINGS, "HF-1", "readings", PARAM_COUNT, 1, 3)                   \
    X(P_HF1_WINDOW_D, "HF-1", "window_d", PARAM_COUNT, 1, 365)                 \
    X(P_HF1_URGENCY, "HF-1", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_HF1_URGENCY_SIGN, "HF-1", "urgency_with_sign", PARAM_URGENCY, 0, 4)    \
    X(P_HF1_SIGN_WINDOW_D, "HF-1", "sign_window_d", PARAM_COUNT, 1, 365)       \
    X(P_HF2_FLOW, "HF-2", "flow_ml_min", PARAM_NUMBER, 500, 8000)              \
    X(P_HF2_READINGS, "HF-2", "readings", PARAM_COUNT, 1, 3)                   \
    X(P_HF2_WINDOW_D, "HF-2", "window_d", PARAM_COUNT, 1, 365)                 \
    X(P_HF2_URGENCY, "HF-2", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_HF3_RATIO, "HF-3", "ratio", PARAM_NUMBER, 0.05, 0.8)                   \
    X(P_HF3_FLOW, "HF-3", "flow_ml_min", PARAM_NUMBER, 200, 4000)              \
    X(P_HF3_READINGS, "HF-3", "readings", PARAM_COUNT, 1, 3)                   \
    X(P_HF3_WINDOW_D, "HF-3", "window_d", PARAM_COUNT, 1, 730)                 \
    X(P_HF3_URGENCY, "HF-3", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_HF3_RATIO_SEVERE, "HF-3", "ratio_severe", PARAM_NUMBER, 0.05, 0.8)     \
    X(P_HF3_FLOW_SEVERE, "HF-3", "flow_severe_ml_min", PARAM_NUMBER, 200,      \
      4000)                                                                    \
    X(P_HF3_REPEAT_D, "HF-3", "repeat_d", PARAM_COUNT, 1, 180)                 \
    X(P_HF3_URGENCY_SEVERE, "HF-3", "urgency_severe", PARAM_URGENCY, 0, 4)     \
    X(P_IS2_GRADE, "IS-2", "grade", PARAM_GRADE, 1, 6)                         \
    X(P_IS2_URGENCY, "IS-2", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_IS3_GRADE, "IS-3", "grade", PARAM_GRADE, 1, 6)                         \
    X(P_IS3_URGENCY, "IS-3", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_IS3_URGENCY_MOTOR, "IS-3", "urgency_motor_loss", PARAM_URGENCY, 0, 4)  \
    X(P_IS4_GRADE, "IS-4", "grade", PARAM_GRADE, 1, 6)                         \
    X(P_IS4_URGENCY, "IS-4", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_IS4_GRADE_MILD, "IS-4", "grade_mild", PARAM_GRADE, 1, 6)               \
    X(P_IS4_READINGS_MILD, "IS-4", "readings_mild", PARAM_COUNT, 1, 3)         \
    X(P_IS4_WINDOW_D, "IS-4", "window_d", PARAM_COUNT, 1, 180)                 \
    X(P_IS4_URGENCY_MILD, "IS-4", "urgency_mild", PARAM_URGENCY, 0, 4)         \
    X(P_IS5_PRESSURE, "IS-5", "pressure_mmhg", PARAM_NUMBER, 20, 120)          \
    X(P_IS5_INDEX, "IS-5", "index", PARAM_NUMBER, 0.1, 1.0)                    \
    X(P_IS5_INDEX_SEVERE, "IS-5", "index_severe", PARAM_NUMBER, 0.1, 1.0)      \
    X(P_IS5_REPEAT_D, "IS-5", "repeat_d", PARAM_COUNT, 1, 180)                 \
    X(P_IS5_SYMPTOM_WINDOW_D, "IS-5", "symptom_window_d", PARAM_COUNT, 1, 365) \
    X(P_IS5_URGENCY, "IS-5", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_IS5_URGENCY_SEVERE, "IS-5", "urgency_severe", PARAM_URGENCY, 0, 4)     \
    X(P_IS6_FLOW, "IS-6", "flow_ml_min", PARAM_NUMBER, 400, 3000)              \
    X(P_IS6_WINDOW_D, "IS-6", "window_d", PARAM_COUNT, 1, 365)                 \
    X(P_IS7_FLOW, "IS-7", "flow_ml_min", PARAM_NUMBER, 400, 3000)              \
    X(P_IS7_WINDOW_D, "IS-7", "window_d", PARAM_COUNT, 1, 365)                 \
    X(P_LF_URGENCY_THRILL_LOST, "general", "urgency_thrill_lost",              \
      PARAM_URGENCY, 0, 4)                                                     \
    X(P_LF1_FLOW, "LF-1", "flow_ml_min", PARAM_NUMBER, 200, 1500)              \
    X(P_LF1_READINGS, "LF-1", "readings", PARAM_COUNT, 1, 3)                   \
    X(P_LF1_WINDOW_D, "LF-1", "window_d", PARAM_COUNT, 1, 365)                 \
    X(P_LF1_URGENCY, "LF-1", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_LF1_URGENCY_SIGN, "LF-1", "urgency_with_sign", PARAM_URGENCY, 0, 4)    \
    X(P_LF1_SIGN_WINDOW_D, "LF-1", "sign_window_d", PARAM_COUNT, 1, 365)       \
    X(P_LF2_FLOW, "LF-2", "flow_ml_min", PARAM_NUMBER, 200, 1500)              \
    X(P_LF2_READINGS, "LF-2", "readings", PARAM_COUNT, 1, 3)                   \
    X(P_LF2_WINDOW_D, "LF-2", "window_d", PARAM_COUNT, 1, 365)                 \
    X(P_LF2_URGENCY, "LF-2", "urgency", PARAM_URGENCY, 0, 4)                   \
    X(P_LF2_URGENCY_SIGN, "LF-2", "urgency_with_sign", PARAM_URGENCY, 0, 4)    \
    X(P_LF2_SIGN_WINDOW_D, "LF-2", "sign_window_d", PARAM_COUNT, 1, 365)

enum param {
#define PARAM_ENUM(name, section, key, kind, least, most) name,
    PARAM_LIST(PARAM_ENUM)
#undef PARAM_ENUM
        PARAM_TOTAL
};

struct param_info {
    const char *section, *key;
    enum param_kind kind;
    double least, most;
};
const struct param_info *param_info(enum param p);

/* Find a row by section and key; ERR_UNKNOWN if there is none. */
MUST_CHECK enum err param_by_name(const char *section, const char *key,
                                  enum param *p);

/* Read a value of a row's kind from text; ERR_FORM, ERR_RANGE. */
MUST_CHECK enum err param_read(enum param p, const char *text, double *value);

enum { POLICY_SOURCES_MAX = 64 };

struct policy_source {
    char key[16];       /* "BAS08" */
    char citation[240]; /* for a person */
};

struct policy_value {
    double value;    /* urgency and grade: the number of the enum */
    char mark[4];    /* F, F2, M, C or P */
    char source[64]; /* source keys, blank-separated; "" for mark P alone */
};

struct policy {
    char version[24];  /* as its approver numbers it */
    char approver[80]; /* a role, not a person's name */
    char date[11];     /* YYYY-MM-DD */
    struct policy_value values[PARAM_TOTAL];
    struct policy_source sources[POLICY_SOURCES_MAX];
    size_t source_count;
};

static inline double policy_get(const struct policy *p, enum param name)
{
    return p->values[name].value;
}
static inline int policy_count(const struct policy *p, enum param name)
{
    return (int)p->values[name].value;
}
static inline enum urgency policy_urgency(const struct policy *p,
                                          enum param name)
{
    return (enum urgency)p->values[name].value;
}

/* The citation of a source key; NULL if the policy has none. */
const char *policy_citation(const struct policy *p, const char *key,
                            size_t len);

/*
 * The rows must also agree with each other: a severe limit lies beyond the
 * plain one, HF-1 above HF-2 above LF.  ERR_CONFIG, with the name of the
 * first row that does not fit in *at.
 */
MUST_CHECK enum err policy_check(const struct policy *p, enum param *at);

#endif

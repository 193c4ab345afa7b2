/*
 * oracle - the rules on the demo once more, as plainly as can be
 *
 * For tests: an arithmetic of its own, without the planner, that says
 * whether the readings of a patient are what the scenario promises.  It
 * knows the confirmed and live rules of flow and hand only, takes the
 * default limits as the scenario words them, and judges the last two
 * readings of a method, which is where the stories put their proof.
 */
#ifndef HEADGATE_TESTS_DEMO_ORACLE_H
#define HEADGATE_TESTS_DEMO_ORACLE_H

#include "tests/demo/observe.h"

enum { FLOWS_MAX = 64, ORACLE_TEXT = 64 };

struct flow {
    double ago_days, ml_min;
    enum bound bound;
    enum method method;
};

/* The valid flows of the first access, oldest first, sessions averaged. */
struct flows {
    size_t count;
    struct flow list[FLOWS_MAX];
};
void oracle_flows(const struct observed_feed *feed, int patient,
                  struct flows *out);

/* What holds: "HF-1 routine", "IS-4 IS-5 IS-6 urgent", "" for nothing. */
struct oracle {
    char flow[ORACLE_TEXT], hand[ORACLE_TEXT], low_flow[ORACLE_TEXT];
    bool repeat_finger; /* one low finger pressure with a symptom, no more */
};
void oracle_judge(const struct observed_feed *feed, int patient, bool graft,
                  struct oracle *out);

/* Two readings running of any age that lie beyond a limit. */
bool oracle_ever(const struct flows *f, double limit, bool above,
                 double window_days);

/* Two readings running more than a quarter below the mean of up to three of
 * the half year before the first of them. */
bool oracle_falls(const struct flows *f);

#endif

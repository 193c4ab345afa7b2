/*
 * session - what one dialysis session measured, packed as its unit sends it
 *
 * One unit sends an Observation per quantity, one a panel per session, one
 * an Observation per quantity in codes of its own; see scenario.h.
 *
 * Inside tests/demo only.
 */
#ifndef HEADGATE_TESTS_DEMO_SESSION_H
#define HEADGATE_TESTS_DEMO_SESSION_H

#include "adapters/civil.h"
#include "tests/demo/document.h"
#include "tests/demo/random.h"

/* One patient while the readings are made. */
struct maker {
    struct demo *demo;
    const struct demo_patient *patient;
    const struct demo_story *story;
    const struct demo_unit *unit;
    size_t row;
    struct rng rng;
    bool weekdays[7]; /* days of dialysis, Sunday first */
    int start_min;    /* session start, minutes after local midnight */
    unsigned number;
    double usual_systolic, usual_ktv, pump_ml_min;
    int pressed_ago;    /* the day whose blood pressure is... */
    double systolic;    /* ...this, and... */
    double flow_ml_min; /* ...whose access flow is this */
    enum err err;
};

/* What one session measured, before it is packed. */
struct session {
    int ago_days;
    int64_t at_s;
    size_t count;
    struct {
        struct value value;
        int minute;
    } taken[DOCUMENT_VALUES_MAX];
    const struct demo_step *step; /* NULL: background */
};

struct session session_at(const struct maker *m, int ago_days);

/* The given day before the end, or the dialysis day just before it. */
int session_day(const struct maker *m, int ago_days);

/* A number as it is written down: rounded as people round it. */
struct value session_number(const struct maker *m, enum quantity q,
                            double number);

/* Add a value, so many minutes after the start of the session. */
void session_take(struct session *s, int minute, struct value value);

/* Make the Observations of the session; m->err says how it went. */
void session_pack(struct maker *m, const struct session *s);

/* An Observation of a coded value, late in the session of that day. */
void session_sign(struct maker *m, int ago_days, enum quantity q,
                  enum sign sign);

#endif

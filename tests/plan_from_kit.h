/*
 * plan_from_kit - what a history is planned from, for the tests of plan_from
 *
 * The events are those of history_kit.h, the rules and readiness the real
 * ones, the policy as shipped unless a test changes a row of it.
 */
#ifndef HEADGATE_TESTS_PLAN_FROM_KIT_H
#define HEADGATE_TESTS_PLAN_FROM_KIT_H

#include "planner/plan_from.h"
#include "tests/history_kit.h"

struct from_kit {
    struct policy policy;
    struct history h;
    struct reading readings[KIT_EVENTS_MAX];
    struct plan_from from;
};

/* Somebody asked, and wants all as usual. */
static const struct plan_wish from_kit_asked = { .prior = NULL };

static inline void from_kit_run(struct from_kit *k,
                                const struct plan_wish *wish)
{
    struct findings findings;
    struct readiness readiness;

    rules_evaluate(&k->h, &k->policy, &findings);
    readiness_assess(&k->h, &k->policy, &findings, &readiness);
    plan_from(&k->h, &k->policy, &readiness, wish, &k->from);
}

/* The history of some events, on a day; nothing is planned yet. */
static inline void from_kit_set(struct from_kit *k, const struct event *events,
                                int type, double now_day)
{
    k->h = (struct history){ .access_type = (enum sign)type,
                             .now_s = kit_s(now_day),
                             .readings = k->readings };
    k->h.count = kit_readings(events, k->readings);
}

static inline void from_kit_make(struct from_kit *k, const struct event *events,
                                 int type, double now_day,
                                 const struct plan_wish *wish)
{
    from_kit_set(k, events, type, now_day);
    from_kit_run(k, wish);
}

/* The ids of the readings behind a use, in order of time: "2 3"; ids are the
 * places of the events, from 1. */
static inline const char *from_kit_ids(const struct from_kit *k,
                                       enum plan_use use, int stage,
                                       char text[KIT_TEXT_SIZE])
{
    size_t len = 0;

    text[0] = '\0';
    for (size_t i = 0; i < k->h.count; i++) {
        for (size_t n = 0; n < k->from.ground_count; n++) {
            const struct plan_ground *g = &k->from.grounds[n];

            if (g->use != use || g->stage != stage || g->reading != i)
                continue;
            len += (size_t)snprintf(text + len, KIT_TEXT_SIZE - len, "%s%lld",
                                    len > 0 ? " " : "",
                                    (long long)k->readings[i].id);
        }
    }
    return text;
}

/* Flows as "1600 1650". */
static inline const char *from_kit_flows(const double *flow_ml_min,
                                         size_t count, char text[KIT_TEXT_SIZE])
{
    size_t len = 0;

    text[0] = '\0';
    for (size_t i = 0; i < count; i++)
        len += (size_t)snprintf(text + len, KIT_TEXT_SIZE - len, "%s%.0f",
                                len > 0 ? " " : "", flow_ml_min[i]);
    return text;
}

#define DOWEL(d, mm, ...)   NUMBER(d, Q_DOWEL_DIAMETER, mm, __VA_ARGS__)
#define STRETCH(d, mm, ...) NUMBER(d, Q_BAND_STRETCHED, mm, __VA_ARGS__)
#define RELEASE(d, ...)     NUMBER(d, Q_BAND_RELEASED, 1, __VA_ARGS__)
#define MEAN(d, mmhg, ...)  NUMBER(d, Q_MEAN_PRESSURE, mmhg, __VA_ARGS__)
#define PRESSED_INDEX(d, v, ...)                                               \
    NUMBER(d, Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED, v, __VA_ARGS__)
#define MINUTES(m) ((m) / 1440.0)

#endif

/*
 * chart_kit - invented histories of any length for the tests of the charts
 *
 * Numbers are drawn from a generator of our own, so that every machine draws
 * the same ones.
 */
#ifndef HEADGATE_TESTS_CHART_KIT_H
#define HEADGATE_TESTS_CHART_KIT_H

#include "tests/history_kit.h"

enum { CHART_READINGS_MAX = 12000 };

/* 2026-11-26, 09:00 UTC */
static const int64_t chart_now_s = 20783LL * 86400 + 9 * 3600;

struct chart_kit {
    struct policy policy;
    struct history h;
    size_t count;
    struct reading readings[CHART_READINGS_MAX];
    uint32_t seed;
};

static inline double chart_random(struct chart_kit *k)
{
    k->seed = k->seed * 1664525U + 1013904223U;
    return (k->seed >> 8) / 16777216.0;
}

static inline void chart_start(struct chart_kit *k)
{
    kit_policy(&k->policy);
    k->count = 0;
    k->seed = 7;
}

/* So many days before now. */
static inline struct reading *chart_add(struct chart_kit *k, double days_ago,
                                        enum quantity quantity, double value)
{
    struct reading *r = &k->readings[k->count++];

    assert_in_range(k->count, 1, CHART_READINGS_MAX);
    *r = (struct reading){ .id = (int64_t)k->count,
                           .version = 1,
                           .quantity = quantity,
                           .start_s =
                               chart_now_s - (int64_t)llround(days_ago * 86400),
                           .value = value,
                           .present = true };
    r->end_s = r->start_s + 1;
    return r;
}

static inline struct reading *chart_flow(struct chart_kit *k, double days_ago,
                                         double value, enum method method)
{
    struct reading *r = chart_add(k, days_ago, Q_ACCESS_FLOW, value);

    r->method = method;
    return r;
}

static inline struct reading *chart_sign(struct chart_kit *k, double days_ago,
                                         enum sign sign)
{
    struct reading *r = chart_add(k, days_ago, sign_info(sign)->quantity, NAN);

    r->sign = sign;
    return r;
}

/* Flows evenly over so many days up to now, every seventh by duplex. */
static inline void chart_flows(struct chart_kit *k, int count, double days,
                               double from, double to)
{
    for (int i = 0; i < count; i++) {
        double part = count > 1 ? (double)i / (count - 1) : 1;
        double value = from + (to - from) * part;

        value *= 0.93 + 0.14 * chart_random(k);
        chart_flow(k, days * (1 - part), value,
                   i % 7 == 3 ? METHOD_DUPLEX : METHOD_ULTRASOUND_DILUTION);
    }
}

static inline void chart_others(struct chart_kit *k, int count, double days,
                                enum quantity quantity, double from, double to)
{
    for (int i = 0; i < count; i++) {
        double part = count > 1 ? (double)i / (count - 1) : 1;
        double drawn = chart_random(k);

        chart_add(k, days * (1 - part), quantity, from + (to - from) * drawn);
    }
}

static inline void chart_done(struct chart_kit *k, enum sign type)
{
    qsort(k->readings, k->count, sizeof(k->readings[0]), kit_order);
    k->h = (struct history){ .access_type = type,
                             .now_s = chart_now_s,
                             .readings = k->readings,
                             .count = k->count };
}

#endif

/*
 * history_kit - histories in a few words, for the tests of the planner
 *
 * An event is one reading at a day of the test's own calendar; fractions are
 * hours and minutes.  Day 0 is far from 1970, so that nothing is negative.
 */
#ifndef HEADGATE_TESTS_HISTORY_KIT_H
#define HEADGATE_TESTS_HISTORY_KIT_H

#include "adapters/policy_file.h"
#include "planner/rules.h"

#include <stdio.h>

enum { KIT_EVENTS_MAX = 64, KIT_TEXT_SIZE = 512 };

static const int64_t kit_base_s = 20000LL * 86400;

struct event {
    double day;
    enum quantity quantity;
    double value;
    enum sign sign;
    enum method method;
    enum reading_status status;
    enum bound bound;
    enum precision precision;
    bool absent; /* a sign that was looked for and not found */
    int64_t more_s;
    int64_t id; /* 0: numbered as they come */
};

/* One line each; more fields may follow: .status = READING_WITHDRAWN */
#define FLOW(d, v, ...)                                                        \
    {                                                                          \
        .day = (d), .quantity = Q_ACCESS_FLOW, .value = (v), __VA_ARGS__       \
    }
#define OUTPUT(d, v, ...)                                                      \
    {                                                                          \
        .day = (d), .quantity = Q_CARDIAC_OUTPUT, .value = (v), __VA_ARGS__    \
    }
#define FINGER(d, v, ...)                                                      \
    {                                                                          \
        .day = (d), .quantity = Q_DIGITAL_PRESSURE, .value = (v), __VA_ARGS__  \
    }
#define INDEX(d, v, ...)                                                       \
    {                                                                          \
        .day = (d), .quantity = Q_DIGITAL_BRACHIAL_INDEX, .value = (v),        \
        __VA_ARGS__                                                            \
    }
#define NUMBER(d, q, v, ...)                                                   \
    {                                                                          \
        .day = (d), .quantity = (q), .value = (v), __VA_ARGS__                 \
    }
#define SIGN(d, s, ...)                                                        \
    {                                                                          \
        .day = (d), .sign = (s), .value = NAN, __VA_ARGS__                     \
    }

#define DILUTION  .method = METHOD_ULTRASOUND_DILUTION
#define DUPLEX    .method = METHOD_DUPLEX
#define WITHDRAWN .status = READING_WITHDRAWN
#define EARLY     .status = READING_PRELIMINARY
#define HOURS(h)  ((h) / 24.0)
#define SECOND    (1 / 86400.0)

/* A day has no end in the table: a list stops at the first empty event. */
static inline bool kit_is_end(const struct event *e)
{
    return e->quantity == Q_NONE && e->sign == SIGN_NONE;
}

static inline int64_t kit_s(double day)
{
    return kit_base_s + (int64_t)llround(day * 86400.0);
}

static inline struct reading kit_reading(const struct event *e, int64_t id)
{
    struct reading r = { .id = e->id != 0 ? e->id : id,
                         .version = 1,
                         .quantity = e->quantity,
                         .status = e->status,
                         .start_s = kit_s(e->day) + e->more_s,
                         .precision = e->precision,
                         .value = e->value,
                         .bound = e->bound,
                         .sign = e->sign,
                         .present = !e->absent,
                         .method = e->method };

    if (e->sign != SIGN_NONE)
        r.quantity = sign_info(e->sign)->quantity;
    if (e->precision == AT_DAY)
        r.start_s -= (r.start_s - kit_base_s) % 86400;
    r.end_s = r.start_s + (e->precision == AT_DAY     ? 86400
                           : e->precision == AT_MONTH ? 30 * 86400
                                                      : 1);
    return r;
}

static inline int kit_order(const void *a, const void *b)
{
    const struct reading *x = a, *y = b;

    if (x->start_s != y->start_s)
        return x->start_s < y->start_s ? -1 : 1;
    if (x->id != y->id)
        return x->id < y->id ? -1 : 1;
    return (x->slot > y->slot) - (x->slot < y->slot);
}

static inline size_t kit_readings(const struct event *events,
                                  struct reading *readings)
{
    size_t n = 0;

    while (n < KIT_EVENTS_MAX && !kit_is_end(&events[n])) {
        readings[n] = kit_reading(&events[n], (int64_t)n + 1);
        n++;
    }
    qsort(readings, n, sizeof(*readings), kit_order);
    return n;
}

/* The policy as shipped: the limits that the tests are about. */
static inline void kit_policy(struct policy *policy)
{
    struct buf why;
    enum err e;

    buf_init(&why, 4096);
    e = policy_file_read(SOURCE_DIR "/config/policy.ini", policy, &why);
    if (e != ERR_OK)
        print_error("%s\n", why.data);
    buf_clear(&why);
    assert_int_equal(e, ERR_OK);
}

/* Confirmation as most cases are written: two in a row, a month or a little
 * more apart.  What is shipped stands in test_rules.c. */
static inline void kit_plain_policy(struct policy *policy)
{
    static const struct {
        enum param row;
        double value;
    } rows[] = {
        { P_HF2_READINGS, 2 },  { P_HF2_OF_LAST, 2 },
        { P_LF1_WINDOW_D, 30 }, { P_LF2_WINDOW_D, 45 },
        { P_LF3_WINDOW_D, 45 }, { P_LF3_BASELINE_MOST, 3 },
        { P_LF5_WINDOW_D, 30 }, { P_AD2_BASELINE_MOST, 3 },
        { P_AD2_WINDOW_D, 45 }, { P_PB3_REPEAT_D, 14 },
        { P_HF1_WINDOW_D, 90 }, { P_HF2_WINDOW_D, 90 },
        { P_HF4_WINDOW_D, 90 }, { P_PB4_WINDOW_D, 90 },
    };

    kit_policy(policy);
    for (size_t i = 0; i < COUNT(rows); i++)
        policy->values[rows[i].row].value = rows[i].value;
}

/*
 * Findings in a line: "HF-1:routine IS-5:urgent!?"
 *
 *     !  the more serious limit   ?  to be repeated, not confirmed
 *     +  with a clinical sign     ~  historic
 *     *  no flow near in time
 */
static inline const char *kit_line(const struct findings *f, char *text)
{
    size_t len = 0;

    text[0] = '\0';
    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule rule = rule_by_order(n);

        for (size_t i = 0; i < f->count; i++) {
            const struct finding *x = &f->list[i];

            if (x->rule != rule)
                continue;
            len += (size_t)snprintf(
                text + len, KIT_TEXT_SIZE - len, "%s%s:%s%s%s%s%s%s",
                len > 0 ? " " : "", rule_info(x->rule)->id,
                urgency_word(x->urgency), x->severe ? "!" : "",
                x->confirmed ? "" : "?", x->with_sign ? "+" : "",
                x->historic ? "~" : "", x->flow_unknown ? "*" : "");
        }
    }
    return text;
}

/* A history, a date, and the findings that must come of it. */
struct rule_case {
    const char *name;
    int type; /* SIGN_TYPE_* */
    double now_day;
    const char *want; /* see kit_line() */
    struct event events[16];
};

enum { AVF = SIGN_TYPE_AVF, AVG = SIGN_TYPE_AVG };

static inline void kit_evaluate(const struct rule_case *c,
                                const struct policy *policy,
                                struct reading *readings, struct history *h,
                                struct findings *f)
{
    *h = (struct history){ .access_type = (enum sign)c->type,
                           .now_s = kit_s(c->now_day),
                           .readings = readings };
    h->count = kit_readings(c->events, readings);
    rules_evaluate(h, policy, f);
}

/* All cases of a table; each that fails is named before the test does. */
static inline void kit_run(const struct rule_case *cases, size_t count,
                           const struct policy *policy)
{
    struct reading readings[KIT_EVENTS_MAX];
    char text[KIT_TEXT_SIZE];
    struct findings f;
    struct history h;
    int wrong = 0;

    for (size_t i = 0; i < count; i++) {
        kit_evaluate(&cases[i], policy, readings, &h, &f);
        if (strcmp(kit_line(&f, text), cases[i].want) == 0)
            continue;
        wrong++;
        print_error("%s: got \"%s\", not \"%s\"\n", cases[i].name, text,
                    cases[i].want);
    }
    assert_int_equal(wrong, 0);
}

static inline const struct finding *kit_find(const struct findings *f,
                                             enum rule rule)
{
    for (size_t i = 0; i < f->count; i++) {
        if (f->list[i].rule == rule)
            return &f->list[i];
    }
    fail_msg("no finding of %s", rule_info(rule)->id);
    return NULL;
}

#endif

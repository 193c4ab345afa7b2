/* Visits after a band: what is due, what is overdue, what has been done. */
#include "tests/test.h"

#include "planner/follow_up.h"
#include "tests/history_kit.h"

static struct policy policy;

/* The windows of the limits as shipped, in days: 2.25 to 3.75, 8.4 to 14,
 * 22.5 to 37.5, 68.25 to 113.75, 136.5 to 227.5; then 318.5 to 409.5, or, more
 * closely, 250.25 to 295.75.  Common practice, no source; the two grounds for
 * closer visits: Vaes, J Vasc Surg 2015. */

enum {
    FIRST = VISIT_THRILL | VISIT_PUMP | VISIT_HAND,
    EARLY_VISIT = VISIT_FLOW | VISIT_DOSE | VISIT_HAND,
    MONTH = VISIT_FLOW | VISIT_DOSE,
    QUARTER = VISIT_FLOW | VISIT_DOSE | VISIT_HAND
};

enum { HALF_YEAR = VISIT_FLOW | VISIT_DOSE | VISIT_HAND };

#define BAND(d, ...) SIGN(d, SIGN_BANDED, __VA_ARGS__)
#define DOSE(d, v)   NUMBER(d, Q_SPKTV, v)

/* One case, a few lines; `why` for those without a finding. */
/* clang-format off */
static const struct {
    const char *name;
    double now_day;
    int age_y; /* 0: not known */
    enum why why;
    unsigned missing;
    bool overdue;
    double begin_day, end_day;
    enum param due;
    struct event events[12];
} cases[] = {
    { "no band", 10, 0, WHY_NO_BAND, 0, false, 0, 0, P_SESSION_H,
      { FLOW(1, 900) } },
    { "released", 10, 0, WHY_NO_BAND, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), NUMBER(5, Q_BAND_RELEASED, 1) } },
    { "nothing begun", 2.25 - SECOND, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0) } },

    { "first session", 2.25, 0, WHY_HOLDS, FIRST, false, 2.25, 3.75,
      P_PB1_SESSION_D, { BAND(0) } },
    { "first session, last moment", 3.75 - SECOND, 0, WHY_HOLDS, FIRST, false,
      2.25, 3.75, P_PB1_SESSION_D, { BAND(0) } },
    { "first session, overdue", 3.75, 0, WHY_HOLDS, FIRST, true, 2.25, 3.75,
      P_PB1_SESSION_D, { BAND(0) } },
    { "first session, done", 4, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), SIGN(3, SIGN_THRILL_PRESENT), SIGN(3, SIGN_NO_COMPLAINT),
        NUMBER(3, Q_PUMP_FLOW, 350) } },
    { "done on the day after the band", 4, 0, WHY_DONE, 0, false, 0, 0,
      P_SESSION_H,
      { BAND(0), SIGN(1, SIGN_THRILL_WEAK), SIGN(1, SIGN_GRADE_1),
        NUMBER(1, Q_ARTERIAL_LINE_PRESSURE, -180) } },
    { "done too late is done", 8, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), SIGN(7, SIGN_THRILL_PRESENT), SIGN(7, SIGN_NO_COMPLAINT),
        NUMBER(7, Q_PUMP_FLOW, 350) } },
    { "looked for and not found is looked for", 4, 0, WHY_DONE, 0, false, 0, 0,
      P_SESSION_H,
      { BAND(0), SIGN(3, SIGN_THRILL_PRESENT),
        SIGN(3, SIGN_PAIN_AT_REST, .absent = true),
        NUMBER(3, Q_PUMP_FLOW, 350) } },
    { "on the table is not the first session", 3, 0, WHY_HOLDS,
      VISIT_THRILL | VISIT_PUMP, false, 2.25, 3.75, P_PB1_SESSION_D,
      { BAND(0), SIGN(HOURS(1), SIGN_THRILL_PRESENT),
        SIGN(2, SIGN_NO_COMPLAINT) } },
    { "the day of the band, known to the day", 3, 0, WHY_HOLDS, FIRST, false,
      2.25, 3.75, P_PB1_SESSION_D,
      { BAND(0, .precision = AT_DAY), SIGN(0.6, SIGN_THRILL_PRESENT),
        SIGN(0.6, SIGN_NO_COMPLAINT), NUMBER(0.6, Q_PUMP_FLOW, 350) } },
    { "preliminary, withdrawn, month only", 3, 0, WHY_HOLDS, FIRST, false,
      2.25, 3.75, P_PB1_SESSION_D,
      { BAND(0), SIGN(2, SIGN_THRILL_PRESENT, EARLY),
        SIGN(2, SIGN_NO_COMPLAINT, WITHDRAWN),
        NUMBER(2, Q_PUMP_FLOW, 350, .precision = AT_MONTH) } },
    { "before the band", 3, 0, WHY_HOLDS, FIRST, false, 2.25, 3.75,
      P_PB1_SESSION_D,
      { SIGN(-1, SIGN_THRILL_PRESENT), SIGN(-1, SIGN_NO_COMPLAINT),
        NUMBER(-1, Q_PUMP_FLOW, 350), BAND(0) } },

    { "early", 8.4, 0, WHY_HOLDS, EARLY_VISIT, false, 8.4, 14,
      P_PB1_EARLY_D, { BAND(0) } },
    { "early, for the hand", 9, 0, WHY_HOLDS, EARLY_VISIT | VISIT_FINGER,
      false, 8.4, 14, P_PB1_EARLY_D,
      { SIGN(-9, SIGN_GRADE_2B), BAND(0) } },
    { "early, with a finger", 9, 0, WHY_HOLDS, EARLY_VISIT, false, 8.4, 14,
      P_PB1_EARLY_D,
      { SIGN(-9, SIGN_GRADE_2B), BAND(0), FINGER(8.5, 70) } },
    { "early, done", 9, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), FLOW(8.4, 900), DOSE(8.4, 1.4),
        SIGN(8.4, SIGN_NO_COMPLAINT) } },
    { "early, done after a week", 9, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), SIGN(3, SIGN_NO_COMPLAINT), FLOW(7, 900), DOSE(7, 1.4),
        SIGN(7, SIGN_NO_COMPLAINT) } },
    { "early, the hand of the first session was late", 9, 0, WHY_HOLDS,
      VISIT_HAND, false, 8.4, 14, P_PB1_EARLY_D,
      { BAND(0), FLOW(7, 900), DOSE(7, 1.4), SIGN(7, SIGN_NO_COMPLAINT) } },
    { "early, done as the window of the first session ends", 9, 0, WHY_DONE, 0,
      false, 0, 0, P_SESSION_H,
      { BAND(0), SIGN(3, SIGN_NO_COMPLAINT), FLOW(3.75, 900), DOSE(3.75, 1.4),
        SIGN(3.75, SIGN_NO_COMPLAINT) } },
    { "early, done within that", 9, 0, WHY_HOLDS, EARLY_VISIT, false, 8.4, 14,
      P_PB1_EARLY_D,
      { BAND(0), FLOW(3.75 - SECOND, 900), DOSE(3.75 - SECOND, 1.4),
        SIGN(3.75 - SECOND, SIGN_NO_COMPLAINT) } },
    { "early, on the day on which that ends", 9, 0, WHY_DONE, 0, false, 0, 0,
      P_SESSION_H,
      { BAND(0), SIGN(2, SIGN_NO_COMPLAINT), FLOW(3, 900, .precision = AT_DAY),
        NUMBER(3, Q_SPKTV, 1.4, .precision = AT_DAY),
        SIGN(3, SIGN_NO_COMPLAINT, .precision = AT_DAY) } },
    { "month, of the last moment of the early one", 23, 0, WHY_HOLDS,
      MONTH | VISIT_HAND, false, 22.5, 37.5, P_PB1_MONTH_D,
      { BAND(0), FLOW(14 - SECOND, 900), DOSE(14 - SECOND, 1.4) } },
    { "month, of the moment after, the early one done", 23, 0, WHY_DONE, 0,
      false, 0, 0, P_SESSION_H,
      { BAND(0), FLOW(10, 900), DOSE(10, 1.4), SIGN(10, SIGN_NO_COMPLAINT),
        FLOW(14, 900), DOSE(14, 1.4) } },
    { "month, of the moment after, the early one not done in time", 23, 0,
      WHY_HOLDS, MONTH | VISIT_HAND, false, 22.5, 37.5, P_PB1_MONTH_D,
      { BAND(0), FLOW(14, 900), DOSE(14, 1.4) } },
    { "month, the early one done in part", 23, 0, WHY_HOLDS, VISIT_DOSE, false,
      22.5, 37.5, P_PB1_MONTH_D,
      { BAND(0), FLOW(10, 900), SIGN(10, SIGN_NO_COMPLAINT), FLOW(16, 900),
        DOSE(16, 1.4) } },
    { "urea instead of Kt/V", 9, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), FLOW(8.5, 900), SIGN(8.5, SIGN_NO_COMPLAINT),
        NUMBER(8.5, Q_UREA_PRE, 25),
        NUMBER(8.5 + HOURS(4), Q_UREA_POST, 8) } },
    { "another Kt/V", 9, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), FLOW(8.5, 900), SIGN(8.5, SIGN_NO_COMPLAINT),
        NUMBER(8.5, Q_EKTV, 1.2) } },
    { "the flow in raw values", 9, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), SIGN(8.5, SIGN_NO_COMPLAINT), NUMBER(8.5, Q_URR, 70),
        NUMBER(8.5, Q_PUMP_FLOW, 300),
        NUMBER(8.5, Q_RECIRCULATION_REVERSED, 25) } },
    { "early, overdue", 14, 0, WHY_HOLDS, VISIT_DOSE, true, 8.4, 14,
      P_PB1_EARLY_D,
      { BAND(0), FLOW(9, 900), SIGN(9, SIGN_NO_COMPLAINT) } },
    { "early, completed late", 20, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), FLOW(9, 900), SIGN(9, SIGN_NO_COMPLAINT), DOSE(15, 1.4) } },

    { "month: earlier ones are superseded, but for the hand", 22.5, 0,
      WHY_HOLDS, MONTH | VISIT_HAND, false,
      22.5, 37.5, P_PB1_MONTH_D, { BAND(0) } },
    { "month, for the hand", 23, 0, WHY_HOLDS,
      MONTH | VISIT_FINGER | VISIT_HAND, false,
      22.5, 37.5, P_PB1_MONTH_D, { SIGN(-9, SIGN_GRADE_2B), BAND(0) } },
    { "month, done, though the early one is not", 30, 0, WHY_DONE, 0, false, 0,
      0, P_SESSION_H,
      { BAND(0), FLOW(25, 900), DOSE(25, 1.4), SIGN(25, SIGN_NO_COMPLAINT) } },
    { "quarter", 70, 0, WHY_HOLDS, QUARTER, false, 68.25, 113.75,
      P_PB1_QUARTER_D, { BAND(0), FLOW(37, 900) } },
    { "quarter, with a flow of before its window", 70, 0, WHY_HOLDS,
      VISIT_DOSE | VISIT_HAND, false, 68.25, 113.75, P_PB1_QUARTER_D,
      { BAND(0), FLOW(30, 900), FLOW(60, 900) } },
    { "quarter, with one that was late for the month", 70, 0, WHY_HOLDS,
      QUARTER, false, 68.25, 113.75, P_PB1_QUARTER_D,
      { BAND(0), FLOW(16, 900), FLOW(60, 900) } },
    { "half a year", 136.5, 0, WHY_HOLDS, HALF_YEAR, false, 136.5, 227.5,
      P_PB1_HALF_YEAR_D, { BAND(0) } },
    { "half a year, overdue", 227.5, 0, WHY_HOLDS, HALF_YEAR, true, 136.5,
      227.5, P_PB1_HALF_YEAR_D, { BAND(0) } },
    { "half a year, overdue until the next", 318, 0, WHY_HOLDS, HALF_YEAR,
      true, 136.5, 227.5, P_PB1_HALF_YEAR_D, { BAND(0) } },
    { "a year", 318.5, 0, WHY_HOLDS, VISIT_FLOW, false, 318.5, 409.5,
      P_PB1_INTERVAL_D, { BAND(0), FLOW(200, 900) } },
    { "a year, done", 330, 0, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), FLOW(320, 900) } },
    { "one and a half", 501, 0, WHY_HOLDS, VISIT_FLOW, false, 500.5, 591.5,
      P_PB1_INTERVAL_D, { BAND(0), FLOW(320, 900) } },

    { "first flow on the limit", 250.25, 0, WHY_DONE, 0, false, 0, 0,
      P_SESSION_H, { BAND(0), DOSE(30, 1.4), SIGN(30, SIGN_NO_COMPLAINT), FLOW(11, 1000), FLOW(180, 900) } },
    { "first flow above", 250.25, 0, WHY_HOLDS, VISIT_FLOW, false, 250.25,
      295.75, P_PB1_INTERVAL_CLOSE_D,
      { BAND(0), FLOW(11, 1000.1), FLOW(180, 900) } },
    { "first flow above, in the first days", 250.25, 0, WHY_HOLDS, VISIT_FLOW,
      false, 250.25, 295.75, P_PB1_INTERVAL_CLOSE_D,
      { BAND(0), FLOW(5, 1100), FLOW(11, 900), FLOW(180, 900) } },
    { "above on the table only", 250.25, 0, WHY_DONE, 0, false, 0, 0,
      P_SESSION_H,
      { BAND(0), DOSE(30, 1.4), SIGN(30, SIGN_NO_COMPLAINT),
        FLOW(HOURS(1), 1500), FLOW(11, 900), FLOW(180, 900) } },
    { "younger", 251, 49, WHY_HOLDS, VISIT_FLOW, false, 250.25, 295.75,
      P_PB1_INTERVAL_CLOSE_D, { BAND(0), FLOW(11, 900), FLOW(180, 900) } },
    { "not younger", 251, 50, WHY_DONE, 0, false, 0, 0, P_SESSION_H,
      { BAND(0), DOSE(30, 1.4), SIGN(30, SIGN_NO_COMPLAINT), FLOW(11, 900), FLOW(180, 900) } },

    { "banded anew", 45, 0, WHY_HOLDS, FIRST, true, 42.25, 43.75,
      P_PB1_SESSION_D, { BAND(0), BAND(40) } },
    { "stretched: visits go on", 23, 0, WHY_HOLDS, MONTH | VISIT_HAND, false, 22.5, 37.5,
      P_PB1_MONTH_D, { BAND(0), NUMBER(20, Q_BAND_STRETCHED, 5) } },
    { "banded before the look-back", 740, 0, WHY_NO_BAND, 0, false, 0, 0,
      P_SESSION_H, { BAND(0) } },
};
/* clang-format on */

/* Thrill and pump flow of the first session, the day after the band. */
static void add_first_session(struct history *h, struct reading *readings)
{
    static const struct event session[] = { SIGN(1, SIGN_THRILL_PRESENT),
                                            NUMBER(1, Q_PUMP_FLOW, 350) };

    for (size_t i = 0; i < COUNT(session); i++)
        readings[h->count++] = kit_reading(&session[i], (int64_t)(900 + i));
    qsort(readings, h->count, sizeof(*readings), kit_order);
}

static void evaluate(const struct event *events, double now_day, int age_y,
                     struct reading *readings, struct history *h,
                     struct findings *f)
{
    *h = (struct history){ .access_type = SIGN_TYPE_AVF,
                           .born_s = INT64_MIN,
                           .now_s = kit_s(now_day),
                           .readings = readings };
    if (age_y > 0) /* and a week */
        h->born_s = h->now_s - (int64_t)(age_y * 365.25 + 7) * DAY_S;
    h->count = kit_readings(events, readings);
    if (now_day >= 8)
        add_first_session(h, readings);
    rules_evaluate(h, &policy, f);
}

static void asks_for_visits(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const struct finding *x;
        bool over = cases[i].overdue;

        ROW(cases[i].name);
        evaluate(cases[i].events, cases[i].now_day, cases[i].age_y, readings,
                 &h, &f);
        x = rules_find(&f, RULE_PB_1);
        assert_int_equal(f.why[RULE_PB_1], cases[i].why);
        assert_int_equal(x != NULL, cases[i].why == WHY_HOLDS);
        if (x == NULL)
            continue;
        assert_int_equal(x->visit_items, cases[i].missing);
        assert_int_equal(x->confirmed, over);
        assert_int_equal(x->urgency, over ? URGENCY_ROUTINE : URGENCY_NOTE);
        assert_int_equal(x->limit, cases[i].due);
        assert_int_equal(x->occasion, kit_s(cases[i].end_day));
        assert_int_equal(x->at_s, over ? kit_s(cases[i].end_day) : h.now_s);
        assert_int_equal(x->repeat_from_s,
                         over ? 0 : kit_s(cases[i].begin_day));
        assert_int_equal(x->repeat_by_s, over ? 0 : kit_s(cases[i].end_day));
        assert_int_equal(x->evidence_count, 1);
        assert_true(readings[x->evidence[0]].sign == SIGN_BANDED);
    }
}

/* What is overdue for long is no news. */
static void ages(void **state)
{
    static const struct event events[] = { BAND(0), { .day = 0 } };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    evaluate(events, 227.5 + 30, 0, readings, &h, &f);
    assert_false(kit_find(&f, RULE_PB_1)->historic);
    evaluate(events, 227.5 + 30 + SECOND, 0, readings, &h, &f);
    assert_true(kit_find(&f, RULE_PB_1)->historic);
}

/* What the first session did not record is asked for once more, by the visit
 * after it, and not for ever. */
static void carries_on(void **state)
{
    static const struct event none[] = { BAND(0), { .day = 0 } };
    static const struct event felt[] = { BAND(0),
                                         SIGN(9, SIGN_THRILL_PRESENT),
                                         { .day = 0 } };
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = { .access_type = SIGN_TYPE_AVF,
                         .born_s = INT64_MIN,
                         .readings = readings };
    struct findings f;

    (void)state;
    h.count = kit_readings(none, readings);
    h.now_s = kit_s(9);
    rules_evaluate(&h, &policy, &f);
    assert_int_equal(kit_find(&f, RULE_PB_1)->visit_items,
                     EARLY_VISIT | VISIT_THRILL | VISIT_PUMP);
    h.now_s = kit_s(23);
    rules_evaluate(&h, &policy, &f);
    assert_int_equal(kit_find(&f, RULE_PB_1)->visit_items, MONTH | VISIT_HAND);
    h.count = kit_readings(felt, readings);
    h.now_s = kit_s(9.5);
    rules_evaluate(&h, &policy, &f);
    assert_int_equal(kit_find(&f, RULE_PB_1)->visit_items,
                     EARLY_VISIT | VISIT_PUMP);
}

/* The first item that is missing is the one to measure. */
static void names_one_item(void **state)
{
    static const struct {
        double now_day;
        enum quantity q;
        struct event events[6];
    } items[] = {
        { 3, Q_THRILL, { BAND(0) } },
        { 3, Q_PUMP_FLOW, { BAND(0), SIGN(2, SIGN_THRILL_PRESENT) } },
        { 3,
          Q_HAND_SYMPTOM,
          { BAND(0), SIGN(2, SIGN_THRILL_PRESENT),
            NUMBER(2, Q_PUMP_FLOW, 300) } },
        { 30, Q_HAND_SYMPTOM, { BAND(0) } },
        { 30, Q_ACCESS_FLOW, { BAND(0), SIGN(9, SIGN_NO_COMPLAINT) } },
        { 30, Q_SPKTV, { BAND(0), SIGN(9, SIGN_NO_COMPLAINT), FLOW(29, 900) } },
        { 30,
          Q_DIGITAL_PRESSURE,
          { SIGN(-9, SIGN_GRADE_2B), BAND(0), SIGN(9, SIGN_GRADE_0),
            FLOW(29, 900), DOSE(29, 1.4) } },
    };
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    for (size_t i = 0; i < COUNT(items); i++) {
        evaluate(items[i].events, items[i].now_day, 0, readings, &h, &f);
        assert_int_equal(kit_find(&f, RULE_PB_1)->repeat_of, items[i].q);
    }
}

/* ---- when to look again ----------------------------------------------------- */

static const struct {
    const char *name;
    double now_day, next_day;
    double first_flow; /* on day 11 */
} moments[] = {
    { "after the band", 0, 2.25, 900 },  { "a window begins", 2.25, 3.75, 900 },
    { "a window ends", 3.75, 8.4, 900 }, { "between", 20, 22.5, 900 },
    { "half a year", 137, 227.5, 900 },  { "then a year", 228, 318.5, 900 },
    { "or closer", 228, 250.25, 1100 },  { "later", 600, 682.5, 900 },
};

static void says_when_to_look(void **state)
{
    struct reading readings[KIT_EVENTS_MAX];

    (void)state;
    for (size_t i = 0; i < COUNT(moments); i++) {
        const struct event events[] = { BAND(0),
                                        FLOW(11, moments[i].first_flow),
                                        { .day = 0 } };
        struct history h = { .access_type = SIGN_TYPE_AVF,
                             .born_s = INT64_MIN,
                             .now_s = kit_s(moments[i].now_day),
                             .readings = readings };

        ROW(moments[i].name);
        h.count = kit_readings(events, readings);
        assert_int_equal(follow_up_next(&h, &policy),
                         kit_s(moments[i].next_day));
    }
}

static void never_looks_without_a_band(void **state)
{
    static const struct event none[] = { FLOW(1, 900), { .day = 0 } };
    static const struct event band[] = { BAND(0), { .day = 0 } };
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = { .access_type = SIGN_TYPE_AVF,
                         .born_s = INT64_MIN,
                         .now_s = kit_s(5),
                         .readings = readings };

    (void)state;
    h.count = kit_readings(none, readings);
    assert_true(follow_up_next(&h, &policy) == INT64_MAX);
    h.count = kit_readings(band, readings);
    assert_true(follow_up_next(&h, &policy) < INT64_MAX);
    h.access_type = SIGN_TYPE_CVC;
    assert_true(follow_up_next(&h, &policy) == INT64_MAX);
    h.access_type = SIGN_TYPE_AVF;
    h.now_s = kit_s(731); /* before the look-back: the rules do not see it */
    assert_true(follow_up_next(&h, &policy) == INT64_MAX);
}

/* Wide windows: none begins before the last one ends, and a moment belongs to
 * one visit. */
static void keeps_windows_apart(void **state)
{
    static const struct event events[] = { BAND(0), { .day = 0 } };
    double pct = policy.values[P_PB1_WINDOW_PCT].value;
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    policy.values[P_PB1_WINDOW_PCT].value = 50;
    evaluate(events, 16, 0, readings, &h, &f); /* 11.2 + 5.6 > 30 - 15 */
    assert_int_equal(kit_find(&f, RULE_PB_1)->limit, P_PB1_EARLY_D);
    assert_false(kit_find(&f, RULE_PB_1)->confirmed);
    evaluate(events, 16.8, 0, readings, &h, &f);
    assert_int_equal(kit_find(&f, RULE_PB_1)->limit, P_PB1_MONTH_D);
    assert_int_equal(kit_find(&f, RULE_PB_1)->repeat_from_s, kit_s(16.8));
    policy.values[P_PB1_WINDOW_PCT].value = pct;
}

/* A visit whose window lies within the one before has none of its own. */
static void leaves_out_empty_windows(void **state)
{
    static const struct event events[] = { BAND(0), { .day = 0 } };
    double day = policy.values[P_PB1_SESSION_D].value;
    double early = policy.values[P_PB1_EARLY_D].value;
    struct reading readings[KIT_EVENTS_MAX];
    struct findings f;
    struct history h;

    (void)state;
    policy.values[P_PB1_SESSION_D].value = 14;
    policy.values[P_PB1_EARLY_D].value = 14;
    evaluate(events, 18, 0, readings, &h, &f);
    assert_int_equal(kit_find(&f, RULE_PB_1)->limit, P_PB1_SESSION_D);
    assert_true(kit_find(&f, RULE_PB_1)->confirmed);
    policy.values[P_PB1_SESSION_D].value = day;
    policy.values[P_PB1_EARLY_D].value = early;
}

static int read_limits(void **state)
{
    (void)state;
    kit_policy(&policy);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(asks_for_visits),
        cmocka_unit_test(ages),
        cmocka_unit_test(carries_on),
        cmocka_unit_test(names_one_item),
        cmocka_unit_test(says_when_to_look),
        cmocka_unit_test(never_looks_without_a_band),
        cmocka_unit_test(keeps_windows_apart),
        cmocka_unit_test(leaves_out_empty_windows),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}
